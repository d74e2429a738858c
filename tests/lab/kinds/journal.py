"""A field journal lying open: two pages of sketches in ink and colour, notes by hand, and the gutter between."""

from __future__ import annotations

import numpy as np

from ..boats import boat
from ..colour import Array, Mask, rgb8
from ..compose import caption
from ..drawing import ellipse, spline, stroke
from ..flatwork import FlatWork
from ..lettering import notes, text_width, written
from ..plants import plant
from . import ink, watercolour
from .draft import MONTHS, PLACES, Draft, finish, new_draft, write
from .watercolour import Water

Box = tuple[float, float, float, float]
SPREADS_MM = ((210, 148), (260, 210), (296, 210), (280, 216), (420, 297), (360, 180), (240, 165))


def _notes(draft: Draft, pen: Mask, box: Box, letter_mm: float) -> None:
    """Lines of handwriting in a box, the last one short."""
    rng = draft.rng
    step = letter_mm * rng.uniform(2.6, 3.2)
    count = max(0, int((box[3] - letter_mm - box[1] - letter_mm * 2) / step) + 1)
    for k, line in enumerate(notes(box[2] - box[0], letter_mm, count, rng)):
        for points in written(line, (box[0], box[1] + letter_mm * 2 + k * step), letter_mm, rng):
            stroke(draft.grid, pen, points, 0.28)


def _sketch(draft: Draft, pen: Mask, water: Water, box: Box, letter_mm: float, key: int) -> None:
    """One plant or boat with ink line, some with colour, some with a pale wash behind, and its name."""
    rng = draft.rng
    subject = plant(rng) if rng.random() < 0.65 else boat(rng)
    foot = box[3] - letter_mm * 3
    placed = subject.moved(1, (0, 0), rng.normal(0, 0.05), rng.random() < 0.5).fitted((box[0], box[1], box[2], foot))
    low, high = placed.bounds()
    if rng.random() < 0.6:
        tint = (rgb8(170, 194, 208), rgb8(222, 204, 158), rgb8(190, 202, 172))[int(rng.integers(3))]
        watercolour.cloud_wash(draft, water, 30 + key, (box[0], box[1], box[2], foot), tint, rng.uniform(0.12, 0.3))
    if rng.random() < 0.75:
        watercolour.draw(draft, water, placed, rng.uniform(0.5, 0.85))
    ink.draw(draft, pen, placed, 0.3, hatching=bool(rng.random() < 0.6))
    text = caption(subject.name, rng)
    wide = text_width(text, letter_mm)
    x = max(box[0], min((low[0] + high[0] - wide) / 2, box[2] - wide))
    write(draft, pen, text, (x, foot + letter_mm * 2.2), letter_mm, 0.28)


def _page(draft: Draft, pen: Mask, water: Water, box: Box, key: int) -> None:
    """Fill one page: a large study, study and notes side by side, two studies, or notes with a small one."""
    rng = draft.rng
    x0, y0, x1, y1 = box
    w, h = x1 - x0, y1 - y0
    letter_mm = float(np.clip(0.013 * h, 1.3, 2.4))
    day = (
        f"{int(rng.integers(1, 29))} {MONTHS[int(rng.integers(len(MONTHS)))]}, {PLACES[int(rng.integers(len(PLACES)))]}"
    )
    write(draft, pen, day, (x0, y0 + letter_mm * 1.5), letter_mm, 0.28)
    top = y0 + letter_mm * 4
    layout = int(rng.integers(4))
    if layout == 0:
        _sketch(draft, pen, water, (x0, top, x1, y1 - h * 0.14), letter_mm, key)
        _notes(draft, pen, (x0, y1 - h * 0.14, x1, y1), letter_mm)
    elif layout == 1:
        cut = x0 + w * rng.uniform(0.5, 0.62)
        _sketch(draft, pen, water, (x0, top, cut, y1), letter_mm, key)
        _notes(draft, pen, (cut + w * 0.05, top + h * rng.uniform(0, 0.3), x1, y1 - h * rng.uniform(0, 0.3)), letter_mm)
    elif layout == 2:
        cut = top + (y1 - top) * rng.uniform(0.45, 0.58)
        _sketch(draft, pen, water, (x0, top, x1 - w * 0.15, cut), letter_mm, key)
        _sketch(draft, pen, water, (x0 + w * 0.15, cut + h * 0.02, x1, y1), letter_mm, key + 1)
    else:
        cut = top + (y1 - top) * rng.uniform(0.3, 0.42)
        _notes(draft, pen, (x0, top, x1, cut), letter_mm)
        _sketch(draft, pen, water, (x0, cut + h * 0.02, x1, y1), letter_mm, key)


def _swatches(draft: Draft, water: Water, at: tuple[float, float], size_mm: float) -> None:
    """A row of small colour trials at the foot of a page."""
    rng = draft.rng
    for k in range(int(rng.integers(3, 6))):
        colour = rgb8(*rng.uniform(70, 220, 3))
        outline = spline(
            ellipse((at[0] + k * size_mm * 1.5, at[1]), (size_mm * 0.6, size_mm * 0.45), 0, 8), 4, closed=True
        )
        watercolour.wash(draft, water, outline, colour, rng.uniform(0.5, 1.0))


def gutter_shade(shape_px: tuple[int, int], depth: float, reach: float) -> Array:
    """(H, W) float32 factor 0..1: pages fall away towards the gutter and turn from the light."""
    _height_px, width_px = shape_px
    x = (np.arange(width_px, dtype=np.float32) + 0.5) / width_px - 0.5
    near = np.exp(-np.abs(x) / reach)
    line = (
        1
        - depth * near
        - 0.5 * np.exp(-((x / 0.0016) ** 2))
        + 0.3 * depth * np.exp(-(((np.abs(x) - 1.9 * reach) / reach) ** 2)) * (x > 0) * 0.2
    )
    return np.broadcast_to(line.astype(np.float32), shape_px).copy()


def build(seed: int, long_px: int) -> FlatWork:
    """A journal spread."""
    rng = np.random.default_rng([seed, 66])
    width_mm, height_mm = SPREADS_MM[int(rng.integers(len(SPREADS_MM)))]
    size_mm = (float(width_mm), float(height_mm))
    draft = new_draft(size_mm, long_px, seed, rng)
    water = watercolour.wetness(draft)
    pen = draft.grid.mask()
    m = height_mm * 0.07
    middle = width_mm / 2
    pages: tuple[Box, ...] = (
        (m, m, middle - m * 1.2, height_mm - m),
        (middle + m * 1.2, m, width_mm - m, height_mm - m),
    )
    for index, box in enumerate(pages):
        if rng.random() < 0.92:
            _page(draft, pen, water, box, index * 2)
    if rng.random() < 0.4:
        _swatches(draft, water, (middle + m * 2, height_mm - m * 0.7), m * 0.5)
    colour = ink.BLACK if rng.random() < 0.6 else (0.06, 0.045, 0.035)
    draft.stain(pen, colour, 0.94)
    shade = gutter_shade(draft.grid.shape_px, rng.uniform(0.12, 0.34), rng.uniform(0.012, 0.035))
    paper = ("white", "natural", "cream", "cream")[int(rng.integers(4))]
    style = "rounded" if rng.random() < 0.65 else "square"
    return finish(draft, "journal", f"Field journal, {PLACES[int(rng.integers(len(PLACES)))]}", paper, long_px=long_px,
                  style=style, tooth=0.006, shade=shade, thickness_mm=float(rng.uniform(4, 12)))  # fmt: skip
