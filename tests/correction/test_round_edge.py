"""A round or oval work in the rectangle around it keeps its edge; the desk in the corners becomes ground."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from autoprep.correction.planning import Wishes, make_plan, plan_edges
from autoprep.domain import Corner, Outline, is_round, torn_sides
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray, UInt8
from autoprep.pixels import Photo
from autoprep.told.done import reasons

_LEFT, _TOP, _RIGHT, _LOW = 300.0, 150.0, 900.0, 750.0


def outline(left: float = _LEFT) -> Outline:
    return Outline(corners_px=((left, _TOP), (_RIGHT, _TOP), (_RIGHT, _LOW), (left, _LOW)), confidence=1.0)


def desk() -> UInt8:
    grain = np.random.default_rng(4).normal(0, 3, (900, 1200, 3))
    return np.asarray(np.clip(np.array([96, 110, 128]) + grain, 0, 255), np.uint8)


def edge(wave: float = 0.0) -> AnyArray:
    """(N, 2) the edge of a disc in the rectangle, hand-cut where it has a wave: 5 bays, so deep."""
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    reach = 300 * (1 - wave + wave * np.cos(5 * turn))
    return np.stack([600 + reach * np.cos(turn), 450 + reach * np.sin(turn)], axis=1)


def painted(picture: UInt8, points: AnyArray, ground: tuple[int, int, int] = (200, 190, 150)) -> UInt8:
    cv2.fillPoly(picture, [np.round(points * 16).astype(np.int32)], ground, cv2.LINE_AA, shift=4)
    for k in range(6):
        cv2.line(picture, (430, 330 + 40 * k), (770, 350 + 40 * k), (60, 90, 40 * k), 9, cv2.LINE_AA)
    return picture


def photo(picture: UInt8) -> Photo:
    return read_photo(cv2.imencode(".png", picture)[1].tobytes())


def kept(picture: UInt8, around: Outline | None = None) -> tuple[Corner, ...] | None:
    """Of edges alone, which are those of the whole plan, as a test below holds them to."""
    return plan_edges(photo(picture), around or outline(), Wishes()).silhouette


def off_truth(silhouette: tuple[Corner, ...] | None, truth: AnyArray) -> float:
    """How far the kept edge lies off the true one at the most, in shares of the rectangle."""
    assert silhouette is not None
    true = (truth - [_LEFT, _TOP]) / [_RIGHT - _LEFT, _LOW - _TOP]
    return max(float(np.linalg.norm(true - point, axis=1).min()) for point in np.array(silhouette))


def test_a_disc_keeps_its_edge_and_it_is_told() -> None:
    shot = photo(painted(desk(), edge()))
    plan, _, measures = make_plan(shot, outline(), Wishes())
    assert off_truth(plan.silhouette, edge()) < 0.005
    assert plan.silhouette is not None
    assert is_round(plan.silhouette)
    assert torn_sides(plan.silhouette) == (True,) * 4  # no bleed grows from its sides
    said = reasons(plan, shot.facts, measures)[0]
    assert "Its round edge is kept: what is outside is ground." in said


def test_a_disc_that_is_cut_by_hand_is_followed() -> None:
    assert off_truth(kept(painted(desk(), edge(0.012))), edge(0.012)) < 0.005


def sheet_with_disc() -> UInt8:
    picture = desk()
    picture[int(_TOP) : int(_LOW), int(_LEFT) : int(_RIGHT)] = (226, 232, 236)
    return painted(picture, edge())


@pytest.mark.parametrize("picture", [lambda: painted(desk(), edge()), sheet_with_disc], ids=["disc", "sheet"])
def test_edges_alone_are_those_of_the_whole_plan(picture: Callable[[], UInt8]) -> None:
    shot = photo(picture())
    alone, plan = plan_edges(shot, outline(), Wishes()), make_plan(shot, outline(), Wishes())[0]
    assert alone.light != plan.light  # it is not looked at
    assert (alone.geometry, alone.silhouette, alone.inset) == (plan.geometry, plan.silhouette, plan.inset)
    assert any(plan.inset)


@pytest.mark.parametrize(
    "picture",
    [
        sheet_with_disc,
        lambda: painted(desk(), np.array([[300, 150], [900, 150], [900, 750], [300, 750]])),
        lambda: painted(desk(), np.array([[600, 150], [900, 450], [600, 750], [300, 450]])),
    ],
    ids=["a disc on a sheet", "a square", "a diamond"],
)
def test_what_is_not_round_has_no_such_edge(picture: Callable[[], UInt8]) -> None:
    assert kept(picture()) is None


def test_a_disc_whose_desk_is_out_of_view_is_left() -> None:
    moved = Outline(corners_px=tuple((x - _LEFT, y) for x, y in outline().corners_px), confidence=1.0)  # type: ignore[arg-type]
    assert kept(painted(desk(), edge())[:, int(_LEFT) :], moved) is None


def test_a_torn_sheet_is_not_called_round() -> None:
    assert not is_round(((0.0, 0.02), (0.5, 0.0), (1.0, 0.03), (0.98, 1.0), (0.02, 0.98)))
