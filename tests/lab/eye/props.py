"""What lies about, over and under works: neighbours, boards, piles, spirals, hands, pens, shadows of things."""

import math

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, float32

from . import SIDE_PX
from .dice import Dice
from .frames import framed, painting
from .pages import PageKind, page
from .paint import clouds, colour, flat, ink_of, strokes, tuple_of
from .poses import about_centre, in_photo
from .stage import Sheet, Stage, size_of


def texture_of(dice: Dice, kind: str, quad: AnyArray, base: Float32 | None = None) -> Float32:
    """A page, a framed picture or a painting that suits a quad."""
    height, width = size_of(quad)
    if kind == "paper":
        return page(dice, height, width, PageKind(base=base))
    return framed(dice, height, width) if kind == "framed" else painting(dice, height, width)


def clutter(dice: Dice, stage: Stage, extent: float, count: int) -> None:
    """Pens, cups, strings and small sheets; extent: the work's, in pixels: sheets are up to three quarters of it."""
    for _ in range(count):
        kind = dice.between(0, 1)
        if kind < 0.3:
            _pen(dice, stage)
        elif kind < 0.5:
            _cup(dice, stage)
        elif kind < 0.6:
            tone = colour(dice)
            strokes(dice, stage.picture, 1, lambda tone=tone: tone, (1, 5), (0.2, 0.8))  # type: ignore[misc]
        else:
            _small_sheet(dice, stage, extent)


def _spot(dice: Dice) -> tuple[int, int]:
    return dice.whole(0, SIDE_PX), dice.whole(0, SIDE_PX)


def _pen(dice: Dice, stage: Stage) -> None:
    x, y = _spot(dice)
    end = (int(x + dice.normal(0, SIDE_PX / 6)), int(y + dice.normal(0, SIDE_PX / 6)))
    thick, tone = dice.whole(2, 12), ink_of(colour(dice))
    shade = ink_of(stage.picture[y, x] * 0.5)
    cv2.line(stage.picture, (x + 2, y + 3), (end[0] + 2, end[1] + 3), shade, thick, cv2.LINE_AA)
    cv2.line(stage.picture, (x, y), end, tone, thick, cv2.LINE_AA)
    if dice.chance(0.5):
        cap = (int(x + 0.2 * (end[0] - x)), int(y + 0.2 * (end[1] - y)))
        cv2.line(stage.picture, (x, y), cap, ink_of(colour(dice)), thick, cv2.LINE_AA)


def _cup(dice: Dice, stage: Stage) -> None:
    x, y = _spot(dice)
    radius, shade = int(dice.between(0.015, 0.09) * SIDE_PX), ink_of(stage.picture[y, x] * 0.5)
    cv2.circle(stage.picture, (x + 3, y + 3), radius + 1, shade, -1, cv2.LINE_AA)
    cv2.circle(stage.picture, (x, y), radius, ink_of(colour(dice)), -1, cv2.LINE_AA)
    if dice.chance(0.5):
        cv2.circle(
            stage.picture, (x, y), max(1, int(radius * dice.between(0.5, 0.9))), ink_of(colour(dice)), -1, cv2.LINE_AA
        )


def _small_sheet(dice: Dice, stage: Stage, extent: float) -> None:
    share = max(0.05, dice.between(0.06, 0.6) * extent / SIDE_PX)
    roll = dice.normal(0, 10) if dice.chance(0.6) else dice.between(-90, 90)
    quad = in_photo(dice, 1.0, math.exp(dice.normal(0, 0.4)), share, roll)
    quad = float32(quad - quad.mean(0) + dice.uniform(-0.1, 1.1, 2) * SIDE_PX)
    texture = texture_of(dice, dice.of(("paper", "framed", "full", "paper")), quad)
    rounded = dice.between(0, 0.08) if dice.chance(0.3) else 0.0
    stage.lay(dice, texture, quad, Sheet(rounded=rounded), work=True)


