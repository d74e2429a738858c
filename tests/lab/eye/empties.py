"""Scenes without a work: rooms, desks, streets, people, screens, flat noise, and photos that packages carry."""

import itertools
from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32

from . import SIDE_PX
from .album import snippet
from .dice import Dice
from .grounds import ground
from .paint import clouds, colour, flat, ink_of, print_lines, strokes
from .props import clutter
from .stage import Stage


def _ground(dice: Dice) -> Float32:
    return ground(dice, SIDE_PX, SIDE_PX, pages=False)


def empty(dice: Dice) -> tuple[Float32, bool]:
    """(S, S, 3) float32 display values without a work, and whether light and camera are still to come."""
    kind, light = dice.weighted(_KINDS)
    return np.clip(kind(dice), 0, 1).astype(np.float32), light


def _photo(dice: Dice) -> Float32:
    made = snippet(dice, SIDE_PX, SIDE_PX, least=0.45)
    return made ** np.float32(dice.between(0.7, 1.4))


def _two_photos(dice: Dice) -> Float32:
    """One photo's things before another's: a ragged border instead of a straight one."""
    one, two = _photo(dice), _photo(dice)
    share = 1 / (1 + np.exp(-clouds(dice, SIDE_PX, SIDE_PX, 4, 2) * dice.between(10, 60)))
    return (one * share[..., None] + two * (1 - share[..., None])).astype(np.float32)


def _desk(dice: Dice) -> Float32:
    stage = Stage(_ground(dice))
    if dice.chance(0.7):
        clutter(dice, stage, SIDE_PX * 0.25, dice.whole(1, 10))
    return stage.picture


def _room(dice: Dice) -> Float32:
    """Walls, floor, ceiling, windows, doors, furniture: straight edges, but no flat work."""
    made = _ground(dice) if dice.chance(0.5) else flat(SIDE_PX, SIDE_PX, colour(dice, "light"))
    made = np.ascontiguousarray(made)
    inner = dice.uniform(0.2, 0.8, 2) * SIDE_PX
    half = dice.uniform(0.1, 0.4, 2) * SIDE_PX
    back = inner + half * np.float32([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    outer = np.array([[0, 0], [SIDE_PX, 0], [SIDE_PX, SIDE_PX], [0, SIDE_PX]], float)
    for k in range(4):
        plane = np.array([outer[k], outer[(k + 1) % 4], back[(k + 1) % 4], back[k]])
        if dice.chance(0.8):
            cv2.fillPoly(made, [plane.astype(np.int32)], ink_of(colour(dice)), cv2.LINE_AA)
    for _ in range(dice.whole(2, 14)):
        _block(dice, made)
    return made


def _block(dice: Dice, made: Float32) -> None:
    """A box seen from the front and one side: furniture, a house, a car's body."""
    x, y = dice.uniform(-0.1, 1.0, 2) * SIDE_PX
    width, height = dice.between(0.03, 0.5) * SIDE_PX, dice.between(0.03, 0.6) * SIDE_PX
    depth, tone = dice.normals(0.08, 2) * SIDE_PX, colour(dice)
    face = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)):
        side = np.array([face[a], face[b], face[b] + depth, face[a] + depth])
        cv2.fillPoly(made, [side.astype(np.int32)], ink_of(tone * dice.between(0.5, 0.9)), cv2.LINE_AA)
    cv2.fillPoly(made, [face.astype(np.int32)], ink_of(tone), cv2.LINE_AA)
    if dice.chance(0.5):  # drawers, panes
        for _ in range(dice.whole(1, 6)):
            u, v = sorted(dice.uniform(0.05, 0.95, 2)), sorted(dice.uniform(0.05, 0.95, 2))
            near = (int(x + u[0] * width), int(y + v[0] * height))
            far = (int(x + u[1] * width), int(y + v[1] * height))
            cv2.rectangle(
                made, near, far, ink_of(colour(dice)), -1 if dice.chance(0.4) else dice.whole(1, 3), cv2.LINE_AA
            )


def _street(dice: Dice) -> Float32:
    """Sky, houses with rows of windows, a road."""
    made, horizon = flat(SIDE_PX, SIDE_PX, colour(dice, "light")), dice.between(0.4, 0.85)
    made *= (1 + 0.2 * clouds(dice, SIDE_PX, SIDE_PX))[..., None]
    made[int(horizon * SIDE_PX) :] = (
        colour(dice, "grey") * (1 + 0.1 * clouds(dice, SIDE_PX - int(horizon * SIDE_PX), SIDE_PX))[..., None]
    )
    for _ in range(dice.whole(2, 8)):
        _house(dice, made, horizon)
    for _ in range(dice.whole(0, 8)):
        _person(dice, made)
    return made


