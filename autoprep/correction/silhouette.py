"""Torn, deckled and rounded edges: the sheet's true silhouette where it is not four straight lines.

The four lines of the outline run through the middle of a torn edge: some paper lies beyond them, some desk within.
Along each side the place is looked for where the surface stops being like the sheet and starts being like what lies
around it. Where these places wander, the sheet gets a silhouette, and what is outside it becomes ground.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.edges import SAMPLES, Edges, wander
from autoprep.correction.sheet_corners import FRINGE_PX, Corners, arc, meeting
from autoprep.domain import Geometry
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import homography, intersect, line_through, mean_size, project, rectangle
from autoprep.pixels import in_photo

# An edge wanders at least this much (share of the longer side), or three of them by the second, before a sheet counts
# as torn; then all that wander by the second follow. What is left outside must be at least this share of the frame.
# (223 photos of tuning seeds 7600-7639: torn edges in sight .0012-.0046, cut ones .0015 at most but for two on cloth.)
_WANDERS, _ALSO_WANDERS, _LEAST_OUTSIDE = 0.0015, 0.0011, 0.0013
# So far inside its edge the sheet is cut, in pixels of the photo itself (and FRINGE_PX of the copy): the lens mixes
# sheet and desk over more, which `rendering.fringe` sees to; further in, paper is lost.
_FRINGE_PHOTO_PX = 1.0
# One place in twenty may seem to lie further out than by this (share of the longer side); peaks of paper are broader.
_RARE, _BEYOND = 0.05, 0.0025
_CORNER, _END = 12, 36  # places at the end of a side: so many may lie on desk; those up to there tell where it ends
_MOST_SLANT = 0.02  # of the outline's line to the edge, from end to end, as a share of the longer side


@dataclass(frozen=True)
class Silhouette:
    """points: (N, 2) polygon in the work's frame, 0..1 across and down, may reach beyond; wander: how much the most
    torn edge wanders from place to place, as a share of the longer side; around: (4, 2) the quad that holds all of the
    sheet and no more, clockwise from the top left, in the same frame."""

    points: Float64
    wander: float
    around: Float64


def find_silhouette(traced: Edges, photo_px: float = 2.0) -> Silhouette | None:
    """The silhouette of a work whose edges wander, or whose corners are round; None where neither is, or can be seen.

    photo_px: how many pixels of the photo go to one of the picture in which the edges were traced.
    """
    work, long_px, edges = traced.work_px, traced.long_px, traced.inward
    fringe_px = max(FRINGE_PX, _FRINGE_PHOTO_PX / photo_px)
    jags = [0.0 if edge is None else wander(edge) / long_px for edge in edges]
    # A side that is cut, or can't be told from what lies beside it, stays on its line.
    sides = [
        _without_flecks(edge, long_px) + fringe_px if edge is not None and jag >= _ALSO_WANDERS else np.zeros(SAMPLES)
        for edge, jag in zip(edges, jags, strict=True)
    ]
    corners = Corners(traced, fringe_px)
    radii = corners.radii()
    wanders = max(jags) >= _WANDERS or sum(jag >= _ALSO_WANDERS for jag in jags) >= 3
    torn = wanders and 1 - _area_inside(_polygon(sides, work, [0.0] * 4)) >= _LEAST_OUTSIDE
    if not torn and not any(radii):
        return None
    sides = sides if torn else [np.zeros(SAMPLES)] * 4
    return Silhouette(_polygon(sides, work, radii, corners if torn else None), max(jags), _around(sides, work))


def whole_in_frame(geometry: Geometry, found: Silhouette) -> tuple[Geometry, Float64]:
    """The geometry whose frame holds all of a torn sheet and no more, and (N, 2) the silhouette in that frame.

    The outline's line runs through the middle of a torn edge: what of the paper lies beyond it would be cut off where a
    picture ends at the work. A size that the artist has said is that of the whole sheet, so its proportion stays.
    """
    corners = in_photo(geometry, found.around)
    across, down = mean_size(found.around * [geometry.ratio, 1.0])
    told = geometry.ratio_from == "known size"
    frame = geometry.model_copy(
        update={
            "corners_px": tuple((float(x), float(y)) for x, y in corners),
            "ratio": geometry.ratio if told else across / down,
        }
    )
    return frame, project(homography(found.around, rectangle(1.0, 1.0)), found.points)


def _without_flecks(edge: Float64, long_px: int) -> Float64:
    """The edge, where it seems to begin far beyond all else of it, no further out than that: there lies a fleck, or a
    fold of the ground, that is as light as the sheet. Beside a corner the desk of the other side comes in: no further
    out there than what comes next."""
    kept = np.maximum(edge, np.quantile(edge, _RARE) - _BEYOND * long_px)
    kept[:_CORNER] = np.maximum(kept[:_CORNER], kept[_CORNER:_END].min())
    kept[-_CORNER:] = np.maximum(kept[-_CORNER:], kept[-_END:-_CORNER].min())
    return kept


def _around(sides: list[Float64], work: tuple[int, int]) -> Float64:
    """(4, 2) corners of the four lines that the sheet touches from within, clockwise from the top left, 0..1."""
    width, height = work
    (a, b), (c, d), (e, f), (g, h) = (_touching(side, max(work)) for side in sides)
    ends = (((0, a), (width, b)), ((width - c, 0), (width - d, height)), ((width, height - e), (0, height - f)),
            ((g, height), (h, 0)))  # fmt: skip
    lines = [line_through(np.array(start), np.array(end)) for start, end in ends]
    return np.array([intersect(lines[k - 1], lines[k]) for k in range(4)]) / [width, height]


def _touching(side: Float64, long_px: int) -> tuple[float, float]:
    """How far in, at both ends of a side, the line lies that a torn edge touches from within, closest to all of it.

    Of the hull of the edge it is the stretch over the middle: what the outline's line has of a slant is taken out.
    """
    places = np.arange(_CORNER, SAMPLES - _CORNER)
    points = np.stack([places, side[places]], axis=1).astype(np.float32)
    hull = cv2.convexHull(points, returnPoints=True)[:, 0].astype(np.float64)
    middle = SAMPLES / 2
    pairs = ((one, two) for one, two in zip(hull, np.roll(hull, -1, axis=0), strict=True))
    across = [(one, two) for one, two in pairs if (one[0] - middle) * (two[0] - middle) <= 0 and one[0] != two[0]]
    at = [one[1] + (two[1] - one[1]) * (middle - one[0]) / (two[0] - one[0]) for one, two in across]
    one, two = across[int(np.argmin(at))]
    slope = np.clip((two[1] - one[1]) / (two[0] - one[0]) * SAMPLES, -_MOST_SLANT * long_px, _MOST_SLANT * long_px)
    half = slope / 2
    # A slant that was cut to size still has all of the edge inside.
    level = float((side[places] - slope * (places + 0.5 - middle) / SAMPLES).min())
    return float(level - half), float(level + half)


def _area_inside(points: Float64) -> float:
    """Share of the work's frame inside the polygon."""
    x, y = np.clip(points, 0, 1).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def _polygon(
    sides: list[Float64], work: tuple[int, int], radii: list[float], corners: Corners | None = None
) -> Float64:
    """(N, 2) the four edges joined, in the work's frame, clockwise from the top left; radii: of rounded corners;
    corners: looks where the sheet ends at the others."""
    width, height = work
    t = (np.arange(SAMPLES) + 0.5) / SAMPLES
    top = np.stack([t, sides[0] / height], axis=1)
    right = np.stack([1 - sides[1] / width, t], axis=1)
    bottom = np.stack([1 - t, 1 - sides[2] / height], axis=1)
    left = np.stack([sides[3] / width, 1 - t], axis=1)
    parts = []
    for k, part in enumerate((top, right, bottom, left)):
        length = (width, height)[k % 2]
        # At the ends the other sides' edges cut in: what seems to be this side's edge beyond those lies on the desk.
        start, end = float(sides[k - 1][-1]), float(sides[(k + 1) % 4][0])
        kept = (t * length > max(radii[k], start)) & ((1 - t) * length > max(radii[(k + 1) % 4], end))
        kept[:2] = kept[-2:] = False
        parts.append(part[kept])
    joined = []
    for k, after in enumerate(parts):
        before = parts[k - 1]
        if radii[k]:
            joined.append(arc(k, radii[k], work))
        elif corners is not None:
            joined.append(corners.between(k, before[-1], after[0]))
        else:
            joined.append(np.array([meeting(k, before[-1], after[0])]))
    return np.concatenate([piece for pair in zip(joined, parts, strict=True) for piece in pair])
