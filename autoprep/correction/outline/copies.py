"""Reduced copies of a photo that the parts of the outline finder share."""

from functools import cached_property
from typing import cast

import cv2

from autoprep.correction.outline.close_up import smooth_lab
from autoprep.correction.outline.evidence import FINDING_PX, Evidence, gather
from autoprep.correction.perspective import focal_length_px
from autoprep.imaging.arrays import Float32
from autoprep.pixels import Photo


class Copies:
    """Reduced copies of a photo that several parts of the finder look at, each made once."""

    def __init__(self, photo: Photo) -> None:
        self.photo = photo
        self._linear: dict[int, Float32] = {}
        self._labs: dict[int, Float32] = {}

    def at(self, long_px: int) -> Float32:
        """(h, w, 3) float32 linear light of the whole photo with this long side (never enlarged)."""
        if long_px not in self._linear:
            self._linear[long_px] = _at(self.photo, long_px)
        return self._linear[long_px]

    def lab(self, long_px: int) -> Float32:
        """(h, w, 3) float32 L*a*b* of the same, a little smoothed."""
        if long_px not in self._labs:
            self._labs[long_px] = smooth_lab(self.at(long_px))
        return self._labs[long_px]

    @cached_property
    def evidence(self) -> tuple[Evidence, float]:
        """The evidence at finding size, and its scale relative to the full-size photo."""
        linear = self.at(FINDING_PX)
        scale = linear.shape[1] / self.photo.full_px[0]
        focal = focal_length_px(self.photo.full_px, self.photo.facts.focal_mm35)
        return gather(linear, focal * scale if focal else None), scale


def _at(photo: Photo, long_px: int) -> Float32:
    """(h, w, 3) float32 linear light of the whole photo with this long side (never enlarged)."""
    linear = _copy_of(photo, long_px).linear()
    ratio = min(1.0, long_px / max(linear.shape[:2]))
    size = (max(8, round(linear.shape[1] * ratio)), max(8, round(linear.shape[0] * ratio)))
    return cast(Float32, cv2.resize(linear, size, interpolation=cv2.INTER_AREA))


def _copy_of(photo: Photo, long_px: int) -> Photo:
    """The smallest of the copies by powers of two, which all share their making, with this long side."""
    factor = 1
    while max(photo.size_px) // (2 * factor) >= long_px:
        factor *= 2
    return photo.reduced(factor)
