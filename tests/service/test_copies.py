"""The daily copies of the ledger: small, a week of them, made beside the work, and put back by one command."""

import errno
import gzip
import os
import threading
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from autoprep.cli import main
from autoprep.ledger import Ledger, copies
from autoprep.service.housekeeping import Housekeeping
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


class Log:
    """Keeps what was warned of."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def warning(self, event: str, **facts: Any) -> None:
        self.told.append(f"{event}: {facts['reason']}")


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio with one photo, and a copy of its ledger that the run has made."""
    made = Studio(studio, monkeypatch)
    made.put("page.jpg", photo(1))
    made.run()
    return made


def folder_of(wren: Studio) -> Path:
    return wren.settings.folders.records / copies.COPIES


def keep(wren: Studio, days: range, log: Any = None) -> None:
    """A service's housekeeping on so many days of January."""
    ledger = Ledger(ledger_path(wren.settings))
    housekeeping = Housekeeping(ledger, log or Log())
    for day in days:
        assert housekeeping.once_a_day(wren.settings, date(2027, 1, day))
        assert not housekeeping.once_a_day(wren.settings, date(2027, 1, day))
        housekeeping.finish(20)
    ledger.close()


def names(wren: Studio) -> list[str]:
    return sorted(path.name for path in folder_of(wren).iterdir())


def photos_in(place: Path) -> list[str]:
    ledger = Ledger(place)
    try:
        return [job.shown for job in ledger.jobs()]
    finally:
        ledger.close()


def test_a_week_of_copies_is_kept_and_those_of_earlier_versions_go_with_time(wren: Studio) -> None:
    assert len(names(wren)) == 1  # the run's own
    (folder_of(wren) / "ledger-2026-12-31.sqlite3").write_bytes(b"not packed, as they were before")
    (folder_of(wren) / "ledger-2026-12-30.sqlite3.gz.part-plain").write_bytes(b"cut off")
    keep(wren, range(1, 7))
    assert "ledger-2026-12-31.sqlite3" in names(wren)
    keep(wren, range(7, 11))
    assert names(wren) == [f"ledger-2027-01-{day:02d}.sqlite3.gz" for day in range(4, 11)]


def test_a_copy_is_much_smaller_than_the_ledger(wren: Studio) -> None:
    (copy,) = folder_of(wren).iterdir()
    assert copy.stat().st_size < ledger_path(wren.settings).stat().st_size / 5


class _January(date):
    """It is the seventh of January."""

    @classmethod
    def today(cls) -> "_January":
        return cls(2027, 1, 7)


