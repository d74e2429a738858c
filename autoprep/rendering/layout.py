"""Where the work goes on a destination's canvas: sizes, margins, cropping, bleed, and honest enlargement."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from autoprep.domain import CorrectionPlan, torn_sides
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, homography, rectangle
from autoprep.imaging.resample import Warp
from autoprep.imaging.units import MM_PER_INCH
from autoprep.pixels import bow_of, lens_of, quad_of
from autoprep.rendering import scene


@dataclass(frozen=True)
class Frame:
    """A destination's size and fit, as plain numbers; at most one of size_px, long_side_px, short_side_px, size_mm.

    None of them means full size. size_mm goes with ppi; bleed_mm is added around it, and the mark stays safe_mm
    inside it; into_bleed: a work that fills the trim fills the bleed too, and what lies there is cut off. scene: the
    desk is shown. focus: where the work's centre of interest lies, 0..1 across and down; cropping to fill keeps to it.
    viewing_cm: from how far a print is looked at; true_size: size_mm is the work's own with its margin, so that a
    photo with too few pixels for ppi gives fewer of them to the inch, and the work stays as large as it is.
    """

    size_px: tuple[int, int] | None = None
    long_side_px: int | None = None
    short_side_px: int | None = None
    size_mm: tuple[float, float] | None = None
    ppi: float | None = None
    bleed_mm: float = 0.0
    fit: Literal["whole", "fill"] = "whole"
    margin_percent: float = 0.0
    max_enlarge: float = 1.0
    safe_mm: float = 0.0
    into_bleed: bool = True
    scene: bool = False
    focus: tuple[float, float] = (0.5, 0.5)
    viewing_cm: float | None = None
    crop_marks: bool = False
    true_size: bool = False

    def slug_mm(self) -> float:
        """How wide the white edge around the bleed is, on which the crop marks stand; 0 without them."""
        return max(0.0, MARK_OFFSET_MM - self.bleed_mm) + MARK_LENGTH_MM if self.crop_marks else 0.0


# Crop marks begin where the bleed ends, never within 3 mm (1/8 inch) of the trim, and are 5 mm long, a quarter of a
# point thin: so that cutting a little off leaves none of them on the print (common practice, no source).
MARK_OFFSET_MM, MARK_LENGTH_MM, MARK_WEIGHT_PT = 3.0, 5.0, 0.25


@dataclass(frozen=True)
class Layout:
    """Where everything lies on the canvas, in pixels.

    canvas_px: (width, height) with bleed, and the edge around it where there are crop marks; trim: (x0, y0, x1, y1) of
    the finished sheet on it; work: (x, y, width, height) of the whole work on the canvas, which may reach beyond the
    trim when it is cropped to fill; scene: (x0, y0, x1, y1) of the desk around it, where it is shown; safe_px: how far
    inside the trim a mark stays; share: how far the photo's own pixels reach, not enlarged, of the size that is wanted;
    slug_px: how wide the edge for crop marks is; mark_px: (length, width) of these, at the canvas's border; ppi: of a
    print, as it came out.
    """

    canvas_px: tuple[int, int]
    trim: tuple[int, int, int, int]
    work: tuple[int, int, int, int]
    enlarge: float
    notes: tuple[str, ...] = ()
    scene: tuple[int, int, int, int] | None = None
    safe_px: int = 0
    share: float = 1.0
    slug_px: int = 0
    mark_px: tuple[int, int] | None = None
    ppi: float | None = None

    @property
    def shown(self) -> tuple[int, int, int, int]:
        """(x0, y0, x1, y1): the part of the work, or of the scene about it, on the sheet and its bleed."""
        x, y, width, height = self.work
        x0, y0, x1, y1 = self.scene or (x, y, x + width, y + height)
        left, top, right, bottom = self.inked
        return max(x0, left), max(y0, top), min(x1, right), min(y1, bottom)

    @property
    def inked(self) -> tuple[int, int, int, int]:
        """(x0, y0, x1, y1): the sheet with its bleed, without the edge for crop marks."""
        width, height = self.canvas_px
        return self.slug_px, self.slug_px, width - self.slug_px, height - self.slug_px


def work_pixels(plan: CorrectionPlan) -> tuple[float, float]:
    """The work's own size in photo pixels: as many as its outline covers, in its true proportion."""
    covered = area(lens_of(plan.geometry).ideal(quad_of(plan.geometry)))
    height = float(np.sqrt(covered / plan.geometry.ratio))
    return height * plan.geometry.ratio, height


