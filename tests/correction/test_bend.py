"""Sides that bend are followed; straight, torn and unseen ones are left to their lines."""

from collections.abc import Callable
from typing import Any
from weakref import ref

import cv2
import numpy as np
import pytest

from autoprep.correction import planning
from autoprep.correction.bend import LEAST_BENDS, bent_sides
from autoprep.correction.edges import Edges, trace
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.squaring import Rimmed, geometry_of, rectify, rimmed
from autoprep.domain import Outline, PhotoFacts, Side
from autoprep.files.icc import srgb_tables
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32, Float64, UInt8
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo, Work, in_photo
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render
from autoprep.told.done import reasons
from tests.lab import scene
from tests.lab.measures import measure_outline, straightness_percent
from tests.lab.spec import bent_spec

_WIDE, _HIGH, _MARGIN = 1400, 1000, 42
_NONE = (False,) * 4
Edge = Callable[[Float64], Float64]


def sheet(inward: dict[int, Edge], desk: float = 0.1, paper: float = 0.7) -> Float32:
    """A sheet whose top, right, bottom and left edge (0 to 3) runs so many pixels inward at 0..1 from left or top."""
    y, x = np.mgrid[0 : _HIGH + 2 * _MARGIN, 0 : _WIDE + 2 * _MARGIN] + 0.5 - _MARGIN
    u, v = x / _WIDE, y / _HIGH
    depth = [y, _WIDE - x, _HIGH - y, x]
    on: Bool = np.ones(x.shape, bool)
    for side in range(4):
        on &= depth[side] > inward.get(side, np.zeros_like)(np.clip(v if side % 2 else u, 0, 1))
    picture = np.where(on[..., None], np.float32(paper), np.float32(desk)) * np.ones(3, np.float32)
    noise = np.random.default_rng(5).normal(0, 0.01, picture.shape)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0) + noise, np.float32)


def found(picture: Float32, cut: tuple[bool, ...] = _NONE, beyond: Float32 | None = None) -> tuple[Side, ...] | None:
    return bent_sides(trace(picture, _MARGIN, beyond), cut, LEAST_BENDS[0])


def arch(t: Float64) -> Float64:
    """An edge that runs 9 pixels outward in the middle, 9 inward at the ends."""
    return np.asarray(9 * (2 * (2 * t - 1) ** 2 - 1))


def lifted_end(t: Float64) -> Float64:
    """One end of the edge lies 20 pixels further out."""
    return np.asarray(-20 * np.clip((t - 0.4) / 0.6, 0, 1) ** 2)


@pytest.mark.parametrize("side", range(4))
@pytest.mark.parametrize("edge", [arch, lifted_end])
def test_a_bent_side_is_followed_to_a_pixel(side: int, edge: Edge) -> None:
    sides = found(sheet({side: edge}))
    assert sides is not None
    assert [k for k in range(4) if any(sides[k])] == [side]
    places = np.array(sides[side]) * _WIDE
    assert places == pytest.approx(edge(np.linspace(0, 1, 5)), abs=1.5)


def test_straight_sides_keep_their_lines() -> None:
    assert found(sheet({})) is None


def test_an_edge_beside_the_line_is_no_bend_of_it() -> None:
    """The line was laid through an edge: another one along it, level or slanting, bent or not, is not meant."""
    assert found(sheet({1: lambda t: np.full_like(t, 6.0)})) is None
    assert found(sheet({1: lambda t: 12 * t - 1})) is None
    assert found(sheet({1: lambda t: arch(t) + 14})) is None
    assert found(sheet({1: lambda t: 20 * t - 1 + 3 * 4 * t * (1 - t)})) is None


def test_a_bend_of_a_hair_is_left() -> None:
    assert found(sheet({0: lambda t: arch(t) / 9})) is None


def test_torn_edges_are_no_bends() -> None:
    torn = np.random.default_rng(8).uniform(-9, 9, 60)
    assert found(sheet({2: lambda t: torn[np.minimum((t * 60).astype(int), 59)]})) is None


def test_a_side_that_the_border_cuts_is_none() -> None:
    assert found(sheet({3: arch}), (False, False, False, True)) is None


def test_what_can_not_be_told_from_the_desk_is_left() -> None:
    assert found(sheet({0: arch}, desk=0.69)) is None


def test_a_line_drawn_near_the_edge_is_no_edge() -> None:
    """What a pen drew is dark, and the same paper lies on both sides of it."""
    picture = sheet({})
    x = np.arange(_WIDE)
    y = _MARGIN + 10 + arch((x + 0.5) / _WIDE)
    for row in (0, 1):
        picture[np.round(y).astype(int) + row, x + _MARGIN] = 0.2
    assert found(picture) is None


def test_an_edge_with_a_thing_over_it_is_followed_below_that() -> None:
    picture = sheet({2: arch})
    picture[-_MARGIN - 40 :, 700:790] = (0.4, 0.2, 0.15)
    sides = found(picture)
    assert sides is not None
    assert np.array(sides[2]) * _WIDE == pytest.approx(arch(np.linspace(0, 1, 5)), abs=2)


