"""From a photo and its plan to the pixels of one rendition: warped once, corrected in strips, put on its ground."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.domain import CorrectionPlan, torn_sides
from autoprep.imaging.arrays import AnyArray, Float32, Rows, UInt8, float32, greatest, least
from autoprep.imaging.coverage import coverage
from autoprep.imaging.resample import Level, Warp, strips, warp_rows
from autoprep.imaging.transfer import (
    encode_fast,
    linear_to_code,
    looked_up,
    quantise8,
    quantise16,
    srgb_to_linear,
)
from autoprep.imaging.units import Gamma
from autoprep.pixels import Photo
from autoprep.rendering import scene
from autoprep.rendering.bleed import extend
from autoprep.rendering.continued import continue_paper
from autoprep.rendering.fringe import depth_px, repeat_inside
from autoprep.rendering.layout import Layout, warp_for
from autoprep.rendering.legible import Coding
from autoprep.rendering.mark import MarkStyle, Placed, place_and_draw

_HALO = 6  # rows around a strip that the sharpening looks at: 3 standard deviations of its widest blur and more

Strip = Callable[[Float32, int, int], Float32]
"""(rows, W, 3) linear light, its first column and row within the work -> the same, corrected."""
Finish = Callable[[Float32], Float32]
"""(rows, W, 3) sRGB-like codes -> the same, sharpened."""


@dataclass(frozen=True)
class Look:
    """How a rendition is coloured and finished.

    ground: sRGB code values 0..1 of the ground; continued: it is the work's own paper, whose tone and grain go on;
    matrix: linear sRGB -> the destination's linear RGB, or None;
    gamma: the destination's curve; bits: 8 or 16; mark: the visible mark, or None.
    """

    ground: tuple[float, float, float] = (0.91, 0.91, 0.91)
    continued: bool = False
    matrix: Float32 | None = None
    gamma: Gamma = None
    bits: int = 8
    mark: MarkStyle | None = None


@dataclass(frozen=True)
class Rendition:
    """Finished pixels: (H, W, 3) uint8 or uint16 codes, and where the mark stands."""

    pixels: AnyArray
    placed: Placed | None
    notes: tuple[str, ...] = field(default_factory=tuple)


class Shown:
    """The part of a canvas that shows the work, or the scene about it: made a strip at a time while it is read."""

    def __init__(
        self, photo: Photo, plan: CorrectionPlan, layout: Layout, look: Look, correct: Strip, finish: Finish
    ) -> None:
        self.ground, self.sheet = _ground(look), _sheet_mask(plan, layout)
        self._quantise = quantise16 if look.bits == 16 else quantise8
        self._made = _strips(photo, plan, layout, look, correct, finish, self.sheet)
        self._outside, self._rows = 0.0, 0

    def strips(self) -> Iterator[AnyArray]:
        """(rows, W, 3) uint8 or uint16 codes of all of it, from the top; to be read once."""
        for first, strip, share in self._made:
            sheet = self.sheet
            shown = strip if sheet is None else _on_ground(strip, sheet[first : first + len(strip)], self.ground)
            self._outside += share * len(strip)
            self._rows += len(strip)
            yield self._quantise(shown)

    def notes(self) -> tuple[str, ...]:
        """What has to be said of it, once it is read."""
        outside = self._outside / max(1, self._rows)
        if outside <= 0.001:
            return ()
        return (
            f"{outside * 100:.1f} % of the picture has colours that this colour space can't hold; they are clipped",
        )


def is_shown_alone(layout: Layout, look: Look) -> bool:
    """Whether nothing but the shown part is on the canvas, so that it can be written while it is made."""
    return _fills_canvas(layout) and not look.continued and look.mark is None and layout.mark_px is None


def _fills_canvas(layout: Layout) -> bool:
    return layout.shown == (0, 0, *layout.canvas_px)


def as_rows(shown: Shown, layout: Layout, look: Look) -> Rows:
    """The rows of a canvas that shows nothing else (see `is_shown_alone`)."""
    width, height = layout.canvas_px
    return Rows((height, width, 3), np.dtype(np.uint16 if look.bits == 16 else np.uint8), shown.strips())


def render(photo: Photo, plan: CorrectionPlan, layout: Layout, look: Look, correct: Strip, finish: Finish) -> Rendition:
    """Render a work onto its canvas.

    correct maps strips of linear light at the work's size on the canvas; finish (sharpening) maps strips of codes.
    """
    deep = look.bits == 16
    canvas: AnyArray = np.empty((layout.canvas_px[1], layout.canvas_px[0], 3), np.uint16 if deep else np.uint8)
    shown = Shown(photo, plan, layout, look, correct, finish)
    if not _fills_canvas(layout):
        # By whole rows: pixel by pixel it would take twenty times as long.
        canvas[:] = np.repeat((quantise16 if deep else quantise8)(shown.ground), canvas.shape[1], axis=1)
    x0, y0, x1, _ = layout.shown
    for strip in shown.strips():
        canvas[y0 : y0 + len(strip), x0:x1] = strip
        y0 += len(strip)
    if layout.scene is not None:
        _desk_runs_on(canvas, layout.shown, layout.work)
    elif look.continued:
        continue_paper(canvas, layout.shown, shown.ground, shown.sheet)
    of_bleed = extend(canvas, layout, torn_sides(plan.silhouette), continued=look.continued and layout.scene is None)
    if layout.mark_px is not None:
        draw_crop_marks(canvas, layout.inked, layout.trim, layout.mark_px)
    placed = None
    if look.mark is not None:
        coding = Coding(look.gamma, look.matrix)
        placed = place_and_draw(canvas, layout.shown, layout.trim, look.mark, layout.safe_px, coding)
    notes = ["there is no room for the visible mark"] if look.mark is not None and placed is None else []
    return Rendition(canvas, placed, (*notes, *shown.notes(), *of_bleed))


def on_ground(code: Float32, plan: CorrectionPlan) -> Float32:
    """(h, w, 3) codes 0..1 of the whole work -> the same as it is given out: what is outside torn edges is ground."""
    height, width = code.shape[:2]
    whole = (0, 0, width, height)
    sheet = _sheet_mask(plan, Layout((width, height), whole, whole, 1.0))
    return code if sheet is None else _on_ground(code.copy(), sheet, _ground(Look()))


def _sheet_mask(plan: CorrectionPlan, layout: Layout) -> UInt8 | None:
    """(h, w) 0..255 coverage of the shown part by the sheet; None where its edges are straight or its desk is shown."""
    if plan.silhouette is None or layout.scene is not None:
        return None
    x0, y0, x1, y1 = layout.shown
    work_x, work_y, width, height = layout.work
    points = np.array(plan.silhouette) * [width, height] + [work_x - x0, work_y - y0]
    return coverage(points, (x1 - x0, y1 - y0))


def _on_ground(strip: Float32, sheet: UInt8, ground: Float32) -> Float32:
    """(h, w, 3) codes, with ground in the place of what is no sheet: in place, where the strip's rows lie together.

    sheet: (h, w) 0..255. Nearly all of a strip is wholly sheet, and is not touched.
    """
    places = np.flatnonzero(sheet != 255)
    flat, background = strip.reshape(-1, 3), ground.reshape(1, 3)
    cover = sheet.reshape(-1)[places][:, None] / np.float32(255)
    flat[places] = background + (flat[places] - background) * cover
    return flat.reshape(strip.shape)


def _ground(look: Look) -> Float32:
    """(1, 1, 3) codes of the ground in the destination's space."""
    code = float32(look.ground).reshape(1, 1, 3)
    if look.matrix is None:
        return code
    linear = np.asarray(srgb_to_linear(code), np.float32)
    return recoded(encode_fast(cast(Float32, cv2.transform(linear, look.matrix))), look.gamma)


