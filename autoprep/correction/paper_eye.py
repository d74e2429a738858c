"""The eye for paper: a small network that looks at a work with a strip of its desk and says what its ground is.

White paper under a coloured lamp and coloured paper under a white one may look alike, and a wash that covers a sheet is
as smooth as light. What lies around tells much of it, and so does how a wash settles; this is seen at once and hard to
put in rules. What the eye says is a witness only: on pages of a kind that it has not met it sees no bare paper.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from autoprep.correction.network import network
from autoprep.correction.view import View, on_work, shown_whole
from autoprep.imaging.arrays import Bool, Float32

_WEIGHTS = "paper_eye.onnx"
_WEIGHTS_SHA256 = "e47e7111b51a57cb895ec7472f48c2356c31894258566795b9a8238ed56d0c44"


@dataclass(frozen=True)
class PaperSight:
    """What the eye makes of a work's ground: chances 0..1 that sum to 1, of paper that is white, natural or cream; of
    toned paper; and that it is covered by something painted."""

    light: float
    toned: float
    covered: float


def look_at_paper(view: View, ground: Bool) -> PaperSight | None:
    """What the eye sees on the ground of an outlined work; None without weights, or without a ground.

    ground: (H, W) where the work seems to be bare paper, in the work's own shape.
    """
    net = _net()
    if net is None or not ground.any():
        return None
    chances = _chances(on_work(shown_whole(net, view)))
    weight = cv2.resize(ground.astype(np.float32), chances.shape[:0:-1], interpolation=cv2.INTER_AREA)
    light, toned, covered = (float((plane * weight).sum() / weight.sum()) for plane in chances)
    return PaperSight(light, toned, covered)


def _chances(maps: Float32) -> Float32:
    """(3, m, m) logits -> the chances of each."""
    risen = np.exp(maps - maps.max(axis=0))
    return np.asarray(risen / risen.sum(axis=0), np.float32)


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net | None:
    """The network of this process, or None where the weights are missing or not the ones this code was made for."""
    return network("autoprep.correction", _WEIGHTS, _WEIGHTS_SHA256)
