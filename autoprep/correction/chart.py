"""A 24-patch colour chart beside the work: where it is, and what it says of the light and the camera."""

from dataclasses import dataclass, replace
from typing import cast
from weakref import WeakKeyDictionary

import cv2
import numpy as np

from autoprep.domain import CHART_RANGE, ChartFit
from autoprep.imaging.arrays import AnyArray, Float32, Float64, UInt8, float32, greatest
from autoprep.imaging.colour import ciede2000, lab_from_linear, with_roots
from autoprep.imaging.geometry import side_lengths
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo

# Linear sRGB of the 24 patches, row by row, dark skin first, black last: the published xyY (D50, charts made after
# November 2014) as the package colour-science 0.4 carries them, adapted to D65 with Bradford's matrix. Cyan lies
# outside sRGB. tests/reference compares them with the package.
PATCHES = np.array([
    [0.1737, 0.0788, 0.0529], [0.5598, 0.2774, 0.2109], [0.1042, 0.1889, 0.3289], [0.1057, 0.1508, 0.0508],
    [0.2274, 0.2124, 0.4264], [0.1153, 0.5074, 0.4111], [0.7459, 0.2021, 0.0299], [0.0587, 0.1012, 0.3877],
    [0.5601, 0.0802, 0.1146], [0.1092, 0.0420, 0.1381], [0.3328, 0.4974, 0.0426], [0.7710, 0.3579, 0.0204],
    [0.0210, 0.0475, 0.2841], [0.0461, 0.2920, 0.0615], [0.4462, 0.0364, 0.0406], [0.8417, 0.5744, 0.0047],
    [0.5223, 0.0778, 0.2893], [-0.0439, 0.2337, 0.3772], [0.8795, 0.8850, 0.8342], [0.5845, 0.5922, 0.5845],
    [0.3577, 0.3671, 0.3653], [0.1901, 0.1909, 0.1898], [0.0859, 0.0887, 0.0898], [0.0314, 0.0315, 0.0323],
])  # fmt: skip
_GREYS = slice(18, 24)
_COLS, _ROWS = 6, 4
# The patch centres as a lattice of unit pitch, row by row.
_LATTICE = np.array([(c, r) for r in range(_ROWS) for c in range(_COLS)], np.float64)

_LONG_PX = 1600
_LEAST_SQUARES = 9  # so many patches must be seen as squares; the others are found from these
# Spread of the log ratio between seen and published patches, after one gain per channel. Charts in lamp light and
# behind a camera's tone curve stay below 0.35; other grids of squares exceed 0.6 (lab, tuning seeds 7400-7439).
_LIKENESS = 0.45
_DARKEST = 0.004  # linear light: what is darker is noise
# FADGI's 2-star limit for paintings: a chart that does not come out itself is no witness for the work.
TRUSTED_DELTA_E = 5.0


@dataclass(frozen=True)
class Chart:
    """A chart that was seen: (24, 2) patch centres in full-size photo pixels, and the pitch of its patches."""

    centres_px: Float64
    pitch_px: float


def find_chart(photo: Photo) -> Chart | None:
    """The chart in the photo, if there is one; kept for the next caller."""
    if photo not in _FOUND:
        _FOUND[photo] = _looked_for(photo) if _is_coloured(photo) else None
    return _FOUND[photo]


# What was found in each photo, for as long as it is in use: the search costs more than all else about a chart.
_FOUND: WeakKeyDictionary[Photo, Chart | None] = WeakKeyDictionary()

# Of a chart's patches the most different ones are 5.5 to 7.7 apart (natural log of one channel by another), and without
# one at each end 3.8 to 6.2: whatever the light, which moves all of them alike. Photos in which nothing is half as far
# apart show none, and are most: squares are looked for in the others. (Lab, tuning seeds 7400-7439, charts that are
# found: 5.9 at least. The shown channels: blue by green, red by green, red by blue.)
_RANGES = (((2, 1), 1.7), ((0, 1), 1.5), ((0, 2), 2.5))
_GLANCE_PX = 700
_LEAST_AT_AN_END = 3  # pixels of the small copy


