"""What can be measured on a rectified work: blur, noise, clipping, glare, light, and the paper before and after."""

from typing import cast

import cv2
import numpy as np

from autoprep.correction.paper import Paper
from autoprep.correction.perspective import tilt_degrees, usual_focal_px
from autoprep.domain import Declined, Geometry
from autoprep.imaging import quick
from autoprep.imaging.arrays import Bool, Float32, greatest, least
from autoprep.imaging.colour import lab_fast, lightness_of, luminance
from autoprep.imaging.planes import rim_of, small_copy
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import lens_of, quad_of


def blur_px(linear: Float32) -> float | None:
    """Standard deviation in pixels of the blur of (H, W, 3) linear light; None where there is no edge to tell.

    The picture is blurred again by a known amount; on an edge of width s the gradient falls by
    sqrt(s^2 + s0^2) / s, whatever the edge's height. The median over the strongest edges is taken, for each of
    two directions by itself, and the larger counts: a shaken photo is blurred in one direction only.
    """
    code = encode_fast(luminance(linear))
    widths = [width for width in (_blur_along(code), _blur_along(code.T)) if width is not None]
    return max(widths, default=None)


_KNOWN_BLUR_PX, _CALM_PX = 1.5, 0.5


def _blur_along(code: Float32) -> float | None:
    """Blur along the rows of an (H, W) picture of sRGB codes."""
    code = np.ascontiguousarray(code)
    again_px = float(np.hypot(_CALM_PX, _KNOWN_BLUR_PX))
    once = np.abs(cv2.Sobel(cast(Float32, cv2.GaussianBlur(code, (0, 0), _CALM_PX)), cv2.CV_32F, 1, 0, scale=0.125))
    again = np.abs(cv2.Sobel(cast(Float32, cv2.GaussianBlur(code, (0, 0), again_px)), cv2.CV_32F, 1, 0, scale=0.125))
    peak = (once == cv2.dilate(once, np.ones((1, 7), np.uint8))) & (once > 0)
    noise = quick.median(once) * 5 + 0.004
    if (peak & (once > noise)).sum() < 30:
        return None
    strong = peak & (once >= max(quick.quantile(once[peak & (once > noise)], 0.7), noise))
    ratio = np.clip(once[strong] / np.maximum(again[strong], 1e-6), 1.02, 20)
    width = _KNOWN_BLUR_PX / np.sqrt(ratio**2 - 1)
    return float(np.sqrt(max(quick.median(width) ** 2 - _CALM_PX**2, 0.01)))


def sharpness(linear: Float32) -> float:
    """Gradient energy after a Gaussian of 1 px, over the squared mean: comparable between takes of one work.

    Tenengrad over mean^2 orders blurred-noisy and dim-sharp pairs rightly where the variance of the Laplacian does
    not (Pertuz et al., Pattern Recognition 46, 2013, for the family).
    """
    luma = cast(Float32, cv2.GaussianBlur(luminance(linear), (0, 0), 1.0))
    energy, down = (cast(Float32, cv2.Sobel(luma, cv2.CV_32F, *way)) for way in ((1, 0), (0, 1)))
    energy *= energy
    down *= down
    energy += down
    return float(energy.mean() / max(float(luma.mean()) ** 2, 1e-8))


def finished_look(corrected: Float32) -> dict[str, float]:
    """Mean lightness (L*) of a corrected work (H, W, 3) linear light, and its grain: the noise of single pixels in L*.

    Grain is the standard deviation of white noise that explains the median answer of a second difference in both
    directions (Immerkaer, Computer Vision and Image Understanding 64, 1996, has the mean): lines and slopes give no
    answer, and where they bend they are few.
    """
    lightness = lightness_of(luminance(corrected))
    answer = cv2.filter2D(lightness, cv2.CV_32F, _SECOND_BOTH)
    np.abs(answer, out=answer)
    return {"lightness": float(lightness.mean()), "grain": quick.median(answer) / (0.6745 * 6)}


_SECOND_BOTH = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


def clipped_percent(linear: Float32) -> float:
    """Share of pixels with a channel at the top of the camera's scale, in percent."""
    # The library compares all channels at once, in half the time.
    below = cv2.countNonZero(cv2.inRange(linear, (-np.inf,) * 3, (_BELOW_TOP,) * 3))
    pixels = linear.shape[0] * linear.shape[1]
    return float((pixels - below) / pixels * 100)


_BELOW_TOP = float(np.nextafter(np.float32(0.985), np.float32(0)))


