"""How strongly the mark is drawn, and in which ink, so that it can be read: measured on what comes out.

The measure is the contrast ratio of WCAG 2 (W3C), (L1 + .05) / (L2 + .05) of relative luminances: between the middle of
the strokes as they are drawn and what is left free right beside them, in each stretch of the mark that is twice as wide
as it is high. The lowest of these counts: a mark half of which is lost is not read.
"""

import itertools
from dataclasses import dataclass
from typing import Literal, cast

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMA
from autoprep.imaging.transfer import code_to_linear, linear_to_code, srgb_to_linear
from autoprep.imaging.units import Gamma

Contrast = Literal["quiet", "readable"]
LEAST: dict[Contrast, float] = {"quiet": 1.8, "readable": 3.0}
"""Lowest contrast as drawn: of large text WCAG 2.2 asks 3 (success criterion 1.4.3); 1.8 is chosen by eye, for a mark
that is found by who looks for it."""

LIGHT, DARK = 0.98, 0.10  # sRGB code values of the two inks, both without a colour
_STRONGEST = 2.5  # times its coverage: strokes thinner than a pixel fill up
_STEPS = 7  # halvings of the range of strengths
_CORE, _FREE = 0.75, 0.02  # coverage, of the most there is, of a stroke's middle, and of what is free
_LEAST_CORE = 6  # pixels: a stretch with less of the mark says nothing
_SEAM = 0.85  # opacity of the seam
_AIM = 1.02  # what is drawn is rounded to whole codes, and written with loss


@dataclass(frozen=True)
class Coding:
    """What codes mean: their curve, and (3, 3) linear sRGB -> their linear RGB; None where that is sRGB itself."""

    gamma: Gamma = None
    matrix: Float32 | None = None

    def luminance(self, codes: Float32) -> Float32:
        """(..., 3) codes 0..1 -> (...) relative luminance, 1.0 = white (WCAG 2.2)."""
        weights = LUMA[0] if self.matrix is None else LUMA[0] @ np.linalg.inv(self.matrix)
        return np.asarray(code_to_linear(codes, self.gamma) @ weights, np.float32)

    def ink(self, light: bool) -> np.float32:
        """The code, the same in all channels, of the light or the dark ink."""
        linear = srgb_to_linear(np.array(LIGHT if light else DARK))
        return np.float32(linear_to_code(linear, self.gamma))


@dataclass(frozen=True)
class Drawn:
    """(h, w, 3) codes with the mark on them, whether its ink is light, and its contrast as drawn."""

    codes: Float32
    light: bool
    contrast: float


SRGB = Coding()


def drawn(under: Float32, mask: Float32, opacity: float, wanted: Contrast, coding: Coding = SRGB) -> Drawn:
    """The mark over (h, w, 3) codes 0..1; mask: (h, w) coverage 0..1.

    As strong as opacity says where that is read; stronger where it takes more; in the other ink where that helps; and
    with a soft seam of the other ink around it where its ground is now light, now dark, so that no ink is read on all.
    """
    first = _light_ink(under, coding)
    least = LEAST[wanted] * _AIM
    for light in (first, not first):
        at_once = _blended(under, mask, opacity, light, coding)
        if at_once.contrast >= (LEAST[wanted] if light == first else least):
            return at_once
        if _blended(under, mask, _STRONGEST, light, coding).contrast >= least:
            return _just_enough(under, mask, opacity, light, least, coding)
    seam = _seamed(under, mask, not first, coding)
    strongest = _blended(seam, mask, _STRONGEST, first, coding)
    return _just_enough(seam, mask, opacity, first, least, coding) if strongest.contrast >= least else strongest


def _just_enough(under: Float32, mask: Float32, opacity: float, light: bool, least: float, coding: Coding) -> Drawn:
    """The weakest strength, about, that reaches the least contrast; the strongest is known to."""
    low, high = opacity, _STRONGEST
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if _blended(under, mask, middle, light, coding).contrast >= least else (middle, high)
    return _blended(under, mask, high, light, coding)


def _blended(under: Float32, mask: Float32, strength: float, light: bool, coding: Coding) -> Drawn:
    cover = np.minimum(mask * np.float32(strength), 1)[..., None]
    codes = np.asarray(under * (1 - cover) + coding.ink(light) * cover, np.float32)
    return Drawn(codes, light, contrast_as_drawn(codes, mask, coding))


def _seamed(under: Float32, mask: Float32, light: bool, coding: Coding) -> Float32:
    """The ground with a soft seam around the letters, about a tenth of the mark's height wide."""
    width = max(1.0, mask.shape[0] / 12)
    side = 2 * round(width) + 1
    wide = cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    soft = (cast(Float32, cv2.GaussianBlur(wide, (0, 0), width / 2)) * np.float32(_SEAM))[..., None]
    return np.asarray(under * (1 - soft) + coding.ink(light) * soft, np.float32)


def contrast_as_drawn(codes: Float32, mask: Float32, coding: Coding = SRGB) -> float:
    """The lowest contrast of any stretch of the mark; 1.0 where none can be told."""
    height, width = mask.shape
    luminance = coding.luminance(codes)
    reach = max(3, height // 3) | 1
    near = cv2.dilate(mask, np.ones((reach, reach), np.uint8)) > _FREE
    free = (mask <= _FREE) & near
    core = mask >= _CORE * float(mask.max())
    found = [
        contrast_ratio(float(luminance[:, cut][core[:, cut]].mean()), float(luminance[:, cut][free[:, cut]].mean()))
        for cut in _stretches(width, 2 * height)
        if core[:, cut].sum() >= _LEAST_CORE and free[:, cut].any()
    ]
    return min(found, default=1.0)


def _stretches(width: int, wanted: int) -> list[slice]:
    edges = np.linspace(0, width, max(1, round(width / wanted)) + 1).round().astype(int)
    return [slice(int(a), int(b)) for a, b in itertools.pairwise(edges)]


def _light_ink(under: Float32, coding: Coding) -> bool:
    """Whether light ink contrasts more with the mean of what lies under it than dark ink."""
    background = float(np.mean(coding.luminance(under)))
    light, dark = (float(srgb_to_linear(np.array(ink))) for ink in (LIGHT, DARK))
    return contrast_ratio(light, background) > contrast_ratio(dark, background)


def contrast_ratio(one: float, two: float) -> float:
    """(L1 + 0.05) / (L2 + 0.05) of two relative luminances (WCAG 2.2)."""
    high, low = max(one, two), min(one, two)
    return (high + 0.05) / (low + 0.05)
