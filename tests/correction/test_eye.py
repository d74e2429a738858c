"""The second eye and the gate: found or missing, cut sides, whole pages, several works, no work, old records."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey, eye, find_outline, finder, gate, masks
from autoprep.correction.outline.refinement import Sides
from autoprep.correction.outline.sides import Settled, settle
from autoprep.domain import Outline, PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, Float64, UInt8
from autoprep.imaging.geometry import clipped, overlap_in_photo, rectangle, widened
from autoprep.pixels import Photo, quad_of
from tests import photos
from tests.lab import several

_MAPS = np.zeros((2, eye.SIDE_PX, eye.SIDE_PX), np.float32)
GOOD = gate.Witness(agreement=0.99, support=0.99, views=0.99, undecided=0.05, chance=1.0, rail=False, all_cut=False)


def photo_of(pixels: UInt8) -> Photo:
    return Photo(pixels, PhotoFacts("png", pixels.shape[1], pixels.shape[0]), srgb_tables(256))


def desk(height: int = 900, width: int = 1200) -> UInt8:
    rng = np.random.default_rng(5)
    grain = cv2.GaussianBlur(rng.normal(0, 40, (height, width)), (0, 0), 6, sigmaY=1)
    return np.clip(np.array([110, 78, 52]) + grain[..., None], 0, 255).astype(np.uint8)


def sheet(picture: UInt8, quad: Float64) -> None:
    """A white sheet with a drawing, and its shadow."""
    cv2.fillPoly(picture, [np.round(quad + 6).astype(np.int32)], (50, 36, 26), cv2.LINE_AA)
    cv2.fillPoly(picture, [np.round(quad).astype(np.int32)], (236, 233, 226), cv2.LINE_AA)
    middle = quad.mean(0)
    for k in range(9):
        line = (
            (quad[0] * (8 - k) + quad[3] * k) / 8 * 0.8 + middle * 0.2,
            (quad[1] * (8 - k) + quad[2] * k) / 8 * 0.7 + middle * 0.3,
        )
        points = np.round([line[0], (line[0] + line[1]) / 2 + [0, 9], line[1]]).astype(np.int32)
        cv2.polylines(picture, [points], False, (40, 40, 60), 2, cv2.LINE_AA)


def test_the_weights_are_there_and_are_the_ones_this_code_was_made_for() -> None:
    assert eye._net() is not None


def test_a_sheet_is_seen_with_no_side_cut() -> None:
    quad = np.array([[220.0, 130], [930, 160], [900, 760], [250, 740]])
    picture = desk()
    sheet(picture, quad)
    sight = eye.look(photo_of(picture), photo_of(picture).linear())
    assert sight is not None
    assert len(sight.works) == 1
    assert sight.works[0].cut == (False, False, False, False)
    assert overlap_in_photo(sight.works[0].quad, quad, (1200, 900)) > 0.95
    assert sight.chance > 0.9


def test_a_side_beyond_the_photo_is_cut_and_stays_on_its_border() -> None:
    quad = np.array([[150.0, 110], [1400, 120], [1400, 800], [170, 790]])
    picture = desk()
    sheet(picture, quad)
    found = find_outline(photo_of(picture))
    assert isinstance(found, Outline)
    assert found.cut == (False, True, False, False)
    assert quad_of(found)[1:3, 0] == pytest.approx([1200, 1200], abs=0.02)
    assert overlap_in_photo(quad_of(found), quad, (1200, 900)) > 0.98


def test_it_is_told_how_much_of_the_photo_the_eyes_outline_is() -> None:
    quad = np.array([[220.0, 130], [930, 160], [900, 760], [250, 740]])
    picture = desk()
    sheet(picture, quad)
    found = find_outline(photo_of(picture))
    assert isinstance(found, Outline)
    assert found.evidence["eye_of_photo"] == pytest.approx(cv2.contourArea(quad.astype(np.float32)) / 1.08e6, abs=0.02)


def test_without_the_weights_the_service_works_and_asks_more(monkeypatch: pytest.MonkeyPatch) -> None:
    photo = read_photo(photos.jpeg())
    both = find_outline(photo)
    monkeypatch.setattr(eye, "_net", lambda: None)
    alone = find_outline(read_photo(photos.jpeg()))
    assert isinstance(both, Outline)
    assert isinstance(alone, Outline)
    assert "eye_agreement" in both.evidence
    assert "eye_agreement" not in alone.evidence
    assert alone.confidence <= 0.92
    survey = Survey(photo)
    assert survey.shows_work() == (1.0, {})
    assert len(survey.works()) == 1


def test_weights_that_are_not_the_ones_are_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(eye, "_WEIGHTS_SHA256", "0" * 64)
    eye._net.cache_clear()
    try:
        assert eye._net() is None
    finally:
        eye._net.cache_clear()


def test_two_sheets_come_out_in_reading_order() -> None:
    left = np.array([[90.0, 200], [520, 190], [530, 720], [80, 730]])
    right = np.add(left, [570, 15])
    picture = desk()
    sheet(picture, right)
    sheet(picture, left)
    works = Survey(photo_of(picture)).works()
    assert len(works) == 2
    for found, quad in zip(works, (left, right), strict=True):
        assert overlap_in_photo(quad_of(found), quad, (1200, 900)) > 0.95


def test_what_the_eye_sees_is_offered_before_what_only_the_judge_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a page beside a box was asked about with the box first, or with both as one spread."""
    left = np.array([[90.0, 200], [520, 190], [530, 720], [80, 730]])
    right = np.add(left, [570, 15])
    picture = desk()
    sheet(picture, right)
    sheet(picture, left)
    seen = (eye.Seen(right, (False, False, False, False), 0.99),)
    monkeypatch.setattr(eye, "look", lambda photo, small: eye.Sight(seen, 1.0, 0.05, _MAPS))
    monkeypatch.setattr(eye, "look_closer", lambda *_: None)  # which would show it the other sheet
    survey = Survey(photo_of(picture))
    assert survey.several
    first, second, *_ = survey.outlines(5)
    assert overlap_in_photo(quad_of(first), right, (1200, 900)) > 0.95
    assert overlap_in_photo(quad_of(second), left, (1200, 900)) > 0.95
    asked = survey.outline()
    assert isinstance(asked, Outline)
    assert asked.confidence < gate.SURE


