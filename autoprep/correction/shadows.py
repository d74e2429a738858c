"""Soft shadows of hand, phone and head on a sheet: found on the paper, followed from the lit part inwards.

A shadow and a wash both darken the paper. What tells them apart: a shadow's border is soft at every place, its
colour keeps near that of the paper (only the colour of the second light shows), and it comes in from the rim of
the sheet. A wash has an edge where the colour dried. So the paper is followed from where it is lit over slopes,
never over edges; what is reached and darker is in shadow.
"""

from dataclasses import dataclass
from typing import NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction.paper import DARKEST, Paper
from autoprep.domain import Declined
from autoprep.imaging import fields
from autoprep.imaging.arrays import Bool, Float32, Float64, UInt8
from autoprep.imaging.colour import LUMINANCE

# In natural-log units of light. Chosen on the lab's tuning seeds.
_FAINT, _DEEPEST = 0.025, 1.5
_FINE = 0.016  # what drawing and texture exceed after the slope is taken out
_SOFT = 0.55  # the gradient that an edge keeps when it is blurred to 3 px: a step keeps 0.3-0.5, a slope 0.8-1
_TINT, _TINT_SHARE = 0.035, 0.45
_LEAST_SHARE, _LEAST_RIM = 0.004, 0.01
_ISLAND = 0.02
_SPECK_PX, _GAP_PX, _COLOURED = 6, 9, 0.01
_STROKE_PX, _AROUND_PX, _SEEN, _OPEN = 11, 15, 0.15, 0.12
_OFF_TINT, _OFF_TINT_DEEP = 0.014, 0.05


@dataclass(frozen=True)
class Shadow:
    """What a shadow takes of the light.

    log_light: (h, w, 3) float32 natural log, 0 outside, at the paper's search size; paper: (h, w) bool, bare paper
    in and out of the shadow; share: of the work; over_drawing: share of the work where it lies on drawing.
    """

    log_light: Float32
    paper: Bool
    share: float
    over_drawing: float


def find_shadow(linear: Float32, paper: Paper) -> Shadow | Declined:
    """(H, W, 3) float32 linear sRGB of a rectified work and its lit paper -> the shadow on it, or why none is taken."""
    ground = _between_strokes(linear, paper)
    rest, luma = ground.rest, ground.luma
    open_ground = _open_ground(ground)
    shaded = _shaded(open_ground, luma, paper.mask)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    colour = _colour_of_hidden_light(ground, shaded)
    if colour is None:
        return Declined(reason="what is darker has colours of its own; it is no shadow")
    # With the shadow's own tint known, a pale wash that the first look took for shadow stands out.
    open_ground &= ~_off_tint(ground, colour)
    shaded = _shaded(open_ground, luma, paper.mask)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    known = (shaded & ground.seen) | paper.mask
    # Well away from the shadow the light is what the lit paper told; close by it slopes into the shadow.
    near = cv2.dilate(shaded.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (31, 31))) > 0
    values = np.where((paper.mask & ~near)[..., None], 0, rest).astype(np.float32)
    light = _spread(values, known)
    # Ground that lines enclose is not reached; where it shows just what the shadow around it promises, it is paper.
    for _ in range(3):
        known |= open_ground & ground.seen & (np.abs(luma - light @ LUMINANCE) < _ISLAND)
        light = _spread(values, known)
    light = np.minimum(_spread(values, known), 0)
    under = light @ LUMINANCE < -_FAINT
    return Shadow(light, known, float(under.mean()), float((under & ~known).mean()))


def _shaded(open_ground: Bool, luma: Float32, lit: Bool) -> Bool:
    return _substantial(_reached(open_ground, lit) & (luma < -_FAINT), luma)


class _Ground(NamedTuple):
    """The sheet without its thin strokes, at the paper's search size.

    rest (h, w, 3) and luma (h, w): natural log of the light relative to lit paper, per channel and in all; seen: where
    the surface shows between strokes; open: where enough of it does in the neighbourhood; lit: the lit paper; noise: standard deviation
    of luma on lit paper.
    """

    rest: Float32
    luma: Float32
    seen: Bool
    open: Bool
    lit: Bool
    noise: float


