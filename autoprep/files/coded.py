"""Which bytes of a WebP, HEIC or AVIF are packed pixels: what the camera writes beside them may hold long zeros.

And how a JPEG is coded.

Chunks of WebP by its container specification (RFC 9649), boxes by ISO/IEC 14496-12: items, their types in `iinf`, their
places in `iloc` (from memory).
"""

import contextlib
import struct
from collections.abc import Iterator

from autoprep.errors import TooLarge
from autoprep.files.containers import scan_count

_OF_WEBP = (b"VP8 ", b"VP8L", b"ALPH")
_NO_PIXELS = (b"Exif", b"mime", b"uri ")  # types of items
_MOST = 10_000  # items or boxes: beyond, it is damage


def coded_parts(data: bytes, kind: str) -> list[bytes]:
    """The packed pixels of a file of these kinds; all of it where its container can't be followed."""
    with contextlib.suppress(struct.error, ValueError, IndexError):
        if kind == "webp":
            return _of_webp(data) or [data]
        return _without_notes(data) or [data]
    return [data]


def jpeg_kind(data: bytes) -> str:
    """What is less usual in how a JPEG is coded, in words; empty where nothing is, or its frame is not found.

    Frames by their markers, ITU-T T.81, table B.1: readers know those of 8 bits that are sequential or progressive.
    """
    at = 2
    while at + 5 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker in _FRAMES:
            bits = f"{data[at + 4]} bits" if data[at + 4] != 8 else ""
            return ", ".join(filter(None, (_FRAMES[marker], bits)))
        at += 1 if marker == 0xFF else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return ""


def refuse_scans(data: bytes) -> None:
    """Raises TooLarge for a JPEG whose decoding takes minutes, for each of its many scans goes over all of its pixels.

    500: what the manual of libjpeg-turbo suggests to decoders as the most (TJPARAM_SCANLIMIT, from memory); programs
    write a dozen.
    """
    count = scan_count(data)
    if count > _MOST_SCANS:
        raise TooLarge(f"this JPEG is coded in {count} scans, and at most {_MOST_SCANS} are read; save it anew")


_MOST_SCANS = 500
_FRAMES = {
    0xC0: "", 0xC1: "", 0xC2: "", 0xC3: "lossless", 0xC5: "in layers", 0xC6: "in layers", 0xC7: "lossless",
    0xC9: "arithmetic coding", 0xCA: "arithmetic coding", 0xCB: "lossless", 0xCD: "in layers", 0xCE: "in layers",
    0xCF: "lossless",
}  # fmt: skip


def _of_webp(data: bytes) -> list[bytes]:
    """The packed pixels of a WebP: of an animated one its first frame alone, which is the picture that is used.

    Later frames leave out what stays as it was, and pack that as long zeros.
    """
    parts = [(name, data[at:end]) for name, at, end in _chunks(data)]
    frames = [part for name, part in parts if name == b"ANMF"]
    return frames[:1] or [part for name, part in parts if name in _OF_WEBP]


def _chunks(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    """(name, start, end) of what the chunks of a RIFF file hold."""
    at = 12
    while at + 8 <= len(data):
        name, size = struct.unpack_from("<4sI", data, at)
        yield name, at + 8, at + 8 + size
        at += 8 + size + size % 2


def _boxes(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """(name, start, end) of what the boxes between two places hold."""
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            (size,), head = struct.unpack_from(">Q", data, at + 8), 16
        size = size or end - at
        if size < head:
            raise ValueError("box")
        yield name, at + head, min(at + size, end)
        at += size


def _without_notes(data: bytes) -> list[bytes]:
    """What `mdat` boxes hold, without the places of items that are no pixels."""
    left = bytearray(data)
    top = list(_boxes(data, 0, len(data)))
    inside = {name: at for box, start, end in top if box == b"meta" for name, at, _ in _boxes(data, start + 4, end)}
    types = _types(data, inside[b"iinf"]) if b"iinf" in inside else {}
    for item, at, size in _places(data, inside[b"iloc"]) if b"iloc" in inside else ():
        if types.get(item) in _NO_PIXELS and at + size <= len(data):
            left[at : at + size] = b"\xff" * size
    return [bytes(left[at:end]) for name, at, end in top if name == b"mdat"]


def _types(data: bytes, at: int) -> dict[int, bytes]:
    """The type of each item, of an `iinf`."""
    version = data[at]
    (count,) = struct.unpack_from(">H" if version == 0 else ">I", data, at + 4)
    found, here = dict[int, bytes](), at + (6 if version == 0 else 8)
    for _ in range(_within(count)):
        size, name = struct.unpack_from(">I4s", data, here)
        if name == b"infe" and data[here + 8] >= 2:
            form = ">I" if data[here + 8] >= 3 else ">H"
            (item,) = struct.unpack_from(form, data, here + 12)
            place = here + 12 + struct.calcsize(form) + 2  # behind it stands which protection it has
            found[item] = data[place : place + 4]
        here += max(8, size)
    return found


def _places(data: bytes, at: int) -> Iterator[tuple[int, int, int]]:
    """(item, start, length) of each extent in the file, of an `iloc`; items that lie elsewhere are left out."""
    version, sizes = data[at], struct.unpack_from(">H", data, at + 4)[0]
    of_offset, of_length, of_base, of_index = (sizes >> shift & 15 for shift in (12, 8, 4, 0))
    wide = version == 2
    (count,) = struct.unpack_from(">I" if wide else ">H", data, at + 6)
    here = at + (10 if wide else 8)
    for _ in range(_within(count)):
        (item,) = struct.unpack_from(">I" if wide else ">H", data, here)
        here += 4 if wide else 2
        method = 0
        if version:
            method, here = struct.unpack_from(">H", data, here)[0] & 15, here + 2
        base, here = _number(data, here + 2, of_base)  # behind which file it lies in
        (extents,) = struct.unpack_from(">H", data, here)
        here += 2
        for _ in range(_within(extents)):
            here += of_index if version else 0
            start, here = _number(data, here, of_offset)
            length, here = _number(data, here, of_length)
            if method == 0:
                yield item, base + start, length


def _number(data: bytes, at: int, size: int) -> tuple[int, int]:
    """A number of so many bytes, and where the next one stands."""
    return int.from_bytes(data[at : at + size], "big"), at + size


def _within(count: int) -> int:
    if count > _MOST:
        raise ValueError("too many")
    return count
