"""A sheet that is paper between its strokes: the hypothesis that explains most drawings, and the light that it implies.

On a page of drawing or writing nearly all of the ground is one paper; so the ground, cell by cell, shows the light:
smooth, or in steps where something hides a lamp. A painted page has ground of many colours, and rough. The hypothesis
is believed when it explains nearly all of the ground with few colours of its own; then the light follows the ground
wherever it is paper and is carried over what is drawn, however the light may bend, fall off or turn in colour.
"""

from dataclasses import dataclass, replace
from typing import cast
from weakref import WeakKeyDictionary

import cv2
import numpy as np

from autoprep.correction.cells import Cells
from autoprep.domain import Declined
from autoprep.imaging import fields, quick
from autoprep.imaging.arrays import Bool, Float32, Float64, Int32, greatest
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.planes import carried, rim_of, slope_of, soft_cells

# Natural-log units. Chosen on the lab's tuning seeds 7000-7119 and 80 phone photos and scans of hand-drawn pages.
_OFF_TINT, _OFF_TINT_DEVIATIONS = 0.04, 4.0  # so far from the sheet's slowly turning tint is a colour
# The light does not change by more from cell to cell but at a shadow's border. On ruled paper, where hardly anybody
# shades softly (common practice, no source), a steeper slope is still the light's.
_STEP, _STEP_ON_RULED, _STEP_GRAINS = 0.016, 0.11, 1.5
_DIP = 0.05  # darker than the smooth light by so much is drawing, or shade
_NEAR = 0.04
_DEEPEST = 1.6
# Cells, shares of the sheet, share of the rim.
_LEAST_PART, _LEAST_SHADE, _LEAST_APART, _LEAST_RIM = 6, 0.015, 0.004, 0.01
# What a shadow or another lamp does to the tint, at most, per depth: along warm to cold, and in green.
_TURN, _TURN_PER_DEPTH, _TURN_ON_RULED, _GREEN = 0.035, 0.4, 0.7, 0.04
_MOST_PARTS, _ACROSS = 16, 6  # cells on both sides of a shadow's border that are compared
_FRAME = 6  # cells by which a drawn frame may lie inside the rim
_BORDER, _BEYOND = 10, 0.1  # half the width of the softest border, in cells; how far its light may lie outside
_PALE_TINT = 0.015
_EXPLAINS = 0.05
# Of the work, and in natural log. Of 94 pages that sheet and level both explain (18 real ones, seeds 48000-48015),
# those with such a part were painted in washes; waves of the paper are smaller (.011 at most) or lighter.
_LEAST_WASH, _WASH_DARKER = 0.03, 0.03
# Gloss adds light of its own: on white paper it is little beside what the paper gives back, on dark paper it is all.
# Nobody rules black paper (common practice, no source).
_SHINE, _DARK = 0.01, float(np.log(0.08))
# The sheet is believed from this share of its ground, with colours on at most that share, turning by so much.
# (Drawn sheets: explained .78-1, colours 0-.03, tint off by .001-.045 in the median and .13 in the 90th percentile, a
# grain without lines of 0-.011; paintings and full washes .1-.99, 0-.26, .025-.4 and .23-1.2, .003-.032.)
_EXPLAINED, _COLOURED, _PAINT_GRAIN = 0.72, 0.04, 0.013
_TINT_50, _TINT_90, _TINT_90_ALONE = 0.02, 0.15, 0.3
_SCALES = (0.8, 1.5, 3.0, 6.0, 12.0, 30.0)


@dataclass(frozen=True)
class Sheet:
    """A believed sheet.

    log_light: (h, w, 3) float32 natural log of what bare paper shows, in cells; paper: (h, w) bool; explained: share
    of the ground that is paper in this light; rim: the same along the rim; lifted: share that shines out of a smooth
    light; shaded: share under shade that is no part of the smooth light; colours: share of the ground that has a
    colour, pale ones too; ruled: lines are printed on it.
    """

    log_light: Float32
    paper: Bool
    explained: float
    rim: float
    lifted: float
    shaded: float
    colours: float
    ruled: bool


@dataclass(frozen=True)
class _Ground:
    """Cells without their lines: logs (h, w, 3), luma (h, w), raw: the same with their lines, inside: cells off the
    border, open: those that show ground."""

    raw: Float32
    logs: Float32
    luma: Float32
    inside: Bool
    open: Bool
    rim: Bool
    ruled: bool


