"""Toned paper: dark pencil and white chalk on grey, kraft or black sheets."""

from __future__ import annotations

import numpy as np

from ..colour import Array, Mask, rgb8
from ..compose import caption, page
from ..drawing import fill, hatch, stroke
from ..flatwork import FlatWork
from ..subject import Area, Subject
from . import pencil
from .draft import Draft, border_line, choose_size, finish, new_draft, paper_colour, sign, soft, write


def chalk(draft: Draft, mask: Mask, subject: Subject, pen_mm: float) -> None:
    """White hatching on the side of each area that faces the light; front areas clear what is behind."""
    rng = draft.rng
    for item in subject.items:
        if not isinstance(item, Area):
            continue
        fill(draft.grid, mask, item.outline, 0)
        extent = float(np.ptp(item.outline, axis=0).max())
        if extent < 4 * pen_mm or not item.drawn:
            continue
        share = 0.55 if item.tone < 0.3 else 0.3
        for line in hatch(item.outline, np.pi + 0.5 + rng.normal(0, 0.08), pen_mm * 1.9, share, rng):
            stroke(draft.grid, mask, line, pen_mm * 1.2, int(rng.uniform(110, 250)), taper=0.8)


def lay_chalk(draft: Draft, mask: Mask, sheet: Array, colour: Array) -> None:
    """Chalk catches on the tooth: dense where pressed, broken where dragged."""
    tooth = np.clip(0.95 + 0.5 * draft.noise(0.6, 3, 3, gain=0.9), 0.05, 1.5)
    cover = np.clip(soft(mask, 0.12 * draft.grid.px_per_mm) * tooth, 0, 0.94).astype(np.float32)
    cover[cover < 0.01] = 0
    draft.cover(cover, (colour / sheet).astype(np.float32))


def build(seed: int, long_px: int) -> FlatWork:
    """A drawing in dark and light on toned paper."""
    rng = np.random.default_rng([seed, 55])
    size_mm = choose_size(rng, 440)
    draft = new_draft(size_mm, long_px, seed, rng)
    scale_mm = max(size_mm)
    paper = ("grey", "kraft", "kraft", "grey", "black")[int(rng.integers(5))]
    sheet = paper_colour(paper, np.random.default_rng([seed, 5]))
    pen_mm = float(np.clip(0.0022 * scale_mm, 0.4, 0.8))
    masks = [draft.grid.mask() for _ in pencil.LEVELS]
    title, subjects, foot_mm = page(size_mm, rng)
    lights = draft.grid.mask()
    highlights = paper == "black" or rng.random() < 0.8
    for subject in subjects:
        pencil.draw(draft, masks, subject, scale_mm * 0.2, pen_mm)
        if highlights:
            chalk(draft, lights, subject, pen_mm)
    letter_mm = float(np.clip(0.010 * scale_mm, 1.6, 4))
    if rng.random() < 0.7:
        write(draft, masks[3], caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, pen_mm * 0.8)
    box = sign(draft, masks[3], pen_mm * 0.8, letter_mm * 0.8) if rng.random() < 0.6 else None
    bordered = rng.random() < 0.2
    if bordered:
        border_line(draft, masks[2], min(size_mm) * rng.uniform(0.03, 0.06), pen_mm)
    if paper == "black":  # on black everything is drawn with light
        for mask, amount in zip(masks, (0.35, 0.5, 0.7, 0.9), strict=True):
            lay_chalk(draft, (mask * amount).astype(np.uint8), sheet, rgb8(214, 212, 206))
    else:
        pencil.lay_graphite(draft, masks)
    if highlights:
        lay_chalk(draft, lights, sheet, rgb8(240, 238, 232))
    style = ("square",) * 7 + ("torn", "deckle")
    return finish(draft, "toned", title, paper, long_px=long_px, style=style[int(rng.integers(9))],
                  signature_box=box, tooth=0.02, margin_drawn=bordered)  # fmt: skip
