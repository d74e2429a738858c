"""What a work stands on, as two hypotheses on the same page, each with the light that it implies.

Either the work is a sheet that is paper between its strokes, and the ground itself shows the light (see sheet); or it
is painted in parts, and the paper is the lightest level beside the paint under a smooth light, with soft shadows
followed from where it is lit (see paper, shadows). What explains more of the ground is believed; where both do, the
second, because it leaves what is painted alone.
"""

from dataclasses import replace

import cv2
import numpy as np

from autoprep.correction.cells import Cells, ground_cells
from autoprep.correction.paper import Paper, find_level, find_margin, marks_lighter_than, on_sheet, rim_share
from autoprep.correction.seen_shade import is_shaded, light_by_sight
from autoprep.correction.shade_eye import Sight
from autoprep.correction.shadows import Shadow, find_shadow
from autoprep.correction.sheet import Sheet, explained_by, find_sheet, washed, without_bends
from autoprep.domain import Declined
from autoprep.imaging import quick
from autoprep.imaging.arrays import Bool, Float32
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.planes import rim_of

# Chosen on the lab's tuning seeds: where both explain the ground within this share, the level is the better light; and
# so it is on unruled sheets with so large a share of colours, which the sheet's light would take for its own, unless
# it explains less than this share of the ground.
_AS_WELL, _COLOURS, _LEAST_EXPLAINED = 0.08, 0.03, 0.6
# On darker paper (luminance) what seems lit may be a shine, and the shadow all of the sheet: where less than this share
# of it is lit. (Of black paper under a shine .05; of a white sheet, under-exposed by 1.3 stops, that shines .43.)
_NOT_DARK, _LIT_SHARE, _LIT = 0.12, 0.2, -0.1
# Where a shadow is seen, its light is believed unless another explains so much more of what looks like bare paper to
# the eye. Where that is less of the work, the eye has not known the surface (of 12 real pages that are not ruled and on
# which it sees shade, .01 to .30; of the lab's drawn sheets nearly all above).
_SEEN_AS_WELL, _BARE, _LEAST_BARE = 0.05, 0.5, 0.35
# Where the eye knows the surface, there is no paper in parts so broad, in cells, in which it is less sure of any: of
# seeds 155000-155239 three come out better by .3 to 33 CIEDE2000 and two worse by .13 and .18; .3 does the same.
_NOT_BARE, _BROAD = 0.1, 5
# A shadow of a head or a phone may lie over all of a sheet, and bright desk beside it. The eye for shade tells its
# depth to about a tenth. (Of 868 light sheets under shadows, seeds 235000-236876, six were toned, two of them are no
# more.)
_DIMMED = 0.25
# Where less of a work is paper by what its level tells, and the eye for shade sees paper on so much of a rim so wide
# (of the side), that is a margin. (Watercolours that came out as none: with a margin .36 to .63, painted to the edge
# .04 at the most.)
_LEAST_PAPER, _MARGIN, _OF_MARGIN = 0.03, 0.03, 0.25


def find_paper(
    linear: Float32, flat: bool = True, washes: bool | None = None, sight: Sight | None = None
) -> tuple[Paper | Declined, Shadow | Declined]:
    """(H, W, 3) float32 linear sRGB of a rectified work -> its bare paper, and the shadow that lies on it if any.

    flat: the shade of a sheet's own bends counts as light, and is evened; else only what is smooth does. washes: the
    artist has said that it is painted in washes, so that a sheet is believed only where no level of paper is; or that
    it is drawn without any, so that what colours the ground has are those of its light. sight: what the eye for shade
    sees on it.
    """
    paper, shadow = _found(linear, flat, washes, sight)
    if sight is not None and _has_margin(sight) and (isinstance(paper, Declined) or paper.coverage < _LEAST_PAPER):
        margin = find_margin(linear, sight.bare > _BARE)
        paper, shadow = (paper, shadow) if isinstance(margin, Declined) else (margin, Declined(reason="a margin alone"))
    if sight is None or isinstance(paper, Declined):
        return paper, shadow
    return replace(paper, dimmed=_dimmed(paper, sight)), shadow


def _has_margin(sight: Sight) -> bool:
    """Whether bare paper is seen along the rim of a work."""
    side = min(sight.bare.shape)
    band = rim_of(sight.bare.shape, max(2, round(_MARGIN * side))) & ~rim_of(sight.bare.shape, 1)
    return float((sight.bare[band] > _BARE).mean()) > _OF_MARGIN


def _dimmed(paper: Paper, sight: Sight) -> float:
    """By how much, natural log, the paper is seen to lie in a shadow where its own light counts as whole."""
    seen = sight.on(*paper.mask.shape)
    if not paper.mask.any() or quick.median(seen.bare[paper.mask]) < _BARE:
        return 0.0
    own = 0.0 if paper.shade is None else paper.shade @ LUMINANCE
    left = quick.median((seen.shade - own)[paper.mask])
    return -left if left < -_DIMMED else 0.0


