"""Resampling through a projective map and a radial lens term, strip by strip, in linear light."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.bow import Bow
from autoprep.imaging.geometry import project
from autoprep.imaging.lowpass import lowpass

# Rows per strip: 128 rows of 4000 px float32 RGB are 6 MB, which stays near the cache of one core. In one strip the
# filter before a reduction is the same, so that higher ones would follow the perspective less well.
_STRIP_ROWS = 128


Span = tuple[int, int]
"""Rows or columns: the first, and the one after the last."""


def strips(size: tuple[int, int]) -> list[Span]:
    """The first row of each strip of a (width, height) picture, and the one after its last."""
    return [(top, min(top + _STRIP_ROWS, size[1])) for top in range(0, size[1], _STRIP_ROWS)]


@dataclass(frozen=True)
class Lens:
    """Radial distortion about the photo's centre: seen = ideal * (1 + k1 * r^2), r = 1 at the half diagonal."""

    width_px: float
    height_px: float
    k1: float = 0.0

    @property
    def _centre(self) -> Float64:
        return np.array([self.width_px / 2, self.height_px / 2])

    @property
    def _radius(self) -> float:
        return float(np.hypot(self.width_px, self.height_px) / 2)

    def seen(self, ideal: AnyArray) -> Float64:
        """(..., 2) points of the ideal pinhole picture -> where the lens put them."""
        offset = (np.asarray(ideal, np.float64) - self._centre) / self._radius
        if self.k1 == 0:
            return np.asarray(ideal, np.float64)
        return cast(
            Float64,
            offset * (1 + self.k1 * (offset**2).sum(-1, keepdims=True)) * self._radius + self._centre,
        )

    def seen_planes(self, x: Float32, y: Float32) -> tuple[Float32, Float32]:
        """The same as `seen` for two planes of coordinates."""
        (centre_x, centre_y), radius = self._centre.astype(np.float32), np.float32(self._radius)
        across, down = (x - centre_x) / radius, (y - centre_y) / radius
        stretch = radius * (1 + np.float32(self.k1) * (across * across + down * down))
        return across * stretch + centre_x, down * stretch + centre_y

    def ideal(self, seen: AnyArray) -> Float64:
        """(..., 2) points of the photo -> where a pinhole would have put them (fixed-point inverse of `seen`)."""
        target = (np.asarray(seen, np.float64) - self._centre) / self._radius
        if self.k1 == 0:
            return np.asarray(seen, np.float64)
        guess = target
        for _ in range(12):  # converges by about |3 k1 r^2| a round; 12 rounds are below 1e-6 px for |k1| < 0.1
            guess = target / (1 + self.k1 * (guess**2).sum(-1, keepdims=True))
        return cast(Float64, guess * self._radius + self._centre)


