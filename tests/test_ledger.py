"""The ledger: one job per photo, reserved places, migrations, recovery."""

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from autoprep.domain import JobRecord, OutputRecord, WorkFacts
from autoprep.ledger import LOOK, MIGRATIONS, Change, Delivered, Ledger, Rendition, SeenFile, Sent, journal_mode
from autoprep.ledger.overview import _regard, _since_any

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
    ledger.remember(b"copy.jpg", SeenFile(SIGNATURE, job), "a" * 64)
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


def _done(ledger: Ledger, number: int, outcome: str, shown: str = "", **more: object) -> JobRecord:
    sha256, shown = f"{number:064x}", shown or f"works/{number}.jpg"
    job = ledger.claim(sha256, b"%d.jpg" % number, shown, lambda _: {}).job
    record = JobRecord(job=job, photo=shown, sha256=sha256, outcome=outcome, **more)  # type: ignore[arg-type]
    ledger.apply([Change(record)])
    return record


def _came(ledger: Ledger, job: str, day: str) -> None:
    ledger._db.execute("UPDATE jobs SET came = ? WHERE job = ?", (day, job))


def test_counts_and_lists_need_no_records(ledger: Ledger) -> None:
    for number, outcome in enumerate(("ready", "needs a look", "ready", "set aside"), 1):
        _done(
            ledger,
            number,
            outcome,
            failed={"print": "too small"} if number == 3 else {},
            finished_at=f"2026-11-0{number}",
        )
    ledger.claim("f" * 64, b"new.jpg", "new.jpg", lambda _: {})
    ledger._db.execute("DELETE FROM records")
    view = ledger.overview
    assert view.outcomes() == {"ready": 2, "needs a look": 1, "set aside": 1}
    assert view.states() == {"done": 4, "queued": 1}
    assert view.with_failures() == ["works/3.jpg"]
    assert {path: shown for path, (shown, _) in view.set_aside().items()} == {b"4.jpg": "works/4.jpg"}
    assert view.last_finished() == "2026-11-04"
    assert [row.number for row in view.newest(2)] == [4, 5]
    assert [row.number for row in view.newest(2, skip=2)] == [2, 3]
    assert [row.number for row in view.newest(9, outcome="ready")] == [1, 3]
    assert [row.number for row in view.listed(outcome="queued")] == [5]
    assert (view.count(), view.count("ready"), view.count(month="1999-01")) == (5, 2, 0)


