"""The eye's answer whether there is a work, learned again alone: `python -m tests.lab.eye answer --help`.

Its two layers read the coarsest features; these, and all that is said of outlines, stay as they are. Scenes with and
without a work keep it in place, everyday photos and parts of them teach it what is none. How much of what was learned
is taken is a share: real pages, that it has not met, must stay sure.
"""

import argparse
from collections.abc import Iterator

import cv2
import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from autoprep.imaging.arrays import AnyArray, Float64, UInt8

from . import SIDE_PX
from .album import add_folder, album
from .dice import Dice
from .scenes import scene

_FEATURES = "/Concat_output_0"
_NAMES = ("work.0.weight_half", "work.0.bias", "work.2.weight", "work.2.bias")
# Chosen: half as much weight on the photos as on the scenes; parts of each photo beside itself, mirrored and turned.
_PHOTOS_WEIGH, _PARTS, _STEPS, _BATCH, _RATE, _STAY = 0.5, 7, 2500, 512, 3e-4, 1e-3

Layers = tuple[Float64, Float64, Float64, Float64]
"""(64, 336) and (64,), (64,) and (): weights and biases of the two layers."""


def layers_of(model: onnx.ModelProto) -> Layers:
    """The two layers of a network as it is shipped."""
    held = {t.name: numpy_helper.to_array(t).astype(np.float64) for t in model.graph.initializer if t.name in _NAMES}
    first, first_bias, second, second_bias = (held[name] for name in _NAMES)
    return first[:, :, 0, 0], first_bias, second[0, :, 0, 0], second_bias[0]


def with_layers(model: onnx.ModelProto, layers: Layers) -> onnx.ModelProto:
    """The same network with other layers, each number as exact as it was."""
    changed = onnx.ModelProto()
    changed.CopyFrom(model)
    for tensor in changed.graph.initializer:
        if tensor.name in _NAMES:
            old = numpy_helper.to_array(tensor)
            new = np.asarray(layers[_NAMES.index(tensor.name)]).reshape(old.shape).astype(old.dtype)
            tensor.CopyFrom(numpy_helper.from_array(new, tensor.name))
    return changed


def answers(features: AnyArray, layers: Layers) -> tuple[Float64, Float64]:
    """(N, 336) features -> (N,) logits, and (N, 64) what the first layer passes on."""
    hidden = np.maximum(features @ layers[0].T + layers[1], 0)
    return hidden @ layers[2] + layers[3], hidden


def learned(features: AnyArray, has_work: AnyArray, weight: AnyArray, start: Layers, seed: int = 0) -> Layers:
    """The layers after so many steps of Adam on (N, 336) features, drawn by weight; held near where they started."""
    rng, share = np.random.default_rng(seed), weight / weight.sum()
    layers = [np.array(part, np.float64) for part in start]
    slow, square = ([np.zeros_like(part) for part in layers] for _ in range(2))
    for step in range(1, _STEPS + 1):
        picked = rng.choice(len(features), _BATCH, p=share)
        logits, hidden = answers(features[picked], (layers[0], layers[1], layers[2], layers[3]))
        off = (1 / (1 + np.exp(-np.clip(logits, -30, 30))) - has_work[picked]) / _BATCH
        back = off[:, None] * layers[2][None] * (hidden > 0)
        slopes = (back.T @ features[picked], back.sum(0), hidden.T @ off, off.sum())
        for k, slope in enumerate(slopes):
            pulled = slope + _STAY * (layers[k] - start[k])
            slow[k] = 0.9 * slow[k] + 0.1 * pulled
            square[k] = 0.999 * square[k] + 0.001 * pulled**2
            rate = _RATE * (1 - step / _STEPS) / (1 - 0.9**step)
            layers[k] = layers[k] - rate * slow[k] / (np.sqrt(square[k] / (1 - 0.999**step)) + 1e-8)
    return layers[0], layers[1], layers[2], layers[3]


def between(start: Layers, end: Layers, share: float) -> Layers:
    """The layers on the way from one to the other."""
    a, b, c, d = (one + share * (other - one) for one, other in zip(start, end, strict=True))
    return a, b, c, d


class Features:
    """What a network's answer is made from."""

    def __init__(self, model: onnx.ModelProto) -> None:
        cut = onnx.ModelProto()
        cut.CopyFrom(model)
        shape = [1, layers_of(model)[0].shape[1], 1, 1]
        cut.graph.output.append(helper.make_tensor_value_info(_FEATURES, TensorProto.FLOAT, shape))
        self._net = cv2.dnn.readNetFromONNX(np.frombuffer(cut.SerializeToString(), np.uint8))

    def of(self, picture: AnyArray) -> AnyArray:
        """(h, w, 3) RGB codes -> (336,)."""
        shown = cv2.resize(np.ascontiguousarray(picture), (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA)
        self._net.setInput(np.ascontiguousarray(shown.transpose(2, 0, 1)[None], np.float32) / 255)
        return np.asarray(self._net.forward(["maps", "work", _FEATURES])[2]).ravel()


def shown(photo: UInt8, dice: Dice) -> Iterator[AnyArray]:
    """A photo as it is, mirrored, turned, and parts of it in other light."""
    yield from (photo, photo[:, ::-1], np.rot90(photo))
    height, width = photo.shape[:2]
    for _ in range(_PARTS):
        rows, columns = (max(8, int(side * dice.between(0.35, 0.95))) for side in (height, width))
        top, left = dice.whole(0, height - rows + 1), dice.whole(0, width - columns + 1)
        part = photo[top : top + rows, left : left + columns]
        yield np.asarray((part / 255) ** dice.between(0.75, 1.35) * 255, np.float32)


def run(given: argparse.Namespace) -> None:
    """Learns, says what photos that are held back and the scenes get before and after, and writes the network."""
    add_folder(given.album)
    model = onnx.load(str(given.start))
    features, dice = Features(model), Dice(given.scenes)
    scenes = [scene(Dice(9_100_000 + k)) for k in range(given.scenes)]
    taught = [features.of(view) for photo in album() for view in shown(photo, dice)]
    known = np.array([*(features.of(made.picture) for made in scenes), *taught], np.float64)
    has_work = np.array([*(float(len(made.works) > 0) for made in scenes), *np.zeros(len(taught))])
    weight = np.ones(len(known))
    weight[len(scenes) :] = _PHOTOS_WEIGH * len(scenes) / max(1, len(taught))
    start = layers_of(model)
    layers = between(start, learned(known, has_work, weight, start), given.share)
    held = np.array([features.of(photo) for photo in album(tests=True)], np.float64)
    for name, each in (("before", start), ("after", layers)):
        with_work = answers(known[: len(scenes)][has_work[: len(scenes)] > 0], each)[0]
        print(
            f"{name}: of {len(held)} photos held back {(answers(held, each)[0] > 0).mean():.1%} seem to show a work, "
            f"of the scenes with one {(with_work > 0).mean():.2%}"
        )
    onnx.save(with_layers(model, layers), str(given.out))