def _is_coloured(photo: Photo) -> bool:
    """Whether the photo's colours lie as far apart as a chart's would."""
    factor = 1
    while max(photo.size_px) >= _GLANCE_PX * factor * 2:
        factor *= 2
    calm = np.asarray(cv2.blur(photo.reduced(factor).linear(), (3, 3)), np.float32)[::2, ::2]
    log = np.log(np.maximum(calm, _DARKEST))
    return all(_apart(log[..., one] - log[..., other]) >= least for (one, other), least in _RANGES)


def _apart(values: Float32) -> float:
    """How far apart the ends of values are, but for a few pixels."""
    last = max(0, values.size - _LEAST_AT_AN_END)
    ends = np.partition(values, (min(_LEAST_AT_AN_END - 1, last), last), axis=None)
    return float(ends[last] - ends[min(_LEAST_AT_AN_END - 1, last)])


def _looked_for(photo: Photo) -> Chart | None:
    level = photo.reduced(max(1, round(max(photo.size_px) / _LONG_PX)))
    linear = level.linear()
    code = quantise8(encode_fast(np.clip(linear, 0, 1)))
    squares = _squares(code)
    best: tuple[float, Float64] | None = None
    for lattice in _lattices(squares, code):
        found = _placed(linear, lattice)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    if best is None or best[0] > _LIKENESS:
        return None
    centres = best[1] / level.scales
    return Chart(centres, float(np.linalg.norm(np.diff(centres[:_COLS], axis=0), axis=1).mean()))


_LEAST_POINTS = 4  # most outlines are specks of fewer


