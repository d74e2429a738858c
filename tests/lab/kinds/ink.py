"""Ink: a pen line of changing weight, hatching and cross-hatching, solid blacks."""

from __future__ import annotations

import numpy as np

from ..colour import Mask
from ..compose import caption, page
from ..drawing import dot, fill, hatch, stroke, trembled
from ..flatwork import FlatWork
from ..subject import Area, Subject
from .draft import Draft, border_line, choose_size, finish, new_draft, sign, soft, write

BLACK = (0.022, 0.022, 0.026)


def draw(draft: Draft, mask: Mask, subject: Subject, pen_mm: float, hatching: bool = True) -> None:
    """Draw a subject (mm) with the pen; what stands in front hides what is behind."""
    rng, grid = draft.rng, draft.grid
    for item in subject.items:
        if not isinstance(item, Area):
            points = trembled(item.points, 0.12 * pen_mm, rng)
            stroke(grid, mask, points, pen_mm * (0.55 + 0.4 * item.weight), taper=0.5)
            continue
        fill(grid, mask, item.outline, 0)
        extent = float(np.ptp(item.outline, axis=0).max())
        if hatching and extent > 5 * pen_mm:
            _hatched(draft, mask, item, pen_mm)
        if item.drawn:
            closed = trembled(np.vstack([item.outline, item.outline[:2]]), 0.14 * pen_mm, rng)
            stroke(grid, mask, closed, pen_mm * 0.8)
            half = len(closed) // 2
            stroke(grid, mask, closed[:half], pen_mm * 1.35, taper=0.9)


def _hatched(draft: Draft, mask: Mask, area: Area, pen_mm: float) -> None:
    """Parallel lines for middle tones, crossed for dark ones."""
    rng = draft.rng
    if area.tone < 0.25:
        return
    layers = [(0.6, 0.3 + 0.5 * area.tone)]
    if area.tone > 0.5:
        layers.append((-0.5, 0.35))
    for angle, share in layers:
        for line in hatch(area.outline, angle + rng.normal(0, 0.04), pen_mm * rng.uniform(2.6, 3.4), share, rng):
            stroke(draft.grid, mask, line, pen_mm * 0.6, taper=0.6)


def ground(draft: Draft, mask: Mask, subject: Subject, pen_mm: float) -> None:
    """A little ground or water: broken strokes and dots at the foot of the subject."""
    rng = draft.rng
    low, high = subject.bounds()
    wide = high[0] - low[0]
    for _ in range(int(rng.integers(8, 22))):
        x, y = rng.uniform(low[0] - 0.05 * wide, high[0]), high[1] + rng.normal(0, 0.012) * wide
        points = np.array([[x, y], [x + wide * rng.uniform(0.03, 0.12), y + rng.normal(0, 0.004) * wide]])
        stroke(draft.grid, mask, np.linspace(points[0], points[1], 8), pen_mm * 0.6, taper=0.5)
    for _ in range(int(rng.integers(10, 40))):
        dot(
            draft.grid,
            mask,
            np.array([rng.uniform(low[0], high[0]), high[1] + rng.normal(0.01, 0.012) * wide]),
            pen_mm * 0.45,
        )


def build(seed: int, long_px: int) -> FlatWork:
    """A pen drawing."""
    rng = np.random.default_rng([seed, 22])
    size_mm = choose_size(rng, 440)
    draft = new_draft(size_mm, long_px, seed, rng)
    scale_mm = max(size_mm)
    pen_mm = float(np.clip(0.0016 * scale_mm, 0.28, 0.6))
    mask = draft.grid.mask()
    title, subjects, foot_mm = page(size_mm, rng)
    for subject in subjects:
        draw(draft, mask, subject, pen_mm)
        ground(draft, mask, subject, pen_mm)
    letter_mm = float(np.clip(0.010 * scale_mm, 1.5, 4))
    if rng.random() < 0.7:
        write(draft, mask, caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, pen_mm * 0.9)
    box = sign(draft, mask, pen_mm * 0.8, letter_mm * 0.8) if rng.random() < 0.7 else None
    bordered = rng.random() < 0.25
    if bordered:
        border_line(draft, mask, min(size_mm) * rng.uniform(0.03, 0.07), pen_mm)
    uneven = np.clip(0.97 + 0.05 * draft.noise(3.0, 2, 2), 0.8, 1)
    colour = BLACK if rng.random() < 0.8 else (0.05, 0.035, 0.025)
    draft.stain(soft(mask, 0.02 * draft.grid.px_per_mm) * uneven, colour)
    paper = ("white", "white", "natural", "cream")[int(rng.integers(4))]
    style = ("square",) * 7 + ("torn", "rounded")
    return finish(draft, "ink", title, paper, long_px=long_px, style=style[int(rng.integers(9))],
                  signature_box=box, tooth=0.006, margin_drawn=bordered)  # fmt: skip
