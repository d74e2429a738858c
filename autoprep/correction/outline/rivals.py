"""Each side of an outline among its rivals: the straight edges that run along it, near it, and what tells them apart.

A cast shadow's border, a drawn line, the edge of a sheet below: each can be clearer than the sheet's own edge. What is
looked at: whether the edge runs up to both corners and no further, whether the neighbours end at it, what lies on
either side of it, and what the second eye makes of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64, float32
from autoprep.imaging.geometry import homography, intersect, line_through, mean_size, project, rectangle
from autoprep.imaging.planes import weighted

# The outline is squared to this long side, with a band around it of this share of that: so far away rivals are seen.
_LONG_PX, _BAND = 720, 0.07
_WEIGHT = float32([1.0, 1.6, 1.6])
# A rival may lean against the side by so many pixels from end to end; what lies this near a clearer one is the same; so
# many of a side are kept, and none that is less clear.
_LEAN_PX, _SAME_PX, _MOST, _LEAST = 44, 5, 6, 0.3
_CREST_PX = 4  # an edge is so wide that its crest lies this near any line in it
_COLUMNS = 96  # places along a side that are looked at
_BEYOND = 12  # and beyond each of its ends

NAMES = (
    "support", "support_weakest", "support_first", "support_last", "strength", "ridge", "width",
    "overrun_most", "overrun_least", "to_eye", "from_eye", "lean", "to_side",
    "mask_inside", "mask_outside", "mask_step", "eye_edge",
    "light_step", "colour_step", "light_step_spread", "colour_step_spread", "dip", "dip_spread",
    "out_far_light", "out_far_colour", "in_deep_light", "in_deep_colour", "out_in_light", "out_in_colour",
    "out_texture", "in_texture", "far_texture", "deep_texture",
    "ends_inside", "ends_outside", "ends_inside_least", "ends_outside_most", "shown", "shown_far",
    "deeper_rivals", "outer_rivals", "deeper_support", "outer_support",
)  # fmt: skip
"""The features' names, in column order."""
_AMONG_RIVALS = NAMES[-4:]

# Features by name, (N,) each.
_Told = dict[str, AnyArray]


@dataclass(frozen=True)
class Rivals:
    """The edges along one side: (N, 2) depths at its first and last corner, in pixels of the squared view, outwards
    negative, the side itself first; and (N, len(NAMES)) features."""

    ends_px: Float64
    features: Float64


@dataclass(frozen=True)
class View:
    """An outline squared, with a band around it: what its sides are looked at on.

    lab: (H, W, 3) float32 L*a*b*; maps: (H, W, 2) float32 the eye's mask and edge map; shown: (H, W) float32
    whether the photo shows it; band: its width in pixels; matrix: from the photo to the view.
    """

    lab: Float32
    maps: Float32
    shown: Float32
    band: int
    matrix: Float64


def squared(lab: Float32, maps: Float32, quad: Float64) -> View:
    """(h, w, 3) float32 L*a*b* of the photo, (2, n, n) maps of the eye, (4, 2) corners in the photo's pixels."""
    wide, high = mean_size(quad)
    scale = _LONG_PX / max(wide, high)
    size = (max(120, round(wide * scale)), max(120, round(high * scale)))
    band = round(_BAND * max(size))
    matrix = homography(quad, rectangle(*size) + band)
    whole = (size[0] + 2 * band, size[1] + 2 * band)
    flags = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    view = cv2.warpPerspective(lab, matrix, whole, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    n = maps.shape[1]
    to_map = np.diag([lab.shape[1] / n, lab.shape[0] / n, 1.0])
    seen = cv2.warpPerspective(
        np.ascontiguousarray(maps.transpose(1, 2, 0)), matrix @ to_map, whole, borderMode=cv2.BORDER_REPLICATE
    )
    return View(cast(Float32, view), cast(Float32, seen), _shown(lab.shape[:2], matrix, whole), band, matrix)


def _shown(shape: tuple[int, ...], matrix: Float64, whole: tuple[int, int]) -> Float32:
    """(H, W) float32, 1 where a photo of (height, width) shows a view of (width, height), else 0."""
    back = np.concatenate([rectangle(*whole), np.ones((4, 1))], axis=1) @ np.linalg.inv(matrix).T
    if (back[:, 2] > 0).all() or (back[:, 2] < 0).all():  # else what lies between the corners may lie beyond them
        places = back[:, :2] / back[:, 2:]
        if (places >= 1).all() and (places <= (shape[1] - 2, shape[0] - 2)).all():
            return np.ones(whole[::-1], np.float32)
    inside = np.ones(shape, np.float32)
    return cast(Float32, cv2.warpPerspective(inside, matrix, whole, flags=cv2.INTER_NEAREST))


def corners_of(view: View, ends_px: Sequence[Float64]) -> Float64:
    """(4, 2) corners in the photo's pixels, from the depths of each side's ends in the view."""
    lines = []
    for side in range(4):
        across, _ = _turned_size(view, side)
        first, last = np.asarray(ends_px[side]) + view.band
        ends = np.array([[view.band, first], [across - view.band, last]])
        lines.append(line_through(*_turned_back(view, side, ends)))
    flat = np.array([intersect(lines[k - 1], lines[k]) for k in range(4)])
    return project(np.linalg.inv(view.matrix), flat)


def depths(view: View, quad: Float64, side: int) -> Float64:
    """(2,) how deep a side of other (4, 2) corners in the photo lies at the view's corners, outwards negative."""
    ends = project(view.matrix, quad[[side, (side + 1) % 4]])
    width, height = view.shown.shape[1], view.shown.shape[0]
    for _ in range(side):
        ends, width, height = np.stack([ends[:, 1], width - ends[:, 0]], axis=1), height, width
    slope = (ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0])
    return np.asarray(ends[0, 1] + slope * (np.array([view.band, width - view.band]) - ends[0, 0]) - view.band)


