"""CIE colour arithmetic: XYZ, L*a*b*, CIEDE2000. Linear sRGB primaries, white D65, 2 degree observer."""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.transfer import CIE_EPSILON, CIE_KAPPA

# Rational sRGB <-> XYZ matrix as printed in CSS Color 4 (W3C), from the primaries of IEC 61966-2-1.
SRGB_TO_XYZ: Float64 = np.array(
    [
        [506752 / 1228815, 87881 / 245763, 12673 / 70218],
        [87098 / 409605, 175762 / 245763, 12673 / 175545],
        [7918 / 409605, 87881 / 737289, 1001167 / 1053270],
    ]
)
# Bradford adaptation D65 -> D50 (CSS Color 4), the PCS white of ICC.1.
D65_TO_D50: Float64 = np.array(
    [
        [1.0479297925449969, 0.022946870601609652, -0.05019226628920524],
        [0.02962780877005599, 0.9904344267538799, -0.017073799063418826],
        [-0.009243040646204504, 0.015055191490298152, 0.7518742814281371],
    ]
)
SRGB_TO_XYZ_D50: Float64 = D65_TO_D50 @ SRGB_TO_XYZ
XYZ_D50_TO_SRGB: Float64 = np.linalg.inv(SRGB_TO_XYZ_D50).astype(np.float64)
LUMA: Float32 = np.array([[0.2126, 0.7152, 0.0722]], np.float32)
"""(1, 3) weights of the codes' luma (ITU-R BT.709)."""

LUMINANCE: Float32 = SRGB_TO_XYZ[1].astype(np.float32)
_TINT: Float32 = np.eye(3, dtype=np.float32) - LUMINANCE

_WHITE_D65: Float64 = SRGB_TO_XYZ.sum(axis=1)
_WHITE_D50: Float64 = SRGB_TO_XYZ_D50.sum(axis=1)


def luminance(linear: Float32) -> Float32:
    """(H, W, 3) float32 linear sRGB -> (H, W) float32 relative luminance Y, 1.0 = diffuse white."""
    return cast(Float32, cv2.transform(linear, LUMINANCE.reshape(1, 3)))


def tint_of(logs: Float32) -> Float32:
    """(H, W, 3) natural logs of light -> by how much each channel differs from their mean, weighted as luminance is."""
    return cast(Float32, cv2.transform(logs, _TINT))


def lab_from_linear(linear: AnyArray, white: str = "D65") -> Float64:
    """(..., 3) linear sRGB 0..1 -> (..., 3) float64 CIE L*a*b* for white D65, or D50 through Bradford.

    Raises ValueError for another white.
    """
    if white not in ("D65", "D50"):
        raise ValueError(f"white must be D65 or D50, not {white!r}")
    matrix, reference = (SRGB_TO_XYZ, _WHITE_D65) if white == "D65" else (SRGB_TO_XYZ_D50, _WHITE_D50)
    ratio = (np.asarray(linear, np.float64) @ matrix.T) / reference
    cubic = np.where(ratio > CIE_EPSILON, np.cbrt(ratio), (CIE_KAPPA * ratio + 16) / 116)
    x, y, z = cubic[..., 0], cubic[..., 1], cubic[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def luminance_of_lightness(lightness: float) -> float:
    """L* 0..100 -> relative luminance Y 0..1 (CIE 15)."""
    cubic = (lightness + 16) / 116
    return cubic**3 if lightness > CIE_KAPPA * CIE_EPSILON else lightness / CIE_KAPPA


def lightness_of(y: Float32) -> Float32:
    """CIE L*, 0..100, of relative luminance, in float32."""
    root = quick.cube_root(np.maximum(y, 0))
    root *= 116
    root -= 16
    return np.asarray(np.where(y > np.float32(CIE_EPSILON), root, y * np.float32(CIE_KAPPA)), np.float32)


def lab_fast(linear: Float32) -> Float32:
    """(H, W, 3) float32 linear sRGB -> (H, W, 3) float32 L*a*b* (D65) for decisions on whole pictures."""
    ratio = cast(Float32, cv2.transform(linear, _TO_RATIO))
    dark = np.flatnonzero(ratio <= np.float32(CIE_EPSILON))  # few in most pictures; what is below 0 has no root
    line = np.maximum(ratio.ravel()[dark], 0) * np.float32(CIE_KAPPA / 116) + np.float32(16 / 116)
    quick.to_cube_root(ratio)
    ratio.ravel()[dark] = line
    return cast(Float32, cv2.transform(ratio, _LAB_OF_CUBIC))


_TO_RATIO: Float32 = (SRGB_TO_XYZ / _WHITE_D65[:, None]).astype(np.float32)
_LAB_OF_CUBIC: Float32 = np.array([[0, 116, 0, -16], [500, -500, 0, 0], [0, 200, -200, 0]], np.float32)


def ciede2000(one: AnyArray, two: AnyArray) -> Float64:
    """(..., 3) and (..., 3) L*a*b* -> (...) float64 colour difference CIEDE2000, kL = kC = kH = 1.

    Source: Sharma, Wu, Dalal, Color Res. Appl. 30(1):21-30 (2005).
    """
    one, two = np.asarray(one, np.float64), np.asarray(two, np.float64)
    l1, l2 = one[..., 0], two[..., 0]
    chroma_mean7 = ((np.hypot(one[..., 1], one[..., 2]) + np.hypot(two[..., 1], two[..., 2])) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(chroma_mean7 / (chroma_mean7 + 25.0**7))
    c1, h1 = _polar(one[..., 1] * stretch, one[..., 2])
    c2, h2 = _polar(two[..., 1] * stretch, two[..., 2])
    d_hue, hue = _hue_difference_and_mean(h1, h2, c1 * c2)
    d_light, d_chroma = l2 - l1, c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(d_hue / 2))
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    turn = 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    turn = -turn * np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    x, y, z = d_light / s_l, d_chroma / s_c, d_h / s_h
    return cast(Float64, np.sqrt(np.maximum(x * x + y * y + z * z + turn * y * z, 0)))


def _polar(a: Float64, b: Float64) -> tuple[Float64, Float64]:
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _hue_difference_and_mean(h1: Float64, h2: Float64, product: Float64) -> tuple[Float64, Float64]:
    grey = product == 0
    difference = h2 - h1
    wrapped = np.where(difference > 180, difference - 360, np.where(difference < -180, difference + 360, difference))
    total = h1 + h2
    apart = np.abs(h1 - h2) > 180
    mean = np.where(apart, np.where(total < 360, (total + 360) / 2, (total - 360) / 2), total / 2)
    return np.where(grey, 0, wrapped), np.where(grey, total, mean)


def with_roots(linear: AnyArray) -> AnyArray:
    """(..., 3) -> (..., 6): the channels, and the square roots of their products by twos.

    A root-polynomial of degree 2 keeps its colours when the exposure changes (Finlayson, Mackiewicz, Hurlbert, "Color
    correction using root-polynomial regression", IEEE Transactions on Image Processing 24, 2015).
    """
    red, green, blue = (np.maximum(linear[..., k], 0) for k in range(3))
    roots = (np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(red * blue))
    return np.concatenate([linear, np.stack(roots, axis=-1)], axis=-1)


def mixed(linear: Float32, matrix: Float32) -> Float32:
    """(H, W, 3) float32 linear light through a (3, 3) matrix, or a (3, 6) one that takes roots as well."""
    seen = linear if matrix.shape[1] == 3 else np.asarray(with_roots(linear), np.float32)
    return cast(Float32, cv2.transform(seen, matrix))
