"""Sides that bend: a sheet that does not lie flat, or that the lens bows, ends in smooth curves and not in four lines.

Without it a wedge of desk stays along such a side, or some of the work is cut off. Beside each side of the outline the
clearest step from one surface to another is followed; where it is one smooth curve that touches the outline's line, and
leaves it, the side is that curve. What wanders from place to place is a torn edge (see silhouette) and no bend.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from autoprep.correction.edges import Edges, strip
from autoprep.domain import Side
from autoprep.imaging.arrays import Bool, Float32, Float64, Int32
from autoprep.imaging.bow import PLACES

LEAST_BENDS = (0.0012, 0.0005)
"""A curve that leaves the outline's line by less, as a share of the work's longer side, is left alone: at first, and
once such a bend has been followed."""
# Shares of the work's longer side. The outline stands so far outside the work. Its line was laid through the edge: a
# curve that comes nowhere so near to it, or leaves it so far, is another one; so is one that leaves it by a slant, and
# bends by less than this part of that.
_ROOM, _TOUCHES, _FARTHEST, _BENDS = 0.0002, 0.0012, 0.02, 0.3
# Places of a smooth edge lie on its curve within so much (share, and pixels of the picture), nearly all of them; those
# of torn ones do not. At so many an edge is seen.
_NEAR, _NEAR_PX, _MOST_OFF, _LEAST_SEEN = 0.0003, 0.5, 0.1, 0.5
_STRAIGHT = 0.75  # where more places lie so near to one line, the side is straight, whatever the others do
_PULLS = 4  # the fit is moved by places that are off by less than so many times that
_PLACES, _ENDS = 180, 5  # looked at along a side; left out at its ends, where the other sides' edges come in
_AT = 2 * (np.arange(_PLACES) + 0.5) / _PLACES - 1
# Of the fit; what a place counts where nothing is seen, for the outline's line, and where the curve leaves the photo.
_ROUNDS, _UNSEEN, _WITHIN = 12, 0.02, 0.5
# A step is the difference of what lies on both sides, near and a little further away (so that a drawn line is none), in
# square roots of light; from this on it is as clear as can be. Less than this share of it is nothing.
_NEAR_BY, _AROUND, _CLEAREST, _SEEN = 3, 8, 0.15, 0.4
_LEAST_MARGIN_PX = 2 * _AROUND  # with less around it a work is too small to tell
# The path: what it costs to move across by a pixel, and to be as far from the line as is looked; a place beyond the
# photo's border counts as much as a faint step.
_ACROSS, _AWAY, _BORDER = 0.15, 0.2, 0.25


def bent_sides(traced: Edges, cut: tuple[bool, ...], least: float) -> tuple[Side, Side, Side, Side] | None:
    """How far inward the edge of the work runs on each side (see domain.Geometry); None where all keep their lines.

    cut: whether the top, right, bottom and left side is the photo's border; least: see LEAST_BENDS.
    """
    found = [np.zeros(PLACES) if cut[k] else _bend(traced, k, least) for k in range(4)]
    if not any(side.any() for side in found):
        return None
    top, right, bottom, left = (_side(side[::-1] if k >= 2 else side) for k, side in enumerate(found))
    return top, right, bottom, left


def _side(places: Float64) -> Side:
    first, second, third, fourth, last = (round(float(place), 6) for place in places)
    return first, second, third, fourth, last


def _bend(traced: Edges, side: int, least: float) -> Float64:
    """(PLACES,) shares of the longer side that a smooth edge runs inward at even places, clockwise; zeros where it is
    straight, or not smooth."""
    straight, long_px = np.zeros(PLACES), traced.long_px
    if traced.margin_px < _LEAST_MARGIN_PX:
        return straight
    path = _followed(traced, side)
    if path.seen.mean() < _LEAST_SEEN:
        return straight
    near = _NEAR_PX + _NEAR * long_px
    if (np.abs(path.inward - np.polyval(_line(path, near), _AT))[path.seen] < near).mean() > _STRAIGHT:
        return straight
    shape = _smooth(path, near)
    curve = np.polyval(shape, _AT) / long_px
    leaves, bends = np.abs(curve), np.abs(curve - np.linspace(curve[0], curve[-1], _PLACES)).max()
    off = np.abs(path.inward / long_px - curve)[path.seen] > near / long_px
    if off.mean() > _MOST_OFF or leaves.min() > _TOUCHES or not least <= leaves[path.seen].max():
        return straight
    # It leaves the photo nowhere where the outline's line does not.
    out = (np.minimum(path.border, 0) / long_px - curve).max()
    if leaves.max() > _FARTHEST or bends < _BENDS * leaves.max() or out > _TOUCHES:
        return straight
    return np.asarray(np.polyval(shape, np.linspace(-1, 1, PLACES)) / long_px - _ROOM, np.float64)


def _line(path: "_Path", near: float) -> Float64:
    """The straight line that most places of an edge lie on."""
    return _agreed(path.inward, path.seen.astype(np.float64), near, 1)


def _smooth(path: "_Path", near: float) -> Float64:
    """The polynomial that most places of an edge lie on.

    Where none is seen it keeps to the outline's line, a little, and within the photo.
    """
    shape = _agreed(path.inward, path.seen.astype(np.float64), near, PLACES - 1)
    for _ in range(_ROUNDS):
        curve = np.polyval(shape, _AT)
        goal = np.where(path.seen, path.inward, np.maximum(path.border, 0.0))
        off = np.abs(path.inward - curve) / (_PULLS * near)
        weight = np.where(path.seen, np.where(off < 1, (1 - off**2) ** 2, 0), _UNSEEN)
        weight[:_ENDS] = weight[-_ENDS:] = 0
        weight = np.where(~path.seen & (curve < path.border), _WITHIN, weight + 1e-6)
        shape = np.polyfit(_AT, goal, PLACES - 1, w=np.sqrt(weight))
    return np.asarray(shape, np.float64)


def _agreed(values: Float64, trust: Float64, near: float, degree: int) -> Float64:
    """A polynomial through values at even places: those that are off count less from round to round."""
    shape = np.polyfit(_AT, values, degree, w=np.sqrt(trust))
    for _ in range(_ROUNDS):
        off = np.abs(values - np.polyval(shape, _AT)) / (_PULLS * near)
        shape = np.polyfit(_AT, values, degree, w=np.sqrt(trust * np.where(off < 1, (1 - off**2) ** 2, 0) + 1e-6))
    return np.asarray(shape, np.float64)


@dataclass(frozen=True)
class _Path:
    """The clearest path along a side, clockwise: (_PLACES,) pixels inward, where an edge is seen on it, and how far
    inward the photo's border lies."""

    inward: Float64
    seen: Bool
    border: Float64


