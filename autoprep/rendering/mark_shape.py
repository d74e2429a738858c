"""The shape that a picture gives the visible mark: what of it is ink, cut to that.

Where the picture is clear anywhere, its opacity is the shape. Where it is opaque all over, what lies along its border
is ground, white paper or cream, and the shape is how much darker each place is than that, or lighter on a dark ground.
"""

import struct
import zlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from autoprep.errors import MarkUnreadable
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMA

_SEEN = 0.03  # coverage from which on a place is ink; below it is the haze of a scan
_OF_GRAIN = 8.0  # so many times the median deviation along the border no grain of paper differs
_WHITE = 0.995  # a ground as light as this is white
_OPAQUE = 0.99
_DAMAGE = (OSError, ValueError, SyntaxError, EOFError, struct.error, zlib.error, Image.DecompressionBombError)


@dataclass(frozen=True)
class Ink:
    """A picture cut to its ink, RGBA, None where it shows nothing; ground: the luma 0..1 of what is no shape, None
    where opacity tells that; share: how much of the cut picture is ink, 0..1."""

    image: Image.Image | None
    ground: float | None
    share: float

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the ink; zeros where there is none."""
        return (0, 0) if self.image is None else self.image.size

    def mask(self, height_px: int) -> Float32:
        """(h, w) float32 coverage 0..1, h = height_px, but no less than 8. Only where there is ink."""
        assert self.image is not None
        height = max(8, height_px)
        width = max(1, round(self.image.width * height / self.image.height))
        return _coverage(self.image.resize((width, height), Image.Resampling.LANCZOS), self.ground)


def read_ink(picture: Path) -> Ink:
    """The ink of a picture file. Raises MarkUnreadable where it is away, damaged, or not whole."""
    try:
        with Image.open(picture) as opened:
            image = opened.convert("RGBA")
    except _DAMAGE as problem:
        away = isinstance(problem, OSError) and problem.strerror
        why = str(problem.strerror).lower() if away and isinstance(problem, OSError) else "it is damaged, or not whole"
        raise MarkUnreadable(f"the mark's picture {picture.name} can't be read: {why}") from None
    ground, least = _ground(image)
    shape = _coverage(image, ground)
    rows, columns = np.flatnonzero((shape > least).any(1)), np.flatnonzero((shape > least).any(0))
    if not len(rows):
        return Ink(None, ground, 0.0)
    y0, y1, x0, x1 = int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1
    return Ink(image.crop((x0, y0, x1, y1)), ground, float((shape[y0:y1, x0:x1] > 0.5).mean()))


def _ground(image: Image.Image) -> tuple[float | None, float]:
    """The luma of an opaque picture's ground, None where opacity tells the shape; and the least coverage of ink."""
    codes = np.asarray(image, np.float32) / np.float32(255)
    if codes[..., 3].min() < _OPAQUE:
        return None, _SEEN
    luma = codes[..., :3] @ LUMA[0]
    border = np.concatenate([luma[0], luma[-1], luma[:, 0], luma[:, -1]])
    ground = float(np.median(border))
    grain = _OF_GRAIN * float(np.median(np.abs(border - ground)))
    return (1.0 if ground > _WHITE else ground), max(_SEEN, grain)


def _coverage(image: Image.Image, ground: float | None) -> Float32:
    codes = np.asarray(image, np.float32) / np.float32(255)
    if ground is None:
        return codes[..., 3]
    luma = codes[..., :3] @ LUMA[0]
    apart = (ground - luma) / ground if ground >= 0.5 else (luma - ground) / (1 - ground)
    return np.asarray(np.clip(apart, 0, 1), np.float32)


@dataclass(frozen=True)
class Shape:
    """What is known of a mark's picture without its pixels: the size of its ink, zeros where it shows nothing, and how
    much of that is ink (0..1); problem: why it can't be read, empty where it can."""

    size_px: tuple[int, int]
    share: float
    problem: str = ""


NOTHING = Shape((0, 0), 0.0)
"""The shape of a picture that can be read, and shows nothing."""


def shape_of(picture: Path) -> Shape:
    """What a picture would give the mark; it is read again only when its file is another."""
    try:
        status = picture.stat()
        return _shape(picture, (status.st_mtime_ns, status.st_size, status.st_ino))
    except OSError:
        return _shape(picture, (0, 0, 0))


@lru_cache(maxsize=4)
def _shape(picture: Path, _stamp: tuple[int, int, int]) -> Shape:
    try:
        ink = read_ink(picture)
    except MarkUnreadable as problem:
        return Shape((0, 0), 0.0, str(problem))
    return Shape(ink.size_px, ink.share)
