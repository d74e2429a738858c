"""A dose of the long trials in tests/faults, as README there describes them."""

import sys
from pathlib import Path

import pytest

from tests.faults.burst import burst
from tests.faults.clock import DAY, jump, library
from tests.faults.kills import kill_often
from tests.faults.races import WAYS, race

pytestmark = pytest.mark.slow


def test_kills_at_random_moments_lose_double_and_leave_nothing(tmp_path: Path) -> None:
    found = kill_often(tmp_path / "studio", 2, seed=3)
    assert found.wrong == []
    assert found.kills == 2
    assert found.photos >= 3


def test_a_burst_without_any_event_is_found(tmp_path: Path) -> None:
    found = burst(tmp_path / "studio", 30, limit_s=60)
    assert found.wrong == []
    assert 0 < found.found_s < 5


@pytest.mark.skipif(library() is None, reason="libfaketime is not here")
def test_a_clock_that_jumps_loses_and_doubles_nothing(tmp_path: Path) -> None:
    photos, wrong = jump(tmp_path / "studio", (-3650 * DAY,))
    assert wrong == []
    assert photos == 2


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="openings are told by Linux alone")
def test_photos_that_change_while_they_are_read_are_not_mixed(tmp_path: Path) -> None:
    found = race(tmp_path / "studio", len(WAYS), seed=4)
    assert found.wrong == []
    assert found.happened == dict.fromkeys(WAYS, 1)
