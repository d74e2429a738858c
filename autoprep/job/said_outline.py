"""The outline as the artist says it, in words or as corners."""

from typing import cast

import cv2
import numpy as np

from autoprep.domain import Corners, Declined, Outline, WorkFacts
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, clipped, homography, is_convex, order_corners, rectangle, side_lengths
from autoprep.pixels import Photo

# Corners may lie so far outside the photo, in shares of its long side: a page that its border cuts. What of it lies
# inside and takes less of the photo than the second, or is a strip of fewer pixels than the third (of a small photo: of
# its shorter side than the fourth), is a slip of the finger. Chosen.
_OUTSIDE, _LEAST, _LEAST_SIDE_PX, _OF_A_SMALL_PHOTO = 0.5, 0.005, 40, 0.05
# One corner may be so many times as far from the camera as another. At 45 degrees over a work that fills the photo of a
# phone it is 3; near the horizon of its plane nothing of it can be seen. Chosen.
_FARTHEST = 10.0


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
    wrong = "" if inside_reach and is_convex(quad) else "are no outline"
    wrong = wrong or _too_little(quad, width, height) or _from_the_side(quad)
    if wrong:
        return Declined(reason=f"the corners that you give {wrong} in this photo of {width} x {height} pixels")
    return _outline(quad, whole=False)


def _too_little(quad: Float64, width: int, height: int) -> str:
    """What is wrong with corners that hold hardly anything of the photo; empty where nothing is."""
    seen = clipped(quad, rectangle(width, height))
    share = area(seen) if len(seen) else 0.0
    if share == 0:
        return "lie outside, with nothing of the work between them,"
    if share < _LEAST * width * height:
        return "hold hardly anything"
    # The slimmest rectangle about what is seen: of a page that the border cuts, a strip may be left.
    across = min(*cv2.minAreaRect(seen.astype(np.float32))[1], float(side_lengths(quad).min()))
    least = min(_LEAST_SIDE_PX, _OF_A_SMALL_PHOTO * min(width, height))
    return f"hold a strip of {across:.0f} pixels" if across < least else ""


def _from_the_side(quad: Float64) -> str:
    """What is wrong with corners that only a work seen nearly along its own plane would have."""
    matrix = homography(rectangle(1, 1), quad)
    depth = rectangle(1, 1) @ matrix[2, :2] + matrix[2, 2]
    least = float(depth.min())
    near = least > 0 and depth.max() < _FARTHEST * least
    return "" if near else "hold a work that nobody could see so far from the side"


def whole_photo(photo: Photo) -> Outline:
    """The photo's own border as the work's."""
    return _outline(rectangle(*photo.full_px), whole=True)


def _outline(quad: Float64, whole: bool) -> Outline:
    corners = cast(Corners, tuple((float(x), float(y)) for x, y in quad))
    return Outline(corners_px=corners, confidence=1.0, whole_photo=whole, cut=(whole,) * 4)
