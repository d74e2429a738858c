"""What has been worked out: of which photos nothing was left to do, so that a start need not ask it of all."""

import json
from collections.abc import Mapping
from sys import intern

from autoprep.ledger.connection import Connection
from autoprep.ledger.rows import GONE, Line

TROUBLE = "trouble"
"""The kept word that says why the running service gets no workers."""
_UNFINISHED, _UNREAD = "unfinished", "unread"


class Settled(Connection):
    """The part of the ledger that spares the service from working out what has not changed.

    Triggers (see migrations) take the word back when anything changes of a photo, its work or its files.
    """

    def lines(self) -> dict[str, Line]:
        """All photos by their jobs, in few bytes each."""
        same: dict[str, str] = {}  # many photos share a folder and a key: kept once
        found = {}
        rows = self._db.execute("SELECT job, work, path, shown, settled, whole, was FROM jobs")
        for job, work, path, shown, settled, whole, was in rows:
            folder = shown.rpartition("/")[0]
            found[intern(job)] = Line(
                intern(work), path, same.setdefault(folder, folder), same.setdefault(settled, settled), intern(whole),
                () if was == "[]" else tuple(json.loads(was)),
            )  # fmt: skip
        return found

    def unsettled(self) -> list[str]:
        """Jobs of which something may be left to do."""
        return [row[0] for row in self._db.execute("SELECT job FROM jobs WHERE settled = ''")]

    def with_failures(self) -> list[str]:
        """Jobs with a destination that could not be made."""
        return [row[0] for row in self._db.execute("SELECT job FROM jobs WHERE failed > 0")]

    def held_by_table(self, tables: Mapping[str, str]) -> list[str]:
        """Jobs that wait for a destination by a table that is another now; tables: the digest of each (see depends)."""
        rows = self._db.execute(
            "SELECT job, destination, settings FROM renditions WHERE state = 'held' AND settings LIKE 'table %'"
        )
        return [job for job, name, settings in rows if name in tables and settings != tables[name]]

    def settle(self, known: Mapping[str, str]) -> None:
        """With this knowledge of these photos nothing is left to do; empty: something is."""
        with self._transaction() as db:
            db.executemany("UPDATE jobs SET settled = ? WHERE job = ?", [(key, job) for job, key in known.items()])

    def unsettle_all(self) -> None:
        """Nothing is known to be settled any more."""
        self._db.execute("UPDATE jobs SET settled = '' WHERE settled <> ''")

    def write_again(self, jobs: list[str]) -> None:
        """The records of these photos, as far as they have one, are to be written to disk again."""
        with self._transaction() as db:
            rows = [(job,) for job in jobs]
            db.executemany("UPDATE jobs SET unwritten = 1, settled = '' WHERE job = ? AND state = 'done'", rows)

    def set_merit(self, job: str, merit: float) -> None:
        """What a take is worth; where that says whether it was edited, its record is to say it too."""
        told = "unwritten = unwritten OR ?1 <= ?3 OR coalesce(merit, 0) <= ?3"
        self._db.execute(f"UPDATE jobs SET merit = ?1, {told} WHERE job = ?2", (merit, job, GONE))  # noqa: S608

    def without_merit(self) -> list[str]:
        """Jobs with a plan of which that is not known."""
        return [row[0] for row in self._db.execute("SELECT job FROM jobs WHERE merit IS NULL AND plan <> ''")]

    def kept(self, name: str) -> str:
        """A word that the service keeps from one start to the next; empty where there is none."""
        row = self._db.execute("SELECT value FROM kept WHERE name = ?", (name,)).fetchone()
        return "" if row is None else str(row[0])

    def keep(self, name: str, value: str) -> None:
        """Keep a word."""
        self._db.execute("INSERT OR REPLACE INTO kept VALUES (?, ?)", (name, value))

    def keep_unfinished(self, until: Mapping[str, float]) -> None:
        """Files that the running service waits for, because they end too early, and until when, as time.time has it."""
        text = json.dumps(dict(until)) if until else ""
        if text != self.kept(_UNFINISHED):
            self.keep(_UNFINISHED, text)

    def unfinished(self, now: float) -> dict[str, float]:
        """The same, of those that it still waits for: a service that was cut off leaves its word behind."""
        kept: dict[str, float] = json.loads(self.kept(_UNFINISHED) or "{}")
        return {shown: until for shown, until in kept.items() if until >= now}

    def keep_unread(self, why: Mapping[str, str]) -> None:
        """Files of the inbox that could not be taken in at the last try, and why."""
        text = json.dumps(dict(why)) if why else ""
        if text != self.kept(_UNREAD):
            self.keep(_UNREAD, text)

    def unread(self) -> dict[str, str]:
        """The same; also after the service has ended, for they lie there still."""
        found: dict[str, str] = json.loads(self.kept(_UNREAD) or "{}")
        return found
