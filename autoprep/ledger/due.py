"""What is to be written again: pages and lists that are older than what is known of the photos that they show."""

import json
from collections.abc import Mapping, Sequence

from autoprep.ledger.attention import Attention

BLOCK = 100
"""A page of a month holds the photos of so many numbers: it stays the same page whatever else comes in."""

_FOR_NOW = ", for now"
_CHANGED = "pictures that the artist has changed"


class Due(Attention):
    """What is due, over the connection of an open ledger."""

    def told_as_changed(self, changed: Mapping[str, Sequence[str]]) -> None:
        """The pages of works of which the artist has changed other pictures than when this was said last are old.

        changed: the works with such pictures, and which.
        """
        row = self._db.execute("SELECT value FROM kept WHERE name = ?", (_CHANGED,)).fetchone()
        before: dict[str, list[str]] = json.loads(row[0]) if row else {}
        now = {work: list(files) for work, files in changed.items()}
        other = [work for work in {**before, **now} if before.get(work) != now.get(work)]
        if other:
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany("INSERT OR IGNORE INTO due VALUES ('work', ?, 0)", [(work,) for work in other])
            self._db.execute("INSERT OR REPLACE INTO kept VALUES (?, ?)", (_CHANGED, json.dumps(now)))
            self._db.execute("COMMIT")

    def list_due(self) -> bool:
        """Whether the list of all works is older than what is known."""
        return self._db.execute("SELECT 1 FROM due WHERE kind = 'works'").fetchone() is not None

    def due_works(self) -> list[str]:
        """Works of which the page is older than what is known, the newest first."""
        rows = self._db.execute("SELECT name FROM due WHERE kind = 'work' ORDER BY name DESC")
        return [row[0] for row in rows]

    def due_pages(self) -> list[tuple[str, int]]:
        """(month, block) of the pages that are older than the records that they show, newest first."""
        return self._db.execute("SELECT name, block FROM due WHERE kind = 'page' ORDER BY 1 DESC, 2 DESC").fetchall()

    def due_lists(self) -> set[str]:
        """Destinations of whose files or words something has changed since their list was written."""
        return {row[0] for row in self._db.execute("SELECT name FROM due WHERE kind = 'list'")}

    def written(self, kind: str, names: list[tuple[str, int]], *, for_now: bool = False) -> None:
        """These pages ("page", "work", "works") or lists ("list") are as the ledger is now.

        for_now: until due_again is called; for what they show could not be looked at.
        """
        self._db.execute("BEGIN IMMEDIATE")
        self._db.executemany("DELETE FROM due WHERE kind = ? AND name = ? AND block = ?", [(kind, *at) for at in names])
        later = [(kind + _FOR_NOW, *at) for at in names] if for_now else []
        self._db.executemany("INSERT OR IGNORE INTO due VALUES (?, ?, ?)", later)
        self._db.execute("COMMIT")

    def due_again(self) -> None:
        """What was written for now is to be written again."""
        told = self._db.execute("SELECT kind, name, block FROM due WHERE instr(kind, ?)", (_FOR_NOW,)).fetchall()
        if told:
            self._db.execute("BEGIN IMMEDIATE")
            anew = [(kind.removesuffix(_FOR_NOW), *at) for kind, *at in told]
            self._db.executemany("INSERT OR IGNORE INTO due VALUES (?, ?, ?)", anew)
            self._db.execute("DELETE FROM due WHERE instr(kind, ?)", (_FOR_NOW,))
            self._db.execute("COMMIT")

    def make_due(self, jobs: list[str]) -> None:
        """The pages that show these photos, or their works, are to be written again."""
        self._db.execute("BEGIN IMMEDIATE")
        for shows, some in ((f"'page', substr(came, 1, 7), number / {BLOCK}", "1"), ("'work', work, 0", "work <> ''")):
            self._db.executemany(
                f"INSERT OR IGNORE INTO due SELECT {shows} FROM jobs WHERE job = ? AND {some}",  # noqa: S608
                [(job,) for job in jobs],
            )
        self._db.execute("COMMIT")
