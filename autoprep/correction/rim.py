"""How far inside its outline the work is free of its desk: a lens mixes the two over a pixel or more, and the outline
itself stands a hair outside as often as inside.

Along each side, at the photo's own pixels, the place is looked for from where on the surface stays what it is further
in. The pictures of the work repeat what lies there, so that no line of desk stands at the edge of a print.
"""

import cv2
import numpy as np

from autoprep.domain import Geometry
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import lab_fast
from autoprep.imaging.geometry import area, homography, rectangle
from autoprep.imaging.resample import Level, Warp, warp_rows
from autoprep.pixels import Photo, bow_of, lens_of, quad_of

Inset = tuple[float, float, float, float]
"""Top, right, bottom, left, as shares of the work's longer side."""

LEAST = 0.0008
"""A hair: so much is always repeated, for no outline is found better than that."""
# Deeper than this is drawing, or an outline that is wrong; but where a shaken hand has drawn the desk over the sheet,
# all that lies between changes from the side on, and no drawing begins there. What the surface is like by itself is
# seen beyond that.
_MOST, _SEEN, _MOST_SMEARED, _REACH = 0.0035, 0.0085, 0.010, 0.018
_STRETCHES = 48
_FEWEST_PX = 800  # of smaller works a pixel is more than a hair, and the depths looked at are too few rows
# Rows are compared with those so many photo pixels further in: about as far as a lens mixes the two.
_APART = 3
# In CIELAB, over stretches of a side averaged along it: what differs by less is the same surface. (The bar for the
# outermost pixels is 2 in CIEDE2000, which for paper is a little less than this.) Grainy surfaces differ by themselves:
# what changes at the rim must be so many times as much.
_SAME, _TIMES = 1.6, 2.0


def clear_of_desk(photo: Photo, geometry: Geometry) -> Inset:
    """How far in each side's desk reaches, LEAST where none is seen or where painting reaches the edge."""
    lens = lens_of(geometry)
    height = float(np.sqrt(area(lens.ideal(quad_of(geometry))) / geometry.ratio))
    size = (max(40, round(height * geometry.ratio)), max(40, round(height)))
    if geometry.ratio_from == "whole photo" or max(size) < _FEWEST_PX:
        return (LEAST,) * 4
    insets = []
    for side in range(4):
        length, breadth = size[side % 2], size[1 - side % 2]
        on_top = geometry.turned(-side)
        matrix = homography(rectangle(length, breadth), lens.ideal(quad_of(on_top)))
        band = _band(photo, Warp(matrix, lens, bow=bow_of(on_top, (0, 0, length, breadth))), length, max(size))
        insets.append(round(_depth(band) / max(size), 5))
    top, right, bottom, left = (min(max(inset, LEAST), _MOST_SMEARED) for inset in insets)
    return top, right, bottom, left


def _band(photo: Photo, warp: Warp, length: int, long_px: int) -> Float64:
    """(depth, stretches, 3) CIELAB: the surface inward from a side, averaged along stretches of it."""
    depth = round(_REACH * long_px)
    level = Level(photo.crop, photo.size_px, photo.scales)
    # Corners belong to two sides, and are where outlines are least sure.
    inside = (length // 20, length - length // 20)
    inner = warp_rows(level, warp, (length, depth), (0, depth), ((0, depth), inside))
    short: Float32 = np.asarray(cv2.resize(inner, (_STRETCHES, depth), interpolation=cv2.INTER_AREA), np.float32)
    level_of_light = float(np.median(short[depth // 2 :])) or 1.0
    return np.asarray(lab_fast(short * np.float32(0.6 / level_of_light)), np.float64)


def _is_bare(band: Float64, row: int, beyond: int) -> bool:
    """Whether a row shows along all of the side what lies further in: no line stands there that would be repeated."""
    inside = np.median(band[beyond:], axis=0)
    return float((np.linalg.norm(band[row] - inside, axis=-1) < _BARE).mean()) >= _NEARLY_ALL


_BARE, _NEARLY_ALL = 4.0, 0.95  # in CIELAB, and the share of stretches


def _depth(band: Float64) -> float:
    """Rows from the side on which something else gives way to the surface; 0 where it is the same up to the side.

    From row to row, not against the far inside: a painting's colours may change towards its edge, but slowly.
    """
    steps = np.median(np.linalg.norm(band[_APART:] - band[:-_APART], axis=-1), axis=1)
    most, seen, smeared = (round(len(band) * share / _REACH) for share in (_MOST, _SEEN, _MOST_SMEARED))
    changes = np.flatnonzero(steps[:most] > max(_SAME, _TIMES * float(np.median(steps[most : seen - _APART]))))
    last, deepest = int(changes.max(initial=-1)), _MOST
    # All that changes without a break from the side on.
    own = float(np.median(steps[smeared:]))
    unbroken = int(np.argmin([*(steps[:smeared] > max(_SAME, _TIMES * own)), False])) - 1
    if unbroken >= most and _is_bare(band, unbroken + 2, smeared):
        last, deepest = unbroken, _MOST_SMEARED
    # The rows after the last that changes are clean by their middles; half a row more, for pictures are sampled
    # between them.
    return min(last + 2.0, deepest / _REACH * len(band)) if last >= 0 else 0.0
