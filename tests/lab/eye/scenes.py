"""Whole scenes: works on desks and walls in every state, or none at all; with the quads that count."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, UInt8

from . import SIDE_PX
from . import props as p
from .carriers import Hold, carry
from .dice import Dice
from .empties import empty
from .exposure import lit, photographed
from .frames import framed, painting
from .grounds import ground
from .lab_photos import lab_photo
from .pages import PageKind, page, paper_colour
from .paint import colour, flat, ink_of
from .poses import PHOTO_SHAPES, about_centre, in_photo, near_border, on_plane
from .seen import visible
from .stage import Sheet, Stage, seen_area, size_of
from .underlays import touching, underlays

MOST_WORKS = 3
"""So many works of one photo are told to the network."""

_NO_WORK = 0.18
# Photos rendered by the lab: ten times slower than the scenes here, and nearer to real ones in light and palette.
_BY_LAB = 0.22
# How often a thing under the work sticks out, and a flat thing touches a side: where the work lies free in the photo,
# and where it fills it.
_STICKING_OUT = (0.34, 0.16)
_TOUCHING = (0.16, 0.05)
# How often a board, a clipboard or a clear sleeve carries a sheet or a painting on paper, by how it stands.
_CARRIED = {"in": 0.27, "sliver": 0.27, "cut": 0.06}
# How often a sheet lies on a white lid, as on a flatbed or in a copier, by how it stands; and how often it is bleached.
_ON_LID = {"in": 0.1, "sliver": 0.35, "cut": 0.2}
_LID_BLEACHED = 0.8
# How often a page that the photo's border cuts, or that fills it, is scanned, and then bleached; and how often what
# lies beyond its edge is of nearly its own colour: another sheet, a pale table.
_SCANNED, _SCAN_BLEACHED = 0.3, 0.6
_NEAR_ITS_OWN = 0.4
# How often wire loops bind a page at one side.
_BOUND_BY_WIRE = 0.15
# Kinds of work, and how they stand in the photo. Paper: half of real photos of pages are cut or fill the photo.
_KINDS = ((0.55, "paper"), (0.28, "framed"), (0.17, "full"))
_MODES = {
    "paper": ((0.29, "in"), (0.09, "sliver"), (0.30, "cut"), (0.19, "whole"), (0.06, "book"), (0.07, "several")),
    "framed": ((0.84, "in"), (0.06, "sliver"), (0.06, "cut"), (0.04, "several")),
    "full": ((0.65, "in"), (0.12, "sliver"), (0.06, "cut"), (0.10, "whole"), (0.07, "several")),
}


@dataclass(frozen=True)
class Scene:
    """(S, S, 3) uint8 RGB, and the quads of the works in scene pixels, each (4, 2) float32, the main one first."""

    picture: UInt8
    works: tuple[Float32, ...]


@dataclass(frozen=True)
class _Plan:
    """What the scene shows: kind and mode of the work, the photo's shape, the sheet's colour, the ground's if near.

    calm: an everyday desk - white or grey paper on wood, grey, white or dark, with little else. lid: a white lid, from
    which a thin shadow alone tells the sheet.
    """

    kind: str
    mode: str
    photo_shape: float
    base: Float32 | None
    near: Float32 | None
    calm: bool = False
    lid: bool = False

    @property
    def paper(self) -> bool:
        return self.kind == "paper"

    @property
    def fills(self) -> bool:
        """Whether the work nearly fills the photo or more."""
        return self.mode in ("cut", "whole", "book", "sliver")


def scene(dice: Dice) -> Scene:
    """One scene; where a side of a work can't be seen at all, another is drawn: nobody can learn from it."""
    while True:
        made = _drawn(dice)
        if all(visible(made.picture, quad) for quad in made.works):
            return made


def _drawn(dice: Dice) -> Scene:
    if dice.chance(_NO_WORK):
        made, light = empty(dice)
        made = lit(dice, made, on_wall=False) if light else made
        return Scene(photographed(dice, made, bleached=0.02, dim=0.1), ())
    if dice.chance(_BY_LAB):
        picture, quad = lab_photo(dice)
        return Scene(picture, (quad,))
    plan = _plan(dice)
    quad, book = _place(dice, plan)
    stage = _surroundings(dice, plan, quad)
    _below(dice, plan, stage, quad, book)
    hold = _carried(dice, plan, stage, quad)
    _lay_work(dice, plan, stage, quad, book)
    hold()
    _above(dice, plan, stage, quad, book)
    scanned = plan.lid or (plan.paper and plan.mode in ("whole", "cut") and dice.chance(_SCANNED))
    made = stage.picture if scanned else lit(dice, stage.picture, on_wall=not plan.paper)
    dim = 0.0 if plan.lid else 0.07 if plan.paper else 0.15
    return Scene(photographed(dice, made, _bleached(plan, scanned), dim), tuple(stage.works()))


