"""Lines through points of which some lie off, against the library's own fits and tables."""

import cv2
import numpy as np
import pytest

from autoprep.imaging.line_fits import robust_lines


@pytest.mark.parametrize("angle", [0.0, 37.0, 90.0, 179.0])
def test_a_line_is_the_librarys_where_all_points_speak(angle: float) -> None:
    """Reference: cv2.fitLine with DIST_L2, the plain least squares of the distances across the line."""
    rng = np.random.default_rng(3)
    way = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    points = 200 + np.linspace(-90, 90, 150)[:, None] * way
    (found,) = robust_lines([points])
    line = found.line
    dx, dy, x, y = cv2.fitLine(points.astype(np.float32), cv2.DIST_L2, 0, 0.001, 0.001).ravel()
    assert abs(abs(line[:2] @ np.array([-dy, dx])) - 1) < 1e-6
    assert abs(line[:2] @ np.array([x, y]) + line[2]) < 1e-3
    assert abs(np.hypot(*line[:2]) - 1) < 1e-12
    assert found.relative.min() == 1
    assert found.residual_px < 1e-9
    noisy = points + rng.normal(0, 0.5, points.shape)
    (found,) = robust_lines([noisy])
    assert float(np.abs(points @ found.line[:2] + found.line[2]).max()) < 0.2
    # The middle of |N(0, 1)| is .6745 (tables of the normal distribution).
    assert found.residual_px == pytest.approx(0.5 * 0.6745, rel=0.25)


def test_points_off_the_line_hardly_count() -> None:
    points = np.column_stack([np.linspace(0, 300, 100), np.full(100, 50.0)])
    other = np.arange(100) % 5 == 2
    points[other] += (0.0, 12.0)
    (found,) = robust_lines([points])
    assert float(np.abs(points[~other] @ found.line[:2] + found.line[2]).max()) < 0.05
    assert found.relative[~other].min() > 0.9
    assert found.relative[other].max() < 0.01


def test_weights_decide_between_two_lines() -> None:
    points = np.column_stack([np.tile(np.linspace(0, 300, 60), 2), np.repeat([50.0, 58.0], 60)])
    (found,) = robust_lines([points], [np.repeat([1.0, 9.0], 60)])
    assert abs(found.line[:2] @ np.array([150.0, 58.0]) + found.line[2]) < 1


def test_lines_of_different_numbers_of_points_know_nothing_of_each_other() -> None:
    rng = np.random.default_rng(8)
    clouds = [np.column_stack([np.linspace(0, 200, n), rng.normal(40, 1, n)]) for n in (12, 150, 61)]
    weights = [rng.uniform(0.2, 1, len(cloud)) for cloud in clouds]
    for k, found in enumerate(robust_lines(clouds, weights)):
        (alone,) = robust_lines([clouds[k]], [weights[k]])
        assert np.allclose(found.line, alone.line, atol=1e-12)
        assert np.allclose(found.relative, alone.relative, atol=1e-12)
        assert len(found.relative) == len(clouds[k])
        assert found.residual_px == pytest.approx(alone.residual_px, rel=1e-9)


def test_no_points_give_no_line() -> None:
    assert robust_lines([]) == []
