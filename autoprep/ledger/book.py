"""The open ledger: every file seen, every photo, work and rendition. The only SQL beside the migrations."""

import json
import os
import sqlite3
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from autoprep.domain import JobRecord
from autoprep.errors import LedgerDamaged
from autoprep.ledger.migrations import MIGRATIONS, migrate
from autoprep.ledger.rows import (
    LOOK,
    RENDITION_COLUMNS,
    VIEW_COLUMNS,
    Change,
    Job,
    Rendition,
    SeenFile,
    View,
    job_of,
    rendition_of,
    rendition_row,
    view_of,
)

COPIES = "ledger-copies"
"""The folder beside the ledger that holds its copies, one a day."""


def journal_mode(version: tuple[int, ...]) -> tuple[str, str]:
    """(journal_mode, synchronous) for an SQLite version.

    Versions 3.7.0 to 3.51.2 can corrupt a database in WAL mode with two connections (service and command line)
    when the log is reset; 3.44.6 and 3.50.7 carry the fix (sqlite.org, notes on the WAL-reset bug).
    """
    fixed = version >= (3, 51, 3) or (version[:2] == (3, 44) and version >= (3, 44, 6))
    fixed = fixed or (version[:2] == (3, 50) and version >= (3, 50, 7))
    return ("WAL", "FULL") if fixed else ("DELETE", "EXTRA")


