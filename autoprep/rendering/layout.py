"""Where the work goes on a destination's canvas: sizes, margins, cropping, bleed, and honest enlargement."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from autoprep.domain import CorrectionPlan
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, homography, rectangle
from autoprep.imaging.resample import Warp

_MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Frame:
    """A destination's size and fit, as plain numbers; exactly one of size_px, long_side_px, size_mm and neither.

    Neither means full size. size_mm goes with ppi; bleed_mm is added around it.
    """

    size_px: tuple[int, int] | None = None
    long_side_px: int | None = None
    size_mm: tuple[float, float] | None = None
    ppi: float | None = None
    bleed_mm: float = 0.0
    fit: Literal["whole", "fill"] = "whole"
    margin_percent: float = 0.0
    max_enlarge: float = 1.0


@dataclass(frozen=True)
class Layout:
    """canvas_px: (width, height) with bleed; trim: (x0, y0, x1, y1) of the finished sheet on it; work: (x, y,
    width, height) of the whole work on the canvas, which may reach beyond the trim when it is cropped to fill."""

    canvas_px: tuple[int, int]
    trim: tuple[int, int, int, int]
    work: tuple[int, int, int, int]
    enlarge: float
    notes: tuple[str, ...] = ()

    @property
    def shown(self) -> tuple[int, int, int, int]:
        """(x0, y0, x1, y1): the part of the work inside the trim."""
        x, y, width, height = self.work
        return (
            max(x, self.trim[0]),
            max(y, self.trim[1]),
            min(x + width, self.trim[2]),
            min(y + height, self.trim[3]),
        )

    def ground_below(self) -> int:
        """Height in px of the ground under the work, inside the trim."""
        return self.trim[3] - self.shown[3]


def work_pixels(plan: CorrectionPlan) -> tuple[float, float]:
    """The work's own size in photo pixels: as many as its outline covers, in its true proportion."""
    covered = area(plan.geometry.lens().ideal(plan.geometry.array()))
    height = float(np.sqrt(covered / plan.geometry.ratio))
    return height * plan.geometry.ratio, height


def lay_out(frame: Frame, plan: CorrectionPlan) -> Layout:
    """Place the work of a plan on the canvas of a frame."""
    native = work_pixels(plan)
    if frame.size_mm is not None:
        return _print(frame, native)
    if frame.size_px is not None:
        return _placed(frame.size_px, (0, 0, *frame.size_px), frame, native)
    width, height = native
    scale = 1.0
    notes: list[str] = []
    if frame.long_side_px is not None:
        wanted = frame.long_side_px / max(native)
        scale = min(wanted, frame.max_enlarge)
        if wanted > scale * 1.0005:
            notes.append(
                f"the photo holds {max(native):.0f} px along the work's long side; "
                f"it was not enlarged to {frame.long_side_px}"
            )
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    if frame.long_side_px is not None and not notes:
        size = _exact_long_side(size, frame.long_side_px)
    return Layout(size, (0, 0, *size), (0, 0, *size), scale, tuple(notes))


def _exact_long_side(size: tuple[int, int], long_px: int) -> tuple[int, int]:
    return (long_px, size[1]) if size[0] >= size[1] else (size[0], long_px)


def mm_to_px(millimetres: float, ppi: float) -> int:
    """Millimetres at pixels per inch -> whole pixels, rounded."""
    return round(millimetres / _MM_PER_INCH * ppi)


def _print(frame: Frame, native: tuple[float, float]) -> Layout:
    assert frame.size_mm is not None
    assert frame.ppi is not None
    size_mm = frame.size_mm
    if (native[0] > native[1]) != (size_mm[0] > size_mm[1]):
        size_mm = (size_mm[1], size_mm[0])  # the sheet turns to suit the work
    trim = tuple(mm_to_px(side, frame.ppi) for side in size_mm)
    canvas = tuple(mm_to_px(side + 2 * frame.bleed_mm, frame.ppi) for side in size_mm)
    left, top = (canvas[0] - trim[0]) // 2, (canvas[1] - trim[1]) // 2
    laid = _placed((canvas[0], canvas[1]), (left, top, left + trim[0], top + trim[1]), frame, native)
    return Layout(laid.canvas_px, laid.trim, laid.work, laid.enlarge, (*laid.notes, _honest_print(native)))


def _honest_print(native: tuple[float, float]) -> str:
    """The largest print that the photo's own pixels give, in plain words."""
    sizes = [" x ".join(f"{side / ppi * _MM_PER_INCH / 10:.1f}" for side in native) for ppi in (300, 200)]
    return f"largest print without enlarging: {sizes[0]} cm at 300 ppi, {sizes[1]} cm at 200 ppi"


def _placed(
    canvas: tuple[int, int], trim: tuple[int, int, int, int], frame: Frame, native: tuple[float, float]
) -> Layout:
    width, height = trim[2] - trim[0], trim[3] - trim[1]
    margin = frame.margin_percent / 100 * min(width, height)
    room = (width - 2 * margin, height - 2 * margin)
    scales = (room[0] / native[0], room[1] / native[1])
    wanted = min(scales) if frame.fit == "whole" else max(width / native[0], height / native[1])
    notes: list[str] = []
    scale = wanted
    if wanted > frame.max_enlarge * 1.0005:
        scale, note = _limited(frame, wanted)
        notes.append(note)
    size = [max(1, round(native[k] * scale)) for k in (0, 1)]
    if frame.fit == "fill":
        size = [max(size[0], width), max(size[1], height)]
        if size[0] > width + 1 or size[1] > height + 1:
            notes.append("cropped to fill: this picture is a detail of the work")
    else:
        # A work that misses the edge of its room by a pixel or two shows as a hairline; let it meet it.
        size = [round(room[k]) if 0 < abs(room[k] - size[k]) <= 1.5 else size[k] for k in (0, 1)]
    x = trim[0] + (width - size[0]) // 2
    y = trim[1] + (height - size[1]) // 2
    return Layout(canvas, trim, (x, y, size[0], size[1]), scale, tuple(notes))


def _limited(frame: Frame, wanted: float) -> tuple[float, str]:
    if frame.fit == "fill":
        return (
            wanted,
            f"the photo's pixels were enlarged {wanted:.2f} times to fill; the limit is {frame.max_enlarge:g}",
        )
    share = frame.max_enlarge / wanted * 100
    return (
        frame.max_enlarge,
        f"filling the space would enlarge the photo's pixels {wanted:.2f} times, beyond the limit of "
        f"{frame.max_enlarge:g}; the work stands at {share:.0f} % of that size instead",
    )


def warp_for(layout: Layout, plan: CorrectionPlan) -> Warp:
    """From pixels of the whole work at its size on the canvas to photo pixels."""
    _, _, width, height = layout.work
    lens = plan.geometry.lens()
    matrix: Float64 = homography(rectangle(width, height), lens.ideal(plan.geometry.array()))
    return Warp(matrix, lens)
