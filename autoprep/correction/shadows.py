"""Soft shadows of hand, phone and head on a sheet: found on the paper, followed from the lit part inwards.

A shadow and a wash both darken the paper. What tells them apart: a shadow's border is soft at every place, its
colour keeps near that of the paper (only the colour of the second light shows), and it comes in from the rim of
the sheet. A wash has an edge where the colour dried. So the paper is followed from where it is lit over slopes,
never over edges; what is reached and darker is in shadow.
"""

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.correction.paper import DARKEST, Paper
from autoprep.domain import Declined
from autoprep.imaging.arrays import Bool, Float32, Float64, UInt8
from autoprep.imaging.colour import LUMINANCE

# In natural-log units of light. Chosen on the lab's tuning seeds.
_FAINT, _DEEPEST = 0.025, 1.5
_FINE = 0.016  # what drawing and texture exceed after the slope is taken out
_SOFT = 0.62  # the gradient that an edge keeps when it is blurred to 3 px: a step keeps 0.3-0.5, a slope 0.8-1
_TINT, _TINT_SHARE = 0.035, 0.30
_LEAST_SHARE, _LEAST_RIM = 0.004, 0.01
_ISLAND = 0.04
_OFF_TINT = 0.014


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
    rest, luma = _what_paper_does_not_explain(linear, paper)
    # The shade in the fold of an open book is the page's own: it is no shadow that somebody throws, and it stays.
    fold = _fold(luma)
    rest, luma = rest - fold[..., None], luma - fold
    open_ground = _open_ground(rest, luma, paper.mask)
    shaded = _shaded(open_ground, luma, paper.mask)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    slope = _tint_of_shadow(rest, luma, shaded)
    if slope is None:
        return Declined(reason="what is darker has colours of its own; it is no shadow")
    # With the shadow's own tint known, a pale wash that the first look took for shadow stands out.
    open_ground &= ~_off_tint(rest, luma, slope)
    shaded = _shaded(open_ground, luma, paper.mask)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    known = shaded | paper.mask
    # Well away from the shadow the light is what the lit paper told; close by it slopes into the shadow.
    near = cv2.dilate(shaded.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (31, 31))) > 0
    values = np.where((paper.mask & ~near)[..., None], 0, rest).astype(np.float32)
    light = _spread(values, known)
    # Ground that lines enclose is not reached; where it shows just what the shadow around it promises, it is paper.
    known |= open_ground & (np.abs(luma - light @ LUMINANCE) < _ISLAND)
    light = np.minimum(_spread(values, known), 0)
    under = light @ LUMINANCE < -_FAINT
    return Shadow(light, known, float(under.mean()), float((under & ~known).mean()))


def _shaded(open_ground: Bool, luma: Float32, lit: Bool) -> Bool:
    return _substantial(_reached(open_ground, lit) & (luma < -_FAINT), luma)


def _what_paper_does_not_explain(linear: Float32, paper: Paper) -> tuple[Float32, Float32]:
    """(h, w, 3) and (h, w): natural log of the light relative to lit paper at each place, per channel and in all."""
    height, width = paper.mask.shape
    small = cast(Float32, cv2.resize(linear, (width, height), interpolation=cv2.INTER_AREA))
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


def _open_ground(rest: Float32, luma: Float32, lit: Bool) -> Bool:
    """Where the surface is plain, without edges, not lighter than paper, and of its colour."""
    noise = float(np.std((luma - cv2.GaussianBlur(luma, (0, 0), 2.0))[lit]))
    fine = cast(Float32, cv2.blur(np.abs(luma - cv2.GaussianBlur(luma, (0, 0), 2.0)), (3, 3)))
    # Shadow is noisier than light: the same grain stands on less signal.
    deep = np.exp(-0.5 * np.clip(cv2.GaussianBlur(luma, (0, 0), 3.0), -1.2, 0))
    plain = fine < np.maximum(_FINE, 2.2 * noise) * deep
    tint = np.abs(rest - luma[..., None]).max(-1)
    coloured = cast(Float32, cv2.blur(tint.astype(np.float32), (3, 3))) > _TINT + _TINT_SHARE * np.maximum(-luma, 0)
    return np.asarray(plain & ~_edges(luma, noise) & ~coloured & (luma > -_DEEPEST) & (luma < 0.06))


def _edges(luma: Float32, noise: float) -> Bool:
    """Where the lightness steps instead of sloping."""
    steep = [_gradient(luma, sigma) for sigma in (1.0, 3.0)]
    step = (steep[0] > max(0.008, 1.5 * noise)) & (steep[1] < _SOFT * steep[0])
    return np.asarray(cv2.dilate(step.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)


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


def _tint_of_shadow(rest: Float32, luma: Float32, shaded: Bool) -> Float64 | None:
    """(3,) tint per unit of depth: in a shadow it follows the share of the second light. None if it does not."""
    depth = -luma[shaded].astype(np.float64)
    tint = rest[shaded].astype(np.float64) + depth[:, None]
    weight = np.minimum(depth, 0.3)[:, None]
    slope = np.zeros(3)
    for _ in range(4):
        slope = (weight * tint * depth[:, None]).sum(0) / np.maximum((weight * depth[:, None] ** 2).sum(0), 1e-9)
        left = np.abs(tint - slope * depth[:, None])
        weight = np.minimum(depth, 0.3)[:, None] / np.maximum(1, left / 0.02) ** 2
    if np.abs(slope).max() > _TINT_SHARE or float(np.median(left.max(1))) > _TINT:
        return None
    return cast(Float64, slope)


def _off_tint(rest: Float32, luma: Float32, slope: Float64) -> Bool:
    """(h, w) where the tint is not what a shadow of this depth would have."""
    depth = np.maximum(-luma, 0)
    off = rest - luma[..., None] - slope.astype(np.float32) * depth[..., None]
    calm = np.abs(cv2.GaussianBlur(off, (0, 0), 2.0)).max(-1)
    return np.asarray(calm > _OFF_TINT + 0.08 * depth)


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
