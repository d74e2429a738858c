"""Which pixels of a rectified work are bare paper, and the light that falls on them.

The light on a sheet changes slowly; paper is one reflectance. So bare paper is the set of smooth pixels that
share one lightness and one chromaticity after a slowly varying field is taken out. A wash is just as smooth,
but it is darker than the paper beside it: of several levels that fit, the lightest with enough area is taken,
and the rim of the sheet, where artists leave paper, counts more.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import cast

import cv2
import numpy as np

from autoprep.correction.fold import fold_of
from autoprep.correction.marks import inside_only, is_relief, lighter_marks
from autoprep.correction.sheet import Sheet, smooth_light
from autoprep.domain import Declined
from autoprep.imaging import fields
from autoprep.imaging.arrays import DARKEST, AnyArray, Bool, Float32, Float64
from autoprep.imaging.colour import LUMINANCE, lab_from_linear
from autoprep.imaging.planes import rim_of, slope_of, small_copy, soft

_SEARCH_PX = 480  # long side; chosen: paper tooth and sensor noise average out, pen lines still show as texture
_RIM = 0.05  # the rim is this share of the shorter side; chosen from usual sketchbook margins
# Of a long strip that would be two or three pixels, and a whisker of the desk in the outermost one keeps those from
# being smooth: softening, the slope and its mean each look a pixel on.
_LEAST_RIM_PX = 5
_RIM_WEIGHT = 3.0
_CELLS = 26
_BIN = 0.004  # histogram bins in natural-log units: 0.4 % of light
# A lighter level must hold this share of the weight, and this share of the largest level's, to be the paper.
_LEVEL_SHARE, _LEVEL_RATIO = 0.012, 0.10
_WHOLLY = 0.9


@dataclass(frozen=True)
class Paper:
    """Bare paper of a rectified work.

    mask: (h, w) bool at search size; coefficients: (terms, 3) Legendre coefficients of the natural log of the
    paper's linear RGB over the work; coverage: share of the work that is bare paper; rim: share of the rim that
    is; scatter: standard deviation of log luminance over the mask; lighter: share of the work clearly lighter
    than the paper; lifted: share of it that is lighter than the paper over wide plain areas; shines: the part of that
    which has no hard border, as paint has; shade: (h, w, 3) float32 natural log of what shadows and bends take of the
    light, if they do; sheet: the work is a sheet that is paper between its strokes (see sheet), whose shade is known;
    ruled: lines are printed on the paper.
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


@dataclass(frozen=True)
class _Search:
    """The picture under search, flattened: logs (3, N), luma (N,), coordinates, smoothness, rim and weights."""

    shape: tuple[int, int]
    logs: Float32
    luma: Float32
    x: Float64
    y: Float64
    smooth: Bool
    rim: Bool
    weight: Float64


def find_level(linear: Float32, lit: Bool | None = None) -> Paper | Declined:
    """(H, W, 3) float32 linear sRGB of a rectified work -> the bare paper beside what is painted, by its level.

    The hypothesis for works with painted parts: the paper is one lightness and one tint under a smooth light. lit: (h,
    w) over the work, where it is known to lie in no shadow; nothing else is looked at then.
    """
    search = _prepare(linear)
    if lit is not None:
        share = cv2.resize(lit.astype(np.float32), search.shape[::-1], interpolation=cv2.INTER_LINEAR)
        wholly = (np.asarray(share) > _WHOLLY).ravel()
        search = replace(search, smooth=search.smooth & wholly, weight=search.weight * wholly)
    if search.smooth.mean() < 0.02:
        return Declined(reason="the surface is textured all over; no bare paper to measure the light on")
    field = _envelope(search)
    # Rising order with a shrinking tolerance: the first rounds must not bend after washes.
    for degree, tolerance in ((1, 0.10), (2, 0.07), (2, 0.05), (2, 0.04), (3, 0.035), (3, 0.03), (3, 0.03)):
        mask = _members(search, field, tolerance)
        if mask.sum() < 60:
            return Declined(reason="no level of bare paper stands out")
        field = _refit(search, mask, _degree(search, mask, degree))
    mask = _members(search, field, 0.03)
    if mask.sum() < 60:
        return Declined(reason="no level of bare paper stands out")
    return _describe(search, mask, _refit(search, mask, _degree(search, mask, 4)))


