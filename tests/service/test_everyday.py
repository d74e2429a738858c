"""Everyday files and mishaps: none stops the service, loses a photo or costs a file of the artist's."""

import os
import signal
import sqlite3
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from autoprep.domain import JobRecord
from autoprep.errors import ConfigError
from autoprep.ledger import Change, Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.inbox import is_ignored, scan
from autoprep.service.pool import Pool
from autoprep.service.said import facts_for
from autoprep.wishes.notes import facts_of
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import EngineHere, run_once

pytestmark = pytest.mark.usefixtures("looked_at_once")


def test_the_same_bytes_set_aside_twice_do_not_stop_it(studio: Settings) -> None:
    """A phone's sync leaves `film.mov` and `film (1).mov`; a touched file comes again under its own name."""
    inbox = studio.folders.inbox
    for name in ("film.jpg", "film (1).jpg"):
        (inbox / name).write_bytes(b"no photo at all" * 50)
    (inbox / "page.jpg").write_bytes(photos.jpeg())
    records = run_once(studio)
    assert records["page.jpg"].outcome == "ready"
    os.utime(inbox / "film.jpg", (1, 1))
    again = run_once(studio)
    assert [r.outcome for r in again.values()].count("set aside") == 1
    logged = "".join(file.read_text(encoding="utf-8") for file in studio.folders.records.glob("log.jsonl*"))
    assert "set aside" in logged
    assert '"fault"' not in logged


@pytest.mark.parametrize(
    "text", ["title = " + "[" * 5000, "price = " + "9" * 6000, "title = 'x"], ids=["nested", "digits", "broken"]
)
def test_a_note_that_chokes_a_parser_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / "page.toml").write_text(text, encoding="utf-8")
    facts, warnings = facts_of(tmp_path, "page.jpg")
    assert facts.title == "page"
    assert len(warnings) == 1
    assert "page.toml" in warnings[0]


def test_settings_that_choke_a_parser_are_an_error_in_plain_words(studio: Settings) -> None:
    file = studio.config_file
    file.write_text(file.read_text(encoding="utf-8") + "\nx = " + "[" * 5000, encoding="utf-8")
    with pytest.raises(ConfigError, match="too large"):
        load(file)


@pytest.mark.parametrize("name", [".IMG_1.jpg", "._IMG_1.jpg", "~IMG_1.jpg", "~$sheet.tif"])
def test_hidden_and_temporary_files_are_no_photos(tmp_path: Path, name: str) -> None:
    assert is_ignored(name)
    for each in (name, "IMG_1.jpg"):
        (tmp_path / each).write_bytes(b"a photo")
    assert [item.path for item in scan(tmp_path)] == [b"IMG_1.jpg"]


def test_what_phones_and_systems_keep_is_passed_over(tmp_path: Path) -> None:
    for folder in ("$RECYCLE.BIN", "lost+found", "System Volume Information", ".dropbox.cache"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "old.jpg").write_bytes(b"x")
    for name in ("IMG_1.HEIC", "IMG_1.MOV", "IMG_1.AAE", "alone.mov"):
        (tmp_path / name).write_bytes(b"x")
    assert [item.path for item in scan(tmp_path)] == [b"IMG_1.HEIC", b"alone.mov"]
    assert not is_ignored("Lost and found.jpg")
    for folder in ("@eaDir", "#recycle"):  # of a disk in the network
        assert is_ignored(folder)
    assert is_ignored(".IMG_1.HEIC.icloud")
    assert is_ignored("IMG_1.HEIC.icloud")


def test_a_queued_photo_waits_for_its_bytes_and_is_found_where_it_went(studio: Settings) -> None:
    inbox = studio.folders.inbox
    (inbox / "page.jpg").write_bytes(photos.jpeg())
    log = open_log(studio.folders.records, None)
    first = Engine(studio, log, follow=False)
    first.step(0.1)
    time.sleep(0.5)
    first._look()
    item = first._ready.popitem()[1]
    first._arrivals.take(item)  # the job is open; nothing was made
    first.stop()
    (inbox / "page.jpg").rename(studio.studio / "away.jpg")
    records = run_once(studio)
    assert records == {}  # not there is not "set aside"
    (studio.studio / "away.jpg").rename(inbox / "back.jpg")
    ledger = sqlite3.connect(ledger_path(studio))
    ledger.execute("UPDATE jobs SET not_before = 0")
    ledger.commit()
    ledger.close()
    assert run_once(studio)["back.jpg"].outcome == "ready"


