"""A picture at half its size, tile by tile where it is looked at: whole, it would take more memory than the photo."""

from collections import OrderedDict
from typing import Protocol

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32

_TILE_PX = 256  # 768 kB in linear light
# So many rows of tiles, or columns, are kept: strips that follow each other, however the photo is turned, find theirs.
_KEPT_ROWS = 4
_MARGIN_PX = 4  # of the source: the kernel's reach of two, and even, so that its pixels stay where they are


class Pixels(Protocol):
    """What a picture can be taken from a part at a time."""

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""

    def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        """(y1-y0, x1-x0, 3) float32 linear light of a part."""


class Halved:
    """Half of a picture by the kernel 1-4-6-4-1 (`cv2.pyrDown`), its pixels on every second one of that."""

    def __init__(self, source: Pixels) -> None:
        self._source = source
        width, height = source.size_px
        self.size_px = (width + 1) // 2, (height + 1) // 2
        self._tiles = OrderedDict[tuple[int, int], Float32]()
        self._most = _KEPT_ROWS * -(-max(self.size_px) // _TILE_PX)

    def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        """(y1-y0, x1-x0, 3) float32 linear light of a part."""
        out = np.empty((y1 - y0, x1 - x0, 3), np.float32)
        for row in range(y0 // _TILE_PX, -(-y1 // _TILE_PX)):
            for column in range(x0 // _TILE_PX, -(-x1 // _TILE_PX)):
                top, left = row * _TILE_PX, column * _TILE_PX
                tile = self._tile(row, column)
                down, across = slice(max(top, y0), min(top + len(tile), y1)), slice(max(left, x0), left + tile.shape[1])
                part = tile[down.start - top : down.stop - top, across.start - left : x1 - left]
                out[down.start - y0 : down.stop - y0, across.start - x0 : across.start - x0 + part.shape[1]] = part
        return out

    def whole(self) -> Float32:
        """(H, W, 3) float32 linear light of all of it, in rows, not in tiles."""
        width, height = self.size_px
        out = np.empty((height, width, 3), np.float32)
        for first in range(0, height, 64):
            last = min(first + 64, height)
            out[first:last] = self._made(first, last, 0, width)
        return out

    def _tile(self, row: int, column: int) -> Float32:
        place = row, column
        if place not in self._tiles:
            width, height = self.size_px
            top, left = row * _TILE_PX, column * _TILE_PX
            self._tiles[place] = self._made(top, min(top + _TILE_PX, height), left, min(left + _TILE_PX, width))
            if len(self._tiles) > self._most:
                self._tiles.popitem(last=False)
        self._tiles.move_to_end(place)
        return self._tiles[place]

    def _made(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        width, height = self._source.size_px
        top, left = max(0, 2 * y0 - _MARGIN_PX), max(0, 2 * x0 - _MARGIN_PX)
        bottom, right = min(height, 2 * y1 + _MARGIN_PX), min(width, 2 * x1 + _MARGIN_PX)
        half = cv2.pyrDown(self._source.crop(top, bottom, left, right))
        part = half[y0 - top // 2 : y1 - top // 2, x0 - left // 2 : x1 - left // 2]
        return np.ascontiguousarray(part, np.float32)
