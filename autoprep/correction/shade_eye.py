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

from autoprep.correction.fallen import BEYOND, DESK, WORK, as_fallen
from autoprep.correction.network import network
from autoprep.correction.squaring import with_surroundings
from autoprep.domain import Geometry
from autoprep.imaging.arrays import Float32, UInt8
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo

SIDE_PX, MARGIN_PX = 320, 32
"""Side of the network's input, and the width of the desk in it: works of any shape are squeezed into the square."""
_BRIGHT = 0.8  # what 99 % of the work stays below, in linear light
_WEIGHTS = "shade_eye.onnx"
_WEIGHTS_SHA256 = "3bd203d4f67a062e868b0be2fd2d101786020866cbe8329d6bbbef32ce79b12d"


@dataclass(frozen=True)
class View:
    """codes: (n, n, 3) uint8 sRGB codes; where: (n, n) uint8, BEYOND, DESK or WORK."""

    codes: UInt8
    where: UInt8


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


def look_for_shade(photo: Photo, geometry: Geometry) -> Sight | None:
    """The shade on an outlined work as the eye sees it; None without weights."""
    net = _net()
    if net is None:
        return None
    view = seen_squarely(photo, geometry)
    where = view.where[..., None].astype(np.float32) / WORK
    shown = np.concatenate([view.codes.astype(np.float32) / 255, where], axis=-1)
    maps = np.mean([_seen(net, shown), _seen(net, shown[:, ::-1])[..., ::-1]], axis=0)
    maps[0] = as_fallen(maps[0], maps[1], view.codes, view.where)
    edge = MARGIN_PX * maps.shape[-1] // SIDE_PX
    shade, bare = maps[:, edge:-edge, edge:-edge]
    return Sight(np.ascontiguousarray(shade, np.float32), np.ascontiguousarray(bare, np.float32))


def _seen(net: cv2.dnn.Net, shown: Float32) -> Float32:
    """(2, m, m) shade and chance of bare paper in one showing of the (n, n, 4) view."""
    net.setInput(np.ascontiguousarray(shown.transpose(2, 0, 1)[None], np.float32))
    shade, bare = net.forward()[0]
    return np.stack([-np.logaddexp(0, shade), 1 / (1 + np.exp(-np.clip(bare, -30, 30)))]).astype(np.float32)


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net | None:
    """The network of this process, or None where the weights are missing or not the ones this code was made for."""
    return network("autoprep.correction", _WEIGHTS, _WEIGHTS_SHA256)


def seen_squarely(photo: Photo, geometry: Geometry) -> View:
    """What the eye is shown: the work squeezed into a square with its surroundings, exposed for its lightest parts."""
    side = SIDE_PX - 2 * MARGIN_PX
    linear, beyond = with_surroundings(photo, geometry, (side, side), MARGIN_PX)
    where = np.full(beyond.shape, DESK, np.uint8)
    where[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX] = WORK
    where[beyond] = BEYOND
    on_work = where == WORK
    bright = float(np.percentile(linear[on_work] @ LUMINANCE, 99)) if on_work.any() else 1.0
    codes = encode_fast(np.clip(linear * np.float32(_BRIGHT / max(bright, 1e-4)), 0, 1)) * 255
    codes[beyond] = 0
    return View(np.round(codes).astype(np.uint8), where)
