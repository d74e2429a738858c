"""A ground that continues the work's own paper: its tone, which runs on from the edge of the sheet, and its grain.

The tone is carried outward from the bare paper of the sheet by normalised convolution (Knutsson, Westin, CVPR 1993),
from coarse to fine. The grain is that of a bare piece of the sheet, its phases drawn anew (Galerne, Gousseau, Morel:
Random Phase Textures, IEEE Transactions on Image Processing 20(1), 2011): nothing drawn or written is repeated. A line
that runs through the piece is no grain: it would come out as streaks.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, UInt8, greatest
from autoprep.imaging.planes import in_each

_CELLS, _PARTS = 200, 4  # along the longer side of the canvas; along a cell, in each of which it must be bare
_BARE = 0.05  # codes 0..1: a cell is bare where it is so close to the paper's tone at its place, and its parts to it
_CALM = 0.25  # share of the cells that show the paper's grain alone
_PAPER = 0.16  # and so close to the paper's tone over all
_ROUNDS = 2
_REACHES = (27.0, 9.0, 3.0, 1.5)  # cells
_ENOUGH = 0.05  # share of known cells from which a reach is believed wholly: an edge two cells off, at the finest
_PIECE, _TILE, _BLOCK = (
    128,
    512,
    256,
)  # pixels: the piece whose grain is taken, what is made of it, what is done at once
_FINE = 8  # pixels: cells in which a piece is looked over for strokes
_SEED = 20261126  # chosen; the same picture each time
_LOW_PASS_PX = 12.0  # what is smoother than this is tone, not grain
# Grain is what lies within so many deviations, and no wave of it stands out so much from the usual one (in the mean of
# logarithms) of nearly its length and direction: of noise one in 16,000 values and one wave in 8,000 do (normal and
# Rayleigh distribution). It is looked for where so much of the energy lies beyond the first: laid and woven paper has
# waves of its own, that go through all of it.
_MOST_DEVIATIONS, _MOST_OF_WAVE, _AROUND_WAVES = 4.0, 4.0, 3.0
_STANDS_OUT = 0.02


def continue_paper(
    canvas: AnyArray, shown: tuple[int, int, int, int], flat: Float32, cover: UInt8 | None = None
) -> None:
    """Replace the flat ground of (H, W, 3) uint8 or uint16 codes, in place, by one that continues the sheet.

    shown: (x0, y0, x1, y1) of the work on it; flat: (1, 1, 3) codes 0..1 of the ground as it is; cover: (h, w) 0..255
    coverage of the work's box by the sheet, where its edges are torn. The work's own pixels stay as they are.
    """
    height, width = canvas.shape[:2]
    if cover is None and shown == (0, 0, width, height):
        return
    top = np.float32(np.iinfo(canvas.dtype).max)
    tone = _tone(canvas, shown, flat, cover)
    grain = _grain(canvas, shown, flat, cover)
    for y in range(0, height, _BLOCK):
        for x in range(0, width, _BLOCK):
            box = (x, y, min(x + _BLOCK, width), min(y + _BLOCK, height))
            free = _free(box, shown, cover)
            if not free.any():
                continue
            ground = _stretched(tone, box, (width, height))
            ground += grain[y % _TILE :, x % _TILE :][: ground.shape[0], : ground.shape[1]]
            ground *= top
            if free.min() < 1:
                ground *= free
            part = canvas[y : box[3], x : box[2]]
            part[:] = cv2.add(part, ground, dtype=cv2.CV_8U if canvas.dtype == np.uint8 else cv2.CV_16U)


def _free(box: tuple[int, int, int, int], shown: tuple[int, int, int, int], cover: UInt8 | None) -> Float32:
    """(h, w, 1) share of the ground in each pixel of a box on the canvas."""
    free = np.ones((box[3] - box[1], box[2] - box[0], 1), np.float32)
    left, above, right, below = (
        max(box[0], shown[0]),
        max(box[1], shown[1]),
        min(box[2], shown[2]),
        min(box[3], shown[3]),
    )
    if left < right and above < below:
        inside = free[above - box[1] : below - box[1], left - box[0] : right - box[0], 0]
        inside[:] = 0
        if cover is not None:
            inside += 1 - cover[above - shown[1] : below - shown[1], left - shown[0] : right - shown[0]] / np.float32(
                255
            )
    return free


# --- tone -----------------------------------------------------------------------------------------------------


def _tone(canvas: AnyArray, shown: tuple[int, int, int, int], flat: Float32, cover: UInt8 | None) -> Float32:
    """(rows, columns, 3) float32: by how much the ground differs from its flat tone, a cell for each few pixels."""
    height, width = canvas.shape[:2]
    factor = max(1.0, max(width, height) / _CELLS)
    size = (max(2, round(width / factor)), max(2, round(height / factor)))
    whole = _wholly_sheet((width, height), size, shown, cover)
    # Not the outermost cells: a line of desk may stand there, and what lies at the very edge repeats itself.
    known = cv2.erode(whole, np.ones((3, 3), np.uint8), borderValue=1) > 0
    apart, off = _cells(canvas, size, flat)
    bare = known & (greatest(np.abs(apart)) < _PAPER)
    if bare.any():  # more than in the calmer cells, whose parts differ by the paper's grain alone
        bare &= off < _BARE + float(np.quantile(off[bare], _CALM))
    filled = _filled(apart, bare)
    for _ in range(_ROUNDS):  # what lies off the tone around it is drawn on, not bare
        bare &= greatest(np.abs(apart - cv2.GaussianBlur(filled, (0, 0), 4))) < _BARE
        filled = _filled(apart, bare)
    return filled


def _wholly_sheet(
    canvas_px: tuple[int, int], size: tuple[int, int], shown: tuple[int, int, int, int], cover: UInt8 | None
) -> UInt8:
    """(rows, columns) 1 where one of (columns, rows) cells of a (width, height) canvas shows nothing but the sheet."""
    (width, height), (columns, rows), (x0, y0, x1, y1) = canvas_px, size, shown
    if cover is None:  # of a box, columns and rows by themselves tell it
        across: AnyArray = np.zeros((1, width), np.float32)
        down: AnyArray = np.zeros((height, 1), np.float32)
        across[:, x0:x1], down[y0:y1] = 255, 1
        across = cv2.resize(across, (columns, 1), interpolation=cv2.INTER_AREA)
        inside: AnyArray = cv2.resize(down, (1, rows), interpolation=cv2.INTER_AREA) * across
    else:
        sheet = np.zeros((height, width), np.uint8)
        sheet[y0:y1, x0:x1] = cover
        inside = cv2.resize(sheet, size, interpolation=cv2.INTER_AREA)
    return np.asarray(inside >= 253.5, np.uint8)


def _cells(canvas: AnyArray, size: tuple[int, int], flat: Float32) -> tuple[Float32, Float32]:
    """Codes 0..1: (rows, columns, 3) how far the mean of each cell is from the flat ground, and (rows, columns) how far
    any part of a cell is from that mean.

    Fine writing takes so little of a cell that its mean still passes for paper, if for darker (or lighter) paper.
    """
    columns, rows = size
    parts = cv2.resize(canvas, (columns * _PARTS, rows * _PARTS), interpolation=cv2.INTER_AREA)
    means = cv2.resize(parts.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    cell, first = np.ones((_PARTS, _PARTS), np.uint8), slice(_PARTS // 2, None, _PARTS)
    darkest, lightest = (extreme(parts, cell)[first, first] for extreme in (cv2.erode, cv2.dilate))
    off = greatest(np.maximum(means - darkest, lightest - means))
    top = np.float32(np.iinfo(canvas.dtype).max)
    return np.asarray(means / top - flat, np.float32), np.asarray(off / top, np.float32)


def _filled(values: Float32, known: AnyArray) -> Float32:
    """(h, w, 3) that goes on where it is not known: near by near, far off by the mean of more and more."""
    weight = known.astype(np.float32)
    weighted = values * in_each(weight)
    found = np.broadcast_to(weighted.sum((0, 1)) / max(float(weight.sum()), 1.0), values.shape).astype(np.float32)
    for reach in _REACHES:
        sums, share = (cv2.GaussianBlur(one, (0, 0), reach) for one in (weighted, weight))
        trust = in_each(np.minimum(share / _ENOUGH, 1))
        found = sums / in_each(np.maximum(share, 1e-6)) * trust + found * (1 - trust)
    return np.asarray(found, np.float32)


def _stretched(tone: Float32, box: tuple[int, int, int, int], size: tuple[int, int]) -> Float32:
    """A box of the tone at full size, between its cells' middles."""
    scale_x, scale_y = tone.shape[1] / size[0], tone.shape[0] / size[1]
    matrix = np.array([[scale_x, 0, (box[0] + 0.5) * scale_x - 0.5], [0, scale_y, (box[1] + 0.5) * scale_y - 0.5]])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    wanted = (box[2] - box[0], box[3] - box[1])
    return cast(Float32, cv2.warpAffine(tone, matrix, wanted, flags=how, borderMode=cv2.BORDER_REPLICATE))


