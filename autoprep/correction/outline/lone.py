"""A thing that lies alone on a plain ground, round or four-sided: it may be a work that the eye does not know for one.

Round pictures the eye has never met, and a card that spans a tenth of the photo is too small for it. Neither is told
from a plate or a parcel by its shape, so that it is a question and no more; but a photo of nothing else is no view, and
the artist hears of it.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline.contest import REFINING_PX
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.drawn_on import is_drawn_on
from autoprep.correction.outline.refinement import refine
from autoprep.imaging.arrays import AnyArray, Float64
from autoprep.imaging.geometry import order_corners

# So many standard deviations off the colours along the photo's border is no ground; gaps of so many pixels are closed,
# specks of so many left out. (Chosen on 14 round pictures and 6 small cards of the lab's kind, of which 12 and all are
# found; of 272 everyday photos one is, a drop of water.)
_OFF, _CLOSED_PX, _SPECK_PX = 3.0, 7, 5
# The thing has such a share of the photo, and of all that is no ground; it has no bays, fills an ellipse or a rectangle
# so well, and keeps so many pixels away from the border.
_SHARE, _OF_ALL, _SOLID, _FILLS, _AWAY_PX = (0.004, 0.6), 0.8, 0.95, 0.9, 3
# How far the edges may lie from its sides, a share of the diagonal, and along how much of each side they must be seen.
_REACH, _SUPPORT = 0.06, 0.5
# The largest rectangle in an ellipse, in sides of the one around it.
_IN_ELLIPSE = 0.7


def lone_thing(copies: Copies) -> Float64 | None:
    """The (4, 2) corners, in full-size photo pixels, of the rectangle around the one drawn thing on a plain ground."""
    evidence, scale = copies.evidence
    thing = _only_one((evidence.background > _OFF).astype(np.uint8))
    if thing is None:
        return None
    box = cv2.boxPoints(cv2.minAreaRect(thing))
    as_box, as_ellipse = (_overlap(thing, shape, evidence.shape) for shape in (box, _ellipse(thing)))
    if max(as_box, as_ellipse) < _FILLS:
        return None
    inner = 1.0
    if as_ellipse > as_box:  # the rectangle around a disc may lie any way: it lies as the photo does
        inner = _IN_ELLIPSE
        left, top, across, down = cv2.boundingRect(thing)
        box = np.array([[left, top], [left + across, top], [left + across, top + down], [left, top + down]], np.float32)
    corners = order_corners(box.astype(np.float64) / scale)
    if inner == 1.0:
        corners = _on_edges(copies, corners)
    middle = corners.mean(axis=0)
    return corners if is_drawn_on(copies, middle + (corners - middle) * inner) else None


def _on_edges(copies: Copies, corners: Float64) -> Float64:
    """The sides moved to the nearest edges: what is off the ground reaches a little beyond the thing."""
    lab = copies.lab(REFINING_PX)
    per = lab.shape[1] / copies.photo.full_px[0]
    moved = refine(lab, corners * per, reach=_REACH, prior=_REACH)
    return moved.quad / per if float(moved.support.min()) > _SUPPORT else corners


def _only_one(off_ground: AnyArray) -> AnyArray | None:
    """The contour of the one solid thing in view, if there is but one."""
    closed = cv2.morphologyEx(off_ground, cv2.MORPH_CLOSE, np.ones((_CLOSED_PX, _CLOSED_PX), np.uint8))
    things = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((_SPECK_PX, _SPECK_PX), np.uint8))
    contours, _ = cv2.findContours(things, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    areas = [cv2.contourArea(contour) for contour in contours]
    if not areas or max(areas) < _OF_ALL * sum(areas):
        return None
    largest, area = cast(AnyArray, contours[int(np.argmax(areas))]), max(areas)
    height, width = off_ground.shape
    left, top, across, down = cv2.boundingRect(largest)
    inside = min(left, top, width - left - across, height - top - down) >= _AWAY_PX
    fits = _SHARE[0] * off_ground.size <= area <= _SHARE[1] * off_ground.size
    solid = area >= _SOLID * cv2.contourArea(cv2.convexHull(largest))
    return largest if inside and fits and solid else None


def _ellipse(contour: AnyArray) -> AnyArray:
    (x, y), (across, down), angle = cv2.fitEllipse(contour)
    return cast(
        AnyArray, cv2.ellipse2Poly((round(x), round(y)), (round(across / 2), round(down / 2)), round(angle), 0, 360, 3)
    )


def _overlap(one: AnyArray, other: AnyArray, shape: tuple[int, int]) -> float:
    """The Jaccard index of two filled outlines."""
    planes = [np.zeros(shape, np.uint8) for _ in range(2)]
    for plane, outline in zip(planes, (one, other), strict=True):
        cv2.fillPoly(plane, [np.round(outline).astype(np.int32)], 1)
    both, either = planes[0] & planes[1], planes[0] | planes[1]
    return float(both.sum() / max(int(either.sum()), 1))
