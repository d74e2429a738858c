"""What works lie on or hang on: (h, w, 3) float32 RGB display values, 0..1."""

from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32

from .album import snippet
from .dice import Dice
from .pages import page
from .paint import clouds, colour, flat, ink_of


def ground(
    dice: Dice, height: int, width: int, near: Float32 | None = None, pages: bool = True, calm: bool = False
) -> Float32:
    """A desk, floor, cloth or wall; near: of nearly this colour, so that only a shadow tells the work from it.

    calm: an everyday desk, without patterns and strong colours.
    pages: whether a large page may be the ground; where there is no work it may not, for a page is one.
    """
    if near is not None:
        tone = np.clip(near * dice.between(0.9, 1.05) + dice.normals(0.012, 3), 0, 1)
        made = flat(height, width, tone) * (1 + dice.between(0, 0.03) * clouds(dice, height, width, 5, 3)[..., None])
    else:
        made = dice.weighted(_DESKS if calm else _GROUNDS if pages else _GROUNDS[:-1])(dice, height, width)
    made = made.astype(np.float32)
    if dice.chance(0.35):
        turn = cv2.getRotationMatrix2D((width / 2, height / 2), dice.between(0, 360), 1.45)
        made = cv2.warpAffine(made, turn, (width, height), borderMode=cv2.BORDER_REFLECT).astype(np.float32)
    if dice.chance(0.5):
        made = made + dice.grain(height, width, 1) * dice.between(0.003, 0.05)
    return np.ascontiguousarray(np.clip(made, 0.01, 1), np.float32)


def _wood(dice: Dice, height: int, width: int) -> Float32:
    tone = colour(dice, "wood")
    grain = cv2.resize(dice.grain(height, dice.whole(2, 12)), (width, height), interpolation=cv2.INTER_LINEAR)
    grain = cv2.GaussianBlur(grain, (0, 0), sigmaX=width / 14, sigmaY=dice.between(0.6, 3))
    shade = 1 + dice.between(0.03, 0.2) * grain / (grain.std() + 1e-6) + 0.1 * clouds(dice, height, width)
    made = flat(height, width, tone) * shade[..., None]
    if dice.chance(0.4):
        planks = dice.whole(2, 7)
        for k in range(1, planks):
            y = int(height * k / planks)
            cv2.line(made, (0, y), (width, y), ink_of(tone * 0.4), dice.whole(1, 4))
            made[int(height * (k - 1) / planks) : y] *= dice.between(0.85, 1.1)
    return made


def _plain(dice: Dice, height: int, width: int) -> Float32:
    tone = colour(dice, dice.of(("paper", "grey", "dark", "light", "any")))
    return (
        flat(height, width, tone)
        * (1 + dice.between(0, 0.12) * clouds(dice, height, width, 6, dice.whole(2, 20)))[..., None]
    )


def _quiet(dice: Dice, height: int, width: int) -> Float32:
    """A table top or board of white, grey, black or brown, smooth or a little cloudy."""
    tone = colour(dice, dice.of(("paper", "grey", "grey", "dark", "wood")))
    made = flat(height, width, tone)
    return made * (1 + dice.between(0, 0.06) * clouds(dice, height, width, 6, dice.whole(2, 20)))[..., None]


def _checked_cloth(dice: Dice, height: int, width: int) -> Float32:
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    across, down = width / dice.between(5, 50), width / dice.between(5, 50)
    sway = clouds(dice, height, width, 2, 2)
    one = 1 / (1 + np.exp(-8 * (np.sin(xs / across * 6.28 + sway) - dice.between(-0.5, 0.7))))
    two = 1 / (1 + np.exp(-8 * (np.sin(ys / down * 6.28) - dice.between(-0.5, 1.5))))
    share = np.maximum(one, two)[..., None].astype(np.float32)
    return colour(dice) * share + colour(dice) * (1 - share)


def _tiles(dice: Dice, height: int, width: int) -> Float32:
    made, joint, step = flat(height, width, colour(dice)), colour(dice), max(8, width // dice.whole(5, 36))
    for k in range(2 if dice.chance(0.4) else 1):
        made[step // 2 + k :: step] = joint
        made[:, step // 2 + k :: step] = joint
    return made


def _wall(dice: Dice, height: int, width: int) -> Float32:
    """A plaster wall, often with the floor, a ledge or a pipe."""
    made = (
        flat(height, width, colour(dice, "light"))
        * (1 + dice.between(0.01, 0.08) * clouds(dice, height, width, 7, 20))[..., None]
    )
    if dice.chance(0.5):
        y = min(int(dice.between(0.7, 1) * height), height - 3)
        made[y:] = colour(dice) * (1 + 0.1 * clouds(dice, height - y, width))[..., None]
        cv2.line(made, (0, y), (width, y), ink_of(colour(dice, "dark")), dice.whole(1, 8))
    if dice.chance(0.2):
        x = int(dice.between(0, 1) * width)
        made[:, x : x + dice.whole(3, 60)] = colour(dice)
    return made


def _dim_wall(dice: Dice, height: int, width: int) -> Float32:
    """The dark or strongly coloured wall of a show room."""
    tone = colour(dice, "any") * dice.between(0.15, 0.6)
    return flat(height, width, tone) * (1 + dice.between(0.01, 0.12) * clouds(dice, height, width, 6, 12))[..., None]


def _rough(dice: Dice, height: int, width: int) -> Float32:
    """Stone, carpet, concrete."""
    made = flat(height, width, colour(dice, dice.of(("grey", "any", "dark", "light"))))
    kind = dice.between(0, 1)
    if kind < 0.45:
        shade = dice.between(0.05, 0.4) * clouds(dice, height, width, 3, dice.whole(2, 5))
        return made * (1 + shade + dice.between(0, 0.15) * dice.grain(height, width))[..., None]
    if kind < 0.7:
        specks = cv2.GaussianBlur(dice.grain(height, width), (0, 0), dice.between(0.6, 2.5))
        return made * (1 + dice.between(0.02, 0.2) * np.clip(specks / (specks.std() + 1e-6), -2, 2))[..., None]
    return _bricks(dice, made)


def _bricks(dice: Dice, made: Float32) -> Float32:
    made = made * (1 + 0.08 * clouds(dice, *made.shape[:2], 5, 4))[..., None]
    step, joint = dice.whole(40, 200), colour(dice, "grey")
    columns = max(8, int(step * dice.between(0.5, 2)))
    for k in range(dice.whole(1, 6)):
        made[k::step] = joint
        made[:, k + step // 3 :: columns] = joint
    return made


def _photo(dice: Dice, height: int, width: int) -> Float32:
    return snippet(dice, height, width)


def _cloudy(dice: Dice, height: int, width: int) -> Float32:
    tone = colour(dice)
    return np.clip(tone + clouds(dice, height, width, 5, 3)[..., None] * (tone - 0.5), 0, 1).astype(np.float32)


def _paper(dice: Dice, height: int, width: int) -> Float32:
    return page(dice, height, width)


_GROUNDS: tuple[tuple[float, Callable[[Dice, int, int], Float32]], ...] = (
    (0.23, _wood), (0.21, _plain), (0.09, _checked_cloth), (0.07, _tiles), (0.12, _wall), (0.05, _dim_wall),
    (0.07, _rough), (0.07, _photo), (0.04, _cloudy), (0.05, _paper),
)  # fmt: skip
_DESKS: tuple[tuple[float, Callable[[Dice, int, int], Float32]], ...] = (
    (0.35, _wood), (0.4, _quiet), (0.1, _rough), (0.05, _photo), (0.1, _paper),
)  # fmt: skip