def _followed(traced: Edges, side: int) -> _Path:
    reach = min(round(_FARTHEST * 1.1 * traced.long_px), traced.margin_px - _AROUND)
    rows = (traced.margin_px - reach - _AROUND, traced.margin_px + reach + _AROUND)
    code = np.sqrt(strip(traced.picture, side, traced.margin_px, rows, _PLACES))
    near_by, around = _differences(code, (_NEAR_BY, _AROUND))
    step = np.minimum(np.minimum(near_by, around) / np.float32(_CLEAREST), 1)
    first = _AROUND - _NEAR_BY  # what lies outside of a step must be in the photo
    beyond = strip(traced.beyond, side, traced.margin_px, rows, _PLACES)[:, first : first + step.shape[1]] > 0
    step[beyond] = _BORDER
    away = np.abs(np.arange(step.shape[1]) - reach) / reach
    path, places = _clearest_path(step - np.float32(_AWAY) * away.astype(np.float32)), np.arange(_PLACES)
    seen = (step[places, path] >= _SEEN) & ~beyond[places, path]
    seen[:_ENDS] = seen[-_ENDS:] = False
    # At a corner that lies beyond the photo all of it is beyond, whatever this side does.
    border = np.where(beyond.all(axis=1), 0, beyond.argmin(axis=1)) - float(reach)
    return _Path(_middle(near_by, path) - reach, seen, np.asarray(border - _NEAR_BY, np.float64))


def _middle(step: Float32, path: Int32) -> Float64:
    """(n,) where the middle of the step is that a path follows to a pixel or two."""
    middle = path.astype(np.float64)
    for _ in range(2):  # where a clear step is wide the path takes the nearest way through it
        start = np.round(middle).astype(np.int64)[:, None]
        around = np.clip(start + np.arange(-_NEAR_BY, _NEAR_BY + 1), 0, step.shape[1] - 1)
        weight = np.take_along_axis(step, around, axis=1).astype(np.float64) ** 2 + 1e-12
        middle = (weight * around).sum(axis=1) / weight.sum(axis=1)
    return np.asarray(middle, np.float64)


def _differences(code: Float32, widths: tuple[int, ...]) -> list[Float32]:
    """(n, 2 reach + 1) for each width: how much the mean of so many pixels inside of each place differs from that
    outside of it."""
    whole = np.cumsum(np.pad(code, ((0, 0), (1, 0), (0, 0)), mode="constant"), axis=1, dtype=np.float64)
    first, last = _AROUND, code.shape[1] - _AROUND + 1
    middle, found = 2 * whole[:, first:last], []
    for width in widths:
        twice = whole[:, first + width : last + width] - middle + whole[:, first - width : last - width]
        found.append(np.asarray(np.sqrt(np.einsum("ijk,ijk->ij", twice, twice)) / width, np.float32))
    return found


def _clearest_path(worth: Float32) -> Int32:
    """(n, m) worth of each place -> (n,) the path of the greatest sum; it moves by one at most from row to row."""
    sums = worth.astype(np.float64)
    for before, here in pairwise(sums):
        aside = before - _ACROSS
        best = before.copy()
        np.maximum(best[1:], aside[:-1], out=best[1:])
        np.maximum(best[:-1], aside[1:], out=best[:-1])
        np.add(here, best, out=here)
    path = np.empty(len(worth), np.int32)
    path[-1] = at = int(sums[-1].argmax())
    for row in range(len(worth) - 2, -1, -1):
        # From the left, from straight on, or from the right: the first of equals.
        near = sums[row, max(0, at - 1) : at + 2].tolist()
        on = min(at, 1)
        ways = [value if k == on else value - _ACROSS for k, value in enumerate(near)]
        path[row] = at = at - on + ways.index(max(ways))
    return path
