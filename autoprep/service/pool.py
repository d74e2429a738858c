"""The supervisor of the worker processes: one pipe per worker, so that one death concerns one job."""

import contextlib
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from autoprep.service.lanes import Lanes
from autoprep.service.messages import MOST_BYTES, Failed, Finished, Garbled, Message, Staged, unpacked
from autoprep.service.worker import Limits, run

# Decoders leak and fragment; a fresh process now and then costs 0.1 s. Chosen after mail servers' habit.
_JOBS_PER_WORKER = 100


@dataclass
class _Worker:
    process: BaseProcess
    pipe: Connection
    job: str | None = None
    order: Any = None
    deadline: float = 0.0
    done: int = 0
    sender: threading.Thread | None = None


class Pool:
    """Runs jobs in spawned processes, kills what hangs, replaces what dies."""

    def __init__(self, size: int, memory_mb: int, job_limit_s: float) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._limits = Limits(memory_mb, os.getpid())
        self._job_limit_s = job_limit_s
        self._lanes = Lanes(size)
        self._workers: list[_Worker] = []

    @property
    def free(self) -> int:
        """How many more jobs can start now, of those that are not known to be long."""
        return self._lanes.free

    def takes(self, job: str) -> bool:
        """Whether this job can start now: long ones never hold all workers."""
        return self._lanes.takes(job)

    def make_room(self) -> list[str]:
        """Stop long jobs that hold the last worker while others wait; they are to be started again later."""
        stopped = self._lanes.to_put_back()
        for worker in [worker for worker in self._workers if worker.job in stopped]:
            self._lanes.ended(str(worker.job), done=False)
            self._remove(worker, kill=True)
        return stopped

    @property
    def running(self) -> list[str]:
        """The jobs that are being worked on."""
        return [worker.job for worker in self._workers if worker.job is not None]

    def waitables(self) -> list[Any]:
        """What becomes ready when a worker has something to say or dies."""
        return [worker.pipe for worker in self._workers] + [worker.process.sentinel for worker in self._workers]

    def next_deadline(self) -> float | None:
        """The monotonic time at which the first running job runs out of time."""
        return min((worker.deadline for worker in self._workers if worker.job), default=None)

    def submit(self, job: str, order: Any) -> None:
        """Give an order to a free worker; one is started when there is none."""
        worker = next((w for w in self._workers if w.job is None), None) or self._start()
        worker.job, worker.order, worker.deadline = job, order, time.monotonic() + self._job_limit_s
        self._lanes.began(job)
        worker.sender = _send(worker.pipe, order)

    def collect(self) -> Iterator[Staged | Finished | Failed]:
        """Everything the workers have said, with deaths and overtime as failures."""
        for worker in list(self._workers):
            yield from self._heard(worker)
            if worker.job is not None and time.monotonic() > worker.deadline:
                self._lanes.ended(worker.job, done=False)
                yield Failed(worker.job, f"the job took longer than {self._job_limit_s:.0f} s", retry=True)
                self._remove(worker, kill=True)
            elif not worker.process.is_alive():
                yield from self._heard(worker)
                if worker.job is not None:
                    self._lanes.ended(worker.job, done=False)
                    yield Failed(worker.job, f"the worker died ({_how(worker.process.exitcode)})", retry=True)
                self._remove(worker, kill=False)
            elif worker.job is None and worker.done >= _JOBS_PER_WORKER:
                self._remove(worker, kill=False)

    def _heard(self, worker: _Worker) -> Iterator[Staged | Finished | Failed]:
        try:
            while worker.pipe.poll():
                message = self._read(worker)
                if message is None:
                    return
                if isinstance(message, Finished | Failed):
                    self._lanes.ended(message.job)
                    worker.job = None
                    worker.done += 1
                yield message
        except (EOFError, OSError):
            worker.process.join(1)

    def _read(self, worker: _Worker) -> Message | None:
        """The next message; a worker that says what no worker of ours says is ended, and its job has failed."""
        data = worker.pipe.recv_bytes(MOST_BYTES)
        if worker.job is None:
            return None  # it has no job to speak of
        try:
            return unpacked(data, worker.order)
        except Garbled as problem:
            worker.process.kill()
            return Failed(worker.job, str(problem), retry=False)

    def stop(self, grace_s: float = 0.5) -> None:
        """End all workers; those that do not go are killed."""
        for worker in self._workers:
            _send(worker.pipe, None)
        limit = time.monotonic() + grace_s
        for worker in list(self._workers):
            if worker.job is None:
                worker.process.join(max(0.0, limit - time.monotonic()))
            self._remove(worker, kill=True)

    def _start(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=run, args=(theirs, self._limits), daemon=True, name="autoprep-worker")
        process.start()
        theirs.close()
        worker = _Worker(process, ours)
        self._workers.append(worker)
        return worker

    def _remove(self, worker: _Worker, *, kill: bool) -> None:
        self._workers.remove(worker)
        if kill and worker.process.is_alive():
            worker.process.kill()
        if worker.sender is not None:  # what it still sends breaks off with the process
            worker.sender.join(2)
        worker.pipe.close()
        worker.process.join(2)
        if worker.process.is_alive():
            worker.process.kill()
            worker.process.join()
        worker.process.close()


def _send(pipe: Connection, message: Any) -> threading.Thread:
    """Send from a thread of its own: a worker that is stopped or stuck does not read, and the service must not wait.

    Where the worker has died, collect() will say so; where it never reads, its deadline ends it and the thread with it.
    """

    def send() -> None:
        with contextlib.suppress(OSError, ValueError):
            pipe.send(message)

    thread = threading.Thread(target=send, daemon=True, name="autoprep-send")
    thread.start()
    return thread


def _how(code: int | None) -> str:
    if code is not None and code < 0:
        with contextlib.suppress(ValueError):
            return f"signal {signal.Signals(-code).name}"
    return f"exit code {code}"
