"""Which pixels of a rectified work are bare paper, and the light that falls on them.

The light on a sheet changes slowly; paper is one reflectance. So bare paper is the set of smooth pixels that
share one lightness and one chromaticity after a slowly varying field is taken out. A wash is just as smooth,
but it is darker than the paper beside it: of several levels that fit, the lightest with enough area is taken,
and the rim of the sheet, where artists leave paper, counts more.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.fold import fold_of
from autoprep.correction.local_contrast import above_surroundings, amount_of, without_contrast_of
from autoprep.correction.marks import inside_only, is_relief, lighter_marks
from autoprep.correction.paper_search import (
    SEARCH_PX,
    Search,
    degree_of,
    envelope,
    expected_of,
    lit_part,
    luma_of,
    members,
    prepare,
    refit,
    rims,
    some_of,
)
from autoprep.correction.sheet import Sheet, smooth_light
from autoprep.correction.shine import is_veil
from autoprep.domain import Declined
from autoprep.imaging import fields
from autoprep.imaging.arrays import DARKEST, AnyArray, Bool, Float32, Float64, greatest
from autoprep.imaging.colour import LUMINANCE, lab_from_linear
from autoprep.imaging.latest import Latest
from autoprep.imaging.planes import small_copy, soft


@dataclass(frozen=True)
class Paper:
    """Bare paper of a rectified work.

    mask: (h, w) bool at search size; coefficients: (terms, 3) Legendre coefficients of the natural log of the
    paper's linear RGB over the work; coverage: share of the work that is bare paper; rim: share of the rim that
    is; scatter: standard deviation of log luminance over the mask; lighter: share of the work clearly lighter
    than the paper; lifted: share of it that is lighter than the paper over wide plain areas; shines: the part of that
    which has no hard border, as paint has, and on a sheet only where strokes are pale in it (see shine); shade: (h, w,
    3) float32 natural log of what shadows and bends take of the light, if they do; sheet: the work is a sheet that is
    paper between its strokes (see sheet), whose shade is known; ruled: lines are printed on the paper; dimmed: natural
    log, 0 or more, of what a shadow takes of all of it, as the eye for shade sees: nothing lit is left to tell it by;
    margin: the paper is but a margin around what is painted, where the eye for shade sees it.
    """

    mask: Bool
    coefficients: Float64
    coverage: float
    rim: float
    scatter: float
    lighter: float
    lifted: float
    shines: float
    shade: Float32 | None = None
    sheet: Sheet | None = None
    ruled: bool = False
    dimmed: float = 0.0
    margin: bool = False

    def log_field(self, rows: int, cols: int) -> Float32:
        """(rows, cols, 3) float32 natural log of what bare paper would show at each place."""
        field = fields.evaluate(self.coefficients, rows, cols)
        if self.shade is None:
            return field
        how = cv2.INTER_AREA if rows < self.shade.shape[0] else cv2.INTER_LINEAR
        return field + cast(Float32, cv2.resize(self.shade, (cols, rows), interpolation=how))

    def mean_linear(self) -> Float64:
        """(3,) geometric mean over the work of the paper's linear RGB as photographed, out of any shadow."""
        lit = fields.evaluate(self.coefficients, 24, 24)
        return cast(Float64, np.exp(lit.mean(axis=(0, 1)).astype(np.float64)))

    def undimmed_linear(self) -> Float64:
        """(3,) the same as it would be out of a shadow that lies over all of it, as what lies beside it may be."""
        return np.asarray(self.mean_linear() * np.exp(self.dimmed), np.float64)


def find_level(linear: Float32, lit: Bool | None = None) -> Paper | Declined:
    """(H, W, 3) float32 linear sRGB of a rectified work -> the bare paper beside what is painted, by its level.

    The hypothesis for works with painted parts: the paper is one lightness and one tint under a smooth light. lit: (h,
    w) over the work, where it is known to lie in no shadow; nothing else is looked at then.
    """
    return _at_level(linear) if lit is None else _level(lit_part(_searched(linear), lit))