def draw_crop_marks(
    canvas: AnyArray, inked: tuple[int, int, int, int], trim: tuple[int, int, int, int], mark_px: tuple[int, int]
) -> None:
    """The white edge around the sheet and its bleed, and on it hairlines that show the trim, at the canvas's border.

    inked, trim: (x0, y0, x1, y1) on the canvas; mark_px: (length, width) of a hairline, which lies along the cut.
    """
    length, thin = mark_px
    left, top, right, bottom = inked
    paper = np.iinfo(canvas.dtype).max
    for edge in (canvas[:top], canvas[bottom:], canvas[:, :left], canvas[:, right:]):
        edge[:] = paper
    before = (thin + 1) // 2  # of a hairline one pixel wide that pixel is cut off
    for x in (trim[0] - before, trim[2] - thin + before):
        canvas[:length, x : x + thin] = 0
        canvas[-length:, x : x + thin] = 0
    for y in (trim[1] - before, trim[3] - thin + before):
        canvas[y : y + thin, :length] = 0
        canvas[y : y + thin, -length:] = 0


def _strips(
    photo: Photo,
    plan: CorrectionPlan,
    layout: Layout,
    look: Look,
    correct: Strip,
    finish: Finish,
    sheet: UInt8 | None,
) -> Iterator[tuple[int, Float32, float]]:
    """Yield (first row of the shown part, (rows, width, 3) codes, share of pixels outside the destination's gamut)."""
    x0, y0, x1, y1 = layout.shown
    size, into = (x1 - x0, y1 - y0), (x0 - layout.work[0], y0 - layout.work[1])
    warp = warp_for(layout, plan)
    photo_px = warp.scale(*size)
    level = _level(photo, photo_px)
    calm = _calm(photo, warp, size, into, layout, correct)
    for top, bottom in strips(size):
        above, below = max(0, top - _HALO), min(size[1], bottom + _HALO)
        linear = warp_rows(level, warp, size, (above, below))
        linear = correct(linear, into[0], into[1] + above)
        if sheet is not None:
            linear = np.ascontiguousarray(linear)
            repeat_inside(linear, sheet[above:below], depth_px(photo_px))
        if calm is not None:
            linear = calm(linear, above)
        if look.matrix is not None:
            linear = cast(Float32, cv2.transform(linear, look.matrix))
        outside = _share_outside(linear)
        code = recoded(finish(encode_fast(linear)), look.gamma)
        yield top, code[top - above : bottom - above], outside


