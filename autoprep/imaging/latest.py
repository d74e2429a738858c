"""What was worked out of an array, for the next who asks the same of it."""

from collections.abc import Callable
from typing import Generic, TypeVar
from weakref import ref

from autoprep.imaging.arrays import Float32

Found = TypeVar("Found")


class Latest(Generic[Found]):
    """A function of an array that keeps what it gave for the last one, until it is let go, or that array is.

    For arrays that are never written to once they are made, and so is what it gives.
    """

    def __init__(self, act: Callable[[Float32], Found]) -> None:
        self._act = act
        self._last: tuple[ref[Float32], Found] | None = None

    def __call__(self, array: Float32) -> Found:
        """What the function gives of the array."""
        last = self._last
        if last is not None and last[0]() is array:
            return last[1]
        found = self._act(array)
        self._last = ref(array, self._forget), found
        return found

    def let_go(self) -> None:
        """Forget it."""
        self._last = None

    def _forget(self, gone: "ref[Float32]") -> None:
        if self._last is not None and self._last[0] is gone:
            self._last = None
