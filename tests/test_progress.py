"""A backlog that is worked on: it can be stopped, and says so."""

import os
import signal
from typing import Any

import pytest

from autoprep.cli import work
from autoprep.wishes.tables import Settings


class Endless:
    """An engine that is never done; the third step brings the wish to stop."""

    hollow, stuck, pending = (), False, 5

    def __init__(self, *_args: Any, **_facts: Any) -> None:
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
