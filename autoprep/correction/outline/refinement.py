"""Line fits on edge profiles along the normals of each side: from a rough quad to sub-pixel corners."""

from dataclasses import dataclass
from typing import Protocol, cast

import cv2
import numpy as np

from autoprep.correction.outline.candidates import sample_at
from autoprep.imaging.arrays import AnyArray, Bool, Float32, Float64, float32
from autoprep.imaging.geometry import intersect, line_through, middle_and_way

_WEIGHT = float32([1.0, 1.6, 1.6])


@dataclass(frozen=True)
class Refined:
    """A refined quad: (4, 2) corners, per-side support 0..1, and the edge points that carry each side's line.

    widths_px: how wide each side's edge is; a sheet's is as sharp as the photo, a shadow's is not.
    """

    quad: Float64
    support: Float64
    points: tuple[Float64, Float64, Float64, Float64]
    residual_px: float
    widths_px: Float64


Sides = tuple[bool, bool, bool, bool]
_NONE: Sides = (False, False, False, False)


class Surface(Protocol):
    """What edges are looked for on: its (height, width), and L*a*b* at continuous coordinates."""

    shape: tuple[int, int]

    def sample(self, x: Float64, y: Float64) -> Float32:
        """(M, K) and (M, K) -> (M, K, 3)."""


class _Plane:
    """A picture in L*a*b*."""

    def __init__(self, lab: Float32) -> None:
        self._lab, self.shape = lab, (lab.shape[0], lab.shape[1])

    def sample(self, x: Float64, y: Float64) -> Float32:
        return np.asarray(sample_at(self._lab, x, y), np.float32)


def refine(
    lab: Float32 | Surface,
    quad: Float64,
    reach: float = 0.012,
    rounds: int = 2,
    prior: float = 0.006,
    held: Sides = _NONE,
) -> Refined:
    """Fit a line to the strongest coherent edge near each side, and cross the lines.

    lab: (H, W, 3) float32 L*a*b*, or what gives it at points; quad in the same picture's coordinates; reach and prior
    are shares of the diagonal: how far to look, and how far an edge may stand from the rough side before it must be
    stronger to win.
    held: sides that stay where they are, because the photo's border cuts the work there.
    """
    surface = _Plane(lab) if isinstance(lab, np.ndarray) else lab
    quad = np.asarray(quad, np.float64)
    support, points, residual = np.zeros(4), tuple(np.empty((0, 2)) for _ in range(4)), 0.0
    widths = np.full(4, 6.0)
    for turn in range(rounds):
        diagonal = float(np.linalg.norm(quad[0] - quad[2]) + np.linalg.norm(quad[1] - quad[3])) / 2
        reach_px = max(3.0, reach * diagonal * 0.5**turn)
        prior_px = max(1.5, prior * diagonal * 0.6**turn)
        ends = [(quad[i], quad[(i + 1) % 4]) for i in range(4)]
        sides = [_kept(*ends[i]) if held[i] else _side(surface, *ends[i], reach_px, prior_px) for i in range(4)]
        moved = np.array([intersect(sides[i - 1].line, sides[i].line) for i in range(4)])
        if not np.isfinite(moved).all() or np.linalg.norm(moved - quad, axis=1).max() > 3 * reach_px:
            break
        quad = moved
        support = np.array([side.support for side in sides])
        points = tuple(side.points for side in sides)
        residual = float(np.mean([side.residual_px for side in sides]))
        widths = np.array([side.width_px for side in sides])
    return Refined(quad, support, cast(tuple[Float64, Float64, Float64, Float64], points), residual, widths)


@dataclass(frozen=True)
class _Side:
    line: Float64
    support: float
    points: Float64
    residual_px: float
    width_px: float = 6.0


def _kept(start: Float64, end: Float64) -> _Side:
    return _Side(line_through(start, end), 0.0, np.empty((0, 2)), 0.0)


def _side(surface: Surface, start: Float64, end: Float64, reach_px: float, prior_px: float) -> _Side:
    """The edge near one side: all pairs of end offsets are tried, then points are fitted around the best."""
    kept = _kept(start, end)
    length = float(np.linalg.norm(end - start))
    if length < 12:
        return kept
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    offsets = np.linspace(-reach_px, reach_px, int(np.clip(2 * reach_px / 0.7, 31, 61)) | 1)
    t = np.linspace(0.04, 0.96, int(np.clip(length / 5, 40, 200)))
    # Each coordinate in an array of its own: along an axis of two or three everything takes several times as long.
    x, y = (np.add.outer(start[k] + (end - start)[k] * t, outward[k] * offsets) for k in range(2))
    shown = _in_photo(x, y, surface.shape)
    if shown.mean() < 0.3:
        return kept
    gradient = _profiles(surface, x, y, offsets[1] - offsets[0]) * shown
    floor = _quantile(gradient[shown], 0.85) + 0.8
    ridge = _best_pair(np.minimum(gradient, np.float32(2.5 * floor)), offsets, t, prior_px)
    return _fit_points(gradient, floor, ridge, offsets, (x, y), kept)


