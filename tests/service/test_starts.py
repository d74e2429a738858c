"""Workers that end at their start: the pause until the next one, and what is said of it, once."""

import json

import pytest

from autoprep.cli import main
from autoprep.ledger import TROUBLE
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.starts import Starts
from tests.service.pretend import InlinePool, Studio, photo


def test_the_pause_doubles_from_the_third_on_and_stays_at_half_a_minute() -> None:
    now = [100.0]
    starts = Starts(lambda: now[0])
    pauses = []
    for _ in range(12):
        starts.failed("exit code 1")
        pauses.append(max(0.0, starts.next - now[0]))
        now[0] = max(now[0], starts.next)
    assert pauses == [0, 0, 1, 2, 4, 8, 16, 30, 30, 30, 30, 30]


def test_it_is_said_in_the_same_words_until_one_starts() -> None:
    now = [0.0]
    starts = Starts(lambda: now[0])
    for _ in range(2):
        starts.failed("exit code 1")
    assert (starts.trouble, starts.allowed) == ("", True)
    starts.failed("exit code 1")
    said = starts.trouble
    assert "exit code 1" in said
    assert not starts.allowed
    now[0] = 1.0
    assert starts.allowed
    starts.failed("signal SIGKILL")
    assert starts.trouble == said
    starts.succeeded()
    assert (starts.trouble, starts.allowed) == ("", True)
    starts.failed("exit code 1")
    assert starts.allowed


@pytest.fixture
def wren(studio: object, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)  # type: ignore[arg-type]


def test_trouble_is_logged_once_and_stands_in_status_until_it_is_over(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(InlinePool, "trouble", "workers end as soon as they start")
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    try:
        for _ in range(3):
            engine.step(0.0)
        assert engine.standing.startswith("Waits for workers")
        assert engine.stuck == ""
        engine._troubled_at -= 61
        assert "workers end as soon as they start" in engine.stuck
        assert main(["status", "--config", str(wren.settings.studio)]) == 1
        assert "Nothing is worked on: workers end as soon as they start" in capsys.readouterr().out
        monkeypatch.setattr(InlinePool, "trouble", "")
        for _ in range(3):
            engine.step(0.0)
        assert engine.stuck == ""
        assert main(["status", "--config", str(wren.settings.studio)]) == 0
        monkeypatch.setattr(InlinePool, "trouble", "the same again")
        engine.step(0.0)
    finally:
        engine.stop()
    assert main(["status", "--config", str(wren.settings.studio)]) == 0  # nothing runs that could have trouble
    log = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8").splitlines()
    events = [json.loads(line)["event"] for line in log]
    assert events.count("waiting for workers") == 2
    assert events.count("workers are back") == 1


def test_what_was_said_before_a_kill_is_forgotten_at_the_next_start(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    engine.ledger.keep(TROUBLE, "workers end as soon as they start")
    wren.cut_off(engine)
    wren.run()
    assert main(["status", "--config", str(wren.settings.studio)]) == 0
