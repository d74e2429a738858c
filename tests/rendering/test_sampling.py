"""Reduction keeps fine lines and folds nothing back: gratings, against Pillow's Lanczos filter on the same grating."""

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from autoprep.correction.sharpening import for_size, sharpen, sharpening
from autoprep.domain import PhotoFacts
from autoprep.imaging import resample
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import homography, rectangle
from autoprep.imaging.lowpass import cubic_response, halving_response, lowpass
from autoprep.imaging.resample import Lens, Level, Warp, warp_rows
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo
from autoprep.rendering.render import _level

_WIDE, _HIGH = 1600, 360
_LINEAR = np.tile(np.linspace(0, 1, 65536, dtype=np.float32), (3, 1))


def photo_of(light: npt.NDArray[np.floating]) -> Photo:
    """A photo of linear 16-bit codes."""
    codes = np.repeat(np.round(light * 65535).astype(np.uint16)[..., None], 3, axis=-1)
    return Photo(codes, PhotoFacts("tiff", light.shape[1], light.shape[0]), _LINEAR)


def grating(cycles_per_px: float) -> Float64:
    return np.tile(0.5 + 0.4 * np.sin(2 * np.pi * cycles_per_px * np.arange(_WIDE)), (_HIGH, 1))


def contrast(light: npt.NDArray[np.floating]) -> float:
    """Of a picture of a grating, relative to the grating's own."""
    part = light[light.shape[0] // 3 : -light.shape[0] // 3, 20:-20]
    return float((part - part.mean()).std() * np.sqrt(2) / 0.4)


def reduced(light: Float64, shrink: float) -> Float32:
    size = (round(_WIDE / shrink), round(_HIGH / shrink))
    warp = Warp(np.diag([_WIDE / size[0], _HIGH / size[1], 1.0]), Lens(_WIDE, _HIGH))
    return warp_rows(_level(photo_of(light), warp.scale(*size)), warp, size, (0, size[1]))[..., 0]


def by_pillow(light: Float64, shrink: float) -> Float64:
    size = (round(_WIDE / shrink), round(_HIGH / shrink))
    return np.asarray(Image.fromarray(light.astype(np.float32)).resize(size, Image.Resampling.LANCZOS), np.float64)


@pytest.mark.parametrize("shrink", [1.0, 1.1, 1.25, 1.5, 2.0, 2.5, 3.1, 3.4, 4.3, 5.7, 6.5, 8.0])
def test_detail_that_the_output_can_show_stays(shrink: float) -> None:
    """The bar: at .4 cycles per output pixel never below Lanczos by more than .05."""
    for frequency in (0.1, 0.25, 0.4):
        light = grating(frequency / shrink)
        assert contrast(reduced(light, shrink)) > contrast(by_pillow(light, shrink)) - 0.03


@pytest.mark.parametrize("shrink", [1.5, 1.7, 2.0, 2.5, 3.1, 3.4, 4.3, 5.7, 6.5, 8.0])
def test_what_is_finer_does_not_come_back_as_moire(shrink: float) -> None:
    """The bar: .03 of contrast; the filter's own slope reaches to .7 cycles per output pixel, as Lanczos's does."""
    for frequency in (0.72, 0.8, 0.95, 1.2, 1.45):
        if frequency / shrink < 0.48:
            assert contrast(reduced(grating(frequency / shrink), shrink)) < 0.03


def test_the_filter_follows_a_leaning_sheet() -> None:
    """Near and far sides of a sheet are reduced differently: neither moiré on the one nor blur on the other."""
    seen = np.array([[0.0, 0.0], [1600.0, 130.0], [1600.0, 230.0], [0.0, 360.0]])
    size = (500, 200)
    warp = Warp(homography(rectangle(*size), seen), Lens(_WIDE, _HIGH))
    far, near = (abs(warp.source(np.array([[x, 100.0], [x + 1, 100.0]]))[:, 0] @ [-1, 1]) for x in (60.0, 440.0))
    assert far > 3 * near  # else the test says nothing
    for at, shrink in ((slice(45, 75), far), (slice(425, 455), near)):
        pictures = [photo_of(grating(f / float(shrink))) for f in (0.3, 0.95)]
        kept, folded = (warp_rows(_level(p, warp.scale(*size)), warp, size, (0, 200))[80:120, at, 0] for p in pictures)
        assert float((kept - kept.mean()).std()) > 0.7 * 0.4 / np.sqrt(2)
        if 0.95 / shrink < 0.48:
            assert float((folded - folded.mean()).std()) < 0.05 * 0.4 / np.sqrt(2)


@pytest.mark.parametrize("shrink", [1.0, 1.5, 2.0, 2.7, 4.0, 6.0])
def test_a_stroke_gets_no_halo(shrink: float) -> None:
    """The bar: beside a black stroke on paper, sharpened as much as a photo ever is, 6 % of the step in code values."""
    light = np.full((_HIGH, _WIDE), 0.85)
    light[:, 700:900] = 0.03
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.8), np.float64)  # no lens draws a step within one pixel
    codes = encode_fast(np.repeat(reduced(light, shrink)[..., None], 3, axis=-1))
    most = sharpening(blur_px=9.0)
    sharp = sharpen(codes, for_size(most, shrink))[codes.shape[0] // 2, :, 0]
    paper, ink = (float(encode_fast(np.full((1, 1, 3), v, np.float32))[0, 0, 0]) for v in (0.85, 0.03))
    assert (sharp.max() - paper) / (paper - ink) < 0.06
    assert for_size(most, shrink).amount >= most.amount / 2


def test_the_two_responses_are_those_of_the_library() -> None:
    row = np.sin(2 * np.pi * 0.1 * np.arange(4000, dtype=np.float32))[None]
    halved = cv2.pyrDown(np.repeat(row, 9, axis=0))[2, 50:-50]
    assert halved.std() * np.sqrt(2) == pytest.approx(halving_response(np.array([0.2]), 1)[0], abs=0.005)
    at = (np.arange(3600) + 100.37).astype(np.float32)[None]
    between = cv2.remap(row, at, np.zeros_like(at), cv2.INTER_CUBIC)
    images = abs(between.std() * np.sqrt(2) - cubic_response(np.array([0.1]))[0])
    assert images < 0.02


@pytest.mark.parametrize("shrink", [1.0, 2.5, 4.3, 7.1])
def test_nothing_moves(shrink: float) -> None:
    """A soft spot stays where it is, to a twentieth of an output pixel, however often the photo was halved."""
    y, x = np.mgrid[0:_HIGH, 0:_WIDE] + 0.5
    light = 0.9 * np.exp(-((x - 801.3) ** 2 + (y - 177.8) ** 2) / (2 * 14.0**2))
    seen = reduced(light, shrink)
    down, across = np.mgrid[0 : seen.shape[0], 0 : seen.shape[1]] + 0.5
    weight = np.where(seen > 0.02, seen, 0)
    at = np.array([(across * weight).sum(), (down * weight).sum()]) / weight.sum()
    scale = np.array([_WIDE / seen.shape[1], _HIGH / seen.shape[0]])
    assert at == pytest.approx(np.array([801.3, 177.8]) / scale, abs=0.05)


@pytest.mark.parametrize("shrink", [33.0, 1e7, np.inf, np.nan])
def test_the_filter_has_an_end_towards_the_horizon(shrink: float) -> None:
    """A pixel there stands for any number of the photo's; a kernel for it would take gigabytes."""
    taps, widest = lowpass(shrink, 1), lowpass(32.0, 1)
    assert taps is not None
    assert widest is not None
    assert np.array_equal(taps, widest)
    assert taps.sum() == pytest.approx(1, abs=1e-5)
    assert len(taps) < 200


@pytest.mark.parametrize(("degrees", "size"), [(4, 1.0), (25, 1.0), (25, 0.5), (-70, 0.7)])
def test_a_rolled_work_reads_little_more_than_it_shows(
    monkeypatch: pytest.MonkeyPatch, degrees: float, size: float
) -> None:
    """And comes out the same to the last bit as where each strip is read with all of the box around it."""
    photo = photo_of(np.random.default_rng(3).uniform(0, 1, (1200, 1600)))
    read = [0]

    def crop(y0: int, y1: int, x0: int, x1: int) -> Float32:
        read[0] += (y1 - y0) * (x1 - x0)
        return photo.crop(y0, y1, x0, x1)

    width, height = 900, 600
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1)
    corners = rectangle(width, height) @ turn[:, :2].T + turn[:, 2] + [350, 300]
    out = (round(width * size), round(height * size))
    warp = Warp(homography(rectangle(*out), corners), Lens(1600, 1200))
    level = Level(crop, photo.size_px, photo.scales)
    made = warp_rows(level, warp, out, (0, 128))
    shown = out[0] * 128 / size**2
    assert read[0] < 2.2 * shown
    monkeypatch.setattr(resample, "_MOST_READ", np.inf)
    assert np.array_equal(made, warp_rows(level, warp, out, (0, 128)))
