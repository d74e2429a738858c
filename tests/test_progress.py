"""A backlog that is worked on: it can be stopped, and says so."""

import os
import signal
from collections import Counter
from typing import Any

import pytest

from autoprep.cli import main, work
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


class Endless:
    """An engine that is never done; the third step brings the wish to stop."""

    hollow, pending = (), 5

    def __init__(self, *_args: Any, stuck: str = "", **_facts: Any) -> None:
        self.stuck, self.later, self.acts = stuck, dict[str, str](), Counter[str]()
        self.hints, self.ledger, self.steps, self.stopped, self.woken = self, self, 0, False, 0

    @property
    def idle(self) -> bool:
        return self.steps > 50

    def step(self, _most_s: float) -> None:
        self.steps += 1
        if self.steps == 3:
            os.kill(os.getpid(), signal.SIGINT)

    def wake(self) -> None:
        self.woken += 1

    def stop(self) -> None:
        self.stopped = True


def test_a_backlog_stops_between_two_steps(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    engine, before = Endless(), signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(work, "Engine", lambda *_args, **_facts: engine)
    with pytest.raises(KeyboardInterrupt):
        work.process_all(studio, show=False)
    assert engine.steps == 3  # nothing was broken off, and nothing begun after
    assert engine.woken == 1
    assert engine.stopped
    assert signal.getsignal(signal.SIGINT) is before


def test_who_stops_a_run_is_told_that_the_rest_is_done_the_next_time(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(work, "Engine", lambda *_args, **_facts: Endless())
    assert main(["once", "--config", str(studio.config_file)]) == 130
    assert "Stopped. 0 photos done; what is left is done the next time.\n" in capsys.readouterr().err
    assert main(["once", "--json", "--config", str(studio.config_file)]) == 130
    assert capsys.readouterr().err == ""


def test_a_run_that_can_not_go_on_says_what_still_waits(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    full = "There is not enough free space to go on"
    monkeypatch.setattr(work, "Engine", lambda *_args, **_facts: Endless(stuck=full))
    assert main(["once", "--config", str(studio.config_file)]) == 1
    said = capsys.readouterr()
    assert f"{full}. Nothing is lost; run this again later." in said.err
    assert "Done: 5 still waiting." in said.out


def test_each_photo_is_counted_and_named_once(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of the better take there are two records: as it was measured, and with its files."""
    wren = Studio(studio, monkeypatch)
    places = wren.config.with_name("destinations.toml")
    places.write_text("[small]\nlong_side_px = 300\nmax_kb = 5\n", encoding="utf-8")  # which can't be met
    wren.put("IMG_1.jpg", photo(1, sharp=4))
    wren.put("IMG_1.txt", "title: Gulls")  # which holds for the better take, and is asked before it is made
    wren.put("IMG_2.jpg", photo(1, sharp=9))
    wren.put("IMG_3.jpg", photo(2))
    assert main(["once", "--config", str(studio.config_file)]) == 0
    said = capsys.readouterr().out
    assert "Done: 1 alternate, 2 ready." in said
    assert said.count("IMG_2.jpg: small not given out") == 1
