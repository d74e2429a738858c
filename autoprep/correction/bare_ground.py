"""The bare ground of a sheet: what shows between the strokes of drawing and writing, relative to its lit paper."""

from typing import NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction.fold import fold_of
from autoprep.correction.paper import Paper
from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, AnyArray, Bool, Float32
from autoprep.imaging.colour import luminance
from autoprep.imaging.planes import soft

# Chosen on the lab's tuning seeds. A stroke is at most this wide at twice the search size (2.5 mm on A4); the ground
# is seen where this share of a pixel is free of strokes, and open where this share of its neighbourhood is.
_STROKE_PX, _SEEN, _AROUND_PX, _OPEN = 11, 0.15, 15, 0.12
_LEAST_STROKE = 0.02  # natural log by which the faintest stroke is darker than what is beside it


class Ground(NamedTuple):
    """The sheet without its thin strokes, at the paper's search size.

    rest (h, w, 3) and luma (h, w): natural log of the light relative to lit paper, per channel and in all; seen: where
    the surface shows between strokes; open: where enough of it does in the neighbourhood; lit: the lit paper; fine: (h,
    w) what is finest in luma; noise: standard deviation of that on lit paper.
    """

    rest: Float32
    luma: Float32
    seen: Bool
    open: Bool
    lit: Bool
    fine: Float32
    noise: float


def between_strokes(linear: Float32, paper: Paper) -> Ground:
    """Strokes are narrow, and darker than what is on both their sides: a closing takes them out.

    It looks at twice the search size, where the paper shows between lines of writing.
    """
    height, width = paper.mask.shape
    rest, luma = _what_paper_does_not_explain(linear, paper, 2)
    # The shade in the fold of an open book is the page's own: it is no shadow that somebody throws, and it stays.
    fold = fold_of(luma)
    if fold.any():
        rest, luma = rest - fold[..., None], luma - fold
    lit = cv2.resize(paper.mask.astype(np.uint8), (2 * width, 2 * height), interpolation=cv2.INTER_NEAREST) > 0
    between = (~_strokes(luma, lit)).astype(np.float32)
    share = _halved(between, (width, height))
    seen = np.asarray(share > _SEEN)
    around = np.maximum(cast(Float32, cv2.GaussianBlur(share, (0, 0), 3.0)), 1e-3)

    def ground(plane: AnyArray) -> Float32:
        light = _halved(plane * between, (width, height)) / np.maximum(share, 1e-3)
        # Where no ground is seen, that around it is carried over.
        return np.where(seen, light, cast(Float32, cv2.GaussianBlur(light * share, (0, 0), 3.0)) / around)

    rest, luma = cast(Float32, cv2.merge([ground(plane) for plane in cv2.split(rest)])), ground(luma)
    free = np.asarray(cv2.blur(share, (_AROUND_PX, _AROUND_PX)) > _OPEN)
    lit, fine = paper.mask & seen, finest(luma)
    return Ground(rest, luma, seen, free, lit, fine, float(np.std(fine[lit])))


def _strokes(luma: Float32, lit: Bool) -> Bool:
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_STROKE_PX, _STROKE_PX))
    over = cast(Float32, cv2.morphologyEx(luma, cv2.MORPH_CLOSE, brush)) - luma
    fine = finest(luma)
    sharp = cast(Float32, cv2.blur(np.abs(fine), (5, 5)))
    limit = max(_LEAST_STROKE, 3.0 * float(np.std(fine[lit]))) * deeper_grain(luma)
    stroke = (over > limit) & (sharp > 0.5 * limit)
    return np.asarray(cv2.dilate(stroke.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


def _halved(plane: Float32, size: tuple[int, int]) -> Float32:
    return cast(Float32, cv2.resize(plane, size, interpolation=cv2.INTER_AREA))


def deeper_grain(luma: Float32) -> Float32:
    """(h, w) how much the same grain grows in a shadow: it stands on less signal."""
    return quick.exp(-0.5 * np.clip(soft(luma, 3.0), -1.2, 0))


def finest(luma: Float32) -> Float32:
    """(h, w) what is finer than any slope or bend of a shadow's border."""
    once = luma - cv2.GaussianBlur(luma, (0, 0), 2.0)
    return np.asarray(once - cv2.GaussianBlur(once, (0, 0), 2.0), np.float32)


def _what_paper_does_not_explain(linear: Float32, paper: Paper, times: int) -> tuple[Float32, Float32]:
    """Natural log of the light relative to lit paper, per channel and in all, at a multiple of the search size."""
    height, width = (times * side for side in paper.mask.shape)
    how = cv2.INTER_AREA if width < linear.shape[1] else cv2.INTER_LINEAR
    small = cast(Float32, cv2.resize(linear, (width, height), interpolation=how))
    small = cast(Float32, cv2.GaussianBlur(small, (0, 0), 0.8))
    np.maximum(small, DARKEST, out=small)
    field = paper.log_field(height, width)
    luma, rest = quick.log(luminance(small)), quick.log(small)
    luma -= quick.log(luminance(quick.exp(field)))
    rest -= field
    return rest, luma
