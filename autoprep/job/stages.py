"""The stages of a job, the clock, and what every record has."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from autoprep.domain import JobRecord, Outcome
from autoprep.job.orders import JobOrder, Report
from autoprep.pixels import Photo


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


def record_of(order: JobOrder, photo: Photo, outcome: Outcome, **more: Any) -> JobRecord:
    """The record of an order's photo with what every outcome has, and more."""
    return JobRecord(
        job=order.job,
        photo=order.photo,
        sha256=order.sha256,
        outcome=outcome,
        taken_at=photo.facts.taken_at,
        work=order.facts,
        settings_sha256=order.settings.sha256,
        part=order.part,
        came=order.came,
        **more,
    )


def set_aside(job: str, photo: str, sha256: str, reason: str, part: int = 0) -> JobRecord:
    """The record of a photo, or of one of several works in it, that can't be worked on."""
    return JobRecord(
        job=job, photo=photo, sha256=sha256, outcome="set aside", reasons=(reason,), finished_at=now(), part=part
    )
