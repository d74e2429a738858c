"""Light over a scene and what the camera makes of it, in display values."""

import math

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, UInt8

from . import SIDE_PX
from .dice import Dice
from .paint import clouds


def _plane() -> tuple[Float32, Float32]:
    ys, xs = np.mgrid[0:SIDE_PX, 0:SIDE_PX].astype(np.float32) / SIDE_PX
    return ys, xs


def lit(dice: Dice, scene: Float32, on_wall: bool) -> Float32:
    """The scene under a light: lamps, windows, shadows of things out of sight, the lens's fall-off, a colour cast."""
    light = np.ones((SIDE_PX, SIDE_PX, 3), np.float32)
    for share, cast in _LIGHTS:
        if dice.chance(share):
            light = light * cast(dice)
    if on_wall and dice.chance(0.3):
        light = light * _lamp_above(dice)
    scene = scene * light
    if dice.chance(0.12):
        scene = scene * _flash(dice)
    if dice.chance(0.3):
        scene = scene * np.exp(dice.normals(0.13, 3))
    if dice.chance(0.15):
        scene = scene + _glare(dice)
    return scene.astype(np.float32)


def _lamp(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    x, y, height = dice.between(-1, 2), dice.between(-1, 2), dice.between(0.5, 2.5)
    falling = (height**2 / ((xs - x) ** 2 + (ys - y) ** 2 + height**2)) ** dice.between(0.3, 1.2)
    return (falling / falling.max())[..., None]


def _straight_shadow(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    angle = dice.between(0, 6.28)
    away = (xs - dice.between(0.1, 0.9)) * math.cos(angle) + (ys - dice.between(0.1, 0.9)) * math.sin(angle)
    dark = dice.between(0.1, 0.55) / (1 + np.exp(-np.clip(away / dice.between(0.003, 0.08), -40, 40)))
    return 1 - dark[..., None] * (1 - dice.uniform(0, 0.15, 3))


def _patch(dice: Dice) -> AnyArray:
    """Light through a window, or the shadow of a large thing: a polygon, soft or hard."""
    mask = np.zeros((SIDE_PX, SIDE_PX), np.float32)
    points = (dice.uniform(-0.1, 1.1, (dice.whole(3, 7), 2)) * SIDE_PX).astype(np.int32)
    cv2.fillPoly(mask, [points], 1.0, cv2.LINE_AA)
    return 1 - dice.between(-0.5, 0.5) * cv2.GaussianBlur(mask, (0, 0), dice.between(0.7, 14))[..., None]


def _fall_off(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    away = ((xs - dice.between(0.35, 0.65)) ** 2 + (ys - dice.between(0.35, 0.65)) ** 2) / 0.5
    return (1 - dice.between(0.05, 0.6) * np.clip(away, 0, 1.3) ** dice.between(0.8, 2))[..., None]


def _uneven_room(dice: Dice) -> AnyArray:
    """Two lights of two colours that mix over the scene."""
    rough = clouds(dice, 52, 52, 2, dice.whole(1, 3))
    level = _enlarged(np.exp(dice.between(0.05, 0.55) * rough).astype(np.float32))
    return level[..., None] * (1 + _enlarged(rough)[..., None] * dice.normals(0.06, 3))


def _enlarged(small: Float32) -> Float32:
    return np.asarray(cv2.resize(small, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_LINEAR), np.float32)


def _shadow_of_person(dice: Dice) -> AnyArray:
    """The shadow of the phone, an arm or a head."""
    mask, at = np.zeros((104, 104), np.float32), dice.uniform(-0.1, 1.1, 2) * 104
    start = (int(at[0]), int(at[1]))
    if dice.chance(0.5):
        axes = (dice.whole(10, 60), dice.whole(8, 40))
        cv2.ellipse(mask, start, axes, dice.between(0, 180), 0, 360, 1.0, -1)
    else:
        end = (dice.whole(-20, 125), dice.whole(-20, 125))
        cv2.line(mask, start, end, 1.0, dice.whole(8, 50))
    soft = np.asarray(cv2.GaussianBlur(mask, (0, 0), dice.between(1, 14)), np.float32)
    return 1 - dice.between(0.1, 0.55) * _enlarged(soft)[..., None]


_LIGHTS = ((0.7, _lamp), (0.3, _straight_shadow), (0.2, _patch), (0.35, _fall_off), (0.4, _uneven_room),
           (0.22, _shadow_of_person))  # fmt: skip


def _lamp_above(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    across = ((xs - dice.between(0.2, 0.8)) / dice.between(0.15, 0.5)) ** 2
    down = ((ys - dice.between(-0.1, 0.5)) / dice.between(0.2, 0.8)) ** 2
    return (dice.between(0.4, 0.8) + dice.between(0.2, 0.7) * np.exp(-across - down))[..., None]


def _flash(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    away = (xs - dice.between(0.2, 0.8)) ** 2 + (ys - dice.between(0.2, 0.8)) ** 2
    return (dice.between(0.45, 0.9) + dice.between(0.2, 1.0) * np.exp(-away / dice.between(0.01, 0.12)))[..., None]


def _glare(dice: Dice) -> AnyArray:
    ys, xs = _plane()
    across = ((xs - dice.between(0.1, 0.9)) / dice.between(0.02, 0.15)) ** 2
    down = ((ys - dice.between(0.1, 0.9)) / dice.between(0.02, 0.15)) ** 2
    return (dice.between(0.1, 0.9) * np.exp(-across - down))[..., None]


def photographed(dice: Dice, scene: Float32, bleached: float, dim: float) -> UInt8:
    """(S, S, 3) uint8 RGB: exposure, tone, sharpening, blur and JPEG of a phone's camera.

    bleached: the share of photos whose paper the camera or an app burnt out; dim: the share taken in little light.
    """
    if dice.chance(0.6):  # exposure by the bright parts, as cameras do
        scene = scene * (dice.between(0.55, 1.05) / max(0.05, float(np.percentile(scene[::6, ::6], 96))))
    gain = dice.between(0.75, 1.15) if dice.chance(0.75) else dice.between(0.4, 1.5)
    if dice.chance(0.3):
        scene = _local_contrast(dice, scene)
    scene = scene * gain
    if dice.chance(dim):
        scene = scene * dice.between(0.25, 0.7) + dice.grain(SIDE_PX, SIDE_PX, 3) * dice.between(0.005, 0.03)
    if dice.chance(bleached):
        scene = (scene - dice.between(0, 0.2)) * dice.between(1.2, 2.2)
    scene = np.maximum(scene, 0)
    if dice.chance(0.3):
        scene = scene / (1 + dice.between(0.1, 0.6) * scene) * 1.2
    codes = (_optics(dice, np.clip(scene, 0, 1).astype(np.float32)) * 255).astype(np.uint8)
    return _compressed(dice, codes) if dice.chance(0.45) else codes


def _local_contrast(dice: Dice, scene: Float32) -> Float32:
    small = cv2.resize(scene, (104, 104), interpolation=cv2.INTER_AREA)
    around = _enlarged(np.asarray(cv2.GaussianBlur(small, (0, 0), dice.between(3, 16)), np.float32))
    if dice.chance(0.5):
        return scene + dice.between(-0.25, 0.7) * (scene - around)
    lift = np.clip((0.35 + dice.between(0, 0.4)) / (around + 0.1), 0.5, 2.2) ** dice.between(0.2, 0.7)
    return np.asarray(scene * lift, np.float32)


def _optics(dice: Dice, scene: Float32) -> Float32:
    if dice.chance(0.2):
        soft = cv2.GaussianBlur(scene, (0, 0), dice.between(0.8, 2))
        scene = np.clip(scene + dice.between(0.3, 1.5) * (scene - soft), 0, 1).astype(np.float32)
    if dice.chance(0.5):
        radius = dice.between(0.4, 1.6) if dice.chance(0.85) else dice.between(1.6, 3.2)
        scene = np.asarray(cv2.GaussianBlur(scene, (0, 0), radius), np.float32)
    if dice.chance(0.07):  # motion
        length = dice.whole(3, 10)
        kernel = np.zeros((length, length), np.float32)
        cv2.line(kernel, (0, dice.whole(0, length)), (length - 1, dice.whole(0, length)), 1.0)
        kernel = kernel if dice.chance(0.5) else kernel.T.copy()
        scene = np.asarray(cv2.filter2D(scene, -1, kernel / kernel.sum()), np.float32)
    return scene


def _compressed(dice: Dice, codes: UInt8) -> UInt8:
    quality = dice.whole(12 if dice.chance(0.2) else 35, 95)
    _, data = cv2.imencode(".jpg", codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[..., ::-1].copy()
