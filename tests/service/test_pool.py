"""The pool of workers: one death, one hang, concern one job."""

import os
import signal
import time
from collections.abc import Iterator

import pytest

from autoprep.job.orders import JobOrder
from autoprep.service.messages import Failed, Finished
from autoprep.service.pool import Pool
from autoprep.wishes.settings import Settings
from tests import photos

pytestmark = pytest.mark.slow


def order(settings: Settings, name: str, data: bytes) -> JobOrder:
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


def test_a_killed_worker_takes_its_own_job_only(studio: Settings, pool: Pool) -> None:
    pool.submit("good", order(studio, "good", photos.jpeg(seed=1)))
    pool.submit("bad", order(studio, "bad", photos.jpeg(seed=2)))
    os.kill(process_of(pool, "bad"), signal.SIGKILL)
    ended = collect(pool, 2)
    assert isinstance(ended["good"], Finished)
    assert isinstance(ended["bad"], Failed)
    assert "SIGKILL" in ended["bad"].reason
    assert ended["bad"].retry
    pool.submit("again", order(studio, "again", photos.jpeg(seed=3)))
    assert isinstance(collect(pool, 1)["again"], Finished)


def test_a_hanging_worker_is_killed_at_its_deadline(studio: Settings) -> None:
    pool = Pool(1, memory_mb=4000, job_limit_s=1.0)
    try:
        pool.submit("stuck", order(studio, "stuck", photos.jpeg()))
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