def test_the_newest_sound_copy_is_put_back(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.rebuild.date", _January)
    keep(wren, range(4, 8))
    whole = (folder_of(wren) / "ledger-2027-01-05.sqlite3.gz").read_bytes()
    (folder_of(wren) / "ledger-2027-01-06.sqlite3.gz").write_bytes(whole[: len(whole) // 2])
    (folder_of(wren) / "ledger-2027-01-07.sqlite3.gz").write_bytes(gzip.compress(b"packed well, but no ledger" * 99))
    studio = ["--config", str(wren.settings.studio)]
    assert main(["rebuild", "--copy", *studio]) == 2
    assert "the ledger is sound" in capsys.readouterr().err
    ledger_path(wren.settings).write_bytes(b"damaged, all of it" * 1000)
    assert main(["status", *studio]) == 2
    assert "rebuild --copy" in capsys.readouterr().err
    assert main(["rebuild", "--copy", *studio]) == 0
    assert "2027-01-05" in capsys.readouterr().out
    assert photos_in(ledger_path(wren.settings)) == ["page.jpg"]
    (away,) = wren.settings.folders.records.glob("ledger-put-away-*")
    assert away.read_bytes().startswith(b"damaged")
    files = wren.files()
    wren.run()
    assert wren.files() == files


def test_a_copy_of_a_day_that_is_still_to_come_is_older_than_all(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock had gone wrong for a day."""
    monkeypatch.setattr("autoprep.service.rebuild.date", _January)
    own = copies.copy_of(folder_of(wren), "2036-01-01")
    next(folder_of(wren).iterdir()).rename(own)
    wren.put("tern.jpg", photo(2))
    wren.run()
    for copy in folder_of(wren).iterdir():
        if copy != own:
            copy.unlink()
    keep(wren, range(6, 8))
    ledger_path(wren.settings).write_bytes(b"damaged, all of it" * 1000)
    assert main(["rebuild", "--copy", "--config", str(wren.settings.studio)]) == 0
    assert "2027-01-07" in capsys.readouterr().out
    assert photos_in(ledger_path(wren.settings)) == ["page.jpg", "tern.jpg"]
    keep(wren, range(8, 12))
    assert own.name in names(wren)
    keep(wren, range(12, 13))
    assert own.name not in names(wren)  # the first to go
    assert len(names(wren)) == 7


def test_without_a_sound_copy_nothing_is_touched(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    for copy in folder_of(wren).iterdir():
        copy.write_bytes(b"no copy")
    ledger_path(wren.settings).write_bytes(b"damaged")
    assert main(["rebuild", "--copy", "--config", str(wren.settings.studio)]) == 2
    assert "no sound copy" in capsys.readouterr().err
    assert ledger_path(wren.settings).read_bytes() == b"damaged"
    assert not list(wren.settings.folders.records.glob("*.part"))


def test_a_copy_of_an_earlier_version_is_put_back_too(wren: Studio) -> None:
    (packed,) = folder_of(wren).iterdir()
    packed.unlink()
    ledger = Ledger(ledger_path(wren.settings))
    ledger.copy_to(folder_of(wren) / "ledger-2026-01-01.sqlite3")
    ledger.close()
    ledger_path(wren.settings).unlink()
    assert main(["rebuild", "--copy", "--config", str(wren.settings.studio)]) == 0
    assert photos_in(ledger_path(wren.settings)) == ["page.jpg"]


@pytest.mark.parametrize("where", ["copy_to", "pack"])
def test_a_copy_that_cannot_be_made_ends_nothing_and_is_tried_again(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    ledger, log, now = Ledger(ledger_path(wren.settings)), Log(), [0.0]
    housekeeping = Housekeeping(ledger, log, lambda: now[0])
    with monkeypatch.context() as patch:
        patch.setattr(*((ledger, "copy_to", full) if where == "copy_to" else (copies, "pack", full)))
        housekeeping.once_a_day(wren.settings, date(2027, 1, 1))
        housekeeping.finish(20)
    assert log.told == ["no copy of the ledger: there is no free space on the disk"]
    now[0] = 599.0
    assert not housekeeping.once_a_day(wren.settings, date(2027, 1, 1))
    now[0] = 600.0
    assert housekeeping.once_a_day(wren.settings, date(2027, 1, 1))
    housekeeping.finish(20)
    ledger.close()
    assert names(wren)[-1] == "ledger-2027-01-01.sqlite3.gz"
    assert len(log.told) == 1


def test_a_copy_is_packed_beside_the_work(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    may, pack = threading.Event(), copies.pack

    def slow(plain: Path, copy: Path) -> None:
        assert may.wait(20)
        pack(plain, copy)

    monkeypatch.setattr(copies, "pack", slow)
    ledger = Ledger(ledger_path(wren.settings))
    housekeeping = Housekeeping(ledger, Log())
    assert housekeeping.once_a_day(wren.settings, date(2027, 1, 1))
    assert "ledger-2027-01-01.sqlite3.gz" not in names(wren)
    assert housekeeping.once_a_day(wren.settings, date(2027, 1, 2))  # no second one is begun meanwhile
    may.set()
    housekeeping.finish(20)
    assert "ledger-2027-01-01.sqlite3.gz" in names(wren)
    assert "ledger-2027-01-02.sqlite3.gz" not in names(wren)
    assert housekeeping.once_a_day(wren.settings, date(2027, 1, 3))
    housekeeping.finish(20)
    ledger.close()
    assert "ledger-2027-01-03.sqlite3.gz" in names(wren)
