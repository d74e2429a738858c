"""The local contrast that a camera adds: paper beside dark things comes out lighter than the rest of its sheet.

Phones lift what is lighter than its wide surroundings and lower what is darker (common practice, no source). Bare paper
within a dense drawing, or along a dark desk, is then lighter than bare paper elsewhere, by up to a fifth: as if it were
marks on a grey sheet. How much was added is in no file; the paper itself tells it.
"""

import cv2
import numpy as np

from autoprep.domain import Geometry
from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, AnyArray, Float32, Float64
from autoprep.imaging.colour import LUMINANCE, luminance
from autoprep.imaging.planes import in_each, soft
from autoprep.pixels import Photo, in_photo

# How wide the surroundings are, as a share of the photo's long side, differs from phone to phone; this is in the middle
# of what is usual (common practice, no source). They are known at so many places across and down the work.
_WIDE, _PHOTO_PX, _PLACES = 0.03, 400, 96
# What stands out by more is not lifted further: cameras hold the effect within some 20 % of light.
_MOST_ABOVE = 0.7
# Paper that hardly varies in what surrounds it tells nothing: so much spread (natural log, squared) weighs as much.
_LITTLE = 0.0004


def wide_surroundings(photo: Photo, geometry: Geometry) -> Float32:
    """(n, n) float32 natural log of the luminance of the wide surroundings of places of the work, desk and all."""
    small = photo.reduced(max(1, max(photo.size_px) // _PHOTO_PX))
    luma = small.linear() @ LUMINANCE
    around = soft(np.asarray(luma, np.float32), _WIDE * max(luma.shape))
    middles = (np.arange(_PLACES) + 0.5) / _PLACES
    at = in_photo(geometry, np.stack(np.meshgrid(middles, middles), axis=-1)) * small.scales - 0.5
    x, y = np.moveaxis(at.astype(np.float32), -1, 0)
    seen = cv2.remap(around, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(np.log(np.maximum(seen, DARKEST)), np.float32)


def above_surroundings(linear: Float32, wide: Float32) -> Float32:
    """(H, W, 3) float32 linear light of the work -> (H, W) natural log by which it is lighter than its surroundings."""
    luma = quick.log(np.maximum(luminance(linear), DARKEST))
    around = cv2.resize(wide, luma.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.clip(luma - around, -_MOST_ABOVE, _MOST_ABOVE), np.float32)


def without_contrast_of(linear: Float32, wide: Float32, amount: float) -> Float32:
    """(H, W, 3) float32 linear light of the work with so much local contrast taken back (see amount_of)."""
    return linear * in_each(quick.exp(-amount * above_surroundings(linear, wide)))


def amount_of(above: AnyArray, luma: AnyArray, terms: Float64, weight: AnyArray) -> float:
    """How much local contrast is to be taken back from paper under a smooth light: the power of (light / that of its
    wide surroundings) to divide by. What was added as the power of a is a / (1 + a) of what is seen.

    above, luma: (N,) natural logs at places of bare paper; terms: (N, k) of the smooth light (see imaging.fields);
    weight: (N,). By least squares, in what the smooth light leaves of both.
    """
    weight = np.asarray(weight, np.float64)
    scale = np.sqrt(weight)[:, None]
    both = np.stack([above, luma], axis=1).astype(np.float64)
    smooth = np.linalg.lstsq(terms * scale, both * scale, rcond=None)[0]
    rest, lifted = (both - terms @ smooth).T
    return float((weight * rest * lifted).sum() / ((weight * rest**2).sum() + _LITTLE * weight.sum()))