def beside_on_wall(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Framed pictures beside the work."""
    for _ in range(dice.whole(1, 3)):
        step = dice.of((-1.0, 1.0)) * dice.between(0.75, 1.3) * 1.05
        move = np.float32([step * np.ptp(quad[:, 0]), dice.normal(0, 15)])
        other = about_centre(quad, 0.0, dice.between(0.4, 0.95), move)
        stage.lay(dice, texture_of(dice, "framed", other), other, Sheet(), work=True)


def large_neighbours(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Large things that the photo's border cuts, which leave the work nearly free."""
    target = np.zeros((SIDE_PX, SIDE_PX), np.uint8)
    cv2.fillConvexPoly(target, quad.astype(np.int32), 1)
    for _ in range(dice.whole(1, 3)):
        side, fill = dice.whole(0, 4), min(0.97, dice.between(0.3, 1.1))
        other = in_photo(dice, 1.0, math.exp(dice.normal(0, 0.35)), fill, dice.normal(0, 4))
        width, height = np.ptp(other, axis=0)
        gone = 0.5 - dice.between(0.1, 0.75)
        along = SIDE_PX * dice.between(0, 1)
        middle = (
            (along, height * gone),
            (SIDE_PX - width * gone, along),
            (along, SIDE_PX - height * gone),
            (width * gone, along),
        )
        other = float32(other - (other.min(0) + other.max(0)) / 2 + middle[side])
        mask = np.zeros_like(target)
        cv2.fillConvexPoly(mask, other.astype(np.int32), 1)
        if (mask & target).sum() < 0.12 * target.sum():
            texture = texture_of(dice, dice.of(("framed", "framed", "full", "paper")), other)
            stage.lay(dice, texture, other, Sheet(shadow=(0, 0.6)), work=True)


def board(dice: Dice, stage: Stage, quad: Float32, on_wall: bool) -> None:
    """A larger plain panel, folder, mat or piece of furniture that carries the work, with its own mouldings."""
    scale = dice.between(1.4, 3.4) * dice.uniform(0.85, 1.2, 2)
    shift = dice.normals(0.12, 2) * np.ptp(quad, axis=0)
    panel = about_centre(quad, dice.normal(0, 0.05 if dice.chance(0.7) else 0.5), scale, shift)
    tone = colour(dice, dice.of(("any", "any", "dark", "light", "paper", "wood")))
    if on_wall or dice.chance(0.15):
        x, y = _spot(dice)
        tone = np.clip(stage.picture[y, x] * dice.between(0.8, 1.15) + dice.normals(0.02, 3), 0, 1).astype(np.float32)
    height, width = size_of(panel)
    texture = flat(height, width, tone) * (1 + dice.between(0, 0.08) * clouds(dice, height, width))[..., None]
    rounded = dice.between(0, 0.06) if dice.chance(0.3) else 0.0
    stage.lay(dice, texture.astype(np.float32), panel, Sheet(rounded=rounded, shadow=(0, 0.6)))
    for k in range(1, dice.whole(1, 4) if on_wall or dice.chance(0.2) else 0):
        line = about_centre(panel, 0.0, 1 - k * dice.between(0.01, 0.04))
        points = np.round(np.clip(line, -3000, 3000)).astype(np.int32)
        cv2.polylines(
            stage.picture, [points], True, ink_of(tone * dice.between(0.6, 1.25)), dice.whole(1, 4), cv2.LINE_AA
        )


def pilaster(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Upright or level bands beside a work on a wall: door frames, ledges, pilasters."""
    upright = dice.chance(0.7)
    low, high = (quad[:, 0].min(), quad[:, 0].max()) if upright else (quad[:, 1].min(), quad[:, 1].max())
    outwards = 1.0 if dice.chance(0.5) or not upright else -1.0
    x = float(high) + dice.between(2, 90) if outwards > 0 else float(low) - dice.between(2, 90)
    view = stage.picture if upright else stage.picture.transpose(1, 0, 2)
    for _ in range(dice.whole(1, 8)):
        width = dice.whole(1, 14)
        if 0 <= int(x) < SIDE_PX - width:
            view[:, int(x) : int(x) + width] *= dice.between(0.6, 1.25)
        x += (width + dice.between(0, 16)) * outwards


def label_card(dice: Dice, stage: Stage, quad: Float32) -> None:
    """A small card beside a work on a wall."""
    x = quad[1, 0] + dice.between(0.03, 0.1) * SIDE_PX
    y = quad[1, 1] + dice.between(0.2, 0.9) * np.ptp(quad[:, 1])
    size = np.array([dice.between(0.03, 0.12), dice.between(0.02, 0.1)]) * SIDE_PX
    far = (int(x + size[0]), int(y + size[1]))
    cv2.rectangle(stage.picture, (int(x), int(y)), far, ink_of(colour(dice, "paper")), -1)


def cover_below(dice: Dice, stage: Stage, quad: Float32) -> None:
    """A book's cover or a board that shows all around the page."""
    below = about_centre(quad, 0.0, dice.between(1.01, 1.12), dice.normals(3, 2))
    height, width = size_of(below)
    tone = colour(dice, dice.of(("dark", "any", "wood", "grey")))
    texture = flat(height, width, tone) * (1 + dice.between(0, 0.1) * clouds(dice, height, width))[..., None]
    stage.lay(dice, texture.astype(np.float32), below, Sheet(shadow=(0.1, 0.6)))


def pile_below(dice: Dice, stage: Stage, quad: Float32, base: Float32) -> None:
    """Pages of the same block that show as thin lines at one or two sides."""
    way = dice.normals(1, 2)
    way /= np.linalg.norm(way) + 1e-6
    height, width = size_of(quad)
    for k in range(dice.whole(1, 7), 0, -1):
        below = float32(quad + way * k * dice.between(0.5, 2.2))
        stage.lay(dice, flat(height, width, base * dice.between(0.75, 1.0)), below, Sheet(shadow=(0, 0.4)))


def sheets_below(dice: Dice, stage: Stage, quad: Float32, base: Float32) -> None:
    """Other sheets under the work, a little turned."""
    for _ in range(dice.whole(1, 3)):
        below = about_centre(
            quad, dice.normal(0, 0.06 if dice.chance(0.7) else 0.4), dice.between(0.93, 1.06), dice.normals(5, 2)
        )
        height, width = size_of(below)
        same = base if dice.chance(0.6) else None
        texture = (
            page(dice, height, width, PageKind(base=same)) if dice.chance(0.7) else flat(height, width, colour(dice))
        )
        stage.lay(dice, texture, below, Sheet())


def thrown_shadow(dice: Dice, stage: Stage, quad: Float32) -> None:
    """A hard shadow of the whole work on the wall or desk below it."""
    mask = np.zeros((SIDE_PX, SIDE_PX), np.float32)
    down = dice.between(1, 26) * (1 if dice.chance(0.85) else -1)
    points = np.round(np.clip(quad + np.float32([dice.normal(0, 5), down]), -3000, 3000)).astype(np.int32)
    cv2.fillPoly(mask, [points], 1.0, cv2.LINE_AA)
    soft = cv2.GaussianBlur(mask, (0, 0), dice.between(0.6, 4.5))
    stage.picture *= (1 - dice.between(0.15, 0.65) * soft)[..., None]


def spiral(dice: Dice, stage: Stage, quad: Float32, side: int) -> None:
    """Wire loops over one side, half on the page, half beyond."""
    start, end = quad[side], quad[(side + 1) % 4]
    outward = (start + end) / 2 - quad.mean(0)
    outward /= np.linalg.norm(outward) + 1e-6
    length = float(np.linalg.norm(end - start))
    count = int(np.clip(length / dice.between(7, 24), 8, 60))
    inner, outer = dice.between(0.012, 0.04) * SIDE_PX, dice.between(0, 0.035) * SIDE_PX
    tone = colour(dice, dice.of(("grey", "dark", "light")))
    thick = 1 if length / count < 11 else dice.whole(1, 4)
    pair = (-0.14, 0.14) if dice.chance(0.4) else (0.0,)
    for k in range(count):
        for offset in pair:
            at = start + (end - start) * ((k + 0.5 + offset) / count)
            near, far = at - outward * inner, at + outward * outer + (end - start) / length * dice.between(-1, 1)
            cv2.circle(stage.picture, tuple_of(near), max(1, thick), ink_of(_at(stage, far) * 0.5), -1, cv2.LINE_AA)
            cv2.line(stage.picture, tuple_of(near + 1), tuple_of(far + 1), ink_of(tone * 0.4), thick, cv2.LINE_AA)
            cv2.line(stage.picture, tuple_of(near), tuple_of(far), ink_of(tone), thick, cv2.LINE_AA)


def _at(stage: Stage, point: AnyArray) -> Float32:
    x, y = (int(np.clip(v, 0, SIDE_PX - 1)) for v in point)
    return stage.picture[y, x].copy()


def _on_side(dice: Dice, quad: Float32) -> tuple[AnyArray, AnyArray]:
    """A point on one of the sides and the way outward from it."""
    side, t = dice.whole(0, 4), dice.between(0.05, 0.95)
    at = np.clip(quad[side] * (1 - t) + quad[(side + 1) % 4] * t, -0.02 * SIDE_PX, 1.02 * SIDE_PX)
    outward = at - quad.mean(0)
    return at, outward / (np.linalg.norm(outward) + 1e-6)


def hand(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Fingers that hold the work at one side."""
    at, outward = _on_side(dice, quad)
    across, skin, width = np.array([-outward[1], outward[0]]), colour(dice, "skin"), dice.whole(10, 36)
    for k in range(dice.whole(1, 5)):
        tip = at - outward * dice.between(0.01, 0.13) * SIDE_PX + across * k * width * 1.05
        root = at + outward * dice.between(0.2, 0.5) * SIDE_PX + across * (k * width * 0.9 + dice.normal(0, 8))
        shade = np.clip(_at(stage, tip) * 0.55, 0, 1)
        cv2.line(stage.picture, tuple_of(tip + 3), tuple_of(root + 3), ink_of(shade), width, cv2.LINE_AA)
        cv2.line(stage.picture, tuple_of(tip), tuple_of(root), ink_of(skin * 0.8), width, cv2.LINE_AA)
        cv2.line(stage.picture, tuple_of(tip), tuple_of(root), ink_of(skin), max(1, int(width * 0.7)), cv2.LINE_AA)
        if dice.chance(0.4):
            axes, angle = (max(1, width // 3), max(1, width // 4)), math.degrees(math.atan2(outward[1], outward[0]))
            nail = ink_of(np.clip(skin * 1.15, 0, 1))
            cv2.ellipse(
                stage.picture, tuple_of(tip + outward * width * 0.15), axes, angle, 0, 360, nail, -1, cv2.LINE_AA
            )


def weights(dice: Dice, stage: Stage, quad: Float32) -> None:
    """Thumbs, pens, tape and weights over the edges."""
    for _ in range(dice.whole(1, 4)):
        at, outward = _on_side(dice, quad)
        kind = dice.between(0, 1)
        if kind < 0.4:
            root, tip = (
                at + outward * dice.between(0.1, 0.5) * SIDE_PX,
                at - outward * dice.between(0.01, 0.08) * SIDE_PX,
            )
            cv2.line(
                stage.picture,
                tuple_of(tip),
                tuple_of(root),
                ink_of(colour(dice, "skin")),
                dice.whole(12, 34),
                cv2.LINE_AA,
            )
        elif kind < 0.7:
            angle = dice.between(0, 6.28)
            way = np.array([math.cos(angle), math.sin(angle)]) * dice.between(0.05, 0.25) * SIDE_PX
            cv2.line(
                stage.picture,
                tuple_of(at - way),
                tuple_of(at + way),
                ink_of(colour(dice)),
                dice.whole(3, 10),
                cv2.LINE_AA,
            )
        else:
            box = ((float(at[0]), float(at[1])), (dice.between(8, 40), dice.between(6, 24)), dice.between(0, 180))
            cv2.fillPoly(stage.picture, [cv2.boxPoints(box).astype(np.int32)], ink_of(colour(dice)), cv2.LINE_AA)
