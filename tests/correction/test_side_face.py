"""The side of a book beside its top: a side that stands on its outer edge is moved in, and nothing else is."""

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import find_outline
from autoprep.correction.outline.close_up import CloseUp
from autoprep.correction.outline.side_face import _best, without_side_faces
from autoprep.domain import Outline, PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Float64, UInt8
from autoprep.pixels import Photo, quad_of

_UNCUT = (False, False, False, False)
_QUAD = np.array([[200.0, 150], [1400, 150], [1400, 1050], [200, 1050]])


def _desk() -> UInt8:
    rng = np.random.default_rng(3)
    grain = cv2.GaussianBlur(rng.normal(0, 30, (1200, 1600)), (0, 0), 5)
    return np.clip(np.array([110, 78, 52]) + grain[..., None], 0, 255).astype(np.uint8)


def _filled(picture: UInt8, quad: Float64, colour: tuple[int, int, int]) -> None:
    cv2.fillConvexPoly(picture, np.round(quad).astype(np.int32), colour, cv2.LINE_AA)


def _moved(picture: UInt8, cut: tuple[bool, bool, bool, bool] = _UNCUT) -> Float64:
    """(4, 2) by how much each corner of the outline is moved."""
    photo = _photo(picture)
    close = CloseUp(photo, 1600)
    return np.asarray(without_side_faces(close, _QUAD * close.scale, cut) / close.scale - _QUAD)


def _photo(picture: UInt8) -> Photo:
    noisy = np.clip(
        cv2.GaussianBlur(picture, (0, 0), 1.0) + np.random.default_rng(4).normal(0, 2, picture.shape), 0, 255
    )
    return Photo(noisy.astype(np.uint8), PhotoFacts("png", 1600, 1200), srgb_tables(256))


def _page(inner: Float64, strip: tuple[int, int, int] = (150, 146, 138)) -> UInt8:
    """An outline of one colour, and a page of bare paper with a drawing in it."""
    picture = _desk()
    _filled(picture, _QUAD, strip)
    _filled(picture, inner, (236, 233, 226))
    cv2.line(picture, (500, 400), (1000, 800), (40, 40, 60), 3, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize(("first", "last"), [(12.0, 12.0), (14.0, 8.0)])
def test_the_edges_of_pages_below_are_left_out(first: float, last: float) -> None:
    inner = np.add(_QUAD, np.array([[0.0, 0], [0, 0], [0, -first], [0, -last]]))
    assert _moved(_page(inner)) == pytest.approx(inner - _QUAD, abs=1.6)


def test_the_finder_leaves_them_out() -> None:
    """It had the outer edge: 1051."""
    found = find_outline(_photo(_page(np.add(_QUAD, [[0, 0], [0, 0], [0, -8], [0, -8]]), (205, 201, 192))))
    assert isinstance(found, Outline)
    assert quad_of(found)[2:, 1] == pytest.approx([1043, 1043], abs=1.5)


def test_two_sides_that_meet_may_show_them() -> None:
    inner = np.add(_QUAD, [[0, 0], [-10, 0], [-10, -12], [0, -12]])
    assert _moved(_page(inner)) == pytest.approx(inner - _QUAD, abs=1.6)


@pytest.mark.parametrize(
    "inner",
    [
        np.add(_QUAD, [[12, 12], [-12, 12], [-12, -12], [12, -12]]),
        np.add(_QUAD, [[0, 12], [0, 12], [0, -12], [0, -12]]),
        np.add(_QUAD, [[12, 0], [-12, 0], [-12, 0], [12, 0]]),
        np.add(_QUAD, [[0, 0], [0, 0], [0, -60], [0, -60]]),
        _QUAD,
    ],
    ids=[
        "a border all around",
        "a border above and below",
        "a border left and right",
        "a painted ground",
        "a plain page",
    ],
)
def test_what_belongs_to_the_page_stays(inner: Float64) -> None:
    assert _moved(_page(inner)) == pytest.approx(np.zeros((4, 2)))


def test_a_line_near_the_edge_is_drawn() -> None:
    picture = _page(_QUAD)
    cv2.line(picture, (200, 1036), (1400, 1036), (60, 60, 80), 3, cv2.LINE_AA)
    assert _moved(picture) == pytest.approx(np.zeros((4, 2)))


def test_paint_that_ends_near_the_edge_is_no_page() -> None:
    """Beyond its edge lies the paper that the painting was left: it belongs to the work."""
    picture = _page(np.add(_QUAD, [[0, 0], [0, 0], [0, -12], [0, -12]]), (236, 233, 226))
    for k in range(60):  # brush strokes, not one colour
        cv2.rectangle(
            picture, (200 + 20 * k, 900), (220 + 20 * k, 1038), (30 + 3 * k, 60 + k % 7 * 25, 180 - 2 * k), -1
        )
    assert _moved(picture) == pytest.approx(np.zeros((4, 2)))


def test_a_side_that_the_photo_cuts_stays() -> None:
    inner = np.add(_QUAD, [[0, 0], [0, 0], [0, -12], [0, -12]])
    assert _moved(_page(inner), (False, False, True, False)) == pytest.approx(np.zeros((4, 2)))


def test_an_edge_is_seen_that_is_half_as_clear_in_places_and_nowhere_in_a_few() -> None:
    """At 60 of 96 places it changes by what is clear, at 33 by little more than half of that, at 3 not at all."""
    step = np.zeros((20, 96, 3))
    step[8, :60, 0], step[8, 60:93, 0] = 6.2, 3.3
    found = _best(step, np.linspace(0.04, 0.96, 96), np.array([[9, 9], [11, 11], [13, 13]]))
    assert found is not None
    assert found.tolist() == [11, 11]
    assert _best(step, np.linspace(0.04, 0.96, 96), np.array([[9, 9], [13, 13]])) is None
