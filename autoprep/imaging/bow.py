"""The sides of a sheet that bend, and the map that makes them straight.

A sheet that does not lie flat, or that a lens bows, has sides that are no lines. Each is known by how far inward it
runs at a few places; what lies between two opposite sides follows both, the nearer one more (a patch after S. A. Coons,
"Surfaces for computer-aided design of space forms", MIT MAC-TR-41, 1967, from memory; its sides move across only).
"""

from dataclasses import dataclass
from typing import cast

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64

PLACES = 5
"""So many even places of a side tell its curve, its ends among them: a polynomial of the fourth degree."""


def curve(nodes: AnyArray) -> Float64:
    """(..., PLACES) values at even places 0..1 -> (..., PLACES) coefficients, of the highest power first."""
    powers = np.vander(np.linspace(0, 1, PLACES))
    return cast(Float64, np.linalg.solve(powers, np.asarray(nodes, np.float64)[..., None])[..., 0])


@dataclass(frozen=True)
class Bow:
    """Where the inside of a sheet lies in the frame of its four corners.

    sides: (4, PLACES) how far inward the sheet's edge runs, as shares of the frame's height (top and bottom) or width
    (right and left): top, right, bottom, left; top and bottom from the left, right and left from the top. frame:
    (x0, y0, width, height) of the sheet in the coordinates that are mapped.
    """

    sides: Float64
    frame: tuple[float, float, float, float]

    def moved(self, points: AnyArray) -> Float64:
        """(..., 2) points of the straight sheet -> where they lie in the frame of its four corners."""
        x0, y0, width, height = self.frame
        at = np.asarray(points, np.float64)
        u, v = np.clip((at[..., 0] - x0) / width, 0, 1), np.clip((at[..., 1] - y0) / height, 0, 1)
        top, right, bottom, left = curve(self.sides)
        across = (1 - u) * np.polyval(left, v) - u * np.polyval(right, v)
        down = (1 - v) * np.polyval(top, u) - v * np.polyval(bottom, u)
        return np.asarray(at + np.stack([across * width, down * height], axis=-1), np.float64)

    def moved_grid(self, across: AnyArray, down: AnyArray) -> tuple[Float32, Float32]:
        """The same for all of the columns (W,) and rows (H,): x and y, each (H, W)."""
        x0, y0, width, height = self.frame
        u, v = np.clip((across - x0) / width, 0, 1), np.clip((down - y0) / height, 0, 1)
        top, right, bottom, left = curve(self.sides)
        x = np.outer(np.polyval(left, v), (1 - u) * width) - np.outer(np.polyval(right, v), u * width)
        y = np.outer((1 - v) * height, np.polyval(top, u)) - np.outer(v * height, np.polyval(bottom, u))
        return (x + across).astype(np.float32), (y + down[:, None]).astype(np.float32)
