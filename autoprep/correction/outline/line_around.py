"""A line that is drawn around what a sheet shows, near the sheet's edges, and taken for the sheet's end.

Lines, double lines and painted bands around a drawing are as straight and as clear as the edges of its sheet, and
often clearer. What tells them: they run along all four sides of the sheet, evenly deep; the margin outside them is of
the same paper as what they enclose; and beyond the sheet lies something else.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from autoprep.correction.outline import gate
from autoprep.correction.outline.answers import Answer
from autoprep.correction.outline.contest import REFINING_PX
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.inner import CLEAR, lines_inside
from autoprep.correction.outline.material import ANOTHER, rectified, upper_half
from autoprep.imaging.arrays import DARKEST, Float32, Float64
from autoprep.imaging.geometry import area, homography, is_convex, mean_size, overlap_in_photo, project, rectangle

# Where both finders come to one outline to a hair nothing more is looked for: it would take .1 s of most photos. (Of 39
# outlines of seeds 238000-240599 that give way to their sheet none was so sure.)
_AGREED = 0.985
# The sheet holds the outline that is doubted, but for a hair, and is larger by so much at least. Shares of its long
# side; of its area.
_HAIR, _LARGER, _LARGEST = 0.008, 1.015, 2.0
# A side that was taken from the line, or from one outside it, lies so deep at least, in shares of the line's own depth.
# (Of two sheets of one tone the lower one's edge lies further out, and the margin goes with it.)
_AT_LINE = 0.5
# The margin is looked at between these shares of its depth; what the line encloses in strips that begin so far inside
# it, for it may be a band of paint: shares of the sheet's long side.
_MARGIN, _STRIP = np.array([0.15, 0.35]), np.array([0.0, 0.008])
_ENCLOSED = (0.005, 0.013, 0.021, 0.029, 0.037, 0.045, 0.053)
# The same paper is off by no more, in natural log and the worst channel, in the median of the worst side. (Of 96
# bordered drawings of seeds 238000- whose outlines were wrong, .0-.14 for all but two that another sheet would mend; of
# 114 other outlines .9 and more wherever such lines were found.)
_SAME_PAPER = 0.15
# A band that is painted up to the sheet's edges: so clear is its inner edge, and so near it lie all sides.
_BAND_CLEAR, _BAND_NEAR = 0.9, 0.07
# Where the sheet and the outline overlap so much, it matters little which of them is right: an outline is from there.
_EITHER_WAY = 0.95
# What lies beyond the sheet, in shares of its long side; along so much of each side it is something else.
_BEYOND, _LEAST_OTHER = np.array([-0.04, -0.012]), 0.8
_CORNER, _STRETCHES = 0.08, 40


def beyond_line(copies: Copies, answers: list[Answer], stays: Callable[[Answer], bool]) -> list[Answer]:
    """The answers, but where the first ends at a line that is drawn on its sheet, the sheet's own outline first.

    stays: whether each side of an answer, weighed alone (see sides), stays where it is. Where one does not, the sheet
    is a question, unless it is so much like what was first that this stays as sure as it was. And what would pass is a
    question where it lies within a band that may be the sheet's too.
    """
    first, *rest = answers
    larger = [entry for entry in rest if not (entry.whole or any(entry.cut))]
    if first.whole or any(first.cut) or first.confidence >= _AGREED or not larger:
        return answers
    copy, size = copies.at(REFINING_PX), copies.photo.full_px
    scale = copy.shape[1] / size[0]
    quad, quads = first.quad * scale, [entry.quad * scale for entry in larger]
    at = sheet_around(copy, quad, quads)
    if at is not None:
        confidence = gate.BORDERED if stays(larger[at]) else gate.DOUBTED
        alike = overlap_in_photo(larger[at].quad, first.quad, size) >= _EITHER_WAY
        return _before(answers, larger[at], max(confidence, first.confidence) if alike else confidence)
    at = within_band(copy, quad, quads) if first.confidence >= gate.SURE else None
    return answers if at is None else _before(answers, larger[at], gate.DOUBTED)


def _before(answers: list[Answer], sheet: Answer, confidence: float) -> list[Answer]:
    """The answers, one of them before the first with such a confidence."""
    first, *rest = answers
    best = replace(sheet, confidence=confidence, evidence={**first.evidence, "line_around": 1.0})
    left = min(first.confidence, 1 - confidence)
    return [best, replace(first, confidence=left), *(entry for entry in rest if entry is not sheet)]


def sheet_around(linear: Float32, quad: Float64, larger: Sequence[Float64]) -> int | None:
    """Which of other outlines is the sheet's, where an outline ends at a line that is drawn on it: the largest.

    linear: (H, W, 3) float32 linear light of the photo; quad: (4, 2) corners in its pixels; larger: others. None where
    none of them is, or the outline itself is such a sheet's: a larger one takes in some of its table.
    """
    for k, taken in _around(quad, larger):
        if _has_line_around(linear, larger[k], taken.mean(axis=1)):
            return None if _has_line_around(linear, quad, np.zeros(4)) else k
    return None


def within_band(linear: Float32, quad: Float64, larger: Sequence[Float64]) -> int | None:
    """Which of other outlines an outline lies in evenly, all its sides at clear lines: the largest, or None.

    A band that is painted up to the sheet's edges looks so, and a frame; but a sheet on its board does too. The
    arguments are those of sheet_around.
    """
    for k, taken in _around(quad, larger):
        lines = lines_inside(linear, larger[k]) if taken.min() > _HAIR else None
        if lines is None or lines.support < _BAND_CLEAR:
            continue
        depths = _depths(larger[k], lines.quad).mean(axis=1)
        if (np.abs(taken.mean(axis=1) / depths - 1) < _BAND_NEAR).all() and _View(linear, larger[k]).ends(depths):
            return k
    return None


def _around(quad: Float64, larger: Sequence[Float64]) -> Iterator[tuple[int, Float64]]:
    """Those of other outlines that hold an outline and are a little larger, the largest first; and how deep it lies in
    each (see _depths)."""
    for k in sorted(range(len(larger)), key=lambda k: -area(larger[k])):
        if is_convex(larger[k]) and _LARGER < area(larger[k]) / area(quad) < _LARGEST:
            taken = _depths(larger[k], quad)
            if taken.min() > -_HAIR:
                yield k, taken


def _depths(outer: Float64, quad: Float64) -> Float64:
    """(4, 2) how deep both ends of each side of a quad lie in an outline, in shares of the outline's long side."""
    wide, high = mean_size(outer)
    flat = project(homography(outer, rectangle(wide, high)), quad)
    top, right, bottom, left = flat[:2, 1], wide - flat[1:3, 0], high - flat[2:, 1], flat[[3, 0], 0]
    return np.stack([top, right, bottom, left]) / max(wide, high)


