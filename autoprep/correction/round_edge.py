"""The edge of a round or oval work in the rectangle around it: the corners beside it are desk, and become ground."""

from typing import cast

import cv2
import numpy as np

from autoprep.correction.squaring import with_surroundings
from autoprep.domain import Corner, Geometry
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.colour import lab_fast
from autoprep.pixels import Photo

# The rectangle is squeezed into a square of so many pixels, with a margin of its desk: an oval is a circle there.
_SIDE_PX, _MARGIN_PX, _ANGLES = 384, 40, 360
# The edge is looked for between these shares of the half side; in the corners, where a four-sided work goes on, it must
# lie within so much of one oval in so many directions, and be so strong in L*a*b*. The rectangle may lie off the work
# by so much.
_FROM, _TO, _ON_OVAL, _SURE, _STRONG, _OFF_CIRCLE = 0.9, 1.06, 0.015, 0.9, 3.0, 0.05
_CORNER_DEG = 28
# So far into the rectangle its corners are looked at, through a blur of so many pixels in all: what is read of each.
_LOOKED_AT, _BLUR_SIDE = _SIDE_PX // 16, 7
_CORNER_PX, _WHOLE_PX = _MARGIN_PX + _LOOKED_AT + _BLUR_SIDE // 2, _SIDE_PX + 2 * _MARGIN_PX
# The corners beside it are of the desk's colour, in L*a*b*: those of a sheet with a round picture on it are not.
_LIKE_DESK = 9.0
# A hand-cut disc is followed where it is off an oval by more than so much; the rim itself, so many pixels, goes.
_UNROUND, _SMOOTH_DEG, _RIM_PX = 0.004, 3.0, 1.0


def round_edge(photo: Photo, geometry: Geometry) -> tuple[Corner, ...] | None:
    """The edge as points, 0..1 across and down the rectangle; None where the work is not round."""
    size, ends = (_SIDE_PX, _SIDE_PX), ((0, _CORNER_PX), (_WHOLE_PX - _CORNER_PX, _WHOLE_PX))
    corners, beyond = with_surroundings(photo, geometry, size, _MARGIN_PX, [(y, x) for y in ends for x in ends])
    if beyond.any():
        return None
    # Most works go on in their corners: of those no more is looked at.
    if not _corners_are_desk(corners):
        return None
    radius, strength = _edge(_calm(with_surroundings(photo, geometry, size, _MARGIN_PX)[0]))
    turn = np.arange(_ANGLES) * 360 / _ANGLES
    corner = np.abs(turn % 90 - 45) < _CORNER_DEG
    oval = _oval(np.radians(turn), radius, strength)
    on_it = (np.abs(radius - oval) < _ON_OVAL) & (strength > _STRONG)
    if on_it[corner].mean() < _SURE or np.abs(oval - 1).max() > _OFF_CIRCLE:
        return None
    kept = _followed(radius, on_it, oval) - _RIM_PX / (_SIDE_PX / 2)
    x, y = 0.5 + kept * np.cos(np.radians(turn)) / 2, 0.5 + kept * np.sin(np.radians(turn)) / 2
    points = np.clip(np.stack([x, y], axis=1), 0, 1)[::2]
    return tuple((round(float(px), 5), round(float(py), 5)) for px, py in points)


def _calm(linear: Float32) -> Float32:
    """(H, W, 3) linear light -> L*a*b* without its noise."""
    return cast(Float32, cv2.GaussianBlur(lab_fast(linear), (_BLUR_SIDE, _BLUR_SIDE), 0.8))


def _corners_are_desk(shown: Float32) -> bool:
    """Whether all four corners of the rectangle, in linear light, look like what lies beyond them."""
    near, side = _MARGIN_PX, _LOOKED_AT
    for rows in (slice(near, near + side), slice(-near - side, -near)):
        for columns in (slice(near, near + side), slice(-near - side, -near)):
            beyond_rows = slice(0, near - 4) if rows.start > 0 else slice(-near + 4, None)
            ends = (np.s_[:_CORNER_PX] if part.start > 0 else np.s_[-_CORNER_PX:] for part in (rows, columns))
            lab = _calm(np.ascontiguousarray(shown[tuple(ends)]))
            inside, beside = (np.median(lab[part, columns].reshape(-1, 3), axis=0) for part in (rows, beyond_rows))
            if float(np.linalg.norm(inside - beside)) > _LIKE_DESK:
                return False
    return True


def _edge(lab: Float32) -> tuple[Float64, Float64]:
    """(n,) where the strongest change lies in each direction, in half sides of the rectangle, and how strong it is."""
    half = _SIDE_PX / 2
    radii = np.arange(_FROM * half, _TO * half, 0.5)
    turn = np.radians(np.arange(_ANGLES) * 360 / _ANGLES)[:, None]
    centre = _MARGIN_PX + half - 0.5
    places = (centre + radii * np.cos(turn), centre + radii * np.sin(turn))
    across, down = (place.astype(np.float32) for place in places)
    rays = np.asarray(cv2.remap(lab, across, down, cv2.INTER_LINEAR), np.float32)
    change = np.linalg.norm(rays[:, 4:] - rays[:, :-4], axis=2)
    change = np.asarray(cv2.blur(np.pad(change, ((2, 2), (0, 0)), mode="wrap"), (1, 5)))[2:-2]
    at = change.argmax(axis=1)
    return radii[at + 2] / half, change[np.arange(len(at)), at].astype(np.float64)


def _oval(turn: Float64, radius: Float64, strength: Float64) -> Float64:
    """(n,) the radius of the oval through most edge points, which need not lie in the middle of the rectangle."""
    waves = [np.ones_like(turn), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)]
    terms, weight = np.stack(waves, axis=1), np.minimum(strength, 4 * _STRONG)
    fitted = np.ones_like(radius)
    for _ in range(6):
        root = np.sqrt(weight)[:, None]
        fitted = terms @ np.linalg.lstsq(terms * root, radius[:, None] * root, rcond=None)[0][:, 0]
        weight = np.minimum(strength, 4 * _STRONG) / (1 + ((radius - fitted) / (_ON_OVAL / 2)) ** 2)
    return np.asarray(fitted, np.float64)


def _followed(radius: Float64, known: AnyArray, oval: Float64) -> Float64:
    """The radius in each direction: the oval's where the work is one, else that of its edge, smoothed."""
    off = np.pad(np.where(known, radius - oval, 0), 20, mode="wrap").astype(np.float32)[None]
    calm = np.asarray(cv2.GaussianBlur(off, (0, 0), _SMOOTH_DEG))[0, 20:-20].astype(np.float64)
    return oval + calm if float(np.std(calm)) > _UNROUND else oval
