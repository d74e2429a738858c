"""The second eye's scenes obey the written policy of what counts as a work."""

import cv2
import numpy as np
import pytest

from autoprep.imaging.arrays import AnyArray, float32
from tests.lab.eye import SIDE_PX, lab_photos, scenes
from tests.lab.eye.carriers import carry
from tests.lab.eye.dice import Dice
from tests.lab.eye.lab_photos import lab_photo
from tests.lab.eye.pages import bordered_page
from tests.lab.eye.ruling import Pen, along_an_edge
from tests.lab.eye.scenes import scene
from tests.lab.eye.seen import visible
from tests.lab.eye.stage import Sheet, Stage, with_side
from tests.lab.eye.underlays import touching, underlays

SQUARE = float32([[60, 60], [200, 60], [200, 200], [60, 200]])
SQUARE_PX = 140 * 140
PAPER = float32([0.9, 0.9, 0.88])


def laid(*things: tuple[AnyArray, bool]) -> Stage:
    """A grey stage with plain sheets; the flag says which is the main one."""
    stage = Stage(np.full((SIDE_PX, SIDE_PX, 3), 0.5, np.float32))
    for quad, main in things:
        stage.lay(Dice(1), np.ones((80, 80, 3), np.float32), float32(quad), Sheet(shadow=(0, 0)), work=True, main=main)
    return stage


def test_the_same_seed_makes_the_same_scene() -> None:
    one, two = scene(Dice(4)), scene(Dice(4))
    assert (one.picture == two.picture).all()
    assert all((a == b).all() for a, b in zip(one.works, two.works, strict=True))


def test_a_whole_object_beside_the_work_counts_when_it_has_half_its_area() -> None:
    beside = SQUARE + float32([160, 0])
    small = (SQUARE - 130) * 0.6 + float32([320, 130])
    assert len(laid((beside, False), (SQUARE, True)).works()) == 2
    assert len(laid((small, False), (SQUARE, True)).works()) == 1


def test_what_is_cut_off_or_covered_does_not_count() -> None:
    cut_off = SQUARE + float32([240, 0])
    under = SQUARE + float32([30, 30])
    assert len(laid((cut_off, False), (SQUARE, True)).works()) == 1
    assert len(laid((under, False), (SQUARE, True)).works()) == 1


def test_the_side_of_a_canvas_belongs_to_its_outline() -> None:
    outer = with_side(SQUARE, np.array([5.0, -3.0]))
    assert outer == pytest.approx(np.array([[60.0, 57], [205, 57], [205, 200], [60, 200]]))


def test_a_side_that_can_not_be_seen_is_told() -> None:
    picture = np.full((SIDE_PX, SIDE_PX, 3), 240, np.uint8)
    assert not visible(picture, SQUARE)
    picture[60:200, 60:200] = 200
    assert visible(picture, SQUARE)


def test_what_lies_under_the_work_or_touches_it_is_no_work() -> None:
    for seed in range(12):
        stage = laid()
        underlays(Dice(seed), stage, SQUARE, PAPER)
        touching(Dice(seed), stage, SQUARE)
        stage.lay(Dice(1), np.ones((80, 80, 3), np.float32), SQUARE, Sheet(shadow=(0, 0)), work=True, main=True)
        assert [(quad == SQUARE).all() for quad in stage.works()] == [True]


def test_what_carries_the_work_is_no_work_and_shows_beside_it() -> None:
    inside = np.zeros((SIDE_PX, SIDE_PX), bool)
    inside[58:202, 58:202] = True
    for seed in range(24):
        stage = laid()
        hold = carry(Dice(seed), stage, SQUARE)
        stage.lay(Dice(1), np.ones((80, 80, 3), np.float32), SQUARE, Sheet(shadow=(0, 0)), work=True, main=True)
        hold()
        assert [(quad == SQUARE).all() for quad in stage.works()] == [True]
        assert (np.abs(stage.picture - 0.5).max(2)[~inside] > 0.02).sum() > 100


def test_a_thing_under_the_work_sticks_out_at_some_side() -> None:
    inside = np.zeros((SIDE_PX, SIDE_PX), bool)
    inside[58:202, 58:202] = True
    shares = []
    for seed in range(40):
        stage = laid()
        underlays(Dice(seed), stage, SQUARE, PAPER)
        seen = np.abs(stage.picture - 0.5).max(2) > 0.2
        shares.append((seen & ~inside).sum() / SQUARE_PX)
    assert min(shares) > 0
    assert 0.05 < np.median(shares) < 0.5