def find_sheet(cells: Cells) -> Sheet | Declined:
    """The ground of a work in cells -> the sheet that it is, or why it is none."""
    ground = _without_lines(cells)
    if ground.open.sum() < 0.2 * ground.open.size:
        return Declined(reason="lines all over; hardly any ground shows between them")
    turning = _turning_tint(ground)
    if _painted(cells, turning, ground.open):
        return Declined(reason="the ground has many colours and a grain of its own: it is painted")
    coloured = turning > max(_OFF_TINT, _OFF_TINT_DEVIATIONS * 1.4826 * quick.median(turning[ground.open]))
    patches, apart = _patches(ground, coloured, cells.grain)
    lit = np.asarray(patches > 0)
    base = _base(ground.logs, patches)
    shade, drawn = _shade_and_drawing(ground, base, lit)
    borders = _borders(ground, np.where(shade & ~lit, patches.max() + 1, patches))
    believed = (lit & ~drawn) | shade
    paper, light = _followed(ground, believed, (drawn | apart | coloured) & ~shade, borders)
    colours = _share_of_colours(turning, ground.open)
    sheet = _described(ground, base, light, paper, shade | (patches > 1), colours)
    if not ground.ruled and sheet.lifted > _SHINE and quick.median(light @ LUMINANCE) < _DARK:
        return Declined(reason="a shine lies on dark paper; it adds to what is seen, and is no light that falls on it")
    clear = float((coloured & ground.open & ~shade & ~borders).sum() / ground.open.sum())
    if sheet.explained < _EXPLAINED or clear > _COLOURED:
        return Declined(
            reason=f"only {100 * sheet.explained:.0f} % of the ground is one paper in one light, or it has colours"
        )
    return sheet


def without_bends(sheet: Sheet) -> Sheet:
    """The sheet in the smooth part of its light alone: the shade of its waves stays in the picture."""
    smooth = fields.evaluate(smooth_light(sheet.log_light, sheet.paper), *sheet.paper.shape)
    return replace(sheet, log_light=smooth)


def explained_by(log_light: Float32, cells: Cells, where: Bool | None = None) -> float:
    """Share 0..1 of the ground in cells that a light (rows, columns, 3), natural log, on one paper explains; where:
    (rows, columns) the cells that count."""
    ground = _without_lines(cells)
    counts = ground.open if where is None else ground.open & where
    return float((_explained(log_light, ground) & counts).sum() / max(int(counts.sum()), 1))


def _explained(log_light: Float32, ground: _Ground) -> Bool:
    return np.asarray((greatest(np.abs(ground.logs - log_light)) < _EXPLAINS) & ground.open)


