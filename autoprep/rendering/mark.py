"""The small visible mark.

It stands in the ground when there is one, else in the calmest corner; light or dark by what lies under it.
"""

import unicodedata
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal, cast

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont, features

from autoprep.imaging.arrays import AnyArray, Float32
from autoprep.imaging.colour import LUMA
from autoprep.rendering.legible import SRGB, Coding, Contrast, drawn
from autoprep.rendering.mark_shape import read_ink

CornerChoice = Literal["auto", "top-left", "top-right", "bottom-left", "bottom-right"]
CORNERS = ("bottom-right", "bottom-left", "top-right", "top-left")


@dataclass(frozen=True)
class MarkStyle:
    """Text, font files, height in percent of the picture's shorter side (see `_heights`), opacity 0..1 and corner.

    contrast: how well it can be read at the least; where that takes more opacity, there is more.
    fonts: each letter is written in the first that holds it; picture: one whose shape (`mark_shape`) is used instead of
    the text, in light or dark ink as the place asks.
    """

    text: str
    fonts: tuple[Path, ...]
    height_percent: float = 2.0
    opacity: float = 0.5
    contrast: Contrast = "quiet"
    corner: CornerChoice = "auto"
    picture: Path | None = None


@dataclass(frozen=True)
class Placed:
    """Where the mark stands: (x0, y0, x1, y1) on the canvas, its corner, whether it lies in the ground, and how it is
    drawn: in light or dark ink, and its contrast as drawn (`legible.contrast_as_drawn`)."""

    box: tuple[int, int, int, int]
    corner: str
    in_ground: bool
    light: bool
    contrast: float


def text_mask(style: MarkStyle, height_px: int) -> Float32:
    """(h, w) float32 coverage 0..1 of the text, about height_px from ascender to descender."""
    size = max(8, height_px)
    runs = [(ImageFont.truetype(str(font), size), text) for font, text in _runs(style.text, style.fonts)]
    way = "rtl" if len(runs) > 1 and _begins_from_right(style.text) and features.check("raqm") else None
    length = sum(font.getlength(text, direction=way) for font, text in runs)
    # Drawn on one baseline with room on all sides, then cut to what is drawn.
    image = Image.new("L", (int(length) + 4 * size, 4 * size))
    draw, x = ImageDraw.Draw(image), float(size)
    for font, text in runs if way is None else reversed(runs):
        draw.text((x, 2.5 * size), text, fill=255, font=font, anchor="ls", direction=way)
        x += font.getlength(text, direction=way)
    left, top, right, bottom = image.getbbox() or (0, 0, 1, 1)
    return np.asarray(image.crop((left - 1, top - 1, right + 1, bottom + 1)), np.float32) / np.float32(255)


def _runs(text: str, fonts: tuple[Path, ...]) -> list[tuple[Path, str]]:
    """The text in pieces, each with its font; spaces go with what stands before them."""
    lacking = set(missing_glyphs(text, fonts[0])) if len(fonts) > 1 else set()
    in_second = {at for at, letter in enumerate(text) if letter in lacking}
    if any(unicodedata.bidirectional(letter) in _FROM_RIGHT for letter in lacking):
        # Pieces stand from left to right: what is read from right to left must stay in one.
        if not missing_glyphs(text, fonts[1]):
            return [(fonts[1], text)]
        in_second |= _between(text, sorted(in_second), fonts[1])
    found: list[tuple[Path, str]] = []
    for at, letter in enumerate(text):
        font = fonts[1] if at in in_second else fonts[0]
        if found and (found[-1][0] == font or letter.isspace()):
            found[-1] = (found[-1][0], found[-1][1] + letter)
        else:
            found.append((font, letter))
    return found


_FROM_RIGHT = ("R", "AL")


def _begins_from_right(text: str) -> bool:
    """Whether a text runs from right to left as a whole: by its first letter, as Unicode has it."""
    ways = (unicodedata.bidirectional(letter) for letter in text)
    return next((way in _FROM_RIGHT for way in ways if way in ("L", *_FROM_RIGHT)), False)


def _between(text: str, places: list[int], font: Path) -> set[int]:
    """Where apostrophes, hyphens and the like stand between two of these letters, and this font holds them too."""
    gaps = [range(before + 1, after) for before, after in pairwise(places)]
    return {
        at
        for gap in gaps
        if all(unicodedata.bidirectional(text[k]) != "L" for k in gap)
        and not missing_glyphs(text[gap.start : gap.stop], font)
        for at in gap
    }


def missing_glyphs(text: str, font: Path) -> str:
    """The characters of the text that the font does not hold, each once."""
    loaded = ImageFont.truetype(str(font), 24)
    absent = loaded.getmask("\U0010fffe").getbbox(), bytes(loaded.getmask("\U0010fffe"))
    missing = [
        ch
        for ch in dict.fromkeys(text)
        if not ch.isspace() and (loaded.getmask(ch).getbbox(), bytes(loaded.getmask(ch))) == absent
    ]
    return "".join(missing)