class Ledger:
    """The open ledger. One connection; call from one thread."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._db = sqlite3.connect(path, isolation_level=None, timeout=20)
        try:
            self._open(path)
        except sqlite3.OperationalError:
            self._db.close()
            raise  # busy, or the disk: another try may help
        except sqlite3.DatabaseError as problem:
            self._db.close()
            raise LedgerDamaged(
                f"the ledger {path} is damaged ({problem}): move it away, and put the newest copy from "
                f"{path.parent / COPIES} in its place; photos, notes and finished pictures are not touched by that"
            ) from problem

    def _open(self, path: Path) -> None:
        mode, synchronous = journal_mode(sqlite3.sqlite_version_info)
        self._db.execute(f"PRAGMA journal_mode = {mode}")
        self._db.execute(f"PRAGMA synchronous = {synchronous}")
        self._keep_a_copy(path)
        with self._transaction() as db:
            migrate(db)

    def _keep_a_copy(self, path: Path) -> None:
        """Before an older ledger is changed, it is kept beside itself as it was."""
        version = int(self._db.execute("PRAGMA user_version").fetchone()[0])
        if not 0 < version < len(MIGRATIONS):
            return
        copy = path.with_name(f"{path.stem}-before-{version + 1}{path.suffix}")
        if not copy.exists():
            self.copy_to(copy)

    def copy_to(self, copy: Path) -> None:
        """A copy of the whole ledger as it is now, complete or not there."""
        copy.parent.mkdir(parents=True, exist_ok=True)
        part = copy.with_name(f"{copy.name}.part")
        part.unlink(missing_ok=True)
        kept = sqlite3.connect(part)
        with kept:
            self._db.backup(kept)
        kept.close()
        part.replace(copy)

    def close(self) -> None:
        """Close the connection."""
        self._db.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield self._db
            self._db.execute("COMMIT")
        except BaseException:
            # A full disk rolls back by itself; a second rollback would hide what went wrong.
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    def check(self) -> str:
        """SQLite's own word on the file: "ok" or what is wrong."""
        return str(self._db.execute("PRAGMA integrity_check").fetchone()[0])

    # --- files ----------------------------------------------------------------------------------------------

    def files(self) -> dict[bytes, SeenFile]:
        """Everything known of the inbox's paths, also of files that are no longer there."""
        rows = self._db.execute("SELECT path, size, mtime_ns, inode, sha256, job FROM files")
        return {row[0]: SeenFile((row[1], row[2], row[3]), row[4], row[5]) for row in rows}

    def remember(self, path: bytes, seen: SeenFile) -> None:
        """This file has been taken in: it is not read again while it stays as it is."""
        with self._transaction() as db:
            self._remember(db, path, seen)

    def _remember(self, db: sqlite3.Connection, path: bytes, seen: SeenFile) -> None:
        db.execute(
            "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?, ?)",
            (path, *seen.signature, seen.sha256, seen.job),
        )

    # --- photos come in -------------------------------------------------------------------------------------

    def claim(
        self,
        sha256: str,
        path: bytes,
        shown: str,
        reserve: Callable[[str], dict[str, Path]],
    ) -> Job:
        """Open a job for a photo that is new, or return the job that it already has.

        reserve(job id) names the place of every output; the names are taken in the same transaction.
        """
        with self._transaction() as db:
            known = self._by_photo(db, sha256)
            if known is None:
                number = db.execute("SELECT coalesce(max(number), 0) + 1 FROM jobs").fetchone()[0]
                job = f"{number:05d}-{sha256[:8]}"
                db.execute(
                    "INSERT INTO jobs (number, job, sha256, path, shown, state) VALUES (?, ?, ?, ?, ?, 'queued')",
                    (number, job, sha256, path, shown),
                )
                self._reserve(db, job, reserve(job))
                known = self._get(db, job)
            assert known is not None
            return known

    def add_finished(self, record: JobRecord, path: bytes, signature: tuple[int, int, int]) -> JobRecord:
        """Record a photo that needed no work (a duplicate, something set aside); its job id is filled in.

        Bytes that the ledger knows already keep the record that they have: only where they lie is remembered.
        """
        with self._transaction() as db:
            known = self._by_photo(db, record.sha256) if record.sha256 and record.outcome != "duplicate" else None
            if known is not None:
                self._remember(db, path, SeenFile(signature, record.sha256, known.job))
                return known.record or record.model_copy(update={"job": known.job})
            number = db.execute("SELECT coalesce(max(number), 0) + 1 FROM jobs").fetchone()[0]
            record = record.model_copy(update={"job": f"{number:05d}-{record.sha256[:8] or 'unread'}"})
            db.execute(
                "INSERT INTO jobs (number, job, sha256, path, shown, state, outcome, record) "
                "VALUES (?, ?, ?, ?, ?, 'done', ?, ?)",
                (number, record.job, record.sha256, path, record.photo, record.outcome, record.model_dump_json()),
            )
            owner = record.duplicate_of or record.job
            self._remember(db, path, SeenFile(signature, record.sha256, owner))
        return record

    def is_copy(self, path: bytes, sha256: str) -> bool:
        """Whether it is on record that this file is a copy of a known photo."""
        row = self._db.execute(
            "SELECT 1 FROM jobs WHERE outcome = 'duplicate' AND path = ? AND sha256 = ?", (path, sha256)
        ).fetchone()
        return row is not None

    def move(self, job: str, path: bytes, shown: str) -> None:
        """The photo of a job now lies elsewhere; its record says so, the one on disk does not yet."""
        with self._transaction() as db:
            # A copy that takes the original's place is no copy any more.
            db.execute(
                "DELETE FROM jobs WHERE outcome = 'duplicate' AND path = ?1 "
                "AND sha256 = (SELECT sha256 FROM jobs WHERE job = ?2)",
                (path, job),
            )
            db.execute(
                "UPDATE jobs SET path = ?1, shown = ?2, unwritten = 1, "
                "record = CASE WHEN record IS NULL THEN NULL ELSE json_set(record, '$.photo', ?2) END WHERE job = ?3",
                (path, shown, job),
            )

    # --- names for files ------------------------------------------------------------------------------------

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
                (job, destination, os.fsencode(place), _key(place)),
            )

    def reserve(self, job: str, places: dict[str, Path]) -> None:
        """Keep names for files of a job that are to be made, in the stead of any that were kept for them."""
        with self._transaction() as db:
            self._reserve(db, job, places)

    def announce(self, job: str, files: dict[str, str]) -> None:
        """Destination -> SHA-256 of files that are about to get their names: after a crash they are known as ours."""
        with self._transaction() as db:
            for destination, sha256 in files.items():
                db.execute(
                    "UPDATE coming SET sha256 = trim(sha256 || ' ' || ?) WHERE job = ? AND destination = ?",
                    (sha256, job, destination),
                )

    def is_taken(self, place: Path) -> bool:
        """Whether another output has this place."""
        row = self._db.execute(
            "SELECT 1 FROM coming WHERE key = ?1 UNION ALL SELECT 1 FROM renditions WHERE key = ?1", (_key(place),)
        ).fetchone()
        return row is not None

    def stems(self, destination: str) -> list[str]:
        """The stems of all names that a destination has given."""
        rows = self._db.execute(
            "SELECT path FROM coming WHERE destination = ?1 "
            "UNION ALL SELECT path FROM renditions WHERE destination = ?1 AND path IS NOT NULL",
            (destination,),
        )
        return [Path(os.fsdecode(row[0])).stem for row in rows]

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

    # --- steps ----------------------------------------------------------------------------------------------

    def start(self, job: str) -> None:
        """A worker has the job."""
        self._db.execute("UPDATE jobs SET state = 'running' WHERE job = ?", (job,))

    def finish(self, record: JobRecord) -> None:
        """The job is done and led to no files."""
        self.apply([Change(record)])

    def apply(self, changes: Sequence[Change]) -> None:
        """What a step leaves, in one transaction: the jobs are done, with these records and renditions.

        Names that were kept for files are free again; that of a question's folder is until settle_question.
        """
        with self._transaction() as db:
            for change in changes:
                self._apply(db, change)

    def _apply(self, db: sqlite3.Connection, change: Change) -> None:
        record = change.record
        db.execute(
            "UPDATE jobs SET state = 'done', outcome = ?, record = ?, said = ?, attempts = 0, not_before = 0, "
            "unwritten = 0 WHERE job = ?",
            (record.outcome, record.model_dump_json(), record.work.model_dump_json(), record.job),
        )
        for column, value in change.fields.items():
            assert column in ("work", "usual", "merit", "chosen", "plan", "answered")
            stored = json.dumps(value) if column == "usual" else value
            db.execute(f"UPDATE jobs SET {column} = ? WHERE job = ?", (stored, record.job))  # noqa: S608
        db.execute("DELETE FROM coming WHERE job = ? AND destination <> ?", (record.job, LOOK))
        db.execute("DELETE FROM redos WHERE job = ?", (record.job,))
        self._put(db, record.job, change.renditions)

    def _put(self, db: sqlite3.Connection, job: str, renditions: Iterable[Rendition]) -> None:
        for each in renditions:
            key = None if each.path is None else _key(each.path)
            db.execute("DELETE FROM renditions WHERE job = ? AND destination = ?", (job, each.destination))
            db.execute(
                f"INSERT INTO renditions (job, key, {RENDITION_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608
                (job, key, *rendition_row(each)),
            )

    def settled_questions(self) -> dict[str, Path]:
        """Folders that are kept for questions of photos that are done and ask nothing (any more)."""
        rows = self._db.execute(
            "SELECT c.job, c.path FROM coming c JOIN jobs j ON j.job = c.job "
            "WHERE c.destination = ? AND j.state = 'done' AND j.outcome <> 'needs a look'",
            (LOOK,),
        )
        return {row[0]: Path(os.fsdecode(row[1])) for row in rows}

    def settle_question(self, job: str) -> None:
        """The folder of a question is cleared, and its name free again."""
        self._db.execute("DELETE FROM coming WHERE job = ? AND destination = ?", (job, LOOK))

    def give_back(self, job: str, *, failed: bool, not_before: float = 0) -> int:
        """Queue a job again. failed counts an attempt; an interruption is no fault of the photo. Returns attempts."""
        column = "attempts" if failed else "interrupted"
        with self._transaction() as db:
            db.execute(
                f"UPDATE jobs SET state = 'queued', {column} = {column} + 1, not_before = ? WHERE job = ?",  # noqa: S608
                (not_before, job),
            )
            return int(db.execute("SELECT attempts FROM jobs WHERE job = ?", (job,)).fetchone()[0])

    def reopen(self, job: str, path: bytes, shown: str, places: dict[str, Path]) -> None:
        """A photo that was set aside, or waits, lies here now: it is worked on again from the start."""
        with self._transaction() as db:
            db.execute(
                "UPDATE jobs SET state = 'queued', outcome = NULL, attempts = 0, not_before = 0, path = ?, shown = ? "
                "WHERE job = ?",
                (path, shown, job),
            )
            self._reserve(db, job, places)

    def postpone(self, job: str, not_before: float, *, attempt: bool = False) -> int:
        """Leave a job alone until then; attempt counts a failed one. Returns the attempts so far."""
        self._db.execute(
            "UPDATE jobs SET not_before = ?, attempts = attempts + ? WHERE job = ?", (not_before, int(attempt), job)
        )
        return int(self._db.execute("SELECT attempts FROM jobs WHERE job = ?", (job,)).fetchone()[0])

    def recover(self) -> int:
        """After a crash: jobs that were running are queued again. Returns how many."""
        return self._db.execute(
            "UPDATE jobs SET state = 'queued', interrupted = interrupted + 1 WHERE state = 'running'"
        ).rowcount

    # --- asking ---------------------------------------------------------------------------------------------

    def queued(self, now: float) -> list[Job]:
        """Jobs that may start now, oldest first."""
        return self._jobs("WHERE state = 'queued' AND not_before <= ? ORDER BY number", (now,))

    def views(self) -> list[View]:
        """All jobs without their records, oldest first."""
        return [view_of(row) for row in self._db.execute(f"SELECT {VIEW_COLUMNS} FROM jobs ORDER BY number")]  # noqa: S608

    def view(self, job: str) -> View | None:
        """A job by its id, without its record."""
        row = self._db.execute(f"SELECT {VIEW_COLUMNS} FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        return None if row is None else view_of(row)

    def jobs(self) -> list[Job]:
        """All jobs, oldest first."""
        return self._jobs("ORDER BY number", ())

    def recent_works(self, count: int) -> list[Job]:
        """The newest jobs whose work was measured, newest first."""
        return self._jobs("WHERE plan <> '' AND work <> '' ORDER BY number DESC LIMIT ?", (count,))

    def get(self, job: str) -> Job | None:
        """A job by its id."""
        return self._get(self._db, job)

    def _get(self, db: sqlite3.Connection, job: str) -> Job | None:
        row = db.execute(f"SELECT {VIEW_COLUMNS}, record FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        return None if row is None else job_of(row)

    def _by_photo(self, db: sqlite3.Connection, sha256: str) -> Job | None:
        row = db.execute(
            f"SELECT {VIEW_COLUMNS}, record FROM jobs "  # noqa: S608
            "WHERE sha256 = ? AND (outcome IS NULL OR outcome <> 'duplicate')",
            (sha256,),
        ).fetchone()
        return None if row is None else job_of(row)

    def _jobs(self, clause: str, values: tuple[object, ...]) -> list[Job]:
        rows = self._db.execute(f"SELECT {VIEW_COLUMNS}, record FROM jobs {clause}", values)  # noqa: S608
        return [job_of(row) for row in rows]

    # --- redo -----------------------------------------------------------------------------------------------

    def ask_redo(self, job: str, destinations: list[str]) -> None:
        """Ask for a finished job's outputs to be rendered again."""
        with self._transaction() as db:
            for destination in destinations:
                db.execute("INSERT OR IGNORE INTO redos VALUES (?, ?)", (job, destination))

    def redos(self) -> dict[str, list[str]]:
        """Outputs to render again: job -> destinations."""
        asked: dict[str, list[str]] = {}
        for job, destination in self._db.execute("SELECT job, destination FROM redos ORDER BY job, destination"):
            asked.setdefault(job, []).append(destination)
        return asked

    def drop_redo(self, job: str) -> None:
        """A redo that can't be done is no longer asked for."""
        self._db.execute("DELETE FROM redos WHERE job = ?", (job,))


def _key(place: Path) -> str:
    text = os.fsencode(place).decode("utf-8", "backslashreplace")
    return unicodedata.normalize("NFC", text).casefold()
