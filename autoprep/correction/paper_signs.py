"""What tells white paper from toned: numbers of the paper, the marks on it and what lies around it, for fitted trees.

Neither lightness nor colour is known in a photo: the camera chose the exposure, and lamp and white balance the tint.
But marks lighter than a sheet prove it to be darker than white; so does a colour that no lamp gives white; black ink
is less dark beside grey paper than beside white; and what lies around was lit by the same lamp.
"""

from typing import NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction.paper import Paper
from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, Bool, Float32, Float64
from autoprep.imaging.colour import LUMINANCE, luminance
from autoprep.imaging.planes import rim_of, small_copy, soft

_LOOK_PX = 720
_RIM = 0.04  # of the shorter side: what the outermost strip shows may be desk
_DARKEST_SHARES, _LIGHTEST_SHARES = (0.001, 0.01, 0.05, 0.1, 0.25), (0.95, 0.98, 0.99, 0.995, 0.998, 0.999)
_GRAIN = 0.06  # nothing is told by how rough a paper is
_OVER = (0.06, 0.1, 0.15, 0.2, 0.3, 0.4)  # natural log above the paper
_PLAIN_PX, _PLAINLY = 7, (0.05, 0.1, 0.2)  # marks as wide as that, not the bright edge beside a line
_LIGHT, _DARK = 0.08, -0.25
_LEAST_PX = 30
_AROUND = (0.05, 0.25, 0.5, 0.75, 0.9, 0.99)


class Around(NamedTuple):
    """What lies around a work in the photo: pixels (N, 3) float32 linear light, and their share of the photo."""

    pixels: Float32
    share: float

    def lightest(self) -> float | None:
        """Luminance that 1 % of it exceed; None where the photo shows hardly any."""
        return float(np.percentile(self.pixels @ LUMINANCE, 99)) if self.is_seen else None

    @property
    def is_seen(self) -> bool:
        """Whether there is enough of it to tell anything by."""
        return self.share > 0.02


def signs(linear: Float32, paper: Paper, around: Around | None) -> Float64:
    """(H, W, 3) float32 linear sRGB of a rectified work, its paper and its surroundings -> (F,) numbers for the trees.

    All lightness is in natural log; colours are two log ratios: red to blue, and green to the mean of both.
    """
    small = soft(small_copy(linear, _LOOK_PX), 0.7)
    rows, cols = small.shape[:2]
    light = paper.log_field(rows, cols) if paper.sheet is None else _resized(paper.sheet.log_light, cols, rows)
    logs, light = quick.log(np.maximum(small, DARKEST)), np.asarray(light, np.float32)
    lit = luminance(quick.exp(light))
    luma = quick.log(np.maximum(luminance(small), DARKEST)) - quick.log(np.maximum(lit, DARKEST))
    inside = ~rim_of(luma.shape, max(2, round(_RIM * min(luma.shape))))
    own = np.log(np.maximum(paper.undimmed_linear(), DARKEST))
    level = float(np.log(max(float(paper.undimmed_linear() @ LUMINANCE), DARKEST)))
    found = [level, *_colour(own), float(paper.sheet is not None), float(paper.ruled)]
    found += [paper.lifted, paper.lighter]
    within = np.sort(luma[inside])
    found += [*np.quantile(within, _DARKEST_SHARES)]
    found += [max(_GRAIN, v) for v in np.quantile(within, _LIGHTEST_SHARES)]
    over = len(within) - np.searchsorted(within, np.array(_OVER, np.float32), side="right")
    found += [*(over / len(within))]
    plain = cv2.erode(luma, np.ones((_PLAIN_PX, _PLAIN_PX), np.uint8))[inside]
    found += [(plain > over).mean() for over in _PLAINLY]
    rest = logs - light
    found += _marks(rest, luma, inside & (luma > _LIGHT)) + _marks(rest, luma, inside & (luma < _DARK))
    beside = _beside(around, level)
    return np.array([*found, *beside, *_from(found[1:3], beside[-4:], beside[0] > 0)], np.float64)


def _resized(plane: Float32, cols: int, rows: int) -> Float32:
    return cast(Float32, cv2.resize(plane, (cols, rows), interpolation=cv2.INTER_LINEAR))


def _colour(logs: Float64 | Float32) -> tuple[float, float]:
    """Red to blue, and green to the mean of both, of (3,) natural logs."""
    red, green, blue = (float(v) for v in logs)
    return red - blue, green - (red + blue) / 2


def _marks(rest: Float32, luma: Float32, where: Bool) -> list[float]:
    """Share, lightness and colour, against the paper, of the marks in a mask; zeros where there are hardly any."""
    if where.sum() < _LEAST_PX:
        return [0.0, 0.0, 0.0, 0.0]
    return [float(where.mean()), quick.median(luma[where]), *_colour(np.median(rest[where], axis=0))]


def _beside(around: Around | None, level: float) -> list[float]:
    """Share of the surroundings, how their lightness spreads against the paper's, and the colour of their lightest
    tenth and of all; zeros where there are none."""
    if around is None or not around.is_seen:
        return [0.0] * (len(_AROUND) + 5)
    logs = np.log(np.maximum(around.pixels, DARKEST))
    luma = np.log(np.maximum(around.pixels @ LUMINANCE, DARKEST))
    spread = np.quantile(luma, _AROUND)
    lightest = logs[luma >= spread[_AROUND.index(0.9)]]
    return [
        around.share,
        *(float(v) for v in spread - level),
        *_colour(np.median(lightest, axis=0)),
        *_colour(np.median(logs, axis=0)),
    ]


def _from(paper: list[float], beside: list[float], seen: bool) -> list[float]:
    """How the paper's colour differs from that of the lightest things around it, and of all: the same in any light."""
    return [own - other if seen else 0.0 for own, other in zip([*paper, *paper], beside, strict=True)]


NAMES = (
    "level", "red to blue", "green", "sheet", "ruled", "lifted", "lighter marks",
    *(f"quantile {q}" for q in (*_DARKEST_SHARES, *_LIGHTEST_SHARES)),
    *(f"over {v}" for v in _OVER), *(f"plainly over {v}" for v in _PLAINLY),
    *(f"{which} marks' {what}" for which in ("light", "dark") for what in ("share", "level", "red to blue", "green")),
    "around", *(f"around quantile {q}" for q in _AROUND),
    *(f"{which} around's {what}" for which in ("lightest", "all") for what in ("red to blue", "green")),
    *(f"{what} from {which} around" for which in ("lightest", "all") for what in ("red to blue", "green")),
)  # fmt: skip
"""What each number is."""
