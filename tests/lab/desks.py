"""What the work lies on or hangs on: textures in millimetres, linear reflectance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .colour import Array, rgb8
from .drawing import ellipse
from .fields import blurred, fractal, octave, smoothstep

Rng = np.random.Generator


@dataclass(frozen=True)
class Patch:
    """A piece of desk: its pixel shape, pixels per mm and seed."""

    shape_px: tuple[int, int]
    px_per_mm: float
    seed: int

    def noise(self, cell_mm: float, key: int, octaves: int = 4, stretch: float = 1.0, gain: float = 0.5) -> Array:
        """(H, W) float32, mean 0, sd about 1."""
        return fractal(self.shape_px, self.px_per_mm, cell_mm, self.seed * 64 + key, octaves, gain, stretch)

    @property
    def x_mm(self) -> Array:
        """(1, W) mm."""
        return ((np.arange(self.shape_px[1], dtype=np.float32) + 0.5) / self.px_per_mm)[None]

    @property
    def y_mm(self) -> Array:
        """(H, 1) mm."""
        return ((np.arange(self.shape_px[0], dtype=np.float32) + 0.5) / self.px_per_mm)[:, None]


def flat(patch: Patch, colour: Array) -> Array:
    """(H, W, 3) of one colour."""
    return np.broadcast_to(colour, (*patch.shape_px, 3)).astype(np.float32)


def wood(patch: Patch, rng: Rng, dark: bool = False) -> Array:
    """Planks or one board with rings, pores and joints."""
    tones = ((176, 132, 88), (198, 160, 116), (150, 104, 66), (208, 178, 138), (164, 126, 96), (190, 148, 98))
    shades = ((62, 44, 34), (48, 40, 36), (74, 50, 36), (40, 36, 36))
    base = rgb8(*(shades[int(rng.integers(4))] if dark else tones[int(rng.integers(6))]))
    plank_mm = float(rng.choice([70, 95, 130, 180, 4000], p=[0.1, 0.2, 0.25, 0.2, 0.25]))
    height_mm = patch.shape_px[0] / patch.px_per_mm
    count = int(height_mm / plank_mm) + 2
    index = np.clip((patch.y_mm[:, 0] / plank_mm + rng.uniform(0, 1)).astype(int), 0, count + 1)
    shift = rng.normal(0, 1, (count + 2, 3))
    tone, ring_phase = 1 + 0.10 * shift[index, 0], 60 * shift[index, 1]
    warp = patch.noise(150, 1, 3, 5.0)
    rings = np.sin(
        (patch.y_mm + ring_phase[:, None].astype(np.float32) + 14 * warp) * float(2 * np.pi / rng.uniform(7, 16))
    )
    streak = patch.noise(5, 2, 4, 26.0, 0.75)
    pores = np.clip(patch.noise(1.1, 3, 2, 18.0, 0.8) - 1.0, 0, 2)
    value = 1 + 0.07 * rings + 0.075 * streak + 0.05 * warp - 0.11 * pores
    value = value * tone[:, None].astype(np.float32)
    joint = np.flatnonzero(np.diff(index))
    for row in joint:
        half = max(1, round(0.6 * patch.px_per_mm))
        value[max(0, row - half + 1) : row + half] *= 0.45
    warm = np.array([0.75, 1.0, 1.25], np.float32)
    return np.asarray(base * np.clip(value, 0.12, 2)[..., None] ** warm, np.float32)


def white_desk(patch: Patch, rng: Rng) -> Array:
    """White laminate: almost the white of paper, a faint unevenness, no grain."""
    level = rng.uniform(226, 243)
    tint = rng.normal(0, 1.6, 3)
    value = 1 + 0.006 * patch.noise(120, 1, 2) + 0.004 * patch.noise(0.8, 2, 2, 1.0, 0.9)
    return np.asarray(rgb8(*(level + tint)) * value[..., None], np.float32)


def cloth(patch: Patch, rng: Rng) -> Array:
    """A tablecloth: checks, stripes, scattered flowers or plain linen, with weave and folds."""
    pairs = (((226, 220, 206), (150, 52, 50)), ((232, 230, 224), (66, 92, 134)), ((214, 204, 180), (96, 112, 84)),
             ((188, 170, 142), (206, 192, 168)), ((66, 82, 104), (206, 198, 178)), ((222, 204, 160),
                 (120, 88, 62)))  # fmt: skip
    light, dark = (rgb8(*c) for c in pairs[int(rng.integers(len(pairs)))])
    pattern = str(rng.choice(["check", "stripe", "flower", "plain"], p=[0.35, 0.25, 0.25, 0.15]))
    sway_x, sway_y = 2.5 * patch.noise(180, 1, 2), 2.5 * patch.noise(180, 2, 2)
    x, y = patch.x_mm + sway_x, patch.y_mm + sway_y
    period = float(rng.uniform(12, 46))
    if pattern == "check":
        amount = 0.5 * _bar(x, period) + 0.5 * _bar(y, period)
    elif pattern == "stripe":
        amount = np.maximum(_bar(x, period), 0.7 * _bar(x + period * 0.62, period, 0.12))
    elif pattern == "flower":
        amount = _flowers(patch, rng, period)
    else:
        amount = np.zeros(patch.shape_px, np.float32)
    weave = 0.05 * np.clip(patch.noise(0.9, 3, 2, 4.0, 0.9), -2, 2) + 0.05 * np.clip(
        octave(patch.shape_px, patch.px_per_mm, (3.4, 0.9), [patch.seed, 9]), -2, 2
    )
    folds = patch.noise(160, 4, 2, 2.5)
    slope = cv2.Sobel(blurred(folds, 3 * patch.px_per_mm), cv2.CV_32F, 0, 1) * patch.px_per_mm
    value = 1 + weave + 0.6 * np.tanh(slope / 8 * 0.4)
    mixed = light + (dark - light) * amount[..., None]
    return np.asarray(np.clip(mixed * value[..., None], 0.01, 0.9), np.float32)


def _bar(position: Array, period: float, share: float = 0.5) -> Array:
    """1 on the bars of a striped pattern, soft at the edge."""
    phase = np.abs((position / period) % 1 - 0.5) * 2
    return smoothstep(1 - share - 0.03, 1 - share + 0.03, phase.astype(np.float32))


def _flowers(patch: Patch, rng: Rng, period: float) -> Array:
    """Scattered printed flowers, 0..1."""
    mask = np.zeros(patch.shape_px, np.uint8)
    height_mm, width_mm = (n / patch.px_per_mm for n in patch.shape_px)
    size = period * 0.24
    for row, y in enumerate(np.arange(0, height_mm + period, period)):
        for x in np.arange(0, width_mm + period, period):
            cx, cy = x + (row % 2) * period / 2 + rng.normal(0, 0.6), y + rng.normal(0, 0.6)
            turn = rng.uniform(0, 6)
            for k in range(5):
                a = turn + k * 2 * np.pi / 5
                petal = ellipse(
                    (cx + size * 0.6 * np.cos(a), cy + size * 0.6 * np.sin(a)), (size * 0.55, size * 0.34), a, 12
                )
                cv2.fillPoly(mask, [np.round(petal * patch.px_per_mm * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
            heart = ellipse((cx, cy), (size * 0.2, size * 0.2), 0, 10)
            cv2.fillPoly(mask, [np.round(heart * patch.px_per_mm * 16).astype(np.int32)], 90, cv2.LINE_AA, 4)
    return mask.astype(np.float32) / 255


def cutting_mat(patch: Patch, rng: Rng) -> Array:
    """A cutting mat: a fine grid, stronger every fifth line, slanting guides and old cuts."""
    base = rgb8(*((44, 84, 82), (58, 62, 74), (112, 66, 92), (48, 74, 112))[int(rng.integers(4))])
    line = rgb8(*((206, 202, 176), (176, 196, 196), (222, 214, 200))[int(rng.integers(3))])
    x, y = patch.x_mm, patch.y_mm
    pitch = float(rng.choice([10.0, 12.5, 15.0]))
    width = max(0.35, 0.8 / patch.px_per_mm)
    amount = np.zeros(patch.shape_px, np.float32)
    for position in (x, y):
        for step, weight in ((pitch, 0.32), (pitch * 5, 0.6)):
            off = np.abs((position / step) % 1 - 0.5) * step
            amount = np.maximum(
                amount, weight * smoothstep(-width, 0.0, (off - step / 2 + width * 0.5).astype(np.float32))
            )
    slant = np.abs(((x * 0.5 + y * 0.866) / (pitch * 15)) % 1 - 0.5) * pitch * 15
    amount = np.maximum(amount, 0.4 * smoothstep(-width, 0.0, (slant - pitch * 7.5 + width * 0.5).astype(np.float32)))
    cuts = np.zeros(patch.shape_px, np.uint8)
    for _ in range(26):
        a = rng.uniform(0, 1, 2) * patch.shape_px[::-1]
        b = a + rng.normal(0, 90, 2) * patch.px_per_mm
        cv2.line(
            cuts, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 120, max(1, round(0.3 * patch.px_per_mm)), cv2.LINE_AA
        )
    value = (
        1
        + 0.05 * patch.noise(1.0, 1, 2, 1.0, 0.9)
        + 0.03 * patch.noise(90, 2, 2)
        + 0.35 * cuts.astype(np.float32) / 255
    )
    return np.asarray((base + (line - base) * amount[..., None]) * value[..., None], np.float32)


def plaster(patch: Patch, rng: Rng) -> Array:
    """A painted wall: trowel marks and roller stipple in raking light."""
    colour = rgb8(
        *((222, 218, 208), (206, 202, 194), (196, 204, 200), (224, 208, 186), (186, 178, 170))[int(rng.integers(5))]
    )
    height = patch.noise(38, 1, 5, 1.6, 0.55) + 0.5 * patch.noise(2.4, 2, 3, 1.0, 0.8)
    smooth = blurred(height, 0.25 * patch.px_per_mm)
    slope = (cv2.Sobel(smooth, cv2.CV_32F, 0, 1) + 0.6 * cv2.Sobel(smooth, cv2.CV_32F, 1, 0)) / 8 * patch.px_per_mm
    value = 1 + 0.05 * np.tanh(slope * 1.2) + 0.012 * patch.noise(300, 3, 2)
    return np.asarray(colour * value[..., None], np.float32)


def surface(desk: str, patch: Patch, rng: Rng) -> Array:
    """(H, W, 3) float32 linear reflectance of a desk, without the things on it."""
    if desk in ("clutter", "sheets"):
        desk = str(rng.choice(["wood", "white", "dark", "cloth", "mat"], p=[0.45, 0.2, 0.15, 0.12, 0.08]))
    if desk == "wood":
        return wood(patch, rng)
    if desk == "white":
        return white_desk(patch, rng)
    if desk == "dark":
        if rng.random() < 0.7:
            return wood(patch, rng, dark=True)
        value = 1 + 0.05 * patch.noise(1.2, 1, 3, 1.0, 0.8) + 0.08 * patch.noise(200, 2, 3)
        return np.asarray(rgb8(*rng.uniform(34, 62, 3)) * value[..., None], np.float32)
    return {"cloth": cloth, "mat": cutting_mat, "plaster": plaster}[desk](patch, rng)
