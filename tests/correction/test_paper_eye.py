"""The eye for paper: what it sees on works of the lab, and what is made of its word."""

from dataclasses import replace
from functools import cache
from typing import Any

import cv2
import numpy as np
import pytest

from autoprep.correction import paper_class, paper_eye, planning, washed_over
from autoprep.correction.camera import without_contrast
from autoprep.correction.fallen import DESK, WORK
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import Judged, judge
from autoprep.correction.outline.answers import corners_of
from autoprep.correction.paper import Paper
from autoprep.correction.paper_eye import PaperSight, look_at_paper
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.shadows import Shadow
from autoprep.correction.squaring import geometry_of, rectify
from autoprep.correction.view import seen_squarely
from autoprep.correction.washed_over import is_washed_over
from autoprep.domain import Declined, Geometry, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, UInt8
from autoprep.pixels import Photo
from autoprep.wishes.tables import CAMERA_CONTRAST
from tests.correction.test_paper_class import _around, _page
from tests.correction.test_washed_over import photo as washed_photo
from tests.lab.scene import encode_jpeg, random_spec, render

_COVERED, _LIGHT, _TONED = PaperSight(0.1, 0.1, 0.8), PaperSight(0.8, 0.1, 0.1), PaperSight(0.01, 0.98, 0.01)
_FAIRLY = PaperSight(0.38, 0.07, 0.55)
_OUTLINE = Outline(corners_px=((250.0, 180.0), (950.0, 180.0), (950.0, 720.0), (250.0, 720.0)), confidence=1.0)


def _of_lab(kind: str, seed: int) -> PaperSight:
    spec = replace(random_spec(seed, kind, None), shadow="none")
    shot = render(spec, 900)
    photo = without_contrast(read_photo(encode_jpeg(shot, 92)), CAMERA_CONTRAST)
    outline = Outline(corners_px=corners_of(np.asarray(shot.truth.corners_px, np.float64)), confidence=1.0)
    seen = look_at_paper(seen_squarely(photo, geometry_of(photo, outline, shot.truth.size_mm)), np.ones((90, 90), bool))
    assert seen is not None
    assert seen.light + seen.toned + seen.covered == pytest.approx(1.0, abs=1e-4)
    return seen


def test_it_tells_white_paper_from_toned_and_from_a_wash() -> None:
    """Two of these three washes are more than a breath of colour."""
    seeds = (30_041, 30_042, 30_043)
    assert min(_of_lab("pencil", seed).light for seed in seeds) > 0.6
    assert min(_of_lab("toned", seed).toned for seed in seeds) > 0.8
    assert sorted(_of_lab("washed", seed).covered for seed in seeds)[1] > 0.5


