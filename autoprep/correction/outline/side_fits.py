"""Lines fitted to the edges near straight sides, on profiles along their normals: all sides in one pass."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, cast

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import AnyArray, Bool, Float32, Float64
from autoprep.imaging.line_fits import Line, robust_lines

# Differences of chroma count so much more than those of lightness: sheet and desk often differ in tint alone.
_CHROMA = np.float32(1.6)
# A shorter side, or one with less of its surroundings in the photo, shows no edge; nor do fewer points.
_SHORTEST_PX, _LEAST_SHOWN, _FEWEST = 12, 0.3, 10
# An edge is no wider than this to either side.
_EDGE_PX = 6


class Surface(Protocol):
    """What edges are looked for on: its (height, width), and L*a*b* at continuous coordinates."""

    shape: tuple[int, int]

    def sample(self, x: Float64, y: Float64) -> Float32:
        """(M, K) and (M, K) -> (M, K, 3)."""


@dataclass(frozen=True)
class Side:
    """The edge near a side: its line, the share of the side that has an edge, the (N, 2) points that carry it, the
    median of their distances from it, and how wide it is."""

    line: Float64
    support: float
    points: Float64
    residual_px: float
    width_px: float = 6.0


@dataclass(frozen=True)
class _Strips:
    """Normals of several sides, and what the photo shows along them.

    offsets: (K,) along a normal, in pixels, outward positive; t: (R,) where on its side a normal stands, 0..1; x, y:
    (R, K); shown: (R, K) whether in the photo; gradient: (R, K), 0 out of it; rows: those of each side.
    """

    offsets: Float64
    t: Float64
    x: Float64
    y: Float64
    shown: Bool
    gradient: Float32
    rows: Sequence[slice]

    @property
    def step_px(self) -> float:
        return float(self.offsets[1] - self.offsets[0])


@dataclass(frozen=True)
class _Points:
    """The edge on each of R normals: (R, 2) where, the gradient there, and how wide the edge is."""

    places: Float64
    height: Float64
    width_px: Float64


def fit_sides(surface: Surface, ends: Float64, reach_px: float, prior_px: float) -> list[Side | None]:
    """(N, 2, 2) ends of straight sides, clockwise -> the edge near each, None where none is found.

    reach_px: how far it is looked for; prior_px: how far it may stand from the side before it must be stronger to win.
    """
    found: list[Side | None] = [None] * len(ends)
    long = np.flatnonzero(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) >= _SHORTEST_PX)
    if len(long):
        for k, side in zip(long, _fitted(_strips(surface, ends[long], reach_px), prior_px), strict=True):
            found[k] = side
    return found


def _strips(surface: Surface, ends: Float64, reach_px: float) -> _Strips:
    offsets = np.linspace(-reach_px, reach_px, int(np.clip(2 * reach_px / 0.7, 31, 61)) | 1)
    start, way = ends[:, 0], ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(way, axis=1)
    places = [np.linspace(0.04, 0.96, int(np.clip(px / 5, 40, 200))) for px in length]
    stops = np.cumsum([len(t) for t in places])
    rows = [slice(int(stop) - len(t), int(stop)) for t, stop in zip(places, stops, strict=True)]
    t, side = np.concatenate(places), np.repeat(np.arange(len(ends)), [len(t) for t in places])
    outward = np.stack([way[:, 1], -way[:, 0]], axis=1) / length[:, None]
    # Each coordinate in an array of its own: along an axis of two or three everything takes several times as long.
    x, y = ((start[side, k] + way[side, k] * t)[:, None] + outward[side, k][:, None] * offsets for k in range(2))
    shown = _in_photo(x, y, surface.shape)
    return _Strips(offsets, t, x, y, shown, _gradient(surface, x, y, rows, offsets[1] - offsets[0]) * shown, rows)


def _in_photo(x: Float64, y: Float64, shape: tuple[int, int]) -> Bool:
    """(R, K) where a grid with straight rows lies in a photo of (height, width), its rim apart."""
    ends = np.s_[:, :: x.shape[1] - 1]
    if _inside(x[ends], y[ends], shape).all():
        return np.ones(x.shape, bool)
    return _inside(x, y, shape)


def _inside(x: Float64, y: Float64, shape: tuple[int, int]) -> Bool:
    height, width = shape
    return np.asarray((x > 1.5) & (x < width - 1.5) & (y > 1.5) & (y < height - 1.5))


def _gradient(surface: Surface, x: Float64, y: Float64, rows: Sequence[slice], step_px: float) -> Float32:
    """(R, K) gradient magnitude along each normal, smoothed along the sides."""
    values = np.empty((*x.shape, 3), np.float32)
    for side in rows:
        values[side] = cv2.blur(surface.sample(x[side], y[side]), (1, 5), borderType=cv2.BORDER_REPLICATE)
    sigma = max(0.01, 0.8 / step_px)
    if sigma > 0.6:
        values = cast(Float32, cv2.GaussianBlur(values, (0, 0), sigmaX=sigma, sigmaY=0.01))
    flat = values.reshape(len(x), -1)
    squares = (flat[:, 6:] - flat[:, :-6]) ** 2
    gradient = np.zeros(x.shape, np.float32)
    chroma = squares[:, 1::3] + squares[:, 2::3]
    np.sqrt(squares[:, 0::3] + _CHROMA**2 * chroma, out=gradient[:, 1:-1])
    return gradient


def _fitted(strips: _Strips, prior_px: float) -> list[Side | None]:
    """The line of each side through the points of its best ridge."""
    floors = [_floor(strips.gradient[rows], strips.shown[rows]) for rows in strips.rows]
    ridges = [_best_ridge(strips, rows, floor, prior_px) for rows, floor in zip(strips.rows, floors, strict=True)]
    points = _points(strips, np.concatenate(ridges))
    good = [_good(points, strips, rows, floor) for rows, floor in zip(strips.rows, floors, strict=True)]
    kept = [k for k, chosen in enumerate(good) if len(chosen) >= _FEWEST]
    if not kept:
        return [None] * len(good)
    weights = [np.minimum(points.height[good[k]], 2 * floors[k]) for k in kept]
    lines = dict(zip(kept, robust_lines([points.places[good[k]] for k in kept], weights), strict=True))
    return [
        _side(points, strips.rows[k], good[k], floors[k], lines[k]) if k in lines else None for k in range(len(good))
    ]


def _floor(gradient: Float32, shown: Bool) -> float:
    """The gradient that counts as hardly more than nothing, of one side's."""
    seen = gradient[shown]
    return quick.quantile(seen, 0.85) + 0.8 if len(seen) else 0.8


