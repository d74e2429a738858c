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
from autoprep.pixels import packed_light

_WEIGHTS = "light_eye.onnx"
_WEIGHTS_SHA256 = "177e63a2b0af082c9d879a59d4374f9a975eb8f0b6823b8f5c39d577b0cd73ce"
# What is seen is believed where by its own account it is off by less than this share of how uneven it says the light
# is; where that can be noticed at all (natural log); and where the desk, or the wall, changes along the work's rim by
# so much of what the light is said to change by there, which is so much of what it changes by in all. Of 146 photos of
# other packages that stand for pictures on a plain desk in even light, half of them with a shadow of their own beside
# them, 21 pass the first rule alone, and none passes all. Chosen on seeds 194300-195199 and on those: see "The card of
# the eye for light" in DEVELOPERS.md.
_MOST_DOUBT, _NOTICED, _GOES_ON, _OF_ALL = 0.6, 0.02, 0.4, 0.5
# The rim is looked at in so many parts a side, at so many at the least; the desk so many pixels from it, beyond the
# shadow that the work itself throws, or nearer where the photo ends before that along so much of the rim.
_PARTS, _LEAST_PARTS, _FAR_PX, _NEAR_PX = 32, 24, (14, 30), (3, 12)
_ENDS_NEAR = 0.5
_SHOWN, _RIM_PX, _SOFT_PX = 0.6, 3, 0.7
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
    said = np.concatenate([_in_parts(np.rot90(light, turns)[:_RIM_PX]) for turns in range(4)])
    far, near = (_beside(view, reach) for reach in (_FAR_PX, _NEAR_PX))
    # Right beside the work its own shadow lies on a wall.
    seen = far if np.isnan(far).mean() < _ENDS_NEAR else np.where(np.isnan(far), near, far)
    known = ~np.isnan(seen)
    if known.sum() < _LEAST_PARTS:
        return None
    x, y = said[known], seen[known]
    if x.std() <= _OF_ALL * light.std():
        return 0.0
    x, y = x - x.mean(), y - y.mean()
    return float((x @ y) / (x @ x))


def _beside(view: View, reach: tuple[int, int]) -> Float64:
    """(4 * _PARTS,) the mean log luminance of the desk at a distance from the rim, NaN where little of it shows."""
    beside = np.s_[MARGIN_PX - reach[1] : MARGIN_PX - reach[0], MARGIN_PX:-MARGIN_PX]
    shows = (view.where == DESK).astype(np.float64)
    sums, there = (
        np.concatenate([_in_parts(np.rot90(plane, turns)[beside]) for turns in range(4)])
        for plane in (view.luma * shows, shows)
    )
    return np.where(there > _SHOWN, sums / np.maximum(there, _SHOWN), np.nan)


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
    # Where the desk changes by less than what is said, so does the light.
    evened = sight.on(rows, cols) * np.float32(min(1.0, sight.goes_on or 0.0))
    return packed_light(np.repeat(evened[..., None], 3, axis=-1))


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