# --- grain ----------------------------------------------------------------------------------------------------


def _grain(canvas: AnyArray, shown: tuple[int, int, int, int], flat: Float32, cover: UInt8 | None) -> Float32:
    """(512, 512, 3) float32, around zero, its borders fitting one another; zeros where no bare piece is found."""
    piece = _bare_piece(canvas, shown, flat, cover)
    if piece is None:
        return np.zeros((_TILE, _TILE, 3), np.float32)
    taper = np.sqrt(np.outer(np.hanning(_PIECE), np.hanning(_PIECE)))[..., None]
    rest = _without_lines(piece - cv2.GaussianBlur(piece, (0, 0), _LOW_PASS_PX), taper)
    rest = np.asarray(rest - rest.mean((0, 1)), np.float32)
    noise = np.fft.rfft2(np.random.default_rng(_SEED).normal(0, 1, (_TILE, _TILE)).astype(np.float32))
    # The sum over the piece of what noise of variance 1 is spread with; its energy is that of the piece, per pixel.
    energy = float((taper**2).sum())
    planes = [np.fft.irfft2(np.fft.rfft2(rest[..., c], (_TILE, _TILE)) * noise, (_TILE, _TILE)) for c in range(3)]
    return np.asarray(np.stack(planes, axis=-1) / np.sqrt(energy), np.float32)