def _between_strokes(linear: Float32, paper: Paper) -> _Ground:
    """Strokes are narrow, and darker than what is on both their sides: a closing takes them out.

    It looks at twice the search size, where the paper shows between lines of writing.
    """
    height, width = paper.mask.shape
    rest, luma = _what_paper_does_not_explain(linear, paper, 2)
    # The shade in the fold of an open book is the page's own: it is no shadow that somebody throws, and it stays.
    fold = _fold(luma)
    rest, luma = rest - fold[..., None], luma - fold
    lit = cv2.resize(paper.mask.astype(np.uint8), (2 * width, 2 * height), interpolation=cv2.INTER_NEAREST) > 0
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_STROKE_PX, _STROKE_PX))
    over = cast(Float32, cv2.morphologyEx(luma, cv2.MORPH_CLOSE, brush)) - luma
    sharp = cast(Float32, cv2.blur(np.abs(_fine(luma)), (5, 5)))
    deep = _deep(luma)
    limit = np.maximum(0.02, 3.0 * float(np.std(_fine(luma)[lit]))) * deep
    stroke = (over > limit) & (sharp > 0.5 * limit)
    between = (cv2.dilate(stroke.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0).astype(np.float32)
    share = _halved(between, (width, height))
    stack = _halved(np.dstack([rest, luma]) * between[..., None], (width, height)) / np.maximum(share, 1e-3)[..., None]
    around = np.maximum(cast(Float32, cv2.GaussianBlur(share, (0, 0), 3.0)), 1e-3)[..., None]
    carried = cv2.GaussianBlur(stack * share[..., None], (0, 0), 3.0) / around
    seen = share > _SEEN
    stack = np.where(seen[..., None], stack, carried).astype(np.float32)
    luma = np.ascontiguousarray(stack[..., 3])
    free = cast(Float32, cv2.blur(share, (_AROUND_PX, _AROUND_PX))) > _OPEN
    lit = paper.mask & seen
    return _Ground(stack[..., :3], luma, seen, free, lit, float(np.std(_fine(luma)[lit])))


def _halved(plane: Float32, size: tuple[int, int]) -> Float32:
    return cast(Float32, cv2.resize(plane, size, interpolation=cv2.INTER_AREA))


def _deep(luma: Float32) -> Float32:
    """How much the same grain grows in a shadow: it stands on less signal."""
    return np.asarray(np.exp(-0.5 * np.clip(cv2.GaussianBlur(luma, (0, 0), 3.0), -1.2, 0)), np.float32)


def _fine(luma: Float32) -> Float32:
    """(h, w) what is finer than any slope or bend of a shadow's border."""
    once = luma - cv2.GaussianBlur(luma, (0, 0), 2.0)
    return np.asarray(once - cv2.GaussianBlur(once, (0, 0), 2.0), np.float32)


def _what_paper_does_not_explain(linear: Float32, paper: Paper, times: int) -> tuple[Float32, Float32]:
    """Natural log of the light relative to lit paper, per channel and in all, at a multiple of the search size."""
    height, width = (times * side for side in paper.mask.shape)
    how = cv2.INTER_AREA if width < linear.shape[1] else cv2.INTER_LINEAR
    small = cast(Float32, cv2.resize(linear, (width, height), interpolation=how))
    small = np.maximum(cast(Float32, cv2.GaussianBlur(small, (0, 0), 0.8)), DARKEST)
    field = paper.log_field(height, width)
    luma = np.log(small @ LUMINANCE) - np.log(np.exp(field) @ LUMINANCE)
    return np.asarray(np.log(small) - field, np.float32), np.asarray(luma, np.float32)


_FOLD_FROM, _FOLD_TO, _FOLD_DEPTH = 0.41, 0.59, 0.02


def _fold(luma: Float32) -> Float32:
    """(h, w) natural log, 0 or less: what a fold across the middle of the longer side takes of the light.

    A fold darkens its columns over the whole length of the sheet; what a hand darkens, it darkens in some places.
    """
    upright = luma.shape[0] > luma.shape[1]
    plane = np.ascontiguousarray(luma.T) if upright else luma
    width = plane.shape[1]
    first, last = int(_FOLD_FROM * width), int(_FOLD_TO * width)
    columns = np.quantile(plane[:, first:last], 0.75, axis=0).astype(np.float32)
    columns = cast(Float32, cv2.GaussianBlur(columns.reshape(1, -1), (0, 0), 1.0)).ravel()
    end = max(2, len(columns) // 8)
    level = np.linspace(columns[:end].mean(), columns[-end:].mean(), len(columns))
    drop = np.minimum(columns - level, 0)
    middle = drop[len(drop) // 4 : -len(drop) // 4]
    if middle.min() > -_FOLD_DEPTH:
        return np.zeros_like(luma)
    whole = np.zeros(width, np.float32)
    whole[first:last] = drop
    spread = np.broadcast_to(whole, plane.shape)
    return np.ascontiguousarray(spread.T if upright else spread, np.float32)


def _open_ground(ground: _Ground) -> Bool:
    """Where the surface is plain, without edges, not lighter than paper, and of its colour."""
    rest, luma = ground.rest, ground.luma
    fine = cast(Float32, cv2.blur(np.abs(_fine(luma)), (3, 3)))
    plain = fine < np.maximum(_FINE, 2.2 * ground.noise) * _deep(luma)
    tint = np.abs(rest - luma[..., None]).max(-1)
    coloured = cast(Float32, cv2.blur(tint.astype(np.float32), (3, 3))) > _TINT + _TINT_SHARE * np.maximum(-luma, 0)
    clear = plain & ~_edges(ground, float(coloured.mean()) > _COLOURED) & ~coloured
    return np.asarray(ground.open & clear & (luma > -_DEEPEST) & (luma < 0.06))


def _edges(ground: _Ground, coloured: bool) -> Bool:
    """Where the lightness steps instead of sloping.

    On a sheet with colours, steps of colour count too, and gaps of a few pixels in such a line are closed: there the
    line may be the border of a wash, and what it encloses must not be entered through a gap.
    """
    planes = (ground.luma, ground.rest[..., 0], ground.rest[..., 2]) if coloured else (ground.luma,)
    step = np.zeros(ground.luma.shape, bool)
    for plane in planes:
        noise = float(np.std(_fine(plane)[ground.lit]))
        steep = [_gradient(np.ascontiguousarray(plane), sigma) for sigma in (1.0, 3.0)]
        step |= (steep[0] > max(0.008, 1.5 * noise)) & (steep[1] < _SOFT * steep[0])
    lines = step.astype(np.uint8)
    if coloured:
        _, labels, stats, _ = cv2.connectedComponentsWithStats(lines, connectivity=8)
        long = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= _SPECK_PX
        long[0] = False
        brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_GAP_PX, _GAP_PX))
        lines = cast(UInt8, cv2.morphologyEx(long[labels].astype(np.uint8), cv2.MORPH_CLOSE, brush))
    return np.asarray(cv2.dilate(lines, np.ones((3, 3), np.uint8)) > 0)


def _gradient(plane: Float32, sigma: float) -> Float32:
    calm = cv2.GaussianBlur(plane, (0, 0), sigma)
    return cast(
        Float32,
        cv2.magnitude(cv2.Sobel(calm, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(calm, cv2.CV_32F, 0, 1, scale=0.125)),
    )


def _reached(ground: Bool, lit: Bool) -> Bool:
    """The parts of the open ground that hang together with lit paper."""
    joined = (ground | lit).astype(np.uint8)
    count, labels = cv2.connectedComponents(joined, connectivity=4)
    held = np.bincount(labels[lit], minlength=count)
    held[0] = 0
    return np.asarray((held >= 0.01 * lit.sum())[labels])


def _substantial(shaded: Bool, luma: Float32) -> Bool:
    """The dark parts that are large, deep enough to be seen, and come in from the rim."""
    height, width = shaded.shape
    solid = cast(UInt8, cv2.morphologyEx(shaded.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
    # Drawing cuts a shadow into pieces; for size and place they count together.
    bridged = cv2.morphologyEx(solid, cv2.MORPH_CLOSE, np.ones((15, 15), np.uint8))
    count, labels = cv2.connectedComponents(bridged, connectivity=8)
    rim = np.ones(shaded.shape, bool)
    band = max(3, round(0.03 * min(height, width)))
    rim[band:-band, band:-band] = False
    kept = np.zeros(count, bool)
    for label in range(1, count):
        part = (labels == label) & shaded
        if part.sum() < _LEAST_SHARE * part.size:
            continue
        touches = (part & rim).sum() > _LEAST_RIM * rim.sum()
        kept[label] = touches and float(np.percentile(luma[part], 20)) < -2 * _FAINT
    return np.asarray(kept[labels] & shaded)


def _colour_of_hidden_light(ground: _Ground, shaded: Bool) -> Float32 | None:
    """(h, w, 3) what a shadow takes per channel where it takes 1 of the luminance; None if no hidden light explains it.

    A shadow hides a share of one light; what is left is that much less of its colour. So what is taken (1 - ratio to
    the lit paper) is the same colour at every depth; over the sheet it may turn slowly, as the shares of the lights do.
    """
    height, width = shaded.shape
    x, y = fields.grid_coordinates(height, width)
    plane = np.stack([np.ones_like(x), x, y], axis=-1)
    at = plane[shaded.ravel()]
    taken = 1 - np.exp(ground.rest[shaded].astype(np.float64))
    depth = 1 - np.exp(ground.luma[shaded].astype(np.float64))
    weight = np.minimum(depth, 0.25)
    turns, left = np.zeros((3, 3)), np.zeros(1)
    for _ in range(5):
        rows = at * depth[:, None]
        pull = np.diag([1e-6, 0.05, 0.05]) * float((weight * depth**2).sum())
        turns = np.linalg.solve((rows * weight[:, None]).T @ rows + pull, (rows * weight[:, None]).T @ (taken - depth[:, None]))
        left = np.abs(taken - (1 + at @ turns) * depth[:, None]).max(1)
        weight = np.minimum(depth, 0.25) / np.maximum(1, left / 0.012) ** 2
    if np.abs(turns[0]).max() > _TINT_SHARE or float(np.median(left)) > _TINT:
        return None
    return (1 + plane @ turns).reshape(height, width, 3).astype(np.float32)


def _off_tint(ground: _Ground, colour: Float32) -> Bool:
    """(h, w) where the tint is not what a shadow of this depth would have."""
    depth = np.clip(1 - np.exp(ground.luma), 0, 0.95)[..., None]
    expected = np.log(np.maximum(1 - depth * colour, 0.02))
    off = cast(Float32, cv2.GaussianBlur(ground.rest - expected, (0, 0), 2.0))
    tint = np.abs(off - (off @ LUMINANCE)[..., None]).max(-1)
    return np.asarray(tint > _OFF_TINT + _OFF_TINT_DEEP * depth[..., 0])


def _spread(values: Float32, known: Bool) -> Float32:
    """Values at the known places, smoothed, and carried over the gaps: finest scale first, coarser where unknown."""
    height, width = known.shape
    filled = np.zeros_like(values)
    missing = np.ones((height, width, 1), np.float32)
    for sigma in (2.0, 4.0, 8.0, 16.0, 40.0):
        weight = cast(Float32, cv2.GaussianBlur(known.astype(np.float32), (0, 0), sigma))[..., None]
        mean = cv2.GaussianBlur(values * known[..., None], (0, 0), sigma) / np.maximum(weight, 1e-6)
        trust = np.clip((weight - 0.15) / 0.35, 0, 1)
        filled += missing * trust * mean
        missing = missing * (1 - trust)
    filled += missing * mean  # far from all paper: what the widest look around says
    return cast(Float32, cv2.GaussianBlur(filled, (0, 0), 1.5))
