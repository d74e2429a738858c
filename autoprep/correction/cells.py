"""The ground of a rectified work in cells: what lies between strokes, rulings and letters, cell by cell.

Whatever is drawn or written on a sheet in lines, and whatever is printed on it as ruling, covers less than half of most
cells of a hundredth of the sheet. So the upper half of a cell's lightness is its ground; its very top is left out,
where the camera's sharpening and noise lie.
"""

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.correction.ruling import is_ruled
from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, Bool, Float32
from autoprep.imaging.colour import LUMINANCE

# Chosen: 120 cells along the longer side are 2.5 mm on A4, half a square of squared paper.
_CELLS = 120
_LEAST_PX = 3
_FROM, _TO = 0.5, 0.9
# A line that fills whole cells is darker than the ground on both sides by so much, natural log, or so many grains.
_STROKE, _STROKE_GRAINS = 0.03, 2.5


@dataclass(frozen=True, eq=False)
class Cells:
    """The ground of a work in cells.

    logs: (h, w, 3) float32 natural log of the ground's linear RGB; luma: (h, w) of its luminance; drawn: (h, w) bool,
    cells that are full of lines; grain: by how much neighbouring cells differ by chance or by rulings, natural log;
    finer: the same once dark lines are closed, which leaves little on ruled paper and much on a painted surface; ruled:
    a ruling is printed on the sheet.
    """

    logs: Float32
    luma: Float32
    drawn: Bool
    grain: float
    finer: float
    ruled: bool

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns) of cells."""
        return int(self.luma.shape[0]), int(self.luma.shape[1])


def ground_cells(linear: Float32) -> Cells:
    """(H, W, 3) float32 linear sRGB of a rectified work -> its ground in cells."""
    side = max(_LEAST_PX, max(linear.shape[:2]) // _CELLS)
    rows, cols = max(4, linear.shape[0] // side), max(4, linear.shape[1] // side)
    # Squeezed to whole cells: what would not fill one is at most a cell's width.
    whole = cast(Float32, cv2.resize(linear, (cols * side, rows * side), interpolation=cv2.INTER_AREA))
    blocks = whole.reshape(rows, side, cols, side, 3).transpose(0, 2, 1, 3, 4).reshape(rows, cols, side * side, 3)
    ground = _upper_half(blocks)
    logs = quick.log(np.maximum(ground, DARKEST))
    luma = quick.log(np.maximum(ground @ LUMINANCE, DARKEST))
    grain = _grain(luma)
    lines = _closed(luma, 5) - luma > max(_STROKE, _STROKE_GRAINS * grain)
    return Cells(logs, luma, np.asarray(lines), grain, _grain(_closed(luma, 3)), is_ruled(linear))


def _upper_half(blocks: Float32) -> Float32:
    """(h, w, n, 3) the pixels of each cell -> (h, w, 3) the mean of those between the quantiles _FROM and _TO."""
    luma = blocks @ LUMINANCE
    count = luma.shape[-1]
    low, high = int(_FROM * count), int(_TO * count)
    ordered = np.sort(luma, axis=-1)  # an eighth of the time in which two places are parted
    held = ((luma >= ordered[..., low, None]) & (luma <= ordered[..., high, None])).astype(np.float32)
    return np.asarray((held[:, :, None] @ blocks)[:, :, 0] / held.sum(-1)[..., None], np.float32)


def _closed(luma: Float32, width: int) -> Float32:
    return cast(Float32, cv2.morphologyEx(luma, cv2.MORPH_CLOSE, np.ones((width, width), np.uint8)))


def _grain(luma: Float32) -> float:
    """Standard deviation of what is finer than slopes, by the median, so that drawn parts do not count."""
    fine = luma - cast(Float32, cv2.medianBlur(luma, 5))
    return 1.4826 * quick.median(np.abs(fine)) + 1e-4
