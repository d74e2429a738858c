"""The sRGB transfer function (IEC 61966-2-1), other curves that codes may have, and fast tables for them."""

from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64, UInt8, UInt16
from autoprep.imaging.units import Gamma

# IEC 61966-2-1: 0.04045, 12.92, 0.055, 1.055, 2.4; 0.0031308 for the inverse.
_CODE_KNEE = 0.04045
_LINEAR_KNEE = 0.0031308


def srgb_to_linear(code: AnyArray) -> Float64:
    """Any shape, sRGB code values 0..1 -> linear light 0..1, float64 (IEC 61966-2-1)."""
    code = np.asarray(code, np.float64)
    return np.asarray(np.where(code <= _CODE_KNEE, code / 12.92, ((np.maximum(code, 0) + 0.055) / 1.055) ** 2.4))


def linear_to_srgb(linear: AnyArray) -> Float64:
    """Any shape, linear light -> sRGB code values 0..1, float64; outside 0..1 is clipped first."""
    linear = np.clip(np.asarray(linear, np.float64), 0.0, 1.0)
    return np.asarray(
        np.where(linear <= _LINEAR_KNEE, linear * 12.92, 1.055 * np.maximum(linear, 1e-12) ** (1 / 2.4) - 0.055)
    )


CIE_EPSILON, CIE_KAPPA = 216 / 24389, 24389 / 27  # CIE 15


def linear_to_code(linear: AnyArray, gamma: Gamma) -> Float64:
    """Any shape, linear light 0..1 -> code values 0..1 of a curve, float64 (for L*: CIE 15)."""
    if gamma is None:
        return linear_to_srgb(linear)
    linear = np.asarray(linear, np.float64)
    if gamma == "L*":
        return np.asarray(np.where(linear > CIE_EPSILON, 1.16 * np.cbrt(linear) - 0.16, linear * (CIE_KAPPA / 100)))
    return np.asarray(linear ** (1 / gamma))


def code_to_linear(code: AnyArray, gamma: Gamma) -> Float64:
    """Any shape, code values 0..1 of a curve -> linear light 0..1, float64: the way back of `linear_to_code`."""
    if gamma is None:
        return srgb_to_linear(code)
    code = np.maximum(np.asarray(code, np.float64), 0)
    if gamma == "L*":
        return np.asarray(np.where(code > _L_STAR_KNEE, ((code + 0.16) / 1.16) ** 3, code * (100 / CIE_KAPPA)))
    return np.asarray(code**gamma)


_L_STAR_KNEE = 0.08  # CIE 15: lightness 8, which is CIE_KAPPA * CIE_EPSILON

_TOP = np.float32(65535)


def encode_fast(linear: Float32) -> Float32:
    """(H, W[, C]) float32, linear light -> sRGB code values 0..1 float32, clipped; within 1.2e-5 of the formula.

    By a table over the square root of the light, along which the curve is nearly straight.
    """
    root = np.clip(linear, 0.0, 1.0)
    cv2.sqrt(root, dst=root)
    return looked_up(root, _curve_of_root())


@lru_cache(maxsize=1)
def _curve_of_root() -> Float32:
    return linear_to_srgb((np.arange(65536) / 65535) ** 2).astype(np.float32)


def looked_up(values: Float32, table: Float32) -> Float32:
    """(H, W[, C]) float32 values 0..1 through a (65536,) float32 table over 0..1; the values are used up."""
    values *= _TOP
    values += np.float32(0.5)
    return cast(Float32, cv2.LUT(values.astype(np.uint16), table))


def quantise8(code: Float32) -> UInt8:
    """Code values 0..1 float32 -> 8-bit codes, rounded to the nearest."""
    return np.asarray(cv2.convertScaleAbs(code, alpha=255.0), np.uint8)


def quantise16(code: Float32) -> UInt16:
    """Code values 0..1 float32 -> 16-bit codes, rounded to the nearest."""
    scaled = code * _TOP
    scaled += np.float32(0.5)
    return np.clip(scaled, 0, _TOP, out=scaled).astype(np.uint16)
