"""A witness that knows nothing of lines: is what lies inside an outline one sheet, and what lies beyond something else?

The two finders look for edges. Where they differ, the material settles many cases: within the right outline the ground
is one paper in one light, up to all sides; a strip beyond each side that the photo shows is something else. An outline
that takes in some desk fails the first, one that leaves a strip of the page out fails the second.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.correction.cells import ground_cells
from autoprep.correction.ruling import is_ruled, ruled_share
from autoprep.correction.sheet import Sheet, find_sheet
from autoprep.imaging.arrays import DARKEST, Bool, Float32, Float64
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.geometry import area, homography, mean_size, rectangle

Sides = tuple[bool, bool, bool, bool]

# Chosen on 74 photos of pages and on the lab's tuning seeds. The work is looked at with this long side, and with a band
# around it of this share of that; the strip beyond a side begins a little outside it, for blur and lifted edges.
_LONG_PX, _BAND, _BEGINS = 720, 0.06, 0.015
_EXPLAINED, _RIM = 0.88, 0.8
_STRETCHES = 40
# Next to so many sides the paper may go on for a little, beyond a drawn frame: so far out, its line left out. (Of 12
# outlines of generated photos, seeds 221000-223356, that were confirmed without this, the two wrong ones had such
# margins along two and four sides, with another material in at most .1 of them; the right ones in .97 and more along
# each. Of 6 real pages none has two, one has one.)
_NEXT_TO, _MARGINS = (0.005, 0.014), 2
ANOTHER = 0.08  # natural log by which another material differs from the paper, in any channel
_LEAST_SHOWN, _LEAST_OTHER = 0.3, 0.8  # shares of a side's stretches
_HALF, _HAIR = 0.5, 0.12  # least share of the strip that the photo shows, to tell another material, or that none begins
# The paper goes on beyond a side where the step there is this small. (Real pages with a drawn frame: .001-.016 in the
# median of a side; generated sheets on sheets of their tone: .025 and more.)
_NO_STEP, _MOST_ALIKE = 0.02, 0.9
# The whole photo is one sheet where so much of it is explained, and so little of any side has another material beyond.
# (Of the 74 pages: where the photo is the page, .0-.3 for most; where it is not, .85-1 for all but two bleached ones.)
_ALL_EXPLAINED, _MOST_OTHER = 0.95, 0.3
_A_PAGE = 0.3  # what takes less of the photo is a figure on the page
# A page without edges (is_drawn_page): the rim left out, how much of the rest's rim and colours is plain paper, and the
# share of strokes, darker than so much of the ground within so many pixels. Of 20 real pages that fill the photo 18
# pass, none of 109 everyday photos and pictures of screens; the nearest, a thing on white, has .16 of its colours.
_RIM_OUT, _PAGE_RIM, _MOST_COLOURS, _STROKE_PX, _STROKE, _LEAST_DRAWN = 0.04, 0.9, 0.1, 15, 0.6, 0.01
# A ruling ends where no more of the photo's parts show one. (Of the 74 pages four pass for one sheet that fills the
# photo: one is ruled all over, and of the others, which show .1 to .3, no outline holds a ruling.)
_RULED_ELSEWHERE = 0.5
# Shade on one page is a tenth of its light at the deepest; what is darker than e^-3 is another thing that passes for
# shade. (Of the 74 pages that fill the photo all but two stay below 2.8; a laptop beside a page: 6.)
_DEEPEST_SHADE = 3.0


def is_one_sheet(linear: Float32, quad: Float64, cut: Sides) -> bool:
    """Whether an outline holds one sheet and nothing else, and the sheet ends there.

    linear: (H, W, 3) float32 linear light of the photo; quad: (4, 2) corners in its pixels; cut: the sides, top, right,
    bottom, left, that are the photo's border and not the sheet's end.
    """
    inside = look_inside(linear, quad, cut)
    if inside is None or inside.explained < _EXPLAINED or inside.rim < _RIM or inside.has_margin:
        return False
    shares = [share for share, is_cut in zip(inside.other_beyond, cut, strict=True) if not is_cut]
    return bool(shares) and all(share is None or share >= _LEAST_OTHER for share in shares)


@dataclass(frozen=True)
class Inside:
    """What lies in an outline that holds one sheet.

    explained, rim: shares 0..1 of all of it, and of its rim, that are paper in one light; other_beyond: for the top,
    right, bottom and left side, the share beyond which lies another material, None where the photo does not show
    enough; area_px: the outline's; has_margin: next to some sides the same paper goes on, if only for a little: what
    ends there is a drawn frame.
    """

    explained: float
    rim: float
    other_beyond: tuple[float | None, ...]
    area_px: float
    has_margin: bool


def look_inside(linear: Float32, quad: Float64, cut: Sides) -> Inside | None:
    """What lies in an outline, or None where it is no sheet; the arguments are those of is_one_sheet."""
    view, shown, band = rectified(linear, quad)
    sheet = find_sheet(ground_cells(view[band:-band, band:-band]))
    if not isinstance(sheet, Sheet):
        return None
    sides = [side for side in range(4) if not cut[side]]
    beyond = [None if cut[side] else _other_beyond(view, shown, sheet, band, side) for side in range(4)]
    next_to = [_steps_beyond(view, shown, sheet, band, side, _HALF, _NEXT_TO) for side in sides]
    margins = sum(steps is not None and (steps > ANOTHER).mean() <= 1 - _LEAST_OTHER for steps in next_to)
    return Inside(sheet.explained, sheet.rim, tuple(beyond), float(area(quad)), margins >= _MARGINS)


def goes_on(linear: Float32, quad: Float64, side: int) -> bool:
    """Whether an outline holds one sheet, and the same paper goes on beyond a side (0-3: top, right, bottom, left)."""
    view, shown, band = rectified(linear, quad)
    sheet = find_sheet(ground_cells(view[band:-band, band:-band]))
    if not isinstance(sheet, Sheet):
        return False
    steps = _steps_beyond(view, shown, sheet, band, side, _HAIR)
    return steps is not None and bool(np.median(steps) < _NO_STEP and (steps > ANOTHER).mean() <= 1 - _MOST_ALIKE)


def fills_photo(linear: Float32, quads: Iterable[Float64]) -> bool:
    """Whether all of the photo is one sheet, and at no side of the outlines that it may have does the sheet end.

    A drawn frame is an edge to those who look for lines; beyond it the paper goes on. Where none of the outlines holds
    paper, nothing is known of that, and the photo must be a drawn page (see is_drawn_page): the light squares of a
    checked cloth can pass for a sheet, and so can a table with a small painting on it. A ruled page on a table of its
    colour ends where its ruling does.

    linear: (H, W, 3) float32 linear light of the photo; quads: (4, 2) corners in its pixels.
    """
    quads = list(quads)
    whole = find_sheet(ground_cells(rectified(linear, rectangle(linear.shape[1], linear.shape[0]))[0]))
    if not isinstance(whole, Sheet) or whole.explained < _ALL_EXPLAINED or whole.rim < _RIM:
        return False
    if np.ptp(whole.log_light.mean(axis=-1)) > _DEEPEST_SHADE:
        return False
    if _ruling_ends(linear, quads):
        return False
    size = linear.shape[1] * linear.shape[0]
    pages = [quad for quad in quads if area(quad) >= _A_PAGE * size]
    papers = 0
    for quad in pages:
        view, shown, band = rectified(linear, quad)
        sheet = find_sheet(ground_cells(view[band:-band, band:-band]))
        if not isinstance(sheet, Sheet):
            continue
        papers += 1
        if sheet.explained > _RIM:
            shares = [_other_beyond(view, shown, sheet, band, side) or 0.0 for side in range(4)]
            if max(shares) > _MOST_OTHER:
                return False
    return bool(papers) or is_drawn_page(linear)


def _ruling_ends(linear: Float32, quads: Iterable[Float64]) -> bool:
    """Whether one of the outlines holds a ruling, and the most of the photo has none."""
    if ruled_share(linear) > _RULED_ELSEWHERE:
        return False
    insides = ((view, band) for view, _, band in (rectified(linear, quad) for quad in quads))
    return any(is_ruled(view[band:-band, band:-band]) for view, band in insides)


def is_drawn_page(linear: Float32) -> bool:
    """Whether a photo that shows no edges is a page all the same: one sheet of plain paper, with strokes on it.

    linear: (H, W, 3) float32 linear light of the photo; its rim is left out, where a finger or some table may lie.
    """
    height, width = linear.shape[:2]
    corners = rectangle(width, height)
    view = rectified(linear, corners + (corners.mean(axis=0) - corners) * (2 * _RIM_OUT))[0]
    sheet = find_sheet(ground_cells(view))
    if not isinstance(sheet, Sheet) or sheet.explained < _ALL_EXPLAINED or sheet.rim < _PAGE_RIM:
        return False
    luma = np.asarray(view @ LUMINANCE, np.float32)
    ground = cv2.morphologyEx(luma, cv2.MORPH_CLOSE, np.ones((_STROKE_PX, _STROKE_PX), np.uint8))
    drawn = float((luma < _STROKE * ground).mean())
    return sheet.colours <= _MOST_COLOURS and drawn >= _LEAST_DRAWN


def rectified(linear: Float32, quad: Float64) -> tuple[Float32, Bool, int]:
    """The outline's content squared, with a band around it; where the photo shows it; the band's width in pixels."""
    wide, high = mean_size(quad)
    scale = min(1.0, _LONG_PX / max(wide, high))
    size = (max(60, round(wide * scale)), max(60, round(high * scale)))
    band = max(8, round(_BAND * max(size)))
    matrix = homography(quad, rectangle(*size) + band)
    whole = (size[0] + 2 * band, size[1] + 2 * band)
    seen = cv2.warpPerspective(linear, matrix, whole, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    inside = np.ones(linear.shape[:2], np.uint8)
    shown = np.asarray(cv2.warpPerspective(inside, matrix, whole, flags=cv2.INTER_NEAREST) > 0)
    return cast(Float32, seen), shown, band


def _other_beyond(view: Float32, shown: Bool, sheet: Sheet, band: int, side: int) -> float | None:
    """The share of a side beyond which lies another material; None where the photo shows too little there."""
    steps = _steps_beyond(view, shown, sheet, band, side, _HALF)
    return None if steps is None else float((steps > ANOTHER).mean())


def _steps_beyond(
    view: Float32, shown: Bool, sheet: Sheet, band: int, side: int, least_shown: float,
    strip: tuple[float, float] = (_BEGINS, _BAND),
) -> Float64 | None:  # fmt: skip
    """(n,) how far, in natural log, what lies beyond each stretch of a side is from the paper, in its worst channel.

    strip: where what is looked at begins and ends, in shares of the view's long side. None where the photo shows less
    than least_shown of it, along most of the side.
    """
    # Each side in turn is brought to the top.
    turned, seen = (np.rot90(plane, side) for plane in (view, shown))
    light = np.rot90(sheet.log_light, side)
    begins, ends = (max(2, round(share * max(view.shape[:2]))) for share in strip)
    rows = slice(max(0, band - ends), band - begins)
    beyond, valid = turned[rows, band:-band], seen[rows, band:-band]
    rim = light[1:4].mean(axis=0)
    steps = []
    for part, ok, place in zip(
        np.array_split(beyond, _STRETCHES, axis=1), np.array_split(valid, _STRETCHES, axis=1),
        np.array_split(rim, _STRETCHES), strict=True,
    ):  # fmt: skip
        if ok.mean() >= least_shown and len(place):
            ground = np.log(np.maximum(upper_half(part[ok]), DARKEST))
            steps.append(np.abs(ground - place.mean(axis=0)).max())
    return np.array(steps) if len(steps) >= _LEAST_SHOWN * _STRETCHES else None


def upper_half(pixels: Float32) -> Float64:
    """(N, 3) -> (3,) the mean of the lighter half: the ground between lines."""
    luma = pixels @ LUMINANCE
    return np.asarray(pixels[luma >= np.median(luma)].mean(axis=0), np.float64)
