"""What the page of a work shows enlarged: corners that would show a line of desk, and the faintest wash."""

from functools import cache
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from autoprep.correction.planned import Planned, planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float64, UInt8
from autoprep.imaging.geometry import homography, rectangle
from autoprep.job import comparison
from autoprep.job.credentials import _colour
from autoprep.job.details import details, faintest
from tests import photos


def made(corners: Float64 = photos.CORNERS, wash: tuple[float, float] | None = None) -> Planned:
    """A sheet on its desk; wash: where on the sheet, as shares, a pale wash lies that takes 4 % of the light."""
    return _made_once(tuple((x, y) for x, y in corners.tolist()), wash)


@cache
def _made_once(corners: tuple[tuple[float, float], ...], wash: tuple[float, float] | None) -> Planned:
    code = photos.sheet()
    if wash is not None:
        art = np.zeros((600, 800), np.float32)
        cv2.ellipse(art, (round(wash[0] * 800), round(wash[1] * 600)), (70, 60), 0, 0, 360, 1.0, -1, cv2.LINE_AA)
        matrix = homography(rectangle(800, 600), photos.CORNERS)
        cover = cv2.warpPerspective(art, matrix, photos.SIZE)[..., None]
        code = np.rint(code * (1 - cover * np.array([0.06, 0.03, 0.02]))).astype(np.uint8)
    photo = read_photo(photos.jpeg(code), 10**8)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, _, _ = make_plan(photo, outline, Wishes("clean", 96.5, 1.0, None))
    return planned(photo, plan)


def cells(picture: UInt8) -> list[UInt8]:
    """The four corners, A to D, each turned so that its outer corner is the upper left one."""
    parts = [picture[:, k * 228 : k * 228 + 220] for k in range(4)]
    return [np.rot90(part, k) for k, part in enumerate(parts)]


def beyond(cell: UInt8) -> list[UInt8]:
    """What is shown outside of the work, along both sides that meet in a corner, but for a hair beside it."""
    return [cell[:9, 20:200], cell[20:200, :9]]


def test_beside_corners_that_are_right_the_desk_is_seen_faded_into_the_ground() -> None:
    desk = photos.sheet()[:40, :40].mean()
    for cell in cells(details(made())):
        for beside in beyond(cell):
            assert 0.5 * 232 + 20 < beside.mean() < 0.5 * 232 + 0.5 * 1.9 * desk  # it is corrected as the paper is
        assert cell[16:40, 16:40].mean() > 235


def test_paper_that_is_cut_off_is_seen_beside_the_corners() -> None:
    narrow = photos.CORNERS + np.array([[30, 30], [-30, 30], [-30, -30], [30, -30]])
    for cell in cells(details(made(narrow))):
        assert all(beside.mean() > 230 for beside in beyond(cell))


def test_where_the_photo_ends_there_is_ground_beside_the_corners() -> None:
    width, height = photos.SIZE
    for cell in cells(details(made(rectangle(width, height)))):
        assert all(np.abs(beside.astype(int) - 232).max() <= 1 for beside in beyond(cell))


@pytest.mark.parametrize(
    "quad",
    [
        [(100, 100), (118, 100), (118, 114), (100, 114)],
        [(100, 100), (900, 100), (900, 112), (100, 112)],
        [(100, 100), (108, 100), (108, 780), (100, 780)],
        [(100, 100), (103, 100), (103, 103), (100, 103)],
    ],
)
def test_works_of_a_few_pixels_have_details_too(quad: list[tuple[int, int]]) -> None:
    assert details(made(np.array(quad, np.float64))).shape[0] >= 3


def test_desk_at_a_corner_is_seen() -> None:
    wide = photos.CORNERS + np.array([[-30, -30], [30, -30], [30, 30], [-30, 30]])
    shown = cells(details(made(wide)))
    assert all(cell.min() < 120 for cell in shown)


@pytest.mark.parametrize("place", [(0.3, 0.35), (0.7, 0.6)])
def test_the_faintest_wash_is_found(place: tuple[float, float]) -> None:
    found = faintest(made(wash=place))
    assert found is not None
    assert np.hypot(found[0] - place[0], found[1] - place[1]) < 0.09


def test_where_nothing_is_faint_nothing_is_shown() -> None:
    assert faintest(made()) is None
    assert details(made()).shape == (220, 4 * 220 + 3 * 8, 3)


def test_the_rim_of_a_sheet_is_not_its_faintest_wash() -> None:
    found = faintest(made(wash=(0.0, 0.5)))
    assert found is None or found[0] > 0.06


@pytest.mark.parametrize(("contrast", "gain", "said"), [(0.0, 1.0, False), (0.3, 1.0, True), (0.0, 1.2, True)])
def test_contrast_that_is_taken_back_is_among_what_was_done(contrast: float, gain: float, said: bool) -> None:
    plan = made().plan
    changed = plan.model_copy(update={"contrast": contrast, "tone": plan.tone.model_copy(update={"gain": gain})})
    assert [was for _, words, was in _colour(changed) if "contrast" in words] == [said]


def test_what_is_shown_as_before_is_the_photo_as_it_came(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not as its light is known by a reference shot."""
    planned_, seen = made(), list[Any]()
    came = read_photo(photos.jpeg())
    blank = SimpleNamespace(linear=np.zeros((4, 4, 3), np.float32))

    def rectified(photo: Any, _geometry: Any) -> Any:
        seen.append(photo)
        return blank

    monkeypatch.setattr(comparison, "rectify", rectified)
    for name in ("preview_jpeg", "corners_html", "_plain_jpeg", "let_go"):
        monkeypatch.setattr(comparison, name, lambda *_: b"")
    order: Any = SimpleNamespace(photo="a.jpg", facts=None)
    record: Any = SimpleNamespace(outline=None)
    comparison.as_shot(order, came, record, planned_)
    assert seen[0] is came
    assert came is not planned_.photo