def _bleached(plan: _Plan, scanned: bool) -> float:
    """How often the white of a photo is burnt out."""
    if plan.lid or scanned:
        return _LID_BLEACHED if plan.lid else _SCAN_BLEACHED
    return (0.30 if plan.fills else 0.12) if plan.paper else 0.0


def _plan(dice: Dice) -> _Plan:
    kind = dice.weighted(_KINDS)
    mode = dice.weighted(_MODES[kind])
    base = near = None
    if kind == "paper" and dice.chance(_ON_LID.get(mode, 0.0)):
        base = np.clip(dice.between(0.88, 1) + dice.normals(0.012, 3), 0, 1).astype(np.float32)
        near = np.clip(base * np.float32(dice.between(0.96, 1.05)), 0, 1)
        return _Plan(kind, mode, dice.of(PHOTO_SHAPES), base, near, calm=True, lid=True)
    if kind == "paper" and dice.chance(0.5):
        base = colour(dice, "paper") * np.float32(dice.between(0.75, 1) if dice.chance(0.3) else 1)
        near = base * np.float32(dice.between(0.7, 1.1)) if dice.chance(_near_its_own(mode, 0.3)) else None
        return _Plan(kind, mode, dice.of(PHOTO_SHAPES), base, near, calm=True)
    if kind == "paper":
        base = paper_colour(dice) if mode == "in" or dice.chance(0.4) else colour(dice, "paper")
        near = base if dice.chance(0.2 if mode == "in" else _near_its_own(mode, 0.1)) else None
    elif kind == "framed" and dice.chance(0.14):
        near = colour(dice, dice.of(("paper", "grey", "grey")))
    return _Plan(kind, mode, dice.of(PHOTO_SHAPES), base, near)


def _near_its_own(mode: str, else_: float) -> float:
    """How often the ground is of nearly the page's colour, by how the page stands."""
    return _NEAR_ITS_OWN if mode == "cut" else else_


def _shape(dice: Dice) -> float:
    """Width to height of a work."""
    shape = math.exp(abs(dice.normal(0.33, 0.18))) if dice.chance(0.93) else dice.between(1.8, 3.2)
    return 1 / shape if dice.chance(0.55) else shape


def _roll(dice: Dice, plan: _Plan) -> float:
    if plan.kind == "framed" or (plan.kind == "full" and dice.chance(0.5)):
        return dice.normal(0, 3)
    return dice.normal(0, 5) if dice.chance(0.72) else dice.between(-45, 45)


@dataclass(frozen=True)
class _Book:
    """The side at which the other page of an open book lies, and that page's quad."""

    side: int
    quad: Float32


def _place(dice: Dice, plan: _Plan) -> tuple[Float32, _Book | None]:
    if plan.mode == "sliver":
        return near_border(dice, [False] * 4, plan.photo_shape, 0.5), None
    if plan.mode == "whole":
        return near_border(dice, [True] * 4, plan.photo_shape), None
    if plan.mode == "cut":
        count = dice.of((1, 1, 2, 2, 3)) if plan.paper else 1
        gone = dice.rng.permutation(4)[:count]
        return near_border(dice, [k in gone for k in range(4)], plan.photo_shape, 1 if dice.chance(0.6) else 2.2), None
    if plan.mode == "book":
        found = _open_book(dice, plan.photo_shape)
        if found is not None:
            return found
    fill = dice.between(0.25, 0.97) ** 0.75
    if plan.mode == "several":
        fill = dice.between(0.25, 0.5)
    return in_photo(dice, plan.photo_shape, _shape(dice), fill, _roll(dice, plan)), None


def _open_book(dice: Dice, photo_shape: float) -> tuple[Float32, _Book] | None:
    """A page with a part of the other page beside it."""
    side, cut = dice.whole(0, 4), [False] * 4
    if dice.chance(0.35):
        cut[(side + dice.whole(1, 4)) % 4] = True
    for _ in range(6):
        room, tilt = dice.between(0.06, 0.5), dice.normals(0.02, 2)
        shrink = np.array([1 - room if side % 2 else 1, 1 if side % 2 else 1 - room])
        shift = np.array([(0, room), (-room, 0), (0, -room), (room, 0)][side])
        quad = ((near_border(dice, cut, photo_shape) / SIDE_PX - 0.5) * shrink + 0.5 + shift / 2).astype(
            np.float32
        ) * SIDE_PX
        a, b = float(tilt[0]), float(tilt[1])
        other = (((0, 0), (1, 0), (1 + a, -1), (b, -1)), ((1, 0), (1, 1), (2, 1 + a), (2, b)),
                 ((0, 1), (1, 1), (1 + a, 2), (b, 2)), ((0, 0), (0, 1), (-1, 1 + a), (-1, b)))[side]  # fmt: skip
        beside = on_plane(quad, np.array(other))
        sane = np.isfinite(beside).all() and np.abs(beside).max() < 6 * SIDE_PX
        if sane and _shown(beside) < 0.62 * _shown(quad):
            return quad, _Book(side, beside)
    return None


