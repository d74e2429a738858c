"""Pictures for questions and proofs."""

import io

import cv2
import numpy as np
from PIL import Image

from autoprep.domain import Outline, Photo
from autoprep.imaging.arrays import Float64, UInt8
from autoprep.imaging.transfer import encode_fast, quantise8

_LONG_PX = 1280  # readable at phone width


def marked_photo(photo: Photo, outline: Outline | None) -> bytes:
    """A JPEG of the photo with the guessed outline drawn in, corners ringed, everything else dimmed."""
    factor = max(1, max(photo.size_px) // _LONG_PX)
    small = photo.reduced(factor).linear()
    scale = min(1.0, _LONG_PX / max(small.shape[:2]))
    size = (round(small.shape[1] * scale), round(small.shape[0] * scale))
    code = quantise8(encode_fast(np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32)))
    if outline is not None:
        code = _draw(code, outline.array() * size[0] / photo.full_px[0])
    out = io.BytesIO()
    Image.fromarray(code).save(out, "JPEG", quality=85, subsampling=0)
    return out.getvalue()


def _draw(code: UInt8, quad: Float64) -> UInt8:
    fixed = np.round(quad * 16).astype(np.int32)
    inside = cv2.fillConvexPoly(np.zeros(code.shape[:2], np.uint8), fixed, 1, cv2.LINE_AA, 4)
    drawn = np.where(inside[..., None] > 0, code, (code * 0.45).astype(np.uint8))
    drawn = np.ascontiguousarray(drawn)
    for colour, width in (((20, 20, 20), 6), ((255, 190, 40), 3)):
        cv2.polylines(drawn, [fixed], True, colour, width, cv2.LINE_AA, 4)
        for x, y in fixed:
            cv2.circle(drawn, (int(x), int(y)), 16 * 16, colour, width, cv2.LINE_AA, 4)
    return drawn
