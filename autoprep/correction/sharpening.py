"""How much sharpening the photo's own blur asks for, and the sharpening itself."""

from typing import cast

import cv2
import numpy as np

from autoprep.domain import Sharpening
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMA

# Mild by rule: with these figures the peak of the modulation transfer stays below 1.1 (tests/reference).
_RADIUS_PX, _MOST, _LEAST = 0.8, 0.55, 0.25


def sharpening(blur_px: float, factor: float = 1.0) -> Sharpening:
    """Amount by the photo's own blur (standard deviation in photo pixels): sharp photos need less.

    factor is the artist's wish; 0 switches sharpening off.
    """
    amount = factor * float(np.clip(_LEAST + 0.35 * (blur_px - 0.6), _LEAST, _MOST))
    return Sharpening(radius_px=_RADIUS_PX, amount=round(amount, 3), threshold=0.012)


# A picture of fewer pixels than the photo is as crisp as its filter leaves it: at half the size and below it gets this
# share of the sharpening. (With all of it a line's halo came to 10 % of its step; with this it stays below 6.)
_REDUCED = 0.5


def for_size(how: Sharpening, shrink: float) -> Sharpening:
    """The sharpening of a picture of the work; shrink: photo pixels per pixel of it."""
    share = float(np.interp(shrink, (1.0, 2.0), (1.0, _REDUCED)))
    return how.model_copy(update={"amount": how.amount * share})


def sharpen(code: Float32, how: Sharpening) -> Float32:
    """(H, W, 3) float32 sRGB codes 0..1 -> sharpened copy; lightness only, flat paper left alone.

    The same amount is added to the three channels, so hues stay; the mask rises from half the threshold to twice
    it, so paper grain and noise are not lifted.
    """
    if how.amount == 0:
        return code
    luma = cast(Float32, cv2.transform(code, LUMA))
    blurred = cast(Float32, cv2.GaussianBlur(luma, (0, 0), how.radius_px, borderType=cv2.BORDER_REPLICATE))
    lift = luma - blurred
    mask = cast(Float32, cv2.GaussianBlur(np.abs(lift), (0, 0), 1.5, borderType=cv2.BORDER_REPLICATE))
    mask *= np.float32(1 / (0.75 * how.threshold))
    mask -= np.float32(0.25 / 0.75)
    np.clip(mask, 0, 1, out=mask)
    mask *= np.float32(how.amount)
    lift *= mask
    added = cv2.merge([lift, lift, lift])
    return cast(Float32, cv2.add(code, added, dst=added))
