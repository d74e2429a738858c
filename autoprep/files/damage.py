"""Pictures that decode without an error although a part of their data is missing, or was filled with nothing.

Three witnesses, each cheap. Decoders fill what they miss with one exact tone, and sync tools a hole with zero bytes; no
camera does either: a flat rectangle with hard edges, and a long run of zeros inside compressed data, are asked about.
The JPEG decoder knows when its data is disturbed or has run out, and only warns on the error stream; where the rest
of the picture is empty too, the file is refused.
"""

import os
import tempfile
from collections.abc import Callable, Iterable
from typing import TypeVar

import cv2
import numpy as np

from autoprep.errors import Unreadable
from autoprep.files.coded import coded_parts
from autoprep.imaging.arrays import AnyArray, UInt8, greatest, least

# Decoders fill what is missing with one exact tone, over the full width. Chosen: more rows than a thin frame has.
_LEAST_ROWS, _LEAST_SHARE = 16, 0.015
_Decoded = TypeVar("_Decoded")
_COMPLAINT = b"Corrupt JPEG data"  # libjpeg's own words (jerror.h)


def refuse_damaged(codes: AnyArray, data: bytes, heard: bytes | None = None) -> None:
    """Raises Unreadable where the lower rest of a JPEG's (H, W, 3) codes is empty because its data has run out.

    heard: what its decoder said of it (see `listened`); None: it is asked.
    """
    rows = empty_rest(codes)
    if rows and _complains(data, heard):
        share = rows / codes.shape[0] * 100
        raise Unreadable(f"the file is damaged: the lower {share:.0f} % of the picture is empty; copy it again")


# Chosen: cells of a JPEG's blocks; a hole worth a question covers a hundredth of the picture, and is a rectangle.
_CELL, _LEAST_AREA, _LEAST_FILL = 16, 0.01, 0.9
_LEAST_FLAT_ROWS = 6
_MOST_UNLIKE = 2  # of a border's two bars; where one is broader, a part that is missing may have joined it
_ZEROS = bytes(4096)
# Packed data never holds so many zeros; what stands beside it may. PNG has check sums, TIFF is not packed.
_PACKED = {"webp": bytes(1024), "avif": bytes(2048), "heic": _ZEROS}
_SAID_HOLE = "the file may be damaged: a part of its data is empty"
_SAID_DISTURBED = "the file may be damaged: its data is disturbed somewhere"
_SAID_FLAT = "the file may be damaged: {share:.0f} % of the picture is one flat tone with hard edges"


def suspicion(codes: AnyArray, data: bytes, kind: str, heard: bytes | None = None) -> str:
    """Why (H, W, 3) codes that were decoded may be a damaged picture, in plain words; empty where nothing says so.

    heard: what the decoder of a JPEG said of it (see `listened`); None: it is asked.
    """
    if (kind in _PACKED and _hole_in_packed(data, kind)) or (kind == "jpeg" and _hole_in_scan(data)):
        return _SAID_HOLE
    if kind == "jpeg" and _complains(data, heard):
        return _SAID_DISTURBED
    inside = within_border(codes)
    if kind == "tiff" and _has_empty_rows(inside):
        return _SAID_HOLE
    share = max(flat_part(inside), flat_rows(inside))
    return _SAID_FLAT.format(share=share * 100) if share else ""


def within_border(codes: AnyArray) -> AnyArray:
    """(H, W, 3) codes without bars of one tone at two opposite sides, or at all of them, as a black cloth, an open lid
    or a program that fills up a square leaves them. What is missing lies at the end, or within.
    """
    inside = _between_bars(_between_bars(codes).transpose(1, 0, 2)).transpose(1, 0, 2)
    return inside if inside.size else codes


