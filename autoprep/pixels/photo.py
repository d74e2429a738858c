"""What holds pixels: a photo as the camera saw it, and a work squared."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import cast
from weakref import WeakKeyDictionary

import cv2
import numpy as np

from autoprep.domain import PhotoFacts
from autoprep.imaging.arrays import AnyArray, Float32, UInt8
from autoprep.imaging.colour import mixed
from autoprep.imaging.halving import Halved


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright decoded photo and the way from its codes to linear light.

    codes: (H, W, 3) uint8 or uint16 device codes, or float32 linear light when `tables` is None;
    tables: (3, levels) float32 linear light of each code per channel; matrix: (3, 3) device primaries ->
    linear sRGB, or (3, 6) with their roots (see imaging.colour.mixed). Values outside 0..1 stay (wide-gamut photos).
    full_px is the (width, height) of the whole photo; scale is the width of `codes` relative to it, scale_down the
    height, where that is another: a copy has whole pixels each way.
    """

    codes: AnyArray
    facts: PhotoFacts
    tables: Float32 | None = None
    matrix: Float32 | None = None
    scale: float = 1.0
    scale_down: float | None = None

    @property
    def scales(self) -> tuple[float, float]:
        """Width and height of this copy relative to the photo at full size."""
        return self.scale, self.scale if self.scale_down is None else self.scale_down

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of this copy."""
        return int(self.codes.shape[1]), int(self.codes.shape[0])

    @property
    def full_px(self) -> tuple[int, int]:
        """(width, height) of the photo at full size, upright."""
        return self.facts.width_px, self.facts.height_px

    def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        """(y1-y0, x1-x0, 3) float32 linear sRGB of a part of this copy, to be read only."""
        part = self.codes[y0:y1, x0:x1]
        if self.tables is None:
            return np.asarray(part, np.float32)
        if part.dtype == np.uint8:
            linear = _looked_up(np.ascontiguousarray(part), self.tables)
        else:
            linear = np.stack([self.tables[c][part[..., c]] for c in range(3)], axis=-1)
        return linear if self.matrix is None else mixed(linear, self.matrix)

    def linear(self) -> Float32:
        """(H, W, 3) float32 linear sRGB of the whole copy."""
        height, width = self.codes.shape[:2]
        return self.crop(0, height, 0, width)

    def reduced(self, factor: int) -> "Photo":
        """A copy 1/factor the size, averaged in linear light; kept for the next caller."""
        if factor <= 1:
            return self
        kept = _REDUCED.setdefault(self, {})
        if factor not in kept:
            first = self._first_factor()
            kept[factor] = self.reduced(first)._resized(self._small(factor)) if factor > first else self._reduce(factor)
        return kept[factor]

    def let_go(self) -> None:
        """Forget the reduced copies."""
        _REDUCED.pop(self, None)

    def _small(self, factor: int) -> tuple[int, int]:
        width, height = self.size_px
        return max(1, width // factor), max(1, height // factor)

    def _resized(self, size: tuple[int, int]) -> "Photo":
        small = cv2.resize(self.linear(), size, interpolation=cv2.INTER_AREA)
        return self._copy(np.asarray(small, np.float32))

    def _copy(self, linear: Float32) -> "Photo":
        """(h, w, 3) linear light of the whole photo as a copy of it."""
        height, width = linear.shape[:2]
        return Photo(linear, self.facts, scale=width / self.facts.width_px, scale_down=height / self.facts.height_px)

    def _first_factor(self) -> int:
        """All that is measured is measured on small copies: they share one that the photo's own pixels are read for."""
        first = 1
        while self.codes.shape[0] * self.codes.shape[1] > _MOST_SHARED_PX * first**2:
            first *= 2
        return first

    def _reduce(self, factor: int) -> "Photo":
        height = self.size_px[1]
        small_w, small_h = self._small(factor)
        out = np.empty((small_h, small_w, 3), np.float32)
        for first in range(0, small_h, _BAND_ROWS):
            last = min(first + _BAND_ROWS, small_h)
            y0, y1 = round(first * height / small_h), round(last * height / small_h)
            out[first:last] = self._means(y0, y1, (small_w, last - first))
        return self._copy(out)

    def _means(self, y0: int, y1: int, size: tuple[int, int]) -> Float32:
        """(h, w, 3) linear sRGB of whole rows of this copy as means of areas; size: (width, height)."""
        mixes = self.matrix is None or self.matrix.shape[1] == 3  # as well after as before, unless it takes roots
        if self.tables is None or self.codes.dtype != np.uint8 or not mixes:
            rows = self.crop(y0, y1, 0, self.codes.shape[1])
            return cast(Float32, cv2.resize(rows, size, interpolation=cv2.INTER_AREA))
        # Channel by channel: the library averages planes in a third of the time.
        planes = (cv2.LUT(codes, table) for codes, table in zip(cv2.split(self.codes[y0:y1]), self.tables, strict=True))
        small = cast(Float32, cv2.merge([cv2.resize(plane, size, interpolation=cv2.INTER_AREA) for plane in planes]))
        return small if self.matrix is None else mixed(small, self.matrix)

    def halved(self, times: int) -> "Photo | Halved":
        """A copy halved so many times by the kernel 1-4-6-4-1, its pixels on every second one; kept like `reduced`.

        Where it would take much memory it is made anew wherever it is looked at.
        """
        if times <= 0:
            return self
        kept = _HALVED.setdefault(self, {})
        if times not in kept:
            # What is kept for as long as this photo is in use must not be what keeps it: a twin has the same pixels.
            half = Halved(replace(self) if times == 1 else self.halved(times - 1))
            width, height = half.size_px
            large = width * height > _MOST_SHARED_PX
            kept[times] = half if large else Photo(half.whole(), self.facts, scale=self.scale / 2**times)
        return kept[times]


def _looked_up(codes: UInt8, tables: Float32) -> Float32:
    """(H, W, 3) codes through a (3, 256) table for each channel."""
    if (tables == tables[0]).all():  # one for all takes half the time
        return cast(Float32, cv2.LUT(codes, np.ascontiguousarray(tables[0])))
    return cast(Float32, cv2.LUT(codes, np.ascontiguousarray(tables.T).reshape(1, 256, 3)))


_MOST_SHARED_PX = 4_000_000  # 48 MB in linear light
_BAND_ROWS = 16  # of a reduced copy are made at a time: what they are made from stays in the processor's own memory

# Reduced copies of each photo, for as long as it is in use: beside the photo, which never changes.
_REDUCED: WeakKeyDictionary[Photo, dict[int, Photo]] = WeakKeyDictionary()
_HALVED: WeakKeyDictionary[Photo, dict[int, Photo | Halved]] = WeakKeyDictionary()


@dataclass(frozen=True)
class Work:
    """The rectified work at measuring size: (H, W, 3) float32 linear sRGB, and what one pixel stands for."""

    linear: Float32
    photo_px_per_px: float
    facts: Mapping[str, float] = field(default_factory=dict)

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return int(self.linear.shape[1]), int(self.linear.shape[0])
