"""Segments that are joined to lines, and lines found in a drawn picture."""

import cv2
import numpy as np
import pytest

from autoprep.correction.outline.lines import corners_in, merge_segments, segments
from autoprep.imaging.arrays import Float64

SHAPE = (400, 500)


def broken(start: tuple[float, float], end: tuple[float, float], parts: int, seed: int = 0) -> Float64:
    """(parts, 4) pieces of a straight line, each with a little noise, a fifth of it missing between them."""
    t = np.linspace(0, 1, parts + 1)
    first, last = t[:-1], t[1:] - 0.2 / parts
    a, b = np.array(start), np.array(end)
    found = np.concatenate([a + (b - a) * first[:, None], a + (b - a) * last[:, None]], axis=1)
    return np.asarray(found + np.random.default_rng(seed).normal(0, 0.2, found.shape))


@pytest.mark.parametrize("end", [(460.0, 60.0), (60.0, 380.0), (300.0, 350.0), (450.0, 45.0)])
def test_pieces_of_a_side_are_one_line(end: tuple[float, float]) -> None:
    """Reference: cv2.fitLine with DIST_L2 through the ends of all pieces."""
    found = broken((40.0, 50.0), end, 5)
    (length, line), *more = merge_segments(found, SHAPE)
    assert not more
    assert length == pytest.approx(float(np.hypot(*(found[:, 2:] - found[:, :2]).T).sum()))
    dx, dy, x, y = cv2.fitLine(found.reshape(-1, 2).astype(np.float32), cv2.DIST_L2, 0, 0.001, 0.001).ravel()
    assert abs(line[:2] @ np.array([-dy, dx])) == pytest.approx(1, abs=1e-6)
    assert line[:2] @ np.array([x, y]) + line[2] == pytest.approx(0, abs=0.05)
    assert np.hypot(*line[:2]) == pytest.approx(1)


def test_longer_pieces_decide_where_a_line_runs() -> None:
    found = np.array([[0.0, 100, 300, 100], [310, 101.5, 340, 101.5]])
    ((_, line),) = merge_segments(found, SHAPE)
    away = abs(line[:2] @ np.array([150.0, 100]) + line[2])
    assert away < 0.2


def test_lines_beside_each_other_stay_two_and_the_longest_comes_first() -> None:
    short, long = broken((40, 50), (240, 50), 3), broken((40, 70), (460, 70), 6, 1)
    merged = merge_segments(np.concatenate([short, long]), SHAPE)
    assert [round(abs(line[2] / line[1])) for _, line in merged] == [70, 50]


def test_short_pieces_found_no_line_but_join_one() -> None:
    bits = broken((40, 50), (160, 50), 10)
    assert merge_segments(bits, SHAPE) == []
    ((length, _),) = merge_segments(np.concatenate([bits, [[170.0, 50, 400, 50]]]), SHAPE)
    assert length > 300
    assert merge_segments(np.empty((0, 4)), SHAPE) == []


def test_the_sides_of_a_drawn_sheet_are_found_and_meet() -> None:
    lab = np.full((*SHAPE, 3), (40, 5, 10), np.float32)
    quad = np.array([[100, 80], [410, 95], [395, 330], [85, 310]])
    cv2.fillPoly(lab, [quad.astype(np.int32)], (92, 0, 2))
    found = segments(cv2.GaussianBlur(lab, (0, 0), 1.0).astype(np.float32))
    lines = [line for _, line in merge_segments(found, SHAPE)]
    for k in range(4):
        ends = np.column_stack([quad[[k, (k + 1) % 4]], [1, 1]])
        assert min(float(np.abs(ends @ line).max()) for line in lines) < 2
    assert corners_in(found, (0.0, 0.0, 500.0, 400.0)) >= 4
    assert corners_in(found, (0.0, 0.0, 60.0, 60.0)) == 0
