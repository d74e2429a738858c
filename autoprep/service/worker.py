"""A worker process: takes orders from a pipe, does jobs, reports. A decoder's crash ends it and nothing else."""

import contextlib
import ctypes
import os
import signal
import sys
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any

from autoprep.errors import AutoprepError, lacks_memory
from autoprep.service.messages import UP, Failed, Finished, Staged, packed

_PR_SET_PDEATHSIG = 1
_NO_MEMORY = "the photo needs more memory than a worker may use (service.worker_memory_mb)"


@dataclass(frozen=True)
class Limits:
    """What a worker may use."""

    memory_mb: int
    parent: int


def run(pipe: Connection, limits: Limits) -> None:
    """The process's main function. Ends when the pipe closes."""
    _confine(limits)
    import cv2  # after the thread limits are set

    from autoprep.job.story import process

    cv2.setNumThreads(1)
    with contextlib.suppress(EOFError, OSError):
        pipe.send_bytes(UP)
        for order in _orders(pipe):
            pipe.send_bytes(packed(_do(process, order, pipe)))


def _orders(pipe: Connection) -> Iterator[Any]:
    while (order := pipe.recv()) is not None:
        yield order


def _do(process: Any, order: Any, pipe: Connection) -> Finished | Failed:
    def report(stage: str, seconds: float, facts: dict[str, object]) -> None:
        pipe.send_bytes(packed(Staged(order.job, stage, seconds, facts)))

    try:
        result = process(order, report)
        return Finished(order.job, result)
    except AutoprepError as problem:
        retry, full = bool(getattr(problem, "retry", False)), bool(getattr(problem, "full", False))
        return Failed(order.job, str(problem), retry, full=full)
    except Exception as problem:
        if lacks_memory(problem):
            return Failed(order.job, _NO_MEMORY, retry=True)
        # A mistake of ours, not of the photo: another try would end the same way.
        trace = "".join(traceback.format_exception(problem))
        said = f"Autoprep itself made a mistake with this photo ({type(problem).__name__}); the log tells where"
        return Failed(order.job, said, retry=False, trace=trace)


def _confine(limits: Limits) -> None:
    """Die with the service, ignore the terminal's Ctrl-C, keep to the memory limit, write no core files."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ[name] = "1"
    for name in ("LIBHEIF_SECURITY_LIMITS", "DISABLE_SECURITY_LIMITS"):
        os.environ.pop(name, None)
    if sys.platform.startswith("linux"):
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != limits.parent:  # the service ended before the line above
        raise SystemExit(0)
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        if sys.platform.startswith("linux"):
            size = min(limits.memory_mb * 1024 * 1024, sys.maxsize)  # more than the system counts: no limit is meant
            resource.setrlimit(resource.RLIMIT_AS, (size, size))
