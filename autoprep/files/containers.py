"""What kind of picture file some bytes are, and whether their container is complete.

A container walk is cheap and runs in the service itself; it decodes nothing.
"""

import re
import struct
from collections.abc import Iterator

_JPEG_STANDALONE = {0x01, *range(0xD0, 0xD8)}
_TAIL = 64 * 1024


def sniff(data: bytes) -> str | None:
    """The format by its first bytes: jpeg, png, webp, tiff, heic, avif, raw, or None for anything else."""
    if len(data) < 16:
        return None
    if data[:4] == b"RIFF":
        return "webp" if data[8:12] == b"WEBP" else None
    plain = {b"FUJIFILMCCD-RAW": "raw", b"IIRO": "raw", b"IIRS": "raw", b"IIU\0": "raw"}
    plain |= {b"\xff\xd8\xff": "jpeg", b"\x89PNG\r\n\x1a\n": "png"}
    for magic, name in plain.items():
        if data.startswith(magic):
            return name
    if data[4:8] == b"ftyp":
        return _iso_brand(data)
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "raw" if _is_raw_tiff(data) else "tiff"
    return None


def _iso_brand(data: bytes) -> str | None:
    size = struct.unpack(">I", data[:4])[0]
    brands = {data[at : at + 4] for at in (8, *range(16, min(size, 256), 4))}
    if data[8:12] == b"crx ":
        return "raw"
    if brands & {b"avif", b"avis"}:
        return "avif"
    return "heic" if brands & {b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1"} else None


def _is_raw_tiff(data: bytes) -> bool:
    """Camera RAW files are TIFF-like: a DNG version tag, a colour-filter picture, or a maker's own magic."""
    if data[8:10] == b"CR":
        return True
    order = "<" if data[:2] == b"II" else ">"
    pending, seen = [struct.unpack(order + "I", data[4:8])[0]], set[int]()
    while pending and len(seen) < 12:
        at = pending.pop()
        if at in seen or at + 2 > len(data):
            continue
        seen.add(at)
        is_raw, more = _scan_directory(data, at, order)
        if is_raw:
            return True
        pending += more
    return False


def _scan_directory(data: bytes, at: int, order: str) -> tuple[bool, list[int]]:
    count = struct.unpack(order + "H", data[at : at + 2])[0]
    more: list[int] = []
    for entry in range(at + 2, min(at + 2 + 12 * count, len(data) - 12), 12):
        tag, kind, length, value = struct.unpack(order + "HHII", data[entry : entry + 12])
        short = value & 0xFFFF if order == "<" else value >> 16
        if tag == 0xC612 or (tag == 0x0106 and kind == 3 and short in (32803, 34892)):  # DNGVersion; CFA
            return True, more
        if tag == 0x014A and length == 1:  # SubIFDs
            more.append(value)
        elif tag == 0x014A and value + 4 * length <= len(data) and length < 10:
            more += struct.unpack(f"{order}{length}I", data[value : value + 4 * length])
    return False, more


def is_whole(data: bytes, kind: str | None) -> bool:
    """Whether the container ends where it says it does. Unknown kinds count as whole.

    This is a test of the container, not of the pixels: half-written files of the right length pass, which is
    why the inbox also waits for the file to be still, and why later changes make a new job.
    """
    if not data:
        return False
    if len(data) > 2 * _TAIL and not data[-_TAIL:].strip(b"\0") and not _may_end_in_zeros(data):
        return False  # space reserved by a copy that has not arrived yet
    checks = {
        "jpeg": _jpeg_whole,
        "png": _png_whole,
        "webp": _riff_whole,
        "heic": _iso_whole,
        "avif": _iso_whole,
        "tiff": _tiff_whole,
        "raw": _tiff_whole,
    }
    check = checks.get(kind or "")
    return True if check is None else check(data)


def _jpeg_whole(data: bytes) -> bool:
    """Walk the markers to the first end-of-image; phones append more after it."""
    # Known in one quick pass: a file that never ends is looked at again and again.
    return b"\xff\xd9" in data and any(marker == 0xD9 for marker in _markers(data))


def scan_count(data: bytes) -> int:
    """How many scans a JPEG's picture is coded in; one of its previews, or what is appended, is not counted."""
    return sum(marker == 0xDA for marker in _markers(data))


def _markers(data: bytes) -> Iterator[int]:
    """The markers of a JPEG, to its first end-of-image (0xD9), or to where they can't be followed."""
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        yield marker
        if marker == 0xD9:
            return
        if marker in _JPEG_STANDALONE:
            at += 2
        else:
            at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
            if marker == 0xDA:
                at = _skip_scan(data, at)
    if data[at : at + 2] == b"\xff\xd9":
        yield 0xD9


def _skip_scan(data: bytes, at: int) -> int:
    """The position of the first real marker after entropy-coded data."""
    found = _REAL_MARKER.search(data, at)
    return len(data) if found is None else found.start()


# What follows FF in entropy-coded data is 00 or a restart; found by the search engine, not byte by byte: a file of
# nothing but FF 00 would cost seconds.
_REAL_MARKER = re.compile(rb"\xff[^\x00\x01\xd0-\xd7]", re.DOTALL)


def _png_whole(data: bytes) -> bool:
    at = 8
    while at + 12 <= len(data):
        size, name = struct.unpack(">I4s", data[at : at + 8])
        at += 12 + size
        if name == b"IEND":
            return bool(at <= len(data))
    return False


def _riff_whole(data: bytes) -> bool:
    return len(data) >= 8 + int(struct.unpack("<I", data[4:8])[0])


def _iso_whole(data: bytes) -> bool:
    """Boxes fill the file exactly, and the two that a still picture can't do without are among them."""
    at, names = 0, set[bytes]()
    while at + 8 <= len(data):
        size, name = struct.unpack(">I4s", data[at : at + 8])
        names.add(name)
        if size == 1 and at + 16 <= len(data):
            size = struct.unpack(">Q", data[at + 8 : at + 16])[0]
        if size == 0:
            return True  # "to the end of the file"
        if size < 8:
            return False
        at += size
    return at == len(data) and names >= {b"meta", b"mdat"}


# Where a TIFF's directories say that pixels lie: offsets with their byte counts (TIFF 6.0, section 8 and 15; tags 513
# and 514 of technical note 2's older JPEG).
_PLACES = ((273, 279), (324, 325), (513, 514))
_COMPRESSION, _NOT_COMPRESSED, _SUBIFDS = 259, 1, 330
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 7: 1, 13: 4}
_MOST_DIRECTORIES = 40
_Directory = dict[int, tuple[int, ...]]


