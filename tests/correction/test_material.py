"""The witness of the material: one sheet within the outline, another material beyond."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction.cells import ground_cells
from autoprep.correction.outline import material
from autoprep.correction.outline.material import fills_photo, is_one_sheet
from autoprep.correction.sheet import Sheet, find_sheet
from autoprep.domain import Declined
from autoprep.imaging.arrays import Float32, Float64

_NONE = (False, False, False, False)
_QUAD = np.array([[150.0, 110.0], [850.0, 110.0], [850.0, 610.0], [150.0, 610.0]])


def _page(desk: tuple[float, float, float] = (0.2, 0.13, 0.08)) -> Float32:
    """A squared page with a drawing on a desk, in light that falls off."""
    rng = np.random.default_rng(4)
    photo = np.full((720, 1000, 3), desk, np.float32) * np.exp(rng.normal(0, 0.02, (720, 1000, 1)))
    photo[110:610, 150:850] = 0.86
    for at in range(120, 610, 16):
        photo[at, 150:850] *= 0.7
    for at in range(160, 850, 16):
        photo[110:610, at] *= 0.7
    for _ in range(8):
        a, b = (rng.uniform((220, 180), (780, 540)).astype(int) for _ in range(2))
        cv2.line(photo, tuple(int(v) for v in a), tuple(int(v) for v in b), (0.04, 0.04, 0.1), 2, cv2.LINE_AA)
    return np.asarray(photo * np.linspace(0.9, 0.5, 1000, dtype=np.float32)[None, :, None], np.float32)


def test_the_right_outline_is_confirmed() -> None:
    assert is_one_sheet(_page(), _QUAD, _NONE)


@pytest.mark.parametrize("side", range(4))
@pytest.mark.parametrize("outward_px", [45.0, -45.0], ids=["takes in desk", "leaves page out"])
def test_a_side_in_the_wrong_place_is_not(side: int, outward_px: float) -> None:
    quad = _QUAD.copy()
    step = np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])[side] * outward_px
    quad[[side, (side + 1) % 4]] += step
    assert not is_one_sheet(_page(), quad, _NONE)


@pytest.mark.parametrize("sides", [(), (1,), (0, 2), (0, 1, 2, 3)])
def test_a_drawn_frame_near_the_sheets_ends_is_none_of_them(sides: tuple[int, ...]) -> None:
    """As on the lab's photo 222243: beyond a frame a hair inside the sheet lies desk, for the most part."""
    quad = _QUAD.copy()
    for side in sides:
        quad[[side, (side + 1) % 4]] -= 11.0 * np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])[side]
    # One side may be a little off: what a whole frame lies inside of is another thing.
    assert is_one_sheet(_page(), quad, _NONE) is (len(sides) < 2)


def test_a_sheet_on_its_own_kind_of_paper_is_not_confirmed() -> None:
    assert not is_one_sheet(_page(desk=(0.85, 0.85, 0.85)), _QUAD, _NONE)


def test_where_the_photo_cuts_the_page_there_is_no_end_to_be_seen() -> None:
    photo = np.ascontiguousarray(_page()[:, 300:])
    quad = np.array([[0.0, 110.0], [550.0, 110.0], [550.0, 610.0], [0.0, 610.0]])
    assert is_one_sheet(photo, quad, (False, False, False, True))
    whole = np.ascontiguousarray(_page()[130:590, 170:830])
    corners = np.array([[0.0, 0.0], [660.0, 0.0], [660.0, 460.0], [0.0, 460.0]])
    assert not is_one_sheet(whole, corners, (True, True, True, True))  # nothing beyond tells


def _framed_drawing() -> tuple[Float32, list[Float64]]:
    """A page that fills the photo, with a drawn frame that looks like its edge, and that frame's outline."""
    whole = np.ascontiguousarray(_page()[130:590, 170:830])
    cv2.rectangle(whole, (60, 50), (600, 410), (0.04, 0.04, 0.1), 3, cv2.LINE_AA)
    return whole, [np.array([[60.0, 50.0], [600.0, 50.0], [600.0, 410.0], [60.0, 410.0]])]


def test_beyond_a_drawn_frame_the_paper_goes_on() -> None:
    assert fills_photo(*_framed_drawing())


def test_a_page_that_ends_in_the_photo_does_not_fill_it() -> None:
    assert not fills_photo(_page(), [_QUAD])
    cut = np.ascontiguousarray(_page()[:, 300:])
    assert not fills_photo(cut, [np.array([[0.0, 110.0], [550.0, 110.0], [550.0, 610.0], [0.0, 610.0]])])


