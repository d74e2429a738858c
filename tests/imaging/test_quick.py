"""The quick functions against numpy's own and exact values."""

import numpy as np
import pytest

from autoprep.imaging import quick
from autoprep.imaging.arrays import AnyArray, Float32

RNG = np.random.default_rng(8)
SHAPES: list[tuple[int, ...]] = [(7,), (5, 6), (4, 5, 3), (2, 3, 4, 3), (0, 3)]


def _positive(shape: tuple[int, ...]) -> Float32:
    return np.exp(RNG.uniform(-7, 3, shape)).astype(np.float32)


@pytest.mark.parametrize("shape", SHAPES)
def test_logarithms_exponentials_and_cube_roots_are_those_of_numpy(shape: tuple[int, ...]) -> None:
    values = _positive(shape)
    exact = values.astype(np.float64)
    found = (quick.log(values), quick.exp(np.log(values)), quick.cube_root(values))
    assert all(one.shape == shape and one.dtype == np.float32 for one in found)
    np.testing.assert_allclose(found[0], np.log(exact), rtol=0, atol=1e-6)
    np.testing.assert_allclose(found[1], exact, rtol=1e-6)
    np.testing.assert_allclose(found[2], np.cbrt(exact), rtol=1e-6)


def test_cube_roots_of_the_ends_and_of_parts_of_a_picture() -> None:
    assert quick.cube_root(np.array([0.0, 1.0, 8.0, 0.001], np.float32)) == pytest.approx([0, 1, 2, 0.1], rel=1e-6)
    picture = _positive((6, 8, 3))
    assert np.array_equal(quick.log(picture[::2, ::-1]), quick.log(picture)[::2, ::-1])


@pytest.mark.parametrize("count", [1, 2, 3, 7, 10, 999, 4096])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_middles_and_quantiles_are_those_of_numpy(count: int, dtype: type) -> None:
    values: AnyArray = (RNG.normal(size=count) * 10).astype(dtype)
    for some in (values, np.round(values), values.reshape(1, -1)):
        assert quick.median(some) == float(np.median(some))
        for share in (0.0, 0.003, 0.1, 0.2, 0.5, 0.85, 0.99, 1.0):
            assert quick.quantile(some, share) == pytest.approx(float(np.quantile(some, share)), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("rows", [1, 2, 5, 12])
def test_quantiles_down_the_columns_are_those_of_numpy(rows: int) -> None:
    values = RNG.normal(size=(rows, 30)).astype(np.float32)
    before = values.copy()
    for share in (0.0, 0.1, 0.75, 0.8, 1.0):
        np.testing.assert_allclose(quick.quantile_down(values, share), np.quantile(values, share, axis=0), rtol=1e-6)
    assert np.array_equal(values, before)


@pytest.mark.parametrize("rows", [12, 13, 23, 60])
def test_quantiles_of_stretches_are_those_of_equal_parts(rows: int) -> None:
    values = RNG.normal(size=(rows, 30)).astype(np.float32)
    parts = np.stack([quick.quantile_down(part, 0.75) for part in np.array_split(values, 12)])
    assert np.array_equal(quick.quantile_of_stretches(values, 12, 0.75), parts)
