"""Watercolour: transparent washes with pooled edges, blooms and granulation, some hardly darker than paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..colour import Array, rgb8
from ..compose import caption, page
from ..drawing import Points, fill, stroke, trembled
from ..fields import blurred, smoothstep
from ..flatwork import FlatWork
from ..landscape import shore
from ..subject import Area, Subject
from .draft import Draft, Rng, choose_size, finish, new_draft, sign, soft, write


@dataclass(frozen=True)
class Water:
    """The fields that make washes look wet: flow of pigment and grain of the paper, both about 1."""

    flow: Array
    grain: Array


def wetness(draft: Draft) -> Water:
    """Make the two fields once for a sheet."""
    scale_mm = max(draft.grid.size_mm)
    flow: Array = 0.7 * draft.noise(scale_mm * 0.05, 20, 4) + 0.7 * draft.noise(scale_mm * 0.13, 22, 3)
    height_px, width_px = draft.grid.shape_px
    across, down = np.meshgrid(np.arange(width_px, dtype=np.float32), np.arange(height_px, dtype=np.float32))
    swirl = scale_mm * 0.012 * draft.grid.px_per_mm  # water carries pigment along: the noise loses its lattice
    across += swirl * draft.noise(scale_mm * 0.11, 23, 2)
    down += swirl * draft.noise(scale_mm * 0.09, 24, 2)
    flow = cv2.remap(flow, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    flow = np.clip(1 + 0.26 * flow, 0.3, 1.8)
    grain = np.clip(1 + 0.16 * draft.noise(0.9, 21, 3, gain=0.9), 0.4, 1.6)
    return Water(flow.astype(np.float32), grain.astype(np.float32))


def wash(draft: Draft, water: Water, outline: Points, colour: Array, strength: float, lift: float = 0.75) -> None:
    """Lay one wash (outline in mm, linear colour): uneven, grained, darker where the water dried last."""
    ppm = draft.grid.px_per_mm
    low, high = outline.min(axis=0) * ppm, outline.max(axis=0) * ppm
    pad = max(3, int(0.8 * ppm))
    x0, y0 = (max(0, int(v) - pad) for v in low)
    x1, y1 = (min(n, int(v) + pad) for v, n in zip(high, draft.grid.shape_px[::-1], strict=True))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    part = np.zeros((y1 - y0, x1 - x0), np.uint8)
    fixed = draft.grid.fixed(outline) - np.array([x0, y0]) * 16
    cv2.fillPoly(part, [fixed.astype(np.int32)], 255, cv2.LINE_AA, 4)
    cover = part.astype(np.float32) / 255
    edge = np.clip(cover - blurred(cover, max(0.6, 0.35 * ppm)), 0, 1)
    window = slice(y0, y1), slice(x0, x1)
    amount = (cover * water.flow[window] * 0.9 + edge * 1.1) * (0.6 + 0.4 * water.grain[window]) * strength
    paint(draft, window, cover, amount, colour, lift)


def paint(draft: Draft, window: tuple[slice, slice], cover: Array, amount: Array, colour: Array, lift: float) -> None:
    """Absorb by `amount` of a colour in a window, first lifting what lies beneath by `lift` 0..1."""
    for channel in range(3):
        view = draft.surface[window][..., channel]
        if lift > 0:
            view += (1 - view) * cover * np.float32(lift)
        view *= np.exp(np.float32(np.log(max(float(colour[channel]), 0.02))) * amount)


def draw(draft: Draft, water: Water, subject: Subject, strength: float) -> None:
    """Paint a subject (mm): each area its wash, lines with the tip of the brush."""
    rng = draft.rng
    brush_mm = max(draft.grid.size_mm) * 0.0016
    for item in subject.items:
        colour = rgb8(*item.colour) / 0.87
        if isinstance(item, Area):
            wash(draft, water, item.outline, np.minimum(colour, 0.97), strength * rng.uniform(0.75, 1.1))
            if item.tone > 0.3 and np.ptp(item.outline, axis=0).max() > 12 * brush_mm:
                _second_touch(draft, water, item, np.minimum(colour, 0.97), strength, rng)
            continue
        _brush_line(draft, item.points, brush_mm * (0.5 + 0.5 * item.weight), colour, 0.75 * strength)


def _second_touch(draft: Draft, water: Water, area: Area, colour: Array, strength: float, rng: Rng) -> None:
    """A darker touch on the shadow side, while the first wash is damp."""
    centre = area.outline.mean(axis=0)
    shrunk = (
        centre + (area.outline - centre) * rng.uniform(0.45, 0.7) + (centre - area.outline.min(axis=0)) * [0.14, 0.1]
    )
    wash(draft, water, trembled(shrunk, 0.02 * float(np.ptp(shrunk)), rng), colour, strength * 0.5, lift=0.0)


def _brush_line(draft: Draft, points: Points, width_mm: float, colour: Array, strength: float) -> None:
    """One stroke of a fine brush."""
    ppm = draft.grid.px_per_mm
    pad = int(2 * width_mm * ppm) + 3
    low, high = points.min(axis=0) * ppm, points.max(axis=0) * ppm
    x0, y0 = (max(0, int(v) - pad) for v in low)
    x1, y1 = (min(n, int(v) + pad) for v, n in zip(high, draft.grid.shape_px[::-1], strict=True))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    part = np.zeros((y1 - y0, x1 - x0), np.uint8)
    stroke(draft.grid, part, points - np.array([x0, y0]) / ppm, width_mm, taper=0.7)
    cover = part.astype(np.float32) / 255
    paint(draft, (slice(y0, y1), slice(x0, x1)), cover, cover * np.float32(strength), colour, 0.0)


def cloud_wash(draft: Draft, water: Water, key: int, box: Sequence[float], colour: Array, strength: float) -> None:
    """A loose wash without an outline drawn by hand: fills about half its box (mm), softly or with a dry edge."""
    height_px, width_px = draft.grid.shape_px
    x = (np.arange(width_px, dtype=np.float32)[None] / draft.grid.px_per_mm - (box[0] + box[2]) / 2) / (box[2] - box[0])
    y = (np.arange(height_px, dtype=np.float32)[:, None] / draft.grid.px_per_mm - (box[1] + box[3]) / 2) / (
        box[3] - box[1]
    )
    reach = 1 - (x**2 + y**2) * 4 + 0.32 * draft.noise(max(draft.grid.size_mm) * 0.16, key, 5)
    hard = 0.03 if key % 2 else 0.35
    cover = smoothstep(0.15, 0.15 + hard, reach.astype(np.float32))
    edge = np.clip(cover - blurred(cover, 0.5 * draft.grid.px_per_mm), 0, 1) if key % 2 else np.float32(0)
    amount = (cover * (0.55 + 0.45 * water.flow) + 0.8 * edge) * (0.7 + 0.3 * water.grain) * np.float32(strength)
    paint(draft, (slice(None), slice(None)), cover, amount.astype(np.float32), colour, 0.0)


def _pale_washes(draft: Draft, water: Water, count: int) -> None:
    """Washes that differ from the paper by only two to four units of lightness."""
    rng = draft.rng
    w, h = draft.grid.size_mm
    tints = (rgb8(172, 196, 214), rgb8(226, 206, 150), rgb8(214, 176, 170), rgb8(186, 200, 168))
    for index in range(count):
        x, y = rng.uniform(0.1, 0.6) * w, rng.uniform(0.05, 0.55) * h
        box = (x - 0.1 * w, y - 0.05 * h, x + w * rng.uniform(0.25, 0.5), y + h * rng.uniform(0.25, 0.45))
        tint = tints[int(rng.integers(len(tints)))]
        fall = float(np.log(np.asarray(tint)).mean())
        cloud_wash(draft, water, 30 + index, box, tint, rng.uniform(0.05, 0.105) / abs(fall))


def _landscape(draft: Draft, water: Water, margin_mm: float) -> str:
    """A view painted to a taped margin, or nearly to the edge of the sheet."""
    w, h = draft.grid.size_mm
    box = (margin_mm, margin_mm, w - margin_mm, h - margin_mm)
    name, view = shore(draft.rng, (w - 2 * margin_mm) / (h - 2 * margin_mm))
    placed = view.moved(h - 2 * margin_mm, (margin_mm, margin_mm))
    draw(draft, water, placed, 0.9)
    if margin_mm > 0:  # the tape kept the margin clean
        keep = draft.grid.mask()
        fill(draft.grid, keep, np.array([[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]]))
        draft.surface += (1 - draft.surface) * (1 - soft(keep, 0)[..., None])
    return name


def build(seed: int, long_px: int) -> FlatWork:
    """A watercolour: a study with ample margin, or a view that covers the sheet."""
    rng = np.random.default_rng([seed, 33])
    size_mm = choose_size(rng, 440)
    draft = new_draft(size_mm, long_px, seed, rng)
    water = wetness(draft)
    scale_mm = max(size_mm)
    letters = draft.grid.mask()
    letter_mm = float(np.clip(0.010 * scale_mm, 1.5, 4))
    box = None
    style = rng.random()
    if style < 0.42:
        taped = 0.0 if rng.random() < 0.35 else min(size_mm) * rng.uniform(0.03, 0.08)
        title = _landscape(draft, water, taped)
    else:
        title, subjects, foot_mm = page(size_mm, rng)
        _pale_washes(draft, water, int(rng.integers(2, 5)))
        for subject in subjects:
            draw(draft, water, subject, rng.uniform(0.65, 1.0))
        if rng.random() < 0.6:
            write(draft, letters, caption(title, rng), (size_mm[0] * 0.1, foot_mm), letter_mm, 0.4)
        box = sign(draft, letters, 0.4, letter_mm * 0.8) if rng.random() < 0.7 else None
    draft.stain(letters, (0.1, 0.1, 0.11), 0.75)
    paper = ("white", "white", "natural", "natural", "cream")[int(rng.integers(5))]
    edge = ("square",) * 5 + ("deckle", "deckle", "torn")
    return finish(draft, "watercolour", title, paper, long_px=long_px, style=edge[int(rng.integers(8))],
                  signature_box=box, tooth=0.014)  # fmt: skip
