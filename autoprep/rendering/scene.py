"""The work on its desk: how much of the desk can be shown, and how its tone is calmed.

The work itself is corrected as ever; around it the colours are drawn towards grey and the light towards even, both
by bounded amounts that the record states. Nothing is cut from the work.
"""

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.domain import CorrectionPlan
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import luminance
from autoprep.imaging.geometry import half, homography, project, rectangle
from autoprep.pixels import lens_of, quad_of

Box = tuple[float, float, float, float]
Pixels = tuple[int, int, int, int]

# Bounds of the calming, chosen by eye on the lab's desks: wood stays wood.
COLOUR_KEPT = 0.72
_EVENING, MOST_STOPS = 0.45, 0.4
_MOST_AROUND = 1.2  # the desk shown on each side is at most this many times the work's longer side
_SOFT_PX = 1.5

NOTE = (
    f"shown on its desk: around the work, colours are drawn {100 * (1 - COLOUR_KEPT):.0f} % towards grey and the light "
    f"is evened by at most {MOST_STOPS:g} stops; the work itself is corrected as ever"
)


def around(plan: CorrectionPlan, size: tuple[float, float]) -> Box:
    """(x0, y0, x1, y1) of the largest upright box about the work, in its own pixels, that the photo covers.

    size is the (width, height) of the whole work; the box holds all of it even where it touches the photo's border.
    """
    lens = lens_of(plan.geometry)
    width, height = plan.geometry.photo_px
    back = homography(lens.ideal(quad_of(plan.geometry)), rectangle(*size))
    border = project(back, _in_sight(lens.ideal(rectangle(width, height) * (1 - 2 / width) + 1), back, size))
    sides = np.array([0.0, 0.0, *size])
    step = 0.01 * max(size)
    limit = np.array([-_MOST_AROUND, -_MOST_AROUND, _MOST_AROUND, _MOST_AROUND]) * max(size) + [0, 0, *size]
    growing = [0, 1, 2, 3]
    while growing:
        for side in list(growing):
            trial = sides.copy()
            trial[side] += step if side > 1 else -step
            if abs(trial[side]) > abs(limit[side]) or not _inside(trial, border):
                growing.remove(side)
            else:
                sides = trial
    return cast(Box, tuple(float(v) for v in sides))


def _in_sight(photo: Float64, back: Float64, size: tuple[float, float]) -> Float64:
    """(N, 2) the part of the photo that shows the table's plane: beyond its horizon nothing lies on it.

    back: (3, 3) from the ideal photo to the work of (width, height).
    """
    ends = project(np.linalg.inv(back), rectangle(*size))
    depth, of_work = (points @ back[2, :2] + back[2, 2] for points in (photo, ends))
    sense = np.sign(of_work.mean())
    return half(photo, sense * depth - _FARTHEST * float((sense * of_work).min()))


_FARTHEST = 0.1  # how deep the table is seen, as a share of the work's own far end: ten times its distance


def _inside(box: Float64, polygon: Float64) -> bool:
    """Whether all corners of a box lie inside a convex polygon."""
    corners = np.array([[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]])
    edge = np.roll(polygon, -1, axis=0) - polygon
    to = corners[:, None] - polygon[None]
    cross = edge[None, :, 0] * to[..., 1] - edge[None, :, 1] * to[..., 0]
    return bool((cross > 0).all() or (cross < 0).all())


def part_with_shape(box: Box, size: tuple[float, float], shape: float, margin: float) -> Box:
    """The largest part of a scene with width : height = shape that holds the work and a margin around it.

    Where the scene is too small for that, the part comes as near to the shape as it can.
    """
    x0, y0, x1, y1 = box
    need = (size[0] + 2 * margin, size[1] + 2 * margin)
    wide, high = x1 - x0, y1 - y0
    width, height = (high * shape, high) if wide > high * shape else (wide, wide / shape)
    width, height = min(wide, max(width, min(need[0], wide))), min(high, max(height, min(need[1], high)))
    left = min(max(size[0] / 2 - width / 2, x0), x1 - width)
    top = min(max(size[1] / 2 - height / 2, y0), y1 - height)
    return left, top, left + width, top + height


