"""The eye for shade: a small network that looks at a work with a strip of its desk and says where a shadow lies on it.

A shadow and a wash both darken paper. What tells them apart is seen at once, and is hard to put in rules: a shadow runs
on over the desk, has the shape of a hand or a phone, is as grainy as the paper beside it, and one depth all over. What
the eye says is a witness only: the light itself is measured on the paper (see seen_shade).
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.fallen import as_fallen
from autoprep.correction.network import network
from autoprep.correction.view import View, on_work, shown_twice
from autoprep.imaging.arrays import Float32

_WEIGHTS = "shade_eye.onnx"
_WEIGHTS_SHA256 = "3bd203d4f67a062e868b0be2fd2d101786020866cbe8329d6bbbef32ce79b12d"


@dataclass(frozen=True)
class Sight:
    """What the eye makes of a work: (m, m) float32 each, over the work squeezed into a square. shade: natural log of
    what shadows leave of the light, 0 at the most; bare: the chance of bare paper between the strokes, 0..1."""

    shade: Float32
    bare: Float32

    def on(self, rows: int, cols: int) -> "Sight":
        """The same on a grid of rows and columns over the work."""
        planes = (cv2.resize(plane, (cols, rows), interpolation=cv2.INTER_LINEAR) for plane in (self.shade, self.bare))
        return Sight(*(cast(Float32, plane) for plane in planes))

    def bare_share(self) -> float:
        """Share 0..1 of the work that rather is bare paper than not."""
        return float((self.bare > 0.5).mean())


def look_for_shade(view: View) -> Sight | None:
    """The shade on an outlined work as the eye sees it; None without weights."""
    net = _net()
    if net is None:
        return None
    maps = np.mean([_seen(one) for one in shown_twice(net, view)], axis=0)
    maps[0] = as_fallen(maps[0], maps[1], view.codes, view.where)
    shade, bare = on_work(maps)
    return Sight(np.ascontiguousarray(shade, np.float32), np.ascontiguousarray(bare, np.float32))


def _seen(maps: Float32) -> Float32:
    """(2, m, m) the network's maps -> shade and chance of bare paper."""
    shade, bare = maps
    return np.stack([-np.logaddexp(0, shade), 1 / (1 + np.exp(-np.clip(bare, -30, 30)))]).astype(np.float32)


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net | None:
    """The network of this process, or None where the weights are missing or not the ones this code was made for."""
    return network("autoprep.correction", _WEIGHTS, _WEIGHTS_SHA256)
