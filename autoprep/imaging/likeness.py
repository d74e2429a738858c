"""What a work looks like, small enough to keep: by it, takes of one work are told from other works that look alike.

Kept is the drawing and not the light: lightness at 60 x 60 places, less what is around each. Two drawings of one boat
agree in most places and differ in some; takes of one drawing agree wherever something is drawn, however shaken.
"""

import base64
import zlib
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from autoprep.imaging.arrays import AnyArray, Float32, Float64

# Chosen on three takes of 60 works and two of 48 more, pencil and ink among them (tuning seeds 16000-16147): what is
# finer than the blur of a shaken take, what is coarser than light that was evened otherwise, and how far two takes are
# squared differently, in pixels of the small picture.
_SIDE, _FINER, _COARSER, _RIM, _SHIFT = 64, 0.8, 4.0, 2, 2
_PARTS = 8  # along a side; each is compared by itself
# Parts count where strokes stand out by so many codes of 255, or by this share of what the strongest has.
_DRAWN, _FAINT, _NOTHING = 3.0, 0.3, 0.7


def likeness(picture: Float32) -> str:
    """(H, W, 3) float32 codes 0..1 of a corrected work -> its likeness, about 2 kB of text."""
    small = cv2.resize(picture, (_SIDE, _SIDE), interpolation=cv2.INTER_AREA).mean(axis=-1) * 255
    drawn = cv2.GaussianBlur(small, (0, 0), _FINER)
    drawn = (drawn - cv2.GaussianBlur(drawn, (0, 0), _COARSER))[_RIM:-_RIM, _RIM:-_RIM]
    codes = np.clip(np.rint(drawn), -127, 127).astype(np.int8)
    return base64.b85encode(zlib.compress(codes.tobytes(), 9)).decode("ascii")


def alike(one: str, two: str) -> float:
    """How much two likenesses agree, 0..1; 0 where nothing is drawn, or where one is of another kind."""
    a, b = _unpacked(one), _unpacked(two)
    if a is None or b is None:
        return 0.0
    return _in_parts(*_laid_over(a, b))


def alike_if_turned(one: str, two: str) -> float:
    """The same where either may have been turned by a quarter, or by several."""
    a, b = _unpacked(one), _unpacked(two)
    if a is None or b is None:
        return 0.0
    return max(_in_parts(*_laid_over(a, np.ascontiguousarray(np.rot90(b, quarters)))) for quarters in range(4))


@lru_cache(maxsize=256)
def _unpacked(text: str) -> Float32 | None:
    try:
        codes = np.frombuffer(zlib.decompress(base64.b85decode(text)), np.int8)
    except (ValueError, zlib.error):
        return None
    side = _SIDE - 2 * _RIM
    return codes.reshape(side, side).astype(np.float32) if codes.size == side * side else None


def _laid_over(a: Float32, b: Float32) -> tuple[Float32, Float32]:
    """The parts of both that lie on each other where they agree best."""
    side, count = a.shape[0], 2 * _SHIFT + 1
    # Zeros around one of them count for nothing, so that all shifts are one product.
    shifted = sliding_window_view(np.pad(b, _SHIFT), a.shape)
    shared = shifted.reshape(count**2, -1) @ a.ravel()
    sizes = (np.sqrt(_within_shifts(a) * _within_shifts(b)[::-1, ::-1])).ravel()
    agreement = np.divide(shared, sizes, out=np.zeros(count**2), where=sizes > 0)
    up, left = np.unravel_index(int(agreement[::-1].argmax()), (count, count))
    dy, dx = int(up) - _SHIFT, int(left) - _SHIFT
    over = a[max(0, dy) : side + min(0, dy), max(0, dx) : side + min(0, dx)]
    under = b[max(0, -dy) : side + min(0, -dy), max(0, -dx) : side + min(0, -dx)]
    return over, under


def _within_shifts(plane: Float32) -> Float64:
    """(n, n) the sum of squares of what another plane covers, shifted by -n/2 to n/2 rows and columns the other way."""
    side = plane.shape[0]
    sums = np.pad((plane.astype(np.float64) ** 2).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    shifts = np.arange(_SHIFT, -_SHIFT - 1, -1)
    first, last = np.maximum(0, shifts), side + np.minimum(0, shifts)
    rows = sums[last] - sums[first]
    return np.asarray(rows[:, last] - rows[:, first], np.float64)


def _in_parts(a: Float32, b: Float32) -> float:
    """The mean agreement of the parts in which either has strokes: a dark figure counts no more than words below it."""
    aa, bb, ab = _part_sums(a * a), _part_sums(b * b), _part_sums(a * b)
    strength = np.sqrt(np.maximum(aa, bb) / _part_sums(np.ones_like(a)))
    least = max(min(_DRAWN, _FAINT * float(strength.max())), _NOTHING)
    counted = strength > least
    agreement = np.maximum(0.0, ab[counted] / np.maximum(np.sqrt(aa[counted] * bb[counted]), 1e-12))
    return float(agreement.mean()) if len(agreement) else 0.0


def _part_sums(plane: Float32) -> Float64:
    """(_PARTS, _PARTS) sums over the parts, of sides as equal as may be."""
    rows, columns = (_starts(length) for length in plane.shape)
    return np.add.reduceat(np.add.reduceat(plane, rows, axis=0, dtype=np.float64), columns, axis=1)


def _starts(length: int) -> AnyArray:
    size, more = divmod(length, _PARTS)  # the first parts are longer by one
    return np.arange(_PARTS) * size + np.minimum(np.arange(_PARTS), more)
