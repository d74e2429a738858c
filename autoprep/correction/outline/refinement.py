"""From a rough quad to sub-pixel corners: a line is fitted to the edge near each side, and the lines are crossed."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

import numpy as np

from autoprep.correction.outline.candidates import sample_at
from autoprep.correction.outline.side_fits import Side, Surface, fit_sides
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import intersect, line_through


@dataclass(frozen=True)
class Refined:
    """A refined quad: (4, 2) corners, per-side support 0..1, and the edge points that carry each side's line.

    widths_px: how wide each side's edge is; a sheet's is as sharp as the photo, a shadow's is not.
    """

    quad: Float64
    support: Float64
    points: tuple[Float64, Float64, Float64, Float64]
    residual_px: float
    widths_px: Float64


Sides = tuple[bool, bool, bool, bool]
_NONE: Sides = (False, False, False, False)


class _Plane:
    """A picture in L*a*b*."""

    def __init__(self, lab: Float32) -> None:
        self._lab, self.shape = lab, (lab.shape[0], lab.shape[1])

    def sample(self, x: Float64, y: Float64) -> Float32:
        return np.asarray(sample_at(self._lab, x, y), np.float32)


def refine(
    lab: Float32 | Surface,
    quad: Float64,
    reach: float = 0.012,
    rounds: int = 2,
    prior: float = 0.006,
    held: Sides = _NONE,
    is_enough: Callable[[Float64], bool] | None = None,
) -> Refined:
    """Fit a line to the strongest coherent edge near each side, and cross the lines.

    lab: (H, W, 3) float32 L*a*b*, or what gives it at points; quad in the same picture's coordinates; reach and prior
    are shares of the diagonal: how far to look, and how far an edge may stand from the rough side before it must be
    stronger to win.
    held: sides that stay where they are, because the photo's border cuts the work there.
    is_enough: asked of the quad before each round; where it says so, that is the result.
    """
    surface = _Plane(lab) if isinstance(lab, np.ndarray) else lab
    found = _unrefined(np.asarray(quad, np.float64))
    for turn in range(rounds):
        quad = found.quad
        if is_enough is not None and is_enough(quad):
            break
        diagonal = float(np.linalg.norm(quad[0] - quad[2]) + np.linalg.norm(quad[1] - quad[3])) / 2
        reach_px = max(3.0, reach * diagonal * 0.5**turn)
        prior_px = max(1.5, prior * diagonal * 0.6**turn)
        sides = _sides(surface, quad, reach_px, prior_px, held)
        moved = np.array([intersect(sides[i - 1].line, sides[i].line) for i in range(4)])
        if not np.isfinite(moved).all() or np.linalg.norm(moved - quad, axis=1).max() > 3 * reach_px:
            break
        found = Refined(
            moved,
            np.array([side.support for side in sides]),
            cast(tuple[Float64, Float64, Float64, Float64], tuple(side.points for side in sides)),
            float(np.mean([side.residual_px for side in sides])),
            np.array([side.width_px for side in sides]),
        )
    return found


def _unrefined(quad: Float64) -> Refined:
    none = np.empty((0, 2))
    return Refined(quad, np.zeros(4), (none, none, none, none), 0.0, np.full(4, 6.0))


def _sides(surface: Surface, quad: Float64, reach_px: float, prior_px: float, held: Sides) -> list[Side]:
    """Each side on the edge near it; where it stands, if it is held or no edge is there."""
    ends = np.stack([quad, np.roll(quad, -1, axis=0)], axis=1)
    free = [i for i in range(4) if not held[i]]
    found = dict(zip(free, fit_sides(surface, ends[free], reach_px, prior_px), strict=True))
    return [found.get(i) or Side(line_through(*ends[i]), 0.0, np.empty((0, 2)), 0.0) for i in range(4)]
