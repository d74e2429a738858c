"""The cluster's side: loaded by each worker (`--preload autoprep.service.remote`), it does jobs that come as bytes.

The job itself runs in a process of its own below the cluster's worker, confined and watched as on the service's machine
(service/pool.py): what a decoder does to itself concerns one photo, and what it says is read with suspicion here and
once more by the service. So the worker dies only with its machine, and its job may be given to another.
"""

import multiprocessing
import os
import tempfile
import threading
import traceback
from collections.abc import Iterator
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from autoprep import __version__
from autoprep.job.orders import JobOrder
from autoprep.service.messages import Failed, Finished, Message
from autoprep.service.parcels import laid_out, packed_answer, packed_refusal
from autoprep.service.pool import Pool
from autoprep.wishes.tables import Service

_END_S = 3.0
RESOURCE = "autoprep"
"""A worker of the cluster offers `autoprep VERSION`, once: it gets one job at a time, and of that version alone."""


def resource_of(version: str) -> str:
    """The name by which workers of a version are known to the scheduler."""
    return f"{RESOURCE} {version}"


class _Bench:
    """The one process that does the jobs of this worker; another where the settings want one with other limits."""

    def __init__(self) -> None:
        self._pool: Pool | None = None
        self._limits: tuple[int, float] = (0, 0.0)
        self.folder: str | None = None
        self.busy = threading.Lock()  # held while there is a job
        self.ending = False

    def pool(self, service: Service) -> Pool:
        limits = service.worker_memory_mb, service.job_limit_s
        if self._pool is None or limits != self._limits:
            self.clear()
            self._pool, self._limits = Pool(1, *limits), limits
        return self._pool

    def clear(self) -> None:
        if self._pool is not None:
            self._pool.stop()
        self._pool = None


_BENCH = _Bench()


def dask_setup(worker: Any) -> None:
    """Called by the cluster's worker as it starts: offer to do jobs of this version."""
    if multiprocessing.current_process().daemon:
        print(  # noqa: T201 - the worker's own log
            "Autoprep can't work here: start this worker with DASK_DISTRIBUTED__WORKER__DAEMON=False, "
            "because each job runs in a process of its own."
        )
        return
    # The cluster has its workers give memory back at once; for pictures that doubles the CPU time of a job.
    os.environ.pop("MALLOC_TRIM_THRESHOLD_", None)
    _BENCH.folder = worker.local_directory
    for known in (worker.state.total_resources, worker.state.available_resources):
        known[resource_of(__version__)] = 1


def dask_teardown(_worker: Any) -> None:
    """Called as the worker ends, from another thread than its jobs'."""
    _BENCH.ending = True
    if _BENCH.busy.acquire(timeout=_END_S):  # the job sees that it is to end
        _BENCH.clear()
        _BENCH.busy.release()


def work(version: str, data: bytes) -> bytes:
    """Do the job of an order (parcels.packed_order); the answer (parcels.packed_answer). Raises nothing."""
    if version != __version__:
        return packed_refusal(f"it has Autoprep {__version__}, and the service {version}")
    # Below the worker's own folder: what a killed one leaves there is cleared away by the next.
    with _BENCH.busy, tempfile.TemporaryDirectory(prefix="autoprep-", dir=_BENCH.folder) as folder:
        root, order = Path(os.path.realpath(folder)), None
        try:
            order = laid_out(data, root)
            return packed_answer(_done(order), root)
        except _NotStarted as problem:
            return packed_refusal(str(problem))
        except OSError as problem:
            return packed_refusal(f"it can't write to its disk ({problem.strerror or problem})")
        except Exception as problem:
            if order is None:
                return packed_refusal(f"it can't read the order ({type(problem).__name__})")
            said = f"Autoprep itself made a mistake with this photo ({type(problem).__name__}); the log tells where"
            trace = "".join(traceback.format_exception(problem))
            return packed_answer([Failed(order.job, said, retry=False, trace=trace)], root)


class _NotStarted(Exception):
    """No process can be had that does jobs."""


def _done(order: JobOrder) -> Iterator[Message]:
    """All that is said of a job until it ends."""
    pool = _BENCH.pool(order.settings.service)
    pool.submit(order.job, order)
    while True:
        for message in pool.collect():
            yield message
            if isinstance(message, Finished | Failed):
                return
        if pool.trouble or _BENCH.ending:
            trouble = pool.trouble or "it is about to end"
            _BENCH.clear()
            raise _NotStarted(trouble)
        wait(pool.waitables(), 0.5)
