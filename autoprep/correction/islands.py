"""Solid paint in a shadow: an island that is darker than all that lies around it, with a hard border all round.

A shadow comes in from the rim, or fades; what has a border all round was laid in with a brush. Where that is as plain
as paper and has the tint of the light that is left there, nothing else tells it from a deeper part of the shadow.
"""

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import Bool, Float32
from autoprep.imaging.planes import box_of, parts_of

# Chosen on seeds 155000-155239 with a plain grey ellipse laid into the shadow of 107 photos (as `python -m tests.lab
# laid`, but with lighter ones among them): without this 15 of them were gone from the picture by half or more, with it
# 5; no photo without one changes by .1 CIEDE2000.
_DEPTHS = tuple(-0.1 * step for step in range(1, 20))  # natural log of light, at each of which islands are looked for
_LEAST, _MOST = 0.0015, 0.12  # shares of the work
_RIM_PX = 3  # a shadow that comes in may end so far from the rim, where the paper's own edge begins
_DARKER, _HARD = 0.1, 0.6  # natural log; and the share of it that the light rises within a few pixels, nearly all round
_NEAR_PX, _FAR_PX, _CORE_PX, _ENOUGH_PX = 2, 5, 2, 60
_NEARLY_ALL = 0.15  # of what lies around, and of the island's own from above


def islands(luma: Float32) -> Bool:
    """(h, w) natural log of the light between the strokes, relative to lit paper -> where solid paint lies in it."""
    found = np.zeros(luma.shape, bool)
    for depth in _DEPTHS:
        darker = (luma < depth).astype(np.uint8)
        if cv2.countNonZero(darker) < _LEAST * luma.size:
            break  # and still less is darker than that
        labels, areas = parts_of(darker, connectivity=4)
        for label in np.flatnonzero((areas >= _LEAST * luma.size) & (areas <= _MOST * luma.size)):
            x, y, wide, high = box_of(labels == label)
            if min(x, y, luma.shape[1] - x - wide, luma.shape[0] - y - high) < _RIM_PX:
                continue
            part = np.s_[max(0, y - _FAR_PX) : y + high + _FAR_PX, max(0, x - _FAR_PX) : x + wide + _FAR_PX]
            island = labels[part] == label
            if _is_solid(island, luma[part]):
                found[part] |= _grown(island, _NEAR_PX)
    return found


def _is_solid(island: Bool, luma: Float32) -> bool:
    brush = np.ones((2 * _CORE_PX + 1, 2 * _CORE_PX + 1), np.uint8)
    core = cv2.erode(island.astype(np.uint8), brush, borderValue=0) > 0
    around = _grown(island, _FAR_PX) & ~_grown(island, _NEAR_PX)
    if min(core.sum(), around.sum()) < _ENOUGH_PX:
        return False
    outer, inner = luma[around], luma[core]
    darker = quick.median(outer) - quick.median(inner)
    rises = quick.quantile(outer, _NEARLY_ALL) - quick.quantile(inner, 1 - _NEARLY_ALL)
    return darker > _DARKER and rises > _HARD * darker


def _grown(part: Bool, px: int) -> Bool:
    return np.asarray(cv2.dilate(part.astype(np.uint8), np.ones((2 * px + 1, 2 * px + 1), np.uint8)) > 0)
