"""The shape of a mark's picture: opacity, or what differs from the ground; cut to the ink."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from autoprep.errors import MarkUnreadable
from autoprep.imaging.arrays import Float32, UInt8
from autoprep.imaging.colour import LUMA
from autoprep.rendering.mark_shape import NOTHING, read_ink, shape_of

CREAM, DARK = (244, 240, 230), (30, 28, 26)


def stroke(ground: tuple[int, ...], ink: tuple[int, ...], margin: int = 0) -> UInt8:
    """A signature of one sweep, its ink reaching all four borders of the (60, 90) field inside the margin."""
    inner = np.empty((60, 90, len(ground)), np.uint8)
    inner[:] = ground
    cv2.line(inner, (0, 0), (89, 59), ink, 5)
    cv2.line(inner, (20, 59), (60, 0), ink, 4)
    canvas = np.empty((60 + 2 * margin, 90 + 2 * margin, len(ground)), np.uint8)
    canvas[:] = ground
    canvas[margin : margin + 60, margin : margin + 90] = inner
    return canvas


def saved(folder: Path, codes: UInt8) -> Path:
    place = folder / "mark.png"
    Image.fromarray(codes).save(place)
    return place


def as_before(codes: UInt8, height: int) -> Float32:
    """How a picture without margins was always drawn."""
    image = Image.fromarray(codes).convert("RGBA")
    size = (round(image.width * height / image.height), height)
    small = np.asarray(image.resize(size, Image.Resampling.LANCZOS), np.float32) / np.float32(255)
    return small[..., 3] if small[..., 3].min() < 0.99 else np.asarray(1 - small[..., :3] @ LUMA[0], np.float32)


@pytest.mark.parametrize("codes", [stroke((0, 0, 0, 0), (20, 30, 90, 255)), stroke((255,) * 3, (20, 30, 90))])
def test_an_ordinary_picture_is_drawn_as_ever(tmp_path: Path, codes: UInt8) -> None:
    mask = read_ink(saved(tmp_path, codes)).mask(24)
    assert np.abs(mask - as_before(codes, 24)).max() < 1e-6


@pytest.mark.parametrize(("ground", "ink"), [((0, 0, 0, 0), (20, 30, 90, 255)), (CREAM, DARK), (DARK, CREAM)])
def test_what_is_empty_around_the_ink_is_cut_off(tmp_path: Path, ground: tuple[int, ...], ink: tuple[int, ...]) -> None:
    tight = read_ink(saved(tmp_path, stroke(ground, ink, margin=1))).mask(24)
    wide = read_ink(saved(tmp_path, stroke(ground, ink, margin=400)))
    assert np.abs(np.subtract(wide.size_px, (90, 60))).max() <= 2
    assert wide.mask(24).shape == (24, tight.shape[1])
    assert np.array_equal(wide.mask(24), tight)


@pytest.mark.parametrize(("ground", "ink"), [(CREAM, DARK), (DARK, CREAM)])
def test_the_ground_of_an_opaque_picture_leaves_no_veil(
    tmp_path: Path, ground: tuple[int, ...], ink: tuple[int, ...]
) -> None:
    grain = np.random.default_rng(4).normal(0, 3.5, (100, 130, 1))
    codes = np.clip(stroke(ground, ink, margin=20) + grain, 0, 255).astype(np.uint8)
    found = read_ink(saved(tmp_path, codes))
    assert np.abs(np.subtract(found.size_px, (90, 60))).max() <= 4  # the grain is no ink
    mask = found.mask(60)
    assert np.median(mask) < 0.01
    assert np.quantile(mask, 0.97) > 0.8


def test_a_picture_that_shows_nothing_has_no_ink(tmp_path: Path) -> None:
    assert shape_of(saved(tmp_path, np.zeros((40, 60, 4), np.uint8))) == NOTHING
    assert shape_of(saved(tmp_path, np.full((40, 61, 3), 200, np.uint8))) == NOTHING
    block = np.full((40, 62, 4), 255, np.uint8)
    block[0, 0, 3] = 0
    assert shape_of(saved(tmp_path, block)).share > 0.95
    assert 0.1 < shape_of(saved(tmp_path, stroke((0, 0, 0, 0), (20, 30, 90, 255)))).share < 0.4


def test_what_can_not_be_read_says_why(tmp_path: Path) -> None:
    place = saved(tmp_path, np.random.default_rng(1).integers(0, 255, (90, 90, 4), np.uint8))
    place.write_bytes(place.read_bytes()[:9000])
    with pytest.raises(MarkUnreadable, match=r"mark\.png can't be read: it is damaged, or not whole"):
        read_ink(place)
    place.unlink()
    with pytest.raises(MarkUnreadable, match=r"mark\.png can't be read: no such file"):
        read_ink(place)
