"""Which workers long jobs may hold: never all of them, so that small photos go on beside large ones."""

import statistics
import time
from collections import deque
from collections.abc import Callable

# Chosen: most photos of a phone take a few seconds; what takes much longer than the last ones did is long.
_LONG_S, _LONG_FACTOR, _REMEMBERED = 20.0, 3.0, 20


class Lanes:
    """Keeps one of `size` workers free of long jobs; where there is one only, another may run beside a long job.

    A job turns out to be long by running. One that then holds the last worker is put back once, and begun again when
    a worker for long jobs is free; it is known from then on, and nothing of it is lost but that time.
    """

    def __init__(self, size: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._size, self._clock = size, clock
        self._began: dict[str, float] = {}
        self._long: set[str] = set()
        self._lasted: deque[float] = deque(maxlen=_REMEMBERED)

    def began(self, job: str) -> None:
        """A worker has the job."""
        self._began[job] = self._clock()

    def ended(self, job: str, *, done: bool = True) -> None:
        """No worker has the job any more; done: it is not to be begun again."""
        began = self._began.pop(job, None)
        if done and began is not None:
            self._lasted.append(self._clock() - began)
            self._long.discard(job)

    @property
    def free(self) -> int:
        """How many more jobs can begin that are not known to be long."""
        most = self._size if self._size > 1 or not self._running_long() else 2
        return max(0, most - len(self._began))

    def takes(self, job: str) -> bool:
        """Whether this job can begin now."""
        return self.free > 0 and (job not in self._long or len(self._running_long()) < self._most_long)

    def to_put_back(self) -> list[str]:
        """Long jobs that hold the last worker: the latest of them make room for what else waits."""
        long = self._running_long()
        self._long.update(long)
        return long[self._most_long :]

    @property
    def _most_long(self) -> int:
        return max(1, self._size - 1)

    def _running_long(self) -> list[str]:
        """Running jobs that are long, by now or as is known, the earliest first."""
        usual = statistics.median(self._lasted) if self._lasted else 0.0
        limit = self._clock() - max(_LONG_S, _LONG_FACTOR * usual)
        return [job for job, began in self._began.items() if job in self._long or began < limit]