def on_sheet(linear: Float32, sheet: Sheet) -> Paper:
    """The paper of a believed sheet: a smooth light, and as its shade all that the light does besides."""
    small = small_copy(linear, _SEARCH_PX)
    size = (small.shape[1], small.shape[0])
    log_light = _without_fold(sheet)
    smooth = smooth_light(log_light, sheet.paper, 2)
    light = cast(Float32, cv2.resize(log_light, size, interpolation=cv2.INTER_LINEAR))
    rest = np.log(np.maximum(small @ LUMINANCE, DARKEST)) - light @ LUMINANCE
    held = cv2.resize(sheet.paper.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    mask = np.asarray(held & (np.abs(rest) < _ON_SHEET))
    return Paper(
        mask=mask,
        coefficients=smooth,
        coverage=float(sheet.paper.mean()),
        rim=sheet.rim,
        scatter=float(rest[mask].std()) if mask.any() else 0.0,
        lighter=lighter_marks(linear, sheet.log_light),
        lifted=sheet.lifted,
        shines=sheet.lifted,
        shade=np.asarray(light - fields.evaluate(smooth, size[1], size[0]), np.float32),
        sheet=sheet,
        ruled=sheet.ruled,
    )


_ON_SHEET = 0.06


def _without_fold(sheet: Sheet) -> Float32:
    """The sheet's light; the shade in the fold of an open book is the page's own, and stays in the picture."""
    base = fields.evaluate(smooth_light(sheet.log_light, sheet.paper, 4), *sheet.paper.shape)
    fold = fold_of(np.ascontiguousarray((sheet.log_light - base) @ LUMINANCE))
    return np.asarray(sheet.log_light - fold[..., None], np.float32)


def _prepare(linear: Float32) -> _Search:
    small = soft(small_copy(linear, _SEARCH_PX), 0.8)
    height, width = small.shape[:2]
    logs = np.ascontiguousarray(np.log(np.maximum(small, DARKEST)).reshape(-1, 3).T)
    luma = np.log(np.maximum(small @ LUMINANCE, DARKEST))
    changes = _smoothness(luma)
    smooth = changes < max(0.022, 1.6 * float(np.percentile(changes, 20)))
    rim, outermost = _rim(luma.shape)
    inside = ~outermost
    x, y = fields.grid_coordinates(height, width)
    weight = np.where(rim, _RIM_WEIGHT, 1.0) * inside
    flat = (smooth & inside & (luma > np.log(4 * DARKEST))).ravel()
    return _Search((height, width), logs, luma.ravel(), x, y, flat, rim.ravel(), weight.ravel())


def _smoothness(luma: Float32) -> Float64:
    """(h, w) local change of log luminance, per pixel."""
    return cast(Float64, cv2.blur(slope_of(luma), (3, 3)).astype(np.float64))


def _rim(shape: tuple[int, ...]) -> tuple[Bool, Bool]:
    """(h, w) along the border, and the outermost pixels of that, which may still hold a whisker of the desk."""
    band = max(_LEAST_RIM_PX, round(_RIM * min(shape)))
    return rim_of(shape, band), rim_of(shape, max(1, band // 6))


def _envelope(search: _Search) -> Float64:
    """(terms, 3) first guess: a plane through the light parts of a grid of cells, darker cells discounted."""
    height, width = search.shape
    rows = np.arange(len(search.luma)) // width * _CELLS // height
    cols = np.arange(len(search.luma)) % width * _CELLS // width
    cell = rows * _CELLS + cols
    usable = np.flatnonzero(search.smooth)
    # By cell, then by luma, which is far less than 32 apart: one key takes a third of the time of two.
    order = usable[np.argsort(cell[usable] * 32.0 + search.luma[usable], kind="stable")]
    starts = np.searchsorted(cell[order], np.arange(_CELLS * _CELLS + 1))
    picks = [order[a + int(0.85 * (b - a))] for a, b in pairwise(starts) if b - a >= 6]
    chosen = np.array(picks if len(picks) >= 8 else usable)
    weight, terms = search.weight[chosen], fields.basis(search.x[chosen], search.y[chosen], 1)
    logs = search.logs[:, chosen].T
    coefficients = fields.solve(terms, logs, weight, 1)
    for _ in range(12):
        below = search.luma[chosen] - _luma_of((terms @ coefficients).T)
        discount = np.where(below < -0.03, 0.06, 1.0)
        coefficients = fields.solve(terms, logs, weight * discount, 1)
    return coefficients


def _luma_of(logs: AnyArray) -> AnyArray:
    """(3, N) natural logs of linear RGB -> (N,) those of luminance."""
    return cast(AnyArray, np.log(np.maximum(LUMINANCE.astype(logs.dtype) @ np.exp(logs), DARKEST)))


def _expected(search: _Search, field: Float64) -> Float32:
    """(3, N) natural logs of what bare paper would show."""
    return np.ascontiguousarray(fields.evaluate(field, *search.shape).reshape(-1, 3).T)


def _members(search: _Search, field: Float64, tolerance: float) -> Bool:
    """The pixels of the lightest substantial level after the field is taken out."""
    expected = _expected(search, field)
    rest = search.luma - _luma_of(expected)
    level = _lightest_level(rest[search.smooth], search.weight[search.smooth], tolerance)
    near = np.asarray(search.smooth & (np.abs(rest - level) < tolerance))
    at = np.flatnonzero(near)
    if len(at) < 60:
        return near
    some = at[:: max(1, len(at) // _ENOUGH)]
    off_tint = np.zeros(len(rest), np.float32)
    for seen, promised in zip(search.logs, expected, strict=True):
        tint = seen - promised
        tint -= rest
        tint -= np.median(tint[some])
        np.maximum(off_tint, np.abs(tint, out=tint), out=off_tint)
    return cast(Bool, near & (off_tint < max(0.6 * tolerance, 0.022)))


def _lightest_level(rest: Float32, weight: Float64, tolerance: float) -> float:
    low, high = -1.2, 0.8
    bins = round((high - low) / _BIN)
    places = np.floor((rest - low) / _BIN)
    held = (places >= 0) & (places < bins)
    counts = np.bincount(places[held].astype(np.intp), weights=weight[held], minlength=bins)
    reach = max(1, round(0.35 * tolerance / _BIN))
    smoothed = np.convolve(counts, np.hanning(2 * reach + 3)[1:-1], mode="same")
    mass = np.convolve(counts, np.ones(2 * reach + 1), mode="same")
    rising = np.r_[False, smoothed[1:] >= smoothed[:-1]]
    falling = np.r_[smoothed[:-1] > smoothed[1:], True]
    peaks = np.flatnonzero(rising & falling & (smoothed > 0))
    if not len(peaks):
        return 0.0
    enough = mass[peaks] >= max(_LEVEL_SHARE * weight.sum(), _LEVEL_RATIO * mass[peaks].max())
    best = peaks[enough][-1] if enough.any() else peaks[mass[peaks].argmax()]
    return float(low + (best + 0.5) * _BIN)


def _degree(search: _Search, mask: Bool, most: int) -> int:
    """The highest order that the spread of the paper over the sheet supports."""
    height, width = search.shape
    cells = cv2.resize(mask.reshape(height, width).astype(np.float32), (10, 10), interpolation=cv2.INTER_AREA)
    spread = float((cells > 0.02).mean())
    return min(most, 1 if spread < 0.12 else 2 if spread < 0.45 else 3 if spread < 0.75 else 4)


_ENOUGH = 20_000  # so many pixels tell a smooth field, or a middle, as well as all


def _refit(search: _Search, mask: Bool, degree: int) -> Float64:
    # Cells, not pixels, are equal: a large bare corner must not outvote the rest of the sheet.
    height, width = search.shape
    index = np.flatnonzero(mask)
    index = index[:: max(1, len(index) // _ENOUGH)]
    cell = (index // width * 16 // height) * 16 + index % width * 16 // width
    counts = np.bincount(cell, minlength=256)
    weight = 1 / np.sqrt(counts[cell])
    return fields.fit(search.x[index], search.y[index], search.logs[:, index].T, weight, degree)


def _describe(search: _Search, mask: Bool, field: Float64) -> Paper:
    expected = _expected(search, field)
    rest = search.luma - _luma_of(expected)
    return Paper(
        mask=mask.reshape(search.shape),
        coefficients=field,
        coverage=float(mask.mean()),
        rim=rim_share(mask.reshape(search.shape)),
        scatter=float(rest[mask].std()),
        lighter=_lighter_marks(search, rest),
        lifted=float((_lifted(search, rest) > _SHINES).mean()),
        shines=float((_share_around(_without_paint(search, _plainly_lighter(search, rest))) > _SHINES).mean()),
    )


def marks_lighter_than(linear: Float32, paper: Paper) -> float:
    """Share of a work, (H, W, 3) float32 linear sRGB, under marks lighter than a paper in its own light, shade and
    all."""
    search = _prepare(linear)
    expected = np.ascontiguousarray(paper.log_field(*search.shape).reshape(-1, 3).T)
    return _lighter_marks(search, search.luma - _luma_of(expected))


def _lighter_marks(search: _Search, rest: Float32) -> float:
    """Share of the work under marks lighter than the paper: drawn ones, which stand out from their neighbourhood.

    Glare is lighter too, but it swells slowly; the median of the neighbourhood takes it out.
    """
    plane = np.clip(rest * 400 + 128, 0, 255).reshape(search.shape).astype(np.uint8)
    around = cv2.medianBlur(plane, 31).astype(np.float64)
    stands_out = (plane - around > 0.06 * 400).ravel()
    # Paper between dark lines stands out too where glare lifts all of it; there, plain ground is lifted with it.
    stands_out &= _lifted(search, rest).ravel() < 0.12
    # Where the camera ran out of scale there is glare, and nothing around its core can be told from chalk.
    blown = (search.logs.min(axis=0) > np.log(0.88)).reshape(search.shape).astype(np.uint8)
    near = cv2.dilate(cv2.morphologyEx(blown, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.ones((61, 61), np.uint8))
    marks = stands_out & (rest > 0.06) & (search.weight > 0) & (near.ravel() == 0)
    share = float(inside_only(marks.reshape(search.shape)).mean())
    relief = share > 0 and is_relief((plane - around) / 400, (search.weight > 0).reshape(search.shape))
    return 0.0 if relief else share


_SHINES = 0.35


def _lifted(search: _Search, rest: Float32) -> Float32:
    """(h, w) share of the neighbourhood that is plain and clearly lighter than the paper: 1 inside a wide shine."""
    return _share_around(_plainly_lighter(search, rest))


def _plainly_lighter(search: _Search, rest: Float32) -> Bool:
    return np.asarray((search.smooth & (rest > 0.06)).reshape(search.shape))


def _share_around(where: Bool) -> Float32:
    return cast(Float32, cv2.blur(where.astype(np.float32), (41, 41)))


# A shine swells: near its border it has hardly begun. Paint is there at once: of all that a piece is lighter than what
# lies beside it, this share within so many pixels. On light paper a shine soon runs out of the camera's scale and looks
# so too: a piece is paint only where it is lighter by so much of what lies beside it.
_AT_ONCE, _BORDER_PX, _LEAST_PIECE, _FAR_LIGHTER = 0.6, 7, 40, 1.0


def _without_paint(search: _Search, lighter: Bool) -> Bool:
    """Of what is plain and lighter than the paper the pieces that swell as a shine does."""
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
    height, width = mask.shape
    broad, outermost = _rim(mask.shape)
    rim = broad & ~outermost
    x, y = (plane.reshape(height, width) for plane in fields.grid_coordinates(height, width))
    stretch = ((np.arctan2(y[rim], x[rim]) + np.pi) / (2 * np.pi) * 40).astype(int) % 40
    held = np.bincount(stretch, weights=mask[rim], minlength=40) / np.maximum(np.bincount(stretch, minlength=40), 1)
    return float((held > 0.15).mean())


def photographed_lab(paper: Paper) -> Float64:
    """(3,) L*a*b* of the paper as the photo shows it, at its mean light."""
    return lab_from_linear(paper.mean_linear())
