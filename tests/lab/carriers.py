"""What carries a sheet: a clipboard, a drawing board with tape or clips, a clear sleeve. None of it is the work."""

from __future__ import annotations

import numpy as np

from .camera import Matrix
from .colour import Array, rgb8
from .drawing import Points
from .fields import blurred, fractal
from .objects import Table, rectangle, tape_strip

CARRIERS = ("clipboard", "board", "sleeve")
_BOARDS = ((142, 108, 76), (118, 84, 56), (196, 164, 122), (52, 54, 58), (228, 227, 224), (90, 104, 120), (176, 60, 52))
_METALS = ((172, 174, 178), (120, 122, 126), (38, 38, 40), (188, 164, 104))
_FILM = rgb8(250, 250, 252)

Rng = np.random.Generator


def _rng(seed: int, what: int) -> Rng:
    return np.random.default_rng([seed, 11, what])


def reach_mm(carrier: str, half_mm: Matrix, seed: int) -> tuple[float, float, float, float]:
    """How far it reaches beyond the sheet: left, top, right, bottom, in mm. Common practice, no source."""
    rng = _rng(seed, 0)
    long = 2 * float(half_mm.max())
    if carrier == "clipboard":
        side = long * rng.uniform(0.01, 0.1)
        return side, long * rng.uniform(0.05, 0.22), side * rng.uniform(0.7, 1.3), long * rng.uniform(0.01, 0.15)
    low, high = (0.02, 0.4) if carrier == "board" else (0.008, 0.07)
    left, top, right, bottom = (float(v) * long for v in rng.uniform(low, high, 4))
    return left + (long * 0.05 if carrier == "sleeve" else 0.0), top, right, bottom


def _box(half_mm: Matrix, reach: tuple[float, float, float, float], radius_mm: float = 0.0) -> Points:
    left, top, right, bottom = reach
    low, high = np.array([-left, -top]) - half_mm, half_mm + np.array([right, bottom])
    return rectangle((low + high) / 2, (float(high[0] - low[0]), float(high[1] - low[1])), 0.0, radius_mm)


def below(table: Table, half_mm: Matrix, turn: Matrix, carrier: str, seed: int) -> None:
    """Lay a board under the sheet; `turn`: (2, 2) from the sheet's own frame to the table's."""
    if carrier == "sleeve":
        return
    rng = _rng(seed, 1)
    radius = float(rng.uniform(4, 14)) if carrier == "clipboard" else 1.0
    outline = _box(half_mm, reach_mm(carrier, half_mm, seed), radius) @ turn.T
    table.shadow(outline, float(rng.uniform(2, 6)), 0.5)
    tone = rgb8(*_BOARDS[int(rng.integers(len(_BOARDS)))])
    shape = table.picture.shape[:2]
    grain = fractal(shape, table.px_per_mm, float(rng.uniform(3, 40)), seed % 9973, 4, 0.5, float(rng.choice([1, 8])))
    table.paint([outline], tone, np.asarray(1 + 0.05 * grain, np.float32))


def over(table: Table, half_mm: Matrix, carrier: str, seed: int) -> None:
    """Lay what holds the sheet over it: a clip at its top, tape or small clips, or the film of a sleeve."""
    rng = _rng(seed, 2)
    if carrier == "clipboard":
        _clip(table, half_mm, reach_mm(carrier, half_mm, seed)[1], rng)
    elif carrier == "sleeve":
        _film(table, half_mm, reach_mm(carrier, half_mm, seed), seed, rng)
    elif rng.random() < 0.6:
        for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            tape_strip(table, half_mm * (sx, sy), -sx * sy * np.pi / 4, rng)
    else:
        for x in (-0.7, 0.7):
            _bar(table, np.array([x * half_mm[0], -half_mm[1]]), (22, 16), rgb8(36, 36, 38))


def _bar(table: Table, at: Matrix, size_mm: tuple[float, float], tone: Array) -> None:
    outline = rectangle(at, size_mm, 0.0, 2.0)
    table.shadow(outline, 4.0, 0.5)
    table.paint([outline], tone)


def _clip(table: Table, half_mm: Matrix, top_mm: float, rng: Rng) -> None:
    """A plate over the upper edge, a bar that presses on the sheet, a ring to hang it by."""
    tone = rgb8(*_METALS[int(rng.integers(len(_METALS)))])
    wide, deep = float(half_mm[0]) * rng.uniform(0.4, 1.2), min(top_mm, 45.0) * rng.uniform(0.5, 0.95)
    over_mm = float(rng.uniform(4, 18))
    middle = np.array([rng.normal(0, 3), -float(half_mm[1])])
    _bar(table, middle + np.array([0, (over_mm - deep) / 2]), (wide, deep + over_mm), tone)
    _bar(table, middle + np.array([0, over_mm - 3]), (wide * 1.02, 6), np.minimum(tone * 1.6, 0.9).astype(np.float32))
    table.paint([rectangle(middle - np.array([0, deep * 0.6]), (14, 14), 0.0, 7.0)], np.asarray(tone * 0.3, np.float32))


def _film(table: Table, half_mm: Matrix, reach: tuple[float, float, float, float], seed: int, rng: Rng) -> None:
    """A clear film: a faint haze, bright streaks where it throws light back, seams, and holes at the left."""
    assert table.opacity is not None
    outline = _box(half_mm, reach, 1.5)
    part = table.window(outline, 3)
    if part is None:
        return
    cover = table.mask([outline], part)
    inner = table.mask([_box(half_mm, tuple(r - 1.0 for r in reach), 1.0)], part)  # type: ignore[arg-type]
    streaks = fractal(cover.shape, table.px_per_mm, 60.0, seed % 8963, 3, 0.5, float(rng.uniform(3, 9)))
    lifted = np.clip(streaks - rng.uniform(1.0, 1.9), 0, 2) * rng.uniform(0.1, 0.4)
    haze = rng.uniform(0.01, 0.08) + np.asarray(blurred(lifted.astype(np.float32), 1.0)) + 0.35 * (cover - inner)
    table.picture[part] = _FILM
    table.opacity[part] = np.maximum(table.opacity[part], np.clip(haze, 0, 0.9) * cover)
    for k in range(int(rng.choice([0, 2, 4, 11]))):
        at = np.array([-half_mm[0] - reach[0] * 0.55, (k + 0.5) / 11 * 1.8 * half_mm[1] - 0.9 * half_mm[1]])
        ring = table.mask([rectangle(at, (6, 6), 0.0, 3.0)], part) - table.mask([rectangle(at, (5, 5), 0.0, 2.5)], part)
        table.opacity[part] = np.maximum(table.opacity[part], 0.5 * np.clip(ring, 0, 1))
