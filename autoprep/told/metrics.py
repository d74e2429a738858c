"""How the service stands, as a text file for a collector of metrics: the text exposition format 0.0.4, which ends in a
line so that it is OpenMetrics 1.0 too. Written aside and renamed, so that no collector reads half of it.
"""

import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from autoprep.domain import JobRecord
from autoprep.errors import DeliveryError
from autoprep.files.storage import write_now
from autoprep.job.away import no_inbox
from autoprep.ledger import Ledger
from autoprep.told.in_inbox import asked_of_none, set_aside_there
from autoprep.wishes.places import metrics_path
from autoprep.wishes.tables import Settings

_EVERY_S = 60.0
_SOON_S = 5.0  # once nothing is left to do, what is told of it is not a minute old
_AT_REST_S = 600.0  # what has not changed is written again so seldom: the file's time says that the service lives
_ROOM_STEP = 100_000_000  # bytes; smaller changes of the free space are none
_DONE = ("ready", "alternate")
_FAMILIES = (
    ("autoprep_up", "Whether the service runs: 1, or 0 after it has ended by itself."),
    ("autoprep_photos_waiting", "Photos that wait for a worker."),
    ("autoprep_photos_running", "Photos that are being worked on."),
    ("autoprep_questions", "Photos in the inbox that wait for an answer of the artist."),
    ("autoprep_photos_set_aside", "Photos in the inbox of which nothing can be made."),
    ("autoprep_photos_finished", "Photos whose pictures are finished, further takes of their works with them."),
    (
        "autoprep_last_success_timestamp_seconds",
        "When the last photo was finished, in seconds since 1970; 0: none yet.",
    ),
    ("autoprep_free_bytes", "Free space where the records lie, in bytes, rounded down to 100 MB."),
    ("autoprep_last_job_seconds", "How long the last job of a worker took since the service started; 0: none yet."),
)
"""Name and meaning of each figure; all are gauges."""


def exposition(values: dict[str, float]) -> str:
    """The text of the file. values: one for each name of the table above."""

    def lines() -> Iterator[str]:
        for name, meaning in _FAMILIES:
            yield from (f"# HELP {name} {meaning}", f"# TYPE {name} gauge", f"{name} {values[name]:.15g}")
        yield "# EOF\n"

    return "\n".join(lines())


class Metrics:
    """Keeps the file, where the settings ask for one. A file that can't be written is told once, and ends nothing."""

    def __init__(self, settings: Settings, log: Any, clock: Callable[[], float] = time.monotonic) -> None:
        self._settings, self._log, self._clock = settings, log, clock
        self._place = metrics_path(settings)
        self._next = self._soon = self._latest = -1e9
        self._written, self._job_s, self._told, self._news = "", 0.0, False, False

    def note(self, record: JobRecord) -> None:
        """A photo was dealt with; what needed no worker took no time."""
        self._job_s = sum(record.seconds.values()) or self._job_s
        self._news = True

    def keep(self, ledger: Ledger, *, rests: bool = False) -> None:
        """Write what has changed, at most once a minute; rests: nothing is left to do, so that all is written soon."""
        if self._clock() >= (self._soon if rests and self._news else self._next):
            self._next, self._soon, self._news = self._clock() + _EVERY_S, self._clock() + _SOON_S, False
            self._tell(ledger, up=True)

    def ended(self, ledger: Ledger) -> None:
        """The service ends by itself."""
        self._tell(ledger, up=False)

    def _tell(self, ledger: Ledger, *, up: bool) -> None:
        if self._place is None:
            return
        try:
            text = exposition(self._values(ledger, up=up))
            if text == self._written and self._clock() - self._latest < _AT_REST_S:
                return
            write_now(self._place, text.encode("ascii"), "metrics")
        except (DeliveryError, OSError, sqlite3.OperationalError) as problem:
            if not self._told:
                self._log.warning("metrics not written", reason=str(problem))
            self._told = True
            return
        self._written, self._latest, self._told = text, self._clock(), False

    def _values(self, ledger: Ledger, *, up: bool) -> dict[str, float]:
        overview, inbox, away = ledger.overview, self._settings.folders.inbox, bool(no_inbox(self._settings, ledger))
        states, outcomes = overview.states(), overview.outcomes()
        waiting = states.get("queued", 0) + len(overview.asked_afresh())
        questions = len(overview.questions()) - len(asked_of_none(inbox, overview, away=away))
        aside = len(set_aside_there(inbox, overview, away=away))
        success = overview.last_success()
        free = shutil.disk_usage(self._settings.folders.records).free
        counted = (
            float(up), waiting, states.get("running", 0), questions, aside,
            sum(outcomes.get(name, 0) for name in _DONE),
            datetime.fromisoformat(success).timestamp() if success else 0.0,
            free // _ROOM_STEP * _ROOM_STEP, round(self._job_s, 3),
        )  # fmt: skip
        return dict(zip((name for name, _ in _FAMILIES), counted, strict=True))
