"""Pencil: graphite lines and hatching that catch on the tooth of the paper."""

from __future__ import annotations

import numpy as np

from ..colour import Array, Mask
from ..compose import caption, page
from ..drawing import fill, hatch, spline, stroke, trembled
from ..flatwork import FlatWork
from ..subject import Area, Subject
from .draft import Draft, border_line, choose_size, finish, new_draft, sign, soft, write

LEVELS = (0.16, 0.34, 0.58, 0.8)  # how much light each pressure of the hand takes away


def draw(draft: Draft, masks: list[Mask], subject: Subject, size_mm: float, pen_mm: float) -> None:
    """Draw a subject (mm) into four masks of rising pressure; what stands in front hides what is behind."""
    rng = draft.rng
    for item in subject.items:
        if isinstance(item, Area):
            _area(draft, masks, item, size_mm, pen_mm)
            continue
        level = 1 if item.weight < 0.5 else 2 if item.weight < 1.3 else 3
        points = trembled(item.points, 0.06 * pen_mm, rng)
        stroke(draft.grid, masks[level], points, pen_mm * (0.7 + 0.3 * item.weight), taper=0.6)


def _area(draft: Draft, masks: list[Mask], area: Area, size_mm: float, pen_mm: float) -> None:
    """Clear, shade and outline one area."""
    rng, grid = draft.rng, draft.grid
    for mask in masks:
        fill(grid, mask, area.outline, 0)
    extent = float(np.ptp(area.outline, axis=0).max())
    if extent > 2.2 * pen_mm:
        shade(draft, masks, area, min(size_mm, extent), pen_mm)
    if area.drawn:
        closed = np.vstack([area.outline, area.outline[:2]])
        points = trembled(closed, 0.12 * pen_mm, rng)
        stroke(grid, masks[2], points, pen_mm * 0.8, value=int(rng.uniform(190, 255)))
        half = len(points) // 2  # the shadow side gets a second, heavier line
        start = int(rng.integers(0, max(1, half // 2)))
        stroke(grid, masks[3], points[start : start + half], pen_mm * 0.9, value=230, taper=0.9)


def shade(draft: Draft, masks: list[Mask], area: Area, extent_mm: float, pen_mm: float) -> None:
    """Hatch the side away from the light; darker areas get more layers."""
    rng = draft.rng
    spacing = pen_mm * float(rng.uniform(1.5, 2.1))
    layers = ((0, 0.95, 0.5), (1, 0.62, 0.55), (1, 0.4, 0.95), (2, 0.34, 0.6), (3, 0.2, 0.7))
    count = int(np.clip(round(area.tone * 7.5), 1, 5))
    if extent_mm < 12 * pen_mm:
        count = min(count, 2)
    for level, share, angle in layers[:count]:
        for line in hatch(area.outline, angle + rng.normal(0, 0.06), spacing, share, rng):
            value = int(rng.uniform(110, 255) * (0.75 if not area.drawn else 1))
            stroke(draft.grid, masks[level], line, pen_mm * rng.uniform(0.55, 0.95), value, taper=0.8)


def lay_graphite(draft: Draft, masks: list[Mask]) -> None:
    """Turn the four masks into graphite on the tooth of the paper."""
    tooth = np.clip(1 + 0.42 * draft.noise(0.55, 1, 3, gain=0.9), 0.1, 1.9)
    blur_px = 0.05 * draft.grid.px_per_mm
    for mask, amount in zip(masks, LEVELS, strict=True):
        coverage: Array = soft(mask, blur_px)
        coverage = np.clip(coverage * (tooth if amount < 0.7 else 0.5 + 0.5 * tooth), 0, 1)
        draft.stain(coverage, (0.075, 0.078, 0.085), amount)


def _construction(draft: Draft, mask: Mask, subject: Subject, pen_mm: float) -> None:
    """The faint lines an artist leaves: an axis, a box, a swung ellipse."""
    rng = draft.rng
    low, high = subject.bounds()
    for _ in range(int(rng.integers(2, 6))):
        a, b = low + (high - low) * rng.uniform(-0.05, 1.05, 2), low + (high - low) * rng.uniform(-0.05, 1.05, 2)
        if rng.random() < 0.5:
            a[0], b[0] = (low[0] + high[0]) / 2 + rng.normal(0, 1), (low[0] + high[0]) / 2 + rng.normal(0, 1)
        line = spline(np.vstack([a, (a + b) / 2 + rng.normal(0, 0.5, 2), b]), 12)
        stroke(draft.grid, mask, line, pen_mm * 0.6, value=int(rng.uniform(60, 140)))


def build(seed: int, long_px: int) -> FlatWork:
    """A pencil drawing."""
    rng = np.random.default_rng([seed, 11])
    size_mm = choose_size(rng)
    draft = new_draft(size_mm, long_px, seed, rng)
    scale_mm = max(size_mm)
    pen_mm = float(np.clip(0.0020 * scale_mm, 0.35, 0.75))
    masks = [draft.grid.mask() for _ in LEVELS]
    title, subjects, foot_mm = page(size_mm, rng)
    for subject in subjects:
        _construction(draft, masks[0], subject, pen_mm)
        draw(draft, masks, subject, scale_mm * 0.2, pen_mm)
    letter_mm = float(np.clip(0.010 * scale_mm, 1.5, 4))
    if rng.random() < 0.75:
        write(draft, masks[2], caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, pen_mm * 0.8)
    box = sign(draft, masks[2], pen_mm * 0.8, letter_mm * 0.8) if rng.random() < 0.7 else None
    bordered = rng.random() < 0.2
    if bordered:
        border_line(draft, masks[1], min(size_mm) * rng.uniform(0.03, 0.06), pen_mm)
    lay_graphite(draft, masks)
    wear: tuple[str, ...] = ()
    if rng.random() < 0.3:
        wear = ("smudge",)
        cloud = np.clip(draft.noise(scale_mm * 0.12, 9, 3) - 1.3, 0, 1)
        draft.stain(cloud.astype(np.float32), (0.5, 0.5, 0.52), 0.12)
    paper = ("white", "white", "natural", "cream")[int(rng.integers(4))]
    style = ("square",) * 6 + ("torn", "deckle", "rounded")
    return finish(draft, "pencil", title, paper, long_px=long_px, style=style[int(rng.integers(9))],
                  signature_box=box, tooth=0.011, wear=wear, margin_drawn=bordered)  # fmt: skip
