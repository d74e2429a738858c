"""The last word on each side of an outline: the likeliest of the edges that run along it, by fitted trees (see rivals).

The finders judge four sides together, and three right ones carry a wrong one along: a wall's shadow beside a canvas, a
line drawn near the sheet's edge, the edge of a sheet below. Here each side is weighed alone. A side is moved only to an
edge that is clearly likelier than the one it has.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import numpy as np

from autoprep.correction.outline import side_weights
from autoprep.correction.outline.refinement import Sides, refine
from autoprep.correction.outline.rivals import NAMES, Rivals, View, corners_of, depths, rivals, squared
from autoprep.correction.outline.scorer import Trees
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import is_convex, overlap

# By how much an edge must be likelier, in log odds, and how likely at least; and how much of what lies beyond a side
# the photo must show, if it is to be moved in. Chosen by cross-validation on photos of tuning seeds, and on 74 real
# pages: of 1,468 sides that were off 522 are mended (for 928 a right edge was among the rivals), of 26,841 others 6
# harmed.
_MARGIN, _LEAST, _SHOWN = 1.0, -0.5, 0.9
# An edge this near the side, in pixels of the squared view, is the side's own.
_SAME_PX = 2
# What the fit that follows may move: it takes out the pixel that the edges here are known to.
_REACH, _PRIOR, _STAYS = 0.004, 0.003, 0.97
# So many times the sides are looked at: where one was moved, its neighbours end elsewhere.
_ROUNDS = 2


@dataclass(frozen=True)
class Settled:
    """(4, 2) corners in the picture's pixels, which sides were moved, and each side's score in log odds (NaN: cut).

    likeliest: the corners with all sides on the likeliest edge, clearly or not: for a question.
    """

    quad: Float64
    moved: Sides
    scores: Float64
    likeliest: Float64


def settle(lab: Float32, maps: Float32, quad: Float64, eye: Float64, cut: Sides) -> Settled:
    """An outline with each side on the likeliest of the edges along it.

    lab: (H, W, 3) float32 L*a*b* of the photo; maps: (2, n, n) float32 the second eye's mask and edge map; quad, eye:
    (4, 2) corners of the outline and of the eye's own, in pixels of lab; cut: the sides that are the photo's border.
    """
    moved, scores, likeliest = np.zeros(4, bool), np.full(4, np.nan), quad
    for _ in range(_ROUNDS):
        view = squared(lab, maps, quad)
        chosen, free, scores = _weighed(view, eye, cut)
        likeliest = _fitted(lab, quad, corners_of(view, free), [bool(ends.any()) for ends in free])
        sides = [bool(ends.any()) for ends in chosen]
        if not any(sides):
            break
        quad = _fitted(lab, quad, corners_of(view, chosen), sides)
        moved |= sides
    return Settled(quad, cast(Sides, tuple(bool(side) for side in moved)), scores, likeliest)


def _fitted(lab: Float32, quad: Float64, found: Float64, moved: list[bool]) -> Float64:
    """The corners that were found, the moved sides fitted; those that were there where they make no outline.

    Sides that stay are held: they were fitted, and here their place is known to a pixel only.
    """
    if not any(moved) or not is_convex(found):
        return quad
    held = cast(Sides, tuple(not side for side in moved))
    fitted = refine(lab, found, reach=_REACH, prior=_PRIOR, held=held).quad
    return fitted if is_convex(fitted) and overlap(fitted, found) > _STAYS else found


def _weighed(view: View, eye: Float64, cut: Sides) -> tuple[list[Float64], list[Float64], Float64]:
    """For each side the depths of the edge that it should be moved to, those of the likeliest, and its score.

    Depths of nought: the side stays.
    """
    chosen, free, scores = [np.zeros(2)] * 4, [np.zeros(2)] * 4, np.full(4, np.nan)
    for side in range(4):
        if cut[side]:
            continue
        found = rivals(view, side, depths(view, eye, side))
        score = _trees()(among(found.features))
        best = int(score.argmax())
        own = score[np.abs(found.ends_px).max(axis=1) <= _SAME_PX].max()
        scores[side] = own
        if score[best] > own:
            free[side] = found.ends_px[best]
        if score[best] > max(own + _MARGIN, _LEAST) and _may_move(found, best):
            chosen[side], scores[side] = found.ends_px[best], score[best]
    return chosen, free, scores


def _may_move(found: Rivals, to: int) -> bool:
    """Whether a side may be moved to another edge: outwards, or because the photo shows what lies beyond it."""
    outwards = found.ends_px[to].mean() < found.ends_px[0].mean()
    return bool(outwards or found.features[0, NAMES.index("shown")] > _SHOWN)


def among(features: Float64) -> Float64:
    """(N, F) features of the edges along one side -> (N, 3 F): as they are, less the median, less the side's own."""
    return np.concatenate([features, features - np.median(features, axis=0), features - features[:1]], axis=1)


@lru_cache(maxsize=1)
def _trees() -> Trees:
    return Trees.of(side_weights.SIDE)
