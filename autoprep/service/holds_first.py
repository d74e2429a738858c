"""Which files that wait to be taken in are on hold where they lie: they come before all others.

Known photos that were moved, or copied, to where they are on hold must not be given out until all that is new is made.
"""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from autoprep.ledger import SeenFile
from autoprep.service.glance import state_of
from autoprep.service.inbox import Found


class HoldsFirst:
    """Says of which files it is to be asked whether they are on hold, each once until notes, words or settings change.

    The same photo has the same size: the others are not asked about. A scanner gives all its files one size, though, an
    archive has thousands of them, and each message of a worker is a step of the service.
    """

    def __init__(self, words: Path) -> None:
        self._words = os.fsencode(words)
        self._said_by: object = None
        self._sizes, self._asked = set[int](), set[bytes]()
        self._any_due = False

    def look(self, notes: Mapping[str, Any], known: Mapping[bytes, SeenFile]) -> None:
        """After a look at the inbox. notes: those of each of its folders; known: the files that are taken in."""
        self._sizes = {seen.signature[0] for seen in known.values() if seen.job}
        said_by = dict(notes), state_of(self._words)
        if said_by != self._said_by:
            self._said_by = said_by
            self._asked.clear()
        self._any_due = True

    def forget(self) -> None:
        """Ask again about all: the settings are others."""
        self._asked.clear()
        self._any_due = True

    def taken(self, item: Found) -> None:
        """A file was taken in: what has its size may be the same photo."""
        self._sizes.add(item.signature[0])
        self._any_due = True

    def put_off(self, item: Found) -> None:
        """A file could not be taken in yet: it is asked about again when its turn comes."""
        self._asked.discard(item.path)

    def due(self, ready: Mapping[bytes, Found]) -> Iterator[bytes]:
        """Those of the files by their paths to ask about, each as it is asked; the rest is due the next time."""
        if not self._any_due:
            return
        alike = [path for path, item in ready.items() if item.signature[0] in self._sizes and path not in self._asked]
        for path in alike:
            self._asked.add(path)
            yield path
        self._any_due = False