def _between_bars(codes: AnyArray) -> AnyArray:
    """The rows between two bars of one tone of which neither is far broader than the other; all, where none are."""
    tone, last = codes[0, 0].astype(np.int32), codes.shape[0] - 1
    near = 1 if codes.dtype == np.uint8 else 257

    def bar(rows: Iterable[int]) -> int:
        count = 0
        for row in rows:
            # A few of its pixels tell of nearly every row that it is none.
            if any((np.abs(part.astype(np.int32) - tone) > near).any() for part in (codes[row, ::97], codes[row])):
                break
            count += 1
        return count

    first = bar(range(last + 1))
    end = bar(range(last, first - 1, -1))
    return codes[first : last + 1 - end] if 0 < max(first, end) <= _MOST_UNLIKE * min(first, end) else codes


def _has_empty_rows(codes: AnyArray) -> bool:
    """Whether two rows or more are nothing but zeros, and end hard.

    The rows of a TIFF may lie in it as they are; then a hole of a few thousand bytes is no more than that.
    """
    empty = np.asarray(~codes[:, ::97].any(axis=(1, 2)))
    for row in np.flatnonzero(empty):
        empty[row] = not codes[row].any()
    edges = np.flatnonzero(np.diff(np.r_[False, empty, False].astype(np.int8)))
    dark = 24 if codes.dtype == np.uint8 else 24 * 257
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        # The rows beside it may be empty in part.
        beyond = [codes[row] for row in (first - 2, end + 1) if 0 <= row < codes.shape[0]]
        if end - first >= 2 and beyond and min((row.max(axis=-1) > dark).mean() for row in beyond) > 0.5:
            return True
    return False


def _hole_in_packed(data: bytes, kind: str) -> bool:
    """Whether zeros lie among packed pixels; the camera's notes beside them hold some as a matter of course."""
    zeros = _PACKED[kind]
    return zeros in data and any(zeros in part for part in coded_parts(data, kind))


def _hole_in_scan(data: bytes) -> bool:
    """Whether zeros lie in a JPEG's coded data, not in what stands before it or was appended."""
    at = data.find(_ZEROS)
    start = data.rfind(b"\xff\xda", 0, max(0, at))
    return at > 0 and start > 0 and data.find(b"\xff\xd9", start, at) < 0


def is_flat(codes: AnyArray) -> bool:
    """Whether all of a picture is one tone: then there is nothing on it."""
    step = 1 if codes.dtype == np.uint8 else 257
    for part in (codes[::16, ::16], codes):  # nearly all are told by a few of their pixels
        low, high = part.min(axis=(0, 1)).astype(int), part.max(axis=(0, 1)).astype(int)
        if (high - low > step).any():
            return False
    return True


