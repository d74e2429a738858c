"""What all kinds share: paper, the drawing surface, silhouettes, captions and the finished work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from ..colour import Array, Mask, linear_from_lab, rgb8
from ..drawing import Grid, Points, stroke
from ..fields import blurred, fractal
from ..flatwork import Box, FlatWork
from ..lettering import text_width, written

Rng = np.random.Generator
PLACES = ("Hollow Quay", "Wend Sands", "Cormer Point", "Sallow Creek", "Ferrant's Slip", "Gannow Hard")
MONTHS = ("Jan", "Mar", "Apr", "May", "June", "July", "Aug", "Sept", "Oct")
_ISO = ((105, 148), (148, 210), (210, 297), (297, 420), (420, 594))
_OTHER = ((130, 210), (140, 216), (180, 240), (200, 200), (230, 305), (250, 350), (300, 400), (360, 480), (190, 380))
_TONED = {"grey": (168, 165, 160), "kraft": (179, 143, 111), "black": (53, 53, 53),
          "natural": (242, 239, 233), "cream": (239, 228, 212)}  # fmt: skip
_ANY = {"coloured": (10, 36), "any grey": (0, 7)}  # chroma; L* 48 to 80, any hue (common practice, no source)


def choose_size(rng: Rng, largest_mm: int = 600) -> tuple[float, float]:
    """Width and height in mm of a sheet: ISO or not, upright or across."""
    table = _ISO if rng.random() < 0.55 else _OTHER
    fitting = [s for s in table if max(s) <= largest_mm]
    short, long = fitting[int(rng.integers(len(fitting)))]
    if rng.random() < 0.2:  # a sheet somebody cut from a larger one
        long = round(long * rng.uniform(0.85, 1.1))
    return (float(short), float(long)) if rng.random() < 0.6 else (float(long), float(short))


def paper_colour(paper: str, rng: Rng) -> Array:
    """(3,) float32 linear reflectance of the bare sheet."""
    if paper == "white":
        hue, chroma = rng.uniform(0, 2 * np.pi), rng.uniform(0, 3)
        hue = np.pi / 2 + rng.normal(0, 0.5) if rng.random() < 0.6 else hue  # most are faintly yellow
        return linear_from_lab(rng.uniform(94.3, 96.0), chroma * np.cos(hue), chroma * np.sin(hue))
    if paper in _ANY:
        hue = rng.uniform(0, 2 * np.pi)
        chroma = rng.uniform(*_ANY[paper])
        return linear_from_lab(rng.uniform(48, 80), chroma * np.cos(hue), chroma * np.sin(hue))
    r, g, b = (c + rng.normal(0, 1.2) for c in _TONED[paper])
    return rgb8(min(r, 245), min(g, 245), min(b, 245))


@dataclass
class Draft:
    """A sheet being drawn on. `surface` is relative to the bare paper: exactly 1 where nothing is drawn."""

    grid: Grid
    rng: Rng
    seed: int
    surface: Array = field(init=False)

    def __post_init__(self) -> None:
        """Begin with a bare sheet."""
        self.surface = np.ones((*self.grid.shape_px, 3), np.float32)

    @property
    def width_mm(self) -> float:
        """Width of the sheet."""
        return self.grid.size_mm[0]

    @property
    def height_mm(self) -> float:
        """Height of the sheet."""
        return self.grid.size_mm[1]

    def noise(self, cell_mm: float, key: int, octaves: int = 4, stretch: float = 1.0, gain: float = 0.5) -> Array:
        """(H, W) float32 noise of this sheet: mean 0, sd about 1."""
        return fractal(self.grid.shape_px, self.grid.px_per_mm, cell_mm, self.seed * 64 + key, octaves, gain, stretch)

    def stain(self, mask: Mask | Array, colour: Sequence[float] | Array, strength: float = 1.0) -> None:
        """Let a transparent colour (linear, relative to paper) absorb light where the (H, W) mask is set."""
        amount = mask.astype(np.float32) * (strength / 255) if mask.dtype == np.uint8 else mask * np.float32(strength)
        rows, columns = np.flatnonzero(amount.any(axis=1)), np.flatnonzero(amount.any(axis=0))
        if len(rows) == 0:
            return
        window = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
        part = amount[window]
        for channel in range(3):
            view = self.surface[window][..., channel]
            view *= np.exp(np.float32(np.log(max(float(colour[channel]), 0.01))) * part)

    def cover(self, mask: Array, colour: Array) -> None:
        """Lay an opaque colour (linear, relative to paper) over the sheet by (H, W) opacity 0..1."""
        for channel in range(3):
            view = self.surface[..., channel]
            view += (colour[channel] - view) * mask


def new_draft(size_mm: tuple[float, float], long_px: int, seed: int, rng: Rng) -> Draft:
    """A draft on a pixel grid finer than asked for, so that thin lines keep their weight when reduced."""
    over = 2.0 if long_px <= 1200 else 1.5 if long_px <= 2400 else 1.0
    return Draft(Grid(size_mm, long_px * over / max(size_mm)), rng, seed)


def corner_radius_mm(style: str, seed: int) -> float:
    """How far the corners of a sheet are rounded."""
    return float(np.random.default_rng([seed, 78]).uniform(4, 9)) if style == "rounded" else 0.0


def silhouette(grid: Grid, style: str, seed: int) -> Array:
    """(H, W) float32 coverage of the sheet; styles: square, rounded, deckle, torn."""
    height_px, width_px = grid.shape_px
    if style == "square":
        return np.ones((height_px, width_px), np.float32)
    rng = np.random.default_rng([seed, 77])
    x = (np.arange(width_px, dtype=np.float32) + 0.5)[None] / grid.px_per_mm
    y = (np.arange(height_px, dtype=np.float32) + 0.5)[:, None] / grid.px_per_mm
    width_mm, height_mm = width_px / grid.px_per_mm, height_px / grid.px_per_mm
    if style == "rounded":
        radius = corner_radius_mm(style, seed)
        dx, dy = (
            np.maximum(np.abs(x - width_mm / 2) - width_mm / 2 + radius, 0),
            np.maximum(np.abs(y - height_mm / 2) - height_mm / 2 + radius, 0),
        )
        inside = radius - np.hypot(dx, dy)
        return np.asarray(np.clip(inside * grid.px_per_mm + 0.5, 0, 1), np.float32)
    sides = [0, 1, 2, 3] if style == "deckle" and rng.random() < 0.5 else [int(rng.integers(4))]
    coverage = np.ones((height_px, width_px), np.float32)
    for side in sides:
        along = height_px if side % 2 else width_px
        cell, depth = (5.0, 0.5) if style == "deckle" else (9.0, 0.8)
        ragged = fractal((1, along), grid.px_per_mm, cell, seed * 9 + side, 4, 0.5)[0] * depth
        ragged = np.clip(ragged + depth * 1.2, 0, None)
        distance = (y - ragged[None], width_mm - x - ragged[:, None], height_mm - y - ragged[None], x - ragged[:, None])
        coverage = np.minimum(coverage, np.clip(distance[side] * grid.px_per_mm + 0.5, 0, 1))
    return np.asarray(coverage, np.float32)


def finish(
    draft: Draft, kind: str, title: str, paper: str, *, long_px: int, style: str = "square",
    signature_box: Box | None = None, tooth: float = 0.008, shade: Array | None = None, **more: object,
) -> FlatWork:  # fmt: skip
    """Reduce the draft to the size asked for and lay the drawing over its paper."""
    scale = long_px / max(draft.width_mm, draft.height_mm)
    grid = Grid(draft.grid.size_mm, scale)
    height_px, width_px = grid.shape_px
    alpha = silhouette(draft.grid, style, draft.seed)
    size = (width_px, height_px)
    surface = cv2.resize(draft.surface, size, interpolation=cv2.INTER_AREA)
    alpha = np.asarray(cv2.resize(alpha, size, interpolation=cv2.INTER_AREA), np.float32)
    touched = np.abs(surface - 1).max(axis=2) > 0.004
    sheet = paper_colour(paper, np.random.default_rng([draft.seed, 5]))
    texture = 1 + np.float32(tooth) * fractal((height_px, width_px), scale, 0.7, draft.seed * 64 + 60, 3, 0.8)
    if paper == "kraft":
        texture += 0.05 * np.clip(
            fractal((height_px, width_px), scale, 0.6, draft.seed * 64 + 61, 2, 0.8, 4.0) - 1, 0, 2
        )
    if shade is not None:
        texture = texture * cv2.resize(shade, size, interpolation=cv2.INTER_AREA)
    reflectance = np.clip(surface * sheet * texture[..., None], 0.006, 0.93).astype(np.float32)
    bare: NDArray[np.bool_] = ~touched & (alpha > 0.99)
    return FlatWork(kind, title, reflectance, bare, alpha, draft.grid.size_mm, paper,
                    signature_box=signature_box, corner_radius_mm=corner_radius_mm(style, draft.seed), **more)  # type: ignore[arg-type]  # fmt: skip


def write(draft: Draft, mask: Mask, text: str, at: tuple[float, float], x_height_mm: float, pen_mm: float) -> Box:
    """Write a line of handwriting; returns its box in 0..1 of the sheet."""
    for points in written(text, at, x_height_mm, draft.rng):
        stroke(draft.grid, mask, points, pen_mm)
    w, h = draft.grid.size_mm
    right = at[0] + text_width(text, x_height_mm) * 1.08
    return (at[0] / w, (at[1] - 2.2 * x_height_mm) / h, min(1.0, right / w), (at[1] + x_height_mm) / h)


def sign(draft: Draft, mask: Mask, pen_mm: float, size_mm: float) -> Box:
    """Write the artist's initials and the year in the lower right; returns the box in 0..1."""
    text = f"W. Halloway {int(draft.rng.integers(19, 27))}"
    long_mm = text_width(text, size_mm)
    margin = min(draft.grid.size_mm) * 0.05
    return write(
        draft, mask, text, (draft.width_mm - margin - long_mm * 1.1, draft.height_mm - margin), size_mm, pen_mm
    )


def border_line(draft: Draft, mask: Mask, inset_mm: float, pen_mm: float) -> None:
    """A hand-ruled border line inside the sheet, corners crossing a little."""
    w, h = draft.grid.size_mm
    r = draft.rng
    x0, y0, x1, y1 = inset_mm, inset_mm, w - inset_mm, h - inset_mm * r.uniform(1.0, 1.5)
    for a, b in (((x0, y0), (x1, y0)), ((x1, y0), (x1, y1)), ((x1, y1), (x0, y1)), ((x0, y1), (x0, y0))):
        along = (np.array(b) - np.array(a)) / np.hypot(b[0] - a[0], b[1] - a[1])
        start, end = np.array(a) - along * abs(r.normal(0, 1)), np.array(b) + along * abs(r.normal(0, 1))
        points: Points = np.linspace(start, end, 24) + np.cumsum(r.normal(0, 0.03, (24, 2)), axis=0)
        stroke(draft.grid, mask, points, pen_mm)


def soft(mask: Mask, sigma_px: float) -> Array:
    """(H, W) uint8 mask -> float32 0..1, blurred."""
    return blurred(mask.astype(np.float32) / 255, sigma_px)
