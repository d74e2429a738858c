"""The pinhole camera: pose, projection, residual lens distortion, and maps from picture to plane.

World: millimetres, the work's centre at the origin, x to the right and y down along the work, z away from the
camera. Picture coordinates are in units of half the picture's diagonal, from its centre.
Distortion: an undistorted offset u belongs to the distorted offset d by u = d (1 + k1 |d|^2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .colour import Array

Matrix = NDArray[Any]  # float64
HALF_DIAGONAL_MM35 = float(np.hypot(36, 24) / 2)


def rotation(tilt_deg: float, pan_deg: float, roll_deg: float) -> Matrix:
    """(3, 3) rotation world -> camera: tilt about x, then pan about y, then roll about the optical axis."""
    a, b, c = np.radians([tilt_deg, pan_deg, roll_deg])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return np.asarray(about_z @ about_y @ about_x)


@dataclass(frozen=True)
class Camera:
    """A camera in place; `focal` in half diagonals, `shift_mm` the work's centre in camera coordinates."""

    rotation: Matrix
    shift_mm: Matrix
    focal: float
    k1: float
    aspect: float  # width : height

    def frame_px(self, long_side_px: int) -> tuple[int, int]:
        """(height, width) of the picture in pixels."""
        if self.aspect >= 1:
            return round(long_side_px / self.aspect), long_side_px
        return long_side_px, round(long_side_px * self.aspect)

    def project(self, points_mm: Matrix) -> Matrix:
        """(..., 3) world mm -> (..., 2) distorted picture coordinates."""
        p = np.asarray(points_mm) @ self.rotation.T + self.shift_mm
        u = self.focal * p[..., :2] / p[..., 2:]
        d = u.copy()
        for _ in range(12):  # fixed point: |k1| is a few percent at most
            d = u / (1 + self.k1 * (d**2).sum(axis=-1, keepdims=True))
        return np.asarray(d)

    def to_pixels(self, d: Matrix, frame_px: tuple[int, int]) -> Matrix:
        """(..., 2) picture coordinates -> continuous pixel coordinates (pixel (i, j) has its centre at j+.5, i+.5)."""
        height_px, width_px = frame_px
        return np.asarray(d * np.hypot(width_px, height_px) / 2 + np.array([width_px / 2, height_px / 2]))

    def onto_plane(self, d: Matrix, z_mm: float | Matrix) -> Matrix:
        """(..., 2) picture coordinates -> (..., 2) mm on the plane at depth z, one or (..., 1) for each."""
        u = d * (1 + self.k1 * (d**2).sum(axis=-1, keepdims=True))
        ray = np.concatenate([u, np.full((*u.shape[:-1], 1), self.focal)], axis=-1) @ self.rotation
        origin = -self.shift_mm @ self.rotation
        reach = (z_mm - origin[2]) / np.maximum(ray[..., 2:], 1e-3)
        return np.asarray(origin[:2] + ray[..., :2] * reach)

    def lattice(self, frame_px: tuple[int, int], step_px: float) -> Matrix:
        """(h, w, 2) picture coordinates of a lattice of cell centres, one cell beyond the picture on each side."""
        height_px, width_px = frame_px
        rows, columns = int(np.ceil(height_px / step_px)) + 2, int(np.ceil(width_px / step_px)) + 2
        y = (np.arange(rows) - 0.5) * step_px - height_px / 2
        x = (np.arange(columns) - 0.5) * step_px - width_px / 2
        return np.asarray(np.stack(np.meshgrid(x, y), axis=-1) / (np.hypot(width_px, height_px) / 2))


def spread(values: Array, frame_px: tuple[int, int], step_px: int) -> Array:
    """Values on Camera.lattice (h, w[, c]) -> every pixel (H, W[, c]), linear between the lattice points."""
    rows, columns = values.shape[:2]
    wide = cv2.resize(values, (columns * step_px, rows * step_px), interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide[step_px : step_px + frame_px[0], step_px : step_px + frame_px[1]], np.float32)


def place(
    size_mm: tuple[float, float], turn: Matrix, focal_mm35: float, k1: float, aspect: float, fill: float,
    offset: tuple[float, float], beyond: tuple[float, float] = (0.0, 0.0),
) -> Camera:  # fmt: skip
    """Move the camera so that the work spans `fill` of the picture, off centre by `offset` -1..1 of the free room.

    beyond: moved on by so much of the picture's half width and height, room or not, so that its border cuts the work.
    """
    half_w, half_h = aspect / np.hypot(aspect, 1), 1 / np.hypot(aspect, 1)
    w, h = size_mm
    corners = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2
    focal = focal_mm35 / HALF_DIAGONAL_MM35
    shift = np.array([0.0, 0.0, 3.0 * float(np.hypot(w, h))])
    for _ in range(40):
        seen = Camera(turn, shift, focal, k1, aspect).project(corners)
        low, high = seen.min(axis=0), seen.max(axis=0)
        share = float(max((high[0] - low[0]) / (2 * half_w), (high[1] - low[1]) / (2 * half_h)))
        room = np.maximum(np.array([half_w, half_h]) - (high - low) / 2, 0)
        aim = room * np.array(offset) + np.array([half_w, half_h]) * beyond
        miss = aim - (low + high) / 2
        shift = shift + np.array([miss[0], miss[1], 0]) * shift[2] / focal
        shift = shift * (share / fill) ** 0.8
    return Camera(turn, shift, focal, k1, aspect)