def _turned_size(view: View, side: int) -> tuple[int, int]:
    """(across, down) of the view, turned so that a side is at the top."""
    height, width = view.shown.shape
    return (width, height) if side % 2 == 0 else (height, width)


def _turned_back(view: View, side: int, points: Float64) -> Float64:
    """(N, 2) points of the view that was turned so that a side is at the top, in the view as it is."""
    across, down = _turned_size(view, side)
    for _ in range(side):  # clockwise
        points, across, down = np.stack([down - points[:, 1], points[:, 0]], axis=1), down, across
    return points


def rivals(view: View, side: int, eye_px: Float64) -> Rivals:
    """The edges along a side (0-3: top, right, bottom, left).

    eye_px: (2,) the depths of the eye's own side (see depths).
    """
    strip = _Strip(view, side)
    ends = np.array([(0.0, 0.0), *strip.ridges()])
    features = strip.described(ends, eye_px)
    return Rivals(ends, np.concatenate([features, _beside(ends, features[:, 0])], axis=1))


def _beside(ends_px: Float64, support: Float64) -> Float64:
    """(N, 4) how many of the edges lie deeper than each and how many further out, and the best support of either."""
    middle = ends_px.mean(axis=1)
    deeper = middle[None] > middle[:, None] + _SAME_PX
    outer = middle[None] < middle[:, None] - _SAME_PX
    best = [(side * support).max(axis=1) for side in (deeper, outer)]
    return np.stack([deeper.sum(axis=1), outer.sum(axis=1), *best], axis=1).astype(np.float64)


