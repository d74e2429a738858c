"""Where the sheet ends: strips of table go, paper beyond a drawn frame stays."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction.cells import ground_cells
from autoprep.correction.outline import Survey, eye, gate, material
from autoprep.correction.outline.candidates import from_border
from autoprep.correction.outline.ends import cut_back, let_out
from autoprep.correction.outline.evidence import gather
from autoprep.correction.ruling import is_ruled_to_borders
from autoprep.correction.sheet import Sheet, find_sheet
from autoprep.domain import Outline, PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import overlap_in_photo, rectangle
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo

_SIZE = (1000, 720)
_ALL_CUT = (True, True, True, True)
_MAPS = np.zeros((2, 320, 320), np.float32)
_PAPER = np.array([0.80, 0.82, 0.86])


def _page(table: tuple[float, float, float], edge_px: tuple[float, float], squares: bool = True) -> Float32:
    """A squared page that fills the photo but for a strip of table above an edge from one height to another."""
    width, height = _SIZE
    rng = np.random.default_rng(7)
    y = np.arange(height, dtype=np.float64)[:, None] + 0.5
    edge = np.linspace(*edge_px, width)[None, :]
    page = np.broadcast_to(_PAPER, (height, width, 3)).copy()
    if squares:
        page[(np.arange(height) % 18) == 0] *= 0.72
        page[:, (np.arange(width) % 18) == 0] *= 0.72
    page[400:404, 200:700] = 0.05
    share = np.clip(y - edge, 0, 1)[..., None]
    photo = share * page + (1 - share) * np.array(table)
    light = np.linspace(0.8, 0.68, width)[None, :, None]
    return np.asarray(photo * light * np.exp(rng.normal(0, 0.01, (height, width, 1))), np.float32)


def _frame_drawn(at: int = 960, beyond: float = 1.0) -> tuple[Float32, Float64]:
    """A page that fills the photo, a frame drawn near its right side, and the outline that takes it for the edge.

    beyond: how light the paper beyond the frame is, 1 the same as before it.
    """
    photo = _page((0, 0, 0), (-9, -9))
    photo[:, at : at + 3] = 0.04
    photo[:, at + 3 :] *= beyond
    return photo, np.array([[0.0, 0.0], [at + 1.0, 0.0], [at + 1.0, 720.0], [0.0, 720.0]])


def test_a_strip_of_pale_table_is_cut_off() -> None:
    photo = _page((0.62, 0.52, 0.38), (90, 70))
    found = cut_back(photo, gather(photo), rectangle(*_SIZE), _ALL_CUT)
    assert found is not None
    quad, cut = found
    assert cut == (False, True, True, True)
    truth = np.array([[0.0, 90.0], [1000.0, 70.0], [1000.0, 720.0], [0.0, 720.0]])
    assert overlap_in_photo(quad, truth, _SIZE) > 0.99


def test_a_page_that_is_one_sheet_already_is_not_cut() -> None:
    photo = _page((0, 0, 0), (-9, -9))
    photo[:80] *= 0.7  # a shadow with a straight edge is no end
    assert cut_back(photo, gather(photo), rectangle(*_SIZE), _ALL_CUT) is None


def test_a_sheet_that_lies_whole_on_its_desk_is_not_cut() -> None:
    photo = _page((0.62, 0.52, 0.38), (90, 70))
    assert cut_back(photo, gather(photo), rectangle(*_SIZE), (False, True, False, False)) is None


def test_an_outline_at_a_drawn_frame_is_let_out_to_where_the_paper_goes() -> None:
    photo, quad = _frame_drawn()
    outline, cut = let_out(photo, quad, (True, False, True, True))
    assert cut == _ALL_CUT
    assert outline == pytest.approx(rectangle(*_SIZE), abs=0.01)


def test_it_stays_where_another_sheet_of_nearly_its_tone_begins() -> None:
    photo, quad = _frame_drawn(beyond=0.965)
    outline, cut = let_out(photo, quad, (True, False, True, True))
    assert cut == (True, False, True, True)
    assert outline == pytest.approx(quad)


def test_it_stays_where_the_strip_is_wide_or_the_sheet_lies_whole() -> None:
    photo, narrow = _frame_drawn(at=880)
    assert let_out(photo, narrow, (True, False, True, True))[1] == (True, False, True, True)
    photo, quad = _frame_drawn()
    inside = quad + np.array([[30, 20], [0, 20], [0, -20], [30, -20]])
    assert let_out(photo, inside, (False, False, False, False))[1] == (False, False, False, False)


def test_pages_that_the_photo_cuts_are_among_the_candidates() -> None:
    photo = _page((0.2, 0.13, 0.08), (60, 80), squares=False)
    truth = np.array([[0.0, 60.0], [1000.0, 80.0], [1000.0, 720.0], [0.0, 720.0]])
    assert max(overlap_in_photo(quad, truth, _SIZE) for quad in from_border(gather(photo))) > 0.99


def _photo(linear: Float32) -> Photo:
    pixels = quantise8(encode_fast(linear))
    return Photo(pixels, PhotoFacts("png", pixels.shape[1], pixels.shape[0]), srgb_tables(256))


def test_a_page_that_the_eye_takes_for_nothing_is_a_question_with_the_whole_photo_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(eye, "look", lambda *_: eye.Sight((), 0.1, 99.0, _MAPS))
    page = _page((0, 0, 0), (-9, -9), squares=False)
    cv2.rectangle(page, (150, 120), (850, 600), (0.03, 0.03, 0.03), 4)  # looks like a sheet to the judge
    seen = Survey(_photo(page))
    assert seen.shows_work()[0] >= gate.NO_WORK
    assert seen.outlines(3)[0].whole_photo
    assert seen.outlines(3)[0].confidence < gate.SURE


def test_a_bare_wall_and_a_coloured_thing_on_white_are_no_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    page = _page((0, 0, 0), (-9, -9), squares=False)
    cv2.rectangle(page, (150, 120), (850, 600), (0.03, 0.03, 0.03), 4)
    assert material.is_drawn_page(page)
    assert not material.is_drawn_page(_page((0, 0, 0), (-9, -9), squares=False)[450:])
    sheet = find_sheet(ground_cells(page))
    assert isinstance(sheet, Sheet)
    monkeypatch.setattr(material, "find_sheet", lambda _: replace(sheet, colours=0.16))
    assert not material.is_drawn_page(page)


def test_an_eye_that_is_sure_of_a_page_cut_on_all_sides_is_believed_alone() -> None:
    sure = gate.Witness(0.3, 0.8, views=0.995, undecided=0.01, chance=1.0, rail=False, all_cut=True)
    assert gate.confidence(sure) >= gate.SURE
    for doubt in ({"undecided": 0.1}, {"views": 0.97}, {"all_cut": False}, {"chance": 0.8}, {"several": True}):
        assert gate.confidence(gate.Witness(**{**sure.__dict__, **doubt})) < gate.SURE


def test_a_ruling_that_does_not_end_bears_out_an_eye_that_sees_every_side_cut() -> None:
    nearly = gate.Witness(0.7, 1.0, views=0.96, undecided=0.17, chance=1.0, rail=False, all_cut=True)
    assert gate.confidence(nearly) < gate.SURE
    assert gate.wants_ruling(nearly)
    told = replace(nearly, ruled_over=True)
    assert gate.confidence(told) >= gate.SURE
    assert told.as_evidence()["ruled_over"] == 1
    for doubt in ({"undecided": 0.3}, {"views": 0.9}, {"all_cut": False}, {"chance": 0.8}, {"several": True}):
        assert gate.confidence(replace(told, **doubt)) < gate.SURE
        assert not gate.wants_ruling(replace(nearly, **doubt))


def _ruled(squares: bool = True, beside: tuple[int, int] = (0, 0)) -> Float32:
    """A photo of nothing but a ruled page, with so many pixels of plain table at its right and its bottom border."""
    width, height = _SIZE
    page = np.full((height, width, 3), 0.6, np.float32)
    page[(np.arange(height) % 30) < 2] *= 0.9
    if squares:
        page[:, (np.arange(width) % 30) < 2] *= 0.9
    across, down = beside
    page[:, width - across :] = page[height - down :] = 0.3
    return page


def test_a_ruling_goes_on_up_to_the_borders_or_ends_short_of_one() -> None:
    assert is_ruled_to_borders(_ruled())
    drawn = _ruled()
    cv2.circle(drawn, (500, 10), 90, (0.05, 0.05, 0.05), 12)
    assert is_ruled_to_borders(drawn)
    assert not is_ruled_to_borders(_ruled(beside=(36, 0)))
    assert not is_ruled_to_borders(_ruled(beside=(0, 36)))
    assert not is_ruled_to_borders(np.full((720, 1000, 3), 0.6, np.float32))
    # Lines alone do not tell where they would end above and below.
    assert not is_ruled_to_borders(_ruled(squares=False))


def test_a_photo_of_nothing_but_a_squared_page_is_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """The eye nearly knows, the judge takes what is drawn for an outline, and the page is too crumpled to be seen as
    one sheet: the squares settle it."""
    dents = np.random.default_rng(3).uniform(0.7, 1.0, (9, 12)).astype(np.float32)
    page = _ruled() * cv2.resize(dents, _SIZE, interpolation=cv2.INTER_CUBIC)[..., None]
    cv2.rectangle(page, (170, 130), (830, 580), (0.02, 0.02, 0.05), 6)
    seen = eye.Seen(rectangle(*_SIZE), _ALL_CUT, 0.96)
    monkeypatch.setattr(eye, "look", lambda *_: eye.Sight((seen,), 1.0, 0.17, _MAPS))
    found = Survey(_photo(page)).outline()
    assert isinstance(found, Outline)
    assert found.whole_photo
    assert found.confidence >= gate.SURE
    page[:, 960:] = 0.3
    asked = Survey(_photo(page)).outline()
    assert isinstance(asked, Outline)
    assert asked.confidence < gate.SURE
