"""How a sheet ends at its corners: sharp, rounded by a radius, or worn and torn like the sides beside them."""

from dataclasses import dataclass

import numpy as np

from autoprep.correction.edges import CLEAR, CORNER, OUTWARD, Edges
from autoprep.imaging.arrays import Bool, Float32, Float64

FRINGE_PX = 0.5
"""So far inside its edge the sheet is cut, in pixels of the copy that edges are traced in."""

# A rounded corner: radii as shares of the longer side, and how well what is seen there must go with an arc. Chosen:
# the corners of notebooks are of 5 to 10 mm on pages of 130 to 300.
_LEAST_RADIUS, _ARC_FITS, _ARC_CLEAR = 0.006, 0.93, 0.85
# A page is cut with one tool: where so many corners have so nearly the same radius, one that the photo shows in part
# has it too, if so much of what would be cut off there is no sheet. (Of one that it shows whole the eye needs no help:
# the shade of a gutter beside the sharp corner of a spine is no sheet either.)
_FELLOWS, _ALIKE, _FELLOW_CLEAR = 2, 0.25, 0.6
_SHADED = 0.08  # natural log of light by which a shadow differs from the paper beside it
# Where a torn sheet ends at its corner: looked at from so many places on each of the two edges carried on straight.
# What is the desk lies within so many deviations of it, or so near, in natural log; paint at a corner seldom does.
_PLACES, _DESK_DEVIATIONS, _DESK = 10, 3.0, 0.3
_LEAST_PX = 1.5  # of desk; on the very line a pixel of it is seen anywhere


@dataclass(frozen=True)
class _Near:
    """What is seen at one corner, turned to be the upper left one.

    picture: (h, w, 3) from the surroundings to well within the sheet; margin_px: where the sheet begins; inside,
    outside: (3,) log light of sheet and surroundings; spread: how far the surroundings lie from theirs, in the mean;
    whole: the photo shows all of it.
    """

    picture: Float32
    margin_px: int
    inside: Float64
    outside: Float64
    spread: float
    whole: bool

    def is_sheet(self) -> Bool:
        """(h, w) of the sheet's own quarter: what is rather like the sheet than like its surroundings."""
        patch = np.log(self.picture[self.margin_px :, self.margin_px :])
        if self._alike():
            # A white page on a white desk: in the wedge beside its corner lies its shadow, and that shows.
            return np.asarray(np.abs(patch - self.inside).mean(-1) < _SHADED)
        return ~self._is_outside(patch - self.outside)

    def is_desk(self) -> Bool | None:
        """(h, w) of all of it: what is like the surroundings, and unlike the sheet; None where these are too alike."""
        if self._alike():
            return None
        off = np.log(self.picture) - self.outside
        light = off.mean(axis=-1, keepdims=True)
        near = max(_DESK, _DESK_DEVIATIONS * self.spread)
        # The sheet's own shadow lies there: as dark as it may be, but of the tint of what it falls on.
        like = (np.linalg.norm(off - light, axis=-1) < near) & (light[..., 0] < near)
        return np.asarray(like & self._is_outside(off))

    def _alike(self) -> bool:
        return float(((self.inside - self.outside) ** 2).sum()) < CLEAR**2

    def _is_outside(self, off: Float64 | Float32) -> Bool:
        """Whether what is so far off the surroundings, (..., 3) log light, is nearer to them than to the sheet."""
        way = self.inside - self.outside
        middle = np.log((np.exp(self.inside) + np.exp(self.outside)) / 2)
        return np.asarray((off * way).sum(-1) <= ((middle - self.outside) * way).sum())


class Corners:
    """The four corners of a sheet whose edges were traced; 0 is the upper left one, then clockwise."""

    def __init__(self, traced: Edges, fringe_px: float) -> None:
        """fringe_px: so far inside its edge a torn sheet is cut."""
        self._work, self._long_px, self._fringe_px = traced.work_px, traced.long_px, fringe_px
        self._near = [
            _near(np.rot90(traced.picture, k), np.rot90(traced.beyond, k), traced.margin_px, traced.long_px)
            for k in range(4)
        ]

    def radii(self) -> list[float]:
        """Radius in pixels of each corner; 0 where it is sharp, covered, or can't be told from the desk."""
        found = [_radius(near, self._long_px) for near in self._near]
        known = [radius for radius in found if radius]
        usual = float(np.median(known)) if known else 0.0
        if len(known) < _FELLOWS or max(abs(radius - usual) for radius in known) > _ALIKE * usual:
            return found
        return [
            radius or (usual if not near.whole and _free(near, usual) >= _FELLOW_CLEAR else 0.0)
            for radius, near in zip(found, self._near, strict=True)
        ]

    def between(self, corner: int, before: Float64, after: Float64) -> Float64:
        """(N, 2) how a torn sheet ends between the last place of one edge and the first of the next, clockwise.

        Places are in the work's frame, 0..1. Carried on straight the edges meet in one point; where desk lies between
        it and the sheet, the sheet's own border is followed instead.
        """
        square = meeting(corner, before, after)
        near = self._near[corner]
        desk = near.is_desk()
        if desk is None:
            return square[None]
        first, tip, last = (_to_upper_left(point, corner, self._work) for point in (before, square, after))
        legs = np.linspace(0, 1, _PLACES, endpoint=False)[:, None]
        places = np.concatenate([first + (tip - first) * legs, tip + (last - tip) * legs])[1:]
        within = np.array([last[0], first[1]]) + near.margin_px
        ways = [_over_desk(desk, place + near.margin_px, within) for place in places]
        if max(float(np.linalg.norm(way)) for way in ways) < _LEAST_PX:
            return square[None]
        moved = [place + self._further(way) for place, way in zip(places, ways, strict=True)]
        return np.array([_from_upper_left(point, corner, self._work) for point in moved])

    def _further(self, way: Float64) -> Float64:
        """A way over the desk, and on into the sheet by the fringe."""
        length = float(np.linalg.norm(way))
        return way * (1 + self._fringe_px / length) if length else way


