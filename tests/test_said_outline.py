"""Corners that the artist gives: which can be meant, and what is answered to those that can't."""

import os
import re
from pathlib import Path

import numpy as np
import pytest

from autoprep.cli.again import _words_with
from autoprep.domain import Declined, Outline, PhotoFacts, WorkFacts
from autoprep.files.icc import srgb_tables
from autoprep.job.said_outline import said_outline
from autoprep.pixels import Photo
from autoprep.wishes.notes import facts_of

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


CORNERS = "corners: 120,80 1900,95 1880,2500 130,2480"


@pytest.mark.parametrize("lines", [(CORNERS, "outline: ask"), ("outline: ask", CORNERS)])
def test_an_outline_and_corners_are_one_thing_of_which_the_last_holds(tmp_path: Path, lines: tuple[str, str]) -> None:
    (tmp_path / "IMG_1.txt").write_text("\n".join(lines), encoding="utf-8")
    facts, (told,) = facts_of(tmp_path, "IMG_1.jpg")
    assert (facts.outline, facts.corners_px is not None) == (("ask", False) if lines[1] != CORNERS else (None, True))
    assert "gives the outline twice" in told
    place = tmp_path / "words.txt"
    place.write_text(f"{lines[0]}\nturn: left\n", encoding="utf-8")
    assert list(_words_with(place, [lines[1]]).values()) == ["turn: left", lines[1]]


def test_a_newer_note_that_the_corner_page_or_the_command_line_outdoes_is_answered(tmp_path: Path) -> None:
    page, note, words = (tmp_path / name for name in ("IMG_1.corners.txt", "IMG_1.txt", "words.txt"))
    page.write_text(f"photo: IMG_1.jpg\n{CORNERS}\nkind: ink\n", encoding="utf-8")
    note.write_text("outline: ask\nhold: no\ntitle: Jug\n", encoding="utf-8")
    words.write_text("hold\ntitle: Jug\n", encoding="utf-8")
    for since, count in ((10, 2), (-10, 0)):  # a question that the page has answered since is no contradiction
        os.utime(note, ns=(0, page.stat().st_mtime_ns + since * 10**9))
        facts, told = facts_of(tmp_path, "IMG_1.jpg", words)
        assert (facts.outline, facts.corners_px is not None, facts.hold) == (None, True, True)
        assert len(told) == count
        assert not told or ("delete IMG_1.corners.txt" in told[0] and "whether it is held" in told[1])
