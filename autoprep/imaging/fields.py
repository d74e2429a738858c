"""Smooth low-order fields over a picture: two-dimensional Legendre polynomials and robust fits."""

from functools import lru_cache
from typing import cast

import numpy as np
from numpy.polynomial import legendre

from autoprep.imaging.arrays import AnyArray, Float32, Float64


@lru_cache(maxsize=64)
def _orders(degree: int) -> tuple[tuple[int, int], ...]:
    return tuple((i, j) for total in range(degree + 1) for i in range(total + 1) for j in [total - i])


def basis(x: AnyArray, y: AnyArray, degree: int) -> Float64:
    """(N,) and (N,) coordinates in -1..1 -> (N, terms) Legendre products of total degree <= degree."""
    px = legendre.legvander(np.asarray(x, np.float64), degree)
    py = legendre.legvander(np.asarray(y, np.float64), degree)
    terms = np.empty((len(_orders(degree)), len(px)))  # each term lies together, which is faster
    for (i, j), term in zip(_orders(degree), terms, strict=True):
        np.multiply(px[:, i], py[:, j], out=term)
    return terms.T


def fit(x: AnyArray, y: AnyArray, values: AnyArray, weight: AnyArray, degree: int, ridge: float = 1e-4) -> Float64:
    """Weighted least squares of (N, C) values: (terms, C) coefficients.

    The ridge grows with the order of a term and is relative to the total weight: where few samples speak,
    the field stays flat instead of swinging.
    """
    return solve(basis(x, y, degree), values, weight, degree, ridge)


def solve(terms: Float64, values: AnyArray, weight: AnyArray, degree: int, ridge: float = 1e-4) -> Float64:
    """The same from the (N, terms) `basis`, for fits that are repeated with other weights."""
    weighted = terms * np.asarray(weight, np.float64)[:, None]
    orders = np.array([i + j for i, j in _orders(degree)], np.float64)
    penalty = np.diag(ridge * orders**3 * max(float(np.sum(weight)), 1e-9))
    return cast(
        Float64,
        np.linalg.solve(weighted.T @ terms + penalty + 1e-12 * np.eye(len(orders)), weighted.T @ values),
    )


def evaluate(coefficients: Float64, height: int, width: int) -> Float32:
    """(terms, C) coefficients -> (height, width, C) float32 at the centres of a regular grid over -1..1."""
    along, down = _by_axis(coefficients, height, width)
    rows = down @ along.transpose(1, 0, 2).reshape(down.shape[1], -1)
    return np.asarray(rows.reshape(height, width, -1))


def evaluate_planes(coefficients: Float64, height: int, width: int) -> Float32:
    """The same, channel by channel: (C, height * width)."""
    along, down = _by_axis(coefficients, height, width)
    return np.asarray((down @ along.transpose(2, 1, 0)).reshape(along.shape[2], -1))


def _by_axis(coefficients: Float64, height: int, width: int) -> tuple[Float32, Float32]:
    """(width, orders, C) what the terms of each order down come to along a row, and (height, orders) those."""
    terms = coefficients.shape[0]
    degree = int((np.sqrt(8 * terms + 1) - 3) / 2 + 0.5)
    px = legendre.legvander((np.arange(width) + 0.5) / width * 2 - 1, degree)
    py = legendre.legvander((np.arange(height) + 0.5) / height * 2 - 1, degree)
    table = np.zeros((degree + 1, degree + 1, coefficients.shape[1]))
    for (i, j), row in zip(_orders(degree), coefficients, strict=True):
        table[i, j] = row
    return np.tensordot(px, table, (1, 0)).astype(np.float32), py.astype(np.float32)


def grid_coordinates(height: int, width: int) -> tuple[Float64, Float64]:
    """Two (height * width,) arrays: x and y in -1..1 of the cell centres, row by row."""
    x, y = np.meshgrid((np.arange(width) + 0.5) / width * 2 - 1, (np.arange(height) + 0.5) / height * 2 - 1)
    return x.ravel(), y.ravel()
