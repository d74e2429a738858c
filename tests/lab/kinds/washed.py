"""A sheet that one wash covers from edge to edge: a sky from blue to pink, a mist that fades into the paper; on it
pencil or ink."""

from __future__ import annotations

import numpy as np

from ..colour import Array, linear_from_lab
from ..compose import caption, page
from ..flatwork import FlatWork
from . import ink, pencil
from .draft import Draft, Rng, choose_size, finish, new_draft, paper_colour, sign, soft, write

# CIELAB chroma and lightness of a wash at its fullest (common practice, no source).
_CHROMA, _LIGHTNESS = (8.0, 26.0), (76.0, 92.0)


def _tone(rng: Rng, sheet: Array) -> Array:
    """(3,) a wash over the sheet, relative to it; no wash is lighter than its paper."""
    hue, chroma = rng.uniform(0, 2 * np.pi), rng.uniform(*_CHROMA)
    laid = linear_from_lab(rng.uniform(*_LIGHTNESS), chroma * np.cos(hue), chroma * np.sin(hue))
    return np.asarray(np.minimum(laid / sheet, 0.99), np.float32)


def _lay_wash(draft: Draft, sheet: Array) -> None:
    """From one colour to another, or to bare paper, across the sheet or down it, thicker here than there."""
    rng = draft.rng
    rows, columns = draft.grid.shape_px
    down = rng.random() < 0.75
    way = np.linspace(0, 1, rows if down else columns, dtype=np.float32) ** np.float32(rng.uniform(0.7, 1.4))
    way = way if rng.random() < 0.5 else 1 - way
    plane = np.broadcast_to(way[:, None] if down else way[None], (rows, columns))
    thickness = np.clip(1 + 0.05 * draft.noise(18, 7, 3), 0.8, 1.2).astype(np.float32)
    draft.stain((1 - plane) * thickness, _tone(rng, sheet))
    if rng.random() < 0.6:
        draft.stain(plane * thickness, _tone(rng, sheet))


def build(seed: int, long_px: int) -> FlatWork:
    """A drawing on a white sheet under one wash."""
    rng = np.random.default_rng([seed, 67])
    size_mm = choose_size(rng, 440)
    draft = new_draft(size_mm, long_px, seed, rng)
    scale_mm = max(size_mm)
    _lay_wash(draft, paper_colour("white", np.random.default_rng([seed, 5])))
    pen_mm = float(np.clip(0.002 * scale_mm, 0.35, 0.7))
    title, subjects, foot_mm = page(size_mm, rng)
    masks = [draft.grid.mask() for _ in pencil.LEVELS]
    if rng.random() < 0.5:
        for subject in subjects:
            ink.draw(draft, masks[3], subject, pen_mm, hatching=rng.random() < 0.5)
        draft.stain(soft(masks[3], 0.02 * draft.grid.px_per_mm), ink.BLACK)
    else:
        for subject in subjects:
            pencil.draw(draft, masks, subject, scale_mm * 0.2, pen_mm)
        pencil.lay_graphite(draft, masks)
    letter_mm = float(np.clip(0.010 * scale_mm, 1.6, 4))
    words = draft.grid.mask()
    write(draft, words, caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, pen_mm * 0.8)
    box = sign(draft, words, pen_mm * 0.8, letter_mm * 0.8) if rng.random() < 0.6 else None
    draft.stain(soft(words, 0.02 * draft.grid.px_per_mm), ink.BLACK)
    return finish(draft, "washed", title, "white", long_px=long_px, signature_box=box,
                  tooth=float(rng.uniform(0.006, 0.02)))  # fmt: skip
