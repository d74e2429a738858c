"""Proportion and print sizes against published equations, standards and worked examples."""

import numpy as np
import pytest

from autoprep.correction.perspective import focal_length_px, proportion, ratio_range
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import area, clipped, homography, order_corners, project, rectangle
from autoprep.imaging.resample import Lens
from autoprep.rendering.layout import mm_to_px
from tests.overlap import overlap_in_frame

# A4 landscape seen by a 4032 x 3024 camera of f = 3000 px, turned by 25, -20 and 5 degrees: an exact projection,
# worked with Zhang & He, "Whiteboard scanning and image enhancement", MSR-TR-2003-39, eq. 20.
PHOTO = (4032, 3024)
CORNERS = np.array([[1045.96, 625.54], [3077.40, 980.63], [2655.28, 2096.19], [910.83, 2065.28]])
A4 = 297 / 210


def test_aspect_ratio_worked_example() -> None:
    found = proportion(CORNERS, PHOTO)
    assert found.source == "corners"
    assert found.ratio == pytest.approx(1.41429, abs=5e-4)
    assert found.focal_px == pytest.approx(3000, abs=1)


def test_aspect_ratio_with_the_focal_length() -> None:
    found = proportion(CORNERS, PHOTO, focal_px=3000)
    assert found.source == "corners and focal length"
    assert found.ratio == pytest.approx(A4, abs=1e-4)


def test_a_known_size_wins() -> None:
    assert proportion(CORNERS, PHOTO, 3000, (300.0, 200.0)).ratio == 1.5


def test_aspect_ratio_under_corner_noise() -> None:
    """One pixel of Gaussian corner noise: 95th percentile of the ratio error at most 0.4 % at this tilt (our own
    computation with the published equation)."""
    rng = np.random.default_rng(4)
    ratios = [proportion(CORNERS + rng.normal(0, 1, (4, 2)), PHOTO, 3000).ratio for _ in range(400)]
    assert np.percentile(np.abs(np.array(ratios) / A4 - 1), 95) < 0.004


def tilted(ratio: float, degrees: float, focal_px: float) -> Float64:
    """A rectangle's corners in the middle of the photo, by the pinhole model, where the camera leans over it."""
    flat = (rectangle(ratio, 1.0) - [ratio / 2, 0.5]) * np.array([1, np.cos(np.radians(degrees))])
    depth = 2.2 - (rectangle(ratio, 1.0)[:, 1] - 0.5) * np.sin(np.radians(degrees))
    return np.asarray(focal_px * flat / depth[:, None] + np.array(PHOTO) / 2)


@pytest.mark.parametrize("mm", [24, 27, 35])
def test_a_usual_lens_tells_the_proportion_where_the_file_does_not(mm: float) -> None:
    """Where one pair of sides is parallel the corners can't tell the lens (k2 or k3 = 1); side lengths alone are off by
    1 / sqrt(cos), 3 % at 20 degrees and more by the perspective."""
    focal_px = focal_length_px(PHOTO, mm)
    assert focal_px is not None
    corners = tilted(1.4, 20.0, focal_px)
    assert proportion(corners, PHOTO, focal_px).ratio == pytest.approx(1.4, rel=1e-6)
    found = proportion(corners, PHOTO)
    assert found.source == "corners and a usual focal length"
    assert found.focal_px is None
    assert found.ratio == pytest.approx(1.4, rel=0.035)
    low, high = ratio_range(corners, PHOTO)
    assert low < 1.4 < high < 1.13 * low
    assert ratio_range(corners, PHOTO, focal_px) == (proportion(corners, PHOTO, focal_px).ratio,) * 2


def test_square_on_view_needs_no_lens() -> None:
    """With opposite sides parallel the equation is degenerate (k2 = k3 = 1)."""
    found = proportion(rectangle(1400, 1000) + 300, PHOTO)
    assert found.source == "corners and a usual focal length"
    assert found.ratio == pytest.approx(1.4)
    assert proportion(rectangle(1400, 1000) + 300, PHOTO, 3000).ratio == pytest.approx(1.4)


def test_focal_length_from_the_35_mm_equivalent() -> None:
    """The equivalent is defined on the diagonal of the 36 x 24 mm frame, 43.27 mm (CIPA DCG-001, from memory)."""
    assert focal_length_px((4032, 3024), 43.2666) == pytest.approx(5040, rel=1e-4)
    assert focal_length_px((4032, 3024), None) is None


@pytest.mark.parametrize(
    ("mm", "ppi", "px"),
    [
        ((210, 297), 300, (2480, 3508)),
        ((297, 420), 300, (3508, 4961)),
        ((420, 594), 300, (4961, 7016)),
        ((148, 210), 300, (1748, 2480)),
        ((210, 297), 240, (1984, 2806)),
        ((203.2, 254), 300, (2400, 3000)),
        ((210 + 6, 297 + 6), 300, (2551, 3579)),
        ((297 + 6, 420 + 6), 300, (3579, 5031)),
    ],
)
def test_print_sizes(mm: tuple[float, float], ppi: float, px: tuple[int, int]) -> None:
    """ISO 216 sizes in mm; px = mm / 25.4 x ppi, rounded. 3 mm bleed is common practice, no source."""
    assert tuple(mm_to_px(side, ppi) for side in mm) == px


def test_jaccard_index_of_a_uniform_offset() -> None:
    """On a page of 1000 px an offset of 2.5 px all round is 0.99, 13 px is 0.95 (computed from the definition)."""
    page = rectangle(1000, 1000)
    for offset, expected in ((2.5, 0.990), (3.8, 0.985), (13, 0.949)):
        inner = np.array(
            [[offset, offset], [1000 - offset, offset], [1000 - offset, 1000 - offset], [offset, 1000 - offset]]
        )
        assert overlap_in_frame(page, inner) == pytest.approx(expected, abs=1e-3)


def test_what_two_polygons_share_has_an_area_even_where_they_share_nothing() -> None:
    one = rectangle(4, 2)
    shared = {shift: area(clipped(one + np.array([shift, 0]), one)) for shift in (0, 1, 3, 4, 5, 40)}
    assert shared == pytest.approx({0: 8, 1: 6, 3: 2, 4: 0, 5: 0, 40: 0})


def test_homography_maps_corners_exactly_and_order_is_clockwise_from_the_top_left() -> None:
    matrix = homography(rectangle(500, 300), CORNERS)
    assert np.allclose(project(matrix, rectangle(500, 300)), CORNERS, atol=1e-8)
    for shift in range(4):
        assert np.allclose(order_corners(np.roll(CORNERS, shift, axis=0)), CORNERS)
        assert np.allclose(order_corners(np.roll(CORNERS[::-1], shift, axis=0)), CORNERS)


def test_lens_model_inverts() -> None:
    lens = Lens(4032, 3024, 0.04)
    points = np.random.default_rng(0).uniform([0, 0], [4032, 3024], (200, 2))
    assert np.abs(lens.ideal(lens.seen(points)) - points).max() < 1e-3
