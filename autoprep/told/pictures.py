"""Pictures for questions: where the work may lie in the photo, and the work as it would come out."""

import io
from collections.abc import Sequence

import cv2
import numpy as np
from PIL import Image

from autoprep.domain import Outline
from autoprep.imaging.arrays import Float32, Float64, UInt8
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo, quad_of

_LONG_PX = 1280  # readable at phone width
_CLOSE_PX = 300  # side of a corner's enlargement
_CLOSE_SHARE = 0.05  # of the photo's long side around a corner
_LETTERS = "ABCD"
_FONT = cv2.FONT_HERSHEY_DUPLEX
# Tones of the candidates, first the likeliest: told apart by lightness too, for those who see few colours.
_TONES = ((0, 122, 135), (176, 42, 108), (92, 110, 20), (70, 70, 160))


def where(photo: Photo, outlines: Sequence[Outline], first: int = 1) -> bytes:
    """A JPEG of the photo with brackets outside the corners of each outline; below, the first one's corners enlarged.

    The corners of the first are called A, B, C, D, clockwise from the top left; each bears its number along its top,
    counted from first.
    """
    code, scale = _shown(photo, _LONG_PX)
    for number in range(len(outlines), 0, -1):
        tone = _TONES[(number - 1) % len(_TONES)]
        quad = quad_of(outlines[number - 1]) * scale
        _brackets(code, quad, tone, list(_LETTERS) if number == 1 else [""] * 4)
        # Along the upper side, each further on: the numbers of outlines that nearly meet stand beside each other.
        _label(code, quad[0] + (quad[1] - quad[0]) * (0.2 + 0.15 * number), str(number + first - 1), tone)
    if outlines and not outlines[0].whole_photo:
        code = np.vstack([code, _corners(photo, quad_of(outlines[0]), code.shape[1])])
    return _jpeg(code)


def finished(work: Float32, number: int) -> bytes:
    """A JPEG of a corrected work, (h, w, 3) float32 codes 0..1, with the number of the choice in a margin below it."""
    code = quantise8(work)
    height, width = code.shape[:2]
    margin = max(36, round(0.05 * max(height, width)))
    sheet = np.full((height + 2 * margin, width + margin, 3), 236, np.uint8)
    left = margin // 2
    sheet[left : left + height, left : left + width] = code
    size = 0.02 * margin
    cv2.putText(
        sheet, str(number), (left, height + left + round(0.95 * margin)), _FONT, size, (60, 60, 60), 2, cv2.LINE_AA
    )
    return _jpeg(sheet)


def each_by_itself(works: Sequence[Float32]) -> bytes:
    """A JPEG of several corrected works on one sheet, each with its number below: they come out one by one.

    works: (h, w, 3) float32 codes 0..1 each.
    """
    rows: list[list[UInt8]] = [[]]
    for number, work in enumerate(works, 1):
        if len(rows[-1]) == _IN_A_ROW:
            rows.append([])
        rows[-1].append(_in_cell(quantise8(work), number))
    rows[-1] += [np.full_like(rows[0][0], 236)] * (len(rows[0]) - len(rows[-1]))
    return _jpeg(np.vstack([np.hstack(row) for row in rows]))


_CELL_PX, _IN_A_ROW = 640, 3


def _in_cell(code: UInt8, number: int) -> UInt8:
    """The picture reduced into a square cell, its number below it."""
    edge, below = 20, 60
    ratio = min((_CELL_PX - 2 * edge) / code.shape[1], (_CELL_PX - edge - below) / code.shape[0])
    size = max(1, round(code.shape[1] * ratio)), max(1, round(code.shape[0] * ratio))
    cell = np.full((_CELL_PX, _CELL_PX, 3), 236, np.uint8)
    left, top = (_CELL_PX - size[0]) // 2, (_CELL_PX + edge - below - size[1]) // 2
    cell[top : top + size[1], left : left + size[0]] = cv2.resize(code, size, interpolation=cv2.INTER_AREA)
    cv2.putText(cell, str(number), (left, top + size[1] + 45), _FONT, 1.4, (60, 60, 60), 2, cv2.LINE_AA)
    return cell


def none_of_these() -> bytes:
    """A JPEG that says so: what is left when all choices were deleted. A phone's album shows pictures only."""
    return _card("None of these", "this one: you are asked again.")


