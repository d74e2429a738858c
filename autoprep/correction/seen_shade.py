"""The light on a work on which the eye sees a shadow: measured on the paper, guided over drawing by what is seen.

The eye says how deep a shadow lies at each place, to about a tenth, and where there is bare paper. Ground between the
strokes that is as dark as that, as plain as paper and of the shadow's tint is paper; its own light is exact, and what
lies between takes it over along the shadow that is seen there.
"""

from dataclasses import replace
from typing import cast

import cv2
import numpy as np

from autoprep.correction.bare_ground import Ground, between_strokes, deeper_grain
from autoprep.correction.islands import islands
from autoprep.correction.paper import Paper, find_level, rim_share
from autoprep.correction.shade_eye import Sight
from autoprep.correction.shadows import FAINT, FINE, Shadow
from autoprep.domain import Declined
from autoprep.imaging import quick
from autoprep.imaging.arrays import Bool, Float32, Float64, greatest
from autoprep.imaging.colour import LUMINANCE, tint_of
from autoprep.imaging.planes import carried, in_each, soft, soft_on_small

# Natural-log units of light, chosen on the lab's tuning seeds 108000-108054. A shadow counts where so much of the work
# is seen so dark; what is seen lighter than _LIT is lit.
_SEEN, _LEAST_SHARE, _LIT = 0.12, 0.01, 0.03
_UMBRA = 0.12
# By so much what is seen may be wrong: anywhere, per depth, and where a border lies near, per what it steps.
_WRONG, _WRONG_PER_DEPTH, _WRONG_PER_STEP = 0.07, 0.2, 0.7
_OFF_TINT, _OFF_TINT_PER_DEPTH, _OFF_TINT_PER_STEP = 0.03, 0.12, 0.1
_FINE_PER_STEP = 0.3  # a hard border of a shadow is fine too
_STEP_PX = 9
# The chance of bare paper from which it is believed: as a rule (chosen on 116000-116015: at .2 pale washes go, at .5
# more of hard shadows stays), and where the artist has said that there are washes, or none.
_BARE, _BARE_WASHED, _BARE_DRAWN = 0.35, 0.7, 0.25
_LEAST_OF_BARE = 0.3  # the level of the paper holds such a share of what is seen as lit bare paper
_NEAR, _ROUNDS, _FEWEST = 0.04, 8, 200
_SCALES = (1.0, 2.0, 4.0, 8.0, 16.0, 40.0)
_HIDDEN = (0.35, 2.5)  # what a hidden lamp gives of a channel, in the light of what is left and against all of it
# A piece of paper in a shadow whose light is of another colour than the rest's: share of the sheet, of the rest's tint,
# how far beside that, the eye's chance of bare paper, and how far off its own light the piece is. Chosen on seeds
# 133000-133023, where washes in a shadow have 1.4 to 2.3 of the tint, or are off by .055 and more.
_LEAST_PIECE, _LEAST_OF_TINT, _BESIDE, _SURELY_BARE, _OF_ONE_LIGHT = 0.004, 0.2, 0.12, 0.8, 0.05
_ENOUGH, _LEAST_OF_UMBRA = 50, 0.1  # pixels, and the share of what may be paper in the shadow, that its light explains
_ACROSS_PX = 9
_GAP_PX, _BROAD_PX, _RING = 30, 11, 12  # smaller and narrower gaps are filled by what is beside them; places around one
_NEAR_PX, _FAR_PX = 2, 7
_DARKEST_AROUND, _LIGHTEST_AROUND = 5, 95  # percentiles


def is_shaded(sight: Sight) -> bool:
    """Whether a shadow is seen on a work that is worth to be looked at."""
    return float((sight.shade < -_SEEN).mean()) >= _LEAST_SHARE


