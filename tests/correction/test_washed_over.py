"""A wash that covers its sheet is no light; a lamp that colours sheet and desk alike is."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from autoprep.correction import planning
from autoprep.correction.outline.answers import corners_of
from autoprep.correction.paper_eye import PaperSight
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.shade_eye import Sight
from autoprep.correction.squaring import rectify
from autoprep.domain import CorrectionPlan, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray, Float32, UInt8
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo
from autoprep.told.done import reasons
from tests.lab.scene import encode_jpeg, random_spec, render, rough_spec

_SHEET = ((250.0, 180.0), (950.0, 180.0), (950.0, 720.0), (250.0, 720.0))
_OUTLINE = Outline(corners_px=_SHEET, confidence=1.0)
# Codes of a wash at one end and at the other, and of the desk.
_BLUE, _BARE, _DESK = (176, 204, 236), (236, 234, 230), (112, 106, 98)


def _slope(first: tuple[int, ...], last: tuple[int, ...], count: int) -> AnyArray:
    way = np.linspace(0, 1, count)[:, None, None]
    return np.array(first) * (1 - way) + np.array(last) * way


def photo(
    desk: tuple[tuple[int, ...], tuple[int, ...]] = (_DESK, _DESK),
    shown: tuple[slice, slice] = (slice(None), slice(None)),
) -> Photo:
    """A sheet under a wash from blue to bare paper, with a few strokes, on a desk of one colour, or of two."""
    return read_photo(cv2.imencode(".png", _picture(desk)[shown][..., ::-1])[1].tobytes())


@cache
def _picture(desk: tuple[tuple[int, ...], tuple[int, ...]]) -> UInt8:
    picture = np.broadcast_to(_slope(*desk, 900), (900, 1200, 3)).copy()
    picture[180:720, 250:950] = _slope(_BLUE, _BARE, 540)
    for x in range(330, 880, 90):
        picture[300:600, x : x + 4] = 40
    grain = np.random.default_rng(8).normal(0, 1.2, picture.shape)
    return np.clip(picture + grain, 0, 255).astype(np.uint8)


def plan_of(shot: Photo, wishes: Wishes | None = None, outline: Outline = _OUTLINE) -> CorrectionPlan:
    return make_plan(shot, outline, wishes or Wishes())[0]


def ends(shot: Photo, plan: CorrectionPlan) -> Float32:
    """(2, 3) the finished sheet's colour at its upper and its lower end, codes 0..1."""
    made = encode_fast(np.clip(corrected(rectify(shot, plan.geometry).linear, plan), 0, 1))
    rows = made.shape[0] // 10
    return np.stack([np.median(part.reshape(-1, 3), axis=0) for part in (made[2:rows], made[-rows:-2])])


def test_a_wash_over_all_of_a_sheet_stays_and_is_told() -> None:
    shot = photo()
    plan = plan_of(shot)
    assert plan.paper == "none"
    upper, lower = ends(shot, plan)
    assert upper * 255 == pytest.approx(_BLUE, abs=9)
    assert lower * 255 == pytest.approx(_BARE, abs=9)
    said = " ".join(reasons(plan, shot.facts, {"oblique_degrees": 0.0}))
    assert "taken for a wash and left as shot" in said
    assert "“paper: white”" in said


@pytest.mark.parametrize(
    "wishes",
    [Wishes(said_paper="white"), Wishes(kind="ink"), Wishes(kind="pencil"), Wishes(paper_asked=True)],
    ids=["white", "ink", "pencil", "clean"],
)
def test_who_says_that_there_is_no_wash_gets_clean_paper(wishes: Wishes) -> None:
    shot = photo()
    plan = plan_of(shot, wishes)
    assert plan.paper in ("white", "tinted")
    assert np.ptp(ends(shot, plan), axis=0).max() < 0.03


def test_who_says_watercolour_keeps_the_wash() -> None:
    assert plan_of(photo(), Wishes(kind="watercolour")).paper == "none"


def test_a_desk_that_changes_alike_shows_that_it_is_the_light() -> None:
    """The sheet's colour changes by .47 in natural logs of red to green; so does this desk's."""
    desk = ((82, 91, 101), _DESK)
    assert plan_of(photo(desk)).paper != "none"


@pytest.mark.parametrize(("bare", "washed"), [(0.1, True), (0.9, False)])
def test_one_eye_that_sees_it_covered_is_believed_alone_but_where_the_other_sees_bare_paper(
    monkeypatch: pytest.MonkeyPatch, bare: float, washed: bool
) -> None:
    seen = Sight(np.zeros((128, 128), np.float32), np.full((128, 128), bare, np.float32))
    monkeypatch.setattr(planning, "look_for_shade", lambda view: seen)
    monkeypatch.setattr(planning, "look_at_paper", lambda view, mask: PaperSight(0.005, 0.01, 0.985))
    assert (plan_of(photo(((82, 91, 101), _DESK))).paper == "none") == washed


def test_part_of_the_desk_is_enough_where_it_runs_along_the_change() -> None:
    cut = Outline(corners_px=corners_of(np.array(_SHEET) - [250, 0]), confidence=1.0)
    assert plan_of(photo(shown=(slice(None), slice(250, None))), outline=cut).paper == "none"


def test_without_a_desk_nothing_tells_a_wash_from_the_light() -> None:
    fills = Outline(corners_px=((0.0, 0.0), (700.0, 0.0), (700.0, 540.0), (0.0, 540.0)), confidence=1.0)
    assert plan_of(photo(shown=(slice(180, 720), slice(250, 950))), outline=fills).paper != "none"


def test_a_desk_that_is_nearly_black_tells_no_colour() -> None:
    """That of the camera's black is the same from side to side, whatever the light does (the lab's photo 229419)."""
    assert plan_of(photo(((5, 5, 5), (5, 5, 5)))).paper != "none"
    assert plan_of(photo(((30, 24, 20), (30, 24, 20)))).paper == "none"  # a dark one does
    assert plan_of(photo(((30, 24, 5), (30, 24, 5)))).paper != "none"  # in each colour


@pytest.mark.slow
def test_on_photos_of_the_lab() -> None:
    """Sheets under a wash on any desk, with and without shadows; sheets without one under two lights."""
    kept = [_paper("washed", seed, lamp=0.0) for seed in (139_000, 139_004)]
    assert kept.count("none") == 2
    for seed in range(139_021, 139_022):
        assert _paper(("ink", "journal")[seed % 2], seed, lamp=0.7) != "none"


def _paper(kind: str, seed: int, lamp: float) -> str:
    spec = replace((rough_spec if seed % 2 else random_spec)(seed, kind), lamp=lamp)
    shot = render(spec, 900)
    outline = Outline(corners_px=corners_of(np.asarray(shot.truth.corners_px, np.float64)), confidence=1.0)
    return plan_of(read_photo(encode_jpeg(shot, 90)), outline=outline).paper
