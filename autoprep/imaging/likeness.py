"""What a work looks like, small enough to keep: by it, takes of one work are told from other works that look alike.

Kept is the drawing and not the light: lightness at 60 x 60 places, less what is around each. Two drawings of one boat
agree in most places and differ in some; takes of one drawing agree wherever something is drawn, however shaken.
"""

import base64
import zlib
from functools import lru_cache

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32

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
    side = a.shape[0]
    best, laid = -2.0, (a, b)
    for dy in range(-_SHIFT, _SHIFT + 1):
        for dx in range(-_SHIFT, _SHIFT + 1):
            over = a[max(0, dy) : side + min(0, dy), max(0, dx) : side + min(0, dx)]
            under = b[max(0, -dy) : side + min(0, -dy), max(0, -dx) : side + min(0, -dx)]
            agreement = _correlation(over, under)
            if agreement > best:
                best, laid = agreement, (over, under)
    return laid


def _in_parts(a: Float32, b: Float32) -> float:
    """The mean agreement of the parts in which either has strokes: a dark figure counts no more than words below it."""
    cuts = [np.array_split(np.arange(length), _PARTS) for length in a.shape]
    parts = [(a[np.ix_(rows, columns)], b[np.ix_(rows, columns)]) for rows in cuts[0] for columns in cuts[1]]
    strength = np.array([max(np.sqrt((p**2).mean()), np.sqrt((q**2).mean())) for p, q in parts])
    least = max(min(_DRAWN, _FAINT * float(strength.max())), _NOTHING)
    agreement = np.array([max(0.0, _correlation(p, q)) for p, q in parts])
    counted = strength > least
    return float(agreement[counted].mean()) if counted.any() else 0.0


def _correlation(a: Float32, b: Float32) -> float:
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    return float((a * b).sum()) / size if size > 0 else 0.0
