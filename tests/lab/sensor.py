"""From linear light to the bytes of a camera picture: blur, noise, sharpening, tone curve, coding."""

from __future__ import annotations

import cv2
import numpy as np

from .colour import Array, Mask, srgb_encode
from .fields import blurred

FULL_LONG_PX = 4032  # blur and noise are told for a picture of 12 megapixels


def shake_kernel(length_px: float, angle_deg: float, bend: float) -> Array:
    """(n, n) float32 kernel of a short curved movement during the exposure, sum 1."""
    half = max(1, int(np.ceil(length_px / 2)) + 1)
    size, over = 2 * half + 1, 8
    canvas = np.zeros((size * over, size * over), np.uint8)
    t = np.linspace(-0.5, 0.5, 24)
    a = np.radians(angle_deg)
    x, y = t * length_px, bend * length_px * (4 * t * t - 0.4)
    px = np.stack([np.cos(a) * x - np.sin(a) * y, np.sin(a) * x + np.cos(a) * y], axis=1) * over + size * over / 2
    cv2.polylines(canvas, [np.round(px * 16).astype(np.int32)], False, 255, over, cv2.LINE_AA, 4)
    kernel = cv2.resize(canvas.astype(np.float32), (size, size), interpolation=cv2.INTER_AREA)
    return np.asarray(kernel / kernel.sum(), np.float32)


def shaken(light: Array, length_px: float, angle_deg: float) -> Array:
    """(H, W, 3) -> the same with motion blur."""
    if length_px < 0.4:
        return light
    kernel = shake_kernel(length_px, angle_deg, 0.18)
    return np.asarray(cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REPLICATE), np.float32)


def noisy(light: Array, amount: float, seed: int) -> Array:
    """(H, W, 3) linear -> the same with shot and read noise; 1 = a phone in a dim room, 0.2 = daylight.

    As phones deliver it: fine noise in lightness, coarser and weaker noise in colour.
    """
    if amount <= 0:
        return light
    height_px, width_px = light.shape[:2]
    scale = float(np.sqrt(max(height_px, width_px) / FULL_LONG_PX))
    rng = np.random.default_rng([seed, 909])
    luma = rng.standard_normal((height_px, width_px), dtype=np.float32)
    small = rng.standard_normal((height_px // 2 + 1, width_px // 2 + 1, 3), dtype=np.float32)
    chroma = np.asarray(cv2.resize(small, (width_px, height_px), interpolation=cv2.INTER_LINEAR), np.float32)
    deviation = np.sqrt(np.float32(0.00032) * np.maximum(light[..., 1], 0) + np.float32(0.000006)) * np.float32(
        amount * scale
    )
    chroma *= np.float32(0.55)
    chroma += luma[..., None]
    chroma *= deviation[..., None]
    chroma += light
    return np.asarray(chroma, np.float32)


def sharpened(light: Array, amount: float, radius_px: float) -> Array:
    """(H, W, 3) -> the same, mild unsharp masking as cameras do."""
    if amount <= 0:
        return light
    return np.asarray(light + np.float32(amount) * (light - blurred(light, max(0.5, radius_px))), np.float32)


def contrasted(light: Array, amount: float) -> Array:
    """(H, W, 3) -> the same with local contrast: what is lighter than its wide surroundings is lifted, as phones do."""
    if amount <= 0:
        return light
    luma = np.maximum(light @ np.array([0.2126, 0.7152, 0.0722], np.float32), 1e-3)
    around = blurred(luma, 0.03 * max(luma.shape))
    gain = (luma / np.maximum(around, 1e-3)) ** np.float32(amount)
    return np.asarray(light * np.clip(gain, 0.8, 1.2)[..., None], np.float32)


def coded(light: Array, tone_curve: float) -> Mask:
    """(H, W, 3) linear -> uint8 sRGB through a mild S-shaped tone curve (0 none, 1 strong)."""
    steps = np.arange(65536, dtype=np.float32) / 65535
    value = srgb_encode(steps)
    value = value - tone_curve * 0.11 * np.sin(2 * np.pi * value) * (1 - 0.35 * value)
    table = np.round(np.clip(value, 0, 1) * 255).astype(np.uint8)
    index = np.clip(light * np.float32(65535) + np.float32(0.5), 0, 65535).astype(np.uint16)
    return np.asarray(table[index], np.uint8)
