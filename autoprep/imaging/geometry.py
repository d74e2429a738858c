"""Plane geometry of four-cornered outlines.

Coordinates are continuous: the pixel (row, col) has its centre at (col + 0.5, row + 0.5). What has so few points is
worked out in plain numbers, in a fifth of the time that arrays take.
"""

import math
from collections.abc import Sequence
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float64

_AFTER = np.array([1, 2, 3, 0])  # the corner after each: of so few points np.roll takes ten times as long


def order_corners(quad: AnyArray) -> Float64:
    """(4, 2) corners in any order -> (4, 2) float64, order top-left, top-right, bottom-right, bottom-left.

    The order runs clockwise on the screen; it starts at the corner that leaves the sides closest to upright,
    so that a work that is rolled by less than 45 degrees keeps its own top.
    """
    points = np.asarray(quad, np.float64).reshape(4, 2).tolist()
    x, y = (sum(way) / 4 for way in zip(*points, strict=True))
    points.sort(key=lambda point: math.atan2(point[1] - y, point[0] - x))
    turns = [points[k:] + points[:k] for k in range(4)]
    return np.array(max(turns, key=_uprightness))


def _uprightness(corners: list[list[float]]) -> float:
    """How upright the sides are when the first of four corners is the top left one, the second the top right."""
    a, b, c, d = corners
    return (b[0] + c[0] - a[0] - d[0]) + (c[1] + d[1] - a[1] - b[1])


def homography(source: AnyArray, target: AnyArray) -> Float64:
    """(4, 2) -> (4, 2): the (3, 3) float64 projective map that takes source to target.

    Solved in float64: the library's own solver takes float32 corners, which costs 1e-3 px on large photos.
    """
    source, target = np.asarray(source, np.float64), np.asarray(target, np.float64)
    rows = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    solution = np.linalg.solve(np.array(rows), target.reshape(8))
    return np.append(solution, 1.0).reshape(3, 3)


def project(matrix: AnyArray, points: AnyArray) -> Float64:
    """(3, 3) map applied to (..., 2) points -> (..., 2) float64."""
    points = np.asarray(points, np.float64)
    mapped = points @ matrix[:, :2].T + matrix[:, 2]
    return cast(Float64, mapped[..., :2] / mapped[..., 2:])


def rectangle(width: float, height: float) -> Float64:
    """(4, 2) corners of the rectangle (0, 0)..(width, height), clockwise from the top left."""
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)


def area(quad: AnyArray) -> float:
    """Unsigned area of a polygon (N, 2); 0 of what has no three corners, as what `clipped` leaves may have none."""
    return abs(_signed_area(np.asarray(quad, np.float64)))


def widened(quad: AnyArray, distance: float | AnyArray) -> Float64:
    """(4, 2) convex polygon, in the order of `order_corners`, with every side moved outward by (its) distance."""
    points = np.asarray(quad, np.float64)
    distances = np.broadcast_to(np.asarray(distance, np.float64), 4)
    along = np.roll(points, -1, axis=0) - points
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    lines = [line_through(p + d * n, q + d * n)
             for p, q, n, d in zip(points, np.roll(points, -1, axis=0), outward, distances, strict=True)]  # fmt: skip
    return np.stack([intersect(lines[k - 1], lines[k]) for k in range(4)])


def is_convex(quad: AnyArray) -> bool:
    """Whether the (4, 2) polygon is strictly convex."""
    a, b, c, d = np.asarray(quad, np.float64).tolist()
    turns = [_turn(a, b, c), _turn(b, c, d), _turn(c, d, a), _turn(d, a, b)]
    return min(turns) > 1e-9 or max(turns) < -1e-9


def _turn(a: Sequence[float], b: Sequence[float], c: Sequence[float]) -> float:
    """The cross product of the ways from one point to the next and on to a third: above 0 for a turn clockwise."""
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def middle_and_way(places: AnyArray, share: AnyArray) -> tuple[AnyArray, AnyArray]:
    """(..., N) complex places x + iy and their weights, 1 in all -> (...) the middle, and the way, of length 1, of most
    spread.

    One sum gives the way: half the angle of the second moment.
    """
    middle = np.einsum("...i,...i", share, places)
    off = places - middle[..., None]
    return middle, np.exp(0.5j * np.angle(np.einsum("...i,...i", share * off, off)))