@pytest.mark.parametrize("gap", [0.0, 0.3])
def test_two_pages_of_an_open_book_are_offered_as_one_spread_first(monkeypatch: pytest.MonkeyPatch, gap: float) -> None:
    """Two works that fill one outline of the judge's; where it holds much else beside them, they come first."""
    photo, (a, b, c, d) = read_photo(photos.jpeg()), photos.corners()
    share = 0.5 - gap / 2
    pages = [np.array([a, a + (b - a) * share, d + (c - d) * share, d])]
    pages.append(np.array([b - (b - a) * share, b, c, c - (c - d) * share]))
    seen = tuple(eye.Seen(page, (False, False, False, False), 0.99) for page in pages)
    monkeypatch.setattr(eye, "look", lambda photo, small: eye.Sight(seen, 1.0, 0.05, _MAPS))
    survey = Survey(photo)
    assert survey.several  # a question in any case
    alike = overlap_in_photo(quad_of(survey.outlines(5)[0]), photos.corners(), photo.full_px)
    assert (alike > 0.95) == (gap == 0.0)


def test_black_and_noise_show_no_work() -> None:
    rng = np.random.default_rng(3)
    black = np.zeros((600, 800, 3), np.uint8)
    noise = rng.integers(0, 60, (600, 800, 3), dtype=np.uint8)
    for picture in (black, noise):
        chance, evidence = Survey(photo_of(picture)).shows_work()
        assert chance < 0.5
        assert set(evidence) == {"chance", "undecided"}


def test_where_the_eye_sees_no_work_nothing_is_passed(monkeypatch: pytest.MonkeyPatch) -> None:
    photo = read_photo(photos.jpeg())
    monkeypatch.setattr(eye, "look", lambda photo, small: eye.Sight((), 0.02, 0.0, _MAPS))
    found = find_outline(photo)
    assert isinstance(found, Outline)
    assert found.confidence < 0.9


def test_works_side_by_side_are_never_passed_as_one() -> None:
    assert gate.confidence(GOOD) > 0.9 > gate.confidence(replace(GOOD, several=True))


# --- the gate ---------------------------------------------------------------------------------------------------


def test_agreement_is_believed_and_disagreement_is_not() -> None:
    assert gate.confidence(GOOD) >= 0.9
    assert gate.confidence(replace(GOOD, agreement=0.89, support=0.89)) < 0.9
    assert gate.confidence(replace(GOOD, agreement=0.0, support=0.0)) < 0.1


