"""What is settled costs nothing: a start works out only what is new, and a page write reads only what it shows."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from autoprep.job.orders import CORNERS
from autoprep.ledger import Ledger, Overview
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.housekeeping import Housekeeping, clear_comparisons
from autoprep.service.knowledge import Knowledge
from autoprep.service.studio import PageWriter
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend as pretended
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The photos for which was asked what follows, each time."""
    asked: list[str] = []
    real = Knowledge.follows

    def follows(self: Knowledge, group: list[str]) -> object:
        asked.extend(self.view(job).shown for job in group)
        return real(self, group)

    monkeypatch.setattr(Knowledge, "follows", follows)
    return asked


def test_a_start_works_out_only_what_is_new(wren: Studio, worked_out: list[str]) -> None:
    for number in range(4):
        wren.put(f"thrift/{number}.jpg", photo(number))
    wren.put("gone.jpg", photo(9))
    wren.put("phone.jpg", photo(8, answer="nothing"))
    wren.run()
    (wren.inbox / "gone.jpg").unlink()
    wren.run()
    worked_out.clear()
    wren.run()
    assert worked_out == []
    wren.put("thrift/2.txt", "title: Sea Thrift")
    wren.put("new.jpg", photo(7))
    wren.run()
    assert "phone.jpg" not in worked_out
    assert {"new.jpg", "thrift/2.jpg"} <= set(worked_out)
    assert wren.records()["thrift/2.jpg"].work.title == "Sea Thrift"
    worked_out.clear()
    wren.put("gone.jpg", photo(9))
    wren.run()
    assert set(worked_out) == {"gone.jpg"}