@dataclass(frozen=True)
class Warp:
    """From output pixels to photo pixels: the sheet's bent sides, a projective map into the ideal picture, the lens.

    matrix: (3, 3), output coordinates -> ideal photo coordinates at full size; lens: in full-size pixels; within:
    (x0, y0, x1, y1) in output coordinates: pixels beyond it repeat those at its border; bow: in output coordinates.
    """

    matrix: Float64
    lens: Lens
    within: tuple[float, float, float, float] | None = None
    bow: Bow | None = None

    def source(self, points: AnyArray) -> Float64:
        """(..., 2) output coordinates -> (..., 2) full-size photo coordinates."""
        return self.lens.seen(project(self.matrix, points if self.bow is None else self.bow.moved(points)))

    def rows(self, first: int, last: int, columns: Span) -> tuple[Float32, Float32]:
        """Photo coordinates of the pixel centres of output rows first..last-1, and so of columns: x and y, each (H, W).

        In single precision, which is exact to a thousandth of a pixel: the library's sampling rounds to a thirtieth.
        """
        across, down = np.arange(*columns) + 0.5, np.arange(first, last) + 0.5
        if self.within is not None:
            x0, y0, x1, y1 = self.within
            across, down = np.clip(across, x0, x1), np.clip(down, y0, y1)
        x, y, depth = self._ideal(across, down)
        x /= depth
        y /= depth
        return (x, y) if self.lens.k1 == 0 else self.lens.seen_planes(x, y)

    def _ideal(self, across: AnyArray, down: AnyArray) -> tuple[Float32, Float32, Float32]:
        """Homogeneous coordinates x, y and depth of all columns and rows in the ideal picture, each (H, W)."""
        if self.bow is not None:
            bent_x, bent_y = self.bow.moved_grid(across, down)
            rows = self.matrix.astype(np.float32)
            x, y, depth = (row[0] * bent_x + row[1] * bent_y + row[2] for row in rows)
            return x, y, depth
        # A term for the column and one for the row: three sums instead of a matrix product for each pixel.
        columns = np.asarray(self.matrix[:, :1] * across, np.float32)
        lines = np.asarray(self.matrix[:, 1:2] * down + self.matrix[:, 2:], np.float32)
        x, y, depth = (line[:, None] + column for line, column in zip(lines, columns, strict=True))
        return x, y, depth

    def scale(self, width: int, height: int) -> float:
        """Photo pixels (full size) per output pixel: the square root of the area ratio over the output."""
        corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
        x, y = self.source(corners).T
        covered = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
        return float(np.sqrt(covered / (width * height)))


Crop = Callable[[int, int, int, int], Float32]
"""crop(y0, y1, x0, x1) -> (y1-y0, x1-x0, 3) float32 linear light of a photo level."""


@dataclass(frozen=True)
class Level:
    """A copy of the photo to sample from: its pixels, (width, height), and its size each way relative to the photo.

    halvings: how often it was halved by `cv2.pyrDown`, whose pixels stand on every second pixel; 0 for a copy whose
    pixels are means of whole areas.
    """

    crop: Crop
    size_px: tuple[int, int]
    scales: tuple[float, float]
    halvings: int = 0

    def index(self, plane: Float32, axis: int) -> Float32:
        """Full-size photo coordinates along one axis, 0 across and 1 down -> pixel indices of this copy."""
        scale = self.scales[axis]
        shift = 0.5 * scale if self.halvings else 0.5
        index = plane * np.float32(scale)
        index -= np.float32(shift)
        return np.asarray(index, np.float32)


# Where the local reduction changes by more than this factor along a strip, or from its top to its bottom, it is
# filtered in several parts: from one to the next the finest hatching (.4 periods a pixel) steps by 2 % of its contrast
# at the most. At a factor of 1.08 it steps by 6, in bands that show.
_SAME_SCALE = 1.02


def warp_rows(
    level: Level, warp: Warp, out_size: tuple[int, int], rows: Span, within: tuple[Span, Span] | None = None
) -> Float32:
    """(last - first, W, 3) float32 linear light: the rows (first, last) of the warped picture of out_size.

    Beyond the photo its border pixels repeat. What is finer than the output's pixels can show is filtered out before
    the cubic resampling, by as much as the photo is reduced at each place. within: of those rows, which rows and
    columns alone are made; they are as they are in the whole.
    """
    width = out_size[0]
    (first, last), across = within or (rows, (0, width))
    xs, ys = (level.index(plane, axis) for axis, plane in enumerate(warp.rows(first, last, across)))
    out = np.empty((last - first, across[1] - across[0], 3), np.float32)
    for top, bottom in _alike(level, warp, [(width / 2, row) for row in rows]):
        middle = (top + bottom) / 2
        pieces = _alike(level, warp, [(0.0, middle), (float(width), middle)])
        centres = [((left + right) / 2, middle) for left, right in pieces]
        for (left, right), steps in zip(pieces, _steps(level, warp, centres), strict=True):
            strip = _common((top, bottom), (first, last)), _common((left, right), across)
            if 0 in out[strip].shape:
                continue
            for one, two in _compact(xs[strip], ys[strip], steps):
                part = strip[0], slice(strip[1].start + one, strip[1].start + two)
                _sample(level, xs[part], ys[part], steps, out[part])
    return out