def test_a_clear_eye_is_believed_against_the_judges_best() -> None:
    clear = replace(GOOD, agreement=0.3, support=0.96, views=0.985, undecided=0.1, chance=0.99, side_least=-np.inf)
    assert gate.confidence(clear) >= 0.9
    assert gate.confidence(replace(clear, rail=True)) >= 0.9
    for change in (
        {"undecided": 0.12}, {"views": 0.98}, {"support": 0.95}, {"chance": 0.9}, {"several": True}, {"all_cut": True},
    ):  # fmt: skip
        # Finalists that are much like it would be enough by themselves of an eye that is nearly as clear.
        assert gate.confidence(replace(clear, **change)) < 0.9, change


@pytest.mark.parametrize(("support", "least"), [(0.92, -2.0), (0.3, 0.0)])
def test_a_clear_eye_that_no_finalist_bears_out_needs_sides_that_do_not_lie_elsewhere(
    support: float, least: float
) -> None:
    """At the wire of a spiral pad an eye as clear as can be was wrong, and each of its sides, weighed alone, knew."""
    clear = replace(GOOD, agreement=0.3, support=support, views=0.985, undecided=0.1, side_least=least)
    assert gate.confidence(clear) >= 0.9
    for change in ({"side_least": least - 0.1}, {"undecided": 0.21}, {"views": 0.94}, {"all_cut": True}):
        assert gate.confidence(replace(clear, **change)) < 0.9, change
    assert gate.wants_sides(replace(clear, side_least=-np.inf))


def test_an_unclear_eye_and_a_side_that_lies_elsewhere_outweigh_finders_that_just_agree() -> None:
    """A scan on which both finders took a drawn line for the sheet's edge had passed so."""
    near = replace(GOOD, agreement=0.979, support=0.979, views=0.98, undecided=0.17, side_least=-2.1)
    assert gate.confidence(near) < 0.9
    for change in ({"agreement": 0.98}, {"side_least": -2.0}, {"undecided": 0.15}, {"one_sheet": True}):
        assert gate.confidence(replace(near, **change)) >= 0.9
    assert gate.wants_sides(replace(near, side_least=-np.inf))
    assert gate.wants_material(near)
    assert gate.may_be_whole(replace(near, views=0.954, undecided=0.242, of_photo=0.964))


def test_an_unclear_eye_is_not_believed_about_sides_that_it_sees() -> None:
    unclear = replace(GOOD, agreement=1.0, support=1.0, views=0.96, undecided=0.19)
    assert gate.confidence(unclear) < 0.9
    assert gate.confidence(replace(unclear, one_sheet=True)) < 0.9
    # A page that the border cuts leaves a mask undecided without having two edges; one doubt alone is none.
    for change in ({"some_cut": True}, {"views": 0.98}, {"undecided": 0.1}):
        assert gate.confidence(replace(unclear, **change)) >= 0.9, change


def test_sides_that_speak_for_themselves_settle_a_doubt() -> None:
    told = replace(GOOD, agreement=0.3, support=0.3, views=0.976, undecided=0.19, side_least=2.0)
    assert gate.confidence(told) >= 0.9
    assert gate.confidence(replace(told, rail=True, agreement=0.96)) < 0.9  # a drawn frame's line was taken for a side
    for change in (
        {"side_least": 1.9}, {"undecided": 0.21}, {"views": 0.94}, {"several": True}, {"all_cut": True}, {"rail": True},
    ):  # fmt: skip
        assert gate.confidence(replace(told, **change)) < 0.9, change
    unclear = replace(told, views=0.96)
    assert gate.confidence(unclear) < 0.9 <= gate.confidence(replace(unclear, side_least=3.0))
    assert gate.wants_sides(replace(told, side_least=-np.inf))
    assert not gate.wants_sides(replace(told, several=True))
    assert not gate.wants_sides(GOOD)


def test_certain_sides_settle_what_the_finders_nearly_agree_on() -> None:
    """However much of the mask is undecided: books and papers beside the work leave it so."""
    told = replace(GOOD, agreement=0.93, support=0.93, views=0.9, undecided=0.6, rail=True, side_least=3.0)
    assert gate.confidence(told) >= 0.9
    for change in (
        {"side_least": 2.9}, {"agreement": 0.92}, {"views": 0.89}, {"several": True}, {"all_cut": True},
        {"chance": 0.4},
    ):  # fmt: skip
        assert gate.confidence(replace(told, **change)) < 0.9, change
    assert gate.wants_sides(replace(told, side_least=-np.inf))


