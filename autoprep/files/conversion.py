"""Finished pixels into a printer's or lab's own ICC profile: once, from 16 bits, through lcms.

The imaging library's own binding to lcms has 8 bits a channel in and out; that of imagecodecs has 16.
"""

from dataclasses import dataclass
from typing import Literal, cast

import cv2
import imagecodecs
import numpy as np

from autoprep.errors import Unreadable
from autoprep.files.icc import read_matrix_profile
from autoprep.files.profiles import colour_model
from autoprep.imaging.arrays import AnyArray, Float32
from autoprep.imaging.colour import ciede2000, lab_fast, mixed

Intent = Literal["perceptual", "relative", "saturation", "absolute"]
_INTENTS: dict[Intent, int] = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}  # ICC.1:2022, 7.2.15
_MODELS = {"RGB": "rgb", "GRAY": "gray", "CMYK": "cmyk"}
_SEEN = 3.0  # CIEDE2000 from which a colour that the profile can't hold is counted
_BLACK_POINT = int(imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION)
# Else lcms takes shortcuts over tables of its own: up to 3 % of an ink off, and CIEDE2000 .6.
_EXACT = int(imagecodecs.CMS.FLAGS.NOOPTIMIZE)
_MOST_INK_SHARE = 99.9  # percent


@dataclass(frozen=True)
class Converted:
    """(H, W), (H, W, 3) or (H, W, 4) uint8 or uint16 codes; the share of pixels that came out visibly different, 0..1.

    ink: of CMYK the sum of the four inks in percent, 0..400: the most there is anywhere, and what 99.9 % of the picture
    stay below.
    """

    pixels: AnyArray
    outside: float
    ink: tuple[float, float] | None = None


def convert(
    pixels: AnyArray, source: bytes, target: bytes, intent: Intent, black_point: bool, bits: Literal[8, 16] = 8
) -> Converted:
    """(H, W, 3) uint8 or uint16 codes of the ICC profile `source` -> codes of `target` with so many bits.

    Raises Unreadable.
    """
    model = _MODELS[colour_model(target)]
    flags = _EXACT | (_BLACK_POINT if black_point else 0)
    there = through(pixels, source, target, ("rgb", model), intent, bits, flags)
    small = cv2.resize(there, _reduced(there.shape[1::-1]), interpolation=cv2.INTER_NEAREST)
    back = through(small, target, source, (model, "rgb"), "relative", bits=16)
    original = cv2.resize(pixels, small.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    return Converted(there, _differing(original, back, source), total_ink(there) if model == "cmyk" else None)


def through(
    pixels: AnyArray,
    source: bytes,
    target: bytes,
    models: tuple[str, str],
    intent: Intent,
    bits: Literal[8, 16] = 8,
    flags: int = _EXACT,
) -> AnyArray:
    """(H, W) or (H, W, C) uint8 or uint16 codes of one ICC profile -> codes of another with so many bits, by lcms.

    models: of the two, "rgb", "gray" or "cmyk". Raises Unreadable.
    """
    try:
        return cast(
            AnyArray,
            imagecodecs.cms_transform(
                np.ascontiguousarray(pixels), source, target, colorspace=models[0], outcolorspace=models[1],
                outdtype=f"uint{bits}", intent=_INTENTS[intent], flags=flags,
            ),
        )  # fmt: skip
    except (imagecodecs.CmsError, ValueError, RuntimeError) as problem:
        raise Unreadable(f"the colour profile can't be used ({problem})") from problem


def total_ink(inks: AnyArray) -> tuple[float, float]:
    """(H, W, 4) codes -> percent of ink, 0..400: the most at any pixel, and what 99.9 % of the pixels stay below."""
    total = inks.sum(axis=-1, dtype=np.uint32) * (100 / float(np.iinfo(inks.dtype).max))
    return float(total.max()), float(np.percentile(total, _MOST_INK_SHARE))


def _reduced(size: tuple[int, ...]) -> tuple[int, int]:
    factor = max(1.0, max(size) / 600)
    return max(1, round(size[0] / factor)), max(1, round(size[1] / factor))


def _differing(one: AnyArray, two: AnyArray, profile: bytes) -> float:
    """Share of pixels, (H, W, 3) codes of one profile, whose colour moved by more than can be overlooked.

    Lightness alone does not count.

    Paper white and ink black lie inside the screen's range, so every print moves lightness a little; what the
    artist wants to know is which colours the press can't show.
    """
    labs = [lab_fast(_linear(pixels, profile)) for pixels in (one, two)]
    labs[1][..., 0] = labs[0][..., 0]
    return float((ciede2000(labs[0], labs[1]) > _SEEN).mean())


def _linear(pixels: AnyArray, profile: bytes) -> Float32:
    """(H, W, 3) codes of a matrix profile, as all that pictures are rendered in are -> linear sRGB."""
    space = read_matrix_profile(profile)
    if space is None:
        raise Unreadable("the picture's own profile has no matrix")
    tables = space.tables(np.iinfo(pixels.dtype).max + 1)
    return mixed(np.stack([tables[c][pixels[..., c]] for c in range(3)], axis=-1), space.to_srgb)