def meeting(corner: int, before: Float64, after: Float64) -> Float64:
    """(2,) where two edges, carried on straight, meet: x from the upright one, y from the level one."""
    level, upright = (after, before) if corner % 2 == 0 else (before, after)
    return np.array([upright[0], level[1]])


def arc(corner: int, radius: float, work: tuple[int, int]) -> Float64:
    """(N, 2) a rounded corner in the work's frame, clockwise; 0 is the upper left one."""
    size = np.array(work, np.float64)
    middle = np.array([(0, 0), (1, 0), (1, 1), (0, 1)])[corner] * (size - 2 * radius) + radius
    angle = np.pi * (1 + corner / 2 + np.linspace(0, 0.5, 24))
    around = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.asarray((middle + max(radius - FRINGE_PX, 0.0) * around) / size, np.float64)


def _near(picture: Float32, beyond_photo: Float32, margin_px: int, long_px: int) -> _Near:
    reach, beyond = round(CORNER * long_px), max(2, margin_px - round(OUTWARD * long_px))
    near = picture[: margin_px + reach, : margin_px + reach]
    around = np.concatenate([near[:beyond].reshape(-1, 3), near[:, :beyond].reshape(-1, 3)])
    within = near[margin_px + reach * 2 // 3 :, margin_px + reach * 2 // 3 :].reshape(-1, 3)
    outside = np.log(around.mean(axis=0))
    spread = float(np.linalg.norm(np.log(around) - outside, axis=-1).mean())
    whole = not (beyond_photo[: margin_px + reach, : margin_px + reach] > 0).any()
    return _Near(near, margin_px, np.log(np.median(within, axis=0)), outside, spread, whole)


def _radius(near: _Near, long_px: int) -> float:
    is_sheet, reach = near.is_sheet(), round(CORNER * long_px)
    on_diagonal = np.diagonal(is_sheet)
    if on_diagonal.size < 2:
        return 0.0  # of a work of a few pixels no corner is seen
    first = int((on_diagonal[:-1] & on_diagonal[1:]).argmax())
    # Where a corner of radius r is rounded, the sheet begins r (1 - 1 / sqrt 2) along each side.
    radius = first / (1 - np.sqrt(0.5))
    if not _LEAST_RADIUS * long_px <= radius <= reach:
        return 0.0
    square = is_sheet[: int(radius), : int(radius)]
    cut = _cut_off(square, radius)
    fits = float((square != cut).mean()) >= _ARC_FITS and float((~square[cut]).mean()) >= _ARC_CLEAR
    return float(radius) if fits else 0.0


def _cut_off(square: Bool, radius: float) -> Bool:
    """(h, w) what a rounded corner leaves out of the square around it."""
    ys, xs = np.mgrid[0 : square.shape[0], 0 : square.shape[1]] + 0.5
    return np.asarray((xs - radius) ** 2 + (ys - radius) ** 2 > radius**2)


def _free(near: _Near, radius: float) -> float:
    """Share of what a corner of this radius leaves out that is no sheet."""
    square = near.is_sheet()[: int(radius), : int(radius)]
    return float((~square[_cut_off(square, radius)]).mean())


def _over_desk(desk: Bool, start: Float64, end: Float64) -> Float64:
    """(2,) how far from start it is desk, on the way to end; to the end at most."""
    way = end - start
    count = max(2, int(np.ceil(np.linalg.norm(way))))
    points = start + way * (np.arange(count)[:, None] / count)
    x, y = np.clip(points.astype(int), 0, np.array(desk.shape)[::-1] - 1).T
    off = ~desk[y, x]
    both = np.flatnonzero(off[:-1] & off[1:])  # one pixel alone is grain
    return np.asarray(way * ((both[0] if len(both) else count) / count), np.float64)


def _to_upper_left(point: Float64, corner: int, work: tuple[int, int]) -> Float64:
    """A place in the work's frame, 0..1, in pixels of the work turned until this corner is the upper left one."""
    width, height = work
    x, y = point[0] * width, point[1] * height
    for _ in range(corner):
        x, y, width, height = y, width - x, height, width
    return np.array([x, y])


def _from_upper_left(point: Float64, corner: int, work: tuple[int, int]) -> Float64:
    x, y = point
    width, height = work if corner % 2 == 0 else work[::-1]
    for _ in range(corner):
        x, y, width, height = height - y, x, height, width
    return np.array([x / width, y / height])
