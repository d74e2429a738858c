"""Colour arithmetic of the laboratory: sRGB coding, CIELAB and the colour of light sources."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]  # float32 throughout the laboratory
Mask = NDArray[np.uint8]

XYZ_FROM_RGB = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
RGB_FROM_XYZ = np.linalg.inv(XYZ_FROM_RGB)
WHITE_D65 = XYZ_FROM_RGB.sum(axis=1)
LUMINANCE = np.array([0.2126729, 0.7151522, 0.0721750], np.float32)


def srgb_encode(linear: Array) -> Array:
    """Any shape, linear light 0..1 -> the same shape, sRGB-coded 0..1."""
    x = np.clip(linear, 0.0, 1.0)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055).astype(np.float32)


def srgb_decode(coded: Array) -> Array:
    """Any shape, sRGB-coded 0..1 -> the same shape, linear light 0..1."""
    x = np.clip(coded, 0.0, 1.0)
    return np.where(x <= 0.04045, x / 12.92, np.power((x + 0.055) / 1.055, 2.4)).astype(np.float32)


def decode_bytes(pixels: Mask) -> Array:
    """Any shape uint8 sRGB -> the same shape float32, linear light 0..1 (by table, so it is quick)."""
    table = srgb_decode(np.arange(256, dtype=np.float32) / 255)
    return np.asarray(table[pixels], np.float32)


def rgb8(red: float, green: float, blue: float) -> Array:
    """sRGB values 0..255 -> (3,) float32, linear light."""
    return srgb_decode(np.array([red, green, blue], np.float32) / 255)


def lab_from_linear(linear: Array) -> NDArray[np.float64]:
    """(..., 3) linear sRGB 0..1 -> (..., 3) CIELAB against D65."""
    ratio = linear.astype(np.float64) @ XYZ_FROM_RGB.T / WHITE_D65
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def linear_from_lab(lightness: float, a: float, b: float) -> Array:
    """One CIELAB colour (D65) -> (3,) float32, linear sRGB, not clipped above."""
    fy = (lightness + 16) / 116
    f = np.array([fy + a / 500, fy, fy - b / 200])
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return np.asarray(np.maximum(RGB_FROM_XYZ @ (ratio * WHITE_D65), 0.001), np.float32)


def light_colour(kelvin: float) -> Array:
    """Correlated colour temperature 2000..12000 K -> (3,) float32 linear sRGB of luminance 1.

    Planckian below 4000 K, CIE daylight above 5000 K, a blend between them: lamps and windows.
    """
    planck, day = _planckian_xy(kelvin), _daylight_xy(max(kelvin, 4000.0))
    share = float(np.clip((kelvin - 4000) / 1000, 0, 1))
    x, y = planck * (1 - share) + day * share
    rgb = RGB_FROM_XYZ @ np.array([x / y, 1.0, (1 - x - y) / y])
    return np.asarray(np.maximum(rgb, 0.02), np.float32)


def _planckian_xy(kelvin: float) -> NDArray[np.float64]:
    """Chromaticity (x, y) of a black body, cubic approximation good for 1667..25000 K."""
    t = 1000.0 / kelvin
    if kelvin < 4000:
        x = -0.2661239 * t**3 - 0.2343589 * t**2 + 0.8776956 * t + 0.179910
    else:
        x = -3.0258469 * t**3 + 2.1070379 * t**2 + 0.2226347 * t + 0.240390
    if kelvin < 2222:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif kelvin < 4000:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.87338670 * x**2 + 3.75112997 * x - 0.37001483
    return np.array([x, y])


def _daylight_xy(kelvin: float) -> NDArray[np.float64]:
    """Chromaticity (x, y) of CIE daylight, 4000..25000 K."""
    t = 1000.0 / kelvin
    if kelvin <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return np.array([x, -3.0 * x**2 + 2.870 * x - 0.275])
