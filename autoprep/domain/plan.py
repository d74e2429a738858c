"""Where a work lies in its photo, and what is done to it: the outline, and the correction plan with its parts."""

from typing import Annotated, Literal

from pydantic import Field

from autoprep.domain.values import Confidence, Corner, Corners, Declined, Kind, Triple, Value


class Outline(Value):
    """The four corners of the work in the upright full-size photo, and how sure the finder is of them.

    cut: whether the top, right, bottom and left side is no edge of the work but the photo's border, which cuts it.
    """

    corners_px: Corners
    confidence: Confidence
    whole_photo: bool = False
    cut: tuple[bool, bool, bool, bool] = (False, False, False, False)
    evidence: dict[str, float] = Field(default_factory=dict)


Side = tuple[float, float, float, float, float]
STRAIGHT: Side = (0.0, 0.0, 0.0, 0.0, 0.0)


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

    def reach(self) -> float:
        """How far the work reaches across its photo, or down, whichever is more, as a share of it."""
        across, down = zip(*self.corners_px, strict=True)
        width, height = self.photo_px
        return max((max(across) - min(across)) / width, (max(down) - min(down)) / height)

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


def _backwards(side: Side) -> Side:
    first, second, third, fourth, last = side
    return last, fourth, third, second, first


_MOST_NODES = 4096


class LightField(Value):
    """Relative light over the work: natural logarithm per channel on a regular grid, 0 at the reference.

    log_light: rows x cols x 3, nodes at the cell centres of the rectified work, row by row; or, where there are many,
    packed: the same in ten-thousandths as 16-bit differences from node to node along each row, deflated, in base 64.
    """

    rows: Annotated[int, Field(ge=1, le=_MOST_NODES)]
    cols: Annotated[int, Field(ge=1, le=_MOST_NODES)]
    log_light: tuple[Triple, ...] = ()
    packed: str = ""


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


def torn_sides(silhouette: tuple[Corner, ...] | None) -> tuple[bool, bool, bool, bool]:
    """Which sides (top, right, bottom, left) have an edge of their own: those whose points leave the frame's line."""
    points = silhouette or ()
    # Rounded corners are no torn side.
    across, down = [p for p in points if 0.1 < p[0] < 0.9], [p for p in points if 0.1 < p[1] < 0.9]
    depths = (
        [y for _, y in across if y < 0.3], [1 - x for x, _ in down if x > 0.7],
        [1 - y for _, y in across if y > 0.7], [x for x, _ in down if x < 0.3],
    )  # fmt: skip
    top, right, bottom, left = (any(abs(depth) > 1e-4 for depth in side) for side in depths)
    return top, right, bottom, left


_ROUND = 0.2  # a circle comes as near as .29, in shares of both sides together; a torn sheet's corners much nearer


def is_round(silhouette: tuple[Corner, ...]) -> bool:
    """Whether an edge stays away from all four corners of its frame, as that of a round or oval work does."""
    return min(min(x, 1 - x) + min(y, 1 - y) for x, y in silhouette) > _ROUND