def flat_part(codes: AnyArray) -> float:
    """The share, 0..1, of a rectangle of one exact tone with hard edges; 0 where there is none. White is left out:
    paper and lamps burn out to it."""
    high, wide = codes.shape[0] // _CELL, codes.shape[1] // _CELL
    if high < 8 or wide < 8:
        return 0.0
    part = codes[: high * _CELL, : wide * _CELL]
    # A sixteenth of the pixels rules out most photos, another nearly all: where a cell is flat, so are they.
    may_be = np.ones((high, wide), bool)
    for first in (0, 2):
        may_be &= _flat_cells(part[first::4, first::4], _CELL // 4)[0]
        if may_be.mean() < _LEAST_AREA:
            return 0.0
    flat, tone = _flat_cells(part, _CELL)
    if flat.mean() < _LEAST_AREA:
        return 0.0
    tones, counts = np.unique(tone[flat], axis=0, return_counts=True)
    found = (_rectangle(flat, tone, tones[index]) for index in np.argsort(-counts)[:2])
    return max(found, default=0.0)


def _flat_cells(part: AnyArray, cell: int) -> tuple[AnyArray, AnyArray]:
    """Of (h * cell, w * cell, 3) codes: (h, w) which are flat and not white, and (h, w, 3) their least, in 8 bits."""
    kernel, middle = np.ones((cell, cell), np.uint8), slice(cell // 2, None, cell)
    part = np.ascontiguousarray(part) if part.dtype == np.uint8 else (part >> 8).astype(np.uint8)
    low = cv2.erode(part, kernel)[middle, middle].astype(np.int16)
    high = cv2.dilate(part, kernel)[middle, middle].astype(np.int16)
    return np.asarray((greatest(high - low) <= 1) & (least(low) < 250)), low


def flat_rows(codes: AnyArray) -> float:
    """The share, 0..1, of rows over the full width that are one exact tone, not white, and end hard; 0 for few."""
    same = _one_tone(codes)
    white = codes[:, 0].min(axis=-1) >= (250 if codes.dtype == np.uint8 else 250 * 257)
    new = np.r_[True, (codes[1:, 0] != codes[:-1, 0]).any(axis=-1)]
    best, first, last, start = 0, 0, 0, 0
    for row in (int(row) for row in np.flatnonzero(same & ~white)):
        start = start if row and same[row - 1] and not new[row] else row
        if row - start + 1 > best:
            best, first, last = row - start + 1, start, row
    if best < _LEAST_FLAT_ROWS or best == codes.shape[0]:
        return 0.0
    beyond = [codes[row] for row in (first - 3, last + 3) if 0 <= row < codes.shape[0]]
    limit = 6 if codes.dtype == np.uint8 else 6 * 257
    near = [(np.abs(row.astype(int) - codes[first, 0].astype(int)).max(axis=-1) <= limit).mean() for row in beyond]
    return float(best / codes.shape[0]) if near and max(near) < 0.5 else 0.0


def _one_tone(codes: AnyArray) -> AnyArray:
    """(H,) which rows are one exact tone; those that a few columns tell of are looked at no further."""
    same = (codes[:, ::97] == codes[:, :1]).reshape(codes.shape[0], -1).all(axis=1)
    for row in np.flatnonzero(same):
        same[row] = (codes[row] == codes[row, 0]).all()
    return np.asarray(same)


def _rectangle(flat: AnyArray, tone: AnyArray, wanted: AnyArray) -> float:
    """The share of the largest rectangle of flat cells of one tone that ends hard at all of its sides; else 0."""
    near = np.abs(tone - wanted).max(axis=-1)
    alike = (flat & (near <= 1)).astype(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(alike, connectivity=4)
    if len(stats) < 2:
        return 0.0
    x, y, w, h, area = (int(value) for value in max(stats[1:], key=lambda row: row[4]))
    high, wide = alike.shape
    if area < _LEAST_AREA * alike.size or area < _LEAST_FILL * w * h or w * h == alike.size:
        return 0.0
    beyond = [
        near[y - 2, x : x + w] if y >= 2 else None, near[y + h + 1, x : x + w] if y + h + 1 < high else None,
        near[y : y + h, x - 2] if x >= 2 else None, near[y : y + h, x + w + 1] if x + w + 1 < wide else None,
    ]  # fmt: skip
    sides = [float((side <= 6).mean()) for side in beyond if side is not None]
    return area / alike.size if sides and max(sides) < 0.5 else 0.0


def empty_rest(codes: AnyArray) -> int:
    """How many rows at the lower end are one exact tone; 0 where that is a few, or all of the picture."""
    last = codes[-1]
    if (last != last[0]).any():
        return 0
    rows = 1
    while rows < codes.shape[0] and (codes[-1 - rows] == last[0]).all():
        rows += 1
    return rows if max(_LEAST_ROWS, _LEAST_SHARE * codes.shape[0]) <= rows < codes.shape[0] else 0


def _complains(data: bytes, heard: bytes | None) -> bool:
    if heard is None:
        coded: UInt8 = np.frombuffer(data, np.uint8)
        _, heard = listened(lambda: cv2.imdecode(coded, cv2.IMREAD_REDUCED_COLOR_8))
    return _COMPLAINT in heard


def listened(decode: Callable[[], _Decoded]) -> tuple[_Decoded, bytes]:
    """What a decoder makes, and what it writes to the error stream meanwhile; a worker has one thread."""
    with tempfile.TemporaryFile() as heard:
        kept = os.dup(2)
        os.dup2(heard.fileno(), 2)
        try:
            decoded = decode()
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        heard.seek(0)
        return decoded, heard.read()
