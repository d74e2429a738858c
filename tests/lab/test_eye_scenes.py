"""The second eye's scenes obey the written policy of what counts as a work."""

import numpy as np
import pytest

from autoprep.imaging.arrays import AnyArray, float32
from tests.lab.eye import SIDE_PX
from tests.lab.eye.dice import Dice
from tests.lab.eye.scenes import scene, visible
from tests.lab.eye.stage import Sheet, Stage, with_side

SQUARE = float32([[60, 60], [200, 60], [200, 200], [60, 200]])


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
