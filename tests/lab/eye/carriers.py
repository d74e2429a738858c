"""What carries a work: clipboards, drawing boards with clips, tape or pins, and clear sleeves; none of it is the work.

Boards lie below the sheet, and what holds it over its sides; a sleeve lies over it and reaches beyond it.
"""

from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, float32

from . import SIDE_PX
from .dice import Dice
from .paint import clouds, colour, flat, ink_of
from .poses import on_plane
from .stage import Sheet, Stage, size_of

Hold = Callable[[], None]
"""Draws what lies over the work; to be called when the work has been laid."""

# How far a board reaches beyond the sheet at its sides, and where its clip sits: shares of the sheet's sides. Chosen:
# an A4 clipboard is 23 by 32 cm; half boards are larger.
_BESIDE, _AT_CLIP, _BELOW = (0.005, 0.16), (0.03, 0.3), (0.005, 0.2)
_SLEEVE, _STRIP = (0.008, 0.08), (0.03, 0.16)


def carry(dice: Dice, stage: Stage, quad: Float32) -> Hold:
    """Lays what carries the work at `quad`; the answer draws what holds it there."""
    kind = dice.weighted(((0.36, clipboard), (0.32, drawing_board), (0.32, sleeve)))
    return kind(dice, stage, quad)


def clipboard(dice: Dice, stage: Stage, quad: Float32) -> Hold:
    """A board a little larger than the sheet, and a clip over the middle of one side, the upper one mostly."""
    side = 0 if dice.chance(0.8) else dice.whole(0, 4)
    even = dice.between(*_BESIDE)
    reach = [even if dice.chance(0.7) else dice.between(*_BESIDE) for _ in range(4)]
    reach[(side + 2) % 4] = dice.between(*_BELOW)
    reach[side] = dice.between(*_AT_CLIP)
    _board(dice, stage, _box(quad, reach), dice.between(0, 0.06))
    return lambda: _clip(dice, stage, quad, side, reach[side] * dice.between(0.4, 1))


def drawing_board(dice: Dice, stage: Stage, quad: Float32) -> Hold:
    """A board larger than the sheet by some to much, and tape, pins or small clips at the sheet's corners."""
    wide = dice.between(0.02, 0.5)
    _board(dice, stage, _box(quad, [wide * dice.between(0.3, 1.3) for _ in range(4)]), dice.between(0, 0.02))
    return lambda: dice.of((_tapes, _tapes, _pins, _clips))(dice, stage, quad)


def sleeve(dice: Dice, stage: Stage, quad: Float32) -> Hold:
    """A clear film that reaches beyond the sheet, paler than what lies below, with seams, glints and often holes."""
    even = dice.between(*_SLEEVE)
    reach = [even if dice.chance(0.6) else dice.between(*_SLEEVE) for _ in range(4)]
    holed = dice.whole(0, 4) if dice.chance(0.55) else None
    if holed is not None:
        reach[holed] = dice.between(*_STRIP)
    return lambda: _film(dice, stage, quad, reach, holed)


def _box(quad: Float32, reach: list[float]) -> Float32:
    """(4, 2) the quad in the work's plane that reaches so far beyond its sides (top, right, bottom, left)."""
    top, right, bottom, left = reach
    low, high = (-left, -top), (1 + right, 1 + bottom)
    return on_plane(quad, np.array([low, (high[0], low[1]), high, (low[0], high[1])]))


def _board(dice: Dice, stage: Stage, quad: Float32, rounded: float) -> None:
    height, width = size_of(quad)
    tone = colour(dice, dice.of(("wood", "wood", "dark", "any", "grey", "paper", "light")))
    grain = clouds(dice, height, width, 4, dice.whole(2, 9))
    texture = flat(height, width, tone) * (1 + dice.between(0, 0.12) * grain)[..., None]
    texture = np.clip(texture + dice.grain(height, width, 1) * dice.between(0, 0.03), 0, 1).astype(np.float32)
    thick = dice.between(0.5, 5) if dice.chance(0.4) else 0.0
    stage.lay(dice, texture, quad, Sheet(rounded=rounded, shadow=(0.05, 0.6), thick_px=thick))


def _points(quad: Float32, points: AnyArray) -> AnyArray:
    return np.round(np.clip(on_plane(quad, points), -3000, 3000)).astype(np.int32)


def _along(side: int, at: float, depth: float) -> tuple[float, float]:
    """A place in the work's own frame: so far along a side, so deep beyond it (below 0: over the sheet)."""
    return ((at, -depth), (1 + depth, at), (at, 1 + depth), (-depth, at))[side]


def _fill(stage: Stage, points: AnyArray, tone: AnyArray) -> None:
    cv2.fillPoly(stage.picture, [points], ink_of(tone), cv2.LINE_AA)


