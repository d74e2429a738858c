"""Names that are kept for files: of pictures that are made or to be made, and of the folders of questions."""

import os
import sqlite3
import unicodedata
from collections.abc import Collection, Iterable
from pathlib import Path

from autoprep.ledger.connection import Connection
from autoprep.ledger.rows import LOOK, RENDITION_COLUMNS, OpenQuestion, Rendition, rendition_of


class Names(Connection):
    """The part of the ledger that knows where files lie, or will."""

    def _reserve(self, db: sqlite3.Connection, job: str, places: dict[str, Path]) -> None:
        """Keep names; one that is kept already stays with what was announced of it."""
        for destination, place in places.items():
            at = (job, destination)
            kept = db.execute("SELECT path FROM coming WHERE job = ? AND destination = ?", at).fetchone()
            if kept is not None and kept[0] == os.fsencode(place):
                continue
            db.execute("DELETE FROM coming WHERE job = ? AND destination = ?", at)
            db.execute(
                "INSERT OR IGNORE INTO coming (job, destination, path, key) VALUES (?, ?, ?, ?)",
                (job, destination, os.fsencode(place), key_of(place)),
            )

    def reserve(self, job: str, places: dict[str, Path], takes: Collection[str] = ()) -> None:
        """Keep names for files of a job that are to be made, in the stead of any that were kept for them.

        takes: other photos of the work, which lend the names of files that they no longer have in place.
        """
        with self._transaction() as db:
            self._lend(db, places.values(), takes)
            self._reserve(db, job, places)

    def release(self, job: str, destinations: Iterable[str]) -> None:
        """Names that were kept for files of a job are free, but for those of which something was announced."""
        with self._transaction() as db:
            rows = [(job, name) for name in destinations]
            db.executemany("DELETE FROM coming WHERE job = ? AND destination = ? AND sha256 = ''", rows)

    @staticmethod
    def _lend(db: sqlite3.Connection, places: Iterable[Path], takes: Collection[str]) -> None:
        """Names of files that these takes of a work no longer have in place are free for the others."""
        rows = [(take, key_of(place)) for place in places for take in takes]
        db.executemany("UPDATE renditions SET key = NULL WHERE job = ? AND key = ? AND state <> 'in place'", rows)

    def announce(self, job: str, files: dict[str, str]) -> None:
        """Destination -> SHA-256 of files that are about to get their names: after a crash they are known as ours."""
        with self._transaction() as db:
            for destination, sha256 in files.items():
                db.execute(
                    "UPDATE coming SET sha256 = trim(sha256 || ' ' || ?) WHERE job = ? AND destination = ?",
                    (sha256, job, destination),
                )

    def is_taken(self, place: Path, but: Collection[str] = ()) -> bool:
        """Whether an output has this place; but: jobs of which only files count that lie there, or are on their way."""
        rows = self._db.execute(
            "SELECT job, 1 FROM coming WHERE key = ?1 "
            "UNION ALL SELECT job, state = 'in place' FROM renditions WHERE key = ?1",
            (key_of(place),),
        )
        return any(holds or job not in but for job, holds in rows)

    def ordered(self, destinations: Collection[str]) -> list[str]:
        """The jobs with a file in place in one of these destinations, to whose work the artist gave a number."""
        marks = ", ".join("?" * len(destinations))
        rows = self._db.execute(
            f"SELECT DISTINCT job FROM renditions WHERE destination IN ({marks}) AND state = 'in place' "  # noqa: S608
            "AND json_extract(told, '$.order') > 0",
            tuple(destinations),
        )
        return [row[0] for row in rows]

    def stems(self, destination: str) -> list[str]:
        """The stems of all names that a destination has given."""
        rows = self._db.execute(
            "SELECT path FROM coming WHERE destination = ?1 "
            "UNION ALL SELECT path FROM renditions WHERE destination = ?1 AND path IS NOT NULL",
            (destination,),
        )
        return [Path(os.fsdecode(row[0])).stem for row in rows]

    def kept_names(self, destination: str, but: Collection[str] = ()) -> list[Path]:
        """All names that are kept in a destination; but: jobs of which only files count that lie there."""
        rows = self._db.execute(
            "SELECT job, path, 0 FROM coming WHERE destination = ?1 UNION ALL SELECT job, path, state = 'in place' "
            "FROM renditions WHERE destination = ?1 AND path IS NOT NULL AND key IS NOT NULL",
            (destination,),
        )
        return [Path(os.fsdecode(path)) for job, path, lies in rows if lies or job not in but]

    def coming(self, job: str) -> dict[str, tuple[Path, tuple[str, ...]]]:
        """Names that are kept for files of a job that are to be made, each with what was announced for it."""
        rows = self._db.execute("SELECT destination, path, sha256 FROM coming WHERE job = ?", (job,))
        return {row[0]: (Path(os.fsdecode(row[1])), tuple(row[2].split())) for row in rows}

    def places(self, job: str) -> dict[str, Path]:
        """Where each destination's file of a job goes, or lies."""
        rows = self._db.execute(
            "SELECT destination, path FROM renditions WHERE job = ?1 AND path IS NOT NULL "
            "UNION ALL SELECT destination, path FROM coming WHERE job = ?1",
            (job,),
        )
        return {row[0]: Path(os.fsdecode(row[1])) for row in rows}

    def renditions(self, job: str) -> dict[str, Rendition]:
        """What is on record of each destination of a job."""
        rows = self._db.execute(f"SELECT {RENDITION_COLUMNS} FROM renditions WHERE job = ?", (job,))  # noqa: S608
        found = [rendition_of(row) for row in rows]
        return {rendition.destination: rendition for rendition in found}

    def keep_stayed(self, job: str, rendition: Rendition) -> None:
        """A file of a job was to leave its place, and stays, because the artist has changed it."""
        assert rendition.path is not None
        with self._transaction() as db:
            self._note_stayed(db, job, [(rendition.destination, rendition.path)])

    @staticmethod
    def _note_stayed(db: sqlite3.Connection, job: str, files: Iterable[tuple[str, Path]]) -> None:
        db.executemany(
            "INSERT OR IGNORE INTO stayed (job, destination, path, key) VALUES (?, ?, ?, ?)",
            [(job, destination, os.fsencode(place), key_of(place)) for destination, place in files],
        )

    def stayed_of(self, job: str) -> list[tuple[str, Path]]:
        """(destination, place) of such files of a job."""
        rows = self._db.execute("SELECT destination, path FROM stayed WHERE job = ? ORDER BY rowid", (job,))
        return [(destination, Path(os.fsdecode(path))) for destination, path in rows]

    def stayed(self, job: str, destination: str) -> list[Path]:
        """Where such files of a job's work, of whichever take, lay in a destination when they were to leave it, but for
        places in which files of the service's own lie by now, or will.
        """
        rows = self._db.execute(
            "SELECT s.path, s.job FROM stayed s JOIN jobs one ON one.job = s.job JOIN jobs our ON our.job = ?1 "
            "WHERE s.destination = ?2 AND (one.job = our.job OR (our.work <> '' AND one.work = our.work))",
            (job, destination),
        ).fetchall()
        jobs = {job, *(row[1] for row in rows)}
        places = (Path(os.fsdecode(row[0])) for row in rows)
        return [place for place in dict.fromkeys(places) if not self.is_taken(place, jobs)]

    # --- questions ------------------------------------------------------------------------------------------

    def settled_questions(self) -> dict[str, Path]:
        """Folders that are kept for questions of photos that are done and ask nothing (any more)."""
        rows = self._db.execute(
            "SELECT c.job, c.path FROM coming c JOIN jobs j ON j.job = c.job "
            "WHERE c.destination = ? AND j.state = 'done' AND j.outcome <> 'needs a look'",
            (LOOK,),
        )
        return {row[0]: Path(os.fsdecode(row[1])) for row in rows}

    def open_questions(self, job: str | None = None) -> list[OpenQuestion]:
        """The questions that wait for an answer: all, or that of one job."""
        rows = self._db.execute(
            "SELECT j.job, json_array_length(r.record, '$.choices'), c.path, "
            "coalesce(json_array_length(r.record, '$.refused'), 0), "
            "coalesce(json_extract(r.record, '$.offers_none'), 0), "
            "coalesce(json_array_length(r.record, '$.several'), 0) FROM jobs j "
            "JOIN coming c ON c.job = j.job AND c.destination = ?1 JOIN records r ON r.number = j.number "
            "WHERE j.outcome = 'needs a look' AND (?2 IS NULL OR j.job = ?2)",
            (LOOK, job),
        )
        return [
            OpenQuestion(job, choices, Path(os.fsdecode(path)), refused + 1, bool(none), bool(several))
            for job, choices, path, refused, none, several in rows
        ]

    def questions_at(self, path: bytes) -> set[str]:
        """The jobs of the questions about photos that lay at this place last."""
        rows = self._db.execute("SELECT job FROM jobs WHERE path = ? AND +outcome = 'needs a look'", (path,))
        return {row[0] for row in rows}

    def is_replaced(self, job: str, *, done: bool = True) -> bool:
        """Whether the bytes of a photo lie nowhere, and another photo lies in its place; done: that was worked on."""
        row = self._db.execute(
            "SELECT 1 FROM jobs old JOIN files ON files.path = old.path JOIN jobs new ON new.job = files.job "
            "WHERE old.job = ? AND new.job NOT IN (old.job, old.whole) AND (new.state = 'done' OR NOT ?) "
            "AND new.outcome IS NOT 'set aside' "
            "AND NOT EXISTS (SELECT 1 FROM files WHERE files.job <> '' AND files.job IN (old.job, old.whole))",
            (job, done),
        )
        return row.fetchone() is not None

    def settle_question(self, job: str) -> None:
        """The folder of a question is cleared, and its name free again."""
        self._db.execute("DELETE FROM coming WHERE job = ? AND destination = ?", (job, LOOK))


def key_of(place: Path) -> str:
    """What two places share that are one on some file system: letters folded, and put together in one way."""
    text = os.fsencode(place).decode("utf-8", "backslashreplace")
    return unicodedata.normalize("NFC", text).casefold()
