"""The search for the level of bare paper: the picture under search, its lightest level, the light that it implies."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import cv2
import numpy as np

from autoprep.imaging import fields, quick
from autoprep.imaging.arrays import DARKEST, AnyArray, Bool, Float32, Float64, UInt16
from autoprep.imaging.colour import LUMINANCE, luminance
from autoprep.imaging.planes import rim_of, slope_of

SEARCH_PX = 480  # long side; chosen: paper tooth and sensor noise average out, pen lines still show as texture
_RIM = 0.05  # the rim is this share of the shorter side; chosen from usual sketchbook margins
# Of a long strip that would be two or three pixels, and a whisker of the desk in the outermost one keeps those from
# being smooth: softening, the slope and its mean each look a pixel on.
_LEAST_RIM_PX = 5
_RIM_WEIGHT = 3.0
_CELLS, _FEWEST_IN_CELL = 26, 6
_BIN = 0.004  # histogram bins in natural-log units: 0.4 % of light
# A lighter level must hold this share of the weight, and this share of the largest level's, to be the paper.
_LEVEL_SHARE, _LEVEL_RATIO = 0.012, 0.10
_WHOLLY = 0.9


@dataclass(frozen=True)
class Search:
    """The picture under search, flattened: logs (3, N), luma (N,), coordinates, smoothness, rim and weights."""

    shape: tuple[int, int]
    logs: Float32
    luma: Float32
    x: Float64
    y: Float64
    smooth: Bool
    rim: Bool
    weight: Float64

    @cached_property
    def smooth_weight(self) -> Float64:
        """(n,) the weights of the smooth places."""
        return self.weight[self.smooth]

    @cached_property
    def cell(self) -> AnyArray:
        """(N,) in which of 16 x 16 cells each place lies."""
        height, width = self.shape
        rows, columns = (np.arange(length) * 16 // length for length in (height, width))
        return (rows[:, None] * 16 + columns).ravel()


def prepare(small: Float32) -> Search:
    """(h, w, 3) float32 linear light, softened -> the search on it."""
    height, width = small.shape[:2]
    logs = np.ascontiguousarray(quick.log(np.maximum(small, DARKEST)).reshape(-1, 3).T)
    luma = quick.log(np.maximum(luminance(small), DARKEST))
    changes = _smoothness(luma)
    smooth = changes < max(0.022, 1.6 * quick.quantile(changes, 0.2))
    rim, outermost = rims(luma.shape)
    inside = ~outermost
    x, y = fields.grid_coordinates(height, width)
    weight = np.where(rim, _RIM_WEIGHT, 1.0) * inside
    flat = (smooth & inside & (luma > np.log(4 * DARKEST))).ravel()
    return Search((height, width), logs, luma.ravel(), x, y, flat, rim.ravel(), weight.ravel())


def _smoothness(luma: Float32) -> Float64:
    """(h, w) local change of log luminance, per pixel."""
    return cast(Float64, cv2.blur(slope_of(luma), (3, 3)).astype(np.float64))


def rims(shape: tuple[int, ...]) -> tuple[Bool, Bool]:
    """(h, w) along the border, and the outermost pixels of that, which may still hold a whisker of the desk."""
    band = max(_LEAST_RIM_PX, round(_RIM * min(shape)))
    return rim_of(shape, band), rim_of(shape, max(1, band // 6))


def envelope(search: Search) -> Float64:
    """(terms, 3) first guess: a plane through the light parts of a grid of cells, darker cells discounted."""
    height, width = search.shape
    rows, cols = (np.arange(length) * _CELLS // length for length in (height, width))
    cell = (rows[:, None] * _CELLS + cols).ravel()
    usable = np.flatnonzero(search.smooth)
    picks = _light_of_each(cell[usable].astype(np.uint16), search.luma[usable])
    chosen = usable[picks] if len(picks) >= 8 else usable
    weight, terms = search.weight[chosen], fields.basis(search.x[chosen], search.y[chosen], 1)
    logs = search.logs[:, chosen].T
    coefficients = fields.solve(terms, logs, weight, 1)
    for _ in range(12):
        below = search.luma[chosen] - luma_of((terms @ coefficients).T)
        discount = np.where(below < -0.03, 0.06, 1.0)
        coefficients = fields.solve(terms, logs, weight * discount, 1)
    return coefficients


def _light_of_each(cell: UInt16, luma: Float32) -> AnyArray:
    """(N,) the cells that pixels lie in and their luma -> the pixel at the quantile .85 of each cell with enough of
    them, the first of equals."""
    order = np.argsort(cell, kind="stable")  # whole numbers of two bytes are sorted in a fraction of the time
    counts = np.bincount(cell, minlength=_CELLS * _CELLS)
    first, held = np.cumsum(counts) - counts, counts >= _FEWEST_IN_CELL
    table = np.full((len(counts), counts.max(initial=1)), np.inf, np.float32)
    table[np.arange(table.shape[1]) < counts[:, None]] = luma[order]
    table, wanted = table[held], (0.85 * counts[held]).astype(int)
    value = np.sort(table, axis=1)[np.arange(len(table)), wanted][:, None]
    nth = wanted - (table < value).sum(axis=1) + 1
    at = (np.cumsum(table == value, axis=1) == nth[:, None]).argmax(axis=1)
    return np.asarray(order[first[held] + at])


def luma_of(logs: AnyArray) -> Float32:
    """(3, N) natural logs of linear RGB -> (N,) those of luminance."""
    return quick.log(np.maximum(LUMINANCE @ quick.exp(np.asarray(logs, np.float32)), DARKEST))


def expected_of(search: Search, field: Float64) -> Float32:
    """(3, N) natural logs of what bare paper would show."""
    return fields.evaluate_planes(field, *search.shape)


def members(search: Search, field: Float64, tolerance: float) -> Bool:
    """The pixels of the lightest substantial level after the field is taken out."""
    expected = expected_of(search, field)
    rest = search.luma - luma_of(expected)
    level = _lightest_level(rest[search.smooth], search.smooth_weight, tolerance)
    near = np.asarray(search.smooth & (np.abs(rest - level) < tolerance))
    at = np.flatnonzero(near)
    if len(at) < 60:
        return near
    some = at[:: max(1, len(at) // _ENOUGH)]
    off_tint = np.zeros(len(rest), np.float32)
    for seen, promised in zip(search.logs, expected, strict=True):
        tint = seen - promised
        tint -= rest
        tint -= np.float32(quick.median(tint[some]))
        np.maximum(off_tint, np.abs(tint, out=tint), out=off_tint)
    return cast(Bool, near & (off_tint < max(0.6 * tolerance, 0.022)))


def _lightest_level(rest: Float32, weight: Float64, tolerance: float) -> float:
    low, high = -1.2, 0.8
    bins = round((high - low) / _BIN)
    # One bin more at each end holds what lies beyond, which takes less than to leave it out before.
    places = (rest - low) / _BIN
    np.floor(places, out=places)
    places += 1
    np.clip(places, 0, bins + 1, out=places)
    counts = np.bincount(places.astype(np.intp), weights=weight, minlength=bins + 2)[1:-1]
    reach = max(1, round(0.35 * tolerance / _BIN))
    smoothed = np.convolve(counts, np.hanning(2 * reach + 3)[1:-1], mode="same")
    mass = np.convolve(counts, np.ones(2 * reach + 1), mode="same")
    rising = np.r_[False, smoothed[1:] >= smoothed[:-1]]
    falling = np.r_[smoothed[:-1] > smoothed[1:], True]
    peaks = np.flatnonzero(rising & falling & (smoothed > 0))
    if not len(peaks):
        return 0.0
    enough = mass[peaks] >= max(_LEVEL_SHARE * weight.sum(), _LEVEL_RATIO * mass[peaks].max())
    best = peaks[enough][-1] if enough.any() else peaks[mass[peaks].argmax()]
    return float(low + (best + 0.5) * _BIN)


def degree_of(search: Search, mask: Bool, most: int) -> int:
    """The highest order that the spread of the paper over the sheet supports."""
    height, width = search.shape
    cells = cv2.resize(mask.reshape(height, width).astype(np.float32), (10, 10), interpolation=cv2.INTER_AREA)
    spread = float((cells > 0.02).mean())
    return min(most, 1 if spread < 0.12 else 2 if spread < 0.45 else 3 if spread < 0.75 else 4)


_ENOUGH = 20_000  # so many pixels tell a smooth field, or a middle, as well as all


def refit(search: Search, mask: Bool, degree: int) -> Float64:
    """(terms, 3) the smooth light that the pixels of a mask imply."""
    index, weight = some_of(search, mask)
    return fields.fit(search.x[index], search.y[index], search.logs[:, index].T, weight, degree)


def some_of(search: Search, mask: Bool) -> tuple[AnyArray, Float64]:
    """(n,) places of the mask, enough of them, and their weights: cells, not pixels, are equal, for a large bare corner
    must not outvote the rest of the sheet."""
    index = np.flatnonzero(mask)
    index = index[:: max(1, len(index) // _ENOUGH)]
    cell = search.cell[index]
    return index, np.asarray(1 / np.sqrt(np.bincount(cell, minlength=256)[cell]))


def lit_part(search: Search, lit: Bool | None) -> Search:
    """The search, of what is known to be lit alone."""
    if lit is None:
        return search
    share = cv2.resize(lit.astype(np.float32), search.shape[::-1], interpolation=cv2.INTER_LINEAR)
    wholly = (np.asarray(share) > _WHOLLY).ravel()
    return replace(search, smooth=search.smooth & wholly, weight=search.weight * wholly)
