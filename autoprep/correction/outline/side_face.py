"""The side of a book, a pad or a thick board that shows beside its top, or a sheet below that looks out by a hair.

Seen a little from the side, an open journal shows the edges of its pages as a narrow strip along one or two of its
sides. The strip ends in an edge as clear as the page's own, and so near it that to the finders both are one. Here a
side that stands on the outer one is moved in, where bare paper begins at the inner.
"""

import numpy as np

from autoprep.correction.outline.close_up import CloseUp
from autoprep.correction.outline.refinement import Sides
from autoprep.imaging.arrays import AnyArray, Bool, Float64
from autoprep.imaging.geometry import intersect, is_convex, line_through, mean_size

# A strip is so wide at most, in shares of the outline's longer side (on a page of A5 3 mm), and so many pixels of the
# close-up at least at its wider end; what is narrower rendering covers (see rim). Chosen on eight photos of the lab's
# seeds 94000-, and so that no side of 74 real pages moves: printed lines, margins and shaded rims are none.
_WIDEST, _LEAST_PX = 0.015, 6
# Places along a side that are looked at, between these shares of its length; the step between the ends that are tried.
_COLUMNS, _FROM, _TO, _STEP_PX = 96, 0.04, 0.96, 2
# The edge: over rows of so many pixels on either side of the one it lies on, so clear (CIELAB, chroma counting more),
# and at so many of the places more than half as clear as in the middle.
_ROWS, _CLEAR, _SHARE = 3, 6.0, 0.95
# How far in the paper is looked at; what is bare differs from what is around it by less than this at so many places;
# by how much the strip must differ from it; and where it is thinner than this there is nothing to see of it.
_DEEP_PX, _BARE, _BARE_SHARE, _OTHER, _THIN_PX = 22, 5.0, 0.9, 5.0, 6
_WEIGHT = np.array([1.0, 1.6, 1.6])
_AROUND = 25  # places: paper is bare beside its own light, which changes slowly along a side


def without_side_faces(close: CloseUp, quad: Float64, cut: Sides) -> Float64:
    """(4, 2) corners in pixels of the close-up, with sides moved off such strips; as they are where there are none.

    At most two sides that meet in a corner show one: strips along opposite sides are a border, painted or printed.
    """
    widest = round(_WIDEST * max(mean_size(quad)))
    found = [None if cut[side] or widest <= _LEAST_PX else _strip(close, quad, side, widest) for side in range(4)]
    if (found[0] is not None and found[2] is not None) or (found[1] is not None and found[3] is not None):
        return quad
    if all(ends is None for ends in found):
        return quad
    lines = []
    for side, ends in enumerate(found):
        first, last = quad[side], quad[(side + 1) % 4]
        inward = _inward(quad, side)
        depths = np.zeros(2) if ends is None else ends
        lines.append(line_through(first + depths[0] * inward, last + depths[1] * inward))
    moved = np.array([intersect(lines[k - 1], lines[k]) for k in range(4)])
    return moved if is_convex(moved) else quad


def _inward(quad: Float64, side: int) -> Float64:
    """(2,) the unit vector from a side towards the outline's inside."""
    along = quad[(side + 1) % 4] - quad[side]
    across: Float64 = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    return across if across @ (quad.mean(axis=0) - quad[side]) > 0 else -across


def _strip(close: CloseUp, quad: Float64, side: int, widest: int) -> AnyArray | None:
    """(2,) how deep the strip along a side is at its first and its last corner, in pixels; None where there is none."""
    t = _FROM + (np.arange(_COLUMNS) + 0.5) / _COLUMNS * (_TO - _FROM)
    depth = np.arange(widest + _DEEP_PX + 2 * _ROWS)
    places = quad[side] + t[:, None] * (quad[(side + 1) % 4] - quad[side])
    # Place by place: a slanted side is looked up in small pieces.
    x, y = (np.add.outer(places[:, k], depth * _inward(quad, side)[k]) for k in range(2))
    band = np.asarray(close.sample(x, y), np.float64).transpose(1, 0, 2) * _WEIGHT
    ends = _clearest(band, t, widest)
    return ends if ends is not None and _is_strip(band, ends[0] + (ends[1] - ends[0]) * t) else None


