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

from autoprep.correction.bare_ground import Ground, between_strokes, deeper_grain, finest
from autoprep.correction.islands import islands
from autoprep.correction.paper import Paper
from autoprep.domain import Declined
from autoprep.imaging import fields, quick
from autoprep.imaging.arrays import Bool, Float32, UInt8, greatest
from autoprep.imaging.colour import LUMINANCE, tint_of
from autoprep.imaging.planes import carried, in_each, rim_of, slope_of, soft, soft_on_small

# In natural-log units of light. Chosen on the lab's tuning seeds.
FAINT, _DEEPEST = 0.025, 1.5
FINE = 0.016  # what drawing and texture exceed after the slope is taken out
_SOFT = 0.55  # the gradient that an edge keeps when it is blurred to 3 px: a step keeps 0.3-0.5, a slope 0.8-1
_TINT, _TINT_SHARE = 0.035, 0.45
# Lights differ along the way from warm to cold, 2700 to 7500 K, and hardly in green.
_WARM_COLD, _GREEN = 0.6, 0.12
_OFF_TINT, _OFF_TINT_DEEP = 0.014, 0.05  # so far from the shadow's own tint, more where it is deep, is a colour
_LEAST_SHARE, _LEAST_RIM = 0.004, 0.01
# What is so faint, in the median, must lie along more of the rim: a pale wash touches it in passing. (Of 25 photos with
# a shadow, seeds 720000-, the faintest take .10 to .12 and lie along .07 of the rim; six washes of 33 watercolours
# without one, that were taken for shadows, .06 to .11 along .01 to .03.)
_FAINT_ALL, _RIM_OF_FAINT = 0.115, 0.035
_ISLAND = 0.02
_COLOURED = 0.01  # a sheet has colours when this share of it shows one
_SPECK_PX, _GAP_PX = 6, 9  # shorter steps are noise; such gaps in a line of steps are closed
_HARD = 0.66  # what has so much of its border hard is a wash; shadows stay below 0.5, but for drawing beside them


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
    ground = between_strokes(linear, paper)
    luma = ground.luma
    coloured = _coloured(ground)
    light_steps = _steps(ground.luma, ground.noise)
    of_light = _lines_of(light_steps, 2 * _SPECK_PX, 2 * _GAP_PX + 1)
    steps = _with_colour(ground, light_steps) if float(coloured.mean()) > _COLOURED else of_light
    hard = cv2.dilate(of_light.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    open_ground = _open_ground(ground) & ~steps & ~coloured
    shaded = _shaded(open_ground, luma, paper.mask, hard)
    if shaded.any():
        open_ground &= ~islands(luma)
        shaded = _shaded(open_ground, luma, paper.mask, hard)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    colour = _colour_of_hidden_light(ground, shaded)
    if colour is None:
        # A wash beside the shadow may have been counted as a piece of it: what comes in from the rim by itself is none.
        alone = _shaded(open_ground, luma, paper.mask, hard, bridge_px=1)
        colour = _colour_of_hidden_light(ground, alone) if alone.any() else None
    if colour is None:
        return Declined(reason="what is darker has colours of its own; it is no shadow")
    # With the shadow's own tint known, a pale wash that the first look took for shadow stands out.
    open_ground &= ~_off_tint(ground, colour)
    shaded = _shaded(open_ground, luma, paper.mask, hard)
    if not shaded.any():
        return Declined(reason="no soft shadow on bare paper")
    return _carried(ground, shaded, open_ground, paper.mask)


def _carried(ground: Ground, shaded: Bool, open_ground: Bool, lit: Bool) -> Shadow:
    """The shadow's light from where it lies on bare ground, carried over the drawing."""
    known = (shaded & ground.seen) | lit
    # Well away from the shadow the light is what the lit paper told; close by it slopes into the shadow.
    near = cv2.dilate(shaded.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (31, 31))) > 0
    values = np.where((lit & ~near)[..., None], 0, ground.rest).astype(np.float32)
    light = _over_gaps(values, known)
    # Ground that lines enclose is not reached; where it shows just what the shadow around it promises, it is paper.
    for _ in range(3):
        more = open_ground & ground.seen & (np.abs(ground.luma - light @ LUMINANCE) < _ISLAND) & ~known
        if not more.any():
            break  # nothing changes any more
        known |= more
        light = _over_gaps(values, known)
    light = np.minimum(light, 0)
    under = light @ LUMINANCE < -FAINT
    return Shadow(light, known, float(under.mean()), float((under & ~known).mean()))


# Drawing cuts a shadow into pieces; for size and place they count together.
_BRIDGE_PX = 15


def _shaded(open_ground: Bool, luma: Float32, lit: Bool, hard: Bool, bridge_px: int = _BRIDGE_PX) -> Bool:
    return _substantial(_reached(open_ground, lit) & (luma < -FAINT), luma, lit, hard, bridge_px)


def _open_ground(ground: Ground) -> Bool:
    """Where the surface between the strokes is plain and not lighter than paper."""
    luma = ground.luma
    fine = cast(Float32, cv2.blur(np.abs(ground.fine), (3, 3)))
    plain = fine < np.maximum(FINE, 2.2 * ground.noise) * deeper_grain(luma)
    return np.asarray(ground.open & plain & (luma > -_DEEPEST) & (luma < 0.06))


