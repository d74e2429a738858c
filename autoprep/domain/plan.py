"""Where a work lies in its photo, and what is done to it: the outline, and the correction plan with its parts."""

import base64
import zlib
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from autoprep.domain.values import Confidence, Corner, Corners, Declined, Kind, Triple, Value
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.bow import PLACES, Bow
from autoprep.imaging.geometry import homography, rectangle
from autoprep.imaging.resample import Lens, Warp


class Outline(Value):
    """The four corners of the work in the upright full-size photo, and how sure the finder is of them.

    cut: whether the top, right, bottom and left side is no edge of the work but the photo's border, which cuts it.
    """

    corners_px: Corners
    confidence: Confidence
    whole_photo: bool = False
    cut: tuple[bool, bool, bool, bool] = (False, False, False, False)
    evidence: dict[str, float] = Field(default_factory=dict)

    def array(self) -> Float64:
        """(4, 2) float64 corners: top-left, top-right, bottom-right, bottom-left."""
        return np.array(self.corners_px, np.float64)


Side = tuple[float, float, float, float, float]
_STRAIGHT: Side = (0.0, 0.0, 0.0, 0.0, 0.0)


class Geometry(Value):
    """How the work lies in the photo, and its true proportion.

    ratio is width : height of the work; lens_k1 the radial term (see imaging.resample.Lens). sides: where the sheet
    bends, how far inward of the line between its corners its edge runs at five even places of each side (top and bottom
    from the left, right and left from the top), as shares of the longer side.
    """

    photo_px: tuple[int, int]
    corners_px: Corners
    ratio: Annotated[float, Field(gt=0)]
    ratio_from: Literal[
        "known size", "corners and focal length", "corners", "corners and a usual focal length", "side lengths",
        "whole photo",
    ]  # fmt: skip
    lens_k1: float = 0.0
    focal_px: float | None = None
    sides: tuple[Side, Side, Side, Side] | None = None

    def array(self) -> Float64:
        """(4, 2) float64 corners in photo pixels."""
        return np.array(self.corners_px, np.float64)

    def lens(self) -> Lens:
        """The photo's lens as a map."""
        return Lens(self.photo_px[0], self.photo_px[1], self.lens_k1)

    def in_photo(self, points: AnyArray) -> Float64:
        """(..., 2) places of the work, 0..1 across and down -> photo pixels."""
        lens = self.lens()
        matrix = homography(rectangle(1.0, 1.0), lens.ideal(self.array()))
        return Warp(matrix, lens, bow=self.bow((0.0, 0.0, 1.0, 1.0))).source(points)

    def turned(self, quarters: int) -> "Geometry":
        """The same work turned clockwise: what was its lower left corner becomes its upper left one."""
        found = self
        for _ in range(quarters % 4):
            corners = (found.corners_px[3], *found.corners_px[:3])
            sides = found.sides
            if sides is not None:
                top, right, bottom, left = sides
                sides = (_backwards(left), top, _backwards(right), bottom)
            found = found.model_copy(update={"corners_px": corners, "ratio": 1 / found.ratio, "sides": sides})
        return found

    def followed(self, inward: tuple[Side, Side, Side, Side]) -> "Geometry":
        """The same work whose edges run inward by so much more: its corners are where the sides end then."""
        before = self.sides or (_STRAIGHT,) * 4
        added = np.array(before) + np.array(inward)
        bent = self.model_copy(update={"sides": tuple(map(tuple, added.tolist()))})
        corners = tuple(map(tuple, bent.in_photo(rectangle(1.0, 1.0)).tolist()))
        ends = added[:, :1] + (added[:, -1:] - added[:, :1]) * np.linspace(0, 1, PLACES)
        sides = tuple(map(tuple, (added - ends).round(6).tolist()))
        return self.model_copy(update={"corners_px": corners, "sides": sides})

    def bow(self, frame: tuple[float, float, float, float]) -> Bow | None:
        """The bent sides of the work where it lies at (x0, y0, width, height); None where they are straight."""
        if self.sides is None:
            return None
        of_height, of_width = max(self.ratio, 1.0), max(1 / self.ratio, 1.0)
        return Bow(np.array(self.sides) * np.array([[of_height], [of_width], [of_height], [of_width]]), frame)


def _backwards(side: Side) -> Side:
    first, second, third, fourth, last = side
    return last, fourth, third, second, first


_MOST_NODES = 4096
_PACKED_FROM, _PER_UNIT = 2000, 10_000


