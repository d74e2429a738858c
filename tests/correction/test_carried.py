"""A sheet on a board or in a sleeve: where the finders are in doubt, the sheet comes before what carries it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey, eye, finder
from autoprep.correction.outline.answers import Answer
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.material import is_one_sheet
from autoprep.correction.outline.sides import settle
from autoprep.imaging.arrays import Float32, Float64, UInt8
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.pixels import Photo, quad_of

from .test_eye import desk, photo_of, sheet

BOARD = np.array([[200.0, 90], [960, 100], [940, 820], [190, 800]])
SHEET = np.array([[330.0, 240], [830, 246], [822, 742], [322, 730]])
SIZE = (1200, 900)


def carried() -> UInt8:
    """A sheet that lies on a dark board on a wooden desk."""
    picture = desk()
    cv2.fillPoly(picture, [np.round(BOARD + 7).astype(np.int32)], (40, 28, 20), cv2.LINE_AA)
    cv2.fillPoly(picture, [np.round(BOARD).astype(np.int32)], (46, 70, 92), cv2.LINE_AA)
    sheet(picture, SHEET)
    return picture


def seen(monkeypatch: pytest.MonkeyPatch, picture: UInt8, quad: Float64, views: float) -> Survey:
    """What comes of a photo where the eye is so firm about an outline."""
    true_look = eye.look

    def looked(photo: Photo, small: Float32) -> eye.Sight:
        sight = true_look(photo, small)
        assert sight is not None
        return replace(sight, works=(eye.Seen(quad, (False,) * 4, views),), undecided=0.4, chance=0.99)

    monkeypatch.setattr(eye, "look", looked)
    return Survey(photo_of(picture))


def test_the_sheet_comes_before_the_board_that_the_eye_wavers_about(monkeypatch: pytest.MonkeyPatch) -> None:
    found = seen(monkeypatch, carried(), BOARD, 0.8).outlines(4)
    assert overlap_in_photo(quad_of(found[0]), SHEET, SIZE) > 0.97
    assert overlap_in_photo(quad_of(found[1]), BOARD, SIZE) > 0.97
    assert found[0].confidence < 0.9  # it is a question all the same


@pytest.mark.parametrize(("share", "is_carried"), [(0.4, False), (0.6, True), (0.97, False)])
def test_what_is_carried_is_no_small_part_and_hardly_all_of_it(share: float, is_carried: bool) -> None:
    """A card that is pasted on a page is part of the page; a sheet on one of its own size is one of two edges."""
    picture = desk()
    cv2.fillPoly(picture, [np.round(BOARD).astype(np.int32)], (160, 150, 140), cv2.LINE_AA)
    card = BOARD.mean(axis=0) + (BOARD - BOARD.mean(axis=0)) * share
    sheet(picture, card)
    copies, answer = Copies(photo_of(picture)), Answer(card, 0.4)
    assert is_one_sheet(*finder._in_copy(copies, card), (False,) * 4)
    assert finder._sheet_in(copies, Answer(BOARD, 0.5), [answer]) is (answer if is_carried else None)
    assert finder._sheet_in(copies, Answer(card, 0.5), [Answer(BOARD, 0.4)]) is None


def test_a_figure_is_nothing_that_a_sheet_carries() -> None:
    """A drawn frame holds the same paper as what lies around it."""
    picture = desk()
    sheet(picture, BOARD)
    frame = BOARD.mean(axis=0) + (BOARD - BOARD.mean(axis=0)) * 0.7
    cv2.polylines(picture, [np.round(frame).astype(np.int32)], True, (40, 40, 60), 5, cv2.LINE_AA)
    assert finder._sheet_in(Copies(photo_of(picture)), Answer(BOARD, 0.5), [Answer(frame, 0.4)]) is None


def test_the_sides_of_what_the_eye_did_not_see_are_weighed_by_themselves(monkeypatch: pytest.MonkeyPatch) -> None:
    """The eye's own sides are a witness for the outline that it saw, and none against another."""
    given: list[tuple[Float64, Float64]] = []

    def told(
        lab: Float32, maps: Float32, quad: Float64, eye_quad: Float64, cut: tuple[bool, bool, bool, bool]
    ) -> object:
        given.append((quad, eye_quad))
        return settle(lab, maps, quad, eye_quad, cut)

    monkeypatch.setattr(finder, "settle", told)
    seen(monkeypatch, carried(), BOARD, 0.8)
    quad, eye_quad = given[-1]
    assert overlap_in_photo(quad, SHEET, SIZE) > 0.97
    assert np.abs(quad - eye_quad).max() < 3
