"""What to look at closely in a finished work: its four corners and its faintest part, at the photo's own pixels."""

from dataclasses import replace
from typing import cast

import cv2
import numpy as np

from autoprep.correction.apply import Photometry
from autoprep.correction.planned import Planned
from autoprep.imaging.arrays import Bool, Float32, UInt8, greatest
from autoprep.imaging.resample import Level, warp_rows
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.rendering.layout import Layout, warp_for, work_pixels
from autoprep.rendering.render import Look, render

_CORNER_PX, _OUTSIDE_PX, _FAINT_PX, _GAP_PX = 220, 12, (460, 220), 8
_FADED = 0.5  # so much of the ground what lies outside takes on
# Code values by which a wash differs from its paper: less is grain, more is no longer faint.
_FAINTEST, _FAINT = 0.012, 0.08
_LEAST_SHARE = 0.3  # of a place, that must be as faint


def details(made: Planned) -> UInt8:
    """(h, w, 3) uint8 sRGB: the corners A to D clockwise from the top left, and beside them the faintest part, if any.

    Each corner also shows some pixels of what lies outside in the photo, half faded into the ground: paper there is
    cut off in the files, and desk on this side of it stands in them.
    """
    width, height = (max(1, round(side)) for side in work_pixels(made.plan))
    side = min(_CORNER_PX, width, height)
    outside = min(_OUTSIDE_PX, side // 4)  # of a strip, its own pixels come first
    far = side - outside
    left, right, top, bottom = -outside, width - far, -outside, height - far
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    correct = made.strips((width, height))
    parts = [_part(made, correct, (width, height), at, (side, side)) for at in corners]
    faint = faintest(made)
    if faint is not None:
        size = min(_FAINT_PX[0], width), min(side, height)
        at = [round(faint[k] * (width, height)[k] - size[k] / 2) for k in (0, 1)]
        parts.append(_part(made, correct, (width, height), (at[0], at[1]), size))
    gap = np.full((side, _GAP_PX, 3), 255, np.uint8)
    return np.hstack([piece for part in parts for piece in (part, gap)][:-1])


def faintest(made: Planned) -> tuple[float, float] | None:
    """Where in the work, as shares of its width and height, most of a place is a faint wash; None where there is none.

    Without a paper of known colour nothing is faint.
    """
    paper = made.plan.paper_colour
    if paper is None:
        return None
    code = cv2.GaussianBlur(made.whole, (0, 0), 1.5)
    tone = encode_fast(np.array(paper, np.float32).reshape(1, 1, 3)).ravel()
    # One colour for all pixels is what the library takes four numbers for.
    apart = greatest(cast(Float32, cv2.absdiff(code, np.append(tone, 0).astype(np.float64))))
    height, width = apart.shape
    window = max(3, round(0.06 * max(height, width)) | 1)
    faint = np.asarray((apart > _FAINTEST) & (apart < _FAINT), np.float32)
    share = np.asarray(cv2.blur(faint, (window, window)), np.float32)
    edge = window  # the rim of a sheet is shaded by itself
    share[:edge], share[-edge:], share[:, :edge], share[:, -edge:] = 0, 0, 0, 0
    y, x = np.unravel_index(int(share.argmax()), share.shape)
    if share[y, x] < _LEAST_SHARE:
        return None
    return float((x + 0.5) / width), float((y + 0.5) / height)


def _part(
    made: Planned, correct: Photometry, whole: tuple[int, int], at: tuple[int, int], size: tuple[int, int]
) -> UInt8:
    """A part of the work at the photo's own pixels; at: its upper left corner, from that of the work."""
    layout = Layout(size, (0, 0, *size), (-at[0], -at[1], *whole), 1.0)
    picture = np.asarray(render(made.photo, made.plan, layout, Look(), correct, made.finish).pixels, np.uint8)
    x0, y0, x1, y1 = layout.shown
    if (x0, y0, x1, y1) == (0, 0, *size):
        return picture
    around, seen = _surroundings(made, correct, layout, at)
    seen[y0:y1, x0:x1] = False
    picture[seen] = np.rint((1 - _FADED) * around[seen] + _FADED * picture[seen].astype(np.float32))
    return picture


def _surroundings(made: Planned, correct: Photometry, layout: Layout, at: tuple[int, int]) -> tuple[UInt8, Bool]:
    """(h, w, 3) what the photo shows on all of a part's canvas, corrected like the work, and (h, w) where it does."""
    width, height = layout.canvas_px
    warp = warp_for(replace(layout, scene=(0, 0, width, height)), made.plan)
    x, y = warp.rows(0, height, (0, width))
    photo_w, photo_h = made.photo.full_px
    level = Level(made.photo.crop, made.photo.size_px, made.photo.scales)
    linear = correct(warp_rows(level, warp, (width, height), (0, height)), *at)
    return quantise8(encode_fast(linear)), (x >= 0) & (x < photo_w) & (y >= 0) & (y < photo_h)
