"""How much of each pixel a polygon covers, exactly."""

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float64, UInt8

_BAND = 64  # rows that are summed up at a time: in few of them edges run across


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
    way = np.roll(points, -1, axis=0) - points
    edges = np.arange(len(points))
    cuts = [(edges, np.zeros(len(edges))), (edges, np.ones(len(edges)))]
    cuts += [_crossings(points[:, axis], way[:, axis]) for axis in (0, 1)]
    edge, at = (np.concatenate(part) for part in zip(*cuts, strict=True))
    order = np.lexsort((at, edge))
    edge, at = edge[order], at[order]
    through = points[edge] + at[:, None] * way[edge]
    same = edge[:-1] == edge[1:]
    return np.concatenate([through[:-1][same], through[1:][same]], axis=1)


def _crossings(start: Float64, way: Float64) -> tuple[AnyArray, Float64]:
    """The edges that pass whole numbers along one axis, each as often as it does, and how far along it, 0..1."""
    low, high = np.minimum(start, start + way), np.maximum(start, start + way)
    first = np.floor(low) + 1
    count = np.maximum(np.ceil(high) - first, 0).astype(int)
    edge = np.repeat(np.arange(len(start)), count)
    number = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    return edge, (first[edge] + number - start[edge]) / way[edge]


def _band(ends: Float64, top: int, bottom: int, width: int) -> UInt8:
    """(bottom - top, width) uint8: the rows of the mask from top on."""
    middle = (ends[:, 1] + ends[:, 3]) / 2
    mine = ends[(middle >= top) & (middle < bottom)]
    fall = mine[:, 3] - mine[:, 1]
    # What lies to the left of the picture covers its rows from the first pixel on; what lies to the right, none.
    across = np.clip((mine[:, 0] + mine[:, 2]) / 2, 0.0, float(width))
    row, column = np.floor((mine[:, 1] + mine[:, 3]) / 2).astype(int) - top, np.floor(across).astype(int)
    right = across - column
    # Between the columns that any edge passes nothing is added, and each row goes on as it was.
    used = np.union1d(np.union1d(column, column + 1), [0])
    at, room = row * len(used) + np.searchsorted(used, column), (bottom - top) * len(used)
    sums = np.bincount(at, fall * (1 - right), room) + np.bincount(at + 1, fall * right, room)
    share = np.minimum(np.abs(np.cumsum(sums.reshape(bottom - top, len(used)), axis=1)), 1.0)
    codes = (share * 255 + 0.5).astype(np.uint8)
    return np.repeat(codes, np.diff(np.minimum(np.append(used, width), width)), axis=1)