def _clearest(band: Float64, t: Float64, widest: int) -> AnyArray | None:
    """(2,) depths of the clearest straight edge at both ends of a side; None where none runs along all of it.

    band: (depth, places, 3) what lies inside the side; t: (places,) where they are along it, 0..1.
    """
    sums = np.cumsum(np.concatenate([np.zeros((1, *band.shape[1:])), band]), axis=0)
    means = (sums[_ROWS:] - sums[:-_ROWS]) / _ROWS
    step = means[_ROWS + 1 :] - means[: -_ROWS - 1]  # across the row _ROWS further on
    tried = np.arange(_ROWS, widest + 1, _STEP_PX)
    pairs = _pairs(tried, tried)
    best = _best(step, t, pairs[pairs.max(axis=1) >= _LEAST_PX])
    if best is None:
        return None
    near = np.arange(1 - _STEP_PX, _STEP_PX)
    return _best(step, t, np.clip(best + _pairs(near, near), _ROWS, widest))


def _pairs(first: AnyArray, last: AnyArray) -> AnyArray:
    """(N M, 2) each of the first with each of the last."""
    return np.stack(np.meshgrid(first, last, indexing="ij"), axis=-1).reshape(-1, 2)


def _best(step: Float64, t: Float64, pairs: AnyArray) -> AnyArray | None:
    """(2,) that of (N, 2) depths at both ends along which the colours change most, and everywhere alike."""
    rows, columns = np.round(pairs[:, :1] + (pairs[:, 1:] - pairs[:, :1]) * t).astype(int) - _ROWS, np.arange(len(t))
    # Where more than half of so clear a change is seen at too few places, its middle need not be known.
    seen = (np.linalg.norm(step, axis=-1) > 0.5 * _CLEAR)[rows, columns].mean(axis=1) >= _SHARE
    if not seen.any():
        return None
    pairs, across = pairs[seen], step[rows[seen], columns]
    middle = np.median(across, axis=1)
    size = np.linalg.norm(middle, axis=1)
    along = np.einsum("nkc,nc->nk", across, middle) / np.maximum(size, 1e-6)[:, None]
    share = (along > 0.5 * size[:, None]).mean(axis=1)
    good = (size >= _CLEAR) & (share >= _SHARE)
    return np.asarray(pairs[int(np.argmax(np.where(good, size * share, 0.0)))]) if good.any() else None


def _is_strip(band: Float64, depth: Float64) -> bool:
    """Whether what lies outside an edge is one thing along the side, and what lies inside it bare paper, another.

    depth: (places,) of the edge.
    """
    thick = depth >= _THIN_PX
    if thick.mean() < 1 - _BARE_SHARE:
        return False
    inside = np.median([_at(band, depth + k) for k in range(_ROWS + 1, _DEEP_PX)], axis=0)
    outside = np.median([_at(band, depth * share) for share in (0.35, 0.5, 0.65)], axis=0)
    even = _is_even(inside) and _is_even(outside, thick)
    other = np.linalg.norm(inside - outside, axis=1)[thick]
    return bool(even and (other >= _OTHER).mean() >= _BARE_SHARE)


def _at(band: Float64, depth: Float64) -> Float64:
    """(places, 3) the band at the nearest row to each depth."""
    rows = np.clip(np.round(depth).astype(int), 0, len(band) - 1)
    return np.asarray(band[rows, np.arange(band.shape[1])])


def _is_even(row: Float64, where: Bool | None = None) -> bool:
    """Whether the colours along a side are alike beside those around them."""
    pad = np.pad(row, ((_AROUND // 2, _AROUND // 2), (0, 0)), mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(pad, _AROUND, axis=0), axis=-1)
    near = np.linalg.norm(row - around, axis=1) < _BARE
    return bool((near if where is None else near[where]).mean() >= _BARE_SHARE)
