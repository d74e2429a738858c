"""What several corrections ask of a picture, on planes whose answers are known."""

import numpy as np
import pytest

from autoprep.imaging.planes import (
    box_of,
    carried,
    parts_of,
    rim_of,
    slope_of,
    small_copy,
    soft,
    soft_cells,
    soft_on_small,
    weighted,
)


def test_the_slope_of_a_plane_is_its_change_per_pixel() -> None:
    rows, cols = np.mgrid[0:40, 0:60].astype(np.float32)
    assert slope_of(3 * cols + 4 * rows)[5:-5, 5:-5] == pytest.approx(5.0, abs=1e-4)


def test_the_rim_is_as_broad_as_it_is_said() -> None:
    rim = rim_of((20, 30, 3), 4)
    assert rim.shape == (20, 30)
    assert rim.sum() == 20 * 30 - 12 * 22
    assert rim[3, 15]
    assert not rim[4, 15]


@pytest.mark.parametrize(
    ("size", "small"), [((1200, 900), (480, 360)), ((300, 200), (300, 200)), ((4, 900), (16, 480))]
)
def test_a_small_copy_is_never_larger_but_where_it_would_be_a_line(
    size: tuple[int, int], small: tuple[int, int]
) -> None:
    copy = small_copy(np.full((*size, 3), 0.25, np.float32), 480)
    assert copy.shape == (*small, 3)
    assert copy == pytest.approx(0.25)


def test_a_wide_blur_on_a_small_copy_comes_to_the_same() -> None:
    plane = soft(np.random.default_rng(2).normal(0, 1, (300, 400)).astype(np.float32), 6.0)
    assert np.abs(soft_on_small(plane, 20.0) - soft(plane, 20.0))[60:-60, 60:-60].max() < 0.03 * float(plane.std())


@pytest.mark.parametrize("shape", [(120, 82), (120, 82, 3), (9, 130, 3)])
@pytest.mark.parametrize("sigma", [0.8, 6.0, 12.0, 30.0])
def test_a_blur_by_products_is_that_of_the_library(shape: tuple[int, ...], sigma: float) -> None:
    """Its borders too, from which it is mirrored many times where it is wider than the plane."""
    plane = np.random.default_rng(3).normal(0, 1, shape).astype(np.float32)
    before = plane.copy()
    assert soft_cells(plane, sigma) == pytest.approx(soft(plane, sigma), abs=2e-6)
    assert np.array_equal(plane, before)


def test_each_channel_has_its_own_weight() -> None:
    picture = np.random.default_rng(4).normal(0, 1, (5, 7, 3)).astype(np.float32)
    weights = np.array([1.0, 1.6, -0.5], np.float32)
    assert np.array_equal(weighted(picture, weights), picture * weights)


@pytest.mark.parametrize(("connectivity", "sizes"), [(8, [13, 7]), (4, [13, 4, 3])])
def test_the_parts_of_a_mask_are_numbered_and_counted(connectivity: int, sizes: list[int]) -> None:
    mask = np.zeros((4, 5), bool)
    mask[0, :4] = mask[1:, 4] = True
    labels, counts = parts_of(mask, connectivity)
    assert counts.tolist() == sizes
    assert [int((labels == k).sum()) for k in range(len(sizes))] == sizes
    assert np.array_equal(labels > 0, mask)
    assert box_of(mask) == (0, 0, 5, 4)
    assert box_of(labels == 1) == ((0, 0, 5, 4) if connectivity == 8 else (0, 0, 4, 1))


def test_values_are_carried_over_gaps_and_kept_where_they_are_known() -> None:
    """A plane that falls from left to right, of which a stretch in the middle is hidden under something else."""
    truth = np.repeat(np.linspace(0, 1, 90, dtype=np.float32)[None, :, None], 60, axis=0).repeat(3, axis=2)
    known = np.ones((60, 90), bool)
    known[20:40, 30:50] = False
    seen = np.where(known[..., None], truth, 9.0).astype(np.float32)
    found = carried(seen, known, (1.0, 3.0, 9.0, 20.0), (0.3, 0.7))
    assert np.abs(found - truth)[known].max() < 0.06
    assert np.abs(found - truth)[~known].max() < 0.12
