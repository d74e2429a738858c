"""What the TIFF library leaves to be done: strips that are coded as they come, the camera's directory of Exif, and how
many pages a file has.
"""

import contextlib
import io
import struct
from collections.abc import Callable, Iterable, Iterator
from typing import Any, BinaryIO, Literal

import imagecodecs
import numpy as np
from PIL import Image

from autoprep.imaging.arrays import AnyArray, Rows
from autoprep.imaging.tags import ITEM_BYTES

Compression = Literal["deflate", "lzw", "none"]

# As long as the library makes them by itself: small enough that readers need not keep much of a large picture.
_STRIP_BYTES = 262144
# Level 1 takes a quarter of the time of level 6 and costs a few percent of size on photographs.
_LEVEL = 1


def rows_per_strip(rows: Rows) -> int:
    """How many rows make a strip of a compressed file."""
    height, width = rows.shape[:2]
    row_bytes = width * int(np.prod(rows.shape[2:])) * rows.dtype.itemsize
    return min(height, max(1, _STRIP_BYTES // row_bytes))


def coded_strips(rows: Rows, compression: str) -> Iterator[bytes]:
    """The strips of a big-endian file one after the other, each with the horizontal predictor if it is compressed."""
    code = {"deflate": lambda part: imagecodecs.deflate_encode(part, level=_LEVEL), "lzw": imagecodecs.lzw_encode}
    for strip in _regrouped(rows.strips, rows_per_strip(rows)):
        told = strip if compression == "none" else _predicted(strip)
        stored = np.ascontiguousarray(told, told.dtype.newbyteorder(">"))
        yield stored.tobytes() if compression == "none" else bytes(code[compression](stored))


def _predicted(strip: AnyArray) -> AnyArray:
    """(rows, W) or (rows, W, C) codes -> what each differs by from the one before it in its row, modulo their number
    (TIFF 6.0, section 14). The codec's own takes three to ten times as long."""
    channels = strip.shape[2] if strip.ndim == 3 else 1
    codes = strip.reshape(len(strip), -1)
    told = codes.copy()
    np.subtract(codes[:, channels:], codes[:, :-channels], out=told[:, channels:])
    return told


def _regrouped(strips: Iterable[AnyArray], each: int) -> Iterator[AnyArray]:
    """(rows, ...) parts of any height -> parts of `each` rows, the last of them as many as are left."""
    rest: AnyArray | None = None
    for strip in strips:
        joined = strip if rest is None or not len(rest) else np.concatenate([rest, strip])
        whole = len(joined) // each * each
        for first in range(0, whole, each):
            yield joined[first : first + each]
        rest = joined[whole:]
    if rest is not None and len(rest):
        yield rest


_EXIF_POINTER = 34665
# The library refuses to write that tag: a free one before it keeps the place, and the order of the tags.
STANDS_IN = _EXIF_POINTER - 1


def add_camera_directory(file: BinaryIO, exif: bytes) -> None:
    """Put the camera directory of an Exif block behind a big-endian TIFF: the library writes no such directory.

    The whole block goes along, its offsets moved; of it only that directory is pointed at, in the place of STANDS_IN.
    """
    block = bytearray(exif.removeprefix(b"Exif\0\0"))
    end = file.seek(0, 2)
    start = end + end % 2
    camera = _entry(block, int(struct.unpack_from(">I", block, 4)[0]), _EXIF_POINTER)
    (directory,) = struct.unpack_from(">I", block, camera + 8)
    (count,) = struct.unpack_from(">H", block, directory)
    for at in (directory + 2 + 12 * k for k in range(count)):
        _, kind, items, value = struct.unpack_from(">HHII", block, at)
        if items * ITEM_BYTES[kind] > 4:
            struct.pack_into(">I", block, at + 8, value + start)
    file.write(b"\0" * (end % 2) + block)
    file.seek(4)
    (first,) = struct.unpack(">I", file.read(4))
    file.seek(first)
    (count,) = struct.unpack(">H", file.read(2))
    entries = struct.pack(">H", count) + file.read(12 * count)
    pointer = first + _entry(entries, 0, STANDS_IN)
    file.seek(pointer)
    file.write(struct.pack(">H", _EXIF_POINTER))
    file.seek(pointer + 8)
    file.write(struct.pack(">I", start + directory))


def _entry(data: bytes | bytearray, directory: int, tag: int) -> int:
    """Where the entry of a tag stands in some bytes that hold a big-endian directory at a place."""
    (count,) = struct.unpack_from(">H", data, directory)
    places = (directory + 2 + 12 * k for k in range(count))
    return next(at for at in places if struct.unpack_from(">H", data, at)[0] == tag)


_NEW_SUBFILE_TYPE, _SUBFILE_TYPE = 254, 255  # TIFF 6.0, section 8
_REDUCED, _MASK = 1, 4  # bits of the first of these tags
_REDUCED_BEFORE = 2  # the same in the second, which is older
_MOST_PAGES = 1000


def pages(data: bytes) -> int:
    """How many pages a file has; smaller copies of one, such as thumbnails, and masks are none."""
    found = 0
    # Decoders raise a dozen different classes on damaged bytes, and at the end of the chain: those before it count.
    with contextlib.suppress(Exception), Image.open(io.BytesIO(data), formats=["TIFF"]) as image:
        for number in range(_MOST_PAGES):
            image.seek(number)
            tags = getattr(image, "tag_v2", {})
            found += is_picture(tags.get(_NEW_SUBFILE_TYPE, 0), tags.get(_SUBFILE_TYPE))
    return max(found, 1)


def is_picture(new: Any, old: Any) -> bool:
    """Whether a page is neither a smaller copy of another one nor a mask, by its NewSubfileType and SubfileType."""
    return not int(new) & (_REDUCED | _MASK) and old != _REDUCED_BEFORE


def subfile_types(valueof: Callable[..., Any]) -> tuple[Any, Any]:
    """What `is_picture` asks, by the TIFF library's `valueof` of a page's tags."""
    return valueof(_NEW_SUBFILE_TYPE, 0), valueof(_SUBFILE_TYPE)