def _tiff_whole(data: bytes) -> bool:
    """Whether all that the directories point at lies inside the file; large and foreign variants count as whole."""
    if data[:4] not in (b"II*\0", b"MM\0*"):
        return True  # BigTIFF, and makers' own
    return all(fields is not None and max(_ends(fields), default=0) <= len(data) for fields in _directories(data))


def _may_end_in_zeros(data: bytes) -> bool:
    """Whether a TIFF's last bytes are pixels as they are: then they are black, or the white of a reversed grey."""
    if data[:4] in (b"II+\0", b"MM\0+"):
        return True  # BigTIFF, whose directories are not walked
    if data[:4] not in (b"II*\0", b"MM\0*"):
        return False
    plain = (f for f in _directories(data) if f and f.get(_COMPRESSION, (_NOT_COMPRESSED,)) == (_NOT_COMPRESSED,))
    return any(end > len(data) - _TAIL for fields in plain for end in _ends(fields))


def _ends(fields: _Directory) -> Iterator[int]:
    """Where the pixels of a directory end, piece by piece."""
    for offsets, counts in _PLACES:
        for place, size in zip(fields.get(offsets, ()), fields.get(counts, ()), strict=False):
            yield place + size


def _directories(data: bytes) -> Iterator[_Directory | None]:
    """The fields of each directory of a TIFF; None, and no more, where one lies beyond the file, or is nothing yet."""
    order = "<" if data[:2] == b"II" else ">"
    pending, seen = [int(struct.unpack(order + "I", data[4:8])[0])], set[int]()
    while pending and len(seen) < _MOST_DIRECTORIES:
        at = pending.pop()
        if at == 0 or at in seen:
            continue
        seen.add(at)
        count = struct.unpack(order + "H", data[at : at + 2])[0] if at + 2 <= len(data) else 0
        end = at + 2 + 12 * count
        # A directory has one entry at least (TIFF 6.0, section 2): one of none is reserved space.
        fields = _fields(data, at + 2, count, order) if count and end + 4 <= len(data) else None
        yield fields
        if fields is None:
            return
        pending += [*fields.get(_SUBIFDS, ()), struct.unpack(order + "I", data[end : end + 4])[0]]


def _fields(data: bytes, at: int, count: int, order: str) -> _Directory | None:
    """Whole numbers of a directory's entries by tag; None where one lies beyond the file."""
    found: _Directory = {}
    wanted = {_COMPRESSION, _SUBIFDS, *(tag for pair in _PLACES for tag in pair)}
    for entry in range(at, at + 12 * count, 12):
        tag, kind, length = struct.unpack(order + "HHI", data[entry : entry + 8])
        size = _SIZES.get(kind, 0)
        if tag not in wanted or kind not in (3, 4, 13) or length > 1_000_000:
            continue
        start = entry + 8
        if size * length > 4:
            start = struct.unpack(order + "I", data[entry + 8 : entry + 12])[0]
            if start + size * length > len(data):
                return None
        letter = "H" if kind == 3 else "I"
        found[tag] = struct.unpack(f"{order}{length}{letter}", data[start : start + size * length])
    return found
