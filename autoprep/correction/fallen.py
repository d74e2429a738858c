"""What of the shade that the eye sees can have fallen on a work: a shadow comes in over the work's rim and shows the
paper in it, or is soft; and it has no colour of its own. A part laid in solid, hard all round, is paint.

The eye has learned this too; it is asked of what it says all the same, because a part that is painted and taken for
shade would be gone from the picture.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import Bool, Float32, UInt8, float32
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.planes import slope_of
from autoprep.imaging.transfer import srgb_to_linear

BEYOND, DESK, WORK = 0, 1, 2
"""What a pixel of the view shows: nothing (it lies beyond the photo), what lies around the work, or the work."""
# The limits below are chosen on the lab's tuning seeds 116000-117013, with and without solid parts laid over.
# Natural log of light: a shadow within a shadow is judged by itself.
_LEVELS = (0.06, 0.2, 0.4, 0.7, 1.1, 1.6)
_LEAST_PX = 12  # of the map; less is not looked at
# The share of the places at the rim where a shadow goes on beyond it, or the photo ends; and how many at least.
_GOES_ON, _PLACES = 0.3, 3
# By so much of its depth a shadow darkens the desk at the least, this near to the work, beside the desk so near to it;
# a desk whose own light differs by so much of it can't tell.
_ON_DESK, _OUT_PX, _ALONG_PX, _PLAIN_DESK = 0.2, 5, (4, 20), 0.5
# The share of its own depth by which the light steps from one pixel of the map to the next where a border is hard: a
# step that the camera and the view have softened keeps more, a slope over four pixels less.
_HARD = 0.24
# In a hard shadow the eye is this sure of bare paper where it is surest, on so large a share: in 14 of the lab's .78 to
# .98, with a desk or without; in 8 parts laid in solid at the rim that it took for shade .10 to .73.
_SURE, _WHERE_SUREST = 0.76, 0.1
# A shadow takes the colour of the light that is hidden, of one hue from warm to cold: of the share that it takes of the
# luminance, red and blue differ by so much at the most, and green from the mean of both; a little is seen by chance.
_WARM_COLD, _GREEN, _CHANCE = 1.2, 0.2, 0.03
_CORE_PX, _NEAR_PX, _FAR_PX, _ENOUGH_PX, _CLEAR = 1, 2, 7, 20, 0.1

_LINEAR = float32(srgb_to_linear(np.arange(256) / 255))  # light of each code


def as_fallen(shade: Float32, bare: Float32, codes: UInt8, where: UInt8) -> Float32:
    """(m, m) shade as it is seen over a view, natural log, and the chance of bare paper, 0..1, the view's (n, n, 3)
    sRGB codes and (n, n) what its pixels show -> the shade without what can be none."""
    side = shade.shape[::-1]
    place = cast(UInt8, cv2.resize(where, side, interpolation=cv2.INTER_NEAREST))
    small = cv2.resize(cv2.LUT(codes, _LINEAR), side, interpolation=cv2.INTER_AREA)
    logs = np.log(np.maximum(small, 1e-3)).astype(np.float32)
    left = shade.copy()
    for level in _LEVELS:
        count, labels = cv2.connectedComponents((left < -level).astype(np.uint8), connectivity=4)
        for label in range(1, count):
            part = np.asarray(labels == label)
            if not _can_fall(part, shade, bare, logs, place):
                left[part] = 0 if level == _LEVELS[0] else -level
    return left


def _can_fall(part: Bool, shade: Float32, bare: Float32, logs: Float32, place: UInt8) -> bool:
    on_work = part & (place == WORK)
    if on_work.sum() < _LEAST_PX:
        return True
    if _is_coloured(on_work, shade, logs, place):
        return False
    if not _is_hard(on_work, logs):
        return not _comes_in(part, place) or _darkens_desk(on_work, logs, place)
    return _shows_paper(on_work, bare) and _comes_in(part, place) and _darkens_desk(on_work, logs, place)


def _shows_paper(part: Bool, bare: Float32) -> bool:
    """Whether bare paper is surely seen somewhere in a part: between the strokes of what is drawn there."""
    core = _core(part)
    return float(np.quantile(bare[core if core.any() else part], 1 - _WHERE_SUREST)) > _SURE


def _comes_in(part: Bool, place: UInt8) -> bool:
    """Whether a part goes on beyond the work's rim, where it reaches that: over the desk, or out of the photo."""
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    work = (place == WORK).astype(np.uint8)
    goes_on = (part & (place == DESK)) | (place == BEYOND)
    rim = part & (work > 0) & (cv2.erode(work, cross, borderValue=0) == 0)
    beside = cv2.dilate(goes_on.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    open_places = int((rim & beside).sum())
    return open_places >= max(_PLACES, _GOES_ON * float(rim.sum()))


def _darkens_desk(part: Bool, logs: Float32, place: UInt8) -> bool:
    """Whether the desk is darker beside a part than further along the rim, as far as a desk can tell."""
    luma, near, (least, most) = np.ascontiguousarray(logs @ LUMINANCE), _OUT_PX, _ALONG_PX
    desk = (place == DESK) & _grown(place == WORK, near)
    beside, along = desk & _grown(part, near), desk & _grown(part, most) & ~_grown(part, near + least)
    if min(beside.sum(), along.sum()) < _ENOUGH_PX:
        return True
    inside, outside = _beside(part, luma)
    low, middle, high = np.percentile(luma[along], [25, 50, 75])
    if high - low > _PLAIN_DESK * (outside - inside):
        return True
    return float(middle - np.median(luma[beside])) > _ON_DESK * (outside - inside)


def _grown(part: Bool, px: int) -> Bool:
    return np.asarray(cv2.dilate(part.astype(np.uint8), np.ones((2 * px + 1, 2 * px + 1), np.uint8)) > 0)


def _is_hard(part: Bool, logs: Float32) -> bool:
    """Whether the light steps along most of a part's border, as seen in the photo itself."""
    luma = np.ascontiguousarray(logs @ LUMINANCE)
    inside, beside = _beside(part, luma)
    depth = beside - inside
    if depth < _CLEAR:
        return False
    steps = cv2.dilate(slope_of(luma), np.ones((3, 3), np.uint8))
    border = part & (cv2.erode(part.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0)
    return float(np.median(steps[border])) > _HARD * depth


def _beside(part: Bool, plane: Float32) -> tuple[float, float]:
    """The medians of a plane within a part, and in a ring around it."""
    core, ring = _core(part), _grown(part, _FAR_PX) & ~_grown(part, _NEAR_PX)
    return float(np.median(plane[core if core.any() else part])), float(np.median(plane[ring])) if ring.any() else 0.0


def _core(part: Bool) -> Bool:
    brush = np.ones((2 * _CORE_PX + 1, 2 * _CORE_PX + 1), np.uint8)
    return np.asarray(cv2.erode(part.astype(np.uint8), brush) > 0)


def _is_coloured(part: Bool, shade: Float32, logs: Float32, place: UInt8) -> bool:
    """Whether what a part takes of the light beside it has a colour that no hidden lamp gives."""
    core, ring = _core(part), _grown(part, _FAR_PX) & ~_grown(part, _NEAR_PX)
    ring &= (place == WORK) & (shade > -_LEVELS[0])
    if core.sum() < _LEAST_PX or ring.sum() < _ENOUGH_PX:
        return False
    taken = 1 - np.exp(np.median(logs[core], axis=0) - np.median(logs[ring], axis=0))
    light = float(taken @ LUMINANCE)
    if light < _CLEAR:
        return False
    red, green, blue = (float(share) for share in taken)
    turned, green = abs(red - blue), abs(green - (red + blue) / 2)
    return turned - _CHANCE > _WARM_COLD * light or green - _CHANCE > _GREEN * light
