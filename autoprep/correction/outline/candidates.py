"""Generators of candidate outlines. Each proposes quads in finding-copy coordinates; none decides."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline.evidence import Evidence
from autoprep.imaging.arrays import AnyArray, Bool, Float32, Float64, UInt8
from autoprep.imaging.geometry import area, is_convex, order_corners, rectangle

# Works smaller than this share of the photo are not looked for. Chosen: below it, too few pixels remain to print.
MIN_AREA = 0.04


@dataclass(frozen=True)
class Candidate:
    """One proposed quad: (4, 2) float64 ordered corners in finding-copy coordinates, and who proposed it."""

    quad: Float64
    source: str


def propose(evidence: Evidence) -> list[Candidate]:
    """All distinct candidates of all generators, the photo's own border last."""
    height, width = evidence.shape
    found: list[Candidate] = []
    for source, generate in GENERATORS.items():
        own = np.empty((0, 4, 2))
        for quad in generate(evidence):
            if _plausible(quad, width, height) and not _known(ordered := order_corners(quad), own):
                own = np.concatenate([own, ordered[None]])
        found += [Candidate(quad, source) for quad in own]
    found.append(Candidate(rectangle(width, height), "whole"))
    return found


def _plausible(quad: Float64, width: int, height: int) -> bool:
    slack = 0.12 * max(width, height)
    places = zip(*quad.tolist(), strict=True)
    # What is no number lies nowhere.
    near = all(all(-slack < at < side + slack for at in way) for way, side in zip(places, (width, height), strict=True))
    return near and is_convex(quad) and area(quad) >= MIN_AREA * width * height


def _known(quad: Float64, own: Float64) -> bool:
    """Whether the (4, 2) quad is nearly one of (N, 4, 2)."""
    return bool((np.abs(own - quad).reshape(-1, 8) < 2.0).all(axis=1).any())


# --- regions ------------------------------------------------------------------------------------------------


def from_edges(evidence: Evidence) -> Iterator[Float64]:
    """Closed chains of strong gradient, at three strengths."""
    magnitude = evidence.magnitude
    for factor in (2.2, 4.5, 9.0):
        mask = (magnitude > factor * evidence.noise).astype(np.uint8)
        mask = cast(UInt8, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))
        yield from _quads_of_mask(mask, cv2.RETR_LIST, most=12)


def from_background(evidence: Evidence) -> Iterator[Float64]:
    """Regions that differ from the colours along the photo's border, at four distances."""
    for distance in (1.3, 2.0, 3.0, 4.5):
        mask = (evidence.background > distance).astype(np.uint8)
        yield from _quads_of_mask(_tidy(mask), cv2.RETR_EXTERNAL, most=4)


