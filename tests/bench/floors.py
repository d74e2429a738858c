"""What can't be done without: decoding once, and per destination one plain warp and one encoding.

What is encoded are the finished pixels: a plain warp's have other noise, and 8 bits in the place of 16 pack to next to
nothing.
"""

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import Image

from autoprep.domain import CorrectionPlan
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray, Float64
from autoprep.imaging.geometry import homography, rectangle
from autoprep.job.delivery import frame_of
from autoprep.pixels import quad_of
from autoprep.rendering.layout import lay_out
from autoprep.wishes.destinations import Preset


def decoded(data: bytes) -> AnyArray:
    """(H, W, 3) uint8: the library alone, nothing looked at."""
    return np.asarray(Image.open(io.BytesIO(data)))


@dataclass(frozen=True)
class Plain:
    """One destination without any care: where the work's corners go on a canvas of its size, and how it is coded."""

    matrix: Float64
    size: tuple[int, int]
    write: Callable[[], bytes]

    def warped(self, codes: AnyArray) -> AnyArray:
        """One 8-bit cubic warp of the photo's codes."""
        return cv2.warpPerspective(codes, self.matrix, self.size, flags=cv2.INTER_CUBIC)

    def made(self, codes: AnyArray) -> bytes:
        """The warp, and one encoding with the destination's own settings."""
        self.warped(codes)
        return self.write()


def pixels_of(path: Path) -> AnyArray:
    """The pixels of a finished file."""
    return np.asarray(tifffile.imread(path)) if path.suffix == ".tif" else decoded(path.read_bytes())


def plain(preset: Preset, plan: CorrectionPlan, pixels: AnyArray, compression: str | None = None) -> Plain:
    """The floor of a destination and its finished pixels; compression: of TIFF, in place of its own."""
    layout = lay_out(frame_of(preset, plan), plan)
    x, y, width, height = layout.work
    corners = rectangle(width, height) + np.array([x, y])
    carried = Carried(SPACES[preset.colour].profile())
    how = How(preset.quality, preset.progressive, compression or preset.compression)
    return Plain(
        homography(quad_of(plan.geometry), corners),
        layout.canvas_px,
        lambda: encode(pixels, preset.format, carried, how),
    )


def floor(data: bytes, parts: Iterable[Plain]) -> None:
    """Decode once, and make all destinations plainly."""
    codes = decoded(data)
    for part in parts:
        part.made(codes)
