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


def test_a_field_is_the_sum_of_products_of_legendre_polynomials_in_both_layouts() -> None:
    """Against numpy's own evaluation of a two-dimensional Legendre series."""
    coefficients = np.random.default_rng(3).normal(size=(15, 3))
    orders = [(i, total - i) for total in range(5) for i in range(total + 1)]
    table = np.zeros((5, 5, 3))
    for (across, down), row in zip(orders, coefficients, strict=True):
        table[across, down] = row
    x, y = fields.grid_coordinates(7, 11)
    wanted = np.moveaxis(np.polynomial.legendre.legval2d(x, y, table), 0, -1)
    assert fields.evaluate(coefficients, 7, 11).reshape(-1, 3) == pytest.approx(wanted, abs=2e-6)
    assert pytest.approx(wanted, abs=2e-6) == fields.evaluate_planes(coefficients, 7, 11).T
