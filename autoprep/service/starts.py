"""How often a worker may be started anew: one that ends at its very start would else be started without pause."""

import time
from collections.abc import Callable

# Chosen: two accidents are nothing; from the third on the pause doubles until the next start.
_PATIENCE, _FIRST_PAUSE_S, _MOST_PAUSE_S = 3, 1.0, 30.0


class Starts:
    """Counts workers that ended before their first word; the first word of any worker ends the count.

    trouble: what is the matter, in words that stay the same until it is over; empty where nothing is.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._deaths, self._next = 0, 0.0
        self.trouble = ""

    def failed(self, how: str) -> None:
        """A worker ended before its first word; how: the way in which."""
        self._deaths += 1
        if self._deaths < _PATIENCE:
            return
        self._next = self._clock() + min(_FIRST_PAUSE_S * 2 ** min(self._deaths - _PATIENCE, 9), _MOST_PAUSE_S)
        self.trouble = self.trouble or (
            f"workers end as soon as they start ({how}): `service.worker_memory_mb` may be too small, or Autoprep "
            f"wants to be installed anew. Photos wait; it is tried again, at least every {_MOST_PAUSE_S:.0f} s"
        )

    def succeeded(self) -> None:
        """A worker has said its first word."""
        self._deaths, self._next, self.trouble = 0, 0.0, ""

    @property
    def next(self) -> float:
        """The monotonic time from which on another may be started."""
        return self._next

    @property
    def allowed(self) -> bool:
        """Whether another may be started now."""
        return self._clock() >= self._next
