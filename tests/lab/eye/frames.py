"""Framed pictures and stretched canvases: (h, w, 3) float32 RGB display values, 0..1, up to the outer lip."""

from collections.abc import Callable

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32

from .dice import Dice
from .pages import page
from .paint import clouds, colour, edge_distance, flat, ink_of
from .pictures import picture

_MATERIALS = ("gold", "wood", "dark", "dark", "grey", "light", "any", "gold", "wood")


def framed(dice: Dice, height: int, width: int, wall: Float32 | None = None) -> Float32:
    """A picture in a frame; wall: the frame takes after this colour."""
    shortest = min(height, width)
    rail = max(2, int(shortest * dice.between(0.012, 0.4 if dice.chance(0.1) else 0.17)))
    tone = colour(dice, dice.of(_MATERIALS))
    if wall is not None:
        tone = np.clip(wall * dice.between(0.75, 1.15) + dice.normals(0.04, 3), 0, 1)
    distance, side = edge_distance(height, width)
    made = _rails(dice, tone.astype(np.float32), distance, side, rail)
    for share, change in _WORKMANSHIP:
        if dice.chance(share):
            made = change(dice, made, tone, distance, side, rail)
    if wall is not None or dice.chance(0.16):
        made = _outer_lip(dice, made, tone if wall is None else wall, distance, rail)
    inset = _mount(dice, made, distance, rail) if dice.chance(0.4) else rail
    if height - 2 * inset > 10 and width - 2 * inset > 10:
        inner = (picture if dice.chance(0.75) else page)(dice, height - 2 * inset, width - 2 * inset)
        made[inset : height - inset, inset : width - inset] = inner
    return np.clip(made, 0, 1).astype(np.float32)


def _rails(dice: Dice, tone: Float32, distance: Float32, side: AnyArray, rail: int) -> Float32:
    """Four rails, each lit in its own way, with mouldings along them."""
    made = flat(*distance.shape, tone)
    made *= (1 + dice.between(0, 0.35) * clouds(dice, *distance.shape, 6, 10))[..., None]
    made *= dice.uniform(0.75, 1.15, 4)[side][..., None]
    for _ in range(dice.whole(0, 5)):
        at, width_px = dice.between(0, 1) * rail, dice.between(0.6, max(1, rail * 0.15))
        made *= 1 + (dice.between(-0.6, 0.5) * np.exp(-(((distance - at) / width_px) ** 2)))[..., None]
    return made.astype(np.float32)


def _nested(dice: Dice, made: Float32, tone: Float32, distance: Float32, side: AnyArray, rail: int) -> Float32:
    """Mouldings of other colours inside each other."""
    for at in np.sort(dice.uniform(0, 1, dice.whole(1, 4))) * rail:
        inner = tone * dice.between(0.5, 1.4) if dice.chance(0.6) else colour(dice, dice.of(_MATERIALS))
        lit = dice.uniform(0.8, 1.1, 4)[side][..., None]
        made = np.where((distance > at)[..., None], inner * lit, made).astype(np.float32)
    return made


def _carved(dice: Dice, made: Float32, tone: Float32, distance: Float32, side: AnyArray, rail: int) -> Float32:
    """Ornament that repeats along each rail, with its own lights and shadows."""
    ys, xs = np.mgrid[0 : distance.shape[0], 0 : distance.shape[1]].astype(np.float32)
    along = np.where(side % 2 == 0, xs, ys)
    period = max(3.0, rail * dice.between(0.3, 2.0))
    phase = dice.between(0, 6.28) + dice.between(0, 3) * distance / max(rail, 1)
    relief = np.sin(along / period * 6.28 + phase) * np.sin(distance / max(rail, 1) * 3.14 * dice.whole(1, 4))
    relief = relief + dice.between(0, 0.8) * clouds(dice, *distance.shape, 5, max(4, int(max(distance.shape) / period)))
    made = made * (1 + dice.between(0.15, 0.6) * np.clip(relief, -1, 1) * (distance < rail))[..., None]
    return np.clip(made, 0, 1.2).astype(np.float32)


def _striped(dice: Dice, made: Float32, tone: Float32, distance: Float32, side: AnyArray, rail: int) -> Float32:
    ys, xs = np.mgrid[0 : distance.shape[0], 0 : distance.shape[1]].astype(np.float32)
    wave = np.sin((xs + ys) * dice.between(0.2, 1.2)) * (distance < rail)
    return (made * (1 + 0.3 * wave)[..., None]).astype(np.float32)


def _gilt_edge(dice: Dice, made: Float32, tone: Float32, distance: Float32, side: AnyArray, rail: int) -> Float32:
    """A bright inner lip: strong, and not the outline."""
    near = np.abs(distance - rail) < max(1.2, rail * dice.between(0.03, 0.12))
    return np.where(near[..., None], colour(dice, "gold" if dice.chance(0.7) else "light"), made).astype(np.float32)


_Change = Callable[[Dice, Float32, Float32, Float32, AnyArray, int], Float32]
_WORKMANSHIP: tuple[tuple[float, _Change], ...] = (
    (0.35, _nested),
    (0.28, _carved),
    (0.10, _striped),
    (0.25, _gilt_edge),
)


def _outer_lip(dice: Dice, made: Float32, tone: Float32, distance: Float32, rail: int) -> Float32:
    """A thin outer rail, often of the wall's colour, and a dark gap behind it: floating frames, tray frames."""
    lip = max(1.0, rail * dice.between(0.08, 0.5))
    gap = lip + max(1.0, rail * dice.between(0.05, 0.4)) * dice.chance(0.75)
    dark = dice.between(0.05, 0.6)
    made = np.where(((distance >= lip) & (distance < gap))[..., None], made * dark, made)
    lip_tone = np.clip(tone * dice.between(0.8, 1.15), 0, 1)
    return np.where((distance < lip)[..., None], lip_tone, made).astype(np.float32)


def _mount(dice: Dice, made: Float32, distance: Float32, rail: int) -> int:
    """A mount of card inside the frame, with the frame's shadow on it; returns its inner edge in pixels."""
    height, width = distance.shape
    inset = rail + max(2, int(min(height, width) * dice.between(0.03, 0.3)))
    made[rail : height - rail, rail : width - rail] = colour(dice, "paper" if dice.chance(0.7) else "any")
    shade = np.exp(-np.maximum(distance - rail, 0) / dice.between(1, 4)) * (distance >= rail)
    made *= 1 - (dice.between(0.1, 0.4) * shade)[..., None] * 0.6
    if dice.chance(0.5) and min(height, width) - 2 * inset > 12:
        cv2.rectangle(made, (inset - 1, inset - 1), (width - inset, height - inset), ink_of(colour(dice)), 1)
    return inset


def painting(dice: Dice, height: int, width: int, photos: bool = True) -> Float32:
    """A stretched canvas or a panel without a frame."""
    made = picture(dice, height, width, photos)
    if dice.chance(0.35):  # the weave
        ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
        period = dice.between(1.6, 4)
        made = (
            made * (1 + dice.between(0.02, 0.09) * np.sin(xs / period * 6.28) * np.sin(ys / period * 6.28))[..., None]
        )
    return np.clip(made, 0, 1).astype(np.float32)
