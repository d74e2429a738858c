"""Where a work lies in the photo: (4, 2) float32 quads in scene pixels, clockwise from the work's own top left."""

import math
from collections.abc import Sequence

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, float32

from . import SIDE_PX
from .dice import Dice

PHOTO_SHAPES = (4 / 3, 3 / 4, 16 / 9, 9 / 16, 1.0, 1.5, 2 / 3, 4 / 3, 3 / 4)
"""Width to height of photos: phones and cameras, upright and across, and squares."""


def in_photo(dice: Dice, photo_shape: float, shape: float, fill: float, roll_degrees: float) -> Float32:
    """A whole work before a pinhole camera; fill: the share of the photo's width or height it reaches at most."""
    tilt, pan, roll = np.radians([dice.normal(0, 11), dice.normal(0, 10), roll_degrees])
    turn = _about_z(roll) @ _about_x(tilt) @ _about_y(pan)
    half_w, half_h = math.sqrt(shape) / 2, 1 / math.sqrt(shape) / 2
    face = np.array([[-half_w, -half_h, 0], [half_w, -half_h, 0], [half_w, half_h, 0], [-half_w, half_h, 0]]) @ turn.T
    focal = max(photo_shape, 1.0) * dice.between(0.6, 1.1)
    near, far = 0.6, 40.0
    for _ in range(22):
        distance = math.sqrt(near * far)
        seen = _seen(face, distance, focal)
        fits = max(np.ptp(seen[:, 0]) / photo_shape, np.ptp(seen[:, 1])) < fill
        near, far = (near, distance) if fits and face[:, 2].min() + distance > 0.1 else (distance, far)
    seen = _seen(face, far, focal)
    room = np.array([photo_shape, 1.0]) - np.ptp(seen, axis=0)
    seen += np.array([photo_shape, 1.0]) / 2 - (seen.min(0) + seen.max(0)) / 2
    seen += dice.uniform(-1, 1, 2) * room * 0.5 * math.sqrt(dice.between(0, 1))
    return float32(seen / [photo_shape, 1.0] * SIDE_PX)


def _seen(face: AnyArray, distance: float, focal: float) -> AnyArray:
    points = np.add(face, [0, 0, distance])
    return points[:, :2] / np.maximum(points[:, 2:], 0.05) * focal


def _about_x(angle: float) -> AnyArray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _about_y(angle: float) -> AnyArray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def _about_z(angle: float) -> AnyArray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def near_border(dice: Dice, cut: Sequence[bool], photo_shape: float, looseness: float = 1.0) -> Float32:
    """A work that nearly fills the photo: sides that are cut (top, right, bottom, left) lie beyond its border."""
    inset = [_beyond(dice) if gone else _within(dice, looseness) for gone in cut]
    corners = (
        np.array(
            [[inset[3], inset[0]], [1 - inset[1], inset[0]], [1 - inset[1], 1 - inset[2]], [inset[3], 1 - inset[2]]]
        )
        - 0.5
    )
    angle = math.radians(dice.normal(0, 1.6 if dice.chance(0.75) else 6))
    c, s = math.cos(angle), math.sin(angle)
    corners = corners * [photo_shape, 1] @ np.array([[c, s], [-s, c]]) / [photo_shape, 1]
    lean_x, lean_y = dice.normals(0.07, 2)
    corners = np.stack(
        [corners[:, 0] * (1 + lean_x * corners[:, 1] * 2), corners[:, 1] * (1 + lean_y * corners[:, 0] * 2)], 1
    )
    return float32((corners + dice.normals(0.004, (4, 2)) + 0.5) * SIDE_PX)


def _beyond(dice: Dice) -> float:
    return -dice.between(0.003, 0.34 if dice.chance(0.75) else 0.06)


def _within(dice: Dice, looseness: float) -> float:
    return dice.between(0.004, 0.16 * looseness) * (1 if dice.chance(0.6) else 0.35)


def on_plane(quad: AnyArray, points: AnyArray) -> Float32:
    """(N, 2) points given in a work's own frame (0..1 over its sides) -> scene pixels."""
    import cv2

    unit = np.float32([[0, 0], [1, 0], [1, 1], [0, 1]])
    return float32(cv2.perspectiveTransform(float32(points)[None], cv2.getPerspectiveTransform(unit, float32(quad)))[0])


def about_centre(
    quad: AnyArray, radians: float = 0.0, scale: AnyArray | float = 1.0, shift: AnyArray | float = 0.0
) -> Float32:
    """A quad turned, scaled and moved about its own centre."""
    centre = quad.mean(0)
    c, s = math.cos(radians), math.sin(radians)
    return float32((quad - centre) * scale @ np.array([[c, s], [-s, c]]) + centre + shift)
