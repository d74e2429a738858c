"""Coordinates in planes are those of single points; a photo's copies are what they would be by themselves."""

import cv2
import numpy as np
import pytest

from autoprep.domain import PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import float32
from autoprep.imaging.geometry import homography, project, rectangle
from autoprep.imaging.resample import Lens, Level, Warp, strips, warp_rows
from autoprep.pixels import Photo


@pytest.mark.parametrize("k1", [0.0, -0.03])
@pytest.mark.parametrize("within", [None, (3.0, 60.5, 380.0, 300.0)])
def test_rows_are_the_same_points(k1: float, within: tuple[float, float, float, float] | None) -> None:
    matrix = np.array([[9.1, 0.4, 120.0], [-0.3, 8.8, 90.0], [2e-5, -3e-5, 1.0]])
    warp = Warp(matrix, Lens(4000, 3000, k1), within)
    x, y = warp.rows(40, 90, (0, 400))
    across, down = np.meshgrid(np.arange(400) + 0.5, np.arange(40, 90) + 0.5)
    if within is not None:
        across, down = np.clip(across, within[0], within[2]), np.clip(down, within[1], within[3])
    points = warp.source(np.stack([across, down], axis=-1))
    assert np.abs(np.stack([x, y], axis=-1) - points).max() < 3e-3


@pytest.mark.parametrize("size", [(4000, 3000), (40, 5000), (9000, 70), (3, 3)])
def test_strips_hold_every_row_once(size: tuple[int, int]) -> None:
    rows = [row for first, last in strips(size) for row in range(first, last)]
    assert rows == list(range(size[1]))


@pytest.mark.parametrize("factor", [2, 3, 5, 6])
def test_copies_of_a_large_photo_are_means_of_its_own_pixels(factor: int) -> None:
    smooth = cv2.resize(np.random.default_rng(2).integers(0, 256, (4, 5, 3), dtype=np.uint8), (3000, 2400))
    photo = Photo(smooth, PhotoFacts("jpeg", 3000, 2400), srgb_tables(256))
    small = photo.reduced(factor)
    assert small.size_px == (3000 // factor, 2400 // factor)
    assert small.scale == pytest.approx(1 / factor)
    alone = cv2.resize(photo.linear(), small.size_px, interpolation=cv2.INTER_AREA)
    assert np.abs(small.linear() - alone).max() < 4e-3


@pytest.mark.parametrize("terms", [3, 6])
def test_means_of_areas_have_the_photos_own_primaries(terms: int) -> None:
    """Of a photo in other primaries, or seen through a chart: the means of its linear light, not the light of means."""
    rng = np.random.default_rng(7)
    codes = rng.integers(0, 256, (1800, 2402, 3), np.uint8)
    matrix = float32(np.eye(3, terms) + rng.uniform(-0.2, 0.2, (3, terms)))
    tables = srgb_tables(256) * float32([[1.0], [0.8], [0.5]])
    photo = Photo(codes, PhotoFacts("jpeg", 2402, 1800), tables, matrix)
    whole = cv2.resize(photo.linear(), (1201, 900), interpolation=cv2.INTER_AREA)
    assert np.abs(photo.reduced(2).linear() - whole).max() < 1e-6


@pytest.mark.parametrize("alike", [True, False])
def test_each_channel_goes_through_its_own_table(alike: bool) -> None:
    codes = np.random.default_rng(4).integers(0, 256, (9, 7, 3), dtype=np.uint8)
    tables = srgb_tables(256) if alike else srgb_tables(256) * float32([[1.0], [0.9], [0.7]])
    linear = Photo(codes, PhotoFacts("jpeg", 7, 9), tables).crop(2, 8, 1, 6)
    for channel in range(3):
        assert (linear[..., channel] == tables[channel][codes[2:8, 1:6, channel]]).all()


@pytest.mark.parametrize(("size", "factor"), [((3001, 2007), 4), ((2049, 1543), 8), ((1000, 1015), 16)])
def test_a_place_of_the_photo_is_the_same_place_of_its_copies(size: tuple[int, int], factor: int) -> None:
    """A copy has whole pixels each way: of sides that do not divide, one is reduced by more than the other."""
    width, height = size
    codes = np.full((height, width, 3), 20, np.uint8)
    codes[height - 200 :] = 220
    codes[:, width - 300 :] = 220
    photo = Photo(codes, PhotoFacts("png", width, height), srgb_tables(256))
    copy = photo.reduced(factor)
    level = Level(copy.crop, copy.size_px, copy.scales)
    warp = Warp(np.eye(3), Lens(width, height))
    rows = warp_rows(level, warp, size, (0, height))[..., 1]
    half = (rows.min() + rows.max()) / 2
    assert np.argmax(rows[:, 100] > half) == pytest.approx(height - 200, abs=1.5)
    assert np.argmax(rows[100] > half) == pytest.approx(width - 300, abs=1.5)


@pytest.mark.parametrize("turned", [False, True])
def test_fine_hatching_has_no_bands_on_a_slant_page(turned: bool) -> None:
    """A page whose far side is .6 of the near one: the filter follows the perspective within a strip and across."""
    size = (700, 900)
    quad = np.array([[600, 200], [1600, 200], [1940, 1900], [260, 1900]], np.float64)
    width, height = 2200, 2100
    if turned:
        quad, width, height = quad[:, ::-1][[0, 3, 2, 1]], height, width
    into = homography(quad, rectangle(*size))
    ys, xs = np.mgrid[0:height, 0:width]
    across = project(into, np.stack([xs + 0.5, ys + 0.5], axis=-1))[..., 0]
    lines = (0.5 + 0.3 * np.cos(2 * np.pi * 0.4 * across)).astype(np.float32)
    photo = Photo(np.repeat(lines[..., None], 3, axis=-1), PhotoFacts("png", width, height))
    level = Level(photo.crop, photo.size_px, photo.scales)
    warp = Warp(homography(rectangle(*size), quad), Lens(width, height))
    made = np.concatenate([warp_rows(level, warp, size, rows) for rows in strips(size)])[..., 0]
    wave = (made - 0.5) * np.exp(-2j * np.pi * 0.4 * (np.arange(size[0]) + 0.5))
    contrast = np.hypot(cv2.blur(wave.real, (25, 1)), cv2.blur(wave.imag, (25, 1)))
    inner = contrast[30:-30, 60:-60] * 2 / 0.3
    assert inner.min() > 0.3
    assert max(np.abs(np.diff(inner, axis=axis)).max() for axis in (0, 1)) < 0.03


def test_a_part_of_a_strip_is_as_it_is_in_the_whole() -> None:
    """On a slant page, whose strips are filtered in several parts down and across."""
    size, rows = (500, 700), (128, 256)
    codes = np.random.default_rng(4).integers(0, 256, (2100, 2200, 3)).astype(np.uint8)
    photo = Photo(codes, PhotoFacts("png", 2200, 2100), srgb_tables(256))
    quad = np.array([[600, 200], [1600, 300], [1940, 1900], [260, 1700]], np.float64)
    level = Level(photo.crop, photo.size_px, photo.scales)
    warp = Warp(homography(rectangle(*size), quad), Lens(2200, 2100, -0.02))
    whole = warp_rows(level, warp, size, rows)
    for (top, bottom), (left, right) in (((128, 140), (0, 500)), ((150, 256), (0, 60)), ((200, 201), (333, 500))):
        part = warp_rows(level, warp, size, rows, ((top, bottom), (left, right)))
        assert part == pytest.approx(whole[top - 128 : bottom - 128, left:right], abs=1e-5)