def washed(sheet: Sheet, smooth: Float32, cells: Cells) -> float:
    """Share 0..1 of the ground that a sheet takes for its light, where beside bare paper in a smooth light (rows,
    columns, 3), natural log, it is a wash: large, darker, and with paper all around.

    A shadow comes in from somewhere, and bends and folds run to the sheet's edges.
    """
    ground = _without_lines(cells)
    parts = _explained(sheet.log_light, ground) & ~_explained(smooth, ground)
    whole = cv2.morphologyEx(parts.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    count, labels = cv2.connectedComponents(whole, connectivity=4)
    at_rim = np.bincount(labels[ground.rim], minlength=count) > 0
    sizes = np.bincount(labels.ravel(), minlength=count)
    depth = np.bincount(labels.ravel(), ((ground.logs - smooth) @ LUMINANCE).ravel(), count) / np.maximum(sizes, 1)
    wash = ~at_rim & (sizes > _LEAST_WASH * labels.size) & (depth < -_WASH_DARKER)
    wash[0] = False
    return float(sizes[wash].sum() / max(int(ground.open.sum()), 1))


def _over_gaps(values: Float32, known: Bool) -> Float32:
    return carried(values, known, _SCALES, (0.3, 0.7), soft_cells)


# What several questions are asked of, for as long as the cells are in use.
_GROUNDS: WeakKeyDictionary[Cells, _Ground] = WeakKeyDictionary()


def _without_lines(cells: Cells) -> _Ground:
    if cells not in _GROUNDS:
        _GROUNDS[cells] = _ground_of(cells)
    return _GROUNDS[cells]


def _ground_of(cells: Cells) -> _Ground:
    inside = ~rim_of(cells.shape, 1)  # the outermost cells may hold a whisker of the desk
    rim = rim_of(cells.shape, max(3, round(0.04 * min(cells.shape))))
    open_ = ~cells.drawn & inside
    logs = _over_gaps(cells.logs, open_)
    luma = np.ascontiguousarray(logs @ LUMINANCE)
    return _Ground(cells.logs, logs, luma, inside, open_, rim, cells.ruled)


def _turning_tint(ground: _Ground) -> Float32:
    """(h, w) how far each cell's tint lies from one that turns slowly over the sheet."""
    tint = ground.logs - ground.luma[..., None]
    x, y = fields.grid_coordinates(*ground.luma.shape)
    pick = _some(ground.open)
    values = tint.reshape(-1, 3)[pick].astype(np.float64)
    terms = fields.basis(x[pick], y[pick], 3)
    weight = np.ones(len(pick))
    turn = np.zeros((terms.shape[1], 3))
    for _ in range(8):
        turn = fields.solve(terms, values, weight, 3)
        weight = 1 / np.maximum(1, greatest(np.abs(values - terms @ turn)) / 0.02) ** 2
    return np.asarray(greatest(np.abs(tint - fields.evaluate(turn, *ground.luma.shape))), np.float32)


def _painted(cells: Cells, turning: Float32, open_: Bool) -> bool:
    middle, high = np.quantile(turning[open_], [0.5, 0.9])
    many_colours = high > _TINT_90_ALONE or (high > _TINT_90 and middle > _TINT_50)
    return bool(many_colours or cells.finer > _PAINT_GRAIN)


def _some(mask: Bool, most: int = 6000) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    index = np.flatnonzero(mask.ravel())
    return cast("np.ndarray[tuple[int], np.dtype[np.intp]]", index[:: max(1, len(index) // most)])


def _patches(ground: _Ground, coloured: Bool, grain: float) -> tuple[Int32, Bool]:
    """(h, w) labels: 1 for the largest part of the ground that hangs together without a step, 2 and on for others that
    are the same paper on the other side of a shadow's border, 0 for the rest; and the large parts among the rest, which
    stand apart: washes and other plain areas with a border of their own."""
    step = slope_of(ground.luma) > max(_STEP_ON_RULED if ground.ruled else _STEP, _STEP_GRAINS * grain)
    # Lines of writing must not cut a ruled page into strips: under them the ground is carried over, and hangs together.
    # On other sheets a line may be where one would leak into a wash.
    joined = ground.inside if ground.ruled else ground.open
    _, labels = cv2.connectedComponents((joined & ~step & ~coloured).astype(np.uint8), connectivity=4)
    labels[~ground.open] = 0
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    order = [int(k) for k in np.argsort(-sizes)[:_MOST_PARTS]]
    patches, apart = np.asarray(labels == order[0], np.int32), np.zeros(labels.shape, bool)
    for label in order[1:]:
        part = labels == label
        if sizes[label] > _LEAST_SHADE * labels.size and _same_paper(ground, part, patches > 0):
            patches[part] = patches.max() + 1
        elif sizes[label] > _LEAST_APART * labels.size:
            apart |= part
    return patches, apart


def _same_paper(ground: _Ground, part: Bool, lit: Bool) -> bool:
    """Whether a part comes in from the rim and differs from the paper across its border as one light more or less."""
    # A drawn frame may keep the part from the rim itself.
    if not (part & _within(ground.rim, _FRAME)).any():
        return False
    here, there = part & _within(lit, _ACROSS), lit & _within(part, _ACROSS)
    if min(here.sum(), there.sum()) < 2 * _LEAST_PART:
        return False
    change = np.median(ground.logs[here], axis=0) - np.median(ground.logs[there], axis=0)
    return _light_alone(change, ground.ruled)


def _light_alone(change: Float32 | Float64, ruled: bool) -> bool:
    """(3,) natural log: whether a change is one that more or less of one of two lights makes on paper."""
    depth = float(change @ LUMINANCE)
    tint = change - depth
    turn = _TURN + (_TURN_ON_RULED if ruled else _TURN_PER_DEPTH) * abs(depth)
    green = abs(float(tint[1] - (tint[0] + tint[2]) / 2))
    return abs(depth) < _DEEPEST and float(np.abs(tint).max()) < turn and green < _GREEN + turn / 2


def _within(mask: Bool, cells: int) -> Bool:
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * cells + 1, 2 * cells + 1))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), brush) > 0)


def _borders(ground: _Ground, patches: Int32) -> Bool:
    """Between two patches of the same paper lies the border of a shadow: there the ground shows the light as well, and
    what seemed a line is the border itself."""
    levels = [quick.median(ground.luma[patches == k]) for k in np.unique(patches[patches > 0])]
    if len(levels) < 2:
        return np.zeros(patches.shape, bool)
    near = sum(_within(patches == k, _BORDER).astype(np.int32) for k in np.unique(patches[patches > 0]))
    luma = np.ascontiguousarray(ground.raw @ LUMINANCE)
    between = (luma > min(levels) - _BEYOND) & (luma < max(levels) + _BEYOND)
    steep = _within(slope_of(cast(Float32, cv2.medianBlur(luma, 3))) > _STEP, 1)
    return np.asarray((np.asarray(near) > 1) & between & (ground.open | steep) & ground.inside)