# Linear light: so far outside its range a colour is not told as clipped; and so far apart the channels of a light must
# lie for a colour: white that is lighter than white, with the photo's noise, is none that another space could hold, and
# neither is black that is darker than black.
_HAIR, _A_COLOUR, _A_DARK_COLOUR = 0.002, 0.1, 0.02
# Beside an edge the filter that reduces a picture swings below what is there; no swing is so many pixels wide.
_SWING_PX = 5


def _share_outside(linear: Float32) -> float:
    """The share of (h, w, 3) pixels that a colour space can't hold."""
    low, high, _, _ = cv2.minMaxLoc(linear.reshape(len(linear), -1))
    if low >= -_HAIR and high <= 1 + _HAIR:
        return 0.0
    if high <= 1 + _HAIR and not _any_dark_colour(linear):
        return 0.0
    planes = cv2.split(linear)
    darkest = cv2.min(cv2.min(planes[0], planes[1]), planes[2])
    lightest = cv2.max(cv2.max(planes[0], planes[1]), planes[2])
    apart = lightest - darkest
    lost = (lightest > 1 + _HAIR) & (apart > _A_COLOUR)
    if low < -_HAIR:
        wide = cv2.morphologyEx(darkest, cv2.MORPH_CLOSE, np.ones((_SWING_PX, _SWING_PX), np.uint8))
        lost |= (wide < -_HAIR) & (apart > _A_DARK_COLOUR)
    return float(np.count_nonzero(lost)) / lost.size


