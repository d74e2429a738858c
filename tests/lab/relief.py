"""Sheets that do not lie flat: how far each place of one rises from the table, and what that does to the picture.

What is held is the height alone, in mm; that a bent sheet reaches less far along the table is left out: at the slopes
here it is less than a thousandth of the side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .camera import Camera, Matrix
from .colour import Array

RELIEFS = ("flat", "arch", "hollow", "curl", "corner")


@dataclass(frozen=True)
class Relief:
    """shape: one of RELIEFS; height_mm: of the highest place; turn_deg: the direction in which the height changes.

    An arch rises in the middle, a hollow at both ends, a curl at one end, a corner at one corner (the one that
    turn_deg points to).
    """

    shape: str = "flat"
    height_mm: float = 0.0
    turn_deg: float = 0.0
    half_mm: tuple[float, float] = (1.0, 1.0)

    def rise(self, points_mm: Matrix) -> Array:
        """(..., 2) places on the sheet -> (...) mm above the table; beyond the sheet as at its edge."""
        half = np.array(self.half_mm)
        x, y = np.moveaxis(np.clip(np.asarray(points_mm), -half, half) / half, -1, 0)
        a = np.radians(self.turn_deg)
        along = x * np.cos(a) + y * np.sin(a)
        if self.shape == "flat":
            return np.zeros(along.shape, np.float32)
        if self.shape in ("arch", "hollow"):
            bent = (along / max(abs(np.cos(a)) + abs(np.sin(a)), 1e-6)) ** 2
            return np.asarray(self.height_mm * (1 - bent if self.shape == "arch" else bent), np.float32)
        from_where = 0.0 if self.shape == "curl" else 0.35
        reach = abs(np.cos(a)) + abs(np.sin(a))
        part = np.clip((along / reach - from_where) / (1 - from_where), 0, 1)
        return np.asarray(self.height_mm * part**2, np.float32)

    def raised(self, points_mm: Matrix) -> Matrix:
        """(..., 2) places on the sheet -> (..., 3) where they are in the world."""
        return np.concatenate([points_mm, -np.asarray(self.rise(points_mm), np.float64)[..., None]], axis=-1)

    def seen_at(self, camera: Camera, d: Matrix) -> Matrix:
        """(..., 2) picture coordinates -> (..., 2) the place of the sheet that is seen there, in mm."""
        place = camera.onto_plane(d, 0.0)
        if self.shape == "flat":
            return place
        for _ in range(8):  # the height changes slowly: each round is some ten times as near
            place = camera.onto_plane(d, -np.asarray(self.rise(place), np.float64)[..., None])
        return place


FLAT = Relief()
