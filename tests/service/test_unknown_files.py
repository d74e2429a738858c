"""Which files of a work's name its reason names, where the work is on hold or not sent there."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from autoprep.domain import Reason
from autoprep.ledger import Ledger, Rendition
from autoprep.service import naming
from autoprep.service.rule import Known
from autoprep.told.explanations import HOLD, NOT_SENT, is_told_there, left_there
from autoprep.wishes.tables import Settings

_KNOWN = cast(Known, SimpleNamespace(view=SimpleNamespace(job="a photo")))


def _told(monkeypatch: pytest.MonkeyPatch, row: Rendition, lie: list[Path], taken: tuple[Path, ...] = ()) -> str:
    """The reason of a row where such files have its work's name, and a ledger knows some of them."""
    ledger = SimpleNamespace(is_taken=lambda place: place in taken, stayed=lambda job, name: [])
    monkeypatch.setattr(naming, "files_called_so", lambda *asked: lie)
    rows = naming.with_unknown_files(cast(Settings, None), cast(Ledger, cast(Any, ledger)), _KNOWN, {"square": row})
    return rows["square"].reason


@pytest.mark.parametrize("why", [HOLD, NOT_SENT])
def test_a_changed_picture_that_the_reason_speaks_of_is_not_named_once_more(
    why: Reason, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed, other = Path("ready/square/IMG_1.jpg"), Path("ready/square/IMG_1-2.jpg")
    row = Rendition("square", "picked up", changed, reason=left_there(why), why=why.kind)
    assert _told(monkeypatch, row, [changed]) == row.reason
    said = _told(monkeypatch, row, [changed, other])
    assert is_told_there(said, "IMG_1-2.jpg")
    assert not is_told_there(said, "IMG_1.jpg")


def test_a_picture_of_its_name_is_named_where_the_works_own_was_withdrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    place = Path("ready/square/IMG_1.jpg")
    row = Rendition("square", "withdrawn", place, reason=HOLD, why=HOLD.kind)
    assert is_told_there(_told(monkeypatch, row, [place]), "IMG_1.jpg")
    assert _told(monkeypatch, row, [place], taken=(place,)) == HOLD


def test_nothing_is_named_of_what_is_neither_held_nor_unsent(monkeypatch: pytest.MonkeyPatch) -> None:
    place = Path("ready/square/IMG_1.jpg")
    row = Rendition("square", "withdrawn", place, reason="another take", why="another take")
    assert _told(monkeypatch, row, [place]) == "another take"
