"""A studio that lies elsewhere than before: the places of its files follow it."""

import json
import os
import sqlite3
from pathlib import Path

from autoprep.ledger.names import key_of
from autoprep.ledger.settled import Settled

_STUDIO = "studio"
_FEW = 50  # files from which is told where a studio lay of which that was not kept yet


class Moved(Settled):
    """The part of the ledger that knows where the studio lay when it was last worked in."""

    def follow(self, studio: Path) -> str:
        """The places of files follow the studio. Where it lay before; empty where it lies as it did.

        Called by whoever holds the studio alone: by another way to the same folder, two would undo each other's word.
        """
        was, now = self.kept(_STUDIO) or self._told_by_files(), str(studio)
        if was == now:
            return ""
        if was:
            with self._transaction() as db:
                for table in ("renditions", "coming", "stayed"):
                    self._follow(db, table, was, studio)
        self.keep(_STUDIO, now)
        return was

    def _told_by_files(self) -> str:
        """Where a studio lay of which that was not kept: a file's place is known as it was, and from the studio on."""
        rows = self._db.execute(
            "SELECT path, output FROM renditions WHERE path IS NOT NULL AND output IS NOT NULL LIMIT ?", (_FEW,)
        )
        for path, output in rows:
            place, within = os.fsdecode(path), str(json.loads(output)["path"])
            if not os.path.isabs(within) and place.endswith(os.sep + within):
                return place.removesuffix(os.sep + within)
        return ""

    @staticmethod
    def _follow(db: sqlite3.Connection, table: str, was: str, studio: Path) -> None:
        before = os.path.join(was, "")
        rows = db.execute(f"SELECT rowid, path, key FROM {table} WHERE path IS NOT NULL").fetchall()  # noqa: S608
        for row, path, key in rows:
            place = os.fsdecode(path)
            if place.startswith(before):
                new = studio / place.removeprefix(before)
                told = (os.fsencode(new), None if key is None else key_of(new), row)
                db.execute(f"UPDATE OR IGNORE {table} SET path = ?, key = ? WHERE rowid = ?", told)  # noqa: S608