def _common(one: Span, kept: Span) -> slice:
    """What lies in both, counted from the first that is kept."""
    start = max(one[0], kept[0]) - kept[0]
    return slice(start, max(start, min(one[1], kept[1]) - kept[0]))


def _compact(xs: Float32, ys: Float32, steps: tuple[float, float]) -> Iterator[tuple[int, int]]:
    """Columns, from one to before the other, of pieces of a strip that each read little more than they show.

    A strip that lies aslant in the photo would read all of the box around it.
    """
    height, width = xs.shape
    x, y = ([float(plane[row, column]) for row in (0, -1) for column in (0, -1)] for plane in (xs, ys))
    box = (max(x) - min(x)) * (max(y) - min(y))
    parts = 1 if box < _MOST_READ * height * width * steps[0] * steps[1] else -(-width // max(height, _LEAST_PIECE_PX))
    edges = [round(width * k / parts) for k in range(parts + 1)]
    yield from pairwise(edges)


# So many times as many pixels of the photo as a strip shows it may read, else it is read in pieces that are as long as
# they are high, but not shorter than this: each reads a rim of its own besides.
_MOST_READ, _LEAST_PIECE_PX = 1.4, 64


def _alike(level: Level, warp: Warp, ends: list[tuple[float, float]]) -> list[Span]:
    """Parts of the way between two places of the output, on a row or a column, in which the reduction is much the
    same: the first pixel of each, and the one after its last."""
    reduced = [math.hypot(*steps) for steps in _steps(level, warp, ends)]
    parts = 1 + int(math.log(max(reduced) / min(reduced)) / math.log(_SAME_SCALE))
    axis = 0 if ends[0][1] == ends[1][1] else 1
    start, stop = (end[axis] for end in ends)
    edges = [round(start + (stop - start) * k / parts) for k in range(parts + 1)]
    return [(one, two) for one, two in pairwise(edges) if two > one]


def _steps(level: Level, warp: Warp, places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """How many pixels of the copy, across and down, one output pixel spans at each of some places of the output."""
    around = np.array(places, np.float64) + np.array([[[0, 0]], [[1, 0]], [[0, 1]]])
    here, right, below = warp.source(around) * level.scales
    return [(across, down) for across, down in np.hypot(right - here, below - here).tolist()]


def _sample(level: Level, xs: Float32, ys: Float32, steps: tuple[float, float], into: Float32) -> None:
    """Make a part of a picture from (h, w) places in the copy, which are used up."""
    level_w, level_h = level.size_px
    kernels = [lowpass(round(step, 2), level.halvings) for step in steps]
    reach_x, reach_y = (3 + (0 if kernel is None else len(kernel) // 2) for kernel in kernels)
    (left, right), (top, bottom) = cv2.minMaxLoc(xs)[:2], cv2.minMaxLoc(ys)[:2]
    x0 = max(0, min(math.floor(left) - reach_x, level_w - 1))
    y0 = max(0, min(math.floor(top) - reach_y, level_h - 1))
    x1 = min(level_w, max(x0 + 1, math.ceil(right) + reach_x + 1))
    y1 = min(level_h, max(y0 + 1, math.ceil(bottom) + reach_y + 1))
    patch = level.crop(y0, y1, x0, x1)
    if any(kernel is not None for kernel in kernels):
        across, down = (np.ones(1, np.float32) if kernel is None else kernel for kernel in kernels)
        patch = cast(Float32, cv2.sepFilter2D(patch, -1, across, down, borderType=cv2.BORDER_REPLICATE))
    xs -= x0
    ys -= y0
    cv2.remap(patch, xs, ys, cv2.INTER_CUBIC, into, borderMode=cv2.BORDER_REPLICATE)