def no_work() -> bytes:
    """A JPEG that says that the photo shows no work: what is left when all others were deleted."""
    return _card("No work at all", "this one: the photo is left alone.")


def _card(says: str, then: str) -> bytes:
    """A JPEG of words alone: an answer, and what follows from leaving it."""
    sheet = np.full((600, 800, 3), 236, np.uint8)
    for text, size, row in ((says, 1.6, 270), ("Delete the others and leave", 0.95, 340), (then, 0.95, 385)):
        (width, _), _ = cv2.getTextSize(text, _FONT, size, 2)
        cv2.putText(sheet, text, ((800 - width) // 2, row), _FONT, size, (60, 60, 60), 2, cv2.LINE_AA)
    return _jpeg(sheet)


def _shown(photo: Photo, long_px: int) -> tuple[UInt8, float]:
    """The photo as codes with this long side at most, and its pixels per full-size pixel."""
    small = photo.reduced(max(1, max(photo.size_px) // long_px)).linear()
    ratio = min(1.0, long_px / max(small.shape[:2]))
    size = (round(small.shape[1] * ratio), round(small.shape[0] * ratio))
    code = quantise8(encode_fast(np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32)))
    return np.ascontiguousarray(code), size[0] / photo.full_px[0]


def _brackets(code: UInt8, quad: Float64, tone: tuple[int, int, int], names: list[str]) -> None:
    """Two short lines along the sides at each corner, a little outside it, and its name beyond."""
    centre = quad.mean(0)
    reach = 0.12 * float(np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1).min())
    gap = max(3.0, 0.004 * max(code.shape[:2]))
    for k in range(4):
        outward = quad[k] - centre
        at = quad[k] + outward / (np.linalg.norm(outward) + 1e-9) * gap
        ends = [at + _unit(quad[(k + step) % 4] - quad[k]) * reach for step in (1, -1)]
        line = np.round(np.array([ends[0], at, ends[1]]) * 16).astype(np.int32)
        for colour, width in (((255, 255, 255), 4), (tone, 2)):
            cv2.polylines(code, [line], False, colour, width, cv2.LINE_AA, 4)
        _label(code, at + _unit(outward) * 3 * gap, names[k], tone)


def _unit(vector: Float64) -> Float64:
    return np.asarray(vector / (np.linalg.norm(vector) + 1e-9), np.float64)


def _label(code: UInt8, at: Float64, text: str, tone: tuple[int, int, int]) -> None:
    """A letter that can be read on any ground, kept inside the picture."""
    height, width = code.shape[:2]
    x = int(np.clip(at[0] - 10, 4, width - 26))
    y = int(np.clip(at[1] + 10, 26, height - 6))
    for colour, thick in (((255, 255, 255), 5), (tone, 2)):
        cv2.putText(code, text, (x, y), _FONT, 0.9, colour, thick, cv2.LINE_AA)


def _corners(photo: Photo, quad: Float64, width: int) -> UInt8:
    """The four corners enlarged, side by side, each with the lines of its outline."""
    side = round(_CLOSE_SHARE * max(photo.size_px))
    cells = []
    for k in range(4):
        x, y = (round(float(v) * photo.scale) - side // 2 for v in quad[k])
        x = int(np.clip(x, 0, max(0, photo.size_px[0] - side)))
        y = int(np.clip(y, 0, max(0, photo.size_px[1] - side)))
        part = photo.crop(y, min(y + side, photo.size_px[1]), x, min(x + side, photo.size_px[0]))
        cell = quantise8(encode_fast(np.asarray(cv2.resize(part, (_CLOSE_PX, _CLOSE_PX)), np.float32)))
        cell = np.ascontiguousarray(cell)
        moved = (quad * photo.scale - [x, y]) * _CLOSE_PX / side
        line = np.round(np.array([moved[k - 1], moved[k], moved[(k + 1) % 4]]) * 16).astype(np.int32)
        cv2.polylines(cell, [line], False, _TONES[0], 1, cv2.LINE_AA, 4)
        _label(cell, np.array([16.0, 18.0]), _LETTERS[k], _TONES[0])
        cells.append(cell)
    row = np.hstack(cells)
    height = round(row.shape[0] * width / row.shape[1])
    return np.asarray(cv2.resize(row, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def _jpeg(code: UInt8) -> bytes:
    out = io.BytesIO()
    Image.fromarray(code).save(out, "JPEG", quality=88, subsampling=0)
    return out.getvalue()
