"""Where the edge of a sheet runs along each side of its outline: the place where the surface stops being like the sheet
and starts being like what lies around it.
"""

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import Bool, Float32, Float64
from autoprep.imaging.resample import Span

MARGIN = 0.03  # looked at beyond and within each side, as a share of the work's longer side
SAMPLES = 360  # places along a side
INWARD, OUTWARD = 0.024, 0.022
CORNER = 0.08  # a rounded corner has this radius at most, and so far along both sides it is looked at
CLEAR = 0.35  # least difference between sheet and surroundings, in natural log units of light
_DEEPEST = 0.018
# So far behind an edge is looked at, and so rarely may desk come back there: behind torn edges .04 at most, behind
# those that the pattern of a cloth makes up .05-.7 but for two.
_LOOKED_AT, _MOST_BACK = 0.008, 0.045
# A tear goes in in so many places at least; where so many go on beyond _DEEPEST, it is followed so deep.
_TEARS, _DEEP, _DEEP_INWARD = 4, 0.038, 0.046
# On a desk that is as light as the sheet, the sheet's own shadow tells its edge: it lies so far outside the line (from,
# to), and differs from the sheet by so much at least. So deep a gap between line and edge counts; in so many of them
# something may end at the line, by so much of what sheet and shadow differ, or in another colour. (720 photos of seeds
# 104000-: px of 2000 left at 95 % 3.0 -> .2; no sheet that is cut straight gets a torn edge by this.)
_NEAR, _NEAR_CLEAR, _GAP, _MOST_ENDS, _STEP, _TINT = (0.010, 0.003), 0.25, 0.004, 0.3, 0.4, 0.3


@dataclass(frozen=True)
class Edges:
    """The edges of a work that lies in the middle of picture, linear light, with margin_px of surroundings about it.

    Of the picture there is what `looked_at` says; the rest is 0.
    beyond: (H, W) more than 0 where the photo does not reach. inward: for the top, and then clockwise, (SAMPLES,) how
    far inward of the outline's line the edge runs, in pixels, each from the end that comes first clockwise; None where
    sheet and surroundings can't be told apart.
    """

    picture: Float32
    margin_px: int
    beyond: Float32
    inward: tuple[Float64 | None, ...]

    @property
    def work_px(self) -> tuple[int, int]:
        """(width, height) of the work."""
        height, width = self.picture.shape[:2]
        return width - 2 * self.margin_px, height - 2 * self.margin_px

    @property
    def long_px(self) -> int:
        """The work's longer side."""
        return max(self.work_px)


def trace(framed: Float32, margin_px: int, beyond: Float32 | None = None) -> Edges:
    """(H, W, 3) linear light of the work with margin_px of surroundings on each side -> its edges.

    Only what `looked_at` says is read of it.

    beyond: (H, W) more than 0 where the photo does not reach; by default it reaches everywhere.
    """
    height, width = framed.shape[:2]
    long_px = max(width, height) - 2 * margin_px
    picture = np.zeros((height, width, 3), np.float32)
    for (top, bottom), (left, right) in _rim((width, height), margin_px):
        first, start = max(0, top - _BLUR_REACH), max(0, left - _BLUR_REACH)
        around = framed[first : bottom + _BLUR_REACH, start : right + _BLUR_REACH]
        calm = cast(Float32, cv2.GaussianBlur(around, (_BLUR_SIDE, _BLUR_SIDE), 0.6))
        calm = calm[top - first : bottom - first, left - start : right - start]
        np.maximum(calm, np.float32(0.004), out=picture[top:bottom, left:right])
    inward = (_traced(picture, turn, margin_px, long_px) for turn in range(4))
    if beyond is None:
        beyond = np.zeros((height, width), np.float32)
    return Edges(picture, margin_px, beyond, tuple(inward))


# The blur that noise is looked at through has so many pixels on each side of the one in its middle.
_BLUR_REACH = 3
_BLUR_SIDE = 2 * _BLUR_REACH + 1


def looked_at(size: tuple[int, int], margin_px: int) -> list[tuple[Span, Span]]:
    """The rows and columns of a picture of (width, height) pixels, margin and all, that `trace` looks at: no more of
    the work than a band along its sides, and its corners."""
    return _rim(size, margin_px, _BLUR_REACH)


