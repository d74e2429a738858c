"""Coloured paper: pencil, ink or crayon on a sheet of any colour or any grey, more often than not without white."""

from __future__ import annotations

import numpy as np

from ..colour import rgb8
from ..compose import caption, page
from ..drawing import fill
from ..flatwork import FlatWork
from ..subject import Area, Subject
from . import ink, pencil
from .draft import Draft, choose_size, finish, new_draft, paper_colour, sign, soft, write
from .toned import chalk, lay_chalk

_CRAYONS = ((40, 44, 62), (96, 34, 26), (30, 62, 48), (70, 50, 30), (28, 28, 30), (92, 28, 62))


def _drawn(draft: Draft, subjects: list[Subject], scale_mm: float, pen_mm: float) -> list[np.ndarray]:
    """Pencil or crayon in four pressures, or pen."""
    rng = draft.rng
    masks = [draft.grid.mask() for _ in pencil.LEVELS]
    if rng.random() < 0.4:
        for subject in subjects:
            ink.draw(draft, masks[3], subject, pen_mm, hatching=rng.random() < 0.7)
        draft.stain(
            soft(masks[3], 0.02 * draft.grid.px_per_mm), ink.BLACK if rng.random() < 0.6 else (0.05, 0.03, 0.02)
        )
        return masks
    for subject in subjects:
        pencil.draw(draft, masks, subject, scale_mm * 0.2, pen_mm)
    if rng.random() < 0.5:
        pencil.lay_graphite(draft, masks)
        return masks
    tooth = np.clip(1 + 0.42 * draft.noise(0.55, 1, 3, gain=0.9), 0.1, 1.9)
    sheet = rgb8(*_CRAYONS[int(rng.integers(len(_CRAYONS)))])
    for mask, amount in zip(masks, pencil.LEVELS, strict=True):
        cover = np.clip(soft(mask, 0.05 * draft.grid.px_per_mm) * tooth, 0, 1)
        draft.stain(cover.astype(np.float32), tuple(float(c) for c in sheet), amount)
    return masks


def _gouache(draft: Draft, subjects: list[Subject], sheet: np.ndarray) -> None:
    """A few areas in body colour, some of it lighter than the sheet."""
    rng = draft.rng
    for subject in subjects:
        for item in subject.items:
            if not isinstance(item, Area) or not item.drawn or rng.random() < 0.6:
                continue
            mask = draft.grid.mask()
            fill(draft.grid, mask, item.outline)
            colour = rgb8(*(float(c) for c in item.colour))
            draft.cover((soft(mask, 0.1 * draft.grid.px_per_mm) * 0.92).astype(np.float32), colour / sheet)


def build(seed: int, long_px: int) -> FlatWork:
    """A drawing on coloured or grey paper."""
    rng = np.random.default_rng([seed, 66])
    size_mm = choose_size(rng, 440)
    draft = new_draft(size_mm, long_px, seed, rng)
    scale_mm = max(size_mm)
    paper = "coloured" if rng.random() < 0.65 else "any grey"
    sheet = paper_colour(paper, np.random.default_rng([seed, 5]))
    pen_mm = float(np.clip(0.0022 * scale_mm, 0.4, 0.8))
    title, subjects, foot_mm = page(size_mm, rng)
    if rng.random() < 0.25:
        _gouache(draft, subjects, sheet)
    masks = _drawn(draft, subjects, scale_mm, pen_mm)
    letter_mm = float(np.clip(0.010 * scale_mm, 1.6, 4))
    words = draft.grid.mask()
    if rng.random() < 0.7:
        write(draft, words, caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, pen_mm * 0.8)
    box = sign(draft, words, pen_mm * 0.8, letter_mm * 0.8) if rng.random() < 0.6 else None
    draft.stain(soft(words, 0.02 * draft.grid.px_per_mm), ink.BLACK)
    if rng.random() < 0.45:
        lights = masks[0] * 0
        for subject in subjects:
            chalk(draft, lights, subject, pen_mm)
        lay_chalk(draft, lights, sheet, rgb8(240, 238, 232))
    return finish(draft, "coloured", title, paper, long_px=long_px, signature_box=box,
                  tooth=float(rng.uniform(0.006, 0.02)))  # fmt: skip