class LightField(Value):
    """Relative light over the work: natural logarithm per channel on a regular grid, 0 at the reference.

    log_light: rows x cols x 3, nodes at the cell centres of the rectified work, row by row; or, where there are many,
    packed: the same in ten-thousandths as 16-bit differences from node to node along each row, deflated, in base 64.
    """

    rows: Annotated[int, Field(ge=1, le=_MOST_NODES)]
    cols: Annotated[int, Field(ge=1, le=_MOST_NODES)]
    log_light: tuple[Triple, ...] = ()
    packed: str = ""

    @classmethod
    def of(cls, values: Float32 | Float64) -> "LightField":
        """A light from (rows, cols, 3) natural logs, between -3 and 3; finer ones are packed."""
        rows, cols = values.shape[:2]
        if rows * cols <= _PACKED_FROM:
            nodes = tuple(
                (round(float(r), 4), round(float(g), 4), round(float(b), 4)) for r, g, b in values.reshape(-1, 3)
            )
            return cls(rows=rows, cols=cols, log_light=nodes)
        scaled: Float64 = np.round(np.clip(np.asarray(values, np.float64), -3, 3) * _PER_UNIT)
        whole = scaled.astype(np.int16)
        # A difference that does not fit goes round, and back again in the sum.
        steps = np.concatenate([whole[:, :1], whole[:, 1:] - whole[:, :-1]], axis=1)
        return cls(
            rows=rows, cols=cols, packed=base64.b64encode(zlib.compress(steps.astype("<i2").tobytes(), 6)).decode()
        )

    def array(self) -> Float32:
        """(rows, cols, 3) float32 natural-log relative light; ValueError where it has not so many nodes."""
        if not self.packed:
            return np.array(self.log_light, np.float32).reshape(self.rows, self.cols, 3)
        count = self.rows * self.cols * 3
        data = zlib.decompressobj().decompress(base64.b64decode(self.packed), 2 * count + 1)
        steps = np.frombuffer(data, "<i2").reshape(self.rows, self.cols, 3)
        return np.asarray(np.cumsum(steps, axis=1, dtype=np.int16) / _PER_UNIT, np.float32)


class Neutral(Value):
    """Per-channel gain in linear light that makes the reference neutral, and what the reference was."""

    gain: Triple = (1.0, 1.0, 1.0)
    source: Literal["paper", "grey reference", "none"] = "none"


CHART_RANGE = (0.008, 1.0)
"""Device-linear values between which the patches of a chart lie, in a photo that is exposed as usual."""


class ChartFit(Value):
    """What a colour chart in the photo says of light and camera: gain per channel, a curve, a matrix.

    y = gain * x * exp((bend[0] - 1) ln x + bend[1] ln^2 x) on device-linear values, then the matrix to linear
    sRGB, of 3 x 3 or, with the roots of the channels' products, 3 x 6 (see imaging.colour.mixed); delta_e: mean
    CIEDE2000 of the chart's patches after it; left_out_delta_e: the same of patches that the fit has not seen; between:
    the values that the chart tells anything of, beyond which the curve goes on straight.
    """

    gain: Triple
    bend: tuple[float, float]
    matrix: tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]
    delta_e: float
    left_out_delta_e: float | None = None
    between: tuple[float, float] = CHART_RANGE


class Tone(Value):
    """Exposure gain in linear light and a shoulder that keeps everything below the top of the scale.

    Values above `knee` approach `ceiling` and never reach it; knee = ceiling switches the shoulder off.
    """

    gain: Annotated[float, Field(gt=0)] = 1.0
    knee: float = 1.0
    ceiling: float = 1.0


class Sharpening(Value):
    """Luminance unsharp masking: Gaussian radius in output pixels, amount, and the contrast it starts at."""

    radius_px: Annotated[float, Field(gt=0)] = 0.8
    amount: Annotated[float, Field(ge=0, le=2)] = 0.0
    threshold: Annotated[float, Field(ge=0)] = 0.01


class ToldBy(Value):
    """What told chart, colour of the light, and light over the work, where a reference shot or a card beside it did."""

    chart: str = ""
    colour: str = ""
    light: str = ""


class CorrectionPlan(Value):
    """What will be done to the pixels: estimated on a small copy, applied once per output.

    reference: the reference shots, and the grey card beside the work, that told anything; told_by: which told what;
    contrast: how much of a camera's contrast curve is taken back (see correction.camera); paper_guessed: nothing in the
    photo tells for sure whether the paper is white or toned, and it was taken for what is likelier; inset: how far in
    the desk reaches at the top, right, bottom and left, as shares of the longer side (see correction.rim).
    """

    version: Literal[1] = 1
    geometry: Geometry
    kind: Kind
    paper: Literal["white", "tinted", "toned", "none"]
    light: LightField | Declined
    neutral: Neutral | Declined
    tone: Tone
    sharpening: Sharpening
    paper_colour: Triple | None = None
    chart: ChartFit | None = None
    reference: str = ""
    told_by: ToldBy = ToldBy()
    contrast: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    focus: tuple[float, float] = (0.5, 0.5)
    silhouette: tuple[Corner, ...] | None = None
    inset: tuple[float, float, float, float] = (0.0008, 0.0008, 0.0008, 0.0008)
    paper_guessed: bool = False
