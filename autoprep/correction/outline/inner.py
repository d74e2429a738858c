"""The picture inside a frame: the innermost line that runs along all four sides of a work's outer edge.

A moulding, its lips, a mat and its bevel are straight lines at the same distance from each side; what is painted
rarely has one along a whole side, and never along four.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline.refinement import refine
from autoprep.imaging.arrays import AnyArray, Float32, Float64, float32
from autoprep.imaging.colour import lab_fast
from autoprep.imaging.geometry import (
    homography,
    intersect,
    is_convex,
    line_through,
    mean_size,
    overlap,
    project,
    rectangle,
)

# All chosen on framed paintings of the lab's tuning seeds. The work is looked at with this long side; lines are looked
# for from the first share of its shorter side inwards to the second, along the middle of each side.
_LONG_PX, _FIRST, _LAST, _ENDS = 900, 0.012, 0.33, 0.14
# A line may lean by so many pixels from end to end of a side; it holds what lies within so many pixels of it.
_LEAN_PX, _NEAR_PX = 10, 2
# So much of a side must be an edge where the line runs, beyond what texture gives by chance; so many lines are tried.
_SUPPORT, _TRIED = 0.35, 7
CLEAR = 0.6
"""The support of the weakest side from which four lines are clear.

Of 71 framed paintings of tuning seeds, half in everyday light, all are clear and right; of 57 works without a frame 13
are, twelve with a drawn border and one with a taped margin.
"""
# Of clear ones that lie nearly as deep as the innermost the best supported counts.
_AS_DEEP = 0.97
# The four lines lie so evenly: the widest rail is no wider than so many times the narrowest; mats are wider below.
_EVEN, _BELOW = 1.35, 1.7
_WEIGHT = float32([1.0, 1.6, 1.6])
_STAYS = 0.94


@dataclass(frozen=True)
class Inner:
    """(4, 2) corners in the pixels of the picture that was looked at, and the weakest side's support, 0..1."""

    quad: Float64
    support: float


@dataclass(frozen=True)
class _Line:
    """A line along one side: how deep it lies at the side's middle, in pixels, how it leans, and its support."""

    depth_px: float
    lean_px: float
    support: float


def picture_inside(linear: Float32, quad: Float64) -> Inner | None:
    """The innermost rectangle of lines inside an outline, fitted to its edges; None where there is none.

    linear: (H, W, 3) float32 linear light of the photo; quad: (4, 2) corners of the outer edge in its pixels.
    """
    found = lines_inside(linear, quad)
    if found is None:
        return None
    fit = refine(lab_fast(linear), found.quad, reach=0.006, prior=0.004).quad
    good = is_convex(fit) and overlap(fit, found.quad) > _STAYS
    return Inner(fit, found.support) if good else found


