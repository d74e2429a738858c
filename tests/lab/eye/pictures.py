"""Painted and printed pictures that reach all edges: (h, w, 3) float32 RGB display values, 0..1."""

from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32

from .album import snippet
from .dice import Dice
from .paint import clouds, colour, edge_distance, flat, ink_of, strokes


def picture(dice: Dice, height: int, width: int, photos: bool = True) -> Float32:
    """A picture without bare paper; photos: whether prints of photos are among them."""
    kinds = _KINDS if photos else _KINDS[1:]
    made = dice.weighted(kinds)(dice, height, width)
    made = np.ascontiguousarray(made, np.float32)
    for share, change in _CHANGES:
        if dice.chance(share):
            made = change(dice, made)
    return np.ascontiguousarray(np.clip(made, 0, 1), np.float32)


def _print_of_photo(dice: Dice, height: int, width: int) -> Float32:
    made = snippet(dice, height, width)
    if dice.chance(0.5):
        made = np.ascontiguousarray(made[..., dice.rng.permutation(3)])
    if dice.chance(0.4):
        grey = made.mean(-1, keepdims=True)
        made = colour(dice) * (1 - grey) + colour(dice) * grey
    return np.clip(made ** dice.between(0.6, 1.7), 0, 1).astype(np.float32) * np.float32(dice.between(0.7, 1.0))


def _brushwork(dice: Dice, height: int, width: int) -> Float32:
    layers = np.stack([clouds(dice, height, width) for _ in range(3)], -1) * 0.5 * dice.between(0.4, 1)
    made = np.clip(layers + colour(dice), 0.02, 0.98).astype(np.float32)
    strokes(dice, made, dice.whole(5, 60), lambda: colour(dice), (2, 26), (0.05, 0.4))
    return made


def _shapes(dice: Dice, height: int, width: int) -> Float32:
    made = flat(height, width, colour(dice))
    for _ in range(dice.whole(2, 14)):
        points = (dice.uniform(-0.1, 1.1, (dice.whole(3, 6), 2)) * [width, height]).astype(np.int32)
        tone, kind = ink_of(colour(dice)), dice.between(0, 1)
        line = -1 if dice.chance(0.7) else dice.whole(1, 6)
        if kind < 0.4:
            cv2.fillPoly(made, [points], tone, cv2.LINE_AA)
        elif kind < 0.7:
            cv2.rectangle(made, points[0].tolist(), points[1].tolist(), tone, line)
        else:
            axes = (int(dice.between(0.03, 0.4) * width), int(dice.between(0.03, 0.4) * height))
            cv2.ellipse(made, points[0].tolist(), axes, dice.between(0, 180), 0, 360, tone, line, cv2.LINE_AA)
    return made


def _landscape(dice: Dice, height: int, width: int) -> Float32:
    made, ys = flat(height, width, colour(dice)), np.arange(height, dtype=np.float32)[:, None]
    for _ in range(dice.whole(1, 6)):
        rise = clouds(dice, 2, width, 4, 2)[0] * height * dice.between(0.01, 0.2)
        horizon = dice.between(0.1, 0.95) * height + rise
        made = np.where((ys > horizon[None])[..., None], colour(dice), made).astype(np.float32)
    return made * (1 + 0.25 * clouds(dice, height, width, 6, 4)[..., None])


def _still_life(dice: Dice, height: int, width: int) -> Float32:
    made = flat(height, width, colour(dice, "dark")) + 0.15 * clouds(dice, height, width)[..., None]
    for _ in range(dice.whole(1, 5)):
        centre = (int(dice.between(0.2, 0.8) * width), int(dice.between(0.2, 0.9) * height))
        axes = (int(dice.between(0.05, 0.25) * width), int(dice.between(0.05, 0.3) * height))
        cv2.ellipse(made, centre, axes, dice.between(0, 180), 0, 360, ink_of(colour(dice)), -1, cv2.LINE_AA)
    return cv2.GaussianBlur(made.astype(np.float32), (0, 0), dice.between(1, 4)).astype(np.float32)


def _colour_fields(dice: Dice, height: int, width: int) -> Float32:
    made, margin, count = flat(height, width, colour(dice)), dice.between(0.03, 0.1), dice.whole(1, 4)
    for k in range(count):
        top, low = int((margin + k / count) * height), int(((k + 1) / count - margin * 0.3) * height)
        cv2.rectangle(made, (int(margin * width), top), (int((1 - margin) * width), low), ink_of(colour(dice)), -1)
    made = cv2.GaussianBlur(made, (0, 0), dice.between(0.5, 3)).astype(np.float32)
    return made * (1 + 0.2 * clouds(dice, height, width)[..., None])


def _portrait(dice: Dice, height: int, width: int) -> Float32:
    made = _brushwork(dice, height, width) * dice.between(0.3, 1)
    head = (int(dice.between(0.4, 0.6) * width), int(dice.between(0.3, 0.45) * height))
    size = dice.between(0.1, 0.22) * min(height, width)
    shoulders = (head[0], int(head[1] + 3.4 * size))
    cv2.ellipse(made, shoulders, (int(2.2 * size), int(2.2 * size)), 0, 0, 360, ink_of(colour(dice)), -1, cv2.LINE_AA)
    cv2.ellipse(
        made, head, (int(0.85 * size), int(1.1 * size)), 0, 0, 360, ink_of(colour(dice, "skin")), -1, cv2.LINE_AA
    )
    return cv2.GaussianBlur(made.astype(np.float32), (0, 0), dice.between(0.6, 2)).astype(np.float32)


_Maker = Callable[[Dice, int, int], Float32]
_KINDS: tuple[tuple[float, _Maker], ...] = (
    (0.28, _print_of_photo),
    (0.20, _brushwork),
    (0.15, _shapes),
    (0.15, _landscape),
    (0.10, _still_life),
    (0.06, _portrait),
    (0.10, _colour_fields),
)


def _grain(dice: Dice, made: Float32) -> Float32:
    return np.asarray(made + dice.grain(*made.shape[:2], 1) * 0.03, np.float32)


def _panels(dice: Dice, made: Float32) -> Float32:
    """Split panels: strips of one colour across the picture."""
    height, width = made.shape[:2]
    tone, gap = colour(dice, "light" if dice.chance(0.6) else "any"), max(1, int(dice.between(0.004, 0.025) * width))
    for k in range(1, dice.whole(2, 4)):
        x = int(width * k / 3 if dice.chance(0.5) else width / 2)
        made[:, x : x + gap] = tone
    if dice.chance(0.6):
        made[height // 2 : height // 2 + gap] = tone
    return made


def _darker_rim(dice: Dice, made: Float32) -> Float32:
    distance, _ = edge_distance(*made.shape[:2])
    reach = distance / (dice.between(0.02, 0.2) * min(made.shape[:2]))
    return made * (1 - dice.between(-0.4, 0.7) * np.exp(-reach))[..., None]


def _inner_border(dice: Dice, made: Float32) -> Float32:
    """A painted or printed border just inside the edges: no frame, and never the outline."""
    height, width = made.shape[:2]
    inset = max(1, int(dice.between(0.008, 0.07) * min(height, width)))
    line = dice.whole(1, 1 + max(2, inset))
    cv2.rectangle(made, (inset, inset), (width - 1 - inset, height - 1 - inset), ink_of(colour(dice)), line)
    return made


_CHANGES: tuple[tuple[float, Callable[[Dice, Float32], Float32]], ...] = (
    (0.30, _grain), (0.10, _panels), (0.25, _darker_rim), (0.12, _inner_border),
)  # fmt: skip
