"""The outermost pixels along torn and rounded edges repeat the sheet just inside them, as those of straight sides do.

The edge of a torn sheet is known to a pixel or two of the photo, and the lens mixes sheet and desk over as many:
without this, specks of desk stand here and there along it, and sharpening draws the difference of desk and sheet.
"""

import cv2
import numpy as np

from autoprep.imaging.arrays import Bool, Float32, UInt8

# How far in the desk may reach, in pixels of the photo (chosen: the edge is looked for on a copy of some 1.5 photo
# pixels to one, in whole ones, and the lens mixes 1.6).
PHOTO_PX = 3.0
MOST_PX = 5  # of the output: less than the rows that a strip sees of its neighbours


def depth_px(photo_px_per_px: float) -> int:
    """Pixels of the output along an edge that are repeated."""
    return int(np.clip(round(PHOTO_PX / photo_px_per_px), 1, MOST_PX))


def repeat_inside(picture: Float32, sheet: UInt8, depth: int) -> None:
    """Give every pixel of (h, w, 3) that is not at least so deep inside the sheet the colour of the nearest that is.

    sheet: (h, w) 0..255 coverage; where it meets the border of the picture it goes on beyond. In place; a picture
    without such a pixel stays as it is.
    """
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * depth + 1, 2 * depth + 1))
    shallow = cv2.erode(sheet, around, borderType=cv2.BORDER_CONSTANT, borderValue=255) < 255
    if shallow.all():
        return
    for left, right in _spans(np.asarray(shallow.any(axis=0))):
        _repeat(picture[:, left:right], shallow[:, left:right])


# Distances grow from pixel to pixel by steps of so many at most: with so many columns beside it that are deep inside,
# a stretch of columns is seen as it is in the whole.
_STEP_PX = 2


def _spans(wanted: Bool) -> list[tuple[int, int]]:
    """Stretches of columns, each from its first to the one after its last, that hold all of the wanted ones and at
    least `_STEP_PX` more on each side, if there are so many."""
    near = cv2.dilate(wanted.astype(np.uint8).reshape(1, -1), np.ones((1, 2 * _STEP_PX + 1), np.uint8)).ravel()
    turns = np.flatnonzero(np.diff(near, prepend=0, append=0))
    return [(int(first), int(last)) for first, last in turns.reshape(-1, 2)]


def _repeat(picture: Float32, shallow: Bool) -> None:
    """Give every shallow pixel of (h, w, 3) the colour of the nearest that is none, in place."""
    _, labels = cv2.distanceTransformWithLabels(
        shallow.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    deep = np.nonzero(~shallow)
    of_label = np.zeros((int(labels.max()) + 1, 3), np.float32)
    of_label[labels[deep]] = picture[deep]
    picture[shallow] = of_label[labels[shallow]]
