"""A page of a notebook: lined, squared or dotted paper with writing and a small drawing, the back shining through."""

from __future__ import annotations

import cv2
import numpy as np

from ..boats import boat
from ..colour import Mask
from ..compose import caption
from ..drawing import dot, stroke
from ..flatwork import FlatWork
from ..lettering import notes
from ..plants import plant
from . import ink
from .draft import Draft, finish, new_draft, soft, write

RULINGS = ("squared", "lined", "dotted", "none")
# Common sizes and rulings of exercise books and pads: 5 mm squares, 8 mm lines (common practice, no source).
_SIZES = ((210, 297), (210, 297), (148, 210), (297, 210), (216, 279), (170, 240))
_RULING_COLOURS = ((0.42, 0.48, 0.62), (0.5, 0.5, 0.52), (0.36, 0.5, 0.58), (0.5, 0.42, 0.5))
_INKS = (ink.BLACK, (0.03, 0.04, 0.22), (0.05, 0.06, 0.3), (0.09, 0.09, 0.1))


def _ruled(draft: Draft, ruling: str, strength: float) -> None:
    """Print the ruling and, at times, a red margin line."""
    rng, mask = draft.rng, draft.grid.mask()
    w, h = draft.grid.size_mm
    step = 5.0 if ruling != "lined" else float(rng.choice([7.0, 8.0, 9.0]))
    start = float(rng.uniform(0.2, 1.0)) * step
    pen = float(rng.uniform(0.18, 0.4))
    rows, cols = np.arange(start, h, step), np.arange(start, w, step)
    if ruling == "dotted":
        for y in rows:
            for x in cols:
                dot(draft.grid, mask, np.array([x, y]), 0.75 * pen)
    else:
        for y in rows:
            stroke(draft.grid, mask, np.array([[-1.0, y], [w + 1, y]]), pen)
        for x in cols if ruling == "squared" else ():
            stroke(draft.grid, mask, np.array([[x, -1.0], [x, h + 1]]), pen)
    draft.stain(soft(mask, 0.03 * draft.grid.px_per_mm), _RULING_COLOURS[int(rng.integers(4))], strength)
    if ruling == "lined" and rng.random() < 0.5:
        line = draft.grid.mask()
        x = float(rng.uniform(0.1, 0.16)) * w
        stroke(draft.grid, line, np.array([[x, -1.0], [x, h + 1]]), 0.3)
        draft.stain(soft(line, 0.03 * draft.grid.px_per_mm), (0.8, 0.3, 0.3), 0.8)


def _written_page(draft: Draft, mask: Mask, letter_mm: float, margin: float, full: float) -> float:
    """Fill the page with lines of notes; returns how far down they reach, mm."""
    rng = draft.rng
    w, h = draft.grid.size_mm
    pitch = letter_mm * float(rng.uniform(3.0, 3.8))
    lines = int((h - 2 * margin) * full / pitch)
    y = margin + 2 * letter_mm
    for text in notes((w - 2 * margin) / letter_mm, 1.0, max(lines, 2), rng):
        write(draft, mask, text, (margin, y), letter_mm, 0.35)
        y += pitch
    return y


def _drawing(draft: Draft, mask: Mask, top: float, margin: float) -> str:
    rng = draft.rng
    w, h = draft.grid.size_mm
    subject = plant(rng) if rng.random() < 0.6 else boat(rng)
    if h - margin - top > 25:
        ink.draw(draft, mask, subject.fitted((margin, top, w - margin, h - margin)), 0.4, bool(rng.random() < 0.5))
    return caption(subject.name, rng)


def _other_side(draft: Draft, mask: Mask, colour: tuple[float, float, float]) -> None:
    """What is written on the back shows through thin paper: mirrored, blurred and pale."""
    strength = float(draft.rng.uniform(0.03, 0.09))
    back = soft(np.ascontiguousarray(mask[:, ::-1]), 0.5 * draft.grid.px_per_mm)
    draft.stain(np.asarray(cv2.GaussianBlur(back, (0, 0), 0.3 * draft.grid.px_per_mm)), colour, strength)


def _holes(draft: Draft) -> None:
    """Punched holes along one side: the dark desk shows."""
    h = draft.height_mm
    mask = draft.grid.mask()
    for share in (0.1, 0.37, 0.63, 0.9):
        dot(draft.grid, mask, np.array([9.0, share * h]), 2.8)
    draft.cover(soft(mask, 0.04 * draft.grid.px_per_mm), np.array([0.12, 0.1, 0.08], np.float32))


def build(seed: int, long_px: int) -> FlatWork:
    """A notebook page."""
    rng = np.random.default_rng([seed, 88])
    size = _SIZES[int(rng.integers(len(_SIZES)))]
    draft = new_draft((float(size[0]), float(size[1])), long_px, seed, rng)
    ruling = str(rng.choice(RULINGS, p=[0.45, 0.25, 0.15, 0.15]))
    if ruling != "none":
        _ruled(draft, ruling, float(rng.uniform(0.5, 1.0)))
    colour = _INKS[int(rng.integers(len(_INKS)))]
    mask = draft.grid.mask()
    letter_mm = float(rng.uniform(1.6, 2.6))
    margin = float(rng.uniform(1.0, 5.0) if rng.random() < 0.4 else rng.uniform(10, 22))
    full = float(rng.choice([0.15, 0.4, 0.65, 1.0], p=[0.2, 0.25, 0.25, 0.3]))
    foot = _written_page(draft, mask, letter_mm, margin, full)
    title = _drawing(draft, mask, foot, margin) if full < 0.9 else "Notes"
    if rng.random() < 0.35:
        _other_side(draft, mask, colour)
    draft.stain(soft(mask, 0.03 * draft.grid.px_per_mm), colour)
    if rng.random() < 0.35:
        _holes(draft)
    paper = ("white", "white", "white", "natural")[int(rng.integers(4))]
    style = "rounded" if rng.random() < 0.25 else "square"
    return finish(draft, "notebook", title, paper, long_px=long_px, style=style, tooth=0.004)