def _rim(size: tuple[int, int], margin_px: int, more_px: int = 0) -> list[tuple[Span, Span]]:
    """The rows and columns that edges, bends (see bend: as far inward as outward) and corners are read from."""
    width, height = size
    long_px = max(size) - 2 * margin_px
    deep = margin_px + max(margin_px, round(_DEEP_INWARD * long_px)) + more_px
    corner = max(deep, margin_px + round(CORNER * long_px) + more_px)
    if 2 * corner >= min(size):
        return [((0, height), (0, width))]
    level = [((0, deep), (0, width)), ((height - deep, height), (0, width))]
    down = (((deep, corner), corner), ((corner, height - corner), deep), ((height - corner, height - deep), corner))
    upright = [(rows, columns) for rows, depth in down for columns in ((0, depth), (width - depth, width))]
    return level + [(rows, columns) for rows, columns in upright if rows[0] < rows[1]]


def wander(edge: Float64) -> float:
    """How much an edge wanders from place to place, in pixels: a bent or slanted one does not count."""
    flat = np.clip(edge, -1e4, 1e4).astype(np.float32).reshape(-1, 1)
    slow = cv2.blur(cast(Float32, cv2.medianBlur(flat, 5)), (1, 41), borderType=cv2.BORDER_REFLECT)
    rest = (flat - slow).ravel()[len(edge) // 12 : -len(edge) // 12]
    return float(np.sort(np.abs(rest))[int(0.8 * len(rest))])


_TURNED = {1: cv2.ROTATE_90_COUNTERCLOCKWISE, 2: cv2.ROTATE_180, 3: cv2.ROTATE_90_CLOCKWISE}


def strip(picture: Float32, turn: int, margin_px: int, rows: tuple[int, int], samples: int) -> Float32:
    """(samples, depth[, C]): from outside to inside along one side; 0 is the top, then right, bottom, left.

    rows: the first row of the picture, turned so that the side is on top, and the one after the last.
    """
    band = np.rot90(picture, turn)[rows[0] : rows[1], margin_px:-margin_px]
    if turn:  # turned by the library, from how it lies in memory, it takes a fifth of the time
        band = cast(Float32, cv2.rotate(np.rot90(band, -turn), _TURNED[turn]))
    across = cast(Float32, cv2.resize(band, (samples, len(band)), interpolation=cv2.INTER_AREA))
    return np.ascontiguousarray(np.swapaxes(across, 0, 1))


def _traced(picture: Float32, turn: int, margin_px: int, long_px: int) -> Float64 | None:
    """(SAMPLES,) the edge along one side: against its surroundings, or, where those are like it, its own shadow."""

    def seen(inward: float) -> Float32:
        return strip(picture, turn, margin_px, (0, margin_px + round(inward * long_px)), SAMPLES)

    shallow = seen(INWARD)
    edge = _edge(shallow, margin_px, long_px)
    if edge is None:
        # A thing that lies over the edge, and its shadow, are one gap or two; a cloth's pattern makes none so deep.
        edge = _edge(shallow, margin_px, long_px, near=True)
        return edge if edge is not None and _gaps(edge, _GAP * long_px) >= _TEARS else None
    if _gaps(edge, 0.9 * _DEEPEST * long_px) < _TEARS:
        return edge
    deep = _edge(seen(_DEEP_INWARD), margin_px, long_px, _DEEP)
    return edge if deep is None else deep


def _gaps(edge: Float64, depth_px: float) -> int:
    """In how many separate places an edge lies deeper than so: that of a tear does in several."""
    deep = np.concatenate([[False], edge > depth_px])
    return int((deep[1:] & ~deep[:-1]).sum())


def _edge(seen: Float32, margin_px: int, long_px: int, deepest: float = _DEEPEST, near: bool = False) -> Float64 | None:
    """(samples,) distance of the sheet's edge from the line, in pixels, inward positive; None where none is seen.

    deepest: how far it is followed, as a share of the longer side; near: against the shadow just outside the line.
    """
    from_row, to_row = _surroundings(margin_px, long_px, near)
    outside = _local(seen[:, from_row:to_row].mean(axis=1))
    inside = _local(np.median(seen[:, -max(3, round(0.006 * long_px)) :], axis=1))
    way = np.log(inside) - np.log(outside)
    size = (way**2).sum(-1)
    clear = _NEAR_CLEAR if near else CLEAR
    if np.median(size) < clear**2 or np.quantile(size, 0.1) < (0.5 * clear) ** 2:
        return None
    share = np.einsum("ijk,ik->ij", np.log(seen / outside[:, None]), way) / size[:, None]
    # A pixel half of sheet and half of desk has the mean of their light, which is not the mean of its logarithms.
    half = (np.log((inside + outside) / 2 / outside) * way).sum(-1) / size
    is_sheet = share > half[:, None]
    if near:
        is_sheet[:, :to_row] = False  # the lit desk beyond the shadow is as light as the sheet
    # From outside inwards, the sheet begins where two pixels in a row are sheet: a drawing that comes near the edge
    # lies behind that place.
    both = is_sheet[:, :-1] & is_sheet[:, 1:]
    # At a corner whose other side is torn there may be no sheet at all: its edge is that of the place beside it.
    place = np.where(both.any(1), both.argmax(1) - margin_px, seen.shape[1]).astype(np.float32)
    # What reaches deeper than paper tears is a thing that lies over the edge; the edge goes on below it.
    torn = np.abs(place) <= deepest * long_px
    if torn.mean() < 0.5:
        return None
    # From an edge that seems to begin far outside, up to the outline.
    reach = np.maximum(_LOOKED_AT * long_px, _LOOKED_AT / 2 * long_px - place)
    if _turns_back(is_sheet, place + margin_px, reach) > _MOST_BACK:
        return None
    if near and _ends_at_line(seen, place > _GAP * long_px, margin_px, size) > _MOST_ENDS:
        return None
    index = np.arange(len(place))
    place = np.interp(index, index[torn], place[torn]).astype(np.float32)
    return np.asarray(cv2.medianBlur(place.reshape(-1, 1), 3), np.float64).ravel()


def _surroundings(margin_px: int, long_px: int, near: bool) -> tuple[int, int]:
    """The rows, from outside inwards, that show what lies around a sheet: its ground, or its own shadow on that."""
    if not near:
        return 0, max(2, margin_px - round(OUTWARD * long_px))
    first, last = (max(0, margin_px - round(share * long_px)) for share in _NEAR)
    return first, max(last, first + 2)


def _ends_at_line(seen: Float32, gap: Bool, margin_px: int, size: Float64) -> float:
    """The share of places with a gap between line and edge where something ends at the line: what is painted up to the
    edge of a sheet does; a shadow that lies in its tears goes on, or only fades, in no colour of its own.

    size: (samples,) the squared difference of sheet and outside.
    """
    if not gap.any():
        return 0.0
    inner, outer = seen[gap, margin_px + 2 : margin_px + 4], seen[gap, margin_px - 4 : margin_px - 2]
    step = np.log(outer.mean(axis=1)) - np.log(inner.mean(axis=1))
    light = step.mean(axis=-1, keepdims=True)
    long = (step**2).sum(-1)
    fades = (light[:, 0] > 0) & (((step - light) ** 2).sum(-1) < _TINT**2 * long)
    return float(((long > _STEP**2 * size[gap]) & ~fades).mean())


def _turns_back(is_sheet: Bool, start: Float32, reach: Float32) -> float:
    """The share of places behind which the sheet gives way to what looks like desk again.

    A torn edge is passed once. The pattern of a cloth looks like sheet here and there before the sheet begins.
    """
    column = np.arange(is_sheet.shape[1])[None, :]
    behind = (column > start[:, None] + 1) & (column <= (start + reach)[:, None])
    return float(((~is_sheet) & behind).any(axis=1).mean())


def _local(values: Float32) -> Float32:
    """(samples, 3) smoothed along the side: the surroundings change slowly, single samples are noisy."""
    calm = cv2.GaussianBlur(values.reshape(1, -1, 3), (0, 0), 12.0, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(calm[0], np.float32)