def test_the_same_bytes_put_back_reopen_what_was_set_aside(studio: Settings) -> None:
    photo = studio.folders.inbox / "page.jpg"
    photo.write_bytes(photos.jpeg())
    run_once(studio)
    ledger = Ledger(ledger_path(studio))
    job = ledger.jobs()[0]
    assert job.record is not None
    ledger.finish(job.record.model_copy(update={"outcome": "set aside", "outputs": ()}))
    ledger.close()
    photo.write_bytes(photos.jpeg())
    os.utime(photo, (5, 5))
    assert run_once(studio)["page.jpg"].outcome == "ready"


def test_a_file_of_the_artists_at_the_reserved_name_stays(studio: Settings) -> None:
    inbox, ready = studio.folders.inbox, studio.folders.ready
    (inbox / "page.jpg").write_bytes(photos.jpeg())
    made = run_once(studio)["page.jpg"]
    square = next(o for o in made.outputs if o.destination == "square")
    place = studio.studio / square.path
    place.write_bytes(b"edited by hand")
    ledger = Ledger(ledger_path(studio))
    ledger.ask_redo(made.job, ["square", "master"])
    ledger.close()
    again = run_once(studio)["page.jpg"]
    assert place.read_bytes() == b"edited by hand"
    fresh = next(o for o in again.outputs if o.destination == "square")
    assert fresh.path != square.path
    assert (studio.studio / fresh.path).is_file()
    assert any("stays" in note for note in fresh.notes)
    assert len(list((ready / "master").iterdir())) == 1  # what nobody touched is replaced in its place


def test_a_fault_about_one_photo_costs_no_other(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    inbox = studio.folders.inbox
    for number in range(4):
        (inbox / f"page {number}.jpg").write_bytes(photos.jpeg(seed=number))
    real = facts_for

    def faulty(settings: Settings, shown: str, *more: object) -> object:
        if shown == "page 2.jpg":
            raise ValueError("planted")
        return real(settings, shown, *more)  # type: ignore[arg-type]

    for module in ("said", "arrivals"):
        monkeypatch.setattr(f"autoprep.service.{module}.facts_for", faulty)
    records = run_some(studio, 3)
    assert {name for name, record in records.items() if record.outcome in ("ready", "alternate")} == {
        "page 0.jpg", "page 1.jpg", "page 3.jpg",
    }  # fmt: skip


def test_a_full_disk_is_waited_for(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    (studio.folders.inbox / "page.jpg").write_bytes(photos.jpeg())
    real, times = Ledger.claim, [0]

    def full(self: Ledger, *given: object) -> object:
        times[0] += 1
        if times[0] <= 2:
            raise sqlite3.OperationalError("database or disk is full")
        return real(self, *given)  # type: ignore[arg-type]

    monkeypatch.setattr(Ledger, "claim", full)
    assert run_some(studio, 1)["page.jpg"].outcome == "ready"


def test_a_full_disk_at_the_very_end_loses_no_job(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """The worker is done, and the ledger can't be written: no worker has the job, and yet it must come out."""
    (studio.folders.inbox / "page.jpg").write_bytes(photos.jpeg())
    real, times = Ledger.apply, [0]

    def full(self: Ledger, changes: Sequence[Change]) -> None:
        times[0] += 1
        if times[0] == 1:
            raise sqlite3.OperationalError("database or disk is full")
        real(self, changes)

    monkeypatch.setattr(Ledger, "apply", full)
    assert run_some(studio, 1)["page.jpg"].outcome == "ready"
    assert times[0] == 2


def run_some(settings: Settings, count: int) -> dict[str, JobRecord]:
    """Run the engine until so many records are there, at most half a minute."""
    found: dict[str, JobRecord] = {}
    engine = EngineHere(
        settings, open_log(settings.folders.records, None), lambda record: found.update({record.photo: record})
    )
    limit = time.monotonic() + 30
    while len(found) < count and time.monotonic() < limit:
        engine.step(0.1)
    engine.stop()
    return found


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="no such signal here")
def test_a_stopped_idle_worker_does_not_freeze_the_service() -> None:
    """An order is larger than a pipe holds: sent from the service's own thread it would wait for ever."""
    pool = Pool(1, 4000, 1.0)
    worker = pool._start()
    limit = time.monotonic() + 30
    while not worker.up:
        assert list(pool.collect()) == []
        assert time.monotonic() < limit
        time.sleep(0.02)
    pid = worker.process.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    began = time.monotonic()
    pool.submit("one", b"x" * 4_000_000)
    assert time.monotonic() - began < 0.5
    while not list(pool.collect()):
        assert time.monotonic() - began < 8
        time.sleep(0.05)
    pool.stop()
    assert time.monotonic() - began < 10