@dataclass(frozen=True)
class Calm:
    """The calming of one picture: (h, w) float32 gains at low resolution over the scene, and the work's box in it."""

    gain: Float32
    size: tuple[int, int]
    work: tuple[int, int, int, int]

    def __call__(self, linear: Float32, first_row: int) -> Float32:
        """(rows, W, 3) linear light of scene rows first_row.. -> calmed outside the work's box."""
        rows, width = linear.shape[:2]
        scale_x, scale_y = self.gain.shape[1] / self.size[0], self.gain.shape[0] / self.size[1]
        shift = np.array([[scale_x, 0, 0.5 * scale_x - 0.5], [0, scale_y, (first_row + 0.5) * scale_y - 0.5]])
        gain = cv2.warpAffine(
            self.gain,
            shift.astype(np.float32),
            (width, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        grey = luminance(linear)[..., None]
        calmed = (grey + (linear - grey) * np.float32(COLOUR_KEPT)) * gain[..., None]
        outside = self._outside(first_row, rows, width)[..., None]
        return np.asarray(linear + (calmed - linear) * outside, np.float32)

    def _outside(self, first_row: int, rows: int, width: int) -> Float32:
        x0, y0, x1, y1 = self.work
        x, y = np.arange(width) + 0.5, np.arange(first_row, first_row + rows) + 0.5
        beyond_x = np.maximum(x0 - x, x - x1)
        beyond_y = np.maximum(y0 - y, y - y1)
        beyond = np.maximum(beyond_y[:, None], beyond_x[None]) / _SOFT_PX
        return cast(Float32, np.clip(beyond + 0.5, 0, 1).astype(np.float32))


def calm(small: Float32, size: tuple[int, int], work: tuple[int, int, int, int]) -> Calm:
    """From a small corrected picture of the scene (h, w, 3), its size (width, height) and the work's box in it."""
    height, width = small.shape[:2]
    luma = np.log(np.maximum(luminance(small), 0.003)).astype(np.float32)
    outside = np.ones((height, width), np.float32)
    x0, y0, x1, y1 = (
        round(v * width / size[0]) if k % 2 == 0 else round(v * height / size[1]) for k, v in enumerate(work)
    )
    outside[max(0, y0) : max(0, y1), max(0, x0) : max(0, x1)] = 0
    if outside.sum() < 20:
        return Calm(np.ones((height, width), np.float32), size, work)
    sigma = 0.12 * max(width, height)
    weight = np.maximum(cast(Float32, cv2.GaussianBlur(outside, (0, 0), sigma)), 1e-4)
    local = cv2.GaussianBlur(luma * outside, (0, 0), sigma) / weight
    middle = float(np.median(local[outside > 0]))
    most = float(np.log(2) * MOST_STOPS)
    gain = np.exp(np.clip(_EVENING * (middle - local), -most, most)).astype(np.float32)
    return Calm(gain, size, work)


# Of the scene's shorter side: how deep the rim is that the tone beyond it is taken from, and how near to the work it
# comes (there lies its shadow); and how much of a rim must be desk for a tone to be told from it. Chosen.
_RIM, _OFF_WORK, _LEAST_DESK = 0.03, 0.004, 0.02


def desk_rims(canvas_px: tuple[int, int], shown: Pixels, work: tuple[int, int, int, int]) -> list[list[Pixels]]:
    """Where the tone is taken from of what the photo shows no desk for: for each side a list of boxes, but the work.

    canvas_px: (width, height); shown: the scene's box on it, and the boxes that come back, as (x0, y0, x1, y1); work:
    (x, y, width, height). Of the sides beyond which the canvas goes on, else of the others; none where no desk is seen.
    """
    x0, y0, x1, y1 = shown
    shorter = min(x1 - x0, y1 - y0)
    rim, off = max(2, round(_RIM * shorter)), max(2, round(_OFF_WORK * shorter))
    taken = (work[0] - off, work[1] - off, work[0] + work[2] + off, work[1] + work[3] + off)
    sides = (
        (y0 > 0, (x0, y0, x1, y0 + rim)),
        (y1 < canvas_px[1], (x0, y1 - rim, x1, y1)),
        (x0 > 0, (x0, y0, x0 + rim, y1)),
        (x1 < canvas_px[0], (x1 - rim, y0, x1, y1)),
    )
    seen = [(goes_on, _without(side, taken)) for goes_on, side in sides if _is_seen(side, _without(side, taken))]
    return [boxes for goes_on, boxes in seen if goes_on] or [boxes for _, boxes in seen]


def _is_seen(side: Pixels, boxes: list[Pixels]) -> bool:
    return sum(map(_area, boxes)) >= _LEAST_DESK * _area(side)


def _area(box: Pixels) -> int:
    return (box[2] - box[0]) * (box[3] - box[1])


def _without(box: Pixels, hole: Pixels) -> list[Pixels]:
    """The parts of a box that another one leaves free."""
    x0, y0, x1, y1 = box
    left, right = (min(max(x, x0), x1) for x in hole[::2])
    top, bottom = (min(max(y, y0), y1) for y in hole[1::2])
    parts = ((x0, y0, x1, top), (x0, bottom, x1, y1), (x0, top, left, bottom), (right, top, x1, bottom))
    return [part for part in parts if part[2] > part[0] and part[3] > part[1]]