def test_what_was_left_to_do_is_worked_out_at_the_next_start(wren: Studio, worked_out: list[str]) -> None:
    wren.put("a.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    assert ledger.unsettled() == []
    ledger.settle({job.job: "" for job in ledger.jobs()})
    ledger.close()
    (wren.inbox / "a.jpg").unlink()
    worked_out.clear()
    wren.run()
    assert worked_out == ["a.jpg"]


def test_a_step_that_is_cut_off_is_not_settled(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    wren.put("a.jpg", photo(1))
    wren.run()
    wren.put("a.txt", "title: Thrift")

    def cut(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("autoprep.service.hands.write_now", cut)
        with pytest.raises(KeyboardInterrupt):
            wren.run()
    assert wren.run()["a.jpg"].work.title == "Thrift"


def test_other_settings_are_worked_out_for_all(wren: Studio, worked_out: list[str]) -> None:
    wren.put("a.jpg", photo(1))
    wren.put("b.jpg", photo(2))
    wren.run()
    worked_out.clear()
    text = wren.config.read_text(encoding="utf-8")
    wren.config.write_text(text.replace("Wren Halloway", "W. Halloway"), encoding="utf-8")
    wren.run()
    assert set(worked_out) == {"a.jpg", "b.jpg"}


def test_of_what_is_settled_only_a_line_is_kept(wren: Studio) -> None:
    for number in range(6):
        wren.put(f"{number}.jpg", photo(number))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(60):
        engine._next_scan = 0.0
        engine.step(0.0)
    knowledge = engine._desk._knowledge
    assert engine.idle
    assert len(knowledge._lines) == 6
    assert not knowledge._views
    assert not knowledge._said._known
    engine.stop()


def test_a_page_write_reads_only_what_it_shows(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(25):
        wren.put(f"{number:02d}.jpg", photo(number))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    read: list[int] = []
    real = Overview._records

    def records(self: Overview, *of: object) -> object:
        found = real(self, *of)  # type: ignore[arg-type]
        read.append(len(found))
        return found

    monkeypatch.setattr(Overview, "_records", records)
    monkeypatch.setattr("autoprep.service.studio._MOST_SHOWN", 4)
    assert PageWriter().write(wren.settings, ledger.overview, date.today())
    assert read == [0, 4]  # no question, the newest of the day; every month's page is as it should be
    ledger.close()


def test_a_status_opens_no_record_of_works_that_stay_where_they_are(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 20,000 works every one was opened, each time that somebody asked how things stand: .7 seconds."""
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at=None))
    for number in range(5):
        wren.put(f"{number}.jpg", photo(number))
    wren.run()
    opened: list[str] = []

    def told_of(record: str, what: str) -> str | None:
        opened.append(what)
        value = json.loads(record).get(what.removeprefix("$."))
        return None if value is None else str(value)

    def displaced() -> list[tuple[str, str]]:
        ledger = Ledger(ledger_path(wren.settings))
        ledger._db.create_function("json_extract", 2, told_of)
        try:
            return ledger.overview.displaced()
        finally:
            ledger.close()

    assert displaced() == []
    assert opened == []
    wren.put("3.jpg", photo(77))  # another work lies where one lay
    wren.run()
    assert [shown for shown, _ in displaced()] == ["3.jpg"]
    assert opened == ["$.taken_at"]


def test_pages_are_found_from_the_first(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    wren.put("b.jpg", photo(2, answer="ask"))
    wren.run()
    folder = wren.settings.folders.records / "proof"
    first = (folder / "index.html").read_text(encoding="utf-8")
    links = re.findall(r'href="([^"/]+\.html)"', first)
    works = [link for link in links if link.startswith("work")]
    (month_page,) = set(links) - set(works)
    assert len(works) == 2
    for link in works:
        assert 'href="index.html"' in (folder / link).read_text(encoding="utf-8")
    month = (folder / month_page).read_text(encoding="utf-8")
    assert month.count("<article") == first.count("<article") == 2
    assert "Waits for your answer" in first


def test_many_pages_are_written_a_few_at_a_time(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    ledger._db.executemany("INSERT INTO due VALUES ('page', '2025-01', ?)", [(n,) for n in range(5)])
    assert not PageWriter().write(wren.settings, ledger.overview, date.today(), most_s=0.0)
    assert len(ledger.overview.due_pages()) == 5
    assert PageWriter().write(wren.settings, ledger.overview, date.today(), most_s=60.0)
    assert ledger.overview.due_pages() == []
    ledger.close()


def _comparison(wren: Studio, shown: str) -> list[str]:
    folder = wren.settings.folders.records / "proof" / wren.records()[shown].job
    return sorted(path.name for path in folder.iterdir())


def test_old_comparisons_go_after_a_set_time_and_records_stay(wren: Studio) -> None:
    wren.put("old.jpg", photo(1))
    wren.put("new.jpg", photo(2))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    today = date(2026, 11, 26)
    for shown, day in (("old.jpg", "2026-10-01"), ("new.jpg", "2026-11-20")):
        job = wren.records()[shown].job
        for name in ("before.jpg", "after.jpg", "details.jpg", CORNERS):
            (wren.settings.folders.records / "proof" / job / name).write_bytes(b"x")
        ledger._db.execute("UPDATE jobs SET finished = ? WHERE job = ?", (f"{day}T10:00:00+00:00", job))
    ledger.overview.written("work", [(work, 0) for work in ledger.overview.due_works()])
    ledger.overview.written("works", [("", 0)])
    assert clear_comparisons(wren.settings, ledger, today) == 0  # by default they stay
    service = wren.settings.service.model_copy(update={"comparisons_days": 30})
    settings = wren.settings.model_copy(update={"service": service})
    assert clear_comparisons(settings, ledger, today) == 1
    assert _comparison(wren, "old.jpg") == ["record.json"]
    assert _comparison(wren, "new.jpg") == sorted(["after.jpg", "before.jpg", "details.jpg", "record.json", CORNERS])
    assert ledger.overview.due_pages() != []
    assert wren.records()["old.jpg"].job in ledger.overview.due_works()
    assert wren.records()["new.jpg"].job not in ledger.overview.due_works()
    assert ledger.overview.list_due()
    assert clear_comparisons(settings, ledger, date(2027, 1, 1)) == 1
    assert _comparison(wren, "new.jpg") == ["record.json"]
    ledger.close()


def test_pages_that_somebody_has_cleared_are_due_once(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    housekeeping = Housekeeping(ledger, None)
    assert not housekeeping.lost_pages(wren.settings)
    first = wren.settings.folders.records / "proof" / "index.html"
    text = first.read_text(encoding="utf-8")
    for _ in range(2):
        first.unlink()
        assert housekeeping.lost_pages(wren.settings)
        assert not housekeeping.lost_pages(wren.settings)  # they are being written, however long that takes
        first.write_text(text, encoding="utf-8")
        assert not housekeeping.lost_pages(wren.settings)
    ledger.close()


def test_one_day_of_a_clock_gone_wrong_clears_no_comparisons(wren: Studio) -> None:
    wren.put("old.jpg", photo(1))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = (view.job for view in ledger.finished())
    service = wren.settings.service.model_copy(update={"comparisons_days": 30})
    settings = wren.settings.model_copy(update={"service": service})
    before = wren.settings.folders.records / "proof" / job / "before.jpg"
    before.write_bytes(b"picture")
    today = date.today()
    assert clear_comparisons(settings, ledger, today) == 0
    assert clear_comparisons(settings, ledger, today + timedelta(days=9 * 365)) == 0
    assert before.exists()
    assert clear_comparisons(settings, ledger, today + timedelta(days=1)) == 0
    assert clear_comparisons(settings, ledger, today + timedelta(days=60)) == 1
    # A studio that was left alone for years is cleared on the second day; a limit that went wrong is taken back.
    before.write_bytes(b"picture")
    assert clear_comparisons(settings, ledger, today + timedelta(days=900)) == 0
    assert clear_comparisons(settings, ledger, today + timedelta(days=901)) == 0  # it was cleared already
    assert clear_comparisons(settings, ledger, today + timedelta(days=1)) == 0
    assert clear_comparisons(settings, ledger, today + timedelta(days=61)) == 1
    ledger.close()