def test_a_ruled_page_on_a_table_of_its_colour_ends_where_its_ruling_does() -> None:
    table = np.full((720, 1000, 3), 0.7, np.float32)
    _draw_loosely(table)
    small = np.array([[220.0, 300.0], [580.0, 300.0], [580.0, 560.0], [220.0, 560.0]])
    assert fills_photo(table, [small])
    ruled = table.copy()
    ruled[::15] *= 0.85
    ruled[:, ::15] *= 0.85
    assert fills_photo(ruled, [small])  # what is ruled all over does not end there
    table[300:560, 220:580] = ruled[300:560, 220:580]
    assert not fills_photo(table, [small])


def test_a_table_with_a_small_painting_on_it_is_no_page() -> None:
    """Where the outline holds no paper, nothing says that the plain ground around is any (the lab's photo 221742)."""
    rng = np.random.default_rng(7)
    table = np.full((720, 1000, 3), (0.5, 0.36, 0.22), np.float32)
    small = np.array([[400.0, 300.0], [640.0, 300.0], [640.0, 460.0], [400.0, 460.0]])
    blots = cv2.GaussianBlur(rng.uniform(0, 1, (160, 240, 3)).astype(np.float32), (0, 0), 9)
    table[300:460, 400:640] = 0.05 + 0.5 * (blots - blots.min()) / np.ptp(blots)
    assert not fills_photo(table, [small])
    page = np.full((720, 1000, 3), 0.7, np.float32)
    page[300:460, 400:640] = table[300:460, 400:640]
    _draw_loosely(page)
    assert fills_photo(page, [small])


def _draw_loosely(photo: Float32) -> None:
    """Strokes of all directions at the top and the bottom of a photo, no two of them alike."""
    rng = np.random.default_rng(3)
    for low in (20, 600):
        for _ in range(12):
            ends = rng.uniform((30, low), (970, low + 100), (2, 2)).astype(int)
            cv2.line(photo, ends[0].tolist(), ends[1].tolist(), (0.05, 0.05, 0.05), 4, cv2.LINE_AA)


def test_a_scene_is_no_sheet_that_fills_the_photo() -> None:
    rng = np.random.default_rng(5)
    scene = np.asarray(cv2.GaussianBlur(rng.uniform(0, 1, (720, 1000, 3)).astype(np.float32), (0, 0), 30), np.float32)
    scene = ((scene - scene.min()) / np.ptp(scene)).astype(np.float32)
    assert not fills_photo(scene, [])


def test_a_small_dark_figure_is_no_end_of_the_page() -> None:
    whole, quads = _framed_drawing()
    cv2.rectangle(whole, (90, 80), (190, 160), (0.3, 0.05, 0.05), -1)
    assert fills_photo(whole, [*quads, np.array([[100.0, 90.0], [150.0, 90.0], [150.0, 130.0], [100.0, 130.0]])])


def test_what_could_be_one_sheet_is_not_where_an_outline_ends() -> None:
    """A sliver of grey desk at the top: little of the whole, and yet the page ends there."""
    whole, _ = _framed_drawing()
    cv2.fillPoly(whole, [np.array([[0, 0], [660, 0], [0, 60]], np.int32)], (0.3, 0.3, 0.3), cv2.LINE_AA)
    page = np.array([[0.0, 60.0], [660.0, 0.0], [660.0, 460.0], [0.0, 460.0]])
    assert fills_photo(whole, [])
    assert not fills_photo(whole, [page])


@pytest.mark.parametrize("size", [150, 180, 250])
def test_a_sheet_with_much_on_it_that_is_no_paper_does_not_speak(size: int) -> None:
    whole, quads = _framed_drawing()
    cv2.rectangle(whole, (150, 120), (150 + size, 120 + size), (0.3, 0.3, 0.3), -1)
    assert not fills_photo(whole, quads)


@pytest.mark.parametrize(("deep", "is_page"), [(0.3, True), (0.003, False)], ids=["a shadow", "a black thing"])
def test_what_is_far_darker_than_any_shade_is_no_part_of_the_page(deep: float, is_page: bool) -> None:
    """A black lid that lies in the photo, out of focus, falls away as softly as a shadow does."""
    whole, _ = _framed_drawing()
    lid = np.ones(whole.shape[:2], np.float32)
    lid[:110] = deep
    whole *= cv2.GaussianBlur(lid, (0, 0), 60)[..., None]
    assert fills_photo(whole, []) is is_page


@pytest.mark.parametrize(("colours", "is_page"), [(0.05, True), (0.24, False)])
def test_a_checked_cloth_is_no_page_because_the_sheets_on_it_are_unclear(
    monkeypatch: pytest.MonkeyPatch, colours: float, is_page: bool
) -> None:
    """Its light squares are paper in one light, to those who know of nothing else (as on the lab's photo 90045)."""
    whole, quads = _framed_drawing()
    sheet = find_sheet(ground_cells(whole))
    assert isinstance(sheet, Sheet)
    found = [replace(sheet, colours=colours), Declined(reason="-"), replace(sheet, colours=colours)]
    monkeypatch.setattr(material, "find_sheet", lambda _: found.pop(0))
    assert fills_photo(whole, quads) is is_page
    assert found == []