def test_a_sheet_by_its_material_and_its_sides_needs_no_firm_eye() -> None:
    """A board below a sheet, or a sleeve around it, leaves the eye of two minds about what is clear by all else."""
    told = replace(GOOD, agreement=0.8, support=0.8, views=0.55, undecided=0.7, one_sheet=True, side_least=2.0)
    assert gate.confidence(told) >= 0.9
    assert gate.confidence(replace(told, rail=True)) >= 0.9
    for change in (
        {"side_least": 1.9}, {"agreement": 0.79}, {"one_sheet": False}, {"several": True}, {"all_cut": True},
        {"chance": 0.4},
    ):  # fmt: skip
        assert gate.confidence(replace(told, **change)) < 0.9, change
    # Either is asked for where the other is not known yet, or known to be good; and not where it would settle nothing.
    assert gate.wants_sides(replace(told, one_sheet=False, side_least=-np.inf))
    assert gate.wants_material(replace(told, one_sheet=False))
    assert not gate.wants_material(replace(told, one_sheet=False, side_least=1.0))


def test_finders_that_agree_to_a_hair_need_no_likely_sides_where_the_material_says_one_sheet() -> None:
    """A bleached page that fills its photo, about which the eye wavers: as it lies, it was a question."""
    told = replace(GOOD, agreement=0.98, support=0.98, views=0.5, undecided=0.7, one_sheet=True, side_least=0.0)
    assert gate.confidence(told) >= gate.SURE
    for change in ({"side_least": -0.1}, {"agreement": 0.979}, {"one_sheet": False}, {"several": True}):
        assert gate.confidence(replace(told, **change)) < gate.SURE
    assert gate.wants_sides(replace(told, one_sheet=False, side_least=-np.inf))
    assert gate.wants_material(replace(told, one_sheet=False))
    assert not gate.wants_material(replace(told, one_sheet=False, side_least=-0.1))


@pytest.mark.parametrize(("score", "asked"), [(3.5, False), (-0.5, True)])
def test_an_eye_that_wavers_asks_the_sides(monkeypatch: pytest.MonkeyPatch, score: float, asked: bool) -> None:
    """Most of what was asked about without need had four edges of which each alone was beyond doubt."""
    true_look = eye.look

    def wavering(photo: Photo, small: Float32) -> eye.Sight:
        sight = true_look(photo, small)
        assert sight is not None
        work = replace(sight.works[0], views_agree=0.96)
        return replace(sight, works=(work,), undecided=0.17)

    def settled(lab: Float32, maps: Float32, quad: Float64, eye_quad: Float64, cut: Sides) -> Settled:
        return replace(settle(lab, maps, quad, eye_quad, cut), scores=np.array([score, 5.0, np.nan, 5.0]))

    monkeypatch.setattr(eye, "look", wavering)
    monkeypatch.setattr(finder, "settle", settled)
    found = find_outline(read_photo(photos.jpeg()))
    assert isinstance(found, Outline)
    assert (found.confidence < gate.SURE) == asked


def test_a_finalist_makes_up_for_the_judges_best_only_beside_a_sure_eye() -> None:
    lone = replace(GOOD, agreement=0.7, support=0.99, undecided=0.15)
    assert gate.confidence(lone) >= 0.9
    for change in ({"undecided": 0.2}, {"views": 0.95}, {"rail": True}, {"all_cut": True}, {"several": True}):
        assert gate.confidence(replace(lone, **change)) < 0.9


def test_a_rail_inside_asks_for_more_agreement() -> None:
    near = replace(GOOD, agreement=0.96, support=0.96, undecided=0.15)  # no clear eye
    assert gate.confidence(near) >= 0.9
    assert gate.confidence(replace(near, rail=True)) < 0.9


@pytest.mark.parametrize("change", [{"views": 0.8}, {"undecided": 0.9}, {"chance": 0.2}, {"several": True}])
def test_an_eye_of_two_minds_is_a_question(change: dict[str, float]) -> None:
    assert gate.confidence(replace(GOOD, **change)) < 0.9  # type: ignore[arg-type]


# --- masks ------------------------------------------------------------------------------------------------------


def bell(distance: Float32) -> Float32:
    return np.asarray(np.exp(-(distance**2) / 2.4), np.float32)