def _has_line_around(linear: Float32, quad: Float64, taken: Float64) -> bool:
    """Whether an outline is that of a sheet with a line drawn around what it shows.

    taken: (4,) how deep in it the sides lie that may have been taken from that line, 0 where none was; shares of its
    long side.
    """
    view = _View(linear, quad)
    moved = [side for side in range(4) if taken[side] > _HAIR]
    if moved and not view.is_same_paper(taken, moved):  # most are ruled out by this; to look for lines takes longer
        return False
    lines = lines_inside(linear, quad)
    if lines is None or lines.support < CLEAR:
        return False
    depths = _depths(quad, lines.quad).mean(axis=1)
    at_line = (taken[moved] >= _AT_LINE * depths[moved]).all()
    return bool(at_line) and view.ends(depths) and view.is_same_paper(depths, range(4))


class _View:
    """An outline squared, with a band around it, to look at what lies along its sides."""

    def __init__(self, linear: Float32, quad: Float64) -> None:
        """(H, W, 3) float32 linear light of a photo, (4, 2) corners in its pixels."""
        view, shown, self._band = rectified(linear, quad)
        self._long_px = max(view.shape[:2]) - 2 * self._band
        # Each side in turn is brought to the top.
        self._planes = [np.rot90(view, side) for side in range(4)]
        self._shown = [np.rot90(shown, side)[: self._band].any() for side in range(4)]

    def ends(self, depths: Float64) -> bool:
        """Whether another material than that of the margins outside lines so deep begins where the outline ends."""
        for side in range(4):
            off = _off(self._ground(side, depths[side] * _MARGIN), self._ground(side, _BEYOND))
            if self._shown[side] and (off > ANOTHER).mean() < _LEAST_OTHER:
                return False
        return True

    def is_same_paper(self, depths: Float64, sides: Iterable[int]) -> bool:
        """Whether the margins outside lines so deep are of the paper that the lines enclose, however wide these are."""
        margins = {side: self._ground(side, depths[side] * _MARGIN) for side in sides}
        return any(
            all(
                np.median(_off(margin, self._ground(side, depths[side] + deep + _STRIP))) < _SAME_PAPER
                for side, margin in margins.items()
            )
            for deep in _ENCLOSED
        )

    def _ground(self, side: int, strip: Float64) -> Float64:
        """(n, 3) natural log of the ground in a strip along a side, in stretches, the corners left out.

        strip: where it begins and ends, in shares of the long side inwards; two pixels at least are taken.
        """
        plane, band = self._planes[side], self._band
        first = band + round(float(strip[0]) * self._long_px)
        last = max(first + 2, band + round(float(strip[1]) * self._long_px))
        corner = band + round(_CORNER * (plane.shape[1] - 2 * band))
        stretches = np.array_split(plane[max(0, first) : last, corner : plane.shape[1] - corner], _STRETCHES, axis=1)
        return np.log(np.maximum([upper_half(part.reshape(-1, 3)) for part in stretches], DARKEST))


def _off(one: Float64, other: Float64) -> Float64:
    """(n,) how far one strip is from another, stretch by stretch, in its worst channel."""
    return np.asarray(np.abs(one - other).max(axis=1))
