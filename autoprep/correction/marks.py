"""Marks lighter than the paper they stand on: what proves best that a sheet is toned.

Chalk, gouache and gel pen are lighter than toned paper. But so are, on white sheets, the edges that a camera's
sharpening leaves beside dark lines, glare, a shine that comes in from the rim, and noise; none of these is a mark.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, AnyArray, Bool, Float32, least
from autoprep.imaging.colour import LUMINANCE, luminance
from autoprep.imaging.planes import rim_of, slope_of, small_copy, soft

# Chosen: at 960 px a pen line is about 1.5 px wide.
_LOOK_PX = 960
_LIGHTER, _DARKER, _GRAINS = 0.12, 0.06, 4.0  # natural log, or so many deviations of the grain
_BESIDE_PX, _AROUND_GLARE_PX = 9, 61
_BLOWN = 0.85
_RIM = 0.03
_STEEP = 0.04  # natural log per cell of the light
# A mark rises by so much per pixel (natural log), softened by so much, along so much of its border. Chosen on photos of
# seeds 161000-161359, 165000-165483 and 166000-166831 under shines: of 496 white sheets of the last three come out
# white that were toned for marks.
_AT_ONCE, _AT_ONCE_GRAINS, _BORDER_SOFT_PX, _HARD_SHARE = 0.02, 0.5, 1.5, 0.3


def lighter_marks(linear: Float32, log_light: Float32) -> float:
    """Share of the work under marks lighter than its paper.

    linear: (H, W, 3) float32 linear sRGB of the rectified work; log_light: (h, w, 3) natural log of what bare paper
    shows, at any size.
    """
    small = soft(small_copy(linear, _LOOK_PX), 0.8)
    size = (small.shape[1], small.shape[0])
    light = cast(Float32, cv2.resize(log_light, size, interpolation=cv2.INTER_LINEAR))
    luma = quick.log(np.maximum(luminance(small), DARKEST))
    rest = np.asarray(luma - light @ LUMINANCE, np.float32)
    grain = _grain(rest)
    marks = (rest > max(_LIGHTER, _GRAINS * grain)) & ~_beside_lines(rest, grain) & ~_around_glare(small)
    marks &= ~_at_borders(log_light, size)
    marks = inside_only(cv2.morphologyEx(marks.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)) > 0)
    return float(_with_borders(marks, luma, grain).mean())


def _grain(rest: Float32) -> float:
    once = rest - cv2.GaussianBlur(rest, (0, 0), 2.0)
    fine = once - cv2.GaussianBlur(once, (0, 0), 2.0)
    return 1.4826 * quick.median(np.abs(fine))


def _beside_lines(rest: Float32, grain: float) -> Bool:
    dark = (rest < -max(_DARKER, _GRAINS * grain)).astype(np.uint8)
    return np.asarray(cv2.dilate(dark, np.ones((_BESIDE_PX, _BESIDE_PX), np.uint8)) > 0)


def _around_glare(small: Float32) -> Bool:
    blown = cv2.morphologyEx((least(small) > _BLOWN).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    return np.asarray(cv2.dilate(blown, np.ones((_AROUND_GLARE_PX, _AROUND_GLARE_PX), np.uint8)) > 0)


def _at_borders(log_light: Float32, size: tuple[int, int]) -> Bool:
    """Where a shadow begins, the light is known to a cell only, and what is lit may seem lighter than it."""
    luma = np.ascontiguousarray(log_light @ LUMINANCE)
    steep = cv2.dilate((slope_of(luma) > _STEEP).astype(np.uint8), np.ones((5, 5), np.uint8))
    return np.asarray(cv2.resize(steep, size, interpolation=cv2.INTER_NEAREST) > 0)


def inside_only(marks: Bool) -> Bool:
    """Marks lie inside the sheet; what comes in from its rim is a shine, another sheet, or desk."""
    rim = rim_of(marks.shape, max(2, round(_RIM * min(marks.shape))))
    count, labels = cv2.connectedComponents(marks.astype(np.uint8), connectivity=8)
    at_rim = np.bincount(labels[rim], minlength=count) > 0
    at_rim[0] = True
    return np.asarray(~at_rim[labels])


def _with_borders(marks: Bool, luma: Float32, grain: float) -> Bool:
    """The marks that are lighter right from their border on, in (h, w) natural log of what is seen; a shine inside the
    sheet swells, and so does light that is not known quite, whatever dark lines run through."""
    across, around = np.ones((_BESIDE_PX, _BESIDE_PX), np.uint8), np.ones((3, 3), np.uint8)
    ground = cast(Float32, cv2.morphologyEx(luma, cv2.MORPH_CLOSE, across))
    steep = slope_of(soft(ground, _BORDER_SOFT_PX)) > max(_AT_ONCE, _AT_ONCE_GRAINS * grain)
    whole = cv2.morphologyEx(marks.astype(np.uint8), cv2.MORPH_CLOSE, across)
    border = (whole > 0) & ~(cv2.erode(whole, around) > 0)
    count, labels = cv2.connectedComponents(whole, connectivity=8)
    long = np.bincount(labels[border], minlength=count)
    hard = np.bincount(labels[border & (cv2.dilate(steep.astype(np.uint8), around) > 0)], minlength=count)
    return np.asarray(marks & (hard > _HARD_SHARE * long)[labels])


# What stands out of its neighbourhood by so much (natural log), lighter or darker, is a relief where both are as much,
# in each other's neighbourhood, and faint. (Six blank embossings: as much within .2, .84 and .97 near each other, .23
# at the most; 40 toned and coloured sheets of seeds 139500-: darks of .25 and more, and fewer of them near lights.)
_STANDS_OUT, _NEAR_PX, _AS_MUCH, _FAINT, _LIGHT_NEAR, _DARK_NEAR = 0.06, 13, 1.4, 0.25, 0.75, 0.9


def is_relief(off: AnyArray, counts: Bool) -> bool:
    """Whether what is lighter than the paper is but the lit side of ridges, as on a blank embossing.

    off: (h, w) natural log of how far each place stands out of its neighbourhood; counts: which places count.
    """
    light, dark = (off > _STANDS_OUT) & counts, (off < -_STANDS_OUT) & counts
    more, less = max(light.sum(), dark.sum()), min(light.sum(), dark.sum())
    if less == 0 or more > _AS_MUCH * less:
        return False
    if float(np.percentile(off[light], 90)) > _FAINT or float(np.percentile(-off[dark], 90)) > _FAINT:
        return False
    around = np.ones((_NEAR_PX, _NEAR_PX), np.uint8)
    near_dark, near_light = (cv2.dilate(part.astype(np.uint8), around) > 0 for part in (dark, light))
    return bool(near_dark[light].mean() > _LIGHT_NEAR and near_light[dark].mean() > _DARK_NEAR)
