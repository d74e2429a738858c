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
from autoprep.service.messages import MOST_BYTES, UP, Failed, Finished, Garbled, Message, Staged, unpacked
from autoprep.service.starts import Starts
from autoprep.service.worker import Limits, run

# Decoders leak and fragment; a fresh process now and then costs 0.1 s. Chosen after mail servers' habit.
_JOBS_PER_WORKER = 100
_START_S = (
    120.0  # a worker that has not said its first word by then is given up; a cold start from a slow disk takes 20
)


@dataclass
class _Worker:
    process: BaseProcess
    pipe: Connection
    job: str | None = None
    order: Any = None
    up: bool = False
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
        self._starts = Starts()
        self._unbegun: list[tuple[str, Any]] = []  # orders whose worker ended before it could read them

    @property
    def free(self) -> int:
        """How many more jobs can start now, of those that are not known to be long."""
        free = self._lanes.free if not self._starts.trouble else min(self._lanes.free, len(self._idle()))
        return max(0, free - len(self._unbegun))

    def _idle(self) -> list[_Worker]:
        return [worker for worker in self._workers if worker.job is None]

    @property
    def trouble(self) -> str:
        """Why no worker can be had, in words; empty where nothing is the matter."""
        return self._starts.trouble

    def takes(self, job: str) -> bool:
        """Whether this job can start now: long ones never hold all workers."""
        return self.free > 0 and self._lanes.takes(job)

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
        return [worker.job for worker in self._workers if worker.job is not None] + [job for job, _ in self._unbegun]

    def waitables(self) -> list[Any]:
        """What becomes ready when a worker has something to say or dies."""
        return [worker.pipe for worker in self._workers] + [worker.process.sentinel for worker in self._workers]

    def next_deadline(self) -> float | None:
        """The monotonic time at which the first running job runs out of time, or a worker may be started again."""
        starts = [self._starts.next] if self._unbegun and not self._starting() else []
        return min([*starts, *(worker.deadline for worker in self._workers if worker.job)], default=None)

    def submit(self, job: str, order: Any) -> None:
        """Give an order to a free worker; one is started when there is none."""
        # One that died since it was heard last is cleared away when it is heard again.
        worker = next((one for one in self._idle() if one.process.is_alive()), None) or self._start()
        worker.job, worker.order = job, order
        worker.deadline = time.monotonic() + (self._job_limit_s if worker.up else _START_S)
        self._lanes.began(job)
        worker.sender = _send(worker.pipe, order)

    def collect(self) -> Iterator[Staged | Finished | Failed]:
        """Everything the workers have said, with deaths and overtime as failures."""
        for worker in list(self._workers):
            yield from self._heard(worker)
            late = worker.job is not None and time.monotonic() > worker.deadline
            if late or not worker.process.is_alive():
                yield from self._ended(worker, late=late)
            elif worker.job is None and worker.done >= _JOBS_PER_WORKER:
                self._remove(worker, kill=False)
        self._begin_again()

    def _ended(self, worker: _Worker, *, late: bool) -> Iterator[Staged | Finished | Failed]:
        """A worker has died, or is killed at its deadline; its job, if it could begin with it, has failed."""
        if not late:
            yield from self._heard(worker)  # its last words
        job, order = worker.job, worker.order
        if job is not None:
            self._lanes.ended(job, done=False)
        how = f"not ready after {_START_S:.0f} s" if late else _how(worker.process.exitcode)
        self._remove(worker, kill=late)
        if not worker.up:
            self._starts.failed(how)
            if job is not None:
                self._unbegun.append((job, order))
        elif job is not None:
            late_words = f"the job took longer than {self._job_limit_s:.0f} s"
            yield Failed(job, late_words if late else f"the worker died ({how})", retry=True)

    def _starting(self) -> bool:
        return any(not worker.up for worker in self._workers)

    def _begin_again(self) -> None:
        """Give the orders that no worker could read to another: in trouble one at a time, after a pause."""
        while self._unbegun and self._lanes.free > 0:
            may_start = self._starts.allowed and not (self._starts.trouble and self._starting())
            if not (self._idle() or may_start):
                return
            self.submit(*self._unbegun.pop(0))

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
        if not worker.up:
            worker.up, worker.deadline = True, time.monotonic() + self._job_limit_s
            self._starts.succeeded()
        if data == UP or worker.job is None:
            return None  # its first word, or it has no job to speak of
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
