"""Byte caps and minima: the best that fits, or a plain refusal."""

import io
from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from PIL import Image

from autoprep.errors import CannotMeet
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.fitting import Limits, fit_bytes
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray, UInt8

PICTURE: UInt8 = np.random.default_rng(4).integers(0, 255, (300, 400, 3)).astype(np.uint8)


@dataclass(frozen=True)
class Made:
    """A picture that is made anew for every size."""

    pixels: AnyArray

    @property
    def size_px(self) -> tuple[int, int]:
        return self.pixels.shape[1], self.pixels.shape[0]


def make(scale: float) -> Made:
    return Made(cv2.resize(PICTURE, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))


def coded(pixels: AnyArray, quality: int) -> bytes:
    return encode(pixels, "jpeg", Carried(icc=SPACES["srgb"].profile()), How(quality))


def write(made: Made, quality: int) -> bytes:
    return coded(made.pixels, quality)


def test_a_cap_is_met_at_the_highest_quality_that_fits() -> None:
    cap = len(coded(PICTURE, 75)) + 10
    fitted = fit_bytes(make, 95, Limits(most=cap), write)
    assert len(fitted.data) <= cap
    assert fitted.quality >= 75
    assert len(coded(PICTURE, fitted.quality + 1)) > cap
    assert "quality" in fitted.notes[0]


def test_below_the_least_quality_the_picture_shrinks_and_says_so() -> None:
    cap = int(len(coded(PICTURE, 80)) * 0.6)
    fitted = fit_bytes(make, 95, Limits(most=cap, least_quality=80, may_shrink=True), write)
    with Image.open(io.BytesIO(fitted.data)) as image:
        assert image.width < 400
        assert image.width / image.height == pytest.approx(4 / 3, abs=0.01)
    assert fitted.quality >= 80
    assert "px" in fitted.notes[0]


def test_what_can_not_be_met_is_said() -> None:
    with pytest.raises(CannotMeet, match="size is fixed"):
        fit_bytes(make, 95, Limits(most=2000), write)
    with pytest.raises(CannotMeet, match="cannot be met"):
        fit_bytes(make, 95, Limits(most=2000, may_shrink=True), write)
    with pytest.raises(CannotMeet, match="cannot be reached"):
        fit_bytes(make, 95, Limits(least=10_000_000), write)


def test_a_minimum_is_reached_by_quality() -> None:
    least = len(coded(PICTURE, 96))
    fitted = fit_bytes(make, 90, Limits(least=least), write)
    assert len(fitted.data) >= least
    assert 90 < fitted.quality <= 96


@pytest.mark.parametrize(
    ("most", "scale", "times"), [(1_000_000, 1.0, 7), (300_000, 0.715, 8), (90_000, None, 3), (170_000, 0.54, 8)]
)
def test_a_cap_takes_few_files(most: int, scale: float | None, times: int) -> None:
    """Of a large picture in AVIF each takes five seconds, and a job has two minutes."""
    written = list[tuple[int, int]]()

    def counted(made: Made, quality: int) -> bytes:
        written.append((made.size_px[0], quality))
        return bytes(round(530_000 * (made.size_px[0] / 400) ** 2 * quality / 60))

    limits = Limits(most=most, least_quality=60, may_shrink=True)
    if scale is None:
        with pytest.raises(CannotMeet, match=r"cannot be met: at quality 60 .* half its size"):
            fit_bytes(make, 92, limits, counted)
        assert written[-1] == (200, 60)
    else:
        fitted = fit_bytes(make, 92, limits, counted)
        assert fitted.picture.size_px[0] == pytest.approx(400 * scale, abs=2)
    assert len(written) <= times
    assert len(set(written)) == len(written)


def test_a_minimum_takes_few_files() -> None:
    written = list[int]()

    def counted(_made: Made, quality: int) -> bytes:
        written.append(quality)
        return bytes(quality * 1000)

    assert fit_bytes(make, 60, Limits(least=83_000), counted).quality == 83
    assert len(written) <= 8


def jumps(_made: Made, quality: int) -> bytes:
    """A format that begins to lose something below quality 90."""
    return bytes(900_000 if quality >= 90 else 300_000)


@pytest.mark.parametrize("quality", [95, 80])
@pytest.mark.parametrize("shrinks", [False, True])
def test_a_minimum_holds_beside_a_maximum_and_what_lies_between_is_said(quality: int, shrinks: bool) -> None:
    with pytest.raises(CannotMeet, match=r"^450 to 500 kB cannot be met: .* more$"):
        fit_bytes(make, quality, Limits(most=500_000, least=450_000, may_shrink=shrinks), jumps)
    assert len(fit_bytes(make, quality, Limits(most=500_000, least=250_000), jumps).data) == 300_000


def test_quantisation_tables_follow_the_published_formula() -> None:
    """ITU-T T.81 Annex K, tables K.1 and K.2, scaled by the Independent JPEG Group's rule."""
    # First rows and a few of the table's entries, in zigzag-free order.
    luma_row, chroma_row = [16, 11, 10, 16, 24, 40, 51, 61], [17, 18, 24, 47, 99, 99, 99, 99]
    for quality in (30, 50, 75, 90, 95):
        scale = 5000 / quality if quality < 50 else 200 - 2 * quality
        with Image.open(io.BytesIO(coded(PICTURE, quality))) as image:
            tables = image.quantization  # type: ignore[attr-defined]
            for table, row in ((tables[0], luma_row), (tables[1], chroma_row)):
                expected = [int(np.clip((value * int(scale) + 50) // 100, 1, 255)) for value in row]
                assert list(table[:8]) == expected


def test_a_red_hairline_survives_4_4_4() -> None:
    """Colour on one-pixel lines: CIEDE2000 of at most 1 at quality 95 without chroma subsampling."""
    from autoprep.imaging.colour import ciede2000, lab_from_linear
    from autoprep.imaging.transfer import srgb_to_linear

    picture = np.full((64, 64, 3), 255, np.uint8)
    picture[:, 31] = (220, 20, 20)
    with Image.open(io.BytesIO(coded(picture, 95))) as image:
        back = np.asarray(image)
    labs = [lab_from_linear(srgb_to_linear(p[:, 31] / 255)) for p in (picture, back)]
    assert float(ciede2000(*labs).mean()) <= 1.0


def test_a_fixed_size_is_never_made_smaller() -> None:
    cap = int(len(coded(PICTURE, 60)) * 0.8)
    assert fit_bytes(make, 95, Limits(most=cap, may_shrink=True), write).picture.size_px[0] < 400
    with pytest.raises(CannotMeet, match="its size is fixed"):
        fit_bytes(make, 95, Limits(most=cap), write)


def test_a_minimum_that_only_the_best_quality_reaches_is_reached() -> None:
    least = len(coded(PICTURE, 99)) + 1
    assert fit_bytes(make, 95, Limits(least=least), write).quality == 100
