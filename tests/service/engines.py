"""Running the engine in tests, as the command `once` does."""

import pickle
import time
from collections.abc import Iterator
from typing import Any

import cv2

from autoprep.domain import JobRecord
from autoprep.job.story import process
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.messages import Message, packed, unpacked
from autoprep.service.worker import _do
from autoprep.service.workers import Workers
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings


class WorkerHere:
    """A worker that does real jobs in this process: a start of one of its own costs as much as a small photo.

    Orders and answers go through the same bytes as between processes (which are tried in test_pool, test_watch,
    test_everyday and others).
    """

    trouble = ""

    def __init__(self) -> None:
        self._orders: list[Any] = []
        self._said: list[bytes] = []

    @property
    def free(self) -> int:
        return 1 - len(self._orders)

    @property
    def running(self) -> list[str]:
        return [order.job for order in self._orders]

    def takes(self, _job: str) -> bool:
        return self.free > 0

    def make_room(self) -> list[str]:
        return []

    def waitables(self) -> list[Any]:
        return []

    def next_deadline(self) -> float | None:
        return None

    def submit(self, _job: str, order: Any) -> None:
        self._orders.append(pickle.loads(pickle.dumps(order)))

    def send_bytes(self, data: bytes) -> None:
        """What a worker says goes here instead of into its pipe."""
        self._said.append(data)

    def collect(self) -> Iterator[Message]:
        while self._orders:
            order = self._orders[0]
            self.send_bytes(packed(_do(process, order, self)))  # type: ignore[arg-type]
            del self._orders[0]
            while self._said:
                yield unpacked(self._said.pop(0), order)

    def stop(self) -> None:
        self._orders.clear()


class EngineHere(Engine):
    """The engine with such a worker."""

    def _workers(self) -> Workers:
        return WorkerHere()


def run_once(settings: Settings) -> dict[str, JobRecord]:
    """Process what waits in the inbox, at most a minute long; all records of the ledger by the photo's name.

    Nothing is waited for: what lies in the inbox has settled.
    """
    settled = settings.model_copy(update={"service": settings.service.model_copy(update={"settle_s": 0.0})})
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # as a worker has it
    engine = EngineHere(settled, open_log(settings.folders.records, None), follow=False)
    try:
        limit = time.monotonic() + 60
        engine.step(0.0)
        while time.monotonic() < limit and not engine.idle:
            engine._next_scan = 0.0
            engine.step(0.0)
    finally:
        engine.stop()
        cv2.setNumThreads(threads)
    ledger = Ledger(ledger_path(settings))
    records = {job.shown: job.record for job in ledger.jobs() if job.record is not None}
    ledger.close()
    return records
