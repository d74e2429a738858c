"""Whether the inbox needs to be looked through: at rest, a glance at its folders and notes says that all is as it was.

What comes, goes or gets another name changes the time of its folder, on every file system that a phone syncs to; a file
that is written again in its place does not, so now and then all files are looked at whatever the folders say.
"""

import os
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from autoprep.ledger import SeenFile
from autoprep.service.inbox import Found

_TICK_S = 2.0  # the coarsest clock of a file system that is in use (FAT): within it two changes have one time
_THOROUGH = 10  # at rest, one look in so many goes through all files

State = tuple[int, int, int] | None


class Glance:
    """Remembers how the folders were at the last look through all files.

    It is trusted only when that look began a tick after they were first seen so: a change during the look, or within
    the same tick of the folder's clock, is never taken for none.
    """

    def __init__(self, words: Path, rescan_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._words, self._every_s, self._clock = words, rescan_s * _THOROUGH, clock
        self._seen: dict[bytes, State] = {}
        self._since, self._sure, self._next = 0.0, False, 0.0

    def looked(
        self, inbox: Path, began: float, found: Iterable[Found], notes: Mapping[str, Any], known: dict[bytes, SeenFile]
    ) -> None:
        """All files were looked at. began: when, on the clock; found and notes: what was seen; known: what is taken."""
        root = os.fsencode(inbox)
        places = [os.fsencode(self._words), root]
        for folder, own in notes.items():
            at = os.path.join(root, os.fsencode(folder))
            places += [at, *(os.path.join(at, os.fsencode(name)) for name, *_ in own)]
        places += [os.path.join(root, item.path) for item in found if _is_open(item, known)]
        seen = {place: state_of(place) for place in places}
        if seen != self._seen:
            self._seen, self._since = seen, self._clock()
        self._sure = began - self._since >= _TICK_S
        self._next = began + self._every_s

    def same(self) -> bool:
        """Whether nothing can have come, gone or been renamed since, and no note was changed."""
        if not self._sure or self._clock() >= self._next:
            return False
        return all(state_of(place) == state for place, state in self._seen.items())


def _is_open(item: Found, known: dict[bytes, SeenFile]) -> bool:
    """Whether a file is not taken as it is: it may be filled in its place."""
    seen = known.get(item.path)
    return seen is None or seen.signature != item.signature


def state_of(place: bytes) -> State:
    """By what a place is known to be as it was: when it was changed, its size and number; None where nothing is."""
    try:
        status = os.stat(place, follow_symlinks=False)
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
