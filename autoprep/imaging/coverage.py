"""How much of each pixel a polygon covers, exactly."""

from itertools import pairwise

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float64, UInt8

_BAND = 256  # rows that are summed up at a time


def coverage(points: AnyArray, size: tuple[int, int]) -> UInt8:
    """(h, w) uint8, 0..255: the share of each pixel of a (width, height) picture inside a polygon.

    points: (N, 2) corners in continuous picture coordinates (the first pixel's centre is at .5, .5), in either sense;
    they may lie outside the picture. Each edge adds to the pixels that it passes what lies to the right of it, and all
    pixels after those take over its height: the areas are summed and not sampled.
    """
    width, height = size
    ends = _within_pixels(np.asarray(points, np.float64))
    mask = np.empty((height, width), np.uint8)
    for top in range(0, height, _BAND):
        bottom = min(top + _BAND, height)
        mask[top:bottom] = _band(ends, top, bottom, width)
    return mask


def _within_pixels(points: Float64) -> Float64:
    """(M, 4) the polygon's edges x0, y0, x1, y1, cut wherever they pass from one pixel to the next."""
    pieces = []
    for start, end in pairwise([*points, points[0]]):
        cuts = [np.array([0.0, 1.0])]
        for k in (0, 1):
            low, high = sorted((start[k], end[k]))
            lines = np.arange(np.floor(low) + 1, np.ceil(high))
            if len(lines):
                cuts.append((lines - start[k]) / (end[k] - start[k]))
        at = np.unique(np.concatenate(cuts))[:, None]
        through = start + at * (end - start)
        pieces.append(np.concatenate([through[:-1], through[1:]], axis=1))
    return np.concatenate(pieces)


def _band(ends: Float64, top: int, bottom: int, width: int) -> UInt8:
    """(bottom - top, width) uint8: the rows of the mask from top on."""
    middle = (ends[:, 1] + ends[:, 3]) / 2
    mine = ends[(middle >= top) & (middle < bottom)]
    fall = mine[:, 3] - mine[:, 1]
    # What lies to the left of the picture covers its rows from the first pixel on; what lies to the right, none.
    across = np.clip((mine[:, 0] + mine[:, 2]) / 2, 0.0, float(width))
    row, column = np.floor((mine[:, 1] + mine[:, 3]) / 2).astype(int) - top, np.floor(across).astype(int)
    right = across - column
    sums = np.zeros((bottom - top, width + 2))
    np.add.at(sums, (row, column), fall * (1 - right))
    np.add.at(sums, (row, column + 1), fall * right)
    share = np.minimum(np.abs(np.cumsum(sums, axis=1)[:, :width]), 1.0)
    return (share * 255 + 0.5).astype(np.uint8)
