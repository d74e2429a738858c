"""Finished pixels into a printer's or lab's own ICC profile, through the colour engine of the imaging library."""

import io
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from PIL import Image, ImageCms

from autoprep.errors import Unreadable
from autoprep.files.icc import colour_model
from autoprep.imaging.arrays import AnyArray, UInt8
from autoprep.imaging.colour import ciede2000, lab_fast
from autoprep.imaging.transfer import srgb_to_linear

Intent = Literal["perceptual", "relative", "saturation", "absolute"]
_INTENTS = {
    "perceptual": ImageCms.Intent.PERCEPTUAL,
    "relative": ImageCms.Intent.RELATIVE_COLORIMETRIC,
    "saturation": ImageCms.Intent.SATURATION,
    "absolute": ImageCms.Intent.ABSOLUTE_COLORIMETRIC,
}
_MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}
_SEEN = 3.0  # CIEDE2000 from which a colour that the profile can't hold is counted


@dataclass(frozen=True)
class Converted:
    """(H, W), (H, W, 3) or (H, W, 4) uint8 codes, and the share of pixels that came out visibly different, 0..1."""

    pixels: UInt8
    outside: float


def convert(pixels: AnyArray, source: bytes, target: bytes, intent: Intent, black_point: bool) -> Converted:
    """(H, W, 3) uint8 codes of the ICC profile `source` -> codes of `target`. Raises Unreadable."""
    mode = _MODES[colour_model(target)]
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION if black_point else ImageCms.Flags.NONE
    try:
        there = ImageCms.buildTransform(_opened(source), _opened(target), "RGB", mode, _INTENTS[intent], flags)
        back = ImageCms.buildTransform(
            _opened(target), _opened(source), mode, "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NONE
        )
        picture = ImageCms.applyTransform(Image.fromarray(np.ascontiguousarray(pixels, np.uint8)), there)
        assert picture is not None
        small = picture.resize(_reduced(picture.size), Image.Resampling.NEAREST)
        returned = ImageCms.applyTransform(small, back)
    except (ImageCms.PyCMSError, OSError, ValueError) as problem:
        raise Unreadable(f"the colour profile can't be used ({problem})") from problem
    assert returned is not None
    original = cv2.resize(pixels, small.size, interpolation=cv2.INTER_NEAREST)
    return Converted(np.asarray(picture), _differing(original, np.asarray(returned)))


def _opened(data: bytes) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(data))


def _reduced(size: tuple[int, int]) -> tuple[int, int]:
    factor = max(1.0, max(size) / 600)
    return max(1, round(size[0] / factor)), max(1, round(size[1] / factor))


def _differing(one: AnyArray, two: AnyArray) -> float:
    """Share of pixels whose colour moved by more than can be overlooked; lightness alone does not count.

    Paper white and ink black lie inside the screen's range, so every print moves lightness a little; what the
    artist wants to know is which colours the press can't show.
    """
    labs = [lab_fast(np.asarray(srgb_to_linear(p / 255.0), np.float32)) for p in (one, two)]
    labs[1][..., 0] = labs[0][..., 0]
    return float((ciede2000(labs[0], labs[1]) > _SEEN).mean())