def _base(logs: Float32, patches: Int32) -> Float32:
    """(h, w, 3) a smooth light for every patch, each carried on to where the patch is the nearest."""
    height, width = patches.shape
    base = fields.evaluate(smooth_light(logs, patches == 1), height, width)
    if patches.max() < 2:
        return base
    away = [cv2.distanceTransform((patches != k).astype(np.uint8), cv2.DIST_L2, 3) for k in range(1, patches.max() + 1)]
    nearest = np.argmin(np.stack(away), axis=0) + 1
    for k in range(2, int(patches.max()) + 1):
        own = fields.evaluate(smooth_light(logs, patches == k, 1), height, width)
        base = np.where((nearest == k)[..., None], own, base)
    return np.asarray(base, np.float32)


def _share_of_colours(turning: Float32, open_: Bool) -> float:
    """Share of the ground with a colour: a clear one, or a pale one that stands out of the sheet's own.

    What was taken for shade counts: a wash that reaches the rim looks like it.
    """
    pale = max(_PALE_TINT, _OFF_TINT_DEVIATIONS * 1.4826 * quick.median(turning))
    return float((open_ & (turning > min(pale, _OFF_TINT))).sum() / open_.sum())


def smooth_light(logs: Float32, known: Bool, degree: int = 4) -> Float64:
    """(terms, 3) a smooth light over the known cells that leans on the lighter ones: what dips below is drawn."""
    x, y = fields.grid_coordinates(*known.shape)
    pick = _some(known)
    values = logs.reshape(-1, 3)[pick].astype(np.float64)
    terms = fields.basis(x[pick], y[pick], degree)
    weight = np.ones(len(pick))
    light = np.zeros((terms.shape[1], 3))
    for _ in range(8):
        light = fields.solve(terms, values, weight, degree)
        rest = (values - terms @ light) @ LUMINANCE.astype(np.float64)
        weight = np.where(rest < 0, 1 / np.maximum(1, -rest / 0.04) ** 2, 1 / np.maximum(1, rest / 0.06))
    return light


def _shade_and_drawing(ground: _Ground, base: Float32, main: Bool) -> tuple[Bool, Bool]:
    """What dips below the smooth light: shade, that comes in from the rim in a light's colours, and drawing."""
    rest = ground.luma - base @ LUMINANCE
    count, labels = cv2.connectedComponents((rest < -_DIP).astype(np.uint8), connectivity=8)
    shade, drawn = np.zeros(rest.shape, bool), np.zeros(rest.shape, bool)
    for label in range(1, count):
        part = labels == label
        if _is_shade(ground, part, ground.logs - base, rest):
            reached = main | (part.sum() > _LEAST_SHADE * part.size)
            shade |= part & ground.open & reached
        else:
            drawn |= part & ~main if ground.ruled else part
    return shade, drawn


def _is_shade(ground: _Ground, part: Bool, off: Float32, rest: Float32) -> bool:
    if (part & ground.open).sum() < _LEAST_PART:
        return False
    if (part & ground.rim).sum() <= _LEAST_RIM * ground.rim.sum():
        return False
    return _light_alone(np.median(off[part], axis=0), ground.ruled)


def _followed(ground: _Ground, believed: Bool, never: Bool, borders: Bool) -> tuple[Bool, Float32]:
    """The light that follows the believed cells, and all cells that are paper in it."""
    values = np.where(borders[..., None], ground.raw, ground.logs)
    paper = (believed & ground.open) | borders
    light = _over_gaps(values, paper)
    for _ in range(2):
        near = np.abs(ground.luma - light @ LUMINANCE) < _NEAR
        more = ground.open & near & ~never & ~paper
        if not more.any():
            break  # nothing changes any more
        paper = paper | more
        light = _over_gaps(values, paper)
    return np.asarray(paper), light


def _described(ground: _Ground, base: Float32, light: Float32, paper: Bool, shade: Bool, colours: float) -> Sheet:
    rim = ground.rim & ground.open
    shines = (light - base) @ LUMINANCE > 0.12
    return Sheet(
        log_light=light,
        paper=paper,
        explained=float(paper.sum() / ground.open.sum()),
        rim=float((paper & rim).sum() / max(int(rim.sum()), 1)),
        lifted=float(shines.mean()),
        shaded=float(shade.mean()),
        colours=colours,
        ruled=ground.ruled,
    )
