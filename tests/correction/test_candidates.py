"""Who proposes outlines: each generator by itself, on drawn sheets whose corners are known."""

from collections.abc import Iterable

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import candidates
from autoprep.correction.outline.candidates import GENERATORS, edge_support, propose, quad_around, sample, sample_at
from autoprep.correction.outline.evidence import Evidence, gather
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import overlap, rectangle

SIZE = (450, 600)
SHEET: Float64 = np.array([[130.0, 90], [470, 105], [455, 370], [110, 350]])
SHAPE = SIZE


def photo(quad: Float64 = SHEET) -> Evidence:
    """A light sheet with a few strokes on a brown table."""
    rng, height, width = np.random.default_rng(3), *SIZE
    linear = np.full((height, width, 3), (0.16, 0.10, 0.06), np.float32)
    cv2.fillPoly(linear, [np.round(quad).astype(np.int32)], (0.70, 0.70, 0.68))
    for x in range(220, 380, 24):
        cv2.line(linear, (x, 180), (x + 15, 260), (0.05, 0.05, 0.07), 2)
    linear *= np.exp(rng.normal(0, 0.02, linear.shape)).astype(np.float32)
    return gather(np.asarray(cv2.GaussianBlur(linear, (0, 0), 0.8), np.float32))


def closest(found: Iterable[Float64], quad: Float64) -> float:
    return max((overlap(one, quad) for one in found), default=0.0)


@pytest.mark.parametrize("name", ["edges", "background", "colour", "lines"])
def test_each_generator_proposes_the_sheet(name: str) -> None:
    assert closest(GENERATORS[name](photo()), SHEET) > 0.97


def test_of_a_page_that_the_photo_cuts_the_border_is_a_side() -> None:
    page = np.array([[-20.0, 90], [470, 105], [455, 370], [-20, 350]])
    seen = np.array([[0.0, 90.6], [470, 105], [455, 370], [0, 351]])
    assert closest(GENERATORS["border"](photo(page)), seen) > 0.97
    assert closest(GENERATORS["border"](photo()), SHEET) < 0.9  # a border has to take part


def test_all_proposals_can_be_a_work_and_the_whole_photo_is_the_last() -> None:
    found = propose(photo())
    assert found[-1].source == "whole"
    assert np.array_equal(found[-1].quad, rectangle(600, 450))
    assert {one.source for one in found} >= {"edges", "background", "colour", "lines", "whole"}
    for one in found[:-1]:
        x, y = one.quad.T
        assert abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2 >= candidates.MIN_AREA * 450 * 600
        assert one.quad.min() > -72
        assert one.quad.max() < 672
    for source in GENERATORS:
        own = np.array([one.quad for one in found if one.source == source]).reshape(-1, 8)
        apart = np.abs(own[:, None] - own[None]).max(-1) + 9 * np.eye(len(own))
        assert apart.min(initial=9) >= 2


def lines(*of: tuple[float, float, float, float]) -> list[Float64]:
    """(a, b, c) through two points each."""
    return [np.cross([x0, y0, 1], [x1, y1, 1]) for x0, y0, x1, y1 in of]


TOP, BOTTOM = (0, 90.0, 600, 100), (0, 350.0, 600, 340)
LEFT, RIGHT = (110.0, 0, 130, 450), (470.0, 0, 450, 450)


def test_lines_cross_in_the_corners() -> None:
    (quad,) = candidates._crossings(lines(TOP, BOTTOM), lines(LEFT, RIGHT), SHAPE)
    for corner, ends in zip(quad, ((TOP, LEFT), (TOP, RIGHT), (BOTTOM, RIGHT), (BOTTOM, LEFT)), strict=True):
        for line in lines(*ends):
            assert abs(line @ np.array([*corner, 1.0])) / np.hypot(*line[:2]) < 1e-6


@pytest.mark.parametrize(
    ("across", "down"),
    [
        ((TOP, (0, 350.0, 600, -10)), (LEFT, RIGHT)),  # the two lines across meet between the others
        ((TOP, (0, 120.0, 600, 125)), (LEFT, (170.0, 0, 175, 450))),  # too small
        ((TOP, (0, 700.0, 600, 700)), (LEFT, RIGHT)),  # far below the photo
        ((TOP, TOP), (LEFT, RIGHT)),  # no height
        ((TOP,), (LEFT, RIGHT)),
    ],
    ids=["crossed", "small", "far out", "flat", "one line"],
)
def test_what_can_be_no_sheet_is_none(across: tuple, down: tuple) -> None:  # type: ignore[type-arg]
    assert len(candidates._crossings(lines(*across), lines(*down), SHAPE)) == 0


def test_sides_on_the_border_are_known() -> None:
    quads = np.array([[[0.0, 0], [300, 0], [300, 450], [0, 450]], [[300.0, 9], [600, 20], [600, 449.8], [310, 450]]])
    assert candidates._on_border(quads, SHAPE).tolist() == [[True, False, True, True], [False, True, True, False]]


def test_a_side_is_supported_where_it_lies_on_an_edge() -> None:
    moved = SHEET + np.array([[0, -25], [0, -25], [0, 0], [0, 0]])
    on, beside = edge_support(photo(), np.array([SHEET, moved]))
    assert on.min() > 0.9
    assert beside[0] < 0.2
    assert beside[2] > 0.9


def test_a_polygon_around_a_sheet_loses_its_cut_corners() -> None:
    cut = np.array([[20.0, 0], [100, 0], [100, 60], [0, 60], [0, 15]])
    found = quad_around(cut)
    assert found is not None
    assert closest([found], np.array([[0.0, 0], [100, 0], [100, 60], [0, 60]])) > 0.999
    assert quad_around(np.array([[0.0, 0], [10, 0], [5, 8]])) is None


def test_samples_are_bilinear_at_pixel_centres_and_the_border_repeats() -> None:
    plane: Float32 = np.arange(12, dtype=np.float32).reshape(3, 4)
    points = np.array([[[0.5, 0.5], [1.0, 0.5], [1.5, 1.0], [-7, 0.5], [99, 99]]])
    assert sample(plane, points).tolist() == [[0, 0.5, 3, 0, 11]]
    assert np.array_equal(sample_at(plane, points[..., 0], points[..., 1]), sample(plane, points))


def test_more_points_than_the_library_takes_at_once_are_sampled() -> None:
    plane = np.random.default_rng(1).random((40, 50)).astype(np.float32)
    points = np.random.default_rng(2).uniform(0, 40, (40_000, 2, 2))
    found = sample(plane, points)
    assert found.shape == (40_000, 2)
    assert np.array_equal(found[39_000:], sample(plane, points[39_000:]))
    assert sample(plane, points[:0]).shape == (0, 2)
