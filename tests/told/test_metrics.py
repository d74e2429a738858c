"""The file for a collector of metrics: readable by strict parsers, told seldom, and no danger to the service."""

import os
import stat
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as strictly
from prometheus_client.parser import text_string_to_metric_families as plainly

from autoprep.cli.work import watch
from autoprep.domain import JobRecord
from autoprep.errors import ConfigError
from autoprep.ledger import Ledger
from autoprep.told.metrics import Metrics
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


class Log:
    """Keeps what was warned of."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def warning(self, event: str, **facts: Any) -> None:
        self.told.append(event)


class Kept:
    """The file of a studio, with a clock that is moved by hand."""

    def __init__(self, settings: Settings) -> None:
        self.settings, self.log, self.now = asking(settings, "records/autoprep.prom"), Log(), 0.0
        self.metrics = Metrics(self.settings, self.log, lambda: self.now)
        self.place = self.settings.studio / "records" / "autoprep.prom"
        self.ledger = Ledger(ledger_path(settings))

    def keep(self) -> dict[str, float]:
        self.metrics.keep(self.ledger)
        return figures(self.place)


def asking(settings: Settings, name: str) -> Settings:
    return settings.model_copy(update={"service": settings.service.model_copy(update={"metrics_file": name})})


def families(parser: Any, text: str) -> Any:
    return parser(text)


def figures(place: Path) -> dict[str, float]:
    """Read by the parsers of both standards, which raise where the text is not as it should be."""
    text = place.read_text(encoding="ascii")
    found = {sample.name: sample.value for family in families(strictly, text) for sample in family.samples}
    assert found == {sample.name: sample.value for family in families(plainly, text) for sample in family.samples}
    assert all(family.type == "gauge" and family.documentation for family in families(strictly, text))
    return found


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    made = Studio(studio, monkeypatch)
    made.put("one.jpg", photo(1))
    made.put("two.jpg", photo(2))
    made.put("asked.jpg", photo(3, answer="ask"))
    made.put("letter.jpg", b"no picture")
    made.run()
    return made


def test_every_figure_is_that_of_the_studio(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Kept(wren.settings)
    monkeypatch.setattr("shutil.disk_usage", lambda _place: type("", (), {"free": 5_123_456_789}))
    kept.metrics.note(
        JobRecord(job="1", photo="one.jpg", sha256="", outcome="ready", seconds={"read": 1.25, "plan": 2})
    )
    kept.metrics.note(JobRecord(job="2", photo="letter.jpg", sha256="", outcome="set aside"))
    kept.ledger._db.execute("UPDATE jobs SET finished = '2099-01-01T00:00:00+00:00' WHERE outcome = 'set aside'")
    found = kept.keep()
    last = max(record.finished_at or "" for record in wren.records().values() if record.outcome == "ready")
    assert found == {
        "autoprep_up": 1, "autoprep_photos_waiting": 0, "autoprep_photos_running": 0, "autoprep_questions": 1,
        "autoprep_photos_set_aside": 1, "autoprep_photos_finished": 2, "autoprep_free_bytes": 5_100_000_000,
        "autoprep_last_success_timestamp_seconds": datetime.fromisoformat(last).timestamp(),
        "autoprep_last_job_seconds": 3.25,
    }  # fmt: skip
    kept.metrics.ended(kept.ledger)
    assert figures(kept.place)["autoprep_up"] == 0


def test_what_was_thrown_away_is_not_counted(wren: Studio) -> None:
    """An alarm rang for ever for a question of a photo that the artist had deleted; `status` was silent."""
    page = wren.settings.folders.records / "proof" / "index.html"
    for name in ("asked.jpg", "letter.jpg"):
        (wren.inbox / name).unlink()
    wren.run()
    kept = Kept(wren.settings)
    found = kept.keep()
    assert (found["autoprep_questions"], found["autoprep_photos_set_aside"]) == (0, 0)
    text = page.read_text(encoding="utf-8")
    assert "<p>2 ready. " in text
    assert "Waits for your answer" not in text
    wren.inbox.rename(wren.inbox.with_name("off"))  # then nobody knows
    kept.now = 60.0
    found = kept.keep()
    assert (found["autoprep_questions"], found["autoprep_photos_set_aside"]) == (1, 1)
    wren.run()
    text = page.read_text(encoding="utf-8")
    assert "1 needs a look" in text
    assert "Waits for your answer" in text


def test_what_waits_is_counted(studio: Settings) -> None:
    kept = Kept(studio)
    for number in range(3):
        kept.ledger.claim(f"{number:064x}", b"%d.jpg" % number, f"{number}.jpg", lambda _job: {})
    kept.ledger.start(next(iter(kept.ledger.lines())))
    found = kept.keep()
    assert (found["autoprep_photos_waiting"], found["autoprep_photos_running"]) == (2, 1)
    assert found["autoprep_last_success_timestamp_seconds"] == 0


def test_it_is_written_once_a_minute_at_most_and_at_rest_every_ten(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = Kept(wren.settings)
    monkeypatch.setattr("shutil.disk_usage", lambda _place: type("", (), {"free": 5_000_000_000}))
    kept.keep()
    kept.place.unlink()
    kept.now = 59.9
    kept.metrics.note(JobRecord(job="1", photo="one.jpg", sha256="", outcome="ready", seconds={"read": 1.0}))
    kept.metrics.keep(kept.ledger)
    assert not kept.place.exists()
    kept.now = 60.0
    assert kept.keep()["autoprep_last_job_seconds"] == 1.0
    kept.place.unlink()
    for kept.now in (120.0, 659.0):  # nothing is new
        kept.metrics.keep(kept.ledger)
        assert not kept.place.exists()
    kept.now = 719.0
    assert kept.keep()["autoprep_up"] == 1


def test_what_a_burst_has_left_is_told_soon(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """It stood there for up to a minute that photos waited, long after the last one was finished."""
    kept = Kept(wren.settings)
    kept.keep()
    steps = ((1.0, False, 0.0), (4.9, True, 0.0), (5.0, False, 0.0), (5.0, True, 1.0), (12.0, True, 2.0))
    for now, rests, told in steps:
        kept.now, took_s = now, told or 1.0
        kept.metrics.note(JobRecord(job="1", photo="one.jpg", sha256="", outcome="ready", seconds={"read": took_s}))
        kept.metrics.keep(kept.ledger, rests=rests)
        assert figures(kept.place)["autoprep_last_job_seconds"] == told
    kept.place.unlink()
    monkeypatch.setattr("shutil.disk_usage", lambda _place: type("", (), {"free": 7_000_000_000}))
    kept.now = 18.0  # no photo was dealt with: what else has changed may wait
    kept.metrics.keep(kept.ledger, rests=True)
    assert not kept.place.exists()


def test_a_file_that_cannot_be_written_is_told_once_and_ends_nothing(wren: Studio) -> None:
    kept = Kept(wren.settings)
    kept.place.mkdir()
    for kept.now in (0.0, 60.0):
        kept.metrics.keep(kept.ledger)
    assert kept.log.told == ["metrics not written"]
    kept.place.rmdir()
    kept.now = 120.0
    assert kept.keep()["autoprep_photos_finished"] == 2
    assert stat.S_ISREG(kept.place.stat().st_mode)
    kept.ledger.close()
    kept.place.rename(kept.place.with_suffix(".gone"))
    assert [path.name for path in kept.place.parent.iterdir() if path.name.endswith(".part")] == []


def test_none_is_kept_unless_it_is_asked_for(wren: Studio) -> None:
    before = sorted(wren.settings.studio.rglob("*"))
    ledger = Ledger(ledger_path(wren.settings))
    Metrics(wren.settings, Log()).keep(ledger)
    ledger.close()
    assert sorted(wren.settings.studio.rglob("*")) == before


@pytest.mark.parametrize("name", ["inbox/a.prom", "ready/square/a.prom", "config", "no such folder/a.prom"])
def test_a_place_that_cannot_be_meant_is_refused(studio: Settings, name: str) -> None:
    text = studio.config_file.read_text(encoding="utf-8")
    studio.config_file.write_text(text.replace("[service]", f'[service]\nmetrics_file = "{name}"'), encoding="utf-8")
    with pytest.raises(ConfigError, match="metrics_file"):
        load(studio.config_file)


def test_the_service_keeps_it(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    text = studio.config_file.read_text(encoding="utf-8")
    studio.config_file.write_text(text.replace("[service]", '[service]\nmetrics_file = "a.prom"'), encoding="utf-8")
    seen: list[float] = []
    place = studio.studio / "a.prom"

    def stop_soon(engine: Any, _most_s: float = 1.0) -> None:
        if place.exists():
            seen.append(figures(place)["autoprep_up"])
            os.kill(os.getpid(), 15)

    monkeypatch.setattr("autoprep.service.engine.Engine.step", stop_soon)
    assert watch(type("", (), {"config": studio.studio, "quiet": True})()) == 0
    assert seen == [1.0]
    assert figures(place)["autoprep_up"] == 0.0
    assert datetime.now(UTC).timestamp() - place.stat().st_mtime < 60


def test_the_service_tells_soon_that_all_is_done(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    text = studio.config_file.read_text(encoding="utf-8")
    studio.config_file.write_text(text.replace("[service]", '[service]\nmetrics_file = "a.prom"'), encoding="utf-8")
    seen: list[tuple[bool, float]] = []
    place, busy = studio.studio / "a.prom", iter((False, True, True, False, False))
    record = JobRecord(job="1", photo="one.jpg", sha256="", outcome="ready", seconds={"read": 1.0})

    def work(engine: Any, _most_s: float = 1.0) -> None:
        if place.exists():
            seen.append((engine.now_busy, figures(place)["autoprep_last_job_seconds"]))
            engine._on_record(record)
        engine.now_busy = next(busy, None)
        if engine.now_busy is None:
            os.kill(os.getpid(), 15)

    monkeypatch.setattr("autoprep.told.metrics._SOON_S", 0.0)
    monkeypatch.setattr("autoprep.service.engine.Engine.step", work)
    monkeypatch.setattr("autoprep.service.engine.Engine.idle", property(lambda engine: not engine.now_busy))
    assert watch(type("", (), {"config": studio.studio, "quiet": True})()) == 0
    assert seen == [(False, 0.0), (True, 0.0), (True, 0.0), (False, 1.0), (False, 1.0)]
