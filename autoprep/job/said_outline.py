"""The outline as the artist says it, in words or as corners."""

from typing import cast

import numpy as np

from autoprep.domain import Corners, Declined, Outline, Photo, WorkFacts
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, is_convex, order_corners, rectangle

# Corners may lie so far outside the photo, in shares of its long side: a page that its border cuts. What takes less of
# the photo than the second is a slip of the finger.
_OUTSIDE, _LEAST = 0.5, 0.005


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


def _outline(quad: Float64, whole: bool) -> Outline:
    corners = cast(Corners, tuple((float(x), float(y)) for x, y in quad))
    return Outline(corners_px=corners, confidence=1.0, whole_photo=whole, cut=(whole,) * 4)
