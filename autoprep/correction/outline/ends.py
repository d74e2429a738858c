"""Where the sheet ends: an outline is cut back where it takes in something else, and let out where its paper goes on.

A page that fills the photo but for a strip of pale table looks, to those who look for four edges, as if it filled all
of it: its one visible edge is faint, and the others are the photo's border. And a frame that is drawn near the photo's
border looks like the edge of a page that goes on to that border. The material tells both.
"""

from collections.abc import Iterator

import numpy as np

from autoprep.correction.outline.evidence import Evidence
from autoprep.correction.outline.material import Inside, Sides, goes_on, look_inside
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import is_convex, rectangle

# Chosen on the lab's tuning seeds and 74 photos of pages. Lines along a side (sine of the angle between them), moved in
# by so much of the photo's long side; so many of them, the longest, are tried.
_ALONG, _LEAST_IN, _MOST_IN, _TRIED = 0.2, 0.006, 0.2, 6
# Only a page that the photo's border cuts at so many sides: a sheet that lies whole on a desk shows four edges.
_SIDES_CUT = 2
# What is left must be one sheet up to its rim, and beyond the line must lie something else.
_EXPLAINED, _RIM, _OTHER = 0.95, 0.9, 0.5
# A side is let out over a strip this wide at most, in shares of the photo's long side; a hair is none.
_STRIP, _HAIR = 0.07, 0.006


def cut_back(linear: Float32, evidence: Evidence, quad: Float64, cut: Sides) -> tuple[Float64, Sides] | None:
    """The outline with one side moved in, so that one sheet is left; None where nothing makes it one.

    linear: (H, W, 3) float32 linear light of the photo; evidence: of its finding copy; quad: (4, 2) corners in pixels
    of linear; cut: the sides, top, right, bottom, left, that are the photo's border.
    """
    if sum(cut) < _SIDES_CUT or look_inside(linear, quad, cut) is not None:
        return None
    enlarge = linear.shape[1] / evidence.shape[1]
    found = []
    for side in range(4):
        sides = _opened(cut, side)
        for moved in list(_moved_in(quad / enlarge, side, evidence.lines, max(evidence.shape)))[:_TRIED]:
            inside = look_inside(linear, moved * enlarge, sides)
            if inside is not None and _is_sheet(inside, side):
                # As large as may be, but a sheet through and through, and up to its rim.
                worth = inside.area_px * min(inside.explained, 1.0) * inside.rim
                found.append((worth, moved * enlarge, sides))
    return max(found, key=lambda entry: entry[0])[1:] if found else None


def let_out(linear: Float32, quad: Float64, cut: Sides) -> tuple[Float64, Sides]:
    """The outline with those sides on the photo's border that stand near it and beyond which the same paper goes on.

    The arguments are those of cut_back.
    """
    height, width = linear.shape[:2]
    border, sides = rectangle(width, height), list(cut)
    # How wide the strip between each side and the photo's border is, in shares of its long side.
    strips = [_strip(quad, border, side) / max(height, width) for side in range(4)]
    if sum(strip < _HAIR for strip in strips) < _SIDES_CUT:
        return quad, cut
    for side in range(4):
        if sides[side] or strips[side] > _STRIP or not goes_on(linear, quad, side):
            continue
        near, far = side, (side + 1) % 4
        moved = quad.copy()
        edge = _line(border[near], border[far])
        moved[near] = _crossing(edge, _line(quad[side - 1], quad[near]))
        moved[far] = _crossing(edge, _line(quad[far], quad[(side + 2) % 4]))
        inside = look_inside(linear, moved, cut)
        if is_convex(moved) and inside is not None and inside.explained >= _EXPLAINED and inside.rim >= _RIM:
            quad, sides[side] = moved, True
    top, right, bottom, left = sides
    return quad, (top, right, bottom, left)


def _strip(quad: Float64, border: Float64, side: int) -> float:
    axis = 1 if side % 2 == 0 else 0  # across the side
    return float(np.abs(quad[[side, (side + 1) % 4], axis] - border[side, axis]).max())


def _is_sheet(inside: Inside, side: int) -> bool:
    beyond = inside.other_beyond[side]
    return inside.explained >= _EXPLAINED and inside.rim >= _RIM and beyond is not None and beyond >= _OTHER


def _opened(cut: Sides, side: int) -> Sides:
    top, right, bottom, left = (is_cut and k != side for k, is_cut in enumerate(cut))
    return top, right, bottom, left


def _moved_in(quad: Float64, side: int, lines: list[Float64], long_px: int) -> Iterator[Float64]:
    """The quad with the side on each of the (a, b, c) lines that run along it, a little inside."""
    first, second = side, (side + 1) % 4
    start, end = quad[first], quad[second]
    along = (end - start) / np.linalg.norm(end - start)
    inward = np.array([-along[1], along[0]])
    before, after = _line(quad[side - 1], start), _line(end, quad[(side + 2) % 4])
    for line in lines:
        if abs(line[:2] @ along) > _ALONG:
            continue
        moved = quad.copy()
        moved[first], moved[second] = _crossing(line, before), _crossing(line, after)
        inwards = (moved[[first, second]] - quad[[first, second]]) @ inward / long_px
        if inwards.min() > -_LEAST_IN and _LEAST_IN < inwards.max() < _MOST_IN and is_convex(moved):
            yield moved


def _line(a: Float64, b: Float64) -> Float64:
    return np.cross([*a, 1.0], [*b, 1.0])


def _crossing(one: Float64, other: Float64) -> Float64:
    point = np.cross(one, other)
    return np.asarray(point[:2] / point[2])