def light_by_sight(
    linear: Float32, sight: Sight, flat: bool = True, washes: bool | None = None
) -> tuple[Paper, Shadow] | Declined:
    """(H, W, 3) float32 linear sRGB of a rectified work and what the eye sees on it -> its bare paper, in the shadow as
    beside it, and the shadow; or why that can't be told. flat, washes: as for `find_paper`."""
    level = _lit_level(linear, sight)
    if isinstance(level, Declined):
        return level
    seen = sight.on(*level.mask.shape)
    ground = between_strokes(linear, level)
    least = _BARE if washes is None else _BARE_WASHED if washes else _BARE_DRAWN
    likely = np.asarray(ground.seen & ground.open & _plain(ground, seen.shade) & (seen.bare > least))
    likely &= ~islands(ground.luma)
    known, tint = _paper_as_seen(ground, seen, likely)
    if known.sum() < _FEWEST:
        return Declined(reason="in the shadow that is seen no bare paper can be told")
    known, light = _followed(ground, seen.shade, likely, known, tint)
    if not flat:
        light = np.where((cv2.erode(seen.shade, np.ones((15, 15), np.uint8)) < -_LIT)[..., None], light, 0)
    return _described(level, light.astype(np.float32), known)


def _lit_level(linear: Float32, sight: Sight) -> Paper | Declined:
    """The bare paper by its level where it lies in no shadow; where hardly any of that is it, by its level anywhere:
    then it was a shine on the paper."""
    lit = cv2.erode((sight.shade > -_LIT).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    level = find_level(linear, lit)
    bare = float((lit & (sight.bare > _BARE)).mean())
    if not isinstance(level, Declined) and level.coverage >= _LEAST_OF_BARE * bare:
        return level
    anywhere = find_level(linear)
    if isinstance(level, Declined) or isinstance(anywhere, Declined):
        return level if isinstance(anywhere, Declined) else anywhere
    return anywhere if anywhere.coverage > level.coverage else level


def _plain(ground: Ground, shade: Float32) -> Bool:
    fine = cast(Float32, cv2.blur(np.abs(ground.fine), (3, 3)))
    limit = np.maximum(FINE, 2.2 * ground.noise) * deeper_grain(ground.luma)
    return np.asarray(fine < limit + _FINE_PER_STEP * _steps(shade))


def _steps(shade: Float32) -> Float32:
    """(h, w) by how much the shade changes within a few pixels."""
    brush = np.ones((_STEP_PX, _STEP_PX), np.uint8)
    return np.asarray(cv2.dilate(shade, brush) - cv2.erode(shade, brush), np.float32)


def _paper_as_seen(ground: Ground, seen: Sight, likely: Bool) -> tuple[Bool, Float64]:
    """Where the ground is as dark as the shadow that is seen, and has its tint; and (3,) the colour of the light that
    is hidden there (see _of_depth), none where no such light explains what is seen."""
    shade = seen.shade
    step, tint = _steps(shade), np.ones(3)
    as_dark = np.abs(ground.luma - shade) < _WRONG - _WRONG_PER_DEPTH * shade + _WRONG_PER_STEP * step
    known = np.asarray(likely & as_dark)
    for _ in range(2):
        umbra = known & (shade < -_UMBRA)
        if umbra.sum() > _ENOUGH:
            tint = np.clip(np.median(_hidden(ground, umbra), axis=0).astype(np.float64), *_HIDDEN)
        off = _off(ground.rest - _of_depth(shade, tint))
        known = likely & as_dark & (off < _OFF_TINT - _OFF_TINT_PER_DEPTH * shade + _OFF_TINT_PER_STEP * step)
    may_be = likely & as_dark & (shade < -_UMBRA)
    if may_be.sum() > _ENOUGH and (known & may_be).sum() < _LEAST_OF_UMBRA * may_be.sum():
        tint = np.zeros(3)  # no light that is hidden makes that of paper: a red hand
    else:
        known = known | _in_other_light(ground, seen, np.asarray(may_be & ~known), tint)
    return np.asarray(known), tint


def _in_other_light(ground: Ground, seen: Sight, may_be: Bool, tint: Float64) -> Bool:
    """Of what may be paper in the shadow the large pieces whose light has a colour of its own, between none and that of
    the rest: far from a lamp that is not hidden a window lights the shadow too. Paint takes it further or elsewhere."""
    found = np.zeros(may_be.shape, bool)
    whole = cv2.morphologyEx(may_be.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    # Strokes part paper, not its light.
    count, labels = cv2.connectedComponents(cv2.dilate(whole, np.ones((_ACROSS_PX, _ACROSS_PX), np.uint8)))
    way = tint - 1
    for label in range(1, count):
        piece = (labels == label) & (whole > 0)
        if piece.sum() < _LEAST_PIECE * may_be.size:
            continue
        own = np.median(_hidden(ground, piece), axis=0).astype(np.float64)
        share = float((own - 1) @ way / max(float(way @ way), 1e-6))
        beside = float(np.abs(own - 1 - share * way).max())
        if not _LEAST_OF_TINT < share < 1 or beside > _BESIDE or np.median(seen.bare[piece]) < _SURELY_BARE:
            continue
        off = _off(ground.rest - _of_depth(seen.shade, own))
        if np.percentile(off[piece], 75) < _OF_ONE_LIGHT:
            found |= piece
    return found


def _hidden(ground: Ground, where: Bool) -> Float32:
    """(N, 3) the colour of the light that is hidden at each place, in the light of the other (see _of_depth)."""
    taken = np.expm1(-ground.rest[where]) / np.expm1(np.maximum(-ground.luma[where], 0.05))[:, None]
    return np.asarray(taken, np.float32)


def _of_depth(shade: Float32, hidden: Float64) -> Float32:
    """(h, w, 3) log light that a shadow of that depth leaves, where two lights of constant colours fall on a sheet, in
    any ratio, and one of them is hidden; hidden: (3,) its colour in the light of the other."""
    taken = quick.exp(-shade) - 1
    return cast(Float32, cv2.merge([-quick.log(1 + taken * np.float32(colour)) for colour in hidden]))


def _off(rest: Float32) -> Float32:
    """(h, w) how far the tint of what remains is from none."""
    return greatest(np.abs(soft(tint_of(rest), 1.5)))


def _followed(ground: Ground, shade: Float32, likely: Bool, known: Bool, tint: Float64) -> tuple[Bool, Float32]:
    """All paper that lies in the light of what is known, and (h, w, 3) that light: as it is on the paper, and between
    along what is seen."""
    light = _guided(ground, shade, known, tint)
    for _ in range(_ROUNDS):
        rest = ground.rest - light
        more = likely & (np.abs(ground.luma - light @ LUMINANCE) < _NEAR) & (_off(rest) < _OFF_TINT) & ~known
        if not more.any():
            break  # nothing changes any more
        known = known | more
        light = _guided(ground, shade, known, tint)
    found = light @ LUMINANCE
    return np.asarray(known), soft(light + in_each(_as_around(ground.luma, found, known) - found), 0.7)


def _guided(ground: Ground, shade: Float32, known: Bool, tint: Float64) -> Float32:
    along = _of_depth(shade, tint)
    return carried((ground.rest - along).astype(np.float32), known, _SCALES, (0.15, 0.5), soft_on_small) + along


def _as_around(luma: Float32, light: Float32, known: Bool) -> Float32:
    """A light, within each gap of the paper no darker and no lighter than the paper around it: a wash is easily seen as
    deeper shade. Strokes, that run from one gap to another, count as none of them."""
    bounded, gaps = light.copy(), (~known).astype(np.uint8)
    broad = cv2.morphologyEx(gaps, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_BROAD_PX, _BROAD_PX)))
    whole = np.minimum(cv2.dilate(broad, np.ones((5, 5), np.uint8)), gaps)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(whole, connectivity=4)
    for label in range(1, count):
        left, top, width, height, area = (int(value) for value in stats[label])
        if area < _GAP_PX:
            continue
        part = np.s_[max(0, top - _FAR_PX) : top + height + _FAR_PX, max(0, left - _FAR_PX) : left + width + _FAR_PX]
        gap = labels[part] == label
        # Right beside a gap the paper is mixed with what is drawn.
        far, near = (cv2.dilate(gap.astype(np.uint8), np.ones((2 * px + 1, 2 * px + 1))) for px in (_FAR_PX, _NEAR_PX))
        ring = (far > near) & known[part]
        if ring.sum() < _RING:
            continue
        low, high = np.percentile(luma[part][ring], [_DARKEST_AROUND, _LIGHTEST_AROUND])
        bounded[part][gap] = np.clip(light[part][gap], low, high)
    return bounded


def _described(level: Paper, light: Float32, known: Bool) -> tuple[Paper, Shadow]:
    paper = replace(level, mask=known, shade=light, coverage=float(known.mean()), rim=rim_share(known))
    under = light @ LUMINANCE < -FAINT
    return paper, Shadow(light, known, float(under.mean()), float((under & ~known).mean()))
