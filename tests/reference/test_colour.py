"""Colour arithmetic against published values."""

from pathlib import Path

import numpy as np
import pytest
from skimage import color as skcolor

from autoprep.imaging.arrays import Float64
from autoprep.imaging.colour import SRGB_TO_XYZ, ciede2000, lab_fast, lab_from_linear, luminance_of_lightness
from autoprep.imaging.transfer import encode_fast, linear_to_srgb, srgb_to_linear

ROWS = [
    [float(cell) for cell in line.split("\t")[:7]]
    for line in (Path(__file__).parent.parent / "data" / "ciede2000_sharma34.tsv").read_text().splitlines()
    if line and line[0].isdigit()
]


def linear_from_lab(lab: Float64) -> Float64:
    """(..., 3) CIE L*a*b* (CIE 15, D65) -> (..., 3) linear sRGB, not clipped."""
    fy = (lab[..., 0] + 16) / 116
    cubic = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    ratio = np.where(cubic > 6 / 29, cubic**3, (cubic - 4 / 29) * 3 * (6 / 29) ** 2)
    linear: Float64 = (ratio * SRGB_TO_XYZ.sum(axis=1)) @ np.linalg.inv(SRGB_TO_XYZ).T
    return linear


def _pair(row: list[float]) -> tuple[list[float], list[float], float]:
    return row[:3], row[3:6], row[6]


def test_there_are_all_34_rows() -> None:
    assert len(ROWS) == 34


@pytest.mark.parametrize("row", ROWS, ids=[f"row{number}" for number in range(1, len(ROWS) + 1)])
def test_ciede2000_published_rows(row: list[float]) -> None:
    """Sharma, Wu, Dalal, Color Res. Appl. 30(1):21-30 (2005), table 1."""
    one, two, expected = _pair(row)
    assert float(ciede2000(np.array(one), np.array(two))) == pytest.approx(expected, abs=1e-4)
    assert float(ciede2000(np.array(two), np.array(one))) == pytest.approx(expected, abs=1e-4)


def test_ciede2000_agrees_with_a_reference_library() -> None:
    """scikit-image, skimage.color.deltaE_ciede2000."""
    rng = np.random.default_rng(1)
    one, two = rng.uniform([0, -100, -100], [100, 100, 100], (2, 500, 3))
    assert np.allclose(ciede2000(one, two), skcolor.deltaE_ciede2000(one, two), atol=1e-8)  # type: ignore[no-untyped-call]


@pytest.mark.parametrize(
    ("code", "linear"),
    [(1, 0.00030353), (10, 0.00303527), (11, 0.00334654), (118, 0.181164), (128, 0.215861), (188, 0.502886)],
)
def test_srgb_worked_values(code: int, linear: float) -> None:
    """IEC 61966-2-1, worked with its constants 0.04045, 12.92, 0.055, 1.055, 2.4."""
    assert float(srgb_to_linear(np.array(code / 255))) == pytest.approx(linear, abs=6e-7)
    assert float(linear_to_srgb(np.array(linear))) * 255 == pytest.approx(code, abs=1e-3)


@pytest.mark.parametrize(
    ("rgb", "d65", "d50"),
    [
        ((1, 0, 0), (53.237, 80.090, 67.203), (54.291, 80.805, 69.891)),
        ((0, 1, 0), (87.736, -86.182, 83.187), (87.819, -79.271, 80.995)),
        ((0, 0, 1), (32.301, 79.195, -107.856), (29.568, 68.287, -112.030)),
    ],
)
def test_lab_of_the_primaries(rgb: tuple[int, ...], d65: tuple[float, ...], d50: tuple[float, ...]) -> None:
    """Worked with the matrices of CSS Color 4 (W3C) and checked there against lcms; D50 through Bradford."""
    assert lab_from_linear(np.array(rgb, float)) == pytest.approx(d65, abs=0.01)
    assert lab_from_linear(np.array(rgb, float), white="D50") == pytest.approx(d50, abs=0.01)


def test_greys_are_neutral_and_mid_grey_is_where_it_belongs() -> None:
    """128-grey is L* 53.585; code 119 is L* 50.034 (worked from IEC 61966-2-1 and CIE 15)."""
    for code, lightness in ((128, 53.585), (119, 50.034)):
        lab = lab_from_linear(np.repeat(srgb_to_linear(np.array(code / 255)), 3))
        assert lab == pytest.approx((lightness, 0, 0), abs=1e-3)


def test_lab_round_trip_and_lightness() -> None:
    lab = np.array([[96.5, 0, 0], [50, 20, -30], [5, 1, 1]])
    assert np.allclose(lab_from_linear(linear_from_lab(lab)), lab, atol=1e-9)
    assert luminance_of_lightness(50) == pytest.approx(0.18418651851244416)


def test_fast_encoding_follows_the_formula() -> None:
    linear = np.linspace(-0.1, 1.2, 30_000, dtype=np.float32).reshape(100, 100, 3)
    assert np.abs(encode_fast(linear) - linear_to_srgb(linear)).max() < 1.2e-5


def test_unknown_white_is_refused() -> None:
    with pytest.raises(ValueError, match="white"):
        lab_from_linear(np.zeros(3), white="A")


def test_the_fast_lab_is_the_exact_one() -> None:
    rng = np.random.default_rng(9)
    linear = rng.uniform(0, 1, (40, 50, 3)).astype(np.float32)
    assert lab_fast(linear) == pytest.approx(lab_from_linear(linear), abs=0.02)