def _squares(code: UInt8) -> Float64:
    """(N, 4, 2) small convex quads of nearly equal sides."""
    found = []
    least, most = ((share * max(code.shape[:2])) ** 2 for share in (0.006, 0.11))
    for plane in (greatest(code), *cv2.split(code)):
        for block in (31, 71):
            odd = max(3, min(block, (min(plane.shape) // 2) * 2 - 1))
            mask = cv2.adaptiveThreshold(plane, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, odd, -4)
            mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
            outlines = [contour for contour in contours if len(contour) >= _LEAST_POINTS]
            sized = zip(outlines, map(cv2.contourArea, outlines), strict=True)
            quads = (_as_square(contour, size) for contour, size in sized if least < size < most)
            found += [quad for quad in quads if quad is not None]
    return np.array(found).reshape(-1, 4, 2)


def _as_square(contour: AnyArray, size: float) -> Float64 | None:
    """(4, 2) corners of an outline of so many square pixels where it is nearly a square."""
    hull = cv2.convexHull(contour)
    if size < 0.82 * cv2.contourArea(hull):
        return None
    rough = cv2.approxPolyDP(hull, 0.09 * cv2.arcLength(hull, True), True).reshape(-1, 2).astype(np.float64)
    if len(rough) != 4:
        return None
    sides = side_lengths(rough)
    return rough if sides.max() < 1.7 * sides.min() else None


def _lattices(squares: Float64, code: UInt8) -> list[tuple[Float64, AnyArray, Float64]]:
    """Groups of squares that lie on a common grid: (homography grid -> pixels, grid coordinates, centres)."""
    found: list[tuple[Float64, AnyArray, Float64]] = []
    if len(squares) < _LEAST_SQUARES:
        return found
    # The most coloured squares come first: a mat has hundreds of squares, a chart has eighteen coloured ones.
    middle = squares.mean(axis=1).astype(int)
    colours = code[middle[:, 1], middle[:, 0]].astype(np.float64)
    squares = squares[np.argsort(-np.ptp(colours, axis=1), kind="stable")]
    centres = squares.mean(axis=1)
    sides = np.linalg.norm(np.roll(squares, -1, axis=1) - squares, axis=-1).mean(axis=1)
    tried = 0
    for start in range(len(squares)):
        if any(np.abs(item[2] - centres[start]).sum(1).min() < 3 for item in found):
            continue  # already part of a grid
        near = np.linalg.norm(centres - centres[start], axis=1) < 9 * sides[start]
        near &= np.abs(np.log(sides / sides[start])) < 0.4
        if near.sum() < _LEAST_SQUARES:
            continue
        tried += 1
        lattice = _grow(squares[start], centres[near], float(sides[start]))
        if lattice is not None:
            found.append(lattice)
        if tried > 120:
            break
    return found


def _grow(seed: Float64, centres: Float64, side: float) -> tuple[Float64, AnyArray, Float64] | None:
    """From one square outwards: whole-number coordinates for its neighbours, then a homography through them."""
    origin = seed.mean(axis=0)
    steps = []
    for way in (seed[1] - seed[0] + seed[2] - seed[3], seed[3] - seed[0] + seed[2] - seed[1]):
        unit = way / np.linalg.norm(way)
        offset = centres - origin
        along = offset @ unit
        aside = np.abs(offset @ np.array([-unit[1], unit[0]]))
        fits = (np.abs(along) > 0.8 * side) & (np.abs(along) < 1.8 * side) & (aside < 0.35 * side)
        if not fits.any():
            return None
        step = offset[fits][np.abs(along[fits]).argmin()]
        steps.append(step * np.sign(step @ unit))
    basis = np.array(steps).T
    matrix = np.array([[*basis[0], origin[0]], [*basis[1], origin[1]], [0, 0, 1.0]])
    for reach in (2.3, 4.0, 7.0):
        place = _to_grid(matrix, centres)
        whole = np.rint(place)
        good = (np.abs(place - whole).max(1) < 0.28) & (np.abs(whole).max(1) <= reach)
        if good.sum() < 4 or len(np.unique(whole[good], axis=0)) < 4:
            return None
        fitted, _ = cv2.findHomography(whole[good].astype(np.float64), centres[good], cv2.RANSAC, 0.25 * side)
        if fitted is None or not np.isfinite(fitted).all():
            return None
        matrix = np.asarray(fitted, np.float64)
    place = _to_grid(matrix, centres)
    whole = np.rint(place)
    good = np.abs(place - whole).max(1) < 0.2
    if len(np.unique(whole[good], axis=0)) < _LEAST_SQUARES:
        return None
    return matrix, whole[good].astype(int), centres[good]


_MOST_CONDITION = 1e12  # of a plane in a photo it is below 1e8


def _to_grid(matrix: Float64, points: Float64) -> Float64:
    # A point on the plane's horizon lies nowhere on the grid: far off, and between its places. Neither does any where
    # both ways of a slanting shape lead to the same neighbour, which makes a line and no plane.
    nowhere = np.full((len(points), 2), 1e6 + 0.5)
    if np.linalg.cond(matrix) > _MOST_CONDITION:
        return nowhere
    back = np.linalg.inv(matrix)
    mapped = points @ back[:, :2].T + back[:, 2]
    return cast(Float64, np.divide(mapped[:, :2], mapped[:, 2:], out=nowhere, where=np.abs(mapped[:, 2:]) > 1e-12))


def _placed(linear: Float32, lattice: tuple[Float64, AnyArray, Float64]) -> tuple[float, Float64] | None:
    """The best way to lay 6 x 4 patches on the grid: (unlikeness, (24, 2) centres)."""
    matrix, taken, _ = lattice
    low, high = taken.min(axis=0), taken.max(axis=0)
    if (high - low > 2 * _COLS).any():
        return None  # a cutting mat, a tiled floor
    best: tuple[float, Float64] | None = None
    for turn in range(4):
        spin = np.array([[0, -1], [1, 0]]) if turn % 2 else np.eye(2)
        spin = spin if turn < 2 else -spin
        block = _LATTICE @ spin.T
        block = block - block.min(axis=0)
        room = block.max(axis=0)
        for dx in _starts(low[0], high[0], room[0]):
            for dy in _starts(low[1], high[1], room[1]):
                grid = block + np.array([dx, dy])
                mapped = grid @ matrix[:, :2].T + matrix[:, 2]
                centres = mapped[:, :2] / mapped[:, 2:]
                unlike = _unlikeness(linear, centres)
                if unlike is not None and (best is None or unlike < best[0]):
                    best = (unlike, centres)
    return best


def _starts(low: float, high: float, room: float) -> range:
    """Where a block can begin so that it covers the squares, or, with a stray square on the grid, most of them."""
    first, last = sorted((int(low), int(high - room)))
    return range(first, last + 1)


def _unlikeness(linear: Float32, centres: Float64) -> float | None:
    height, width = linear.shape[:2]
    if (centres < 2).any() or (centres > np.array([width, height]) - 3).any():
        return None
    seen = linear[centres[:, 1].astype(int), centres[:, 0].astype(int)].astype(np.float64)
    ratio = np.log(np.maximum(seen, _DARKEST)) - np.log(np.maximum(PATCHES, 0.012))
    return float((ratio - np.median(ratio, axis=0)).std())


def read_patches(photo: Photo, chart: Chart) -> Float64:
    """(24, 3) mean device-linear values of the patches (before the photo's own matrix)."""
    device = replace(photo, matrix=None)
    reach = max(1, int(0.22 * chart.pitch_px * photo.scale))
    width, height = photo.size_px
    values = []
    for x, y in chart.centres_px * photo.scale:
        # A patch may stand at the photo's border, or be cut by it: what is seen of it tells as well.
        column, row = min(max(int(x), 0), width - 1), min(max(int(y), 0), height - 1)
        part = device.crop(max(row - reach, 0), row + reach + 1, max(column - reach, 0), column + reach + 1)
        values.append(np.median(part.reshape(-1, 3), axis=0))
    return np.array(values, np.float64)


def fit_chart(photo: Photo, chart: Chart) -> ChartFit:
    """One gain per channel, one curve for all, and a matrix that bring the seen patches to the published ones.

    Clipped patches are left out. The curve is fitted on the grey row, the matrix on all patches with the greys held.
    How many terms the matrix has, and how strongly it is drawn towards doing nothing, is what brings patches that are
    left out of the fit nearest to their published values: 24 patches must not bend what lies between them.
    """
    seen = read_patches(photo, chart)
    usual = np.eye(3) if photo.matrix is None else np.asarray(photo.matrix, np.float64)
    return fit_patches(seen, usual)


def fit_patches(seen: Float64, usual: Float64, published: Float64 = PATCHES) -> ChartFit:
    """(24, 3) device-linear patches and the (3, 3) matrix that such values usually take to linear sRGB -> the fit."""
    target = published @ np.linalg.inv(usual).T
    usable = (seen.max(1) < 0.97) & (seen.min(1) > 0.0005)
    gain, bend = _curve(seen[_GREYS], target[_GREYS], usable[_GREYS])
    straight = bent(seen, gain, bend)
    trials = [
        (_left_out(straight, published, usable, usual, terms, pull), terms, pull) for terms in _TERMS for pull in _PULLS
    ]
    left_out, terms, pull = min(trials)
    matrix = _matrix(straight, published, usable, usual, terms, pull)
    rows = tuple(tuple(round(float(v), 6) for v in row) for row in matrix)
    return ChartFit(
        gain=_triple(gain),
        bend=(round(float(bend[0]), 5), round(float(bend[1]), 5)),
        matrix=rows,  # type: ignore[arg-type]
        delta_e=round(float(_difference(straight, published, matrix)[usable].mean()), 3),
        left_out_delta_e=round(left_out, 3),
    )


# Terms of the matrix and how strongly it is drawn towards the usual one; which of them, the chart itself says.
_TERMS, _PULLS = (3, 6), (0.15, 0.05, 0.02, 0.005)


def _matrix(
    straight: Float64, published: Float64, usable: AnyArray, usual: Float64, terms: int, pull: float
) -> Float64:
    """(3, terms) least squares over the usable patches, dark ones and greys counting more."""
    weight = usable / (0.03 + published.mean(1)) * np.where(np.arange(24) >= 18, 3.0, 1.0)
    values = straight if terms == 3 else with_roots(straight)
    held = np.zeros((terms, 3))
    held[:3] = usual.T
    pull *= float(weight.sum()) / 24
    left = np.concatenate([values * weight[:, None], pull * np.eye(terms)])
    right = np.concatenate([published * weight[:, None], pull * held])
    return cast(Float64, np.linalg.lstsq(left, right, rcond=None)[0].T)


def _difference(straight: Float64, published: Float64, matrix: Float64) -> Float64:
    values = straight if matrix.shape[1] == 3 else with_roots(straight)
    lab = [lab_from_linear(np.clip(linear, 0, 1)) for linear in (values @ matrix.T, published)]
    return np.asarray(ciede2000(*lab), np.float64)


def _left_out(
    straight: Float64, published: Float64, usable: AnyArray, usual: Float64, terms: int, pull: float
) -> float:
    """Mean CIEDE2000 of every usable patch after a fit that has not seen it."""
    found = []
    for patch in np.flatnonzero(usable):
        others = usable.copy()
        others[patch] = False
        found.append(_difference(straight, published, _matrix(straight, published, others, usual, terms, pull))[patch])
    return float(np.mean(found)) if found else 99.0


def _triple(values: AnyArray) -> tuple[float, float, float]:
    return round(float(values[0]), 6), round(float(values[1]), 6), round(float(values[2]), 6)


def _curve(seen: Float64, target: Float64, usable: AnyArray) -> tuple[Float64, Float64]:
    """Log gains (3,) and the exponent and bend (2,) of y = exp(g + b ln x + c ln^2 x), by least squares."""
    x, y = np.log(np.maximum(seen, 1e-4)), np.log(np.maximum(target, 1e-4))
    rows, values = [], []
    for patch in np.flatnonzero(usable):
        for channel in range(3):
            row = np.zeros(5)
            row[channel], row[3], row[4] = 1, x[patch, channel], x[patch, channel] ** 2
            rows.append(row)
            values.append(y[patch, channel])
    rows += [np.array([0, 0, 0, 1.0, 0]), np.array([0, 0, 0, 0, 4.0])]
    values += [1.0, 0.0]
    found = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
    return np.exp(found[:3]), np.array([np.clip(found[3], 0.5, 1.8), np.clip(found[4], -0.2, 0.2)])


def bent(linear: AnyArray, gain: AnyArray, bend: AnyArray, between: tuple[float, float] = CHART_RANGE) -> Float64:
    """Gain and curve on (..., 3) device-linear values; beyond the chart's range the curve goes on straight."""
    x = np.maximum(np.asarray(linear, np.float64), 0)
    log = np.log(np.clip(x, *between))
    factor = np.exp((bend[0] - 1) * log + bend[1] * log**2)
    return cast(Float64, x * factor * np.asarray(gain))


def seen_through_chart(photo: Photo) -> tuple[Photo, ChartFit | None]:
    """The photo seen through the chart that lies in it; the photo itself where there is none to be trusted."""
    chart = find_chart(photo)
    if chart is None:
        return photo, None
    fit = fit_chart(photo, chart)
    if fit.delta_e > TRUSTED_DELTA_E:
        warning = "a colour chart lies in the photo, but shine or shadow is on it; it was not used"
        return replace(photo, facts=replace(photo.facts, warnings=(*photo.facts.warnings, warning))), None
    return referred(photo, fit), fit


def referred(photo: Photo, fit: ChartFit) -> Photo:
    """The photo seen through the fit: the same codes, other tables and matrix."""
    gain, bend = np.array(fit.gain), np.array(fit.bend)
    matrix = float32(fit.matrix)
    if photo.tables is None:  # linear already: bend the values themselves
        codes = np.empty(photo.codes.shape, np.float32)
        for row in range(0, len(codes), 256):  # the curve works in double precision; not on all of it at once
            codes[row : row + 256] = bent(photo.codes[row : row + 256], gain, bend, fit.between)
        return replace(photo, codes=codes, matrix=matrix)
    return replace(photo, tables=float32(bent(photo.tables.T, gain, bend, fit.between).T), matrix=matrix)