def test_a_weak_side_near_the_border_is_the_border() -> None:
    mask, edges = np.zeros((160, 160), np.float32), np.zeros((160, 160), np.float32)
    mask[30:130, 8:150] = 1
    at = np.arange(160, dtype=np.float32) + 0.5
    edges = np.maximum.reduce([bell(at - 30)[:, None] * np.ones(160), bell(at - 130)[:, None] * np.ones(160)])
    edges = np.maximum(edges, bell(at - 150)[None] * np.ones((160, 1))).astype(np.float32)
    shape = masks.shapes(mask, edges)[0]
    assert shape.cut == (False, False, False, True)
    assert shape.quad[[0, 3], 0] == pytest.approx([0, 0], abs=1e-6)
    edges = np.maximum(edges, bell(at - 8)[None] * np.ones((160, 1))).astype(np.float32)
    assert masks.shapes(mask, edges)[0].cut == (False, False, False, False)


# --- geometry and records -----------------------------------------------------------------------------------------


def test_what_lies_beyond_the_photo_is_not_compared() -> None:
    one, two = rectangle(100, 80), np.array([[0.0, -30], [130, -30], [130, 90], [0, 90]])
    assert overlap_in_photo(one, two, (100, 80)) == pytest.approx(1.0)
    assert overlap_in_photo(rectangle(50, 80), one, (100, 80)) == pytest.approx(0.5)
    assert len(clipped(rectangle(10, 10) + 500, one)) == 0


def test_sides_move_out_by_their_own_distance() -> None:
    moved = widened(rectangle(10, 10), np.array([1.0, 0, 0, 2.0]))
    assert moved == pytest.approx(np.array([[-2.0, -1], [10, -1], [10, 10], [-2, 10]]))


def test_an_outline_of_an_older_record_still_loads() -> None:
    corners = [[0, 0], [10, 0], [10, 8], [0, 8]]
    old = Outline.model_validate_json(f'{{"corners_px": {corners}, "confidence": 0.9}}')
    assert old.cut == (False, False, False, False)
    new = old.model_copy(update={"cut": (True, False, False, True)})
    assert Outline.model_validate_json(new.model_dump_json()) == new


def test_the_material_speaks_for_an_outline_on_which_the_finders_differ() -> None:
    seen = gate.Witness(
        agreement=0.79, support=0.8, views=0.97, undecided=0.2, chance=0.99, rail=False, all_cut=False, some_cut=True,
        one_sheet=True, side_least=-2.0,
    )  # fmt: skip
    assert gate.confidence(seen) >= 0.9
    assert gate.confidence(replace(seen, side_least=-np.inf, support=0.955)) >= 0.9
    for doubt in (
        {"one_sheet": False}, {"all_cut": True}, {"views": 0.9}, {"several": True}, {"chance": 0.3},
        {"side_least": -2.1},
    ):  # fmt: skip
        assert gate.confidence(replace(seen, **doubt)) < 0.9, doubt


def test_the_material_decides_only_where_the_finders_are_in_doubt() -> None:
    doubt = replace(GOOD, agreement=0.5, support=0.5, views=0.9, undecided=0.6)
    assert gate.may_be_whole(doubt)
    assert not gate.may_be_whole(GOOD)
    for change in ({"several": True}, {"chance": 0.3}, {"views": 0.99, "undecided": 0.1}, {"rail": True}):
        assert not gate.may_be_whole(replace(doubt, **change))


def test_an_end_that_an_eye_of_one_mind_sees_is_believed_rather_than_the_material() -> None:
    """A white sheet on a scanner's white lid is one material with it."""
    lid = replace(GOOD, agreement=0.5, support=0.5, views=0.965, undecided=0.2, some_cut=True, of_photo=0.87)
    assert not gate.may_be_whole(lid)
    assert gate.may_be_whole(replace(lid, of_photo=0.975))
    assert gate.may_be_whole(replace(lid, views=0.92))


@pytest.mark.parametrize("seed", [9608, 9622], ids=["a dark sheet beside", "small sheets on a white desk"])
def test_one_of_several_works_does_not_pass_alone(seed: int) -> None:
    """Tuning seeds of the lab where one work, or the whole desk, had passed for the work."""
    found = Survey(several.photo_of(seed)[0]).outline()
    assert isinstance(found, Outline)
    assert found.confidence < 0.9