def _house(dice: Dice, made: Float32, horizon: float) -> None:
    left, top = dice.between(-0.1, 0.9) * SIDE_PX, dice.between(0, horizon - 0.1) * SIDE_PX
    width, low = dice.between(0.1, 0.5) * SIDE_PX, horizon * SIDE_PX + dice.between(0, 20)
    slope, tone, pane = dice.normal(0, 0.15), colour(dice), colour(dice, "dark")
    wall = np.array([[left, top], [left + width, top + slope * width], [left + width, low], [left, low]])
    cv2.fillPoly(made, [wall.astype(np.int32)], ink_of(tone), cv2.LINE_AA)
    step_x, step_y = dice.between(9, 40), dice.between(10, 50)
    for x in np.arange(left + 4, left + width - step_x * 0.6, step_x):
        for y in np.arange(top + 5, low - step_y * 0.6, step_y):
            drop = slope * (x - left)
            far = (int(x + step_x * 0.55), int(y + drop + step_y * 0.6))
            cv2.rectangle(made, (int(x), int(y + drop)), far, ink_of(pane), -1)


def _person(dice: Dice, made: Float32) -> None:
    size = dice.between(0.02, 0.22) * SIDE_PX
    x, y = dice.uniform(0.05, 0.95, 2) * SIDE_PX
    lean = dice.normal(0, 0.2) * size
    body = (int(x + lean), int(y + 3.3 * size))
    cv2.ellipse(
        made, body, (int(1.7 * size), int(2.4 * size)), dice.normal(0, 8), 0, 360, ink_of(colour(dice)), -1, cv2.LINE_AA
    )
    for side in (-1, 1):
        hand = (int(x + side * dice.between(1, 3) * size), int(y + dice.between(2, 6) * size))
        cv2.line(
            made,
            (int(x + side * size), int(y + 2 * size)),
            hand,
            ink_of(colour(dice)),
            max(1, int(0.6 * size)),
            cv2.LINE_AA,
        )
    skin = colour(dice, "skin")
    cv2.ellipse(
        made, (int(x), int(y)), (int(0.8 * size) + 1, int(1.05 * size) + 1), 0, 0, 360, ink_of(skin), -1, cv2.LINE_AA
    )
    hair = (int(x), int(y - 0.45 * size))
    cv2.ellipse(
        made,
        hair,
        (int(0.85 * size) + 1, int(0.7 * size) + 1),
        0,
        180,
        360,
        ink_of(colour(dice, "dark")),
        -1,
        cv2.LINE_AA,
    )


def _people(dice: Dice) -> Float32:
    made = np.ascontiguousarray(_room(dice) if dice.chance(0.4) else _ground(dice))
    made = np.asarray(cv2.GaussianBlur(made, (0, 0), dice.between(0.5, 9)), np.float32)
    for _ in range(dice.whole(1, 6)):
        _person(dice, made)
    return np.asarray(cv2.GaussianBlur(made, (0, 0), dice.between(0.4, 2)), np.float32)


def _thing(dice: Dice) -> Float32:
    """A round or ragged thing on a plain ground: food, a cup, an animal, a plant."""
    made = np.ascontiguousarray(_ground(dice))
    ys, xs = np.mgrid[0:SIDE_PX, 0:SIDE_PX].astype(np.float32) / SIDE_PX
    for _ in range(dice.whole(1, 5)):
        away = ((xs - dice.between(0.2, 0.8)) / dice.between(0.1, 0.45)) ** 2 + (
            (ys - dice.between(0.2, 0.8)) / dice.between(0.1, 0.45)
        ) ** 2
        ragged = (away - 1 + dice.between(0, 1.6) * clouds(dice, SIDE_PX, SIDE_PX, 5, 3)) * dice.between(8, 60)
        share = 1 / (1 + np.exp(np.clip(ragged, -40, 40)))
        skin = (
            snippet(dice, SIDE_PX, SIDE_PX)
            if dice.chance(0.3)
            else colour(dice) * (1 + 0.4 * clouds(dice, SIDE_PX, SIDE_PX, 5, 6))[..., None]
        )
        shade = 1 - dice.between(0, 0.7) * np.clip(away, 0, 1)
        made = made * (1 - share[..., None]) + skin * (shade * share)[..., None]
    return made.astype(np.float32)


