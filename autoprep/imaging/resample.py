"""Resampling through a projective map and a radial lens term, strip by strip, in linear light."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.geometry import project

# Rows per strip: 128 rows of 4000 px float32 RGB are 6 MB, which stays near the cache of one core.
STRIP_ROWS = 128


@dataclass(frozen=True)
class Lens:
    """Radial distortion about the photo's centre: seen = ideal * (1 + k1 * r^2), r = 1 at the half diagonal."""

    width_px: float
    height_px: float
    k1: float = 0.0

    @property
    def _centre(self) -> Float64:
        return np.array([self.width_px / 2, self.height_px / 2])

    @property
    def _radius(self) -> float:
        return float(np.hypot(self.width_px, self.height_px) / 2)

    def seen(self, ideal: AnyArray) -> Float64:
        """(..., 2) points of the ideal pinhole picture -> where the lens put them."""
        offset = (np.asarray(ideal, np.float64) - self._centre) / self._radius
        if self.k1 == 0:
            return np.asarray(ideal, np.float64)
        return cast(
            Float64,
            offset * (1 + self.k1 * (offset**2).sum(-1, keepdims=True)) * self._radius + self._centre,
        )

    def ideal(self, seen: AnyArray) -> Float64:
        """(..., 2) points of the photo -> where a pinhole would have put them (fixed-point inverse of `seen`)."""
        target = (np.asarray(seen, np.float64) - self._centre) / self._radius
        if self.k1 == 0:
            return np.asarray(seen, np.float64)
        guess = target
        for _ in range(12):  # converges by about |3 k1 r^2| a round; 12 rounds are below 1e-6 px for |k1| < 0.1
            guess = target / (1 + self.k1 * (guess**2).sum(-1, keepdims=True))
        return cast(Float64, guess * self._radius + self._centre)


@dataclass(frozen=True)
class Warp:
    """From output pixels to photo pixels: a projective map into the ideal picture, then the lens.

    matrix: (3, 3), output coordinates -> ideal photo coordinates at full size; lens: in full-size pixels; within:
    (x0, y0, x1, y1) in output coordinates: pixels beyond it repeat those at its border.
    """

    matrix: Float64
    lens: Lens
    within: tuple[float, float, float, float] | None = None

    def source(self, points: AnyArray) -> Float64:
        """(..., 2) output coordinates -> (..., 2) full-size photo coordinates."""
        return self.lens.seen(project(self.matrix, points))

    def rows(self, first: int, last: int, width: int) -> Float64:
        """Photo coordinates of the pixel centres of output rows first..last-1: (last-first, width, 2)."""
        across, down = np.arange(width) + 0.5, np.arange(first, last) + 0.5
        if self.within is not None:
            x0, y0, x1, y1 = self.within
            across, down = np.clip(across, x0, x1), np.clip(down, y0, y1)
        x, y = np.meshgrid(across, down)
        return self.source(np.stack([x, y], axis=-1))

    def scale(self, width: int, height: int) -> float:
        """Photo pixels (full size) per output pixel: the square root of the area ratio over the output."""
        corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
        x, y = self.source(corners).T
        covered = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
        return float(np.sqrt(covered / (width * height)))


Crop = Callable[[int, int, int, int], Float32]
"""crop(y0, y1, x0, x1) -> (y1-y0, x1-x0, 3) float32 linear light of a photo level."""


def warp_rows(
    crop: Crop,
    level_size: tuple[int, int],
    level_scale: float,
    warp: Warp,
    out_size: tuple[int, int],
    rows: tuple[int, int],
) -> Float32:
    """(last - first, W, 3) float32 linear light: the rows (first, last) of the warped picture of out_size.

    crop reads a level of the photo of level_size (width, height) pixels, which is level_scale times the full
    size. Beyond the photo its border pixels repeat. Minification is band-limited with a Gaussian before the cubic
    resampling, so fine hatching does not alias.
    """
    width, height = out_size
    shrink = warp.scale(width, height) * level_scale
    sigma = 0.5 * float(np.sqrt(max(shrink**2 - 1, 0)))
    points = warp.rows(rows[0], rows[1], width) * level_scale - 0.5
    return _sample(crop, level_size, points, sigma)


def _sample(crop: Crop, level_size: tuple[int, int], points: Float64, sigma: float) -> Float32:
    level_w, level_h = level_size
    reach = 4 + int(np.ceil(3 * sigma))
    # One reduction per plane: over the interleaved array it is several times slower.
    xs, ys = np.ascontiguousarray(points[..., 0]), np.ascontiguousarray(points[..., 1])
    x0 = max(0, min(int(np.floor(xs.min())) - reach, level_w - 1))
    y0 = max(0, min(int(np.floor(ys.min())) - reach, level_h - 1))
    x1 = min(level_w, max(x0 + 1, int(np.ceil(xs.max())) + reach + 1))
    y1 = min(level_h, max(y0 + 1, int(np.ceil(ys.max())) + reach + 1))
    patch = crop(y0, y1, x0, x1)
    if sigma > 0.15:
        patch = cast(Float32, cv2.GaussianBlur(patch, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE))
    map_x, map_y = (xs - x0).astype(np.float32), (ys - y0).astype(np.float32)
    return cast(Float32, cv2.remap(patch, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
