"""The eye for light: a small network that says how bright the light is at each place of a work without bare paper.

On paper the light is measured. A painting hides it: what is dark there may be painted dark. But a shadow that lies over
a picture runs on over the wall, takes every colour alike and stops at no stroke; and a lamp's light falls off on the
wall as on the canvas. This is seen at once and hard to put in rules. Where what is seen is doubtful, or nothing shows
around the work that could tell light from paint, the light is left alone.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.fallen import DESK
from autoprep.correction.network import network
from autoprep.correction.view import MARGIN_PX, View, on_work, shown_twice
from autoprep.domain import Declined, LightField
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.pixels import packed_light

_WEIGHTS = "light_eye.onnx"
_WEIGHTS_SHA256 = "177e63a2b0af082c9d879a59d4374f9a975eb8f0b6823b8f5c39d577b0cd73ce"
# What is seen is believed where by its own account it is off by less than this share of how uneven it says the light
# is; where that can be noticed at all (natural log); and where the desk, or the wall, changes along the work's rim by
# so much of what the light is said to change by there, which is so much of what it changes by in all. Of 219 photos of
# other packages that stand for pictures on a plain desk in even light 36 pass the first rule alone, and none passes
# all. Chosen on seeds 194300-195179 and on those: see "The card of the eye for light" in DEVELOPERS.md.
_MOST_DOUBT, _NOTICED, _GOES_ON, _OF_ALL = 0.6, 0.02, 0.5, 0.5
# The rim is looked at in so many parts a side, the desk so many pixels from it; at so many parts at the least.
_PARTS, _OUT_PX, _LEAST_PARTS = 32, (3, 12), 24
_SHOWN, _RIM_PX = 0.6, 3
_DARKEST, _SOFT_PX = 0.003, 0.7
# Nodes along the longer side where the light changes slowly, and where it steps by so much from place to place.
_NODES, _NODES_AT_BORDERS, _STEEP = 40, 128, 0.03


@dataclass(frozen=True)
class LightSight:
    """light: (m, m) float32 natural log of the light over the work squeezed into a square, 0 in its median; doubt: how
    far it is off in the mean by the eye's own account; goes_on: by how much the desk changes along the work's rim for
    what the light is said to change by there, 0 where that is little of all that it changes by; None where too little
    of the desk shows."""

    light: Float32
    doubt: float
    goes_on: float | None

    @property
    def uneven(self) -> float:
        """Standard deviation of the light's natural log over the work."""
        return float(self.light.std())

    def on(self, rows: int, cols: int) -> Float32:
        """(rows, cols) the light on a grid over the work."""
        smooth = cv2.INTER_AREA if max(rows, cols) < self.light.shape[0] else cv2.INTER_LINEAR
        return cast(Float32, cv2.resize(self.light, (cols, rows), interpolation=smooth))


def look_at_light(view: View) -> LightSight | None:
    """The light on an outlined work as the eye sees it; None without weights."""
    net = _net()
    if net is None:
        return None
    one, other = (on_work(maps) for maps in shown_twice(net, view))
    light = np.ascontiguousarray((one[0] + other[0]) / 2, np.float32)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), _SOFT_PX), np.float32)
    doubt = float(np.exp((one[1] + other[1]) / 2).mean())
    return LightSight(light - np.float32(np.median(light)), doubt, _goes_on(view, light))


def _goes_on(view: View, light: Float32) -> float | None:
    """The slope of the desk's log luminance beside the rim on the light that is seen within it, part by part."""
    desk = np.log(np.maximum(srgb_to_linear(view.codes / 255.0) @ LUMINANCE.astype(np.float64), _DARKEST))
    shows = view.where == DESK
    said, seen = [], []
    for turns in range(4):
        beside = np.s_[MARGIN_PX - _OUT_PX[1] : MARGIN_PX - _OUT_PX[0], MARGIN_PX:-MARGIN_PX]
        strip, there = (_in_parts(np.rot90(plane, turns)[beside]) for plane in (desk * shows, shows.astype(np.float64)))
        whole = there > _SHOWN
        said.append(_in_parts(np.rot90(light, turns)[:_RIM_PX])[whole])
        seen.append((strip / np.maximum(there, _SHOWN))[whole])
    x, y = (np.concatenate(values) for values in (said, seen))
    if len(x) < _LEAST_PARTS:
        return None
    if x.std() <= _OF_ALL * light.std():
        return 0.0
    x, y = x - x.mean(), y - y.mean()
    return float((x @ y) / (x @ x))


def _in_parts(strip: AnyArray) -> Float64:
    """(rows, columns) -> (_PARTS,) the means along the columns."""
    return np.array([part.mean() for part in np.array_split(strip, _PARTS, axis=1)])


def light_seen(view: View, ratio: float) -> LightField | Declined | None:
    """The light on a work of a width to height as the eye sees it in its view, 0 in the median; why it is left alone
    where it is not believed; None without weights."""
    sight = look_at_light(view)
    if sight is None:
        return None
    doubt = doubtful(sight)
    if doubt is not None:
        return doubt
    steep = max(float(np.abs(np.diff(sight.light, axis=axis)).max()) for axis in (0, 1))
    most = _NODES if steep < _STEEP else _NODES_AT_BORDERS
    rows, cols = (most, max(4, round(most * ratio))) if ratio <= 1 else (max(4, round(most / ratio)), most)
    return packed_light(np.repeat(sight.on(rows, cols)[..., None], 3, axis=-1))


def doubtful(sight: LightSight) -> Declined | None:
    """Why what the eye sees is not believed; None where it is."""
    if sight.goes_on is None:
        return Declined(reason="too little shows around the work to tell light from paint; the light is left alone")
    if sight.uneven < _NOTICED:
        return Declined(reason="the light on the work looks even")
    if sight.doubt > _MOST_DOUBT * sight.uneven or sight.goes_on < _GOES_ON:
        return Declined(reason="light and paint can't be told apart for sure; the light is left alone")
    return None


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net | None:
    """The network of this process, or None where the weights are missing or not the ones this code was made for."""
    return network("autoprep.correction", _WEIGHTS, _WEIGHTS_SHA256)