def _in_photo(x: Float64, y: Float64, shape: tuple[int, int]) -> Bool:
    """(M, K) where a grid with straight rows and columns lies in a photo of (height, width), its rim apart."""
    ends = np.s_[:: max(1, len(x) - 1), :: max(1, x.shape[1] - 1)]
    if _inside(x[ends], y[ends], shape).all():
        return np.ones(x.shape, bool)
    return _inside(x, y, shape)


def _inside(x: Float64, y: Float64, shape: tuple[int, int]) -> Bool:
    height, width = shape
    return np.asarray((x > 1.5) & (x < width - 1.5) & (y > 1.5) & (y < height - 1.5))


def _profiles(surface: Surface, x: Float64, y: Float64, step_px: float) -> Float32:
    """(M, K) gradient magnitude along each normal, smoothed along the side."""
    values = surface.sample(x, y)
    count = len(x)
    values = (values.reshape(count, -1) * np.tile(_WEIGHT, x.shape[1])).reshape(values.shape)
    values = cast(Float32, cv2.blur(values, (1, 5), borderType=cv2.BORDER_REPLICATE))
    sigma = max(0.01, 0.8 / step_px)
    if sigma > 0.6:
        values = cast(Float32, cv2.GaussianBlur(values, (0, 0), sigmaX=sigma, sigmaY=0.01))
    flat = values.reshape(count, -1)
    squares = (flat[:, 6:] - flat[:, :-6]) ** 2
    gradient = np.zeros(x.shape, np.float32)
    np.sqrt(squares[:, 0::3] + squares[:, 1::3] + squares[:, 2::3], out=gradient[:, 1:-1])
    return gradient


def _quantile(values: Float32, share: float) -> float:
    """What `numpy.quantile` gives, in a third of its time."""
    place = (len(values) - 1) * share
    below = int(place)
    above = min(below + 1, len(values) - 1)
    ordered = np.partition(values, (below, above))
    return float(ordered[below] + (ordered[above] - ordered[below]) * np.float32(place - below))


def _best_pair(gradient: Float32, offsets: Float64, t: Float64, prior_px: float) -> Float64:
    """(M,) index along each normal of the straight ridge with the most gradient under it.

    Every second pair of ends is tried on every second normal, then all pairs near the best on all of them: the profiles
    are smooth, so nothing hides between.
    """
    every = np.arange(0, len(offsets), 2)
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


def _fit_points(
    gradient: Float32,
    floor: float,
    ridge: Float64,
    offsets: Float64,
    grid: tuple[Float64, Float64],
    kept: _Side,
) -> _Side:
    step_px = offsets[1] - offsets[0]
    rows = np.arange(len(ridge))
    peak = _greatest_near(gradient, ridge, max(2.0, 1.4 / step_px)).clip(1, len(offsets) - 2)
    before, at, after = (gradient[rows, peak + k].astype(np.float64) for k in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(np.abs(bend) > 1e-6, 0.5 * (before - after) / np.where(np.abs(bend) > 1e-6, bend, 1), 0)
    exact = peak + np.clip(shift, -0.6, 0.6)
    low = np.floor(exact).astype(int)
    part = exact - low
    next_ = np.minimum(low + 1, len(offsets) - 1)
    points = np.stack([plane[rows, low] * (1 - part) + plane[rows, next_] * part for plane in grid], axis=1)
    good = at > 0.25 * floor
    if good.sum() < 10:
        return kept
    line, weight, residual = robust_line(points[good], np.minimum(at[good], 2 * floor))
    support = float((at > max(0.5 * floor, 1.5)).mean())
    near = np.abs(np.arange(len(offsets)) - peak[good, None]) * step_px <= _EDGE_PX
    width = float(np.median((gradient[good] * near).sum(1) / at[good]))
    return _Side(line, support, points[good][weight > 0.3], residual, width * step_px)


# An edge is no wider than this to either side.
_EDGE_PX = 6


def _greatest_near(gradient: Float32, ridge: Float64, reach: float) -> AnyArray:
    """(M,) the place in each row of the greatest value within so many places of the ridge; the first of equals."""
    window = np.ceil(ridge - reach)[:, None].astype(int) + np.arange(int(2 * reach) + 1)
    places = np.clip(window, 0, gradient.shape[1] - 1)
    values = np.take_along_axis(gradient, places, axis=1)
    values[np.abs(places - ridge[:, None]) > reach] = -1
    return cast(AnyArray, np.take_along_axis(places, values.argmax(1)[:, None], axis=1)[:, 0])


def robust_line(points: Float64, weight: Float64) -> tuple[Float64, Float64, float]:
    """Iteratively reweighted line through (N, 2) points: (a, b, c), relative weights, median residual in px."""
    places = points[:, 0] + 1j * points[:, 1]
    start, middle = weight, len(places) // 2
    relative, residual = np.ones(len(places)), 0.0
    centre, along = 0j, 1 + 0j
    for _ in range(6):
        centre, along = middle_and_way(places, weight / weight.sum())
        distance = np.abs(((places - centre) * along.conjugate()).imag)
        residual = float(np.partition(distance, middle)[middle])
        scale = max(0.12, 1.4826 * residual)
        relative = 1 / np.maximum(1, (distance / (1.5 * scale)) ** 2)
        weight = start * relative + 1e-9
    normal = np.array([-along.imag, along.real])
    return np.append(normal, -(normal[0] * centre.real + normal[1] * centre.imag)), relative, residual
