"""The networks' files: which engine of the library reads them, and what becomes of files that are not ours."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from autoprep.correction.network import network
from autoprep.correction.outline import eye
from autoprep.imaging.arrays import AnyArray

OUTLINES = "autoprep.correction.outline"


def answers(net: cv2.dnn.Net) -> list[AnyArray]:
    view = np.random.default_rng(2).random((1, 3, eye.SIDE_PX, eye.SIDE_PX), np.float32)
    net.setInput(view)
    return [np.array(part) for part in net.forward(["maps", "work"])]


def engines_layers(net: cv2.dnn.Net) -> set[str]:
    return {net.getLayer(name).type for name in net.getLayerNames()}


def test_the_faster_engine_says_what_the_other_says() -> None:
    """Reference: the library's newer engine."""
    net = network(OUTLINES, eye._WEIGHTS, eye._WEIGHTS_SHA256)
    assert net is not None
    assert "Convolution" in engines_layers(net)  # the newer engine calls it Conv2
    data = (Path(eye.__file__).parent / eye._WEIGHTS).read_bytes()
    other = cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))
    for ours, theirs in zip(answers(net), answers(other), strict=True):
        assert float(np.abs(ours - theirs).max()) < 1e-3


def test_a_path_that_the_library_cannot_open_costs_time_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    real = cv2.dnn.readNetFromONNX

    def by_bytes_only(source: str | AnyArray, *engine: int) -> cv2.dnn.Net:
        if isinstance(source, str):
            raise cv2.error("can't open the file")
        return real(source, *engine)

    monkeypatch.setattr(cv2.dnn, "readNetFromONNX", by_bytes_only)
    net = network(OUTLINES, eye._WEIGHTS, eye._WEIGHTS_SHA256)
    assert net is not None
    assert [part.shape for part in answers(net)][1] == (1, 1)


def test_other_weights_and_none_are_no_network() -> None:
    assert network(OUTLINES, eye._WEIGHTS, "0" * 64) is None
    assert network(OUTLINES, "missing.onnx", eye._WEIGHTS_SHA256) is None
