"""Corners that the artist gives: which can be meant, and what is answered to those that can't."""

import re

import numpy as np
import pytest

from autoprep.domain import Declined, Outline, Photo, PhotoFacts, WorkFacts
from autoprep.files.icc import srgb_tables
from autoprep.job.said_outline import said_outline

_Points = tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]


def answered(corners: _Points, size: tuple[int, int] = (3000, 2000)) -> Outline | Declined | None:
    width, height = size
    codes = np.zeros((height, width, 3), np.uint8)
    photo = Photo(codes, PhotoFacts("jpeg", width, height), srgb_tables(256))
    return said_outline(photo, WorkFacts(corners_px=corners))


def box(x0: float, y0: float, x1: float, y1: float) -> _Points:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (box(-1400, -900, -100, -100), "lie outside"),
        (box(3100, 200, 4300, 1800), "lie outside"),
        (box(-1400, -900, 90, 90), "hold hardly anything"),
        (box(100, 100, 2900, 112), "strip of 12 pixels"),
        (box(-1000, 100, 10, 1900), "hold hardly anything"),
        (box(-1000, 5, 35, 1995), "strip of 35 pixels"),
        (((100, 100), (2900, 100), (2900, 1500), (2890, 1500)), "are no outline|strip of 10 pixels"),
        (box(-9000, 100, 900, 900), "are no outline"),
        (((1450, 300), (1550, 300), (2750, 1800), (250, 1800)), "from the side"),
    ],
)
def test_corners_that_hold_hardly_anything_of_the_photo_are_answered(corners: _Points, said: str) -> None:
    found = answered(corners)
    assert isinstance(found, Declined)
    assert re.search(said, found.reason)
    assert found.reason.endswith("in this photo of 3000 x 2000 pixels")


@pytest.mark.parametrize(
    ("corners", "size"),
    [
        (box(-900, 100, 1200, 1900), (3000, 2000)),  # a page that the border cuts
        (box(100, 100, 2900, 160), (3000, 2000)),  # a long strip of a work
        (box(20, 20, 60, 40), (300, 200)),  # in a small photo
        (((1300, 300), (1700, 300), (2900, 1800), (100, 1800)), (3000, 2000)),  # on a floor
    ],
)
def test_corners_that_can_be_meant_are_obeyed(corners: _Points, size: tuple[int, int]) -> None:
    found = answered(corners, size)
    assert isinstance(found, Outline)
    assert np.array_equal(np.array(found.corners_px), np.array(corners))
