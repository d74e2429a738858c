"""A round picture, or a card that spans a tenth of the photo, was left alone without a word: it is a question."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey, gate
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.lone import lone_thing
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.pixels import Photo, quad_of
from tests.lab.scene import encode_jpeg, random_spec, render

_SIZE = (1200, 900)


def desk() -> UInt8:
    grain = np.random.default_rng(4).normal(0, 3, (900, 1200, 3))
    return np.asarray(np.clip(np.array([96, 110, 128]) + grain, 0, 255), np.uint8)


def photo(picture: UInt8) -> Photo:
    return read_photo(cv2.imencode(".png", picture)[1].tobytes())


def disc(picture: UInt8, middle: tuple[int, int], radius: int, *, drawn: bool = True) -> UInt8:
    cv2.circle(picture, middle, radius, (226, 232, 236), -1, cv2.LINE_AA)
    for k in range(0, radius, 24) if drawn else ():
        cv2.circle(picture, (middle[0] - radius // 3, middle[1]), k // 2 + 4, (70, 60, 50), 4, cv2.LINE_AA)
    return picture


def found(picture: UInt8) -> list[float] | None:
    corners = lone_thing(Copies(photo(picture)))
    return None if corners is None else [*corners.min(0), *corners.max(0)]


def test_a_round_picture_has_a_rectangle_that_lies_as_the_photo_does() -> None:
    assert found(disc(desk(), (640, 430), 260)) == pytest.approx([380, 170, 900, 690], abs=5)


def test_a_card_that_lies_aslant_has_its_own() -> None:
    picture = desk()
    corners = np.array([[600, 400], [730, 440], [700, 538], [570, 498]])
    cv2.fillPoly(picture, [corners], (226, 232, 236))
    cv2.line(picture, (610, 440), (690, 490), (60, 60, 60), 6)
    seen = lone_thing(Copies(photo(picture)))
    assert seen is not None
    assert overlap_in_photo(seen, corners.astype(np.float64), _SIZE) > 0.93


def star(picture: UInt8) -> UInt8:
    turns = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    reach = np.where(np.arange(20) % 2 == 0, 260, 150)
    points = np.stack([600 + reach * np.cos(turns), 450 + reach * np.sin(turns)], axis=1)
    cv2.fillPoly(picture, [points.astype(np.int32)], (226, 232, 236))
    cv2.circle(picture, (600, 450), 60, (60, 60, 60), 8)
    return picture


def triangle(picture: UInt8) -> UInt8:
    cv2.fillPoly(picture, [np.array([[600, 150], [900, 700], [300, 700]])], (226, 232, 236))
    cv2.circle(picture, (600, 550), 60, (60, 60, 60), 8)
    return picture


@pytest.mark.parametrize(
    "picture",
    [
        desk,
        lambda: disc(desk(), (640, 430), 260, drawn=False),
        lambda: disc(disc(desk(), (300, 430), 200), (900, 430), 200),
        lambda: disc(desk(), (200, 430), 260),
        lambda: disc(desk(), (640, 430), 20),
        lambda: star(desk()),
        lambda: triangle(desk()),
    ],
    ids=["nothing", "blank", "two", "cut by the photo's border", "a speck", "a thing with bays", "a triangle"],
)
def test_what_is_none(picture: Callable[[], UInt8]) -> None:
    assert found(picture()) is None


def test_a_small_card_on_a_bare_desk_is_asked_about() -> None:
    """Of cards of 10, 14 and 20 % of the photo's width none was."""
    shot = render(random_spec(139_102, "ink", "wood", fill=0.14, over="none", shadow="none", glare=0.0), 1600)
    size = (shot.pixels.shape[1], shot.pixels.shape[0])
    survey = Survey(read_photo(encode_jpeg(shot, 90)))
    assert survey.shows_work()[0] == gate.NO_WORK
    assert not survey.several
    outline = survey.outline()
    assert not isinstance(outline, Declined)
    assert outline.confidence < gate.SURE
    assert overlap_in_photo(quad_of(outline), np.asarray(shot.truth.corners_px), size) > 0.9
