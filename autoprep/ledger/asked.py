"""What is asked for again: only the ledger knows it, for no record does."""

import contextlib
import sqlite3
from collections.abc import Iterable
from pathlib import Path

from autoprep.ledger.connection import Connection


class Asked(Connection):
    """The part of the ledger that knows what is to be made again."""

    def ask_redo(self, job: str, destinations: list[str]) -> None:
        """Ask for a finished job's outputs to be rendered again; MEASURED among them: and for it to be measured."""
        with self._transaction() as db:
            for destination in destinations:
                db.execute("INSERT OR IGNORE INTO redos VALUES (?, ?)", (job, destination))

    def redos(self) -> dict[str, list[str]]:
        """Outputs to render again: job -> destinations."""
        return _by_job(self._db.execute("SELECT job, destination FROM redos ORDER BY job, destination"))

    def drop_redo(self, job: str) -> None:
        """A redo that can't be done is no longer asked for."""
        self._db.execute("DELETE FROM redos WHERE job = ?", (job,))


def asked_in(place: Path) -> dict[str, list[str]] | None:
    """What is asked for in a ledger that is to be put away, as `Asked.redos` has it; None where it can't be told.

    It is only read, by as little as is needed: most of a damaged one may be unreadable.
    """
    try:
        with contextlib.closing(sqlite3.connect(f"{place.absolute().as_uri()}?mode=ro", uri=True)) as db:
            rows = db.execute("SELECT job, destination FROM redos").fetchall()
    except sqlite3.Error:
        return None
    return _by_job(rows)


def _by_job(rows: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    asked: dict[str, list[str]] = {}
    for job, destination in rows:
        asked.setdefault(job, []).append(destination)
    return asked