def _shown(quad: AnyArray) -> float:
    mask = np.zeros((104, 104), np.uint8)
    cv2.fillConvexPoly(mask, (quad / 4).astype(np.int32), 1)
    return float(mask.sum()) * 16


# --- around the work ------------------------------------------------------------------------------------------


def _surroundings(dice: Dice, plan: _Plan, quad: Float32) -> Stage:
    stage = Stage(_ground(dice, plan))
    if plan.mode == "whole" or plan.lid:
        return stage
    if plan.mode == "several":
        _companions(dice, plan, stage, quad)
        return stage
    extent = float(np.ptp(quad, axis=0).max())
    if dice.chance(0.25 if plan.calm else 0.6):
        p.clutter(dice, stage, extent, dice.whole(1, 8 if plan.mode == "in" else 4))
    if not plan.paper and dice.chance(0.3):
        p.label_card(dice, stage, quad)
    if plan.kind == "framed" and dice.chance(0.4):
        p.beside_on_wall(dice, stage, quad)
    if plan.mode == "in" and dice.chance(0.16):
        p.large_neighbours(dice, stage, quad)
    if plan.mode == "in" and dice.chance(0.15):
        p.board(dice, stage, quad, on_wall=plan.kind == "framed")
    if not plan.paper and plan.mode in ("in", "sliver") and dice.chance(0.22):
        p.pilaster(dice, stage, quad)
    return stage


def _ground(dice: Dice, plan: _Plan) -> Float32:
    """What lies below everything; behind a page that fills the photo nothing of it is seen."""
    if plan.mode == "whole":
        return flat(SIDE_PX, SIDE_PX, colour(dice))
    made = ground(dice, SIDE_PX, SIDE_PX, plan.near, calm=plan.calm)
    if not plan.lid and dice.chance(0.18):
        made = _second_ground(dice, made)
    return np.ascontiguousarray(made, np.float32)


def _second_ground(dice: Dice, made: Float32) -> Float32:
    """Another ground beyond a straight line: the table's edge, the foot of a wall."""
    ys, xs = np.mgrid[0:SIDE_PX, 0:SIDE_PX].astype(np.float32)
    x, y, angle = dice.between(0, SIDE_PX), dice.between(0, SIDE_PX), dice.between(0, 6.28)
    beyond = ((xs - x) * math.cos(angle) + (ys - y) * math.sin(angle) > 0)[..., None]
    return np.where(beyond, ground(dice, SIDE_PX, SIDE_PX), made).astype(np.float32)


def _companions(dice: Dice, plan: _Plan, stage: Stage, quad: Float32) -> None:
    """Works of about the same size beside the main one, with a gap between them."""
    taken = [quad]
    for _ in range(14):
        if len(taken) > dice.whole(1, 3):
            return
        other = about_centre(quad, dice.normal(0, 0.05), dice.between(0.8, 1.2))
        other = (other - other.mean(0) + dice.uniform(0.1, 0.9, 2) * SIDE_PX).astype(np.float32)
        inside = bool((other > 4).all() and (other < SIDE_PX - 4).all())
        grown = about_centre(other, 0.0, 1.06)
        if inside and all(cv2.intersectConvexConvex(grown, q)[0] < 1 for q in taken):
            taken.append(other)
            stage.lay(dice, _texture(dice, plan, stage, other), other, _sheet(dice, plan), work=True)


def _below(dice: Dice, plan: _Plan, stage: Stage, quad: Float32, book: _Book | None) -> None:
    """What lies directly under a work on a table, and what touches its sides."""
    if plan.kind == "framed" or plan.lid or plan.mode in ("whole", "several"):
        return
    base = plan.base if plan.base is not None else colour(dice, "paper")
    if dice.chance(_STICKING_OUT[plan.fills] * (1 if plan.paper else 0.4)):
        underlays(dice, stage, quad, base)
    if plan.paper:
        _pages_below(dice, stage, quad, base, book)
    if dice.chance(_TOUCHING[plan.fills]):
        touching(dice, stage, quad)


def _carried(dice: Dice, plan: _Plan, stage: Stage, quad: Float32) -> Hold:
    share = 0.0 if plan.kind == "framed" or plan.lid else _CARRIED.get(plan.mode, 0.0)
    return carry(dice, stage, quad) if dice.chance(share if plan.paper else 0.3 * share) else lambda: None


