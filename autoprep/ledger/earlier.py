"""What came before: earlier names of photos, under which notes still speak for them, and works at a photo's place."""

import json
import sqlite3

from autoprep.ledger.connection import Connection
from autoprep.ledger.rows import VIEW_COLUMNS, View, view_of

_MOST = 5  # names of one photo
# By which of a photo's names it, or a work in it, is held; empty where none is.
_HELD_AS = (
    "coalesce((SELECT max(json_extract(nullif(one.said, ''), '$.held_as')) FROM jobs one "
    "WHERE one.job = jobs.job OR one.whole = jobs.job), '')"
)


class Earlier(Connection):
    """The part of the ledger that knows what photos were called before. A work in a photo has that one's names."""

    def parts_at(self, path: bytes, after: int) -> list[View]:
        """The works that were made of photos of several at this place, of higher numbers than this; oldest first."""
        rows = self._db.execute(
            f"SELECT {VIEW_COLUMNS} FROM jobs WHERE path = ? AND part > ? AND state = 'done' AND plan <> '' "  # noqa: S608
            "ORDER BY number",
            (path, after),
        )
        return [view_of(row) for row in rows]

    def _renamed(self, db: sqlite3.Connection, job: str, shown: str) -> None:
        """A photo is called so from now on; what it was called is kept, unless another photo has that name by now, and
        it was not held by it."""
        columns = f"shown, path, was, part, {_HELD_AS}"
        old, path, was, part, held_as = db.execute(f"SELECT {columns} FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        if part or old == shown:
            return
        self._not_earlier(db, job, shown)
        holder = db.execute("SELECT job FROM files WHERE path = ?", (path,)).fetchone()
        left = [] if holder is not None and holder[0] != job and old != held_as else [old]
        names = [name for name in dict.fromkeys([*left, *json.loads(was)]) if name != shown]
        self._keep_earlier(db, job, names[:_MOST])

    def _not_earlier(self, db: sqlite3.Connection, job: str, shown: str) -> None:
        """This photo is called so now: notes of that name are its own, and no longer those of one that was, unless it
        was held by them."""
        rows = db.execute(
            f"SELECT job, was FROM jobs WHERE was <> '[]' AND part = 0 AND job <> ? AND instr(was, ?) "  # noqa: S608
            f"AND {_HELD_AS} <> ?",
            (job, json.dumps(shown), shown),
        ).fetchall()
        for other, was in rows:
            self._keep_earlier(db, other, [name for name in json.loads(was) if name != shown])

    @staticmethod
    def _keep_earlier(db: sqlite3.Connection, job: str, names: list[str]) -> None:
        text = json.dumps(names)
        db.execute("UPDATE jobs SET was = ?1, unwritten = 1 WHERE (job = ?2 OR whole = ?2) AND was <> ?1", (text, job))
        db.execute(
            "UPDATE records SET record = json_set(record, '$.was', json(?1)) "
            "WHERE number IN (SELECT number FROM jobs WHERE job = ?2 OR whole = ?2)",
            (text, job),
        )