def lay_out(frame: Frame, plan: CorrectionPlan) -> Layout:
    """Place the work of a plan on the canvas of a frame."""
    native = work_pixels(plan)
    frame = _turned(frame, native)
    if frame.scene:
        return _on_its_desk(frame, plan, native)
    if frame.size_mm is not None:
        # A torn edge that fills the trim is wanted to be seen; in the bleed it would be cut off.
        return _print(replace(frame, into_bleed=frame.into_bleed and not any(torn_sides(plan.silhouette))), native)
    if frame.size_px is not None:
        return _placed(frame.size_px, (0, 0, *frame.size_px), frame, native)
    return _by_side(frame, native)


def _turned(frame: Frame, native: tuple[float, float]) -> Frame:
    """The sheet of a print turns to suit the work. For a square one it stays: which of its sides is a hair longer is
    chance."""
    across, down = native
    if frame.size_mm is None or max(across, down) < _SQUARE * min(across, down):
        return frame
    width, height = frame.size_mm
    return replace(frame, size_mm=(height, width)) if (across > down) != (width > height) else frame


_SQUARE = 1.03


def _by_side(frame: Frame, native: tuple[float, float]) -> Layout:
    """The work, with its margin where there is one, by the longer or shorter side of both, or at full size."""
    edge = margin_around(min(native), frame.margin_percent)
    framed = (native[0] + 2 * edge, native[1] + 2 * edge)
    asked, side = (frame.long_side_px, max(framed)) if frame.long_side_px else (frame.short_side_px, min(framed))
    wanted = 1.0 if asked is None else asked / side
    scale = 1.0 if asked is None else min(wanted, frame.max_enlarge)
    canvas = (max(1, round(framed[0] * scale)), max(1, round(framed[1] * scale)))
    if frame.long_side_px is not None and wanted <= scale * 1.0005:
        canvas = _exact_long_side(canvas, frame.long_side_px)
    size = (max(1, round(native[0] * scale)), max(1, round(native[1] * scale))) if edge else canvas
    place = ((canvas[0] - size[0]) // 2, (canvas[1] - size[1]) // 2)
    notes = () if asked is None else _enlarged(frame, asked, side, scale)
    return Layout(canvas, (0, 0, *canvas), (*place, *size), scale, notes, share=min(1.0, 1 / wanted))


def margin_around(shorter: float, percent: float) -> float:
    """A margin in percent of the finished picture's shorter side, in the unit of the work's own."""
    share = percent / 100
    return share / (1 - 2 * share) * shorter


def _enlarged(frame: Frame, asked: int, side: float, scale: float) -> tuple[str, ...]:
    """What is said where a side that is asked for has more pixels than the photo."""
    limited = asked / side > scale * 1.0005
    if not limited and scale <= 1.0005:
        return ()
    name = f"{'long' if frame.long_side_px else 'short'} side{' with its margin' if frame.margin_percent else ''}"
    how = "it was not enlarged" if scale <= 1.0005 else f"it was enlarged {scale:.2f} times"
    how += f" to {asked}" if not limited or scale <= 1.0005 else f", not to {asked}"
    return (f"the photo holds {side:.0f} px along the work's {name}; {how}",)


def _on_its_desk(frame: Frame, plan: CorrectionPlan, native: tuple[float, float]) -> Layout:
    """The scene about the work: laid out as a work would be, with the work's own place kept in it."""
    box = scene.around(plan, native)
    if frame.size_px is not None or frame.size_mm is not None:
        shape = (frame.size_px or frame.size_mm or (1, 1))[0] / (frame.size_px or frame.size_mm or (1, 1))[1]
        box = scene.part_with_shape(box, native, shape, 0.06 * min(native))
    whole = (box[2] - box[0], box[3] - box[1])
    plain = replace(frame, scene=False, fit="whole", margin_percent=0.0, true_size=False)
    if frame.size_mm is not None:
        laid = _print(plain, whole)
    elif frame.size_px is not None:
        laid = _placed(frame.size_px, (0, 0, *frame.size_px), plain, whole)
    else:
        laid = _by_side(plain, whole)
    x, y, width, height = laid.work
    across, down = width / whole[0], height / whole[1]
    work = (
        x + round(-box[0] * across),
        y + round(-box[1] * down),
        max(1, round(native[0] * across)),
        max(1, round(native[1] * down)),
    )
    bare = 1 - width * height / ((laid.trim[2] - laid.trim[0]) * (laid.trim[3] - laid.trim[1]))
    notes = [scene.NOTE, *laid.notes]
    shown = (x, y, x + width, y + height)
    if bare > _MUCH_BARE:
        tone = "the desk's tone" if scene.desk_rims(laid.canvas_px, shown, work) else "plain ground"
        little = "too little of" if tone != "plain ground" else "nothing of"
        notes.append(f"the photo shows {little} the desk for this shape: {bare:.0%} of the picture is {tone}")
    return replace(laid, work=work, scene=shown, notes=tuple(notes))


_MUCH_BARE = 0.03


def _exact_long_side(size: tuple[int, int], long_px: int) -> tuple[int, int]:
    return (long_px, size[1]) if size[0] >= size[1] else (size[0], long_px)


def mm_to_px(millimetres: float, ppi: float) -> int:
    """Millimetres at pixels per inch -> whole pixels, rounded."""
    return round(millimetres / MM_PER_INCH * ppi)


def _print(frame: Frame, native: tuple[float, float]) -> Layout:
    assert frame.size_mm is not None
    assert frame.ppi is not None
    size_mm = frame.size_mm
    if frame.true_size and (reached := _reached_ppi(frame, size_mm, native)) < frame.ppi:
        laid = _print(replace(frame, ppi=reached, true_size=False), native)
        own = _reached_ppi(replace(frame, max_enlarge=1.0), size_mm, native)
        share = min(1.0, own / frame.ppi)
        said = f"the photo's pixels give {own:g} ppi at the work's own size, where {frame.ppi:g} were wanted"
        said += f"; it was enlarged to {reached:g}" if reached > own else ""
        return replace(laid, share=share, notes=(said, *laid.notes))
    trim = tuple(mm_to_px(side, frame.ppi) for side in size_mm)
    slug = mm_to_px(frame.slug_mm(), frame.ppi)
    canvas = tuple(mm_to_px(side + 2 * frame.bleed_mm, frame.ppi) + 2 * slug for side in size_mm)
    left, top = (canvas[0] - trim[0]) // 2, (canvas[1] - trim[1]) // 2
    box = (left, top, left + trim[0], top + trim[1])
    inked = (slug, slug, canvas[0] - slug, canvas[1] - slug)
    own_bleed = frame.into_bleed and frame.fit == "fill" and frame.bleed_mm > 0
    laid = _placed((canvas[0], canvas[1]), inked if own_bleed else box, frame, native)
    laid = replace(laid, trim=box, notes=(*laid.notes, *((_own_bleed(frame),) if own_bleed else ())))
    notes = (*laid.notes, _honest_print(native), *_viewing(frame, laid.enlarge))
    thin = max(1, round(MARK_WEIGHT_PT / _POINTS_PER_INCH * frame.ppi))
    marks = (mm_to_px(MARK_LENGTH_MM, frame.ppi), thin) if frame.crop_marks else None
    safe = mm_to_px(frame.safe_mm, frame.ppi)
    return replace(laid, notes=notes, safe_px=safe, slug_px=slug, mark_px=marks, ppi=frame.ppi)


def _reached_ppi(frame: Frame, size_mm: tuple[float, float], native: tuple[float, float]) -> float:
    """How many pixels there are for an inch of the work, enlarged as far as may be; a whole number, as JPEG has it, and
    so 1 at the least."""
    margin = frame.margin_percent / 100 * min(size_mm) if frame.fit == "whole" else 0.0
    inches = max((size_mm[k] - 2 * margin) / MM_PER_INCH / native[k] for k in (0, 1))
    return max(1.0, float(np.floor(frame.max_enlarge / inches * 1.0005)))


def _own_bleed(frame: Frame) -> str:
    return f"bleed: the work's own pixels reach into it, so {frame.bleed_mm:g} mm of the work are cut off at each edge"


_POINTS_PER_INCH = 72


def least_ppi(viewing_cm: float) -> float:
    """Pixels per inch that an eye can tell apart at this distance (one minute of arc): 3438 / inches."""
    return 3438 / (viewing_cm * 10 / MM_PER_INCH)


def _viewing(frame: Frame, enlarge: float) -> tuple[str, ...]:
    """Whether the photo's own pixels suffice for the distance that a print is looked at from."""
    if frame.viewing_cm is None or frame.ppi is None:
        return ()
    own, needed = frame.ppi / enlarge, least_ppi(frame.viewing_cm)
    verdict = "enough" if own >= needed else "not enough: single pixels may show"
    return (f"the photo gives {own:.0f} ppi here; from {frame.viewing_cm:g} cm the eye needs {needed:.0f}: {verdict}",)


def _honest_print(native: tuple[float, float]) -> str:
    """The largest print that the photo's own pixels give, in plain words."""
    sizes = [" x ".join(f"{side / ppi * MM_PER_INCH / 10:.1f}" for side in native) for ppi in (300, 200)]
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
    x, y = (trim[k] + _start((width, height)[k], size[k], frame.focus[k]) for k in (0, 1))
    share = min(1.0, 1 / wanted)
    return Layout(canvas, trim, (x, y, size[0], size[1]), scale, tuple(notes), share=share)


def _start(room: int, size: int, focus: float) -> int:
    """Where a side of the work begins: centred on its ground, or, cropped, with its focus in the middle."""
    if size <= room:
        return (room - size) // 2
    return -min(max(round(focus * size - room / 2), 0), size - room)


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
    """From pixels of the shown part, counted from its upper left corner, to photo pixels."""
    x, y, width, height = layout.work
    lens = lens_of(plan.geometry)
    matrix: Float64 = homography(rectangle(width, height), lens.ideal(quad_of(plan.geometry)))
    x0, y0, _, _ = layout.shown
    matrix = matrix @ np.array([[1, 0, x0 - x], [0, 1, y0 - y], [0, 0, 1.0]])
    if layout.scene is not None or plan.geometry.ratio_from == "whole photo":
        return Warp(matrix, lens)  # the desk of a scene is not bent as the work is
    # The desk reaches a hair and more into the outline; the outermost pixels repeat what lies just inside, so that no
    # line of it stands at the edge of a print. A torn side has its own edge further in.
    torn = torn_sides(plan.silhouette)
    top, right, bottom, left = (
        -_FAR if torn[k] else plan.inset[k] * max(width, height) for k in range(4)
    )  # fmt: skip
    at_x, at_y = x - x0, y - y0
    within = (at_x + left, at_y + top, at_x + width - right, at_y + height - bottom)
    return Warp(matrix, lens, within, bow_of(plan.geometry, (at_x, at_y, width, height)))


_FAR = 1e6  # pixels: no limit