def _without_lines(rest: Float32, taper: AnyArray) -> AnyArray:
    """(n, n, 3) grain, tapered towards its border, without what no grain has: ruled lines, dots, a stroke."""
    deviation = 1.4826 * np.median(np.abs(rest - np.median(rest, axis=(0, 1))), axis=(0, 1))
    limit = _MOST_DEVIATIONS * deviation
    kept = np.clip(rest, -limit, limit)
    if ((rest - kept) ** 2).sum() <= _STANDS_OUT * (rest**2).sum():
        return rest * taper
    waves = np.fft.fftshift(np.fft.fft2(kept * taper, axes=(0, 1)), axes=(0, 1))
    size = was = np.abs(waves) + 1e-12
    for _ in range(_ROUNDS):
        usual = np.exp(cv2.GaussianBlur(np.log(size), (0, 0), _AROUND_WAVES))
        size = np.where(size > _MOST_OF_WAVE * usual, usual, size)
    return np.fft.ifft2(np.fft.ifftshift(waves * (size / was), axes=(0, 1)), axes=(0, 1)).real


def _bare_piece(
    canvas: AnyArray, shown: tuple[int, int, int, int], flat: Float32, cover: UInt8 | None
) -> Float32 | None:
    """(128, 128, 3) codes 0..1 of bare paper; of several the one of middling roughness. None where there is none."""
    x0, y0, x1, y1 = shown
    top = np.float32(np.iinfo(canvas.dtype).max)
    across = _PIECE // _FINE
    size = ((x1 - x0) // _FINE, (y1 - y0) // _FINE)
    if min(size) < 2 * across:
        return None
    work = canvas[y0 : y0 + size[1] * _FINE, x0 : x0 + size[0] * _FINE]
    cells = cv2.resize(work, size, interpolation=cv2.INTER_AREA).astype(np.float32) / top
    found: list[tuple[float, int, int]] = []
    # Not at the very edge, where what lies within repeats itself.
    first = across // 4
    columns, rows = (-(-(length - across - 2 * first) // across) for length in size)
    inside = cells[first : first + rows * across, first : first + columns * across]
    parts = inside.reshape(rows, across, columns, across, 3).transpose(0, 2, 4, 1, 3).reshape(rows, columns, 3, -1)
    middles = np.median(parts, axis=-1, keepdims=True)
    close = np.abs(parts - middles).max(axis=(2, 3)) < _BARE
    close &= np.abs(middles[..., 0] - flat[0, 0]).max(axis=-1) < _PAPER
    for row, column in np.argwhere(close):
        y, x = ((first + int(k) * across) * _FINE for k in (row, column))
        if cover is None or cover[y : y + _PIECE, x : x + _PIECE].all():
            found.append((float((parts[row, column] - middles[row, column]).std()), x, y))
    if not found:
        return None
    _, x, y = sorted(found)[len(found) // 3]
    return np.asarray(work[y : y + _PIECE, x : x + _PIECE].astype(np.float32) / top, np.float32)
