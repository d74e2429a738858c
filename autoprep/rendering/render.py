"""From a photo and its plan to the pixels of one rendition: warped once, corrected in strips, put on its ground."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import cast

import cv2
import numpy as np

from autoprep.domain import CorrectionPlan, Photo
from autoprep.imaging.arrays import AnyArray, Float32, float32
from autoprep.imaging.resample import STRIP_ROWS, warp_rows
from autoprep.imaging.transfer import encode_fast, quantise8, quantise16
from autoprep.rendering.layout import Layout, warp_for
from autoprep.rendering.mark import MarkStyle, Placed, place_and_draw

_HALO = 6  # rows around a strip that the sharpening looks at: 3 standard deviations of its widest blur and more

Strip = Callable[[Float32, int], Float32]
"""(rows, W, 3) linear light and its first row -> the same, corrected or finished."""


@dataclass(frozen=True)
class Look:
    """How a rendition is coloured and finished.

    ground: sRGB code values 0..1 of the ground; matrix: linear sRGB -> the destination's linear RGB, or None;
    bits: 8 or 16; mark: the visible mark, or None.
    """

    ground: tuple[float, float, float] = (0.91, 0.91, 0.91)
    matrix: Float32 | None = None
    bits: int = 8
    mark: MarkStyle | None = None


@dataclass(frozen=True)
class Rendition:
    """Finished pixels: (H, W, 3) uint8 or uint16 codes, and where the mark stands."""

    pixels: AnyArray
    placed: Placed | None
    notes: tuple[str, ...] = field(default_factory=tuple)


def render(photo: Photo, plan: CorrectionPlan, layout: Layout, look: Look, correct: Strip, finish: Strip) -> Rendition:
    """Render a work onto its canvas.

    correct maps strips of linear light at the work's size on the canvas; finish (sharpening) maps strips of sRGB
    codes. Both get the strip's first row within the work.
    """
    quantise = quantise16 if look.bits == 16 else quantise8
    canvas: AnyArray = np.empty(
        (layout.canvas_px[1], layout.canvas_px[0], 3), np.uint16 if look.bits == 16 else np.uint8
    )
    canvas[:] = quantise(float32(look.ground).reshape(1, 1, 3))
    x0, y0, x1, _ = layout.shown
    for first, strip in _strips(photo, plan, layout, look, correct, finish):
        canvas[y0 + first : y0 + first + len(strip), x0:x1] = quantise(strip)
    _extend(canvas, layout)
    placed = None
    if look.mark is not None:
        placed = place_and_draw(canvas, layout.shown, layout.trim, look.mark)
    notes = ("there is no room for the visible mark",) if look.mark is not None and placed is None else ()
    return Rendition(canvas, placed, notes)


def _strips(
    photo: Photo, plan: CorrectionPlan, layout: Layout, look: Look, correct: Strip, finish: Strip
) -> Iterator[tuple[int, Float32]]:
    """Yield (first row of the shown part, (rows, shown width, 3) sRGB codes)."""
    warp = warp_for(layout, plan)
    work_x, work_y, work_w, work_h = layout.work
    x0, y0, x1, y1 = layout.shown
    level = _level(photo, warp.scale(work_w, work_h))
    for top in range(y0 - work_y, y1 - work_y, STRIP_ROWS):
        bottom = min(top + STRIP_ROWS, y1 - work_y)
        above, below = max(0, top - _HALO), min(work_h, bottom + _HALO)
        linear = warp_rows(level.crop, level.size_px, level.scale, warp, (work_w, work_h), (above, below))
        linear = correct(linear, above)
        if look.matrix is not None:
            linear = cast(Float32, cv2.transform(linear, look.matrix))
        code = finish(encode_fast(linear), above)
        yield top - (y0 - work_y), code[top - above : bottom - above, x0 - work_x : x1 - work_x]


def _level(photo: Photo, photo_px_per_px: float) -> Photo:
    """The copy of the photo whose pixels are at most as large as the output's, and less than twice as fine."""
    factor = 1
    while photo_px_per_px / (factor * 2) >= 1 and factor < 16:
        factor *= 2
    return photo.reduced(factor)


def _extend(canvas: AnyArray, layout: Layout) -> None:
    """Bleed: where the work meets the trim, mirror it outward; elsewhere the ground runs on by itself."""
    width, height = layout.canvas_px
    left, top, right, bottom = layout.trim
    x0, y0, x1, y1 = layout.shown
    out_left, out_top = left * (x0 == left), top * (y0 == top)
    out_right, out_bottom = (width - right) * (x1 == right), (height - bottom) * (y1 == bottom)
    if out_left or out_top or out_right or out_bottom:
        canvas[y0 - out_top : y1 + out_bottom, x0 - out_left : x1 + out_right] = cv2.copyMakeBorder(
            canvas[y0:y1, x0:x1], out_top, out_bottom, out_left, out_right, cv2.BORDER_REFLECT_101
        )
