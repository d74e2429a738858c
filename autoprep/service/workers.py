"""What the service asks of its workers, wherever they are: processes of its own (pool) or of a cluster."""

from collections.abc import Iterator
from typing import Any, Protocol

from autoprep.service.messages import Failed, Finished, Staged


class Workers(Protocol):
    """Take orders, say what became of them; one thread calls. No photo is charged with what is not its fault."""

    @property
    def free(self) -> int:
        """How many more jobs can be begun now."""

    @property
    def trouble(self) -> str:
        """Why no worker can be had, in words that stay the same until it is over; empty where nothing is the matter."""

    @property
    def running(self) -> list[str]:
        """The jobs that were begun and have not ended."""

    def takes(self, job: str) -> bool:
        """Whether this job can be begun now."""

    def make_room(self) -> list[str]:
        """Stop long jobs where others wait; those that were stopped are to be begun again later."""

    def waitables(self) -> list[Any]:
        """What becomes ready (multiprocessing.connection.wait) when there may be something to collect."""

    def next_deadline(self) -> float | None:
        """The monotonic time at which to collect in any case; None for no such time."""

    def submit(self, job: str, order: Any) -> None:
        """Begin a job."""

    def collect(self) -> Iterator[Staged | Finished | Failed]:
        """What was said since."""

    def stop(self) -> None:
        """End all that runs, within a few seconds."""
