"""What the service does once a day for itself: a copy of the ledger, and no more of what is kept than is of use."""

import os
import sqlite3
import threading
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from autoprep.errors import in_plain_words
from autoprep.job.orders import CORNERS
from autoprep.ledger import Ledger, copies
from autoprep.wishes.tables import Settings

_KEPT = 7
_AGAIN_S = 600.0
_CLEARED, _SEEN = "comparisons cleared before", "day of housekeeping"
_LEAP_DAYS = 100  # a day so far after the last one that was seen may be that of a clock gone wrong


class Housekeeping:
    """Does what is due once a day. A copy is taken in one go, and packed in a thread of its own, beside the work."""

    def __init__(self, ledger: Ledger, log: Any, clock: Callable[[], float] = time.monotonic) -> None:
        self._ledger, self._log, self._clock = ledger, log, clock
        self._day, self._again, self._packing = "", -1e9, threading.Thread()
        self._gone = False  # the first page

    def once_a_day(self, settings: Settings, today: date) -> bool:
        """Do what is due; whether another day has begun. What can't be done now is told, and tried again later."""
        day = today.isoformat()
        if day == self._day or self._clock() < self._again:
            return False
        self._day = day
        try:
            self._copy(settings.folders.records / copies.COPIES, day)
            clear_comparisons(settings, self._ledger, today)
        except (OSError, sqlite3.OperationalError) as problem:
            self._failed(problem)
            return False
        return True

    def lost_pages(self, settings: Settings) -> bool:
        """Whether the first page is gone, since this was asked last: somebody has cleared records/proof. Then all pages
        are to be written again, and the records that went with them, from which a lost ledger is made again.
        """
        proof = settings.folders.records / "proof"
        was, self._gone = self._gone, not os.path.lexists(proof / "index.html")
        jobs = self._ledger.lines() if self._gone and not was else ()
        self._ledger.write_again([job for job in jobs if not os.path.lexists(proof / job / "record.json")])
        self._ledger.overview.make_due(list(jobs))
        return bool(jobs)

    def _copy(self, folder: Path, day: str) -> None:
        """Keep a copy of the ledger as it is now, unless there is one of today. The oldest beyond a week go."""
        if self._packing.is_alive() or any(day in copy.name for copy in copies.kept(folder, day)):
            return
        copies.clear_unfinished(folder)
        copy = copies.copy_of(folder, day)
        plain = copy.with_name(f"{copy.name}.part-plain")
        self._ledger.copy_to(plain)
        self._packing = threading.Thread(target=self._pack, args=(plain, copy, day), daemon=True, name="autoprep-copy")
        self._packing.start()

    def _pack(self, plain: Path, copy: Path, day: str) -> None:
        try:
            copies.pack(plain, copy)
            for old in copies.kept(copy.parent, day)[:-_KEPT]:
                old.unlink()
        except OSError as problem:
            self._failed(problem)

    def _failed(self, problem: Exception) -> None:
        self._log.warning("no copy of the ledger", reason=in_plain_words(problem))
        self._day, self._again = "", self._clock() + _AGAIN_S

    def finish(self, most_s: float) -> None:
        """Wait for a copy that is being packed, at most so long; the next start takes one that is cut off anew."""
        if self._packing.ident is not None:
            self._packing.join(most_s)


def clear_comparisons(settings: Settings, ledger: Ledger, today: date) -> int:
    """Clear away the before-and-after pictures of photos that were done so many days ago; how many photos' pictures.

    Records, finished pictures and questions stay. What was cleared is not looked at again. On a day that lies far after
    the last one nothing is: the next day, near that one, shows that it was no clock gone wrong.
    """
    seen = ledger.kept(_SEEN)
    ledger.keep(_SEEN, today.isoformat())
    if seen and today - date.fromisoformat(seen) > timedelta(days=_LEAP_DAYS):
        return 0
    days = settings.service.comparisons_days
    limit = (today - timedelta(days=days)).isoformat() if days else ""
    cleared: list[str] = []
    for job in ledger.overview.finished_between(ledger.kept(_CLEARED), limit):
        folder, before = settings.folders.records / "proof" / job, len(cleared)
        for name in ("before.jpg", "after.jpg", "details.jpg", CORNERS):
            if (folder / name).exists():
                (folder / name).unlink()
                cleared[before:] = [job]
    if cleared:
        ledger.overview.make_due(cleared)
    if limit and limit != ledger.kept(_CLEARED):  # an earlier one too: it was a day of a clock gone wrong
        ledger.keep(_CLEARED, limit)
    return len(cleared)
