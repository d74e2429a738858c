"""Long jobs never hold every worker: small photos go on beside them."""

import os
import signal
import time
from collections.abc import Iterator
from typing import Any

import pytest

from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.lanes import Lanes
from autoprep.service.messages import Failed, Finished
from autoprep.wishes.tables import Settings
from tests.service import pretend
from tests.service.pretend import Studio, photo


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_of_two_workers_one_stays_free_of_long_jobs() -> None:
    clock = Clock()
    lanes = Lanes(2, clock)
    lanes.began("slow-1")
    clock.now = 5
    lanes.began("slow-2")
    assert lanes.free == 0
    clock.now = 19
    assert lanes.to_put_back() == []
    clock.now = 26
    assert lanes.to_put_back() == ["slow-2"]  # the one that has run for less
    lanes.ended("slow-2", done=False)
    assert lanes.free == 1
    assert lanes.takes("small")
    assert not lanes.takes("slow-2")
    lanes.ended("slow-1")
    assert lanes.takes("slow-2")
    lanes.began("slow-2")
    assert not lanes.takes("slow-2")
    assert lanes.takes("small")
    assert lanes.to_put_back() == []  # it has the place for long ones, and keeps it


def test_one_worker_gets_another_beside_a_long_job() -> None:
    clock = Clock()
    lanes = Lanes(1, clock)
    lanes.began("slow-1")
    assert lanes.free == 0
    clock.now = 21
    assert lanes.free == 1
    lanes.began("slow-2")
    assert lanes.free == 0
    clock.now = 50
    assert lanes.to_put_back() == ["slow-2"]
    lanes.ended("slow-2", done=False)
    assert lanes.takes("small")
    assert not lanes.takes("slow-2")


def test_on_a_slow_machine_what_is_usual_is_not_long() -> None:
    clock = Clock()
    lanes = Lanes(2, clock)
    for number in range(5):
        lanes.began(str(number))
        clock.now += 30
        lanes.ended(str(number))
    lanes.began("a")
    lanes.began("b")
    clock.now += 80
    assert lanes.to_put_back() == []
    clock.now += 20
    assert lanes.to_put_back() == ["b"]


class SlowPool(pretend.InlinePool):
    """Jobs of photos with work numbers below 10 take 120 s, others 1 s, on a clock of its own."""

    clock = Clock()

    def __init__(self, size: int, *_: object) -> None:
        super().__init__()
        self.lanes = Lanes(size, self.clock)
        self.until: dict[str, float] = {}

    @property
    def free(self) -> int:
        return self.lanes.free

    def takes(self, job: str) -> bool:
        return self.lanes.takes(job)

    def make_room(self) -> list[str]:
        stopped = self.lanes.to_put_back()
        for job in stopped:
            self.lanes.ended(job, done=False)
        self._orders = [order for order in self._orders if order.job not in stopped]
        return stopped

    def submit(self, job: str, order: Any) -> None:
        super().submit(job, order)
        self.lanes.began(job)
        slow = b"work=1 " in order.data or b"work=2 " in order.data or b"work=3 " in order.data
        self.until[job] = self.clock.now + (120 if slow else 1)

    def collect(self) -> Iterator[Finished | Failed]:
        for order in [order for order in self._orders if self.until[order.job] <= self.clock.now]:
            self._orders.remove(order)
            self.lanes.ended(order.job)
            yield Finished(order.job, pretend.pretend(order))


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_small_photos_go_on_beside_three_slow_ones(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, workers: int
) -> None:
    wren = Studio(studio, monkeypatch)
    monkeypatch.setattr("autoprep.service.engine.Pool", SlowPool)
    monkeypatch.setattr("autoprep.service.engine.worker_count", lambda _: workers)
    SlowPool.clock.now = 0.0
    for number in (1, 2, 3):
        wren.put(f"a{number}.jpg", photo(number))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)

    def steps(seconds: int) -> None:
        for _ in range(seconds):
            SlowPool.clock.now += 1
            engine._next_scan = 0.0
            engine.step(0.0)

    steps(10)
    for number in range(10, 22):
        wren.put(f"b{number}.jpg", photo(number))
    steps(75)
    done = {job.shown for job in engine.ledger.jobs() if job.state == "done"}
    assert done == {f"b{number}.jpg" for number in range(10, 22)}
    steps(500)
    jobs = engine.ledger.jobs()
    assert all(job.outcome == "ready" and not job.attempts for job in jobs)
    assert sum(job.interrupted for job in jobs) <= 3  # each is put back once at most
    engine.stop()


@pytest.mark.slow
def test_a_real_worker_is_freed(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    from autoprep.domain import WorkFacts
    from autoprep.service.pool import Pool
    from tests import photos
    from tests.service.test_pool import collect, order, process_of, until_up

    monkeypatch.setattr("autoprep.service.lanes._LONG_S", 0.2)
    pool = Pool(1, memory_mb=4000, job_limit_s=60)
    try:
        pool.submit("stuck", order(studio, "stuck", photos.jpeg(), WorkFacts()))
        until_up(pool, "stuck")
        os.kill(process_of(pool, "stuck"), signal.SIGSTOP)
        time.sleep(0.3)
        assert pool.takes("stuck too")
        pool.submit("stuck too", order(studio, "stuck too", photos.jpeg(), WorkFacts()))
        until_up(pool, "stuck too")
        stuck = process_of(pool, "stuck too")
        os.kill(stuck, signal.SIGSTOP)
        time.sleep(0.3)
        assert pool.make_room() == ["stuck too"]
        with pytest.raises(ProcessLookupError):
            os.kill(stuck, 0)
        assert not pool.takes("stuck too")
        pool.submit("small", order(studio, "small", photos.jpeg()))
        assert isinstance(collect(pool, 1)["small"], Finished)
    finally:
        pool.stop()