def test_only_the_ground_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Light paper on the left of a work, toned on the right; half of the ground lies on a part of the right."""
    maps = np.full((3, 160, 160), -20.0, np.float32)
    maps[0, :, :80], maps[1, :, 80:] = 20.0, 20.0
    monkeypatch.setattr(paper_eye, "shown_whole", lambda net, view: maps)
    view = seen_squarely(washed_photo(), geometry_of(washed_photo(), _OUTLINE, None))
    ground = np.zeros((40, 80), bool)
    ground[:, :10] = True
    assert _rounded(look_at_paper(view, ground)) == PaperSight(1.0, 0.0, 0.0)
    ground[:20, 60:80] = True
    assert _rounded(look_at_paper(view, ground)) == PaperSight(0.5, 0.5, 0.0)
    assert look_at_paper(view, np.zeros((40, 80), bool)) is None


def _rounded(sight: PaperSight | None) -> PaperSight:
    assert sight is not None
    return PaperSight(round(sight.light, 3), round(sight.toned, 3), round(sight.covered, 3))


def test_a_desk_that_is_lighter_than_the_work_is_not_clipped() -> None:
    codes = np.full((600, 800, 3), 235, np.uint8)
    codes[150:450, 200:600] = 90
    photo = _as_photo(codes)
    outline = Outline(corners_px=((200.0, 150.0), (600.0, 150.0), (600.0, 450.0), (200.0, 450.0)), confidence=1.0)
    view = seen_squarely(photo, geometry_of(photo, outline, None))
    work, desk = view.where == WORK, view.where == DESK
    assert np.median(view.codes[desk]) == 255
    # .8 of linear light is code 231 of sRGB (IEC 61966-2-1).
    assert np.median(view.codes[work]) == pytest.approx(np.median(view.all_codes[desk]), abs=12)
    assert np.median(view.all_codes[desk]) == pytest.approx(231, abs=2)
    assert np.median(view.all_codes[work]) == pytest.approx(90 * 231 / 235, abs=3)


def _as_photo(codes: UInt8) -> Photo:
    return read_photo(cv2.imencode(".png", codes[..., ::-1])[1].tobytes())


@cache
def _washed_sheet() -> tuple[Photo, Geometry, Paper]:
    """The sheet under a wash, where it lies, and the paper that is found on it."""
    photo = washed_photo()
    geometry = geometry_of(photo, _OUTLINE, None)
    paper, _ = find_paper(rectify(photo, geometry).linear)
    assert not isinstance(paper, Declined)
    return photo, geometry, paper


def _told(
    monkeypatch: pytest.MonkeyPatch, sheet: float, desk: float, sight: PaperSight | None, bare: float = 0.0
) -> bool:
    """Whether a sheet is taken for washed over whose colour changes by so much from top to bottom, on a desk whose
    colour changes by so much (natural log)."""
    photo, geometry, paper = _washed_sheet()
    monkeypatch.setattr(washed_over, "_change_on_sheet", lambda paper: np.array([[0.02, 0.0], [sheet, 0.05]]))
    monkeypatch.setattr(washed_over, "_change_on_desk", lambda photo, geometry: np.array([[0.5, 0.5], [-desk, 0.0]]))
    return is_washed_over(paper, photo, geometry, sight, bare)


@pytest.mark.parametrize(
    ("sheet", "desk", "sight", "washed"),
    [
        (0.3, 0.02, None, True),  # what is clear needs no eye
        (0.3, 0.02, PaperSight(0.84, 0.02, 0.14), True),
        (0.3, 0.02, PaperSight(0.86, 0.02, 0.12), False),  # but one that surely sees light paper is heard
        (0.3, 0.1, None, False),
        (0.3, 0.1, _COVERED, True),
        (0.3, 0.1, _LIGHT, False),
        (0.3, 0.1, PaperSight(0.3, 0.4, 0.3), False),  # it sees toned paper, no paint
        (0.3, 0.1, PaperSight(0.44, 0.0, 0.56), False),
        (0.3, 0.15, _FAIRLY, False),  # the light changes the desk as well
        (0.3, 0.15, _COVERED, True),  # the surer the eye, the less the desk must say
        (0.3, 0.15, PaperSight(0.25, 0.1, 0.65), False),
        (0.3, 0.15, PaperSight(0.31, 0.0, 0.69), False),
        (0.3, 0.2, PaperSight(0.02, 0.02, 0.94), False),
        (0.1, 0.02, None, False),
        (0.1, 0.02, _COVERED, True),
        (0.06, 0.0, _COVERED, False),  # what hardly changes is no wash
        (0.5, np.inf, _COVERED, True),  # the desk tells nothing: much must change
        (0.3, np.inf, _COVERED, False),
        (0.35, np.inf, PaperSight(0.1, 0.04, 0.86), True),
        (0.35, np.inf, PaperSight(0.1, 0.06, 0.84), False),
        (0.25, np.inf, PaperSight(0.1, 0.04, 0.86), False),
        (0.5, np.inf, None, False),
        (0.0, 0.0, PaperSight(0.01, 0.02, 0.97), True),  # as sure as that
        (0.0, 0.0, PaperSight(0.02, 0.02, 0.96), False),
        (0.0, 0.0, PaperSight(0.01, 0.05, 0.94), False),
    ],
)
def test_the_eye_has_a_word_where_sheet_and_desk_leave_it_open(
    monkeypatch: pytest.MonkeyPatch, sheet: float, desk: float, sight: PaperSight | None, washed: bool
) -> None:
    assert _told(monkeypatch, sheet, desk, sight) == washed


@pytest.mark.parametrize(("bare", "washed"), [(0.0, True), (0.65, True), (0.75, False)])
def test_where_the_eye_for_shade_sees_bare_paper_the_other_is_not_believed_alone(
    monkeypatch: pytest.MonkeyPatch, bare: float, washed: bool
) -> None:
    """Hard shadows of two colours look like paint to it."""
    sure = PaperSight(0.01, 0.02, 0.97)
    assert _told(monkeypatch, 0.0, 0.0, sure, bare) == washed
    assert _told(monkeypatch, 0.3, 0.02, sure, bare)  # what the photo shows is as it was


@pytest.mark.parametrize(("covers", "alone", "seen"), [(0.36, True, True), (0.3, False, True), (0.08, False, False)])
def test_a_wash_covers_its_sheet(covers: float, alone: bool, seen: bool) -> None:
    photo, geometry, paper = _washed_sheet()
    paper = replace(paper, coverage=covers)
    assert is_washed_over(paper, photo, geometry) == alone
    assert is_washed_over(paper, photo, geometry, _COVERED) == seen
    assert is_washed_over(paper, photo, geometry, PaperSight(0.0, 0.0, 1.0)) == seen


def _judged(ground: PaperSight | None, level: float = 0.3, lighter: float = 0.0, absolute: bool = False) -> Judged:
    page, paper = _page((level, level, level), lighter)
    return judge(page, paper, None, _around(paper, 1.0), absolute, None, ground)


def test_paper_that_is_surely_seen_to_be_toned_stays_and_is_called_a_guess() -> None:
    assert _judged(None).paper == "white"
    judged = _judged(_TONED)
    assert (judged.paper, judged.guessed) == ("toned", True)
    assert judged.evidence["seen_toned"] == pytest.approx(0.98)
    assert _judged(_TONED, level=0.9).paper == "toned"  # as light as a grey sheet hardly is
    assert _judged(PaperSight(0.01, 0.95, 0.04)).paper == "white"
    assert _judged(PaperSight(0.025, 0.975, 0.0)).paper == "white"
    assert _judged(_TONED, level=0.9, absolute=True).paper == "white"  # a chart knows
    proven = _judged(_TONED, lighter=0.02)  # by lighter marks
    assert (proven.paper, proven.guessed) == ("toned", False)


@pytest.mark.parametrize(("logit", "paper"), [(-3.5, "white"), (-2.5, "toned")])
def test_trees_that_are_sure_of_light_paper_outweigh_the_eye(
    monkeypatch: pytest.MonkeyPatch, logit: float, paper: str
) -> None:
    monkeypatch.setattr(paper_class, "_trees", lambda: lambda numbers: np.array([logit]))
    assert _judged(_TONED).paper == paper


def test_paper_that_is_surely_seen_to_be_light_is_light_and_is_called_a_guess() -> None:
    """What seemed lighter than the paper may be light between the fingers of a shadow."""
    sure = PaperSight(0.9, 0.03, 0.07)
    assert _judged(None, lighter=0.02).paper == "toned"
    judged = _judged(sure, lighter=0.02)
    assert (judged.paper, judged.guessed) == ("white", True)
    assert _judged(PaperSight(0.9, 0.06, 0.04), lighter=0.02).paper == "toned"
    assert _judged(PaperSight(0.8, 0.03, 0.17), lighter=0.02).paper == "toned"
    assert _judged(sure, level=0.01).paper == "toned"  # black
    page, paper = _page((0.5, 0.25, 0.07))  # redder than any lamp makes white paper
    assert judge(page, paper, None, _around(paper, 1.0), False, None, sure).paper == "toned"


def test_the_artist_has_the_last_word_on_it() -> None:
    page, paper = _page((0.3, 0.3, 0.3))
    judged = judge(page, paper, None, _around(paper, 1.0), False, "white", _TONED)
    assert (judged.paper, judged.guessed) == ("tinted", False)


def test_it_is_asked_where_something_around_tells_the_light(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def seen(view: object, ground: object) -> PaperSight:
        asked.append(ground)
        return _LIGHT

    monkeypatch.setattr(planning, "look_at_paper", seen)
    make_plan(washed_photo(), _OUTLINE, Wishes())
    assert len(asked) == 1
    cut = washed_photo(shown=(slice(180, 720), slice(250, 950)))
    fills = Outline(corners_px=((0.0, 0.0), (700.0, 0.0), (700.0, 540.0), (0.0, 540.0)), confidence=1.0)
    make_plan(cut, fills, Wishes())
    assert len(asked) == 1
    found = find_paper

    def ruled(linear: Float32, *more: Any) -> tuple[Paper | Declined, Shadow | Declined]:
        paper, shadow = found(linear, *more)
        assert not isinstance(paper, Declined)
        return replace(paper, ruled=True), shadow

    monkeypatch.setattr(planning, "find_paper", ruled)
    make_plan(washed_photo(), _OUTLINE, Wishes())
    assert len(asked) == 1


def test_without_its_weights_all_goes_on_as_before(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paper_eye, "_net", lambda: None)
    plan, _, _ = make_plan(washed_photo(), _OUTLINE, Wishes())
    assert plan.paper == "none"  # the sheet's colour changes and the desk's does not
