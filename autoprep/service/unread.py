"""Files of the inbox that are not read yet: what they may turn out to be must do no harm meanwhile.

After a start on another disk, say, or with a new ledger, all files are read again, one after the other. What a photo's
copy holds must not come back for a moment because the photo's turn is before that of its copy.
"""

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from autoprep.domain import WorkFacts
from autoprep.errors import in_plain_words
from autoprep.ledger import SeenFile, View
from autoprep.service.arrivals import shown_name
from autoprep.service.inbox import Found
from autoprep.service.said import facts_of_copy
from autoprep.wishes.tables import Settings


class Unread:
    """What the last look at the inbox has found, as far as the ledger does not know it as it is.

    log: is told of faults; None where only somebody asks.
    """

    def __init__(self, log: Any = None) -> None:
        self._log, self._faulty = log, set[Found]()
        self._files: Mapping[bytes, SeenFile] = {}
        self._paths: frozenset[bytes] = frozenset()
        self._new_sizes: frozenset[int] = frozenset()
        self._of_size: dict[int, list[Found]] = {}
        self._held_by: dict[str, Found] = {}
        self._comes_by: dict[str, Found] = {}

    def look(self, found: Iterable[Found], files: Mapping[bytes, SeenFile]) -> None:
        """After a look at the inbox; files: what the ledger knows of it, which is kept up to date."""
        self._files, self._of_size = files, {}
        for item in found:
            if not self._is_read(item):
                self._of_size.setdefault(item.signature[0], []).append(item)
        self._faulty &= {item for alike in self._of_size.values() for item in alike}
        self._paths = frozenset(item.path for item in found)
        self._new_sizes = frozenset(item.signature[0] for item in found if item.path not in files)

    def _is_read(self, item: Found) -> bool:
        seen = self._files.get(item.path)
        return seen is not None and seen.signature == item.signature

    def may_be(self, own: bytes, copy: Found) -> bool:
        """Whether a photo has left its place, own, and what is not read yet may be it: a copy must not give it its
        name.
        """
        return copy.path != own and own not in self._paths and copy.signature[0] in self._new_sizes

    def heard(self, settings: Settings, view: View, said: WorkFacts, places: Sequence[bytes]) -> WorkFacts:
        """What is said of a photo that lies at these places: what was on hold, or was not for a destination, stays so
        while that may be said by a copy.
        """
        self._held_by.pop(view.job, None)
        held = view.said.hold and not said.hold and not said.released
        never = [name for name in view.said.not_for if name not in said.not_for]
        for item in self._alike(settings, places) if held or never else ():
            copy = self._facts_of(settings, item)
            kept = [name for name in never if name in copy.not_for]
            if (held and copy.hold) or kept:
                self._held_by[view.job] = item
                said = said.model_copy(update={
                    "hold": said.hold or (held and copy.hold),
                    "not_for": tuple(dict.fromkeys((*said.not_for, *kept))),
                })  # fmt: skip
        return said

    def comes(self, view: View) -> bool:
        """Whether a file that is not read yet lies where a photo lay that is away: it may be that photo, put back."""
        unread = (item for alike in self._of_size.values() for item in alike if item.path == view.path)
        item = next((item for item in unread if not self._is_read(item)), None)
        if item is not None:
            self._comes_by[view.job] = item
        return item is not None

    def _alike(self, settings: Settings, places: Sequence[bytes]) -> Iterator[Found]:
        """The files that are not read yet and have the size of what lies at these places."""
        inbox, sizes = os.fsencode(settings.folders.inbox), set()
        for place in places if self._of_size else ():
            with contextlib.suppress(OSError):
                sizes.add(os.lstat(os.path.join(inbox, place)).st_size)
        for item in (item for size in sizes for item in self._of_size.get(size, ())):
            if item.path not in places and not self._is_read(item):
                yield item

    def over(self) -> set[str]:
        """The photos that stayed on hold, or were waited for, for a file that is read by now, or gone."""
        found = {job for job, item in self._comes_by.items() if self._is_over(item)}
        self._comes_by = {job: item for job, item in self._comes_by.items() if job not in found}
        return found | {job for job, item in self._held_by.items() if self._is_over(item)}

    def _is_over(self, item: Found) -> bool:
        return self._is_read(item) or item not in self._of_size.get(item.signature[0], ())

    def _facts_of(self, settings: Settings, item: Found) -> WorkFacts:
        """What is said of a copy by where it lies. A fault met there is told once, and holds: nobody knows."""
        shown = shown_name(item.path)
        try:
            return facts_of_copy(settings, shown)
        except Exception as problem:
            if self._log is not None and item not in self._faulty:
                self._faulty.add(item)
                self._log.error("fault", photo=shown, reason=in_plain_words(problem), exc_info=True)
            return WorkFacts(hold=True)
