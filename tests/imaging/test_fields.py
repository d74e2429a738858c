"""Smooth fields: a weak fit flattens what bends, and leaves the level alone."""

import numpy as np
import pytest

from autoprep.imaging import fields


@pytest.mark.parametrize("ridge", [1e-4, 0.1, 10.0])
def test_the_ridge_takes_from_slopes_and_nothing_from_the_level(ridge: float) -> None:
    x, y = fields.grid_coordinates(12, 16)
    values = np.stack([np.full_like(x, 5.0), 5.0 + x], axis=1)
    found = fields.evaluate(fields.fit(x, y, values, np.ones(len(x)), 2, ridge), 12, 16)
    assert found[..., 0] == pytest.approx(5.0, abs=1e-5)
    assert found[..., 1].mean() == pytest.approx(5.0, abs=1e-5)
    slope = np.ptp(found[..., 1]) / np.ptp(x)
    assert slope == pytest.approx(1 / (1 + ridge / (x**2).mean()), rel=1e-3)  # least squares with one term of order 1
