"""Colour profiles: tables go before a matrix, and a damaged one costs no photo."""

import io
import struct

import numpy as np
import pytest
from PIL import Image

from autoprep.errors import Unreadable
from autoprep.files.icc import read_grey_profile, read_matrix_profile
from autoprep.files.profiles import colour_model
from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES
from tests.files.test_reading import coded, picture, saved
from tests.profiles import grey_profile, matrix_and_tables, matrix_profile

P3, SRGB = SPACES["display-p3"], SPACES["srgb"]


def test_tables_go_before_a_matrix() -> None:
    """ICC.1:2022, 8.10; lcms reads such a profile so."""
    photo = read_photo(saved("PNG", icc_profile=matrix_and_tables(P3, SRGB)))
    assert photo.facts.warnings == ()
    assert np.abs(photo.linear() - picture() / 255).max() < 2e-3
    assert read_matrix_profile(matrix_and_tables(P3, SRGB)) is None


def test_a_profile_whose_tables_and_matrix_agree_comes_out_as_by_its_matrix() -> None:
    profiles = matrix_and_tables(P3, P3), matrix_profile(P3)
    both, alone = (read_photo(saved("PNG", icc_profile=profile)) for profile in profiles)
    assert np.abs(both.linear() - alone.linear()).max() < 1e-3
    out = io.BytesIO()
    Image.new("RGB", (16, 16), (255, 0, 0)).save(out, "PNG", icc_profile=matrix_and_tables(P3, P3))
    assert read_photo(out.getvalue()).linear()[8, 8] == pytest.approx([1.2249, -0.0420, -0.0196], abs=3e-3)


def para(kind: int, *values: float) -> bytes:
    numbers = (round(value * 65536) for value in values)
    return b"para\0\0\0\0" + struct.pack(f">HH{len(values)}i", kind, 0, *numbers)


@pytest.mark.parametrize(
    "curve",
    [
        para(1, 2.2, 0.0, 0.0),
        para(2, 2.2, 0.0, 0.0, 0.0),
        para(0, 0.0),
        para(0, -1.0),
        para(0, 0.01),
        para(0, 400.0),
        para(3, 2.4, -1.0, 1.0, 0.0, 0.0),
        b"curv\0\0\0\0" + struct.pack(">I2H", 2, 65535, 0),
        b"curv\0\0\0\0" + struct.pack(">I4H", 4, 0, 65535, 0, 65535),
        b"curv\0\0\0\0" + struct.pack(">IH", 1, 0),
    ],
)
def test_a_curve_that_can_not_be_meant_is_told_and_costs_no_photo(curve: bytes) -> None:
    with pytest.raises(Unreadable, match="damaged"):
        read_matrix_profile(matrix_profile(P3, curve))
    photo = read_photo(saved("PNG", icc_profile=matrix_profile(P3, curve)))
    assert "colour profile" in photo.facts.warnings[0]
    assert photo.facts.profile_name == "sRGB (assumed)"
    assert np.abs(coded(photo.linear()) - picture()).max() < 0.01
    with pytest.raises(Unreadable, match="damaged"):
        read_grey_profile(grey_profile(0.0))


@pytest.mark.parametrize(
    ("curve", "codes", "light"),
    [
        (para(0, 2.2), (0.5,), (0.5**2.2,)),
        (para(1, 2.0, 1.25, -0.25), (0.1, 0.2, 0.6), (0.0, 0.0, 0.25)),
        (para(2, 2.0, 1.0, -0.2, 0.3), (0.1, 0.6), (0.3, 0.46)),
        (para(3, 2.0, 0.9, 0.1, 0.3, 0.2), (0.1, 0.5), (0.03, 0.3025)),
        (para(4, 2.0, 0.9, 0.0, 0.3, 0.2, 0.1, 0.05), (0.1, 0.5), (0.08, 0.3025)),
        (b"curv\0\0\0\0" + struct.pack(">I3H", 3, 0, 13107, 65535), (0.25, 0.75), (0.1, 0.6)),
    ],
)
def test_curves_are_those_of_the_standard(curve: bytes, codes: tuple[float, ...], light: tuple[float, ...]) -> None:
    """ICC.1:2022, 10.18, table 68: the functions of types 0 to 4, worked out by hand."""
    parsed = read_matrix_profile(matrix_profile(P3, curve))
    assert parsed is not None
    table = parsed.tables(10_001)[1]
    assert [float(table[round(code * 10_000)]) for code in codes] == pytest.approx(light, abs=2e-3)


def test_a_labs_large_profile_is_read_and_too_large_a_one_is_called_so() -> None:
    def padded(size: int) -> bytes:
        data = P3.profile() + bytes(size)
        return struct.pack(">I", len(data)) + data[4:]

    assert colour_model(padded(6_000_000)) == "RGB"
    with pytest.raises(Unreadable, match=r"has 20\.0 MB; 16\.7 MB are the most"):
        colour_model(padded(20_000_000))
    with pytest.raises(Unreadable, match="no ICC header"):
        colour_model(b"no profile at all" * 20)