def _over_gaps(values: Float32, known: Bool) -> Float32:
    return soft(carried(values, known, (2.0, 4.0, 8.0, 16.0, 40.0), (0.15, 0.5), soft_on_small), 1.5)


def _coloured(ground: Ground) -> Bool:
    """Where the colour is none that light gives to paper."""
    tint = greatest(np.abs(ground.rest - in_each(ground.luma)))
    calm = cast(Float32, cv2.blur(tint.astype(np.float32), (3, 3)))
    return np.asarray(calm > _TINT + _TINT_SHARE * np.maximum(-ground.luma, 0))


def _steps(plane: Float32, noise: float) -> Bool:
    """Where a plane of light steps instead of sloping; noise: standard deviation of what is finest in it."""
    steep, far = (slope_of(soft(plane, sigma)) for sigma in (1.0, 3.0))
    return np.asarray((steep > max(0.008, 1.5 * noise)) & (far < _SOFT * steep))


def _with_colour(ground: Ground, light_steps: Bool) -> Bool:
    """The edges on a sheet with colours: steps of colour count too, and gaps of a few pixels in such a line are closed.
    There the line may be the border of a wash, and what it encloses must not be entered through a gap."""
    step = light_steps
    for plane in (np.ascontiguousarray(ground.rest[..., channel]) for channel in (0, 2)):
        step = step | _steps(plane, float(np.std(finest(plane)[ground.lit])))
    return _lines_of(step, _SPECK_PX, _GAP_PX)


def _lines_of(step: Bool, least: int, gap: int) -> Bool:
    """The edges that steps make: lines of so many pixels at least, with such gaps closed."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(step.astype(np.uint8), connectivity=8)
    long = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= least
    long[0] = False
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (gap, gap))
    lines = cast(UInt8, cv2.morphologyEx(long[labels].astype(np.uint8), cv2.MORPH_CLOSE, brush))
    return np.asarray(cv2.dilate(lines, np.ones((3, 3), np.uint8)) > 0)


def _reached(ground: Bool, lit: Bool) -> Bool:
    """The parts of the open ground that hang together with lit paper."""
    joined = (ground | lit).astype(np.uint8)
    count, labels = cv2.connectedComponents(joined, connectivity=4)
    held = np.bincount(labels[lit], minlength=count)
    held[0] = 0
    return np.asarray((held >= 0.01 * lit.sum())[labels])


def _substantial(shaded: Bool, luma: Float32, lit: Bool, hard: Bool, bridge_px: int) -> Bool:
    """The dark parts that are large, deep enough to be seen, come in from the rim, and have no hard border."""
    solid = cast(UInt8, cv2.morphologyEx(shaded.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
    bridged = cv2.morphologyEx(solid, cv2.MORPH_CLOSE, np.ones((bridge_px, bridge_px), np.uint8))
    count, labels = cv2.connectedComponents(bridged, connectivity=8)
    rim = rim_of(shaded.shape, max(3, round(0.03 * min(shaded.shape))))
    kept = np.zeros(count, bool)
    for label in range(1, count):
        part = (labels == label) & shaded
        if part.sum() < _LEAST_SHARE * part.size:
            continue
        faint = float(np.median(luma[part])) > -_FAINT_ALL
        touches = (part & rim).sum() > (_RIM_OF_FAINT if faint else _LEAST_RIM) * rim.sum()
        deep = float(np.percentile(luma[part], 20)) < -2 * FAINT
        kept[label] = touches and deep and _hard_border(labels == label, lit, hard) < _HARD
    return np.asarray(kept[labels] & shaded)


def _hard_border(part: Bool, lit: Bool, hard: Bool) -> float:
    """Share 0..1 of the part's border to lit paper where the light steps."""
    contours, _ = cv2.findContours(part.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = np.zeros(part.shape, np.uint8)
    cv2.drawContours(line, contours, -1, 1, 1)
    border = (line > 0) & (cv2.dilate(lit.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0)
    return float((border & hard).sum() / max(int(border.sum()), 1))


def _colour_of_hidden_light(ground: Ground, shaded: Bool) -> Float32 | None:
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
        turns = np.linalg.solve(
            (rows * weight[:, None]).T @ rows + pull, (rows * weight[:, None]).T @ (taken - depth[:, None])
        )
        left = greatest(np.abs(taken - (1 + at @ turns) * depth[:, None]))
        weight = np.minimum(depth, 0.25) / np.maximum(1, left / 0.012) ** 2
    if np.abs(turns[0]).max() > _WARM_COLD or abs(turns[0, 1]) > _GREEN or float(np.median(left)) > _TINT:
        return None
    return (1 + plane @ turns).reshape(height, width, 3).astype(np.float32)


def _off_tint(ground: Ground, colour: Float32) -> Bool:
    """(h, w) where the tint is not what a shadow of this depth would have."""
    depth = np.clip(1 - quick.exp(ground.luma), 0, 0.95)
    expected = quick.log(np.maximum(1 - in_each(depth) * colour, 0.02))
    tint = greatest(np.abs(tint_of(soft(ground.rest - expected, 2.0))))
    return np.asarray(tint > _OFF_TINT + _OFF_TINT_DEEP * depth)
