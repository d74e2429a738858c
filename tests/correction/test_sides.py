"""Each side among its rivals: shadows on walls, drawn lines, sheets below; what the photo's border cuts stays."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey, eye, finder, sides
from autoprep.correction.outline.answers import Answer
from autoprep.correction.outline.close_up import smooth_lab
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.refinement import Sides
from autoprep.correction.outline.rivals import NAMES, Rivals, corners_of, depths, rivals, squared
from autoprep.correction.outline.sides import Settled, settle
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import is_convex, order_corners, overlap_in_photo, rectangle
from autoprep.pixels import Photo, quad_of
from tests import photos
from tests.lab.measures import measure_outline
from tests.lab.scene import Shot, encode_jpeg, random_spec, render, rough_spec

_QUAD = np.array([[210.0, 160], [980, 120], [1010, 740], [180, 700]])
_NONE = (False, False, False, False)


@cache
def _lab() -> Float32:
    """(900, 1200, 3) L*a*b*, smoothed: a pale sheet on a darker desk, a line drawn along its sides a little inside."""
    rng = np.random.default_rng(3)
    picture = np.full((900, 1200, 3), (0.16, 0.12, 0.09), np.float32)
    cv2.fillPoly(picture, [np.round(_QUAD * 16).astype(np.int32)], (0.8, 0.78, 0.72), cv2.LINE_AA, 4)
    frame = _QUAD + (_QUAD.mean(axis=0) - _QUAD) * 0.07
    cv2.polylines(picture, [np.round(frame * 16).astype(np.int32)], True, (0.3, 0.3, 0.3), 2, cv2.LINE_AA, 4)
    lab = smooth_lab(np.asarray(picture * np.exp(rng.normal(0, 0.01, picture.shape)), np.float32))
    lab.setflags(write=False)  # it is every test's
    return lab


def _maps(quad: Float64 = _QUAD) -> Float32:
    """What an eye would show that sees a quad in a photo of 1200 x 900."""
    mask = np.zeros((320, 320), np.float32)
    cv2.fillPoly(mask, [np.round(quad * [320 / 1200, 320 / 900]).astype(np.int32)], 1.0)
    edges = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    return np.stack([cv2.GaussianBlur(mask, (0, 0), 1.0), edges]).astype(np.float32)


def test_depths_and_corners_are_each_others_inverse() -> None:
    view = squared(_lab(), _maps(), _QUAD)
    assert corners_of(view, [np.zeros(2)] * 4) == pytest.approx(_QUAD, abs=1e-6)
    other = _QUAD + np.array([[-9.0, 4], [6, -7], [-3, 12], [5, 8]])
    assert corners_of(view, [depths(view, other, side) for side in range(4)]) == pytest.approx(other, abs=1e-6)


def test_what_lies_outside_an_outline_is_at_negative_depth() -> None:
    view = squared(_lab(), _maps(), _QUAD)
    larger = _QUAD + (_QUAD - _QUAD.mean(axis=0)) * 0.04
    assert all((depths(view, larger, side) < -5).all() for side in range(4))


@pytest.mark.parametrize("side", range(4))
def test_a_sheets_own_edge_is_among_the_rivals_of_a_line_drawn_on_it(side: int) -> None:
    frame = _QUAD + (_QUAD.mean(axis=0) - _QUAD) * 0.07
    view = squared(_lab(), _maps(), frame)
    found = rivals(view, side, np.zeros(2))
    off = np.abs(found.ends_px - depths(view, _QUAD, side)).max(axis=1)
    best = int(off.argmin())
    assert off[best] < 4  # the foot of so strong an edge; the fit that follows finds its crest
    told = dict(zip(NAMES, found.features[best], strict=True))
    drawn = dict(zip(NAMES, found.features[0], strict=True))
    # Beyond the edge lies another material, beyond the line the same; the edge is a step, the line is not.
    assert told["out_in_light"] < drawn["out_in_light"] - 20
    assert told["light_step"] < -20 < drawn["light_step"]
    assert told["ends_outside"] < drawn["ends_outside"]
    assert (told["outer_rivals"], drawn["outer_rivals"]) == (0, 1)


@pytest.mark.parametrize("aside", [0.0, -200.0, 180.0])
def test_a_view_knows_where_the_photo_does_not_show_it(aside: float) -> None:
    view = squared(_lab(), _maps(), _QUAD + np.array([aside, 0]))
    inside = np.ones(_lab().shape[:2], np.float32)
    seen = cv2.warpPerspective(inside, view.matrix, view.shown.shape[::-1], flags=cv2.INTER_NEAREST)
    np.testing.assert_array_equal(view.shown, seen)
    assert (view.shown == 0).any() == (aside != 0)


def _settled(quad: Float64, cut: tuple[bool, bool, bool, bool] = _NONE) -> Settled:
    return settle(_lab(), _maps(), quad, _QUAD, cut)


def test_right_sides_stay_to_the_hundredth() -> None:
    found = _settled(_QUAD)
    assert found.moved == _NONE
    assert found.quad == pytest.approx(_QUAD, abs=0.01)
    assert found.scores.min() > 1


@pytest.mark.parametrize("side", range(4))
def test_a_side_on_a_drawn_line_is_moved_out_to_the_edge_and_the_others_stay(side: int) -> None:
    frame, wrong = _QUAD + (_QUAD.mean(axis=0) - _QUAD) * 0.07, _QUAD.copy()
    view = squared(_lab(), _maps(), _QUAD)
    ends = [depths(view, frame, k) if k == side else np.zeros(2) for k in range(4)]
    wrong = corners_of(view, ends)
    found = _settled(wrong)
    assert found.moved == tuple(k == side for k in range(4))
    assert np.abs(found.quad - _QUAD).max() < 1.5
    held = tuple(k == side for k in range(4))
    stays = _settled(wrong, held)  # type: ignore[arg-type]
    assert stays.moved == _NONE
    assert np.isnan(stays.scores[side])


def test_a_side_is_not_moved_in_where_the_photo_does_not_show_what_lies_beyond() -> None:
    row = np.zeros((2, len(NAMES)))
    row[0, NAMES.index("shown")] = 0.8
    inwards, outwards = np.array([[0.0, 0], [9, 11]]), np.array([[0.0, 0], [-9, -11]])
    assert not sides._may_move(Rivals(inwards, row), 1)
    assert sides._may_move(Rivals(outwards, row), 1)
    row[0, NAMES.index("shown")] = 1.0
    assert sides._may_move(Rivals(inwards, row), 1)


@pytest.mark.parametrize(
    ("score", "moved"), [((0.0, 3.0), True), ((0.0, 0.9), False), ((-6.0, -2.0), False), ((-6.0, -0.4), True)]
)
def test_a_side_moves_only_to_an_edge_that_is_clearly_likelier(
    monkeypatch: pytest.MonkeyPatch, score: tuple[float, float], moved: bool
) -> None:
    def trees() -> Callable[[Float64], Float64]:
        return lambda table: np.array([*score, *[-9.0] * (len(table) - 2)])

    monkeypatch.setattr(sides, "_trees", trees)
    monkeypatch.setattr(sides, "_ROUNDS", 1)
    found = _settled(_QUAD)
    assert any(found.moved) is moved
    # The likeliest is told in any case, for a question.
    assert np.abs(found.likeliest - _QUAD).max() > 5


@cache
def _shot(seed: int, kind: str, rough: bool) -> tuple[Shot, Photo, Outline]:
    """A photo of the lab, and the outline that is found in it."""
    spec = (rough_spec if rough else random_spec)(seed, kind)
    shot = render(spec, 1400)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    found = Survey(photo).outline()
    assert isinstance(found, Outline)
    return shot, photo, found


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "kind", "rough", "moved"),
    [
        (31426, "painting", True, 1),  # what lies beside it: 84 px of 2000 were left
        (31108, "ink", False, 0),  # a sheet below: 36 px; the eye itself sees it since 0.39.0
        (32317, "watercolour", True, 1),  # another, in the shadow of a hand: 75 px
    ],
)
def test_a_side_that_three_right_ones_carried_along_is_mended(seed: int, kind: str, rough: bool, moved: int) -> None:
    shot, photo, found = _shot(seed, kind, rough)
    assert found.evidence["sides_moved"] == moved
    measured = measure_outline(shot, found, make_plan(photo, found, Wishes())[0].geometry)
    assert measured.left_px < 4
    assert measured.lost_px < 4


def test_a_sheet_below_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    shot, photo, found = _shot(32317, "watercolour", True)
    monkeypatch.setattr(finder, "settle", lambda lab, maps, quad, eye, cut: Settled(quad, _NONE, np.zeros(4), quad))
    before = Survey(photo).outline()
    assert isinstance(before, Outline)
    truth = shot.truth.corners_px
    assert overlap_in_photo(quad_of(before), truth, photo.full_px) < 0.985
    assert overlap_in_photo(quad_of(found), truth, photo.full_px) > 0.99


@pytest.mark.parametrize(
    ("confidence", "out_px", "offered"),
    [
        (0.93, (60, 90), [60, 0]),  # and the outline before
        (0.85, (60, 90), [90, 60, 0]),  # where it is a question, first the one that is hardly likelier
        (0.85, (60, 61), [60, 0]),
        (0.85, (0, 90), [90, 0]),
        (0.93, (2, 90), [2]),
    ],
)
def test_what_a_side_might_have_been_is_still_a_choice(
    monkeypatch: pytest.MonkeyPatch, confidence: float, out_px: tuple[float, float], offered: list[float]
) -> None:
    photo = read_photo(photos.jpeg())
    entry = Answer(photos.corners(), confidence)
    down = np.array([[0.0, 0], [0, 0], [0, 1], [0, 1]]) * photo.full_px[0] / 1200
    settled, likeliest = out_px

    def settle_so(lab: Float32, maps: Float32, quad: Float64, eye: Float64, cut: Sides) -> Settled:
        scale = lab.shape[1] / photo.full_px[0]
        return Settled(
            quad + down * settled * scale, (False, False, True, False), np.ones(4), quad + down * likeliest * scale
        )

    monkeypatch.setattr(finder, "settle", settle_so)
    sight = eye.Sight((eye.Seen(entry.quad, _NONE, 0.99),), 1.0, 0.05, _maps())
    found = finder._settled(Copies(photo), sight, entry, sight.works[0])
    lower = [float(((answer.quad - entry.quad)[2] / down[2, 1])[1]) for answer in found]
    assert lower == pytest.approx(offered)
    assert found[0].confidence == confidence
    assert found[0].evidence["sides_moved"] == 1
    assert all(other.confidence == pytest.approx(1 - confidence) for other in found[1:])


@pytest.mark.parametrize(("inward_px", "confidence"), [(0, 0.92), (2, 0.92), (90, 0.85)])
def test_the_material_speaks_for_the_outline_that_it_saw(
    monkeypatch: pytest.MonkeyPatch, inward_px: int, confidence: float
) -> None:
    """What the material told from its desk is doubted where a side is moved onto a line that is ruled on the page."""
    photo = read_photo(photos.jpeg())
    entry = Answer(photos.corners(), 0.92, evidence={"one_sheet": 1.0})
    right = np.array([[1.0, 0], [0, 0], [0, 0], [1, 0]]) * photo.full_px[0] / 1200

    def settle_so(lab: Float32, maps: Float32, quad: Float64, eye: Float64, cut: Sides) -> Settled:
        moved = quad + right * inward_px * lab.shape[1] / photo.full_px[0]
        return Settled(moved, (False, False, False, True), np.ones(4), moved)

    monkeypatch.setattr(finder, "settle", settle_so)
    sight = eye.Sight((eye.Seen(entry.quad, _NONE, 0.99),), 1.0, 0.05, _maps())
    first, *others = finder._settled(Copies(photo), sight, entry, sight.works[0])
    assert first.confidence == pytest.approx(confidence)
    assert len(others) == (inward_px == 90)  # the outline before is a choice
    unasked = replace(entry, evidence={})  # others spoke for it
    assert finder._settled(Copies(photo), sight, unasked, sight.works[0])[0].confidence == 0.92


def test_the_whole_photo_has_no_sides_to_be_moved() -> None:
    photo = read_photo(photos.jpeg())
    whole = Answer(rectangle(*photo.full_px), 0.92, (True,) * 4, whole=True)
    sight = eye.Sight((eye.Seen(photos.corners(), _NONE, 0.99),), 1.0, 0.05, _maps())
    assert finder._settled(Copies(photo), sight, whole, sight.works[0]) == [whole]


@pytest.mark.filterwarnings("error")
def test_odd_pictures_and_outlines_come_out_as_outlines() -> None:
    """Black, white and noise; slivers, and outlines that lie mostly beyond the photo."""
    rng = np.random.default_rng(0)
    for k in range(40):
        height, width = (int(size) for size in rng.integers(60, 500, 2))
        flat = np.full((height, width, 3), (0.0, 95.0)[k % 2], np.float32)
        lab = flat if k % 4 < 2 else np.asarray(rng.normal(50, 15, flat.shape), np.float32)
        half = rng.uniform(0.02, 0.75) * max(height, width) * np.array([1.0, rng.uniform(0.03, 1)])
        corners = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * half * (1 + rng.normal(0, 0.08, (4, 2)))
        turn = rng.uniform(0, 2 * np.pi)
        quad = order_corners(
            corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
            + rng.random(2) * [width, height]
        )
        seen = order_corners(quad + rng.normal(0, 0.1 * half[0], (4, 2)))
        top, right, bottom, left = (bool(side) for side in rng.random(4) < 0.2)
        maps = np.asarray(rng.random((2, 320, 320)), np.float32)
        found = settle(lab, maps, quad, seen, (top, right, bottom, left))
        assert np.isfinite(found.quad).all()
        assert np.isfinite(found.likeliest).all()
        assert is_convex(found.quad)
