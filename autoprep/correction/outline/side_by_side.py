"""Works that lie side by side as the finders' answers show them: beside an outline, in it, or as the pages of one."""

from collections.abc import Sequence

import cv2
import numpy as np

from autoprep.correction.outline.answers import Answer
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, clipped, overlap_in_photo

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


# What two works side by side leave free between them and around them, when they are the pages of one spread.
_BETWEEN, _HELD = 0.08, 0.95


def holds_all(quad: Float64, works: list[Float64]) -> bool:
    """Whether an outline is that of several works together, and of hardly more."""
    together = sum(area(work) for work in works)
    if len(works) < 2 or abs(area(quad) / together - 1) > _BETWEEN:
        return False
    return all(area(clipped(work, quad)) > _HELD * area(work) for work in works)


def in_reading_order(answers: list[Answer]) -> list[Answer]:
    """Row by row from the top, each from the left: a work belongs to a row when its middle lies in the row's height."""
    rows: list[list[Answer]] = []
    for entry in sorted(answers, key=lambda a: float(a.quad[:, 1].min())):
        middle = float(entry.quad[:, 1].mean())
        row = next((r for r in rows if middle < float(r[0].quad[:, 1].max())), None)
        if row is None:
            rows.append([entry])
        else:
            row.append(entry)
    return [entry for row in rows for entry in sorted(row, key=lambda a: float(a.quad[:, 0].mean()))]