def glare_percent(linear: Float32, paper: Paper | Declined) -> float:
    """Share of the work under glare, in percent: blown, colourless, compact highlights lighter than the paper, or
    wide shine on the paper itself, whichever is more."""
    small = cast(Float32, cv2.resize(linear, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    blown = (least(small) > 0.93).astype(np.uint8)
    if not isinstance(paper, Declined):
        expected = np.exp(greatest(paper.log_field(*small.shape[:2])))
        blown &= (greatest(small) > 1.25 * expected).astype(np.uint8)
    solid = cv2.morphologyEx(blown, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    shine = 0.0 if isinstance(paper, Declined) else paper.shines
    return float(max(solid.mean(), shine) * 100)


def oblique_degrees(geometry: Geometry) -> float:
    """How far from square-on the camera stood, in degrees; by a usual lens where its focal length is not known."""
    if geometry.ratio_from == "whole photo":
        return 0.0
    focal = geometry.focal_px or usual_focal_px(geometry.photo_px)
    return tilt_degrees(lens_of(geometry).ideal(quad_of(geometry)), geometry.photo_px, focal)


def paper_levels(corrected: Float32, mask: Bool) -> dict[str, float]:
    """L*, C* and spread of L* over the bare paper of a corrected work (H, W, 3 linear), by a mask of any size."""
    size = (mask.shape[1], mask.shape[0])
    small = cast(Float32, cv2.resize(corrected, size, interpolation=cv2.INTER_AREA))
    if not mask.any():
        return {}
    mean, spread = (values.ravel() for values in cv2.meanStdDev(lab_fast(small), mask=mask.astype(np.uint8)))
    return {"paper_L": float(mean[0]), "paper_C": float(np.hypot(*mean[1:])), "paper_L_spread": float(spread[0])}


# What is left of a shadow on a corrected sheet, looked for where strokes of so many pixels are closed: so much darker
# than the paper in L*, of its own hue to within so much, so large a share of the sheet, and of its rim. (97 light
# sheets of tuning seeds 70000- and five with a shadow that stayed: all parts of bare paper of more than 5 % of a sheet
# that are 8 L* too dark are found but one; nothing is found in 72 real pages, and in two sheets without a shadow but
# with the shade of a bend.)
_LOOK_PX, _STROKE_PX, _BESIDE_PX, _SPECK_PX = 480, 13, 9, 9
_DARKER_L, _HUE, _OF_SHEET, _OF_RIM = (8.0, 40.0), 7.0, 0.015, 0.01


def shade_left_percent(corrected: Float32) -> float:
    """Share of a corrected light sheet, (H, W, 3) linear, in percent, that is darker than its paper, of the same hue,
    without strokes, and comes in from the rim: a shadow that was not evened, or a grey wash."""
    lab = lab_fast(small_copy(np.clip(corrected, 0, 1), _LOOK_PX))
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_STROKE_PX, _STROKE_PX))
    lightness, *hue = cv2.split(lab)
    ground = cast(Float32, cv2.morphologyEx(lightness, cv2.MORPH_CLOSE, brush))
    free = (ground - lightness < 3).astype(np.float32)
    beside = (_BESIDE_PX, _BESIDE_PX)
    seen = np.asarray(cv2.blur(free, beside)) + np.float32(1e-3)
    paper_l = quick.quantile(ground, 0.85)
    is_paper = (ground > paper_l - 3) & (free > 0)
    if not is_paper.any():
        return 0.0
    off = cv2.magnitude(*(cv2.blur(a * free, beside) / seen - np.float32(quick.median(a[is_paper])) for a in hue))
    least, most = _DARKER_L
    dark = (ground < paper_l - least) & (ground > paper_l - most) & (off < _HUE)
    solid = cv2.morphologyEx(dark.astype(np.uint8), cv2.MORPH_OPEN, np.ones((_SPECK_PX, _SPECK_PX), np.uint8))
    return float(_from_rim(np.asarray(solid > 0)).mean() * 100)


def _from_rim(dark: Bool) -> Bool:
    """The parts that are large and lie along the rim."""
    count, labels = cv2.connectedComponents(dark.astype(np.uint8))
    rim = rim_of(dark.shape, max(2, round(0.03 * min(dark.shape))))
    sizes, along = (np.bincount(labels[where], minlength=count) for where in (np.ones_like(dark), rim))
    kept = (sizes > _OF_SHEET * dark.size) & (along > _OF_RIM * rim.sum())
    kept[0] = False
    return np.asarray(kept[labels])
