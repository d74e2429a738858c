"""The stages of a job and the clock."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from autoprep.job.orders import Report


class Stages:
    """Times the stages of one job and reports each as it ends."""

    def __init__(self, report: Report) -> None:
        self.seconds: dict[str, float] = {}
        self._report = report

    @contextmanager
    def stage(self, name: str) -> Iterator[dict[str, object]]:
        """Time one stage; what is put into the dict is reported with it."""
        started, facts = time.perf_counter(), dict[str, object]()
        yield facts
        self.seconds[name] = round(time.perf_counter() - started, 4)
        self._report(name, self.seconds[name], facts)


def now() -> str:
    """The time for a record."""
    return datetime.now(UTC).isoformat(timespec="seconds")
