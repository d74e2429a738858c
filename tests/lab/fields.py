"""Random fields whose structure is fixed in millimetres, so that any resolution shows the same field."""

from __future__ import annotations

import cv2
import numpy as np

from .colour import Array


def octave(shape_px: tuple[int, int], px_per_mm: float, cell_mm: tuple[float, float], key: list[int]) -> Array:
    """(H, W) float32, mean 0, sd about 1: one octave of smooth noise with cells (down, across) in mm."""
    height_px, width_px = shape_px
    step = (cell_mm[0] * px_per_mm, cell_mm[1] * px_per_mm)
    if min(step) < 0.75:  # finer than the pixels: it would average away
        return np.zeros(shape_px, np.float32)
    rows, columns = (int(np.ceil(n / s - 0.02)) + 2 for n, s in zip(shape_px, step, strict=True))
    # The stream is laid out by rows of a rounded-up width, so that a pixel more or less leaves the field as it is.
    rng = np.random.default_rng(key)
    grid = rng.standard_normal((rows, columns + 8 - columns % 8), dtype=np.float32)[:, :columns]
    size = (max(width_px, round(columns * step[1])), max(height_px, round(rows * step[0])))
    mode = cv2.INTER_CUBIC if max(step) > 3 else cv2.INTER_LINEAR
    field = np.asarray(cv2.resize(grid, size, interpolation=mode), np.float32)[:height_px, :width_px]
    field *= 1.35
    return field


def fractal(
    shape_px: tuple[int, int],
    px_per_mm: float,
    cell_mm: float,
    seed: int,
    octaves: int = 4,
    gain: float = 0.5,
    stretch: float = 1.0,
) -> Array:
    """(H, W) float32, mean 0, sd about 1: noise from cell_mm downwards, `stretch` longer across than down."""
    total = np.zeros(shape_px, np.float32)
    weight, power = 1.0, 0.0
    for index in range(octaves):
        cell = cell_mm / 2**index
        field = octave(shape_px, px_per_mm, (cell, cell * stretch), [seed, index])
        field *= weight
        total += field
        power += weight**2
        weight *= gain
    total /= np.float32(np.sqrt(power))
    return total


def blurred(field: Array, sigma_px: float) -> Array:
    """(H, W[, C]) float32 -> the same, Gaussian blur; wide blurs are made on a reduced copy for speed."""
    if sigma_px < 0.25:
        return field
    height_px, width_px = field.shape[:2]
    factor = 1
    while sigma_px / factor > 4 and min(height_px, width_px) / factor > 32:
        factor *= 2
    if factor == 1:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), sigma_px), np.float32)
    size = (max(1, width_px // factor), max(1, height_px // factor))
    small = cv2.resize(field, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / factor)
    return np.asarray(cv2.resize(small, (width_px, height_px), interpolation=cv2.INTER_LINEAR), np.float32)


def smoothstep(low: float, high: float, value: Array) -> Array:
    """Any shape -> 0 below `low`, 1 above `high`, a smooth ramp between."""
    t = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)