def _pages_below(dice: Dice, stage: Stage, quad: Float32, base: Float32, book: _Book | None) -> None:
    """A cover, a pile, the other page of an open book, loose sheets."""
    if dice.chance(0.16):
        p.cover_below(dice, stage, quad)
    if dice.chance(0.7 if book else 0.12):
        p.pile_below(dice, stage, quad, base)
    if book is not None:
        height, width = size_of(book.quad)
        kind = PageKind(base=base if dice.chance(0.9) else None, inset=False)
        texture = page(dice, height, width, kind) if dice.chance(0.8) else flat(height, width, base)
        curl = abs(dice.normal(0, 0.006))
        stage.lay(dice, (texture * dice.between(0.8, 1.03)).astype(np.float32), book.quad, Sheet(curl=curl))
    if dice.chance(0.26):
        p.sheets_below(dice, stage, quad, base)


# --- the work -------------------------------------------------------------------------------------------------


def _lay_work(dice: Dice, plan: _Plan, stage: Stage, quad: Float32, book: _Book | None) -> None:
    texture = _texture(dice, plan, stage, quad)
    if book is not None:
        texture = _gutter_shade(dice, texture, book.side)
    if dice.chance(0.12 if plan.paper else 0.4):
        p.thrown_shadow(dice, stage, quad)
    stage.lay(dice, texture, quad, _sheet(dice, plan), main=True)


def _texture(dice: Dice, plan: _Plan, stage: Stage, quad: Float32) -> Float32:
    height, width = size_of(quad)
    if plan.paper:
        inset = not plan.fills or dice.chance(0.15)
        return page(
            dice, height, width, PageKind(0.6 if plan.fills else 0.42, 0.6 if plan.fills else 0.25, inset, plan.base)
        )
    if plan.kind == "framed":
        x, y = (int(np.clip(v - 6, 0, SIDE_PX - 1)) for v in quad[0])
        return framed(dice, height, width, stage.picture[y, x].copy() if dice.chance(0.25) else None)
    # A photo that fills the frame is a scene, not a work: only painted pictures may do so here.
    return painting(dice, height, width, photos=plan.mode not in ("whole", "cut"))


def _sheet(dice: Dice, plan: _Plan) -> Sheet:
    shadow = (0.0, 0.65) if plan.near is None else (0.06, 0.4) if plan.lid else (0.1, 0.65)
    if not plan.paper:
        thick = dice.between(0.5, 8) if dice.chance(0.45) else 0.0
        return Sheet(shadow=shadow, thick_px=thick, side_tone=_side_tone(dice), whole_object=True)
    wavy = dice.chance(0.07)
    curl = abs(dice.normal(0, 0.016 if wavy else 0.006)) if wavy or dice.chance(0.45) else 0.0
    return Sheet(
        rounded=dice.between(0.005, 0.06) if dice.chance(0.25) else 0.0,
        curl=curl,
        rough=0.004 if dice.chance(0.08) else 0.0,
        shadow=shadow,
        thick_px=dice.between(0.5, 6) if dice.chance(0.15) else 0.0,
    )


def _side_tone(dice: Dice) -> Float32 | None:
    """The side of a canvas: raw, white, dark, or of the picture's own mean colour."""
    return (
        colour(dice, dice.of(("paper", "dark", "wood"))) * np.float32(dice.between(0.4, 1))
        if dice.chance(0.6)
        else None
    )


def _gutter_shade(dice: Dice, texture: Float32, side: int) -> Float32:
    length = texture.shape[1] if side % 2 else texture.shape[0]
    x = np.linspace(0, 1, length, dtype=np.float32)
    x = x if side in (0, 3) else 1 - x
    shade = 1 - dice.between(0.05, 0.55) * np.exp(-((x / dice.between(0.008, 0.09)) ** dice.between(1, 2)))
    return (texture * (shade[None, :, None] if side % 2 else shade[:, None, None])).astype(np.float32)


# --- over the work --------------------------------------------------------------------------------------------


def _above(dice: Dice, plan: _Plan, stage: Stage, quad: Float32, book: _Book | None) -> None:
    if plan.paper and dice.chance(0.55 if book else _BOUND_BY_WIRE):
        p.spiral(dice, stage, quad, book.side if book else dice.whole(0, 4))
    elif book is not None and dice.chance(0.6):
        start, end = quad[book.side], quad[(book.side + 1) % 4]
        base = plan.base if plan.base is not None else colour(dice, "paper")
        points = np.round(np.clip([start, end], -3000, 3000)).astype(np.int32)
        cv2.polylines(
            stage.picture, [points], False, ink_of(base * dice.between(0.1, 0.7)), dice.whole(1, 4), cv2.LINE_AA
        )
    for share, cover in _COVERS:
        if dice.chance(share):
            cover(dice, stage, quad)


_COVERS: tuple[tuple[float, Callable[[Dice, Stage, Float32], None]], ...] = ((0.05, p.hand), (0.11, p.weights))

__all__ = ["MOST_WORKS", "Scene", "scene", "seen_area"]
