"""The camera's contrast curve: taken back by a stated amount, only where a camera has put it, and put on record."""

from dataclasses import replace

import numpy as np
import pytest

from autoprep.correction.camera import without_contrast
from autoprep.correction.squaring import geometry_of, rectify
from autoprep.domain import Outline, PhotoFacts
from autoprep.files.reading import read_photo
from autoprep.imaging.transfer import linear_to_srgb
from autoprep.pixels import Photo
from tests import photos


def codes_of(photo: Photo) -> np.ndarray:
    """(256,) sRGB codes 0..255 that each device code stands for now."""
    assert photo.tables is not None
    return np.asarray(linear_to_srgb(photo.tables[1]) * 255)


def test_the_middle_gets_flatter_and_the_ends_stay() -> None:
    photo = read_photo(photos.jpeg())
    assert photo.facts.camera
    before, after = codes_of(photo), codes_of(without_contrast(photo, 0.1))
    assert after[[0, 255]] == pytest.approx(before[[0, 255]], abs=0.01)
    assert after[127:129].mean() == pytest.approx(127.5, abs=0.05)
    assert np.diff(after)[127] == pytest.approx(1 / 1.1, abs=0.01)  # the camera's curve was steeper by a tenth
    assert (np.diff(after) > 0).all()
    assert np.abs(after - before).max() <= 0.1 / (2 * np.pi) * 255 * 1.15


def test_it_undoes_the_curve_that_it_says() -> None:
    """A code v that was rendered as v - s / 2 pi sin(2 pi v) comes back."""
    photo = read_photo(photos.jpeg())
    value = np.linspace(0, 1, 256)
    rendered = np.round((value - 0.2 / (2 * np.pi) * np.sin(2 * np.pi * value)) * 255).astype(int)
    assert codes_of(without_contrast(photo, 0.2))[rendered] == pytest.approx(value * 255, abs=1.0)


def test_what_no_camera_has_rendered_is_left_alone() -> None:
    photo = read_photo(photos.jpeg())
    scan = replace(photo, facts=replace(photo.facts, camera=False))
    raw = replace(photo, facts=replace(photo.facts, format="raw"))
    linear = Photo(np.ones((4, 4, 3), np.float32), PhotoFacts("png", 4, 4, camera=True))
    for left in (scan, raw, linear):
        assert without_contrast(left, 0.1) is left
    assert without_contrast(photo, 0.0) is photo


def test_what_was_made_of_a_photo_is_made_once() -> None:
    """The plan and all pictures look through the same photo, so that its reduced and squared copies serve them all."""
    photo = read_photo(photos.jpeg())
    once = without_contrast(photo, 0.1)
    assert without_contrast(photo, 0.1) is once
    assert np.abs(codes_of(without_contrast(photo, 0.2)) - codes_of(once)).max() > 0.5
    outline = Outline(corners_px=((0, 0), (90, 0), (90, 60), (0, 60)), confidence=1.0)
    geometry = geometry_of(once, outline)
    work = rectify(once, geometry)
    assert rectify(once, geometry) is work
    assert rectify(once, geometry, 2000).linear.shape[0] < work.linear.shape[0] == 60
