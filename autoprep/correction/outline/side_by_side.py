"""Works that lie side by side as the finders' answers show them: beside an outline, in it, or as the pages of one."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

import cv2
import numpy as np

from autoprep.correction.outline.answers import Answer
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, clipped, homography, mean_size, overlap_in_photo, project, rectangle

# A finalist that lies apart from the outline, is neither small beside it nor larger (the eye's first is the largest)
# and that the judge holds for so likely is another work; a larger one must be likelier. (Photos of tuning seeds:
# other works .027-.96, but for two below; things on the desk of single works .056 at most, all of them larger.)
APART, NOT_SMALL, OTHER, _AS_LIKELY = 0.02, 0.08, 0.3, 0.025
_LARGER, _LIKELIER = 1.25, 0.06


def apart(first: Answer, judged: list[Answer], size: tuple[int, int]) -> list[Answer]:
    """The judge's finalists that are other works than the first; size: (width, height) of the photo."""
    found: list[Answer] = []
    for entry in judged:
        share = area(entry.quad) / area(first.quad)
        likely = not entry.whole and entry.confidence > (_AS_LIKELY if share < _LARGER else _LIKELIER)
        alone = all(overlap_in_photo(entry.quad, other.quad, size) < OTHER for other in found)
        if likely and alone and share > NOT_SMALL and overlap_in_photo(entry.quad, first.quad, size) < APART:
            found.append(entry)
    return found


# Two finalists of the judge that lie in the outline side by side, each so much of it and so likely, and that leave
# something free between them are two works on one desk.
_PART, _PART_LIKELY = 0.25, 0.1


def is_of_two(first: Answer, judged: list[Answer], size: tuple[int, int]) -> bool:
    """Whether an outline runs around two works and what lies between them."""
    whole = area(first.quad)
    parts = [
        entry.quad
        for entry in judged
        if entry.confidence > _PART_LIKELY
        and area(entry.quad) > _PART * whole
        and area(clipped(entry.quad, first.quad)) > _HELD * area(entry.quad)
    ]
    return any(
        overlap_in_photo(one, other, size) < APART and leave_free([one, other])
        for number, one in enumerate(parts)
        for other in parts[:number]
    )


# What is drawn around two works holds no more than so much of them. (Generated photos: works .94 at most, the pages of
# open books .995 and more.)
_FILLED = 0.97


def leave_free(quads: Sequence[Float64]) -> bool:
    """Whether works leave some desk free between them; the pages of an open book leave none."""
    around = cv2.contourArea(cv2.convexHull(np.concatenate(quads).astype(np.float32)))
    return sum(area(quad) for quad in quads) < _FILLED * around


# A work's corners are square on the desk that it lies on, as seen from a work beside it: so many degrees off at most,
# whatever that one's width to height is within a quarter of what it measures. (Of 24 things on the desk that the eye
# took for works, seeds 177100-178900, 12 are 23 and more off, the others, book covers and paint boxes, 5 at most; of
# some 600 works that lie beside others, seeds 184000-184259, one is 19 off, no other 15.)
_SQUARE_DEG, _PROPORTIONS = 20.0, np.exp(np.linspace(-0.28, 0.28, 9))


def is_square_beside(first: Float64, other: Float64) -> bool:
    """Whether a four-sided thing can be a rectangle on the desk that a work lies on; both (4, 2) corners."""
    width, height = mean_size(first)
    return any(
        _off_square(project(homography(first, rectangle(width * by, height / by)), other)) <= _SQUARE_DEG
        for by in np.sqrt(_PROPORTIONS)
    )


def _off_square(quad: Float64) -> float:
    """By how many degrees the worst corner is no right angle."""
    along = np.roll(quad, -1, axis=0) - quad
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return float(np.degrees(np.arcsin(np.abs((along * np.roll(along, 1, axis=0)).sum(axis=1)).clip(0, 1)).max()))


