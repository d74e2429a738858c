"""A copy of half the size is the same whether it is made whole or tile by tile, and a large one never lies whole."""

import gc
import weakref

import cv2
import numpy as np
import pytest

from autoprep.domain import PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Float32
from autoprep.imaging.halving import Halved
from autoprep.pixels import Photo


class Noise:
    """(H, W, 3) linear light, and the parts of it that were asked for."""

    def __init__(self, width: int, height: int) -> None:
        self.size_px = width, height
        self.values = np.random.default_rng(7).random((height, width, 3)).astype(np.float32)
        self.asked: list[tuple[int, int, int, int]] = []

    def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        self.asked.append((y0, y1, x0, x1))
        return np.ascontiguousarray(self.values[y0:y1, x0:x1])


@pytest.mark.parametrize("size", [(1401, 1103), (512, 1024), (60, 1300), (3, 5)])
def test_parts_are_those_of_the_whole(size: tuple[int, int]) -> None:
    source = Noise(*size)
    whole, half = cv2.pyrDown(source.values), Halved(source)
    assert half.size_px == whole.shape[1::-1]
    assert np.abs(half.whole() - whole).max() < 1e-6
    rng = np.random.default_rng(8)
    for _ in range(20):
        (x0, x1), (y0, y1) = (sorted(rng.choice(side + 1, 2, replace=False)) for side in half.size_px)
        assert np.abs(half.crop(y0, y1, x0, x1) - whole[y0:y1, x0:x1]).max() < 1e-6


def test_a_copy_of_a_copy_is_halved_twice() -> None:
    source = Noise(1300, 900)
    twice = Halved(Halved(source)).crop(0, 225, 0, 325)
    assert np.abs(twice - cv2.pyrDown(cv2.pyrDown(source.values))).max() < 1e-6


@pytest.mark.parametrize("turned", [False, True])
def test_strips_make_no_tile_twice_and_keep_few(turned: bool) -> None:
    source = Noise(900, 5200) if turned else Noise(5200, 900)
    half = Halved(source)
    width, height = half.size_px
    for first in range(0, min(half.size_px), 50):
        last = min(first + 150, *half.size_px)
        half.crop(0, height, first, last) if turned else half.crop(first, last, 0, width)
    assert len(source.asked) == len(set(source.asked)) == 2 * 11
    large = Halved(Noise(3000, 3000))
    large.crop(0, 1500, 0, 1500)
    assert len(large._tiles) == 4 * 6 < 6 * 6


def test_half_of_a_large_photo_never_lies_in_memory_whole_and_goes_with_it() -> None:
    codes = np.full((4100, 4200, 3), 128, np.uint8)
    photo = Photo(codes, PhotoFacts("jpeg", 4200, 4100), srgb_tables(256))
    half, quarter = photo.halved(1), photo.halved(2)
    assert isinstance(half, Halved)
    assert photo.halved(1) is half
    assert isinstance(quarter, Photo)
    assert quarter.scale == 0.25
    assert quarter.linear().mean() == pytest.approx(photo.crop(0, 8, 0, 8).mean())
    gone = weakref.ref(photo)
    del photo, half, quarter
    gc.collect()
    assert gone() is None