def _good(points: _Points, strips: _Strips, rows: slice, floor: float) -> AnyArray:
    """Which of all points may carry the line of one side; none where the photo shows too little of it."""
    if strips.shown[rows].mean() < _LEAST_SHOWN:
        return np.empty(0, np.intp)
    return np.asarray(np.flatnonzero(points.height[rows] > 0.25 * floor) + rows.start)


def _side(points: _Points, rows: slice, good: AnyArray, floor: float, line: Line) -> Side:
    support = float((points.height[rows] > max(0.5 * floor, 1.5)).mean())
    width_px = quick.median(points.width_px[good])
    return Side(line.line, support, points.places[good[line.relative > 0.3]], line.residual_px, width_px)


def _best_ridge(strips: _Strips, rows: slice, floor: float, prior_px: float) -> Float64:
    """(M,) index along each normal of one side of the straight ridge with the most gradient under it.

    Every second pair of ends is tried on every second normal, then all pairs near the best on all of them: the profiles
    are smooth, so nothing hides between.
    """
    gradient, offsets = np.minimum(strips.gradient[rows], np.float32(2.5 * floor)), strips.offsets
    t, every = strips.t[rows], np.arange(0, len(offsets), 2)
    first, last = _best_ends(gradient[::2], t[::2], every, every, offsets, prior_px)
    near_first, near_last = _near(first, len(offsets)), _near(last, len(offsets))
    first, last = _best_ends(gradient, t, near_first, near_last, offsets, prior_px)
    return cast(Float64, first * (1 - t) + last * t)


def _near(index: int, count: int) -> AnyArray:
    return np.arange(max(0, index - 2), min(count, index + 3))


def _best_ends(
    gradient: Float32, t: Float64, firsts: AnyArray, lasts: AnyArray, offsets: Float64, prior_px: float
) -> tuple[int, int]:
    """The first and the last index of the best straight ridge, of those given."""
    count, t32 = len(offsets), t.astype(np.float32)
    # Places in the plane laid out as one row; half a step more, for what is cut off is the fraction.
    rows = np.arange(len(t), dtype=np.float32) * count + np.float32(0.5)
    ends = (values.astype(np.float32) for values in (firsts, lasts))
    places = np.multiply.outer(next(ends), 1 - t32)[:, None] + (np.multiply.outer(next(ends), t32) + rows)[None]
    score = gradient.ravel().take(places.astype(np.intp)).mean(-1)
    squares = offsets[firsts, None] ** 2 + offsets[None, lasts] ** 2
    score = score * np.exp(-squares / (2 * (2 * prior_px) ** 2))
    at = np.unravel_index(int(score.argmax()), score.shape)
    return int(firsts[at[0]]), int(lasts[at[1]])


def _points(strips: _Strips, ridge: Float64) -> _Points:
    """The highest place near the ridge on each normal, to a fraction of a step."""
    gradient, step_px, last = strips.gradient, strips.step_px, len(strips.offsets) - 1
    rows = np.arange(len(ridge))
    peak = _greatest_near(gradient, ridge, max(2.0, 1.4 / step_px)).clip(1, last - 1)
    before, at, after = (gradient[rows, peak + k].astype(np.float64) for k in (-1, 0, 1))
    bend = before - 2 * at + after
    curved = np.abs(bend) > 1e-6
    shift = np.where(curved, 0.5 * (before - after) / np.where(curved, bend, 1), 0)
    share = (peak + np.clip(shift, -0.6, 0.6)) / last
    x, y = (plane[:, 0] * (1 - share) + plane[:, -1] * share for plane in (strips.x, strips.y))
    near = np.abs(np.arange(last + 1) - peak[:, None]) * step_px <= _EDGE_PX
    width = (gradient * near).sum(1) / np.maximum(at, 1e-9) * step_px
    return _Points(np.stack([x, y], axis=1), at, width)


def _greatest_near(gradient: Float32, ridge: Float64, reach: float) -> AnyArray:
    """(R,) the place in each row of the greatest value within so many places of the ridge; the first of equals."""
    window = np.ceil(ridge - reach)[:, None].astype(int) + np.arange(int(2 * reach) + 1)
    places = np.clip(window, 0, gradient.shape[1] - 1)
    values = np.take_along_axis(gradient, places, axis=1)
    values[np.abs(places - ridge[:, None]) > reach] = -1
    return cast(AnyArray, np.take_along_axis(places, values.argmax(1)[:, None], axis=1)[:, 0])