class _Strip:
    """One side with its band, turned so that the outside is above: rows are depth, columns run along the side.

    lab: (R, C, 3), maps: (R, C, 2), shown, gradient: (R, C); t: (C,) where the columns lie on the side, 0..1; rows: of
    them so many lie in the band and as deep again inside; floor: the gradient that counts as nothing.
    """

    def __init__(self, view: View, side: int) -> None:
        lab, maps, shown = (np.rot90(plane, side) for plane in (view.lab, view.maps, view.shown))
        self.band, self.rows = view.band, 2 * view.band
        high, inner = self.rows + 8, lab.shape[1] - 2 * view.band
        self.t = (np.arange(_COLUMNS) + 0.5) / _COLUMNS
        self._columns = view.band + self.t * inner
        beyond = np.arange(1, _BEYOND + 1) / (_BEYOND + 1) * 0.9 * view.band
        self._before, self._after = view.band - beyond, view.band + inner + beyond
        calm = self._calm = cast(Float32, cv2.blur(weighted(np.ascontiguousarray(lab[:high]), _WEIGHT), (7, 1)))
        self.lab, self.maps, self.shown = (plane[:high][:, self._columns.astype(int)] for plane in (calm, maps, shown))
        self.gradient = _gradient(self.lab) * self.shown
        self.floor = float(np.percentile(self.gradient[self.shown > 0], 60)) + 0.5 if self.shown.any() else 1.0
        self.beyond = [_gradient(calm[:, places.astype(int)]) for places in (self._before, self._after)]
        # The neighbours' own edges, by depth: the change along the side near each corner.
        self.neighbours = [self._neighbour(view.band), self._neighbour(view.band + inner)]

    def _neighbour(self, column: int) -> Float64:
        """(R,) how clear the neighbouring side's edge is at each depth, 0..1."""
        low, high = max(0, column - 7), min(self._calm.shape[1], column + 8)
        part = cast(Float32, cv2.blur(np.ascontiguousarray(self._calm[:, low:high]), (1, 5)))
        step = part[:, 4:] - part[:, :-4]
        change = np.sqrt(np.einsum("ijk,ijk->ij", step, step)).max(axis=1)
        return np.asarray(np.minimum(change / (3 * self.floor), 1.0), np.float64)

    def ridges(self) -> list[tuple[float, float]]:
        """(first, last) depths of the clearest straight edges, clearest first."""
        t, rows = self.t[3:-3], np.arange(self.rows)
        left = np.minimum(self.gradient[: self.rows, 3:-3] / np.float32(3 * self.floor), 1).astype(np.float32)
        leans = np.arange(-_LEAN_PX, _LEAN_PX + 1, _CREST_PX)
        shifts = np.round((t - 0.5) * leans[:, None]).astype(int)
        at = np.clip(rows[None, :, None] + shifts[:, None], 0, self.rows - 1) * len(t) + np.arange(len(t))
        found: list[tuple[float, float]] = []
        for _ in range(_MOST):
            score = left.ravel().take(at).mean(axis=2)
            score[:, :3] = score[:, -3:] = 0
            k, row = divmod(int(score.argmax()), self.rows)
            if score[k, row] < _LEAST:
                break
            first, last = self._crest(left > 0, row - leans[k] / 2, row + leans[k] / 2)
            found.append((first - self.band, last - self.band))
            # What this edge explains is taken away: the next must be another one.
            near = np.abs(rows[:, None] - (first + (last - first) * t)[None]) <= _SAME_PX
            left = np.where(near, 0, left)
        return found

    def _crest(self, free: AnyArray, first: float, last: float) -> tuple[float, float]:
        """The rows of both ends of a line, moved onto the crest of its edge, where it is free of others."""
        moves = np.arange(-_CREST_PX, _CREST_PX + 1)
        ends = np.stack(np.meshgrid(first + moves, last + moves, indexing="ij"), axis=-1).reshape(-1, 2)
        at = np.clip(np.round(ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * self.t[3:-3]).astype(int), 0, self.rows - 1)
        height = (np.minimum(self.gradient[: self.rows, 3:-3], 12 * self.floor) * free)[
            at, np.arange(at.shape[1])
        ].mean(axis=1)
        best = ends[int(height.argmax())]
        return float(best[0]), float(best[1])

    def _along(self, plane: Float32, lines: Float64, shifts: AnyArray) -> Float32:
        """(N, S, C, ...) what a plane shows along each of (N, 2) lines, moved inwards by so many rows."""
        first, last = lines[:, 0, None, None], lines[:, 1, None, None]
        rows = np.round(self.band + first + (last - first) * self.t + shifts[:, None]).astype(int)
        return np.asarray(plane[rows.clip(0, plane.shape[0] - 1), np.arange(len(self.t))], np.float32)

    def described(self, lines: Float64, eye_px: Float64) -> Float64:
        """(N, 2) depths at the first and last corner -> (N, F) features, in the order of NAMES but for those that need
        the other edges. All lines in one pass: of so few places each pass costs as much for one as for seven."""
        told = {
            **self._edge(lines), **self._course(lines, eye_px), **self._seen_by_eye(lines), **self._materials(lines),
            **self._corners(lines),
        }  # fmt: skip
        return np.stack([told[name] for name in NAMES if name not in _AMONG_RIVALS], axis=1).astype(np.float64)

    def _edge(self, lines: Float64) -> _Told:
        """How clear and how sharp the edge is, along its length and beyond its ends."""
        near = self._along(self.gradient, lines, np.arange(-8, 9))
        at = near[:, 7:10].max(axis=1)
        clear = np.minimum(at / (3 * self.floor), 1)
        third = _COLUMNS // 3
        parts = (clear[:, :third], clear[:, third:-third], clear[:, -third:])
        over = [self._overrun(end, lines) for end in (0, 1)]
        return {
            "support": clear.mean(axis=1),
            "support_weakest": np.min([part.mean(axis=1) for part in parts], axis=0),
            "support_first": clear[:, :8].mean(axis=1),
            "support_last": clear[:, -8:].mean(axis=1),
            "strength": np.log(at.mean(axis=1) / self.floor + 0.05),
            "ridge": (at >= near.max(axis=1)).mean(axis=1),
            "width": np.median(near[:, 2:15].sum(axis=1) / (at + 0.3), axis=1),
            "overrun_most": np.maximum(*over),
            "overrun_least": np.minimum(*over),
        }

    def _course(self, lines: Float64, eye_px: Float64) -> _Told:
        """Where it runs, against the eye's side and the outline's, in widths of the band."""
        own, eye = lines / self.band, eye_px / self.band
        return {
            "to_eye": np.abs(own - eye).max(axis=1),
            "from_eye": own.mean(axis=1) - eye.mean(),
            "lean": np.abs((own[:, 1] - own[:, 0]) - (eye[1] - eye[0])),
            "to_side": np.abs(own.mean(axis=1)),
        }

    def _seen_by_eye(self, lines: Float64) -> _Told:
        """What the second eye's maps say, and how much of the outside the photo shows."""
        inside, outside = self._along(self.maps[..., 0], lines, np.array([8, -8])).mean(axis=2).T
        edge = self._along(self.maps[..., 1], lines, np.array([-3, 0, 3]))
        shown, far = self._along(self.shown, lines, np.array([-4, -self.band // 2])).mean(axis=2).T
        return {
            "mask_inside": inside,
            "mask_outside": outside,
            "mask_step": inside - outside,
            "eye_edge": edge.max(axis=1).mean(axis=1),
            "shown": shown,
            "shown_far": far,
        }

    def _materials(self, lines: Float64) -> _Told:
        """What lies on either side of the edge, against each other and against what lies further out and in."""
        far, deep = self.lab[: self.band // 3], self.lab[self.rows - self.band // 3 : self.rows]
        around = self._along(self.lab, lines, np.arange(-9, 9))
        inside, outside, on = around[:, 11:], around[:, :7], around[:, 8:11]
        within, without = inside.mean(axis=1), outside.mean(axis=1)
        step = without - within
        dip = on[..., 0].mean(axis=1) - (within + without)[..., 0] / 2
        told = {
            "light_step": step[..., 0].mean(axis=1),
            "colour_step": np.linalg.norm(step[..., 1:].mean(axis=1), axis=-1),
            "light_step_spread": step[..., 0].std(axis=1),
            "colour_step_spread": np.linalg.norm(step[..., 1:].std(axis=1), axis=-1),
            "dip": dip.mean(axis=1),
            "dip_spread": dip.std(axis=1),
        }
        compared = {"out_far": (without, far), "in_deep": (within, deep), "out_in": (without, deep)}
        for name, (one, other) in compared.items():
            apart = one - other.mean(axis=0)
            told |= {
                f"{name}_light": apart[..., 0].mean(axis=1),
                f"{name}_colour": np.hypot(apart[..., 1], apart[..., 2]).mean(axis=1),
            }
        for name, part in (("out", outside), ("in", inside), ("far", far[None]), ("deep", deep[None])):
            told[f"{name}_texture"] = np.broadcast_to(part[..., 0].std(axis=1).mean(axis=1), len(lines))
        return told

    def _corners(self, lines: Float64) -> _Told:
        """Whether the neighbouring sides are clear just inside the line that crosses them, and just outside."""
        inside, outside = np.transpose([[self._ends(end, line[end]) for end in (0, 1)] for line in lines])
        return {
            "ends_inside": inside.mean(axis=0),
            "ends_outside": outside.mean(axis=0),
            "ends_inside_least": inside.min(axis=0),
            "ends_outside_most": outside.max(axis=0),
        }

    def _overrun(self, end: int, lines: Float64) -> Float64:
        """(N,) how clear the edges are beyond one end, 0..1."""
        plane, inner = self.beyond[end], len(self.t)
        across = self._columns[-1] - self._columns[0] if inner > 1 else np.inf
        places = self._before - self._before[0] if end == 0 else self._after - self._after[0]
        way = self.band + lines[:, end, None] + (lines[:, 1] - lines[:, 0])[:, None] / across * places
        rows = np.clip(np.round(way), 1, plane.shape[0] - 2).astype(int)
        columns = np.arange(plane.shape[1])
        seen = np.max([plane[rows + k, columns] for k in (-1, 0, 1)], axis=0)
        return np.asarray(np.minimum(seen[:, 2:] / (3 * self.floor), 1).mean(axis=1))

    def _ends(self, end: int, depth: float) -> tuple[float, float]:
        """How clear the neighbouring side is just inside a line that crosses it, and just outside, 0..1."""
        row = int(np.clip(round(self.band + depth), 4, self.rows - 5))
        reach = max(6, self.band // 2)
        inside = self.neighbours[end][row + 3 : row + 3 + reach]
        outside = self.neighbours[end][max(0, row - 3 - reach) : row - 3]
        return float(inside.mean()), float(outside.mean()) if len(outside) else 0.0


def _gradient(lab: AnyArray) -> Float32:
    """(R, C, 3) -> (R, C) the change from the row above to the row below."""
    step = lab[2:] - lab[:-2]
    found = np.zeros(lab.shape[:2], np.float32)
    found[1:-1] = np.sqrt(np.einsum("ijk,ijk->ij", step, step))
    return found