def from_colour(evidence: Evidence) -> Iterator[Float64]:
    """Regions of one colour: each of the photo's main colours in turn, and what is bright."""
    height, width = evidence.shape
    small = cast(AnyArray, cv2.resize(evidence.lab, (width // 2, height // 2), interpolation=cv2.INTER_AREA))
    light = cv2.convertScaleAbs(evidence.lab[..., 0], alpha=2.55)
    _, mask = cv2.threshold(light, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    yield from _quads_of_mask(_tidy(cast(UInt8, mask // 255)), cv2.RETR_EXTERNAL, most=3)
    samples = small.reshape(-1, 3)[:: max(1, small.size // 3 // 6000)].astype(np.float32)
    for distance in _from_each(evidence.lab, _main_colours(samples)):
        for limit in (1.0, 1.8):
            yield from _quads_of_mask(_tidy((distance < limit**2).astype(np.uint8)), cv2.RETR_EXTERNAL, most=2)


def _from_each(lab: Float32, seeds: list[AnyArray]) -> Iterator[Float32]:
    """(h, w) squared distance of each pixel from each seed, in units of what one colour of paper or desk varies by."""
    planes = [np.ascontiguousarray(lab[..., c]) / unit for c, unit in enumerate(_ONE_COLOUR)]
    for seed in seeds:
        near = [plane - np.float32(at / unit) for plane, at, unit in zip(planes, seed, _ONE_COLOUR, strict=True)]
        yield near[0] * near[0] + near[1] * near[1] + near[2] * near[2]


_ONE_COLOUR = (np.float32(9), np.float32(5), np.float32(5))


def _main_colours(samples: AnyArray) -> list[AnyArray]:
    order = np.argsort(samples[:, 0])
    labels = np.empty((len(samples), 1), np.int32)
    labels[order, 0] = np.arange(len(samples)) * 6 // len(samples)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 10, 0.5)
    _, _, centres = cv2.kmeans(samples, 6, labels, criteria, 1, cv2.KMEANS_USE_INITIAL_LABELS)
    return list(np.asarray(centres))


def _tidy(mask: UInt8) -> UInt8:
    """Close drawing inside a sheet, cut thin bridges to the surroundings."""
    mask = cast(UInt8, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8)))
    return cast(UInt8, cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((9, 9), np.uint8)))


def _quads_of_mask(mask: UInt8, mode: int, most: int) -> Iterator[Float64]:
    contours, _ = cv2.findContours(mask, mode, cv2.CHAIN_APPROX_SIMPLE)
    boxes = sorted(contours, key=lambda c: -cv2.boundingRect(c)[2] * cv2.boundingRect(c)[3])
    for contour in boxes[:most]:
        hull = cv2.convexHull(contour)
        if len(hull) < 4 or cv2.contourArea(hull) < 0.5 * MIN_AREA * mask.size:
            continue
        rough = cv2.approxPolyDP(hull, 0.006 * cv2.arcLength(hull, True), True).reshape(-1, 2)
        quad = quad_around(rough.astype(np.float64) + 0.5)
        if quad is not None and area(quad) < 1.35 * cv2.contourArea(hull):
            yield quad


def quad_around(hull: AnyArray) -> Float64 | None:
    """The quad around a convex (N, 2) polygon: edges are dropped one by one, least added area first."""
    points: list[list[float]] = np.asarray(hull, np.float64).tolist()
    while len(points) > 4:
        best: tuple[float, int, list[float]] | None = None
        for index in range(len(points)):
            added = _drop_edge(points, index)
            if added is not None and (best is None or added[0] < best[0]):
                best = (added[0], index, added[1])
        if best is None:
            return None
        points[best[1]] = best[2]
        del points[(best[1] + 1) % len(points)]
    return np.array(points) if len(points) == 4 else None


def _drop_edge(points: list[list[float]], index: int) -> tuple[float, list[float]] | None:
    """Area added and new corner when the edge index..index+1 is replaced by its neighbours' crossing."""
    count = len(points)
    (bx, by), (sx, sy), (ex, ey), (ax, ay) = (points[(index + k) % count] for k in (-1, 0, 1, 2))
    ux, uy, vx, vy = sx - bx, sy - by, ex - ax, ey - ay
    cross = ux * vy - uy * vx
    if abs(cross) < 1e-9:
        return None
    ahead = ((ex - sx) * vy - (ey - sy) * vx) / cross
    x, y = sx + ux * ahead, sy + uy * ahead
    if ahead < 0 or (x - ex) * vx + (y - ey) * vy < 0:
        return None
    return abs((sx - x) * (ey - y) - (sy - y) * (ex - x)) / 2, [x, y]


# --- lines --------------------------------------------------------------------------------------------------

_LINES_PER_DIRECTION = 12
_MOST_LINE_QUADS = 150


def from_lines(evidence: Evidence) -> Iterator[Float64]:
    """Two lines of each of two directions, from merged line segments, the best supported first."""
    quads = _crossings(*_lines(evidence, _LINES_PER_DIRECTION), evidence.shape)
    if len(quads):
        support = edge_support(evidence, quads)
        order = np.argsort(-(support.mean(axis=1) + support.min(axis=1)), kind="stable")
        yield from quads[order[:_MOST_LINE_QUADS]]


_BORDER_LINES, _MOST_BORDER_QUADS = 8, 80


def from_border(evidence: Evidence) -> Iterator[Float64]:
    """Pages that the photo cuts: one to three sides are its border, the others lines, the best supported first."""
    height, width = evidence.shape
    across, down = _lines(evidence, _BORDER_LINES)
    rows = [*across, np.array([0.0, 1.0, 0.0]), np.array([0.0, 1.0, -float(height)])]
    columns = [*down, np.array([1.0, 0.0, 0.0]), np.array([1.0, 0.0, -float(width)])]
    quads = _crossings(rows, columns, evidence.shape)
    if not len(quads):
        return
    cut = _on_border(quads, evidence.shape)
    some = cut.any(axis=1) & ~cut.all(axis=1)
    quads, cut = quads[some], cut[some]
    if len(quads):
        support = np.where(cut, np.nan, edge_support(evidence, quads))
        order = np.argsort(-(np.nanmean(support, axis=1) + np.nanmin(support, axis=1)), kind="stable")
        yield from quads[order[:_MOST_BORDER_QUADS]]


def _on_border(quads: Float64, shape: tuple[int, int]) -> Bool:
    """(N, 4): whether each side lies on the photo's border."""
    height, width = shape
    x, y = quads[..., 0], quads[..., 1]
    corners = np.abs(np.stack([y, x - width, y - height, x])) < 0.5
    return np.asarray((corners & np.roll(corners, -1, axis=-1)).any(axis=0))


def _lines(evidence: Evidence, most: int) -> tuple[list[Float64], list[Float64]]:
    """The longest (a, b, c) lines across the photo, and those down it."""
    across = [line for line in evidence.lines if abs(line[1]) >= abs(line[0])]
    down = [line for line in evidence.lines if abs(line[1]) < abs(line[0])]
    return across[:most], down[:most]


def _crossings(across: list[Float64], down: list[Float64], shape: tuple[int, int]) -> Float64:
    """(N, 4, 2) convex, large enough quads of two lines across and two lines down."""
    pairs_a, pairs_d = list(combinations(across, 2)), list(combinations(down, 2))
    if not pairs_a or not pairs_d:
        return np.empty((0, 4, 2))
    a = np.repeat(np.array(pairs_a), len(pairs_d), axis=0)
    d = np.tile(np.array(pairs_d), (len(pairs_a), 1, 1))
    corners = [np.cross(a[:, i], d[:, j]) for i, j in ((0, 0), (0, 1), (1, 1), (1, 0))]
    with np.errstate(divide="ignore", invalid="ignore"):
        quads = np.stack([c[:, :2] / c[:, 2:] for c in corners], axis=1)
    height, width = shape
    slack = 0.1 * max(shape)
    inside = np.isfinite(quads).all((1, 2)) & (quads > -slack).all((1, 2))
    inside &= (quads < np.array([width, height]) + slack).all((1, 2))
    quads = quads[inside]
    edges = np.roll(quads, -1, axis=1) - quads
    turn = edges[:, :, 0] * np.roll(edges, -1, axis=1)[:, :, 1] - edges[:, :, 1] * np.roll(edges, -1, axis=1)[:, :, 0]
    convex = (turn > 0).all(1) | (turn < 0).all(1)
    x, y = quads[..., 0], quads[..., 1]
    areas = np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(1)) / 2
    return cast(Float64, quads[convex & (areas > MIN_AREA * height * width)])


def edge_support(evidence: Evidence, quads: Float64, samples: int = 20) -> Float64:
    """(N, 4): the share of each side along which the gradient across it is above the noise."""
    t = np.linspace(0.05, 0.95, samples)[None, None, :, None]
    ends = np.roll(quads, -1, axis=1)
    points = (quads[:, :, None] * (1 - t) + ends[:, :, None] * t).reshape(-1, samples, 2)
    along = ends - quads
    along /= np.linalg.norm(along, axis=-1, keepdims=True) + 1e-9
    along = along.reshape(-1, 1, 2)
    across = np.abs(sample(evidence.gx, points) * along[..., 1] - sample(evidence.gy, points) * along[..., 0])
    return cast(Float64, (across > 2 * evidence.noise).mean(-1).reshape(-1, 4))


def sample(plane: AnyArray, points: AnyArray) -> AnyArray:
    """Bilinear samples of a plane at (M, K, 2) continuous coordinates -> (M, K, ...); the border repeats."""
    points = np.asarray(points)
    # The library's remap takes at most 32767 rows.
    parts = [points[start : start + 16000] for start in range(0, len(points), 16000)]
    found = [sample_at(plane, part[..., 0], part[..., 1]) for part in parts]
    return np.concatenate(found) if found else np.empty(points.shape[:2], np.float32)


def sample_at(plane: AnyArray, x: AnyArray, y: AnyArray) -> AnyArray:
    """Bilinear samples of a plane at (M, K) continuous coordinates, M up to 32767 -> (M, K, ...); the border
    repeats."""
    across, down = ((v - 0.5).astype(np.float32) for v in (x, y))
    return cv2.remap(plane, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


GENERATORS: dict[str, Callable[[Evidence], Iterator[Float64]]] = {
    "edges": from_edges,
    "background": from_background,
    "colour": from_colour,
    "lines": from_lines,
    "border": from_border,
}
"""One place to add a generator: its name and its function."""
