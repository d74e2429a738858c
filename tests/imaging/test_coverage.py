"""The share of each pixel that a polygon covers."""

import cv2
import numpy as np
import pytest

from autoprep.imaging.arrays import Float64
from autoprep.imaging.coverage import coverage


def box(x0: float, y0: float, x1: float, y1: float) -> Float64:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


@pytest.mark.parametrize("part", [0.0, 0.25, 0.5, 0.8])
def test_level_and_upright_edges_lie_where_they_are_to_a_fraction_of_a_pixel(part: float) -> None:
    mask = coverage(box(10 + part, 8 + part, 50, 32), (60, 40)) / 255
    assert mask[20, 9:12] == pytest.approx([0, 1 - part, 1], abs=0.003)
    assert mask[7:10, 30] == pytest.approx([0, 1 - part, 1], abs=0.003)
    assert mask[8, 10] == pytest.approx((1 - part) ** 2, abs=0.003)
    assert mask[20, 49:51] == pytest.approx([1, 0])


@pytest.mark.parametrize("sense", [1, -1])
def test_a_torn_sheet_covers_its_own_area(sense: int) -> None:
    """The area of a polygon by the sum of its edges' moments (the shoelace formula)."""
    rng = np.random.default_rng(3)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    reach = 150 + rng.normal(0, 2, 400)
    points = np.stack([300 + 1.6 * reach * np.cos(turn), 200 + reach * np.sin(turn)], axis=1)[::sense]
    x, y = points.T
    area = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    mask = coverage(points, (600, 400)) / 255
    assert mask.sum() == pytest.approx(area, rel=1e-4)
    fine = np.zeros((400 * 16, 600 * 16), np.uint8)
    cv2.fillPoly(fine, [np.round(points * 16 - 0.5).astype(np.int32)], 1)
    sampled = cv2.resize(fine.astype(np.float32), (600, 400), interpolation=cv2.INTER_AREA)
    assert np.abs(mask - sampled).max() < 0.12  # the edge of the sampled one is a sixteenth of a pixel too far out


def test_what_lies_outside_of_the_picture_changes_nothing_in_it() -> None:
    assert (coverage(box(-30, -40, 90, 70), (60, 40)) == 255).all()
    assert (coverage(box(70, 5, 90, 30), (60, 40)) == 0).all()
    assert (coverage(box(-30, 5, -2, 30), (60, 40)) == 0).all()
    assert (coverage(box(5, -30, 20, -2), (60, 40)) == 0).all()
    half = coverage(box(-30, -40, 30.5, 70), (60, 40)) / 255
    assert half[:, :30].min() == 1
    assert half[:, 30] == pytest.approx(0.5, abs=0.003)
    assert half[:, 31:].max() == 0


def test_bands_join_without_a_seam() -> None:
    points = box(3.3, 2.6, 36.7, 597.4)
    mask = coverage(points, (40, 600)) / 255
    assert mask.sum() == pytest.approx(33.4 * 594.8, rel=5e-4)  # of whole codes
    assert np.abs(mask[10:590] - mask[10]).max() < 0.005


def test_columns_that_no_edge_passes_go_on_as_the_row_was() -> None:
    """Rows with an edge in few columns, and with jags that lie apart, against a picture of ever finer pixels."""
    points = np.array([[5.3, 1.7], [52.6, 2.2], [31.4, 20.5], [52.9, 37.8], [6.1, 38.3], [20.2, 30.0]])
    mask = coverage(points, (60, 40)) / 255
    fine = coverage(points * 32, (60 * 32, 40 * 32)) / 255
    assert mask == pytest.approx(fine.reshape(40, 32, 60, 32).mean(axis=(1, 3)), abs=0.004)