def _clip(dice: Dice, stage: Stage, quad: Float32, side: int, out: float) -> None:
    """A metal or black clip: a plate over the sheet's edge, a brighter bar and a knob on it."""
    middle, half, over = dice.normal(0.5, 0.03), dice.between(0.1, 0.34), dice.between(0.004, 0.07)
    out = min(out, 0.2)
    tone = colour(dice, dice.of(("grey", "grey", "dark", "gold")))
    narrower = dice.between(0.5, 1.0)
    corners = [(middle - half, -over), (middle + half, -over), (middle + half * narrower, out),
               (middle - half * narrower, out)]  # fmt: skip
    plate = _points(quad, np.array([_along(side, at, depth) for at, depth in corners]))
    _fill(stage, plate + dice.whole(1, 4), tone * 0.35)
    _fill(stage, plate, tone)
    low, high = sorted(dice.uniform(-over, out, 2))
    bar = [(middle - half, low), (middle + half, low), (middle + half, high), (middle - half, high)]
    _fill(stage, _points(quad, np.array([_along(side, at, depth) for at, depth in bar])), np.clip(tone * 1.5, 0, 1))
    if dice.chance(0.5):
        x, y = _points(quad, np.array([_along(side, middle, out * 0.5)]))[0]
        cv2.circle(stage.picture, (int(x), int(y)), dice.whole(2, 8), ink_of(tone * 0.5), -1, cv2.LINE_AA)


def _tapes(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Pieces of tape across corners, or along the middle of the sides; clear, white or the colour of kraft."""
    tone = np.float32(dice.of(((0.93, 0.92, 0.88), (0.85, 0.78, 0.6), (0.75, 0.65, 0.48), (0.3, 0.4, 0.6))))
    strength, wide = dice.between(0.35, 1), dice.between(0.02, 0.06)
    slanted = dice.chance(0.6)
    for k in range(4):
        if dice.chance(0.15):
            continue
        place = float32(quad[k] if slanted else (quad[k] + quad[(k + 1) % 4]) / 2)
        along = quad[k - 1] - quad[(k + 1) % 4] if slanted else quad[k] - quad[(k + 2) % 4]
        angle = float(np.degrees(np.arctan2(along[1], along[0]))) + dice.normal(0, 8)
        extent = float(np.ptp(quad, axis=0).max())
        size = (extent * dice.between(0.08, 0.2), extent * wide)
        piece = cv2.boxPoints(((float(place[0]), float(place[1])), size, angle)).astype(np.int32)
        _over(stage, piece, tone, strength)


def _pins(dice: Dice, stage: Stage, quad: Float32) -> None:
    tone, radius = colour(dice), dice.whole(2, 7)
    for corner in _points(quad, np.array([(0.03, 0.03), (0.97, 0.03), (0.97, 0.97), (0.03, 0.97)])):
        x, y = int(corner[0]), int(corner[1])
        cv2.circle(stage.picture, (x + 2, y + 2), radius, (0.1, 0.1, 0.1), -1, cv2.LINE_AA)
        cv2.circle(stage.picture, (x, y), radius, ink_of(tone), -1, cv2.LINE_AA)


def _clips(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Small clips over one side or two."""
    tone, half = colour(dice, dice.of(("dark", "grey", "any"))), dice.between(0.02, 0.06)
    for side in dice.rng.permutation(4)[: dice.whole(1, 3)]:
        for at in (dice.between(0.06, 0.3), dice.between(0.6, 0.94)):
            over, out = dice.between(0.01, 0.05), dice.between(0.01, 0.08)
            box = [(at - half, -over), (at + half, -over), (at + half, out), (at - half, out)]
            _fill(stage, _points(quad, np.array([_along(int(side), a, depth) for a, depth in box])), tone)


def _over(stage: Stage, points: AnyArray, tone: AnyArray, strength: float) -> None:
    """A polygon of a tone that lets what is below through."""
    mask = np.zeros((SIDE_PX, SIDE_PX), np.float32)
    cv2.fillPoly(mask, [points], strength, cv2.LINE_AA)
    stage.picture[:] = stage.picture * (1 - mask[..., None]) + np.asarray(tone, np.float32) * mask[..., None]


def _film(dice: Dice, stage: Stage, quad: Float32, reach: list[float], holed: int | None) -> None:
    outer = np.round(np.clip(_box(quad, reach), -3000, 3000)).astype(np.int32)
    haze = np.float32([1, 1, 1]) * np.float32(dice.between(0.7, 1))
    _over(stage, outer, haze, dice.between(0.02, 0.3))
    _glints(dice, stage, outer)
    for tone in (haze * dice.between(0.25, 0.7), haze):
        shift = dice.whole(0, 2)
        cv2.polylines(stage.picture, [outer + shift], True, ink_of(tone), 1, cv2.LINE_AA)
    if holed is None:
        return
    for k in range(dice.of((2, 4, 11))):
        x, y = _points(quad, np.array([_along(holed, 0.06 + 0.088 * k, reach[holed] * 0.5)]))[0]
        cv2.circle(stage.picture, (int(x), int(y)), dice.whole(2, 5), ink_of(haze * 0.4), 1, cv2.LINE_AA)


def _glints(dice: Dice, stage: Stage, outer: AnyArray) -> None:
    """Streaks and patches where the film throws a light back."""
    mask, light = np.zeros((SIDE_PX, SIDE_PX), np.float32), np.zeros((SIDE_PX, SIDE_PX), np.float32)
    cv2.fillPoly(mask, [outer], 1.0, cv2.LINE_AA)
    for _ in range(dice.whole(0, 5)):
        at, way = dice.uniform(0.1, 0.9, 2) * SIDE_PX, dice.normals(0.2, 2) * SIDE_PX
        bent = at + way * np.linspace(0, 1, 8)[:, None] + dice.normals(6, (8, 2))
        cv2.polylines(light, [bent.astype(np.int32)], False, dice.between(0.2, 0.9), dice.whole(1, 26), cv2.LINE_AA)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), dice.between(0.7, 9)), np.float32) * mask
    stage.picture[:] = stage.picture * (1 - light[..., None]) + light[..., None]
