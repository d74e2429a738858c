"""The photo in smoothed L*a*b*, worked out only around the points that are asked for."""

import math
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline.candidates import sample_at
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import lab_fast
from autoprep.pixels import Photo

_SMOOTH_PX = 0.8
_RIM_PX = 4  # as far as the smoothing and the interpolation look
# So many rows of points are looked up in one piece: a slanted side's pieces are small where all of it is not.
_ROWS = 20


def smooth_lab(linear: Float32) -> Float32:
    """(h, w, 3) float32 linear sRGB -> (h, w, 3) float32 L*a*b*, a little smoothed."""
    return cast(Float32, cv2.GaussianBlur(lab_fast(linear), (0, 0), _SMOOTH_PX))


class CloseUp:
    """What `smooth_lab` of a whole photo would be, for those who look along a few lines only.

    The photo is reduced by the whole number that leaves a long side of long_px or more; `scale` is its inverse.
    """

    def __init__(self, photo: Photo, long_px: int) -> None:
        self._photo, self._factor = photo, max(1, max(photo.size_px) // long_px)
        self.shape = (photo.size_px[1] // self._factor, photo.size_px[0] // self._factor)
        self.scale = photo.scale / self._factor

    def sample(self, x: Float64, y: Float64) -> Float32:
        """Bilinear samples at (M, K) continuous coordinates of the reduced photo -> (M, K, 3)."""
        parts = [np.s_[first : first + _ROWS] for first in range(0, len(x), _ROWS)]
        return np.concatenate([self._part(x[part], y[part]) for part in parts])

    def _part(self, x: Float64, y: Float64) -> Float32:
        (x0, x1), (y0, y1) = (self._reach(v, self.shape[1 - k]) for k, v in enumerate((x, y)))
        linear = self._photo.crop(*(edge * self._factor for edge in (y0, y1, x0, x1)))
        if self._factor > 1:
            linear = np.asarray(cv2.resize(linear, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA), np.float32)
        return np.asarray(sample_at(smooth_lab(linear), x - x0, y - y0), np.float32)

    @staticmethod
    def _reach(values: Float64, length: int) -> tuple[int, int]:
        """From which pixel to which what is asked for is looked up: one at least."""
        first = min(max(math.floor(values.min() - _RIM_PX), 0), length - 1)
        return first, min(max(math.ceil(values.max() + _RIM_PX), first + 1), length)
