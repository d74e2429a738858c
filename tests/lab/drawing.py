"""Strokes and filled shapes in millimetres on 8-bit masks; curves, hatching and the hand's tremor."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .colour import Mask

Points = NDArray[Any]  # float64 (N, 2)
SHIFT = 4  # binary digits of sub-pixel precision for the rasteriser


@dataclass(frozen=True)
class Grid:
    """The pixel grid of a work: size in mm and pixels per mm."""

    size_mm: tuple[float, float]
    px_per_mm: float

    @property
    def shape_px(self) -> tuple[int, int]:
        """(height, width) in pixels."""
        width_mm, height_mm = self.size_mm
        return max(8, round(height_mm * self.px_per_mm)), max(8, round(width_mm * self.px_per_mm))

    def mask(self) -> Mask:
        """(H, W) uint8 of zeros."""
        return np.zeros(self.shape_px, np.uint8)

    def fixed(self, points_mm: Points) -> NDArray[np.int32]:
        """(N, 2) mm -> (N, 2) int32 fixed-point pixel coordinates as the rasteriser wants them."""
        px = np.asarray(points_mm) * self.px_per_mm - 0.5
        return np.asarray((np.minimum(np.maximum(px, -30000), 60000) * (1 << SHIFT)).round().astype(np.int32))


def spline(points: Points, steps: int = 8, closed: bool = False) -> Points:
    """(N, 2) knots -> (M, 2) points of the Catmull-Rom curve through them."""
    p = np.asarray(points, np.float64)
    n = len(p)
    if n < 3:
        return p
    padded = np.empty((n + 3 if closed else n + 2, 2))
    padded[1 : n + 1] = p
    if closed:
        padded[0], padded[-2], padded[-1] = p[-1], p[0], p[1]
    else:
        padded[0], padded[-1] = 2 * p[0] - p[1], 2 * p[-1] - p[-2]
    t, square, cube = _powers(steps)
    a, b, c, d = padded[:-3], padded[1:-2], padded[2:-1], padded[3:]
    curve = 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * square + (3 * b - a - 3 * c + d) * cube)
    flat = curve.transpose(1, 0, 2).reshape(-1, 2)
    return flat if closed else np.concatenate([flat, p[-1:]])


@cache
def _powers(steps: int) -> tuple[Points, Points, Points]:
    """(steps, 1, 1) each: places along a piece of curve, their squares and cubes."""
    t = np.linspace(0, 1, steps, endpoint=False)[:, None, None]
    return t, t**2, t**3


def trembled(points: Points, amount: float, rng: np.random.Generator) -> Points:
    """(N, 2) -> (N, 2) moved by a smooth random wander of sd `amount` (same unit): no hand is a ruler."""
    n = len(points)
    if n < 2 or amount <= 0:
        return points
    knots = max(2, n // 4 + 1)
    wander = rng.normal(0, amount, (knots, 2))
    at = np.linspace(0, knots - 1, n)
    moved = [np.interp(at, np.arange(knots), wander[:, axis]) for axis in (0, 1)]
    return np.asarray(points + np.stack(moved, axis=1))


def stroke(grid: Grid, mask: Mask, points_mm: Points, width_mm: float, value: int = 255, taper: float = 0.0) -> None:
    """Draw a line (N, 2) in mm into (H, W) uint8; `taper` 0..1 thins its two ends."""
    fixed = grid.fixed(points_mm)
    n = len(fixed)
    if n < 2:
        return
    if taper <= 0 or n < 5:
        _run(mask, fixed, width_mm * grid.px_per_mm, value)
        return
    widths = width_mm * grid.px_per_mm * (1 - taper * _towards_ends(n))
    level = np.maximum(1, widths.round())
    cuts = (level[1:] != level[:-1]).nonzero()[0] + 1
    for first, last in itertools.pairwise([0, *cuts.tolist(), n]):
        part = fixed[max(0, first - 1) : last]
        # As .mean() does it, without what that looks at first: most of its time for a few numbers.
        _run(mask, part, float(np.add.reduce(widths[first:last])) / (last - first), value)


@lru_cache(maxsize=1024)
def _towards_ends(n: int) -> Points:
    """(n,) 0 in the middle of a stroke, 1 at its two ends."""
    return np.asarray(np.abs(np.linspace(-1, 1, n)) ** 2.5)


def _run(mask: Mask, fixed: NDArray[np.int32], width_px: float, value: int) -> None:
    """One run of constant width; a line thinner than a pixel is drawn fainter instead."""
    thickness = max(1, round(width_px))
    shade = round(value * min(1.0, max(0.15, width_px / thickness)))
    cv2.polylines(mask, [fixed], False, shade, thickness, cv2.LINE_AA, SHIFT)


def fill(grid: Grid, mask: Mask, outline_mm: Points, value: int = 255) -> None:
    """Fill a closed outline (N, 2) in mm in (H, W) uint8."""
    cv2.fillPoly(mask, [grid.fixed(outline_mm)], value, cv2.LINE_AA, SHIFT)


def dot(grid: Grid, mask: Mask, centre_mm: Points, radius_mm: float, value: int = 255) -> None:
    """Fill a small disc."""
    x, y = (int(v) for v in grid.fixed(np.asarray(centre_mm)[None])[0])
    radius = max(1 << (SHIFT - 1), round(radius_mm * grid.px_per_mm * (1 << SHIFT)))
    cv2.circle(mask, (x, y), radius, value, -1, cv2.LINE_AA, SHIFT)


def ellipse(centre: tuple[float, float], radii: tuple[float, float], angle_rad: float = 0.0, n: int = 28) -> Points:
    """(n, 2) points of an ellipse."""
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    x, y = radii[0] * np.cos(t), radii[1] * np.sin(t)
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.stack([centre[0] + c * x - s * y, centre[1] + s * x + c * y], axis=1)


def hatch(outline: Points, angle_rad: float, spacing: float, share: float, rng: np.random.Generator) -> list[Points]:
    """Closed outline (N, 2) -> hatching lines inside it, keeping the last `share` 0..1 of each scan.

    The kept end is the one the angle points to, so turning the angle by pi shades the other side.
    """
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    turn = np.array([[c, -s], [s, c]])
    p = np.asarray(outline) @ turn  # rotate by -angle: hatching runs along +x
    q = np.roll(p, -1, axis=0)
    lines: list[Points] = []
    heights = np.arange(p[:, 1].min() + spacing * rng.uniform(0.2, 0.8), p[:, 1].max(), spacing)
    # All crossings of all scans at once: the scans of a drawing are tens of thousands.
    scan, edge = ((p[:, 1] <= heights[:, None]) != (q[:, 1] <= heights[:, None])).nonzero()
    a, b = p[edge], q[edge]
    met = a[:, 0] + (heights[scan] - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    crossings = np.split(met, np.searchsorted(scan, np.arange(len(heights))))[1:]
    for y, crossing in zip(heights.tolist(), crossings, strict=True):
        if len(crossing) < 2:
            continue
        xs = sorted(crossing.tolist())
        for x0, x1 in zip(xs[0::2], xs[1::2], strict=False):
            start = x1 - (x1 - x0) * min(max(share + rng.normal(0, 0.09), 0.08), 1)
            if x1 - start < spacing * 0.5:
                continue
            end = x1 - abs(rng.normal(0, 0.1)) * spacing
            slope = rng.normal(0, 0.12) * spacing
            line = np.array(
                [[start, y - slope], [(start + end) / 2, y + rng.normal(0, 0.1) * spacing], [end, y + slope]]
            )
            lines.append(spline(line, 3) @ turn.T)
    return lines