def _found(
    linear: Float32, flat: bool, washes: bool | None, sight: Sight | None
) -> tuple[Paper | Declined, Shadow | Declined]:
    cells = ground_cells(linear)
    bare = _seen_bare(sight, cells)
    painted = np.zeros(cells.shape, bool) if bare is None else _painted(bare)
    told, whole = _without_eye(linear, cells, flat, washes, painted)
    if sight is None or bare is None or not is_shaded(sight):
        return told
    seen = light_by_sight(linear, sight, flat, washes)
    if isinstance(seen, Declined):
        return told
    if isinstance(told[0], Declined):
        return seen
    before = explained_by(told[0].log_field(*cells.shape), cells, bare > _BARE)
    if explained_by(seen[0].log_field(*cells.shape), cells, bare > _BARE) <= before - _SEEN_AS_WELL:
        return told
    # Marks are lighter than the paper in both lights: that of the lit part alone knows of none in the shade, and to the
    # one that was found on all of the sheet what is lit beside a hard shadow may seem some.
    known = told[0] if isinstance(whole, Declined) else whole
    lighter = min(known.lighter, marks_lighter_than(linear, seen[0]))
    return replace(seen[0], lighter=lighter, ruled=told[0].ruled), seen[1]


def _seen_bare(sight: Sight | None, cells: Cells) -> Float32 | None:
    """(rows, columns) the chance of bare paper that the eye sees, or None where it does not know the surface."""
    bare = None if sight is None else sight.on(*cells.shape).bare
    return None if bare is None or (bare > _BARE).mean() <= _LEAST_BARE else bare


def _painted(bare: Float32) -> Bool:
    """(rows, columns) the chance of bare paper, 0..1 -> the broad parts in which there is surely none."""
    brush = np.ones((_BROAD, _BROAD), np.uint8)
    return np.asarray(cv2.morphologyEx((bare < _NOT_BARE).astype(np.uint8), cv2.MORPH_OPEN, brush) > 0)


def _without_eye(
    linear: Float32, cells: Cells, flat: bool, washes: bool | None, painted: Bool
) -> tuple[tuple[Paper | Declined, Shadow | Declined], Paper | Declined]:
    """The paper and its shadow; and the paper as it would be if what is painted were ground like the rest."""
    sheet = find_sheet(cells)
    if not isinstance(sheet, Declined) and sheet.ruled:
        on_ruled = _on_sheet(linear, sheet, flat)
        return on_ruled, on_ruled[0]
    by_level = _by_level(linear)

    def believed(one: Sheet | Declined) -> tuple[Paper | Declined, Shadow | Declined]:
        if isinstance(one, Declined) or not _explains_more(one, by_level[0], cells, washes):
            return by_level
        return _on_sheet(linear, one, flat)

    whole = believed(sheet)
    if isinstance(sheet, Declined) or not painted.any():
        return whole, whole[0]
    # A painted part that a shadow from the rim crosses looks like more of that shadow, and would be evened away.
    return believed(find_sheet(replace(cells, drawn=cells.drawn | painted))), whole[0]


def _on_sheet(linear: Float32, sheet: Sheet, flat: bool) -> tuple[Paper, Declined]:
    return on_sheet(linear, sheet if flat else without_bends(sheet)), Declined(
        reason="the sheet's own light tells its shadows"
    )


def _by_level(linear: Float32) -> tuple[Paper | Declined, Shadow | Declined]:
    paper = find_level(linear)
    if isinstance(paper, Declined):
        return paper, paper
    shadow = find_shadow(linear, paper)
    if isinstance(shadow, Declined):
        return paper, shadow
    held = shadow.paper
    shaded = replace(paper, mask=held, shade=shadow.log_light, coverage=float(held.mean()))
    # A shadow comes in from the rim, and the paper in it counts there as well.
    seen = float(np.exp(np.median(shaded.log_field(24, 24) @ LUMINANCE)))
    is_shadow = seen > _NOT_DARK or float((shadow.log_light @ LUMINANCE > _LIT).mean()) > _LIT_SHARE
    return (replace(shaded, rim=rim_share(held)) if is_shadow else shaded), shadow


def _explains_more(sheet: Sheet, level: Paper | Declined, cells: Cells, washes: bool | None) -> bool:
    if isinstance(level, Declined):
        return True
    smooth = level.log_field(*cells.shape)
    by_level, by_sheet = (explained_by(light, cells) for light in (smooth, sheet.log_light))
    washes = sheet.colours > _COLOURS if washes is None else washes
    if washes and by_level > _LEAST_EXPLAINED:
        return False
    return by_sheet - washed(sheet, smooth, cells) > by_level + _AS_WELL