def test_a_long_list_is_read_in_parts_and_whole(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("autoprep.ledger.overview._AT_ONCE", 3)
    for number in range(1, 8):
        _done(ledger, number, "ready")
    assert [row.number for row in ledger.overview.listed()] == list(range(1, 8))


@pytest.mark.parametrize("wanted", ["00002-00000000", "works/2.jpg", "2.jpg", "2", "Sea Thrift", "elsewhere/2.jpg"])
def test_a_photo_is_found_by_whatever_it_is_called(ledger: Ledger, wanted: str) -> None:
    _done(ledger, 1, "ready")
    _done(ledger, 2, "ready", work=WorkFacts(title="Sea Thrift"))
    _done(ledger, 12, "ready")
    assert [fit.job for fit in ledger.overview.find(wanted)] == ["00002-00000000"]
    copy = JobRecord(
        job="", photo="phone/2.jpg", sha256=f"{2:064x}", outcome="duplicate", duplicate_of="00002-00000000"
    )
    ledger.add_finished(copy, b"phone/2.jpg", SIGNATURE)
    assert [fit.job for fit in ledger.overview.find(wanted)] == ["00002-00000000"]
    assert ledger.overview.find("nothing like it") == []
    assert ledger.overview.find("") == []


def test_all_photos_of_a_name_are_found_and_an_exact_path_is_one(ledger: Ledger) -> None:
    for number, shown in enumerate(("Page 1.jpg", "boats/Page 1.jpg", "plants/Page 1.heic"), 1):
        _done(ledger, number, "ready", shown=shown, work=WorkFacts(title="Reeds"))

    def found(wanted: str) -> list[str]:
        return [fit.shown for fit in ledger.overview.find(wanted)]

    assert found("Page 1.jpg") == ["Page 1.jpg"]
    assert found("boats/Page 1.jpg") == ["boats/Page 1.jpg"]
    assert found("elsewhere/Page 1.jpg") == ["boats/Page 1.jpg", "Page 1.jpg"]
    assert found("boats/Page 1") == ["boats/Page 1.jpg"]
    assert found("oats/Page 1") == []
    assert found("Page 1") == ["plants/Page 1.heic", "boats/Page 1.jpg", "Page 1.jpg"]
    assert len(found("Reeds")) == 3


def test_the_takes_of_a_work_have_one_title(ledger: Ledger) -> None:
    for number, outcome in enumerate(("alternate", "ready", "alternate"), 1):
        _done(ledger, number, outcome, shown=f"Reeds/{number}.jpg", work=WorkFacts(title="Reeds"))
    ledger._db.execute("UPDATE jobs SET work = '00001-00000000'")
    assert [fit.shown for fit in ledger.overview.find("Reeds")] == ["Reeds/2.jpg"]


def test_a_page_holds_the_photos_of_its_month_and_numbers(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    records = [_done(ledger, number, "ready") for number in range(1, 105)]
    asked = _done(ledger, 105, "needs a look")
    _done(ledger, 106, "no work seen")
    for number, record in enumerate(records, 1):
        _came(ledger, record.job, "2026-10-30" if number <= 3 else "2026-11-05")
    _came(ledger, asked.job, "2026-11-05")
    _came(ledger, "00106-00000000", "2026-11-06")
    view = ledger.overview
    assert view.blocks() == {"2026-11": {0: 96, 1: 6}, "2026-10": {0: 3}}
    assert [int(record.job[:5]) for record in view.of_block("2026-10", 0)] == [3, 2, 1]
    assert [int(record.job[:5]) for record in view.of_block("2026-11", 1)] == [105, 104, 103, 102, 101, 100]
    assert view.latest_day() == "2026-11-05"
    assert [int(record.job[:5]) for record in view.of_day("2026-11-05", 2)] == [104, 103]
    assert [record.job for record in view.waiting_for_answers(9)] == [asked.job]


def test_only_the_page_of_what_changed_is_due(ledger: Ledger) -> None:
    records = [_done(ledger, number, "ready") for number in range(1, 105)]
    view = ledger.overview
    month = f"{view.latest_day():.7}"
    assert view.due_pages() == [(month, 1), (month, 0)]
    view.written("page", view.due_pages())
    assert view.due_pages() == []
    ledger.apply([Change(records[2])])
    assert view.due_pages() == [(month, 0)]
    view.written("page", view.due_pages())
    ledger.move(records[103].job, b"else.jpg", "else.jpg")
    assert view.due_pages() == [(month, 1)]
    view.written("page", view.due_pages())
    ledger.reopen(records[5].job, b"6.jpg", "works/6.jpg", {})
    assert view.due_pages() == [(month, 0)]


def test_a_list_is_due_when_a_file_or_words_change(ledger: Ledger) -> None:
    record = _done(ledger, 1, "ready")
    other = _done(ledger, 2, "ready")
    out = OutputRecord(destination="jury", path="ready/jury/a.jpg", width_px=1, height_px=1, bytes=1, sha256="1")
    made = Rendition("jury", "in place", Path("/x/ready/jury/a.jpg"), output=out)
    record = record.model_copy(update={"outputs": (out,), "work": WorkFacts(title="Sea Thrift")})
    ledger.apply([Change(record, (made,))])
    view = ledger.overview
    assert view.due_lists() == {"jury"}
    assert view.delivered("jury") == [Delivered(out, WorkFacts(title="Sea Thrift"), "works/1.jpg", "")]
    view.written("list", [("jury", 0)])
    ledger.apply([Change(other)])
    assert view.due_lists() == set()
    ledger.apply([Change(record)])
    assert view.due_lists() == {"jury"}
    ledger.apply([Change(record.model_copy(update={"outcome": "alternate"}))])
    assert view.delivered("jury") == []


def test_what_changes_a_photo_unsettles_it_and_its_work(ledger: Ledger) -> None:
    one, two, three = (_done(ledger, number, "ready") for number in (1, 2, 3))
    ledger.apply([Change(one, fields={"work": one.job}), Change(two, fields={"work": one.job})])
    everything = {one.job: "k", two.job: "k", three.job: "k"}

    def unsettled_by(act: Callable[[], object]) -> list[str]:
        ledger.settle(everything)
        act()
        return ledger.unsettled()

    assert unsettled_by(lambda: None) == []
    assert unsettled_by(lambda: ledger.apply([Change(one)])) == [one.job, two.job]
    assert unsettled_by(lambda: ledger.move(three.job, b"y", "y")) == [three.job]
    row = Rendition("site", "in place", Path("/x/y"))
    assert unsettled_by(lambda: ledger.apply([Change(three, (row,))])) == [three.job]
    assert unsettled_by(lambda: ledger._db.execute("UPDATE jobs SET work = job WHERE job = ?", (two.job,))) == [
        one.job, two.job,
    ]  # fmt: skip
    ledger.apply([Change(two, fields={"work": one.job})])
    # One that leaves its work leaves the others with something to work out.
    assert unsettled_by(lambda: ledger.apply([Change(two, fields={"work": two.job})])) == [one.job, two.job]
    assert unsettled_by(lambda: ledger.postpone(one.job, 5)) == []


def test_the_name_of_a_withdrawn_file_is_that_of_the_work_that_has_it_now(ledger: Ledger) -> None:
    jobs = [claim(ledger, sha=letter * 64, path=letter.encode(), place=f"/r/{letter}.jpg") for letter in "ab"]
    place = Path("/r/Jug.jpg")
    for job, state in zip(jobs, ("in place", "withdrawn"), strict=True):
        row = Rendition("square", state, place)  # type: ignore[arg-type]
        ledger.apply([Change(record(job), (row,))])
    assert [ledger.renditions(job)["square"].path for job in jobs] == [place, place]
    assert ledger.is_taken(place, (jobs[1],))
    assert not ledger.is_taken(Path("/r/b.jpg"))


def test_a_work_is_told_by_the_take_that_was_chosen_and_since_any_was_there() -> None:
    def take(*, outcome: str = "ready", chosen: int = 0, merit: float | None = 1.0) -> tuple[object, ...]:
        return (*[None] * 7, outcome, chosen, merit)

    takes = [take(outcome="alternate", merit=9.0), take(merit=5.0), take(chosen=1, merit=2.0), take(merit=None)]
    assert max(takes, key=_regard) == takes[2]
    days = [Sent("site", "in place", None, day, day) for day in ("2026-11-20", "2026-11-03", "", "2026-11-09")]
    (told,) = _since_any(days[:1], days)
    assert (told.first, told.made) == ("2026-11-03", "2026-11-20")
