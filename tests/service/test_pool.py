"""The pool of workers: one death, one hang, concern one job."""

import os
import signal
import time
from collections.abc import Iterator
from typing import Any

import pytest

from autoprep.domain import WorkFacts
from autoprep.job.orders import JobOrder
from autoprep.service.messages import Failed, Finished, Staged
from autoprep.service.pool import Pool
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.ends import ends_at_once

pytestmark = pytest.mark.slow


# Where the work lies is said, and that its colours are right: both is tried elsewhere and takes most of a job.
_SAID = WorkFacts(outline="whole photo", as_shot=True)


def order(settings: Settings, name: str, data: bytes, facts: WorkFacts = _SAID) -> JobOrder:
    folder = settings.folders.records / "proof" / name
    return JobOrder(
        job=name,
        photo=f"{name}.jpg",
        sha256="0" * 64,
        data=data,
        settings=settings,
        places={"square": settings.folders.ready / "square" / f"{name}.jpg"},
        look_folder=settings.folders.needs_a_look / name,
        proof_folder=folder,
        facts=facts,
    )


@pytest.fixture
def pool() -> Iterator[Pool]:
    opened = Pool(2, memory_mb=4000, job_limit_s=20)
    yield opened
    opened.stop()


def collect(pool: Pool, count: int, limit_s: float = 60) -> dict[str, Finished | Failed]:
    ended: dict[str, Finished | Failed] = {}
    limit = time.monotonic() + limit_s
    while len(ended) < count:
        assert time.monotonic() < limit
        for message in pool.collect():
            if isinstance(message, Finished | Failed):
                ended[message.job] = message
        time.sleep(0.02)
    return ended


def process_of(pool: Pool, job: str) -> int:
    """The process id of the worker that has a job."""
    return next(worker.process.pid or 0 for worker in pool._workers if worker.job == job)


def until_up(pool: Pool, *jobs: str) -> None:
    """Wait until the workers of these jobs have said their first word."""
    limit = time.monotonic() + 30
    while not all(worker.up for worker in pool._workers if worker.job in jobs):
        assert time.monotonic() < limit
        for message in pool.collect():
            assert isinstance(message, Staged)
        time.sleep(0.01)


def test_a_killed_worker_takes_its_own_job_only(studio: Settings, pool: Pool) -> None:
    pool.submit("good", order(studio, "good", photos.jpeg(seed=1)))
    pool.submit("bad", order(studio, "bad", photos.jpeg(seed=2), WorkFacts()))
    until_up(pool, "bad")
    os.kill(process_of(pool, "bad"), signal.SIGKILL)
    ended = collect(pool, 2)
    assert isinstance(ended["good"], Finished)
    assert isinstance(ended["bad"], Failed)
    assert "SIGKILL" in ended["bad"].reason
    assert ended["bad"].retry
    pool.submit("again", order(studio, "again", photos.jpeg(seed=3)))
    assert isinstance(collect(pool, 1)["again"], Finished)


def test_a_worker_that_died_while_it_waited_is_given_no_photo(studio: Settings) -> None:
    """It was heard of at the next look alone; a photo that was given to it before had a failed try."""
    pool = Pool(1, memory_mb=4000, job_limit_s=20)
    try:
        pool.submit("before", order(studio, "before", photos.jpeg(seed=1)))
        dead = process_of(pool, "before")
        assert isinstance(collect(pool, 1)["before"], Finished)
        os.kill(dead, signal.SIGKILL)
        os.waitid(os.P_PID, dead, os.WEXITED | os.WNOWAIT)
        pool.submit("after", order(studio, "after", photos.jpeg(seed=2)))
        assert isinstance(collect(pool, 1)["after"], Finished)
        assert pool.free == 1
    finally:
        pool.stop()


def test_a_hanging_worker_is_killed_at_its_deadline(studio: Settings) -> None:
    pool = Pool(1, memory_mb=4000, job_limit_s=1.0)
    try:
        pool.submit("stuck", order(studio, "stuck", photos.jpeg(), WorkFacts()))
        until_up(pool, "stuck")
        stuck = process_of(pool, "stuck")
        os.kill(stuck, signal.SIGSTOP)
        began = time.monotonic()
        ended = collect(pool, 1)
        assert time.monotonic() - began < 3
        assert "longer than 1 s" in ended["stuck"].reason  # type: ignore[union-attr]
        with pytest.raises(ProcessLookupError):
            os.kill(stuck, 0)
    finally:
        pool.stop()


def test_a_worker_that_ends_at_its_start_is_started_again_with_pauses(
    studio: Settings, pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[float] = []
    real = pool._start

    def start() -> Any:
        started.append(time.monotonic())
        return real()

    monkeypatch.setattr(pool, "_start", start)
    with monkeypatch.context() as broken:
        broken.setattr("autoprep.service.pool.run", ends_at_once)
        pool.submit("a", order(studio, "a", photos.jpeg(seed=1)))
        pool.submit("b", order(studio, "b", photos.jpeg(seed=2)))
        limit = time.monotonic() + 60
        while len(started) < 5:
            assert time.monotonic() < limit
            assert list(pool.collect()) == []  # nothing is charged to a photo that no worker has seen
            time.sleep(0.005)
        assert sorted(pool.running) == ["a", "b"]
        assert pool.free == 0
        assert "exit code 3" in pool.trouble
        # Two at once and one in place of the first are nothing; then a pause of 1 s, and what starts take
        # (how pauses grow: test_starts.py).
        assert started[4] - started[3] > 1
    ended = collect(pool, 2)
    assert isinstance(ended["a"], Finished)
    assert isinstance(ended["b"], Finished)
    assert pool.trouble == ""
    assert pool.free == 2


def test_a_worker_that_dies_before_its_first_word_takes_no_job_with_it(studio: Settings, pool: Pool) -> None:
    pool.submit("early", order(studio, "early", photos.jpeg(seed=1)))
    os.kill(process_of(pool, "early"), signal.SIGKILL)
    assert isinstance(collect(pool, 1)["early"], Finished)
