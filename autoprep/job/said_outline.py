"""The outline as the artist says it, in words or as corners."""

from collections.abc import Sequence
from typing import cast

import numpy as np

from autoprep.domain import Corners, Declined, Outline, Photo, WorkFacts
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, is_convex, order_corners, rectangle

# Corners may lie so far outside the photo, in shares of its long side: a page that its border cuts. What takes less of
# the photo than the second is a slip of the finger.
_OUTSIDE, _LEAST = 0.5, 0.005
# The picture inside a frame takes this share of what the outer edge takes.
_INNER = (0.3, 0.97)
# A frame has four rails: the picture lies at least so far from each side of the outer edge, in mean sides of that.
_RAIL = 0.008


def said_outline(photo: Photo, facts: WorkFacts) -> Outline | Declined | None:
    """The outline that the words on the work give; None where they give none, and why where they can't be meant."""
    width, height = photo.full_px
    if facts.outline == "whole photo":
        return whole_photo(photo)
    if facts.corners_px is None:
        return None
    quad = order_corners(np.array(facts.corners_px, np.float64))
    reach = _OUTSIDE * max(width, height)
    inside_reach = (quad > -reach).all() and (quad < np.array([width, height]) + reach).all()
    if not inside_reach or not is_convex(quad) or area(quad) < _LEAST * width * height:
        return Declined(reason=f"the corners that you give are no outline in this photo of {width} x {height} pixels")
    return _outline(quad, whole=False)


def whole_photo(photo: Photo) -> Outline:
    """The photo's own border as the work's."""
    return _outline(rectangle(*photo.full_px), whole=True)


def inside(outer: Outline | Declined, others: Sequence[Outline]) -> Outline | None:
    """The likeliest outline inside the work's own, such as the picture in a frame; None where none was seen."""
    if isinstance(outer, Declined):
        return None
    around = outer.array()
    for other in others:
        share = area(other.array()) / area(around)
        if not other.whole_photo and _INNER[0] < share < _INNER[1] and _within(other, around):
            return other.model_copy(update={"confidence": 1.0})
    return None


def _within(inner: Outline, around: Float64) -> bool:
    """Whether all corners lie inside a clockwise quad, away from each of its sides."""
    rail = _RAIL * np.sqrt(area(around))
    for k in range(4):
        start, along = around[k], around[(k + 1) % 4] - around[k]
        normal = np.array([-along[1], along[0]]) / (np.linalg.norm(along) + 1e-9)
        if ((inner.array() - start) @ normal < rail).any():
            return False
    return True


def _outline(quad: Float64, whole: bool) -> Outline:
    corners = cast(Corners, tuple((float(x), float(y)) for x, y in quad))
    return Outline(corners_px=corners, confidence=1.0, whole_photo=whole, cut=(whole,) * 4)
