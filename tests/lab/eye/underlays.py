"""What lies directly under a work and sticks out, and what touches its sides: sheets, cardboard, books, paint boxes.

They are what the network takes for a part of the work most easily: a strip of another thing, parallel to a side.
"""

import itertools
import math

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, float32

from .dice import Dice
from .pages import PageKind, page
from .paint import clouds, colour, flat, ink_of
from .poses import on_plane
from .stage import Sheet, Stage, size_of

# How far a thing below sticks out beyond a side, in shares of the work's length across it. Chosen around what was
# mistaken in tuning photos: 5 to 15 %.
_OUT = (0.015, 0.20)
# Its other sides lie so far inside the work, hidden.
_HIDDEN = (0.01, 0.35)
# At how many sides it sticks out; two are neighbours more often than opposite.
_SIDES_OUT = ((0.36, 1), (0.38, 2), (0.10, 3), (0.16, 4))
_KRAFT = ((0.70, 0.56, 0.42), (0.62, 0.47, 0.33), (0.76, 0.65, 0.51), (0.80, 0.71, 0.58))


def underlays(dice: Dice, stage: Stage, quad: Float32, base: Float32) -> None:
    """One thing under the work that sticks out at some of its sides, or two on each other."""
    for _ in range(2 if dice.chance(0.25) else 1):
        below = _sticking_out(dice, quad)
        texture, sheet = _thing(dice, below, base)
        stage.lay(dice, texture, below, sheet)


def _sticking_out(dice: Dice, quad: Float32) -> Float32:
    """(4, 2) a quad in the plane of the work's, beyond it at one side or more and within it at the others."""
    count, first = dice.weighted(_SIDES_OUT), dice.whole(0, 4)
    step = 2 if count == 2 and dice.chance(0.15) else 1
    out = {(first + k * step) % 4 for k in range(count)}
    even = dice.between(*_OUT) if dice.chance(0.4) else None  # a larger sheet with the work in its middle
    moves = [
        (even if even is not None else dice.between(*_OUT)) if k in out else -dice.between(*_HIDDEN) for k in range(4)
    ]
    if count == 4:
        moves = [0.5 * move for move in moves]
    top, right, bottom, left = moves
    box = np.array([[-left, -top], [1 + right, -top], [1 + right, 1 + bottom], [-left, 1 + bottom]])
    height, width = size_of(quad)
    turn = math.radians(dice.normal(0, 0.6 if dice.chance(0.4) else 2.5))
    return on_plane(quad, _turned(box, turn, width / height))


def _turned(points: AnyArray, radians: float, shape: float) -> AnyArray:
    """Points in a work's own frame turned about their middle; shape: the work's width to its height."""
    middle, c, s = points.mean(0), math.cos(radians), math.sin(radians)
    return (points - middle) * [shape, 1] @ np.array([[c, s], [-s, c]]) / [shape, 1] + middle


def _thing(dice: Dice, quad: Float32, base: Float32) -> tuple[Float32, Sheet]:
    """A sheet like the work's, another sheet, cardboard or a closed book: its texture and how it lies."""
    height, width = size_of(quad)
    shadow = (0.05, 0.5)
    kind = dice.weighted(((0.44, "alike"), (0.24, "sheet"), (0.14, "cardboard"), (0.18, "book")))
    if kind in ("alike", "sheet"):
        tone = base * np.float32(dice.between(0.84, 1.06)) + dice.normals(0.012, 3) if kind == "alike" else None
        tone = np.clip(colour(dice, "paper") if tone is None else tone, 0.02, 1).astype(np.float32)
        drawn = dice.chance(0.4)
        texture = page(dice, height, width, PageKind(base=tone, inset=False)) if drawn else flat(height, width, tone)
        return texture, Sheet(curl=abs(dice.normal(0, 0.004)), rough=0.004 if dice.chance(0.1) else 0.0, shadow=shadow)
    if kind == "cardboard":
        tone = np.float32(dice.of(_KRAFT)) * np.float32(dice.between(0.8, 1.15)) + dice.normals(0.02, 3)
        texture = np.clip(flat(height, width, tone) + dice.grain(height, width, 1) * dice.between(0, 0.03), 0.02, 1)
        return texture.astype(np.float32), Sheet(shadow=shadow, thick_px=dice.between(0, 3))
    tone = colour(dice, dice.of(("dark", "any", "grey", "wood")))
    texture = flat(height, width, tone) * (1 + dice.between(0, 0.08) * clouds(dice, height, width))[..., None]
    if dice.chance(0.3):
        x = int(width * dice.of((0.06, 0.9, 0.94)))
        cv2.line(texture, (x, 0), (x, height), ink_of(tone * dice.between(0.4, 1.5)), dice.whole(1, 7), cv2.LINE_AA)
    return texture.astype(np.float32), Sheet(
        rounded=dice.between(0.01, 0.05) if dice.chance(0.6) else 0.0, shadow=shadow, thick_px=dice.between(0.5, 6)
    )


def touching(dice: Dice, stage: Stage, quad: Float32) -> None:
    """A flat thing at a side of the work, along it or a little turned: a paint box, a tin, a book, a ruler, a phone.

    It lies just beside the side or a little under it, and is laid before the work.
    """
    for _ in range(2 if dice.chance(0.2) else 1):
        side, height_width = dice.whole(0, 4), size_of(quad)
        long = dice.between(0.12, 0.75)
        deep = long * dice.between(0.12, 0.8) * (height_width[side % 2] / height_width[1 - side % 2])
        start, gap = dice.between(-0.2, 1.05 - long * 0.8), dice.normal(-0.01, 0.02)
        low, high = gap, gap + float(np.clip(deep, 0.04, 0.5))
        along, across = (start, start + long), (low, high)
        boxes = {
            0: (along, (-across[1], -across[0])),
            1: ((1 + across[0], 1 + across[1]), along),
            2: (along, (1 + across[0], 1 + across[1])),
            3: ((-across[1], -across[0]), along),
        }
        (x0, x1), (y0, y1) = boxes[side]
        turn = math.radians(dice.normal(0, 2.5 if dice.chance(0.7) else 15))
        box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        at = on_plane(quad, _turned(box, turn, height_width[1] / height_width[0]))
        rounded = dice.between(0, 0.15) if dice.chance(0.5) else 0.0
        stage.lay(dice, _flat_thing(dice, *size_of(at)), at, Sheet(rounded=rounded, shadow=(0, 0.6)))


def _flat_thing(dice: Dice, height: int, width: int) -> Float32:
    """A plain lid or cover, or a box of paints with its pans."""
    made = flat(height, width, colour(dice, dice.of(("any", "light", "dark", "grey", "wood"))))
    if not dice.chance(0.5):
        return (made * (1 + dice.between(0, 0.08) * clouds(dice, height, width))[..., None]).astype(np.float32)
    rows, columns = (dice.whole(1, 4), dice.whole(3, 9)) if width > height else (dice.whole(3, 9), dice.whole(1, 4))
    rim = int(dice.between(0.03, 0.1) * min(height, width))
    ys, xs = np.linspace(rim, height - rim, rows + 1), np.linspace(rim, width - rim, columns + 1)
    for y0, y1 in itertools.pairwise(ys):
        for x0, x1 in itertools.pairwise(xs):
            near, far = (int(x0) + 1, int(y0) + 1), (int(x1) - 1, int(y1) - 1)
            cv2.rectangle(made, near, far, ink_of(colour(dice)), -1)
    return float32(made)