def test_where_the_photo_ends_the_side_stays_within_it() -> None:
    """The photo ends 4 pixels beyond the line; one end of the edge leaves it: rather no curve than one there."""

    def edge(t: Float64) -> Float64:
        return np.asarray(14 - 60 * (t - 0.3) ** 2)

    picture, out = sheet({0: edge}), _MARGIN - 4
    beyond = np.zeros(picture.shape[:2], np.float32)
    beyond[:out] = 1
    picture[:out] = picture[out]
    sides = found(picture, beyond=beyond)
    assert sides is None or min(sides[0]) * _WIDE > -6


def test_a_work_with_hardly_anything_around_it_is_left() -> None:
    small = np.asarray(cv2.resize(sheet({0: arch}), None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA), np.float32)
    assert bent_sides(trace(small, round(0.3 * _MARGIN)), _NONE, LEAST_BENDS[0]) is None


def photo_of(picture: Float32) -> Photo:
    codes: UInt8 = quantise8(encode_fast(picture))
    return Photo(codes, PhotoFacts("png", codes.shape[1], codes.shape[0]), srgb_tables(256))


def outline_of(*moved: float) -> Outline:
    """The sheet's outline; moved: pixels by which the ends of its top lie inward of it."""
    left, right = moved or (0.0, 0.0)
    corners = ((0.0, left), (float(_WIDE), right), (float(_WIDE), float(_HIGH)), (0.0, float(_HIGH)))
    return Outline(corners_px=tuple((x + _MARGIN, y + _MARGIN) for x, y in corners), confidence=0.99)  # type: ignore[arg-type]


def test_what_a_works_edges_are_seen_in_is_gone_before_its_light_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is three times the work in size."""
    seen: list[ref[Edges]] = []
    held: list[bool] = []

    def traced(*given: Any) -> Rimmed:
        rim = rimmed(*given)
        assert rim.traced is not None
        seen.append(ref(rim.traced))
        return rim

    def looked(*given: Any) -> Work:
        held.append(any(one() is not None for one in seen))
        return rectify(*given)

    monkeypatch.setattr(planning, "rimmed", traced)
    monkeypatch.setattr(planning, "rectify", looked)
    make_plan(photo_of(sheet({})), outline_of(), Wishes())
    assert seen
    assert held == [False]


def test_a_picture_of_a_sheet_that_bends_shows_all_of_it_and_no_desk() -> None:
    """Desk in the picture, or what is drawn close to its edge cut off: four lines leave one of them at least."""
    picture = sheet({0: arch, 2: arch})
    picture[_MARGIN - 4 : _MARGIN, _MARGIN + 600 : _MARGIN + 800] = 0.4  # drawn 5 pixels inside the edge
    photo = photo_of(picture)
    plan, _, measures = make_plan(photo, outline_of(), Wishes())
    made = render(photo, plan, lay_out(Frame(), plan), Look(), lambda strip, _x, _y: strip, lambda code: code)
    assert (made.pixels < 160).mean() < 1e-4  # desk
    assert (made.pixels[:12, 620:780].min(axis=0) < 190).mean() > 0.95  # what is drawn there
    assert plan.geometry.sides is not None
    said = reasons(plan, photo.facts, measures)[0]
    assert "does not lie flat: its edge bends by up to 1." in said  # 18 pixels of 1400
    straight = plan.model_copy(update={"geometry": geometry_of(photo, outline_of()), "inset": (0.0,) * 4})
    lines = render(photo, straight, lay_out(Frame(), straight), Look(), lambda strip, _x, _y: strip, lambda code: code)
    assert (lines.pixels < 160).mean() > 2e-3


def test_nothing_is_said_of_a_flat_sheet() -> None:
    photo = photo_of(sheet({}))
    plan, _, measures = make_plan(photo, outline_of(), Wishes())
    assert plan.geometry.sides is None
    assert "lie flat" not in reasons(plan, photo.facts, measures)[0]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_turned_work_follows_the_same_edge(turn: int) -> None:
    photo = photo_of(sheet({0: arch}))
    rim = rimmed(photo, outline_of().model_copy(update={"cut": (False, True, True, True)}), turn=turn)
    upright = rim.geometry.turned(-turn // 90)
    middle = in_photo(upright, np.array([[0.5, 0.0], [0.5, 1.0]])) - _MARGIN
    assert middle[:, 1] == pytest.approx([-9, _HIGH], abs=1.5)


def test_a_whole_photo_has_no_edges_to_follow() -> None:
    photo = photo_of(sheet({0: arch}))
    size = (float(photo.full_px[0]), float(photo.full_px[1]))
    corners = ((0.0, 0.0), (size[0], 0.0), size, (0.0, size[1]))
    rim = rimmed(photo, Outline(corners_px=corners, confidence=1.0, whole_photo=True))
    assert rim.traced is None
    assert rim.geometry.sides is None


@pytest.mark.parametrize("seed", [30050, 30053])
def test_a_sheet_of_the_lab_that_does_not_lie_flat(seed: int) -> None:
    """Its true corners are given: what is left is what its sides bend."""
    spec = bent_spec(seed, "ink")
    shot = scene.render(spec, 1200)
    photo = read_photo(scene.encode_jpeg(shot, spec.jpeg_quality))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    lines, followed = geometry_of(photo, outline), rimmed(photo, outline).geometry
    before, after = (measure_outline(shot, outline, one) for one in (lines, followed))
    assert max(after.lost_px, after.left_px) < 0.4 * max(before.lost_px, before.left_px)
    assert straightness_percent(shot, followed) < 0.5 * straightness_percent(shot, lines)