def _nature(dice: Dice) -> Float32:
    """Leaves, grass, water, sky: strokes and clouds without a border."""
    tone = colour(dice)
    made = (
        flat(SIDE_PX, SIDE_PX, tone)
        * (1 + dice.between(0.1, 0.7) * clouds(dice, SIDE_PX, SIDE_PX, 7, dice.whole(2, 12)))[..., None]
    )
    if dice.chance(0.7):
        spread = dice.between(0.02, 0.3)
        shades = [np.clip(tone * dice.between(0.4, 1.6) + dice.normals(spread, 3), 0, 1) for _ in range(8)]
        strokes(dice, made, dice.whole(30, 400), lambda: dice.of(shades), (1, 9), (0.03, 0.35), -0.1)
    if dice.chance(0.4):
        y = int(dice.between(0.2, 0.8) * SIDE_PX)
        made[:y] = colour(dice, "light") * (1 + 0.2 * clouds(dice, y, SIDE_PX))[..., None]
    return np.asarray(cv2.GaussianBlur(made.astype(np.float32), (0, 0), dice.between(0.3, 3)), np.float32)


def _screen(dice: Dice) -> Float32:
    """A screenshot: bars, rows of text and signs on one flat dark colour, to the pixel and without light.

    A light one can't be told from a scanned page, which is a work.
    """
    base = colour(dice, "dark") * 0.6
    made, ink = flat(SIDE_PX, SIDE_PX, base), colour(dice, "dark" if base.mean() > 0.4 else "light")
    y = 0
    while y < SIDE_PX:
        height = dice.whole(12, 110)
        if dice.chance(0.4):
            made[y : y + height] = colour(dice) if dice.chance(0.3) else base * dice.between(0.85, 1)
        if dice.chance(0.7):
            box = (dice.between(0.02, 0.3), y / SIDE_PX, dice.between(0.5, 0.98), min(1.0, (y + height) / SIDE_PX))
            print_lines(dice, made, ink, box, max(1, height // dice.whole(9, 24)))
        if dice.chance(0.35):
            _picture_on_screen(dice, made, y, height)
        y += height
    return made


def _picture_on_screen(dice: Dice, made: Float32, y: int, height: int) -> None:
    left = dice.whole(0, SIDE_PX // 2)
    right, low = min(SIDE_PX, left + dice.whole(10, SIDE_PX)), min(SIDE_PX, y + height)
    if right - left > 8 and low - y > 8:
        if dice.chance(0.5):
            made[y:low, left:right] = snippet(dice, low - y, right - left)
        else:
            cv2.rectangle(made, (left, y), (right, low), ink_of(colour(dice)), -1)


def _device(dice: Dice) -> Float32:
    """A lit screen that stands in a room or on a desk: a television, a monitor on its foot, an open laptop."""
    made = np.ascontiguousarray(_room(dice) if dice.chance(0.4) else _desk(dice))
    width = dice.between(0.25, 0.8) * SIDE_PX
    height = width * dice.between(0.5, 0.8)
    left, top = dice.between(0, 1) * (SIDE_PX - width), dice.between(0, 0.6) * (SIDE_PX - height)
    lean = dice.normals(0.03, (4, 2)) * SIDE_PX
    face = np.array([[left, top], [left + width, top], [left + width, top + height], [left, top + height]]) + lean
    _stand(dice, made, face)
    cv2.fillPoly(made, [face.astype(np.int32)], ink_of(colour(dice, "dark") * 0.6), cv2.LINE_AA)
    lit = (face - face.mean(0)) * (1 - dice.between(0.02, 0.09)) + face.mean(0)
    shown = _screen(dice) if dice.chance(0.4) else _photo(dice)
    corners = np.float32([[0, 0], [SIDE_PX, 0], [SIDE_PX, SIDE_PX], [0, SIDE_PX]])
    matrix = cv2.getPerspectiveTransform(corners, lit.astype(np.float32))
    glass = np.ascontiguousarray(np.clip(shown * dice.between(0.7, 1.3), 0, 1), np.float32)
    cv2.warpPerspective(glass, matrix, (SIDE_PX, SIDE_PX), made, cv2.INTER_AREA, cv2.BORDER_TRANSPARENT)
    return made


def _stand(dice: Dice, made: Float32, face: AnyArray) -> None:
    """A foot, or a keyboard with its rows of keys."""
    low, tone = (face[2] + face[3]) / 2, colour(dice, dice.of(("dark", "grey")))
    span = float(np.linalg.norm(face[2] - face[3]))
    if dice.chance(0.5):
        half, drop = span * dice.between(0.04, 0.2), span * dice.between(0.06, 0.2)
        neck = low + np.array([[-half * 0.4, -4], [half * 0.4, -4], [half, drop], [-half, drop]])
        cv2.fillPoly(made, [neck.astype(np.int32)], ink_of(tone), cv2.LINE_AA)
        return
    out, deep = span * dice.between(0.5, 0.62), span * dice.between(0.25, 0.5)
    base = np.array([face[3], face[2], low + np.array([out, deep]), low + np.array([-out, deep])])
    cv2.fillPoly(made, [base.astype(np.int32)], ink_of(tone), cv2.LINE_AA)
    keys = np.float32([[0, 0], [1, 0], [1, 1], [0, 1]])
    matrix = cv2.getPerspectiveTransform(keys, base.astype(np.float32))
    for y in np.arange(0.1, 0.6, 0.11):
        for x in np.arange(0.08, 0.9, 0.066):
            key = np.float32([[x, y], [x + 0.055, y], [x + 0.055, y + 0.09], [x, y + 0.09]])
            cv2.fillPoly(made, [cv2.perspectiveTransform(key[None], matrix)[0].astype(np.int32)], ink_of(tone * 0.6))


def _window(dice: Dice) -> Float32:
    """A window in a wall: panes full of light between bars, a sill, often curtains."""
    made = np.ascontiguousarray(flat(SIDE_PX, SIDE_PX, colour(dice, dice.of(("light", "paper", "any")))))
    left, right = sorted(dice.uniform(0.02, 0.98, 2))
    top, low = sorted(dice.uniform(0.02, 0.98, 2))
    right, low = max(right, left + 0.25), max(low, top + 0.25)
    tone, outside = colour(dice, "light"), _photo(dice) if dice.chance(0.4) else _nature(dice)
    box = [int(v * SIDE_PX) for v in (left, top, min(right, 1.2), min(low, 1.2))]
    cv2.rectangle(made, (box[0], box[1]), (box[2], box[3]), ink_of(tone), -1)
    columns, rows, bar = dice.whole(1, 4), dice.whole(1, 4), dice.whole(3, 14)
    xs, ys = np.linspace(box[0], box[2], columns + 1).astype(int), np.linspace(box[1], box[3], rows + 1).astype(int)
    for x0, x1 in itertools.pairwise(xs):
        for y0, y1 in itertools.pairwise(ys):
            pane = (slice(y0 + bar, max(y0 + bar, y1 - bar)), slice(x0 + bar, max(x0 + bar, x1 - bar)))
            made[pane] = np.clip(outside[pane] * 0.6 + 0.5, 0, 1)
    if dice.chance(0.5):
        ripple = 1 + 0.15 * np.sin(np.arange(SIDE_PX) / dice.between(2, 9))
        edge = int(dice.between(0.05, 0.35) * SIDE_PX)
        cloth = colour(dice) * ripple[:, None]
        made[:, :edge], made[:, SIDE_PX - edge :] = cloth[:edge], cloth[SIDE_PX - edge :]
    return made.astype(np.float32)


def _nothing(dice: Dice) -> Float32:
    """A finger over the lens, a pocket, the sky: one tone, noise, or black."""
    tone = colour(dice, dice.of(("dark", "any", "dark"))) * (0.2 if dice.chance(0.3) else 1.0)
    made = flat(SIDE_PX, SIDE_PX, tone) * (1 + dice.between(0, 0.5) * clouds(dice, SIDE_PX, SIDE_PX, 2, 2))[..., None]
    return (made + dice.grain(SIDE_PX, SIDE_PX, 1) * dice.between(0, 0.1)).astype(np.float32)


def _blurred(dice: Dice) -> Float32:
    made = dice.of((_desk, _room, _photo))(dice)
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(made, np.float32), (0, 0), dice.between(4, 14)), np.float32)


_KINDS: tuple[tuple[float, tuple[Callable[[Dice], Float32], bool]], ...] = (
    (0.36, (_photo, False)), (0.05, (_device, True)), (0.03, (_window, True)), (0.06, (_two_photos, True)),
    (0.10, (_desk, True)), (0.09, (_room, True)), (0.07, (_street, True)), (0.07, (_people, True)),
    (0.08, (_thing, True)), (0.06, (_nature, True)), (0.03, (_screen, False)), (0.03, (_nothing, True)),
    (0.02, (_blurred, True)),
)  # fmt: skip