def place_and_draw(
    canvas: AnyArray,
    shown: tuple[int, int, int, int],
    trim: tuple[int, int, int, int],
    style: MarkStyle,
    safe_px: int = 0,
    coding: Coding = SRGB,
) -> Placed | None:
    """Draw the mark into (H, W, 3) uint8, uint16 or float32 (0..1) codes, in place; coding: what they mean.

    None when the picture is too small for it.

    shown is the work's visible box and trim the finished picture's box on the canvas, both (x0, y0, x1, y1);
    the mark stays safe_px inside the trim.
    """
    sides = (trim[2] - trim[0], trim[3] - trim[1])
    gap = max(4, round(min(sides) * 0.015))
    trim = (trim[0] + safe_px, trim[1] + safe_px, trim[2] - safe_px, trim[3] - safe_px)
    shown = (max(shown[0], trim[0]), max(shown[1], trim[1]), min(shown[2], trim[2]), min(shown[3], trim[3]))
    found = _place(canvas, shown, trim, style, _heights(sides, style.height_percent), gap)
    if found is None:
        return None
    placed, mask = found
    # Within the work there may be a seam around the letters; on a ground of one tone none is needed.
    room = 0 if placed.in_ground else min(gap, len(mask) // 4)
    x0, y0, x1, y1 = placed.box[0] - room, placed.box[1] - room, placed.box[2] + room, placed.box[3] + room
    under = _part(canvas, (x0, y0, x1, y1))
    marked = drawn(under, np.pad(mask, room), style.opacity, style.contrast, coding)
    top = _top(canvas)
    canvas[y0:y1, x0:x1] = marked.codes if top == 1 else np.rint(marked.codes * top)
    return replace(placed, light=marked.light, contrast=round(marked.contrast, 2))


# Of a picture longer than this many times its shorter side that side no longer tells how large the picture is seen, and
# 2 % of it are letters of 7 px. Chosen; up to here the height is that of the shorter side alone.
_LONG = 2.0
_SMALLER, _MOST_TRIES = 0.85, 8  # where it finds no room, so much smaller it is tried next; so often at the most


def _heights(sides: tuple[int, int], percent: float) -> list[int]:
    """The heights of the mark in pixels, the best first: so many percent of the shorter side; of a narrow picture, of
    the geometric mean of that and half the longer one, and where that finds no room less, down to the former."""
    short, long = sorted(sides)
    least, best = (round(side * percent / 100) for side in (short, max(short, (short * long / _LONG) ** 0.5)))
    fewer = (round(best * _SMALLER**k) for k in range(_MOST_TRIES))
    return sorted({least, *(height for height in fewer if height > least)}, reverse=True)


def _place(
    canvas: AnyArray,
    shown: tuple[int, int, int, int],
    trim: tuple[int, int, int, int],
    style: MarkStyle,
    heights: list[int],
    gap: int,
) -> tuple[Placed, Float32] | None:
    """Where the mark stands, in the ground if it can at any of the heights, and its (h, w) coverage; None: no room."""
    room = (trim[2] - trim[0] - 2 * gap, trim[3] - trim[1] - 2 * gap)
    ink = None if style.picture is None else read_ink(style.picture)
    drawn_at: dict[int, Float32] = {}
    for in_ground in (True, False) if shown != trim else (False,):
        for high in heights:
            if high not in drawn_at:
                drawn_at[high] = text_mask(style, high) if ink is None else ink.mask(high)
            mask = drawn_at[high]
            size = (mask.shape[1], len(mask))
            if size[0] > room[0] or size[1] > room[1]:
                continue
            if in_ground:
                placed = _in_ground(shown, trim, size, gap, style.corner)
            else:
                placed = _in_work(canvas, shown, size, gap, style.corner)
            if placed is not None:
                return placed, mask
    return None


def _top(canvas: AnyArray) -> float:
    """The code value that stands for 1.0."""
    return float(np.iinfo(canvas.dtype).max) if canvas.dtype.kind == "u" else 1.0


def _part(canvas: AnyArray, box: tuple[int, int, int, int]) -> Float32:
    """A part of the canvas as float32 codes 0..1; the box is cut to the canvas."""
    x0, y0, x1, y1 = max(0, box[0]), max(0, box[1]), box[2], box[3]
    return canvas[y0:y1, x0:x1].astype(np.float32) / np.float32(_top(canvas))


def _in_ground(
    shown: tuple[int, int, int, int],
    trim: tuple[int, int, int, int],
    size: tuple[int, int],
    gap: int,
    corner: CornerChoice,
) -> Placed | None:
    """A place in the strip below or above the work, else beside it; aligned with the work."""
    width, height = size
    wanted = CORNERS if corner == "auto" else (corner,)
    for name in wanted:
        low, right = name.startswith("bottom"), name.endswith("right")
        strip = trim[3] - shown[3] if low else shown[1] - trim[1]
        if strip < height + gap:
            continue
        x = shown[2] - width if right else shown[0]
        x = min(max(x, trim[0] + gap), trim[2] - gap - width)
        # Close to the work, never touching it, and inside the sheet.
        away = min(gap, (strip - height) // 2)
        y = shown[3] + away if low else shown[1] - away - height
        return Placed((x, y, x + width, y + height), name, True, False, 0.0)
    for name in wanted:
        low, right = name.startswith("bottom"), name.endswith("right")
        strip = trim[2] - shown[2] if right else shown[0] - trim[0]
        if strip < width + 2 * gap:
            continue
        x = shown[2] + gap if right else shown[0] - gap - width
        y = trim[3] - gap - height if low else trim[1] + gap
        y = min(y, shown[3] - height) if low else max(y, shown[1])
        return Placed((x, y, x + width, y + height), name, True, False, 0.0)
    return None


def _in_work(
    canvas: AnyArray, shown: tuple[int, int, int, int], size: tuple[int, int], gap: int, corner: CornerChoice
) -> Placed | None:
    """The first corner in the usual order that is calm, else a calm place between two, else one as good as any.

    The fixed order keeps a series alike. Strokes under the mark may be a signature, so they weigh most. A corner that
    is asked for stays.
    """
    width, height = size
    x0, y0, x1, y1 = shown
    if width + 2 * gap > x1 - x0 or height + 2 * gap > y1 - y0:
        return None
    options = []
    for name in (*CORNERS, "bottom", "top") if corner == "auto" else (corner,):
        x = x1 - gap - width if name.endswith("right") else x0 + gap
        x = x if "-" in name else (x0 + x1 - width) // 2
        y = y1 - gap - height if name.startswith("bottom") else y0 + gap
        box = (x, y, x + width, y + height)
        busy = _busyness(canvas, box, gap)
        drawn = busy + 4 * _strokes(canvas, box, gap)
        if drawn < _CALM:
            return Placed(box, name, False, False, 0.0)
        options.append((drawn, busy, name, box))
    corners = options[: len(CORNERS)]
    alike = next(option for option in corners if option[0] <= _ALIKE * min(corners)[0])
    freer = min((option for option in options if option[0] < alike[0] and option[1] < _FREER * alike[1]), default=alike)
    _, _, name, box = freer
    return Placed(box, name, False, False, 0.0)


# Painted all over, or ruled, no corner is calm: one that is busier by so much is as good, and keeps a series alike. But
# where something plain stands in it, a place with half of its contrast or less is better.
_ALIKE, _FREER = 1.5, 0.5
_CALM = 0.06  # paper grain and plain washes stay below; a line of handwriting is 0.3 and more


def _strokes(canvas: AnyArray, box: tuple[int, int, int, int], gap: int) -> float:
    """Share of the place and its surroundings that thin strokes cover: dark, light, or of another colour."""
    around = _part(canvas, (box[0] - gap, box[1] - gap, box[2] + gap, box[3] + gap))
    luma = cast(Float32, cv2.transform(around, LUMA))
    side = max(5, (box[3] - box[1]) // 2 | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    drawn = np.zeros(luma.shape, bool)
    # A red signature on green of the same lightness shows in the differences of red and blue alone.
    for plane in (luma, around[..., 0] - luma, around[..., 2] - luma):
        calm = cv2.GaussianBlur(plane, (0, 0), 0.8)
        dark = cv2.morphologyEx(calm, cv2.MORPH_BLACKHAT, kernel)
        light = cv2.morphologyEx(calm, cv2.MORPH_TOPHAT, kernel)
        stroke = np.maximum(dark, light)
        # A faint one stands out of the grain of its paper, however little that is.
        drawn |= stroke > max(_FAINT, min(_PLAIN, _OF_GRAIN * float(np.quantile(stroke, _CALM_SHARE))))
    return float(drawn.mean())


# Code values by which a stroke differs from what it lies on, plainly and at the least; and how many times as much as
# the calmest fifth of the place (of pure grain, one place in a hundred differs 3.7 times as much as that).
_PLAIN, _FAINT, _OF_GRAIN, _CALM_SHARE = 0.10, 0.022, 4.0, 0.2


def _busyness(canvas: AnyArray, box: tuple[int, int, int, int], gap: int) -> float:
    """How much drawing lies under and right around a box: mean and peak local contrast."""
    around = _part(canvas, (box[0] - gap, box[1] - gap, box[2] + gap, box[3] + gap))
    luma = cast(Float32, cv2.transform(around, LUMA))
    flat = cast(Float32, cv2.GaussianBlur(luma, (0, 0), 1.0))
    spread = float(flat.std())
    peak = float(np.percentile(np.abs(flat - np.median(flat)), 99))
    return spread + 0.5 * peak