def _any_dark_colour(linear: Float32) -> bool:
    """Whether any of (h, w, 3) pixels may be a colour darker than black: of most pictures a few lie beside edges only,
    which takes less to see than what becomes of each pixel."""
    dark = linear.reshape(-1, 3)[np.flatnonzero(linear.reshape(-1) < -_HAIR) // 3]
    return bool((greatest(dark) - least(dark) > _A_DARK_COLOUR).any())


def recoded(code: Float32, gamma: Gamma) -> Float32:
    """Codes of the sRGB curve -> codes of another one; as they are where that is the sRGB curve itself."""
    return code if gamma is None else looked_up(np.clip(code, 0, 1), _of_srgb(gamma))


@lru_cache(maxsize=4)
def _of_srgb(gamma: Gamma) -> Float32:
    return linear_to_code(srgb_to_linear(np.arange(65536) / 65535), gamma).astype(np.float32)


_SMALL_PX = 320


def _calm(
    photo: Photo, warp: Warp, size: tuple[int, int], into: tuple[int, int], layout: Layout, correct: Strip
) -> scene.Calm | None:
    """The calming of the desk, from a small corrected picture of the scene; None where no desk is shown."""
    if layout.scene is None:
        return None
    factor = max(size) / _SMALL_PX
    small = (max(8, round(size[0] / factor)), max(8, round(size[1] / factor)))
    scaled = Warp(warp.matrix @ np.diag([size[0] / small[0], size[1] / small[1], 1.0]), warp.lens)
    coarse = photo.reduced(max(1, int(warp.scale(*size) * factor)))
    linear = warp_rows(Level(coarse.crop, coarse.size_px, coarse.scales), scaled, small, (0, small[1]))
    # The correction is smooth: taken at full size and averaged down it would come out the same.
    gained = _corrected_small(linear, size, into, correct)
    work = (-into[0], -into[1], layout.work[2] - into[0], layout.work[3] - into[1])
    return scene.calm(gained, size, work)


def _corrected_small(linear: Float32, size: tuple[int, int], into: tuple[int, int], correct: Strip) -> Float32:
    """Rows of a small picture corrected at the places they have in the full one."""
    height, width = linear.shape[:2]
    out = np.empty_like(linear)
    for row in range(height):
        full = cast(Float32, cv2.resize(linear[row : row + 1], (size[0], 1), interpolation=cv2.INTER_NEAREST))
        corrected = correct(full, into[0], into[1] + int((row + 0.5) * size[1] / height))
        out[row] = cv2.resize(corrected, (width, 1), interpolation=cv2.INTER_AREA)[0]
    return out


# So many photo pixels per output pixel are left for the filter at least: halving lets a little of what lies beyond the
# half of its own frequencies fold back, and the filter takes just that away.
_LEFT_FOR_FILTER = 1.6


def _level(photo: Photo, photo_px_per_px: float) -> Level:
    """The copy of the photo to sample from: halved as often as leaves the filter enough."""
    halvings = max(0, int(np.floor(np.log2(max(photo_px_per_px, 1) / _LEFT_FOR_FILTER))))
    copy = photo.halved(halvings)
    return Level(copy.crop, copy.size_px, (0.5**halvings,) * 2, halvings)


def _desk_runs_on(canvas: AnyArray, shown: tuple[int, int, int, int], work: tuple[int, int, int, int]) -> None:
    """Where the photo shows too little desk for the picture's shape, the rest has the mean tone of the desk's rim;
    where it shows none, it stays ground."""
    height, width = canvas.shape[:2]
    x0, y0, x1, y1 = shown
    rims = scene.desk_rims((width, height), shown, work)
    sides = [[canvas[b:d, a:c].reshape(-1, 3) for a, b, c, d in boxes] for boxes in rims]
    tones = [np.concatenate(parts).mean(axis=0) for parts in sides]
    for free in (canvas[:y0], canvas[y1:], canvas[y0:y1, :x0], canvas[y0:y1, x1:]) if tones else ():
        free[:] = np.rint(np.mean(tones, axis=0))
