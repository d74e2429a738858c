"""The ledger: one job per photo, reserved places, migrations, recovery."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from autoprep.domain import JobRecord, OutputRecord
from autoprep.ledger import LOOK, MIGRATIONS, Change, Ledger, Rendition, SeenFile, journal_mode

SIGNATURE = (10, 20, 30)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = Ledger(tmp_path / "ledger.sqlite3")
    yield opened
    assert opened.check() == "ok"
    opened.close()


def claim(ledger: Ledger, sha: str = "a" * 64, path: bytes = b"a.jpg", place: str = "/r/a.jpg") -> str:
    return ledger.claim(sha, path, path.decode(), lambda _: {"square": Path(place), LOOK: Path("/l/a")}).job


def record(job: str, sha: str = "a" * 64, destination: str | None = "square") -> JobRecord:
    out = OutputRecord(destination="square", path="r/a.jpg", width_px=1, height_px=1, bytes=1, sha256="b")
    return JobRecord(job=job, photo="a.jpg", sha256=sha, outcome="ready", outputs=(out,) if destination else ())


def test_one_job_per_photo(ledger: Ledger) -> None:
    job = claim(ledger)
    assert claim(ledger, path=b"copy.jpg") == job
    assert claim(ledger, sha="c" * 64, path=b"b.jpg", place="/r/b.jpg") != job
    ledger.remember(b"copy.jpg", SeenFile(SIGNATURE, "a" * 64, job))
    assert ledger.files()[b"copy.jpg"].job == job


def test_places_are_unique_on_any_file_system(ledger: Ledger) -> None:
    claim(ledger, place="/r/Caf\u00e9.jpg")
    assert ledger.is_taken(Path("/r/CAFE\u0301.jpg"))
    assert not ledger.is_taken(Path("/r/cafe.jpg"))


def test_a_finished_job_keeps_what_it_delivered(ledger: Ledger) -> None:
    job = claim(ledger)
    ledger.start(job)
    made = record(job)
    row = Rendition("square", "in place", Path("/r/a.jpg"), {"title": "A"}, "p", "s", output=made.outputs[0])
    ledger.apply([Change(made, (row,), {"plan": "p", "usual": ("square",)})])
    assert ledger.settled_questions() == {job: Path("/l/a")}
    ledger.settle_question(job)
    assert ledger.places(job) == {"square": Path("/r/a.jpg")}
    assert ledger.renditions(job) == {"square": row}
    assert ledger.coming(job) == {}
    assert ledger.is_taken(Path("/r/A.jpg"))
    found = ledger.get(job)
    assert found is not None
    assert (found.state, found.outcome) == ("done", "ready")
    assert found.record == record(job)


def test_interruption_is_no_attempt(ledger: Ledger) -> None:
    job = claim(ledger)
    ledger.start(job)
    assert ledger.recover() == 1
    assert ledger.give_back(job, failed=True, not_before=50.0) == 1
    found = ledger.get(job)
    assert found is not None
    assert (found.attempts, found.interrupted) == (1, 1)
    assert ledger.queued(now=49) == []
    assert [item.job for item in ledger.queued(now=51)] == [job]


def test_names_need_not_be_text(ledger: Ledger) -> None:
    job = ledger.claim("d" * 64, b"\xff\xfe.jpg", "\\xff\\xfe.jpg", lambda _: {}).job
    found = ledger.get(job)
    assert found is not None
    assert found.path == b"\xff\xfe.jpg"


def test_redos_are_kept_until_done(ledger: Ledger) -> None:
    job = claim(ledger)
    ledger.finish(record(job))
    ledger.ask_redo(job, ["square", "banner"])
    ledger.ask_redo(job, ["square"])
    assert ledger.redos() == {job: ["banner", "square"]}
    ledger.finish(record(job))
    assert ledger.redos() == {}


def test_migrations_are_applied_once(tmp_path: Path) -> None:
    for _ in range(2):
        Ledger(tmp_path / "l.sqlite3").close()
    version = sqlite3.connect(tmp_path / "l.sqlite3").execute("PRAGMA user_version").fetchone()[0]
    assert version == len(MIGRATIONS)


@pytest.mark.parametrize(
    ("version", "mode"),
    [
        ((3, 40, 1), "DELETE"),
        ((3, 44, 6), "WAL"),
        ((3, 50, 6), "DELETE"),
        ((3, 50, 7), "WAL"),
        ((3, 51, 2), "DELETE"),
        ((3, 51, 3), "WAL"),
    ],
)
def test_journal_mode_avoids_the_wal_reset_bug(version: tuple[int, ...], mode: str) -> None:
    """Affected: 3.7.0 to 3.51.2; fixed in 3.44.6, 3.50.7 and 3.51.3 (sqlite.org, notes on the WAL-reset bug)."""
    assert journal_mode(version)[0] == mode


def test_a_transaction_that_fails_leaves_nothing(ledger: Ledger) -> None:
    job = claim(ledger)
    good = record(job)
    unknown = Rendition("square", "no such state", Path("/r/a.jpg"))  # type: ignore[arg-type]
    with pytest.raises(sqlite3.IntegrityError):
        ledger.apply([Change(good, (unknown,), {"plan": "p"})])
    found = ledger.get(job)
    assert found is not None
    assert (found.state, found.record, found.plan) == ("queued", None, "")
    assert ledger.coming(job) != {}


def test_an_interruption_is_not_counted_as_an_attempt(ledger: Ledger) -> None:
    job = claim(ledger)
    assert ledger.give_back(job, failed=False) == 0
    found = ledger.get(job)
    assert found is not None
    assert (found.attempts, found.interrupted) == (0, 1)
