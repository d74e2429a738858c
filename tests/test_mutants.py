"""The planted mistakes still fit the code: each stands in one place, and means something."""

from pathlib import Path

import pytest

from tests.mutants.planted import PLANTED, Mistake

ROOT = Path(__file__).parent.parent


def test_there_are_many_and_each_has_its_own_name() -> None:
    assert len(PLANTED) >= 80
    assert len({(mistake.file, mistake.name) for mistake in PLANTED}) == len(PLANTED)


@pytest.mark.parametrize("mistake", PLANTED, ids=lambda mistake: mistake.name)
def test_a_mistake_has_one_place(mistake: Mistake) -> None:
    assert (ROOT / mistake.file).read_text(encoding="utf-8").count(mistake.old) == 1
    assert mistake.old != mistake.new
    assert any((ROOT / name).exists() for name in mistake.tests)