def test_a_photo_of_the_lab_is_made_again_by_its_seed() -> None:
    one, two = lab_photo(Dice(3)), lab_photo(Dice(3))
    assert (one[0] == two[0]).all()
    assert (one[1] == two[1]).all()


@pytest.mark.parametrize("seed", range(8))
def test_some_photos_of_the_lab_show_a_sheet_on_what_carries_it(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lab_photos, "_CARRIED", 1.0)
    kind = (spec := lab_photos._spec(Dice(seed))).kind
    assert (spec.carrier != "none") == (kind in lab_photos._ON_PAPER)


@pytest.mark.parametrize("seed", range(12))
def test_a_line_around_a_page_runs_near_its_edges_and_encloses_it(seed: int) -> None:
    """Only a band as wide as a brush may reach the edge itself (seeds 5 and 11 do)."""
    plain = np.ones((180, 240, 3), np.float32) * PAPER
    drawn = np.abs(bordered_page(Dice(seed), plain.copy(), PAPER) - plain).max(axis=2) > 0.01
    assert not drawn[60:120, 60:180].any()
    for side in range(4):
        painted = np.rot90(drawn, side)[:60, 60:-60].all(axis=1)
        assert painted.any()
        assert painted.argmax() > 0 or painted[:4].all()
        assert painted.argmax() < 30


def test_bands_reach_the_edge_of_some_pages_and_lines_of_none() -> None:
    plain = np.ones((180, 240, 3), np.float32) * PAPER
    pages = [np.abs(bordered_page(Dice(seed), plain.copy(), PAPER) - plain).max(axis=2) > 0.01 for seed in range(60)]
    assert 1 <= sum(bool(page[0, 60:-60].all()) for page in pages) <= 15


def test_a_small_page_has_no_room_for_a_line_around() -> None:
    small = np.ones((50, 240, 3), np.float32)
    assert bordered_page(Dice(1), small, PAPER) is small


def test_a_sheet_on_a_white_lid_is_told_by_a_thin_shadow_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A flatbed's or copier's picture: nothing beside the sheet, of nearly its own white."""
    monkeypatch.setattr(scenes, "_NO_WORK", 0.0)
    monkeypatch.setattr(scenes, "_BY_LAB", 0.0)
    monkeypatch.setattr(scenes, "_KINDS", ((1.0, "paper"),))
    monkeypatch.setattr(scenes, "_MODES", {"paper": ((1.0, "in"),)})
    monkeypatch.setattr(scenes, "_ON_LID", {"in": 1.0})
    monkeypatch.setattr(scenes, "_COVERS", ())
    for seed in range(6):
        made = scene(Dice(seed))
        assert len(made.works) == 1
        beyond = np.ones((SIDE_PX, SIDE_PX), np.uint8)
        cv2.fillConvexPoly(beyond, np.round(made.works[0]).astype(np.int32), 0)
        far = made.picture[cv2.erode(beyond, np.ones((81, 81), np.uint8)) > 0]
        assert len(far) > 1000
        assert np.ptp(np.percentile(far.mean(axis=1), (10, 90))) < 25


@pytest.mark.parametrize("seed", range(12))
def test_a_line_along_an_edge_runs_from_end_to_end_and_leaves_paper_beyond_it(seed: int) -> None:
    made = np.ones((300, 400, 3), np.float32)
    along_an_edge(Dice(seed), Pen(Dice(seed), made, lambda: np.zeros(3, np.float32)))
    drawn = made.min(axis=2) < 0.9
    along = int(np.argmax([drawn.any(axis=1 - axis).mean() for axis in (0, 1)]))
    seen = drawn.any(axis=1 - along)
    assert seen.mean() > 0.85
    assert seen[[*range(30), *range(-30, 0)]].mean() > 0.5
    across = np.flatnonzero(drawn.any(axis=along))
    length = drawn.shape[1 - along]
    deepest = min(across.max(), length - across.min())
    assert deepest < 0.3 * length
    assert 0 < across.min() < across.max() < length - 1
