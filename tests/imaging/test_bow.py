"""Bent sides: the map that makes them straight, for points, for planes of pixels, and turned."""

import numpy as np
import pytest

from autoprep.domain import Geometry, Side
from autoprep.imaging.arrays import Float64
from autoprep.imaging.bow import PLACES, Bow, curve
from autoprep.imaging.resample import Lens, Warp
from autoprep.pixels import bow_of, followed, in_photo

_AT = np.linspace(0, 1, PLACES)
_ARCH: Side = tuple((0.04 * _AT * (1 - _AT)).tolist())
_SLANT: Side = (0.0, 0.002, 0.005, 0.004, 0.0)
_STRAIGHT: Side = (0.0, 0.0, 0.0, 0.0, 0.0)


def sides(
    top: object = _STRAIGHT, right: object = _STRAIGHT, bottom: object = _STRAIGHT, left: object = _STRAIGHT
) -> Float64:
    return np.array([top, right, bottom, left], np.float64)


def geometry(sides: tuple[object, ...] | None = None, ratio: float = 1.5) -> Geometry:
    corners = ((100.0, 80.0), (700.0, 90.0), (690.0, 480.0), (110.0, 500.0))
    return Geometry(
        photo_px=(800, 600), corners_px=corners, ratio=ratio, ratio_from="corners", lens_k1=-0.01, sides=sides  # type: ignore[arg-type]
    )  # fmt: skip


def test_a_curve_goes_through_its_places() -> None:
    nodes = np.array([0.0, 0.3, -0.1, 0.2, 0.5])
    assert np.polyval(curve(nodes), _AT) == pytest.approx(nodes)


def test_an_edge_that_runs_inward_is_where_the_side_is_taken_from() -> None:
    """The middle of the top is .01 of the height inside; half way down half of that is left, at the bottom nothing."""
    bow = Bow(sides(top=_ARCH), (10.0, 20.0, 400.0, 300.0))
    moved = bow.moved(np.array([[210.0, 20.0], [210.0, 170.0], [210.0, 320.0], [10.0, 20.0]]))
    assert moved.tolist() == pytest.approx(np.array([[210.0, 23.0], [210.0, 171.5], [210.0, 320.0], [10.0, 20.0]]))


@pytest.mark.parametrize(
    ("side", "at", "moves"),
    [
        ("right", (410.0, 170.0), (-4.0, 0.0)),
        ("bottom", (210.0, 320.0), (0.0, -3.0)),
        ("left", (10.0, 170.0), (4.0, 0.0)),
    ],
)
def test_each_side_runs_inward(side: str, at: tuple[float, float], moves: tuple[float, float]) -> None:
    bow = Bow(sides(**{side: _ARCH}), (10.0, 20.0, 400.0, 300.0))
    assert bow.moved(np.array(at)) - at == pytest.approx(np.array(moves))


def test_opposite_sides_that_bend_alike_take_all_between_along() -> None:
    """A sheet that arches: its lines bend as its edges do."""
    bow = Bow(sides(top=_ARCH, bottom=tuple(-v for v in _ARCH)), (0.0, 0.0, 1.0, 1.0))
    for down in (0.0, 0.3, 0.8, 1.0):
        assert bow.moved(np.array([0.5, down])) == pytest.approx([0.5, down + 0.01])


def test_beyond_the_sheet_it_goes_on_as_at_its_edge() -> None:
    bow = Bow(sides(top=_ARCH), (0.0, 0.0, 100.0, 100.0))
    assert bow.moved(np.array([50.0, -5.0])) == pytest.approx([50.0, -4.0])


def test_planes_of_pixels_are_the_same_points() -> None:
    bow = Bow(sides(_ARCH, _SLANT, _SLANT, _ARCH), (12.0, 7.5, 300.0, 220.0))
    matrix = np.array([[9.1, 0.4, 120.0], [-0.3, 8.8, 90.0], [2e-5, -3e-5, 1.0]])
    warp = Warp(matrix, Lens(4000, 3000, -0.02), (15.0, 9.0, 300.0, 210.0), bow)
    x, y = warp.rows(3, 40, (0, 330))
    across, down = np.meshgrid(np.clip(np.arange(330) + 0.5, 15, 300), np.clip(np.arange(3, 40) + 0.5, 9, 210))
    assert np.abs(np.stack([x, y], axis=-1) - warp.source(np.stack([across, down], axis=-1))).max() < 3e-3


@pytest.mark.parametrize("ratio", [1.5, 0.7])
@pytest.mark.parametrize("quarters", [1, 2, 3, -1])
def test_a_turned_work_has_the_same_edge(ratio: float, quarters: int) -> None:
    """The places of the turned frame are those of the other one: turned once clockwise, its top is what was left."""
    one = geometry((_ARCH, _SLANT, _STRAIGHT, tuple(-2 * v for v in _SLANT)), ratio)
    other = one.turned(quarters)
    places = np.random.default_rng(3).uniform(0, 1, (40, 2))
    before = places
    for _ in range(quarters % 4):  # where a place of the turned work was before
        before = np.stack([before[:, 1], 1 - before[:, 0]], axis=1)
    assert in_photo(other, places) == pytest.approx(in_photo(one, before), abs=1e-6)


@pytest.mark.parametrize(("wide", "high"), [(600.0, 400.0), (400.0, 600.0)])
def test_places_are_shares_of_the_longer_side(wide: float, high: float) -> None:
    corners = ((0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high))
    sides = ((0.0, 0.0, 0.01, 0.0, 0.0),) * 4
    flat = Geometry(photo_px=(700, 700), corners_px=corners, ratio=wide / high, ratio_from="corners", sides=sides)
    middles = np.array([[0.5, 0.0], [1.0, 0.5], [0.5, 1.0], [0.0, 0.5]])
    assert in_photo(flat, middles) == pytest.approx(
        np.array([[wide / 2, 6], [wide - 6, high / 2], [wide / 2, high - 6], [6, high / 2]])
    )


def test_sides_are_followed_to_where_they_end() -> None:
    """Corners move with the ends of the sides; what is left bends between them: the edge of the top, which lies nearly
    level in the photo, stands where it stood. Along itself it may slide by less than a pixel."""
    straight = geometry()
    ends = (0.004, 0.008, 0.009, 0.007, 0.002)
    further = followed(straight, (ends, _SLANT, _STRAIGHT, ends))
    assert further.sides is not None
    assert all(side[0] == side[-1] == 0 for side in further.sides)
    asked = straight.model_copy(update={"sides": (ends, _SLANT, _STRAIGHT, ends)})
    along = np.stack([np.linspace(0, 1, 30), np.zeros(30)], axis=1)
    off, before = (np.abs(in_photo(one, along) - in_photo(asked, along)).max(axis=0) for one in (further, straight))
    assert off[0] < 0.6
    assert off[1] < 0.05
    assert before[1] > 3


def test_a_record_without_bent_sides_is_read() -> None:
    kept = geometry().model_dump_json(exclude={"sides"})
    assert bow_of(Geometry.model_validate_json(kept), (0, 0, 1, 1)) is None