# What is seen to be bare is believed in a smooth light of so low an order, from which it may be off by ever less
# (natural log). (Of five watercolours with a margin under shadows, seeds 233037-235719, .47 to .94 of what is seen
# stays.) Mouldings scatter more than paper: of 190 paintings of seeds 237000-237339 one white frame is seen so, at
# .039; those margins scatter by .019 to .030.
_KNOWN_DEGREE, _KNOWN_WITHIN, _LEAST_KNOWN, _RATHER = 2, (0.5, 0.3, 0.2, 0.14, 0.1, 0.1, 0.08, 0.08), 300, 0.6
_MOST_SCATTER = 0.034


def find_margin(linear: Float32, bare: Bool) -> Paper | Declined:
    """(H, W, 3) float32 linear sRGB of a rectified work and (h, w) where bare paper is seen on it -> that paper.

    A margin is too little of a work for its level to stand out, and its light may change as it likes.
    """
    search = _searched(linear)
    share = cv2.resize(bare.astype(np.float32), search.shape[::-1], interpolation=cv2.INTER_LINEAR)
    known = (np.asarray(share) > _RATHER).ravel() & (search.weight > 0) & (search.luma > np.log(4 * DARKEST))
    mask, field = known, np.zeros((0, 3))
    for within in _KNOWN_WITHIN:
        if mask.sum() < _LEAST_KNOWN:
            return Declined(reason="too little of what is seen to be bare lies in one light")
        field = refit(search, mask, _KNOWN_DEGREE)
        mask = known & (greatest(np.abs(search.logs - expected_of(search, field)).T) < within)
    found = _describe(search, np.asarray(mask), field)
    if found.scatter > _MOST_SCATTER:
        return Declined(reason="what is seen to be bare along the rim is not plain: a frame")
    return replace(found, margin=True)


def contrast_on(linear: Float32, wide: Float32) -> float:
    """How much local contrast is to be taken back from a work's bare paper (see amount_of): 0 where none is believed.

    wide: (n, m) natural log of the luminance of what lies widely around each place (see wide_surroundings). It is
    believed where more of the sheet is bare paper without it.
    """
    small, search, found = _small(linear), _searched(linear), _at_level(linear)
    if isinstance(found, Declined) or found.coverage < _TELLS_CONTRAST:
        return 0.0
    amount = _contrast_seen(search, found, above_surroundings(small, wide).ravel())
    if not _LEAST_CONTRAST < amount < _MOST_CONTRAST:
        return 0.0
    plain = _level(prepare(without_contrast_of(small, wide, amount)))
    return 0.0 if isinstance(plain, Declined) or plain.coverage <= found.coverage else amount


# A work is searched for its paper by several hypotheses, and again where a shadow or the camera's contrast is seen.
_searched = Latest(lambda linear: prepare(_small(linear)))
_at_level = Latest(lambda linear: _level(_searched(linear)))


def let_go() -> None:
    """Forget the search of the last work: nothing is asked of it any more."""
    _searched.let_go()
    _at_level.let_go()


def _small(linear: Float32) -> Float32:
    return soft(small_copy(linear, SEARCH_PX), 0.8)


# Less local contrast moves no paper out of its level, and what comes to more is something painted. More of it is seen
# the more paper is; what is no paper (less of the sheet than this) tells nothing.
_LEAST_CONTRAST, _MOST_CONTRAST, _ROUNDS, _TELLS_CONTRAST = 0.03, 0.3, 4, 0.03


def _contrast_seen(search: Search, found: Paper, above: Float32) -> float:
    """How much local contrast the bare paper shows, (N,) above: with what is known of it more is paper, which shows
    more of it."""
    amount, field = 0.0, found.coefficients
    for _ in range(_ROUNDS):
        mask = members(search, field, _CLOSE)
        if mask.sum() < _FEWEST:
            break
        degree = degree_of(search, mask, 4)
        index, weight = some_of(search, mask)
        terms = fields.basis(search.x[index], search.y[index], degree)
        more = amount_of(above[index], search.luma[index], terms, weight)
        more = min(max(amount + more, 0.0), _MOST_CONTRAST) - amount
        amount += more
        search = replace(search, logs=search.logs - more * above, luma=search.luma - more * above)
        field = fields.solve(terms, search.logs[:, index].T, weight, degree)
    return amount


_CLOSE, _FEWEST = 0.03, 60