# A strip along a side of a work, so many times as long as wide, that leaves less than a part of its own width free and
# goes so far beyond that side's ends at most, in shares of the side, is what carries the work (the rim of a board, a
# clip) or its label; it is so small a share of the work at most. (Of 220 sheets that something carries, seeds 250000-
# and 249000-, 4 had passed but for one: 3.2 to 6 times as long as wide, .09 to .17 of the sheet.)
_STRIP_LONG, _STRIP_GAP, _STRIP_OVER, _STRIP_SHARE = 2.5, 0.25, 0.2, 0.25


def is_strip_along(first: Float64, other: Float64) -> bool:
    """Whether a four-sided thing is no more than a strip along a side of a work; both (4, 2) corners."""
    if area(other) > _STRIP_SHARE * area(first):
        return False
    size = mean_size(first)
    placed = project(homography(first, rectangle(*size)), other)
    low, high = placed.min(axis=0), placed.max(axis=0)
    return any(_lies_along(low, high, size, side) for side in (0, 1))


def _lies_along(low: Float64, high: Float64, size: tuple[float, float], axis: int) -> bool:
    """Whether a box lies so along one of two sides of a work that measures so much; axis: across these sides."""
    across, along, length = high[axis] - low[axis], high[1 - axis] - low[1 - axis], size[1 - axis]
    gap = max(low[axis] - size[axis], -high[axis])
    over = max(-low[1 - axis], high[1 - axis] - length)
    near = -across / 2 < gap < _STRIP_GAP * across and over < _STRIP_OVER * length
    return bool(near and along >= _STRIP_LONG * across)


# What two works side by side leave free between them and around them, when they are the pages of one spread.
_BETWEEN, _HELD = 0.08, 0.95


def holds_all(quad: Float64, works: list[Float64]) -> bool:
    """Whether an outline is that of several works together, and of hardly more."""
    together = sum(area(work) for work in works)
    if len(works) < 2 or abs(area(quad) / together - 1) > _BETWEEN:
        return False
    return all(area(clipped(work, quad)) > _HELD * area(work) for work in works)


def in_reading_order(answers: list[Answer]) -> list[Answer]:
    """Row by row from the top, each from the left; those above each other beside a taller one from the top.

    The photo is turned back first by which the works lie askew. Then by cuts between rows, and within a row between
    columns (the X-Y cut of Nagy and Seth, 1984; from memory): no order of edges decides, which a hair's turn of the
    phone would change.
    """
    along = sum((entry.quad[1] - entry.quad[0] for entry in answers), start=np.zeros(2))
    turn = np.arctan2(along[1], along[0]) if len(answers) > 1 else 0.0
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    upright = [replace(entry, quad=entry.quad @ back) for entry in answers]
    place = {id(turned): entry for turned, entry in zip(upright, answers, strict=True)}
    return [place[id(entry)] for entry in _cut_up(upright)]


def _cut_up(answers: list[Answer]) -> list[Answer]:
    rows = _bands(answers, 1)
    if len(rows) > 1:
        return [entry for row in rows for entry in _cut_up(row)]
    columns = _bands(answers, 0)
    if len(columns) < 2:
        return sorted(answers, key=lambda a: float(a.quad[:, 1].mean()))
    found: list[Answer] = []
    for alone, group in groupby(columns, key=lambda column: len(column) == 1):  # one that stands alone parts the others
        parts = list(group)
        apart = alone or len(parts) == len(columns)
        for part in parts if apart else [[entry for column in parts for entry in column]]:
            found += _cut_up(part)
    return found


def _bands(answers: list[Answer], axis: int) -> list[list[Answer]]:
    """Rows (axis 1) or columns (0): works belong together when the middle of one lies within the other."""
    bands: list[list[Answer]] = []
    for entry in answers:
        joined = [any(_level(entry, other, axis) for other in band) for band in bands]
        together = [other for band, joins in zip(bands, joined, strict=True) if joins for other in band]
        bands = [band for band, joins in zip(bands, joined, strict=True) if not joins] + [[*together, entry]]
    return sorted(bands, key=lambda band: min(float(entry.quad[:, axis].mean()) for entry in band))


def _level(one: Answer, other: Answer, axis: int) -> bool:
    a, b = one.quad[:, axis], other.quad[:, axis]
    return bool(a.min() < b.mean() < a.max() or b.min() < a.mean() < b.max())
