"""Sheets of paper with drawing, writing and print: (h, w, 3) float32 RGB display values, 0..1."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32

from .dice import Dice
from .paint import clouds, colour, flat, ink_of, print_lines, strokes
from .pictures import picture
from .ruling import Ruling, diagram, rule, script

_Ink = Callable[[], AnyArray]


@dataclass(frozen=True)
class PageKind:
    """How likely a page is ruled, carries a diagram with lanes and frames, and an inset picture; its own colour."""

    ruled: float = 0.42
    diagram: float = 0.2
    inset: bool = True
    base: Float32 | None = None


def paper_colour(dice: Dice) -> Float32:
    """The colour of a sheet: mostly white or cream, now and then grey, kraft, black or coloured."""
    if dice.chance(0.82):
        return colour(dice, "paper")
    return colour(dice, "grey" if dice.chance(0.5) else "any")


def page(dice: Dice, height: int, width: int, kind: PageKind | None = None) -> Float32:
    """A sheet of paper with what is on it."""
    kind = kind or PageKind()
    base = paper_colour(dice) if kind.base is None else kind.base
    made, dark = flat(height, width, base), bool(base.mean() < 0.4)

    def ink() -> AnyArray:
        return colour(dice, "light" if dark else "dark")

    ruling = rule(dice, made, base) if dice.chance(kind.ruled) else Ruling()
    if dice.chance(0.3):
        script(dice, made, ink if dice.chance(0.8) else lambda: colour(dice), ruling)
    if dice.chance(kind.diagram):
        diagram(dice, made, ink)
    if dice.chance(0.25):
        figures(dice, made, ink, dice.whole(1, 9), dice.between(-0.05, 0.15))
    for _ in range(dice.whole(0, 4)):
        dice.weighted(_CONTENTS)(dice, made, ink, kind.inset)
    for share, change in _ASPECTS:
        if dice.chance(share):
            made = change(dice, made, base)
    return np.clip(made, 0, 1).astype(np.float32)


# --- what is on a page ----------------------------------------------------------------------------------------


def figures(dice: Dice, made: Float32, ink: _Ink, count: int, margin: float) -> None:
    """Closed wobbly shapes: filled, hatched, outlined."""
    height, width = made.shape[:2]
    angle = np.linspace(0, 6.2832, 28, endpoint=False)
    for _ in range(count):
        radius = 1 + sum(dice.normal(0, 0.28 / k) * np.cos(k * angle + dice.between(0, 6.28)) for k in range(2, 6))
        size = dice.between(0.03, 0.3) * min(height, width)
        cx, cy = dice.between(margin, 1 - margin) * width, dice.between(margin, 1 - margin) * height
        xs = np.clip(cx + radius * np.cos(angle) * size * dice.between(0.5, 1.3), margin * width, (1 - margin) * width)
        ys = np.clip(
            cy + radius * np.sin(angle) * size * dice.between(0.5, 1.3), margin * height, (1 - margin) * height
        )
        shape, kind = np.stack([xs, ys], 1).astype(np.int32), dice.between(0, 1)
        if kind < 0.35:
            under = made[int(np.clip(cy, 0, height - 1)), int(np.clip(cx, 0, width - 1))]
            cv2.fillPoly(made, [shape], ink_of(colour(dice) * 0.6 + under * 0.4), cv2.LINE_AA)
        elif kind < 0.6:
            _hatch(dice, made, shape, (cx, cy), size, ink)
        if kind > 0.3:
            cv2.polylines(made, [shape], True, ink_of(ink()), dice.whole(1, 4), cv2.LINE_AA)


def _hatch(dice: Dice, made: Float32, shape: AnyArray, centre: tuple[float, float], size: float, ink: _Ink) -> None:
    height, width = made.shape[:2]
    inside, lines = np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8)
    cv2.fillPoly(inside, [shape], 255)
    angle, gap = dice.between(0, 3.14), max(2, int(dice.between(0.008, 0.03) * width))
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    reach = int(1.5 * size / gap) + 1
    for k in range(-reach, reach):
        middle = np.array(centre) + across * (k * gap)
        start, end = (middle - along * 2 * size).astype(int), (middle + along * 2 * size).astype(int)
        cv2.line(lines, start.tolist(), end.tolist(), 255, 1, cv2.LINE_AA)
    share = (np.minimum(inside, lines).astype(np.float32) / 255 * dice.between(0.3, 1))[..., None]
    made[:] = made * (1 - share) + (ink() if dice.chance(0.6) else colour(dice)) * share


def _pencil(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    strokes(dice, made, dice.whole(5, 60), ink, (1, 3), (0.03, 0.4), dice.between(-0.02, 0.2))


def _printed(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    x0, y0 = dice.between(0.05, 0.5), dice.between(0.05, 0.5)
    box = (x0, y0, min(0.95, x0 + dice.between(0.2, 0.9)), min(0.96, y0 + dice.between(0.2, 0.9)))
    print_lines(dice, made, ink(), box, dice.whole(3, 30))


def _washes(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    height, width = made.shape[:2]
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    for _ in range(dice.whole(1, 6)):
        ragged = clouds(dice, height, width, 4, 3)
        away = ((ys / height - dice.between(0.15, 0.85)) / dice.between(0.06, 0.35)) ** 2
        away += ((xs / width - dice.between(0.15, 0.85)) / dice.between(0.06, 0.35)) ** 2
        share = cv2.GaussianBlur((away + 0.8 * ragged < 1).astype(np.float32), (0, 0), dice.between(0.7, 4))
        rim = int(dice.between(0, 0.06) * width) + 1
        share[:rim] = share[-rim:] = 0
        share[:, :rim] = share[:, -rim:] = 0
        made *= 1 - share[..., None] * dice.between(0.2, 0.9) * (1 - colour(dice))


def _inset_picture(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    height, width = made.shape[:2]
    left, top = int(dice.between(0.03, 0.25) * width), int(dice.between(0.03, 0.25) * height)
    right, low = width - int(dice.between(0.03, 0.25) * width), height - int(dice.between(0.03, 0.25) * height)
    if not inset or right - left < 10 or low - top < 10:
        return
    if dice.chance(0.7):
        made[top:low, left:right] = picture(dice, low - top, right - left)
    else:
        cv2.rectangle(made, (left, top), (right, low), ink_of(ink()), dice.whole(1, 4))


def _boxes(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    height, width = made.shape[:2]
    margin = dice.between(-0.02, 0.2)
    for _ in range(dice.whole(2, 10)):
        x, y = dice.between(margin, 0.8) * width, dice.between(margin, 0.85) * height
        far = (int(min(x + dice.between(0.05, 0.4) * width, 0.97 * width)),
               int(min(y + dice.between(0.02, 0.2) * height, 0.97 * height)))  # fmt: skip
        tone = ink_of(colour(dice) if dice.chance(0.5) else ink())
        cv2.rectangle(made, (int(x), int(y)), far, tone, -1 if dice.chance(0.4) else dice.whole(1, 3))


def _brush(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    margin = dice.between(-0.02, 0.2)
    strokes(dice, made, dice.whole(3, 25), lambda: colour(dice), (2, 12), (0.05, 0.4), margin)


def _creases(dice: Dice, made: Float32, ink: _Ink, inset: bool) -> None:
    tone = made[0, 0] * dice.between(0.7, 0.97)
    strokes(dice, made, dice.whole(1, 4), lambda: tone, (1, 3), (0.5, 1.2))


_CONTENTS: tuple[tuple[float, Callable[[Dice, Float32, _Ink, bool], None]], ...] = (
    (0.25, _pencil), (0.20, _printed), (0.17, _washes), (0.12, _inset_picture), (0.14, _boxes), (0.07, _brush),
    (0.05, _creases),
)  # fmt: skip


# --- how a page looks as a thing ------------------------------------------------------------------------------


def _band(dice: Dice, made: Float32, base: Float32) -> Float32:
    """A printed band along the upper or lower edge."""
    rows = int(dice.between(0.03, 0.3) * made.shape[0]) + 1
    made[-rows:] = made[-rows:] * 0.3 + 0.7 * colour(dice)
    return np.ascontiguousarray(made[::-1]) if dice.chance(0.4) else made


def bordered_page(dice: Dice, made: Float32, base: Float32) -> Float32:
    """A line, two lines or a painted band around the sheet near its edges: drawn on it, and never its end."""
    height, width = made.shape[:2]
    short = min(height, width)
    if short < 60:
        return made
    tone = colour(dice, "dark" if base.mean() > 0.4 else "light") if dice.chance(0.6) else colour(dice)
    wide = max(1, round(dice.between(0.01, 0.08) * short)) if dice.chance(0.4) else dice.whole(1, 3)
    drawn = made.copy()
    # Painted bands often go nearly to the sheet's edge, or over it.
    nearest = -0.02 if wide > 3 and dice.chance(0.4) else 0.015
    inset, below = dice.between(nearest, 0.1) * short + wide / 2, dice.between(1.0, 1.5)
    for depth in (inset, inset + dice.between(2, 4) * wide) if dice.chance(0.25) else (inset,):
        left, top = round(depth), round(depth)
        right, low = width - 1 - left, height - 1 - round(depth + (below - 1) * inset)
        cv2.rectangle(drawn, (left, top), (right, low), ink_of(tone), wide, cv2.LINE_AA)
    return made + (drawn - made) * np.float32(dice.between(0.4, 1))


def _holes(dice: Dice, made: Float32, base: Float32) -> Float32:
    turn = dice.whole(0, 4)
    made = np.ascontiguousarray(np.rot90(made, turn))
    height, width = made.shape[:2]
    count = dice.of((2, 3, 4, dice.whole(6, 40)))
    tone = ink_of(colour(dice) if dice.chance(0.5) else base * dice.between(0.2, 0.8))
    x = int(dice.between(0.015, 0.06) * width) + 1
    radius = max(1, min(int(dice.between(0.006, 0.018) * width) + 1, int(0.3 * height / count)))
    for k in range(count):
        cv2.circle(made, (x, int((k + 0.5) / count * height)), radius, tone, -1, cv2.LINE_AA)
    return np.ascontiguousarray(np.rot90(made, -turn))


def _shade(dice: Dice, made: Float32, base: Float32) -> Float32:
    return made * (1 + dice.between(0.01, 0.14) * clouds(dice, *made.shape[:2], 2, 2))[..., None]


def _along(made: Float32, axis: int, shade: AnyArray) -> Float32:
    shade = shade.astype(np.float32)
    return made * (shade[:, None, None] if axis == 0 else shade[None, :, None])


def _folds(dice: Dice, made: Float32, base: Float32) -> Float32:
    for _ in range(dice.whole(1, 4)):
        axis = dice.whole(0, 2)
        length = made.shape[axis]
        at = dice.of((0.5, 1 / 3, 2 / 3, dice.between(0.1, 0.9)))
        x = (np.arange(length) - length * at) / max(1.5, length * dice.between(0.003, 0.012))
        made = _along(
            made, axis, 1 - dice.between(-0.1, 0.3) * np.exp(-(x**2)) + dice.between(-0.13, 0.13) * np.tanh(x)
        )
    return made


def _crumple(dice: Dice, made: Float32, base: Float32) -> Float32:
    ridges = np.abs(clouds(dice, *made.shape[:2], 4, dice.whole(3, 8)))
    return made * (1 + dice.between(0.1, 0.5) * (ridges - 0.25).clip(-0.25, 0.2))[..., None].astype(np.float32)


def _lifted_edge(dice: Dice, made: Float32, base: Float32) -> Float32:
    for _ in range(dice.whole(1, 3)):
        axis = dice.whole(0, 2)
        x = np.arange(made.shape[axis]) / made.shape[axis]
        x = x if dice.chance(0.5) else 1 - x
        made = _along(made, axis, 1 + dice.between(-0.4, 0.15) * np.exp(-x / dice.between(0.02, 0.16)))
    return made


def _gutter(dice: Dice, made: Float32, base: Float32) -> Float32:
    axis = dice.whole(0, 2)
    length = made.shape[axis]
    x = np.abs(np.arange(length) - length * (0.5 + dice.normal(0, 0.01))) / length
    return _along(made, axis, 1 - dice.between(0.1, 0.5) * np.exp(-((x / dice.between(0.004, 0.04)) ** 2)))


_ASPECTS: tuple[tuple[float, Callable[[Dice, Float32, Float32], Float32]], ...] = (
    (0.22, bordered_page), (0.12, _band), (0.18, _holes), (0.45, _shade), (0.24, _folds), (0.10, _crumple),
    (0.20, _lifted_edge), (0.20, _gutter),
)  # fmt: skip