def _level(search: Search) -> Paper | Declined:
    if search.smooth.mean() < 0.02:
        return Declined(reason="the surface is textured all over; no bare paper to measure the light on")
    field = envelope(search)
    # Rising order with a shrinking tolerance: the first rounds must not bend after washes.
    for degree, tolerance in ((1, 0.10), (2, 0.07), (2, 0.05), (2, 0.04), (3, 0.035), (3, _CLOSE), (3, _CLOSE)):
        mask = members(search, field, tolerance)
        if mask.sum() < _FEWEST:
            return Declined(reason="no level of bare paper stands out")
        field = refit(search, mask, degree_of(search, mask, degree))
    mask = members(search, field, _CLOSE)
    if mask.sum() < _FEWEST:
        return Declined(reason="no level of bare paper stands out")
    return _describe(search, mask, refit(search, mask, degree_of(search, mask, 4)))


def on_sheet(linear: Float32, sheet: Sheet) -> Paper:
    """The paper of a believed sheet: a smooth light, and as its shade all that the light does besides."""
    small = small_copy(linear, SEARCH_PX)
    size = (small.shape[1], small.shape[0])
    log_light = _without_fold(sheet)
    smooth = smooth_light(log_light, sheet.paper, 2)
    light = cast(Float32, cv2.resize(log_light, size, interpolation=cv2.INTER_LINEAR))
    rest = np.log(np.maximum(small @ LUMINANCE, DARKEST)) - light @ LUMINANCE
    held = cv2.resize(sheet.paper.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    mask = np.asarray(held & (np.abs(rest) < _ON_SHEET))
    shade = np.asarray(light - fields.evaluate(smooth, size[1], size[0]), np.float32)
    return Paper(
        mask=mask,
        coefficients=smooth,
        coverage=float(sheet.paper.mean()),
        rim=sheet.rim,
        scatter=float(rest[mask].std()) if mask.any() else 0.0,
        lighter=lighter_marks(linear, sheet.log_light),
        lifted=sheet.lifted,
        shines=sheet.lifted if is_veil(np.asarray(rest, np.float32), shade @ LUMINANCE) else 0.0,
        shade=shade,
        sheet=sheet,
        ruled=sheet.ruled,
    )


_ON_SHEET = 0.06


def _without_fold(sheet: Sheet) -> Float32:
    """The sheet's light; the shade in the fold of an open book is the page's own, and stays in the picture."""
    base = fields.evaluate(smooth_light(sheet.log_light, sheet.paper, 4), *sheet.paper.shape)
    fold = fold_of(np.ascontiguousarray((sheet.log_light - base) @ LUMINANCE))
    return np.asarray(sheet.log_light - fold[..., None], np.float32)


def _describe(search: Search, mask: Bool, field: Float64) -> Paper:
    expected = expected_of(search, field)
    rest = search.luma - luma_of(expected)
    plain = _plainly_lighter(search, rest)
    return Paper(
        mask=mask.reshape(search.shape),
        coefficients=field,
        coverage=float(mask.mean()),
        rim=rim_share(mask.reshape(search.shape)),
        scatter=float(rest[mask].std()),
        lighter=_lighter_marks(search, rest),
        lifted=_wide_share(plain),
        shines=_wide_share(_without_paint(search, plain)),
    )


def marks_lighter_than(linear: Float32, paper: Paper) -> float:
    """Share of a work, (H, W, 3) float32 linear sRGB, under marks lighter than a paper in its own light, shade and
    all."""
    search = _searched(linear)
    expected = np.ascontiguousarray(paper.log_field(*search.shape).reshape(-1, 3).T)
    return _lighter_marks(search, search.luma - luma_of(expected))


def _lighter_marks(search: Search, rest: Float32) -> float:
    """Share of the work under marks lighter than the paper: drawn ones, which stand out from their neighbourhood.

    Glare is lighter too, but it swells slowly; the median of the neighbourhood takes it out.
    """
    lighter = (rest > 0.06) & (search.weight > 0)
    if not lighter.any():
        return 0.0  # which is so on most sheets
    plane = np.clip(rest * 400 + 128, 0, 255).reshape(search.shape).astype(np.uint8)
    around = cv2.medianBlur(plane, 31).astype(np.float64)
    stands_out = (plane - around > 0.06 * 400).ravel()
    # Paper between dark lines stands out too where glare lifts all of it; there, plain ground is lifted with it.
    stands_out &= _share_around(_plainly_lighter(search, rest)).ravel() < 0.12
    # Where the camera ran out of scale there is glare, and nothing around its core can be told from chalk.
    blown = (search.logs.min(axis=0) > np.log(0.88)).reshape(search.shape).astype(np.uint8)
    near = cv2.dilate(cv2.morphologyEx(blown, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.ones((61, 61), np.uint8))
    marks = stands_out & lighter & (near.ravel() == 0)
    share = float(inside_only(marks.reshape(search.shape)).mean())
    relief = share > 0 and is_relief((plane - around) / 400, (search.weight > 0).reshape(search.shape))
    return 0.0 if relief else share


_SHINES = 0.35


def _wide_share(lighter: Bool) -> float:
    """The share of the work in whose neighbourhood much is plain and lighter than the paper."""
    return float((_share_around(lighter) > _SHINES).mean()) if lighter.any() else 0.0


def _plainly_lighter(search: Search, rest: Float32) -> Bool:
    return np.asarray((search.smooth & (rest > 0.06)).reshape(search.shape))


def _share_around(where: Bool) -> Float32:
    """(h, w) the share of the neighbourhood: 1 inside a wide shine."""
    return cast(Float32, cv2.blur(where.astype(np.float32), (41, 41)))


# A shine swells: near its border it has hardly begun. Paint is there at once: of all that a piece is lighter than what
# lies beside it, this share within so many pixels. On light paper a shine soon runs out of the camera's scale and looks
# so too: a piece is paint only where it is lighter by so much of what lies beside it.
_AT_ONCE, _BORDER_PX, _LEAST_PIECE, _FAR_LIGHTER = 0.6, 7, 40, 1.0


def _without_paint(search: Search, lighter: Bool) -> Bool:
    """Of what is plain and lighter than the paper the pieces that swell as a shine does."""
    if not lighter.any():
        return lighter
    kept, luma, far = lighter.copy(), np.exp(search.luma).reshape(search.shape), 2 * _BORDER_PX
    count, labels, stats, _ = cv2.connectedComponentsWithStats(lighter.astype(np.uint8), connectivity=4)
    for label in range(1, count):
        left, top, width, height, area = (int(value) for value in stats[label])
        if area < _LEAST_PIECE:
            continue
        part = np.s_[max(0, top - far) : top + height + far, max(0, left - far) : left + width + far]
        piece = labels[part] == label
        if _is_there_at_once(piece, luma[part]):
            kept[part][piece] = False
    return kept


def _is_there_at_once(piece: Bool, luma: AnyArray) -> bool:
    """Whether a piece is far lighter than what lies beside it right from its border on; luma: linear, of that part."""
    far = 2 * _BORDER_PX
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (far + 1, far + 1))
    whole = np.pad(piece.astype(np.uint8), far)  # the sheet's own border is one of the piece too
    near = cv2.dilate(whole, disc)
    bands = (whole - cv2.erode(whole, disc), cv2.dilate(near, disc) - near)
    edge, beside = (luma[band[far:-far, far:-far] > 0] for band in bands)
    if not len(edge) or not len(beside):
        return False
    ground = float(np.median(beside))
    rise = float(np.percentile(luma[piece], 90)) - ground
    return rise > _FAR_LIGHTER * ground and float(np.median(edge)) - ground > _AT_ONCE * rise


def rim_share(mask: Bool) -> float:
    """Share of 40 stretches along the rim of a work that hold paper, from a (h, w) mask of it."""
    places, stretch, sizes = _stretches(mask.shape)
    held = np.bincount(stretch, weights=mask.ravel()[places], minlength=40) / sizes
    return float((held > 0.15).mean())


@lru_cache(maxsize=4)
def _stretches(shape: tuple[int, ...]) -> tuple[AnyArray, AnyArray, AnyArray]:
    """(N,) the places along the rim of a mask, (N,) in which of 40 stretches each lies, and (40,) their sizes."""
    broad, outermost = rims(shape)
    places = np.flatnonzero(broad & ~outermost)
    x, y = (plane[places] for plane in fields.grid_coordinates(*shape[:2]))
    stretch = ((np.arctan2(y, x) + np.pi) / (2 * np.pi) * 40).astype(int) % 40
    return places, stretch, np.maximum(np.bincount(stretch, minlength=40), 1)


def photographed_lab(paper: Paper) -> Float64:
    """(3,) L*a*b* of the paper as the photo shows it, or would out of a shadow over all of it, at its mean light."""
    return lab_from_linear(paper.undimmed_linear())
