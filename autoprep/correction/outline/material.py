"""A witness that knows nothing of lines: is what lies inside an outline one sheet, and what lies beyond something else?

The two finders look for edges. Where they differ, the material settles many cases: within the right outline the ground
is one paper in one light, up to all sides; a strip beyond each side that the photo shows is something else. An outline
that takes in some desk fails the first, one that leaves a strip of the page out fails the second.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.correction.cells import ground_cells
from autoprep.correction.sheet import Sheet, find_sheet
from autoprep.imaging.arrays import Bool, Float32, Float64
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.geometry import homography, rectangle, side_lengths

Sides = tuple[bool, bool, bool, bool]

# Chosen on 74 photos of pages and on the lab's tuning seeds. The work is looked at with this long side, and with a band
# around it of this share of that; the strip beyond a side begins a little outside it, for blur and lifted edges.
_LONG_PX, _BAND, _BEGINS = 720, 0.06, 0.015
_EXPLAINED, _RIM = 0.88, 0.8
_STRETCHES = 40
_ANOTHER = 0.08  # natural log by which another material differs from the paper, in any channel
_LEAST_SHOWN, _LEAST_OTHER = 0.3, 0.8  # shares of a side's stretches


def is_one_sheet(linear: Float32, quad: Float64, cut: Sides) -> bool:
    """Whether an outline holds one sheet and nothing else, and the sheet ends there.

    linear: (H, W, 3) float32 linear light of the photo; quad: (4, 2) corners in its pixels; cut: the sides, top, right,
    bottom, left, that are the photo's border and not the sheet's end.
    """
    view, shown, band = _rectified(linear, quad)
    sheet = find_sheet(ground_cells(view[band:-band, band:-band]))
    if not isinstance(sheet, Sheet) or sheet.explained < _EXPLAINED or sheet.rim < _RIM:
        return False
    ends = [_ends(view, shown, sheet, band, side) for side in range(4) if not cut[side]]
    return bool(ends) and all(ends)


def _rectified(linear: Float32, quad: Float64) -> tuple[Float32, Bool, int]:
    """The outline's content squared, with a band around it; where the photo shows it; the band's width in pixels."""
    sides = side_lengths(quad)
    wide, high = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    scale = min(1.0, _LONG_PX / max(wide, high))
    size = (max(60, round(wide * scale)), max(60, round(high * scale)))
    band = max(8, round(_BAND * max(size)))
    matrix = homography(quad, rectangle(*size) + band)
    whole = (size[0] + 2 * band, size[1] + 2 * band)
    seen = cv2.warpPerspective(linear, matrix, whole, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    inside = np.ones(linear.shape[:2], np.uint8)
    shown = np.asarray(cv2.warpPerspective(inside, matrix, whole, flags=cv2.INTER_NEAREST) > 0)
    return cast(Float32, seen), shown, band


def _ends(view: Float32, shown: Bool, sheet: Sheet, band: int, side: int) -> bool:
    """Whether beyond a side, along most of what the photo shows of it, lies another material."""
    # Each side in turn is brought to the top.
    turned, seen = (np.rot90(plane, side) for plane in (view, shown))
    light = np.rot90(sheet.log_light, side)
    begins = max(2, round(_BEGINS * max(view.shape[:2])))
    strip, valid = turned[: band - begins, band:-band], seen[: band - begins, band:-band]
    rim = light[1:4].mean(axis=0)
    others, known = 0, 0
    for part, ok, place in zip(
        np.array_split(strip, _STRETCHES, axis=1), np.array_split(valid, _STRETCHES, axis=1),
        np.array_split(rim, _STRETCHES), strict=True,
    ):  # fmt: skip
        if ok.mean() < 0.5 or not len(place):
            continue
        known += 1
        ground = _upper_half(part[ok])
        others += bool(np.abs(np.log(np.maximum(ground, 2e-3)) - place.mean(axis=0)).max() > _ANOTHER)
    return known < _LEAST_SHOWN * _STRETCHES or others >= _LEAST_OTHER * known


def _upper_half(pixels: Float32) -> Float64:
    """(N, 3) -> (3,) the mean of the lighter half: the ground between lines."""
    luma = pixels @ LUMINANCE
    return np.asarray(pixels[luma >= np.median(luma)].mean(axis=0), np.float64)
