"""Whether the sides of a work can be seen in a scene at all."""

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, UInt8

from . import SIDE_PX

# A side is seen where the picture differs across it by so many codes, along so much of its length in the photo. Chosen:
# less is lost in the noise and blocks of a photo.
_SEEN_CODES, _SEEN_SHARE = 5.0, 0.35


def visible(picture: UInt8, quad: Float32) -> bool:
    """Whether each side of a quad that lies in the photo can be told from what is beside it."""
    soft = cv2.blur(picture, (3, 3)).astype(np.float32)
    t = np.linspace(0.04, 0.96, 48)[:, None]
    for k in range(4):
        start, end = quad[k], quad[(k + 1) % 4]
        across = np.array([end[1] - start[1], start[0] - end[0]]) / (np.linalg.norm(end - start) + 1e-6)
        points = start + (end - start) * t
        points = points[((points > 5) & (points < SIDE_PX - 5)).all(1)]
        if len(points) < 8:
            continue
        step = [
            np.abs(_codes(soft, points + across * d) - _codes(soft, points - across * d)).max(1) for d in (2.5, 4.5)
        ]
        if (np.maximum(*step) > _SEEN_CODES).mean() < _SEEN_SHARE:
            return False
    return True


def _codes(picture: Float32, points: AnyArray) -> AnyArray:
    x, y = np.clip(points, 0, SIDE_PX - 1).astype(int).T
    return picture[y, x]