def intersect(one: AnyArray, two: AnyArray) -> Float64:
    """Two lines (a, b, c) with a x + b y + c = 0 -> their (2,) crossing; far away when they are parallel."""
    x, y, w = _cross(one, two)
    return np.array([x / w, y / w]) if abs(w) > 1e-12 else np.array([1e9, 1e9])


def line_through(start: AnyArray, end: AnyArray) -> Float64:
    """The (a, b, c) line through two points, a^2 + b^2 = 1."""
    a, b, c = _cross((start[0], start[1], 1.0), (end[0], end[1], 1.0))
    return np.array([a, b, c]) / max(math.hypot(a, b), 1e-12)


def _cross(one: Sequence[float] | AnyArray, two: Sequence[float] | AnyArray) -> tuple[float, float, float]:
    """The cross product of two vectors of three: the library's takes ten times as long for one."""
    (a, b, c), (d, e, f) = map(float, one), map(float, two)
    return b * f - c * e, c * d - a * f, a * e - b * d


def overlap(one: AnyArray, two: AnyArray) -> float:
    """Jaccard index (intersection over union) of two convex polygons, 0..1."""
    shared, _ = cv2.intersectConvexConvex(np.asarray(one, np.float32), np.asarray(two, np.float32))
    union = area(one) + area(two) - shared
    return min(max(float(shared) / union, 0.0), 1.0) if union > 0 else 0.0


def clipped(polygon: AnyArray, by: AnyArray) -> Float64:
    """The part of a convex (N, 2) polygon that lies in another one, (M, 2) float64; M is 0 when there is none.

    Sutherland and Hodgman, "Reentrant polygon clipping", 1974. The library's own routine fails on shared sides.
    """
    points, frame = np.asarray(polygon, np.float64).tolist(), np.asarray(by, np.float64).tolist()
    if _signed_area(frame) < 0:
        frame = frame[::-1]
    for start, end in zip(frame, (*frame[1:], frame[0]), strict=True):
        if len(points) < 3:
            return np.empty((0, 2))
        across, down = start[1] - end[1], end[0] - start[0]
        points = _half(points, [(p[0] - start[0]) * across + (p[1] - start[1]) * down for p in points])
    return np.array(points) if len(points) >= 3 else np.empty((0, 2))


def half(points: Float64, depth: Float64) -> Float64:
    """The part of a (N, 2) polygon in which a linear function is positive; depth: (N,) its values at the corners."""
    return np.array(_half(points.tolist(), depth.tolist())).reshape(-1, 2)


def _half(points: list[list[float]], depth: list[float]) -> list[list[float]]:
    kept = []
    afterwards = (*points[1:], points[0]), (*depth[1:], depth[0])
    for p, q, d, e in zip(points, afterwards[0], depth, afterwards[1], strict=True):
        if d >= 0:
            kept.append(p)
        if d * e < 0:
            kept.append([p[0] + (q[0] - p[0]) * d / (d - e), p[1] + (q[1] - p[1]) * d / (d - e)])
    return kept


def _signed_area(polygon: AnyArray | list[list[float]]) -> float:
    if len(polygon) < 3:
        return 0.0
    points: list[list[float]] = np.asarray(polygon, np.float64).tolist()
    return sum(p[0] * q[1] - p[1] * q[0] for p, q in zip(points, (*points[1:], points[0]), strict=True)) / 2


def overlap_in_photo(one: AnyArray, two: AnyArray, photo_px: tuple[int, int]) -> float:
    """Jaccard index of two convex polygons, both clipped to the photo: what lies beyond its border is not compared."""
    frame = rectangle(*photo_px)
    a, b = clipped(one, frame), clipped(two, frame)
    if not len(a) or not len(b):
        return 0.0
    both = clipped(a, b)
    shared = area(both) if len(both) else 0.0
    return float(np.clip(shared / (area(a) + area(b) - shared), 0, 1))


def side_lengths(quad: AnyArray) -> Float64:
    """(4,) lengths: top, right, bottom, left."""
    a, b, c, d = np.asarray(quad, np.float64).tolist()
    return np.array([math.dist(a, b), math.dist(b, c), math.dist(c, d), math.dist(d, a)])


def mean_size(quad: AnyArray) -> tuple[float, float]:
    """The (width, height) of a (4, 2) quad, each the mean of its two sides."""
    top, right, bottom, left = side_lengths(quad)
    return float(top + bottom) / 2, float(right + left) / 2
