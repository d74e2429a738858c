"""Lines through points of which some lie off: iteratively reweighted least squares of the distances across the line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float64
from autoprep.imaging.geometry import middle_and_way

_ROUNDS = 6
# Points count half at 1.5 times the spread of the others, which is at least so much.
_SPREADS, _LEAST_PX = 1.5, 0.12
# The spread of a normal distribution, in medians of the distances from its middle (tables of it: 1 / .6745).
_SPREAD = 1.4826


@dataclass(frozen=True)
class Line:
    """A line a x + b y + c = 0 with a unit normal, how much each of its points counts, 0..1, and the median of their
    distances from it."""

    line: Float64
    relative: Float64
    residual_px: float


def robust_lines(points: Sequence[Float64], weights: Sequence[AnyArray] | None = None) -> list[Line]:
    """(N, 2) points of several lines, each of any number from 2 on, and their weights -> a line through each.

    All lines in one pass: of so few points each pass costs as much for one as for four. Places are complex there (see
    `middle_and_way`).
    """
    if not points:
        return []
    counts = np.array([len(some) for some in points])
    there = np.arange(counts.max()) < counts[:, None]
    places, start = np.zeros(there.shape, complex), there.astype(np.float64)
    every = np.concatenate(points)
    places[there] = every[:, 0] + 1j * every[:, 1]
    if weights is not None:
        start[there] = np.concatenate(weights)
    weight = start
    for _ in range(_ROUNDS):
        middle, way = middle_and_way(places, weight / weight.sum(-1, keepdims=True))
        distance = np.where(there, np.abs(((places - middle[:, None]) * way.conj()[:, None]).imag), np.inf)
        residual = np.sort(distance, axis=-1)[np.arange(len(counts)), counts // 2]
        scale = _SPREADS * np.maximum(_LEAST_PX, _SPREAD * residual)
        relative = 1 / np.maximum(1, (distance / scale[:, None]) ** 2)
        weight = start * relative + 1e-9 * there
    normal = way * 1j
    lines = np.stack([normal.real, normal.imag, -(normal.conj() * middle).real], axis=1)
    return [Line(lines[k], relative[k, :count], float(residual[k])) for k, count in enumerate(counts)]