def lines_inside(linear: Float32, quad: Float64) -> Inner | None:
    """The innermost rectangle of lines inside an outline, to a pixel; the arguments are those of picture_inside."""
    wide, high = mean_size(quad)
    scale = _LONG_PX / max(wide, high)
    size = (max(80, round(wide * scale)), max(80, round(high * scale)))
    matrix = homography(quad, rectangle(*size))
    view = cv2.warpPerspective(linear, matrix, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    lab = cast(Float32, cv2.GaussianBlur(lab_fast(cast(Float32, view)), (0, 0), 1.0) * _WEIGHT)
    lines = [_lines_along(np.ascontiguousarray(np.rot90(lab, side))) for side in range(4)]
    chosen = _innermost(lines)
    if chosen is None:
        return None
    return Inner(project(np.linalg.inv(matrix), _corners(chosen, size)), min(line.support for line in chosen))


def _lines_along(lab: Float32) -> list[_Line]:
    """The lines along the top of a picture, the strongest first."""
    height, width = lab.shape[:2]
    least, most = round(_FIRST * min(height, width)), round(_LAST * min(height, width))
    strip = lab[: most + 8, round(_ENDS * width) : width - round(_ENDS * width)]
    peaks = _ridges(strip)
    leans = range(-_LEAN_PX, _LEAN_PX + 1, 2)
    supports = np.array([_support(peaks, lean) for lean in leans])
    along, which = supports.max(axis=0), supports.argmax(axis=0)
    lines = [
        _Line(float(depth), float(leans[which[depth]]), float(along[depth]))
        for depth in _heights(along)
        if along[depth] >= _SUPPORT and least <= depth < most
    ]
    return sorted(lines, key=lambda line: -line.support)[:_TRIED]


def _heights(along: Float64) -> Iterator[int]:
    """Where a profile is highest within a few pixels; of a level height the middle."""
    highest = cv2.dilate(along.astype(np.float32)[:, None], np.ones((9, 1), np.uint8))[:, 0]
    at = np.flatnonzero(along.astype(np.float32) >= highest)
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1):
        if len(run):
            yield int(run[len(run) // 2])


def _ridges(strip: Float32) -> AnyArray:
    """(D, W) where the change downwards is greater than just above and below, and greater than most of the strip's."""
    change = np.zeros(strip.shape[:2], np.float32)
    step = strip[4:] - strip[:-4]
    change[2:-2] = np.sqrt(np.einsum("ijk,ijk->ij", step, step))
    change = cast(Float32, cv2.blur(change, (5, 1)))
    highest = cv2.dilate(change, np.ones((9, 1), np.uint8))
    return np.asarray((change >= highest) & (change > max(3.0, float(np.percentile(change, 60)))), np.float32)


def _support(peaks: AnyArray, lean_px: int) -> Float64:
    """(D,) the share of columns with a ridge near each depth of a line that leans so, less what chance gives."""
    depth, width = peaks.shape
    shifts = np.round(np.linspace(-lean_px / 2, lean_px / 2, width)).astype(int)
    rows = np.clip(np.arange(depth)[:, None] + shifts[None], 0, depth - 1)
    near = cv2.dilate(np.take_along_axis(peaks, rows, axis=0), np.ones((2 * _NEAR_PX + 1, 1), np.uint8))
    share = near.mean(axis=1)
    usual = float(np.median(share))
    return np.asarray((share - usual) / max(1 - usual, 1e-3), np.float64)


def _innermost(lines: list[list[_Line]]) -> tuple[_Line, ...] | None:
    """One line of each side (top, right, bottom, left), evenly deep: the innermost such four that are clear."""
    found = [four for four in product(*lines) if _even([line.depth_px for line in four])]
    clear = [four for four in found if _weakest(four) >= CLEAR]
    if clear:
        innermost = max(sum(line.depth_px for line in four) for four in clear)
        return max((f for f in clear if sum(line.depth_px for line in f) > _AS_DEEP * innermost), key=_weakest)
    return max(found, key=_weakest, default=None)


def _weakest(four: tuple[_Line, ...]) -> float:
    return min(line.support for line in four)


def _even(depths: list[float]) -> bool:
    """Whether four lines can be one rail's: top, left and right alike, and the bottom no narrower."""
    top, right, bottom, left = depths
    least, most = min(top, right, left), max(top, right, left)
    return most <= _EVEN * least and least / _EVEN < bottom < _BELOW * most


def _corners(four: tuple[_Line, ...], size: tuple[int, int]) -> Float64:
    """(4, 2) corners, from the top left, of lines along the top, right, bottom and left of a picture of this size."""
    made = []
    for side, line in enumerate(four):
        # As if it were along the top of a picture that is turned so that its side lies there.
        width, height = size if side % 2 == 0 else size[::-1]
        lean = line.lean_px / (1 - 2 * _ENDS)
        ends = np.array([[0.0, line.depth_px - lean / 2], [width, line.depth_px + lean / 2]])
        for _ in range(side):  # turned back clockwise
            ends, width, height = np.stack([height - ends[:, 1], ends[:, 0]], axis=1), height, width
        made.append(line_through(*ends))
    return np.array([intersect(made[k - 1], made[k]) for k in range(4)])
