"""Colours and the plainest textures of generated scenes: (h, w, 3) float32 RGB display values, 0..1."""

import math
from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32

from .dice import Dice

_WOODS = ((0.62, 0.45, 0.30), (0.80, 0.66, 0.48), (0.40, 0.27, 0.18), (0.25, 0.16, 0.12), (0.75, 0.55, 0.35),
          (0.82, 0.72, 0.60))  # fmt: skip


def ink_of(colour: AnyArray) -> tuple[float, float, float]:
    """A colour as the drawing functions want it."""
    return float(colour[0]), float(colour[1]), float(colour[2])


def colour(dice: Dice, family: str = "any") -> Float32:
    """(3,) a colour of a family: paper, light, dark, grey, wood, gold, skin, or any."""
    return _FAMILIES[family](dice)


def _paper(dice: Dice) -> Float32:
    value = dice.between(0.82, 1)
    warm = dice.between(0, 0.10) * dice.chance(0.6)
    return np.float32([value, value - dice.between(0, 0.04), value - warm])


def _grey(dice: Dice) -> Float32:
    value = dice.between(0.1, 1)
    return np.clip(np.float32([value] * 3) + dice.normals(0.02, 3), 0, 1)


def _wood(dice: Dice) -> Float32:
    return np.clip(np.float32(dice.of(_WOODS)) * dice.between(0.8, 1.2) + dice.normals(0.03, 3), 0, 1).astype(
        np.float32
    )


def _gold(dice: Dice) -> Float32:
    base = np.float32([0.7, 0.5, 0.2]) * dice.between(0.35, 1.3)
    return np.clip(base + dice.normals(0.06, 3), 0, 1).astype(np.float32)


def _skin(dice: Dice) -> Float32:
    return np.clip(np.float32([0.82, 0.57, 0.43]) * dice.between(0.3, 1.15), 0, 1).astype(np.float32)


def _any(dice: Dice) -> Float32:
    raw = dice.uniform(0.02, 1, 3)
    mean = raw.mean()
    return (mean + (raw - mean) * np.float32(dice.between(0, 1) ** 0.7)).astype(np.float32)


_FAMILIES: dict[str, Callable[[Dice], Float32]] = {
    "paper": _paper,
    "light": lambda dice: dice.uniform(0.65, 1, 3),
    "dark": lambda dice: dice.uniform(0.02, 0.3, 3),
    "grey": _grey,
    "wood": _wood,
    "gold": _gold,
    "skin": _skin,
    "any": _any,
}


def flat(height: int, width: int, tone: AnyArray) -> Float32:
    """One colour all over."""
    return np.ones((height, width, 3), np.float32) * np.asarray(tone, np.float32)


def clouds(dice: Dice, height: int, width: int, octaves: int = 4, cells: int = 3, falloff: float = 0.5) -> Float32:
    """(h, w) fractal noise of about -1..1: cells across in the coarsest octave, each octave twice as fine."""
    total, strength, longest = np.zeros((height, width), np.float32), 1.0, max(height, width)
    for octave in range(octaves):
        count = cells * 2**octave
        if count > longest:
            break
        grid = dice.grain(max(2, int(count * height / longest) + 2), max(2, int(count * width / longest) + 2))
        smooth = cv2.INTER_LINEAR if count > 24 else cv2.INTER_CUBIC
        total += strength * cv2.resize(grid, (width, height), interpolation=smooth)
        strength *= falloff
    return total / (np.abs(total).max() + 1e-6)


def strokes(
    dice: Dice, picture: AnyArray, count: int, ink: Callable[[], AnyArray], widths: tuple[int, int] = (1, 4),
    lengths: tuple[float, float] = (0.05, 0.4), margin: float = 0.0,
) -> None:  # fmt: skip
    """Bent strokes drawn into a picture; lengths and margin are shares of its sides."""
    height, width = picture.shape[:2]
    along = np.linspace(0, 1, 10)
    for _ in range(count):
        length, angle, bend = dice.between(*lengths) * max(height, width), dice.between(0, 6.28), dice.normal(0, 1.2)
        x0, y0 = dice.between(margin, 1 - margin) * width, dice.between(margin, 1 - margin) * height
        xs = np.clip(x0 + length * along * np.cos(angle + bend * along), margin * width, (1 - margin) * width)
        ys = np.clip(y0 + length * along * np.sin(angle + bend * along), margin * height, (1 - margin) * height)
        line = np.stack([xs, ys], 1).astype(np.int32)
        cv2.polylines(picture, [line], False, ink_of(ink()), dice.whole(*widths), cv2.LINE_AA)


def print_lines(
    dice: Dice, picture: AnyArray, ink: AnyArray, box: tuple[float, float, float, float], rows: int
) -> None:
    """Rows of print in a box (x0, y0, x1, y1 as shares of the sides); small print becomes dashes."""
    height, width = picture.shape[:2]
    x0, y0, x1, y1 = box
    size = dice.between(0.25, 0.6) * (y1 - y0) * height / rows / 14
    for row in range(rows):
        if dice.chance(0.12):
            continue
        y = int((y0 + (y1 - y0) * (row + 0.5) / rows) * height)
        end = int((x0 + (x1 - x0) * dice.between(0.5, 1)) * width)
        if size < 0.28:
            _dashes(dice, picture, ink, int(x0 * width), end, y)
        else:
            _letters(dice, picture, ink, int(x0 * width), end, y, size)


def _dashes(dice: Dice, picture: AnyArray, ink: AnyArray, x: int, end: int, y: int) -> None:
    while x < end:
        length = dice.whole(3, 18)
        cv2.line(picture, (x, y), (min(x + length, end), y), ink_of(ink), 1, cv2.LINE_AA)
        x += length + dice.whole(2, 5)


def _letters(dice: Dice, picture: AnyArray, ink: AnyArray, x: int, end: int, y: int, size: float) -> None:
    count = max(2, int((end - x) / (size * 18)))
    text = "".join(" " if dice.chance(0.17) else chr(dice.whole(97, 123)) for _ in range(count))
    top, bottom = max(0, int(y - 36 * size)), min(picture.shape[0], int(y + 16 * size) + 2)
    if bottom <= top:
        return
    mask = np.zeros((bottom - top, picture.shape[1]), np.uint8)  # the library draws letters on 8 bits only
    cv2.putText(mask, text, (x, y - top), dice.whole(0, 8), size, 255, 1, cv2.LINE_AA)
    share = (mask.astype(np.float32) / 255)[..., None]
    picture[top:bottom] = picture[top:bottom] * (1 - share) + ink * share


def edge_distance(height: int, width: int) -> tuple[Float32, AnyArray]:
    """(h, w) distance to the nearest side in pixels, and which side that is: 0 top, 1 right, 2 bottom, 3 left."""
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    each = np.stack([ys, width - 1 - xs, height - 1 - ys, xs])
    return each.min(0), each.argmin(0)


def tuple_of(point: AnyArray) -> tuple[int, int]:
    """A point as whole pixels."""
    return int(point[0]), int(point[1])


def turned(points: AnyArray, radians: float) -> AnyArray:
    """(N, 2) points turned about the origin."""
    cosine, sine = math.cos(radians), math.sin(radians)
    return points @ np.array([[cosine, sine], [-sine, cosine]])
