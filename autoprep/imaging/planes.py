"""What several corrections ask of a picture: a small copy, how fast it changes, its rim, its gaps filled."""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Bool, Float32

_LEAST_PX = 16


def small_copy(linear: Float32, long_px: int) -> Float32:
    """(H, W, 3) float32 linear light -> means of areas, so many on the longer side at the most, never enlarged but to
    16."""
    ratio = min(1.0, long_px / max(linear.shape[:2]))
    size = (max(_LEAST_PX, round(linear.shape[1] * ratio)), max(_LEAST_PX, round(linear.shape[0] * ratio)))
    return cast(Float32, cv2.resize(linear, size, interpolation=cv2.INTER_AREA))


def slope_of(plane: Float32) -> Float32:
    """(h, w) by how much a plane changes per pixel, whichever way: the length of Sobel's gradient."""
    across = cv2.Sobel(plane, cv2.CV_32F, 1, 0, scale=0.125)
    return cast(Float32, cv2.magnitude(across, cv2.Sobel(plane, cv2.CV_32F, 0, 1, scale=0.125)))


def in_each(plane: Float32) -> Float32:
    """(h, w) -> (h, w, 3), the same in each channel: numpy's own spreading over so short an axis takes four times as
    long."""
    return cast(Float32, cv2.merge([plane, plane, plane]))


def weighted(picture: Float32, weights: Float32) -> Float32:
    """(h, w, 3) -> the same, each channel times its own of (3,) weights: numpy's own spreading takes fourteen times as
    long."""
    return cast(Float32, cv2.transform(picture, np.diag(weights)))


def rim_of(shape: tuple[int, ...], band_px: int) -> Bool:
    """(h, w) True within so many pixels of the border."""
    rim = np.ones(shape[:2], bool)
    rim[band_px:-band_px, band_px:-band_px] = False
    return rim


def parts_of(mask: AnyArray, connectivity: int = 8) -> tuple[AnyArray, AnyArray]:
    """(h, w) bool or 0 and 1 -> (h, w) the connected parts by number, 0 for what is none, and the pixels of each, of
    what is none too: with a box around each it takes three times as long."""
    count, labels = cv2.connectedComponents(mask.astype(np.uint8, copy=False), connectivity=connectivity)
    return labels, np.bincount(labels.ravel(), minlength=count)


def box_of(part: Bool) -> tuple[int, int, int, int]:
    """(h, w) -> left, top, width and height of the box around what is True."""
    left, top, width, height = cv2.boundingRect(part.astype(np.uint8))
    return left, top, width, height


def soft(plane: Float32, sigma: float) -> Float32:
    """A Gaussian blur."""
    return cast(Float32, cv2.GaussianBlur(plane, (0, 0), sigma))


# From this deviation on, in pixels, products take less than the library's blur of a plane of a hundred pixels a side.
_WIDE = 5.0


def soft_cells(plane: Float32, sigma: float) -> Float32:
    """A Gaussian blur of (h, w) or (h, w, 3), for planes of few pixels, over which a wide one reaches many times: as
    two products with all its weights, in a ninth of the time."""
    if sigma < _WIDE:
        return soft(plane, sigma)
    down, across = (_weights(length, sigma) for length in plane.shape[:2])
    if plane.ndim == 2:
        return np.asarray(down @ plane @ across.T, np.float32)
    return cast(Float32, cv2.merge([down @ channel @ across.T for channel in cast(list[Float32], cv2.split(plane))]))


@lru_cache(maxsize=32)
def _weights(length: int, sigma: float) -> Float32:
    """(n, n) of so many places in a row: how much each of them, by column, counts in the blur at each, by row."""
    kernel = cv2.getGaussianKernel(round(8 * sigma + 1) | 1, sigma, cv2.CV_32F)  # as wide as the library's own
    return cast(Float32, cv2.sepFilter2D(np.eye(length, dtype=np.float32), -1, np.ones(1, np.float32), kernel))


def soft_on_small(plane: Float32, sigma: float) -> Float32:
    """A Gaussian blur; a wide one on a smaller copy, which comes to the same and is much faster."""
    factor = int(sigma // 4)
    if factor < 2:
        return soft(plane, sigma)
    height, width = plane.shape[:2]
    size = (max(8, width // factor), max(8, height // factor))
    small = soft(cast(Float32, cv2.resize(plane, size, interpolation=cv2.INTER_AREA)), sigma / factor)
    return cast(Float32, cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR))


def carried(
    values: Float32,
    known: Bool,
    scales: Iterable[float],
    trusted: tuple[float, float],
    blurred: Callable[[Float32, float], Float32] = soft,
) -> Float32:
    """(h, w, 3) values where known, smoothed, and carried over the gaps: finest scale first, coarser where unknown.

    scales: deviations in pixels, rising; trusted: from which share of known neighbours on a scale is believed at all,
    and from which wholly. Far from all that is known, what the widest look around says.
    """
    filled, added = np.zeros_like(values), np.empty_like(values)
    missing = np.ones(known.shape, np.float32)
    held = known.astype(np.float32)
    seen = values * in_each(held)
    first, wholly = trusted
    for sigma in scales:
        weight = blurred(held, sigma)
        mean = blurred(seen, sigma)
        mean /= in_each(np.maximum(weight, 1e-6))
        trust = np.clip((weight - first) / (wholly - first), 0, 1)
        filled += np.multiply(in_each(missing * trust), mean, out=added)
        missing = missing * (1 - trust)
        if not missing.any():
            return filled  # what is looked at from afar adds nothing
    return np.asarray(filled + in_each(missing) * mean, np.float32)
