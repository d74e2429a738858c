"""The ledger: every file seen, every job and every output, in SQLite. The only SQL of the project."""

import os
import sqlite3
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE files (
        path BLOB PRIMARY KEY,          -- os.fsencode of the path below the inbox
        size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
        sha256 TEXT NOT NULL, job TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE jobs (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        job TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        path BLOB NOT NULL, shown TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('queued', 'running', 'done')),
        attempts INTEGER NOT NULL DEFAULT 0, interrupted INTEGER NOT NULL DEFAULT 0,
        not_before REAL NOT NULL DEFAULT 0,
        outcome TEXT, record TEXT
    );
    CREATE UNIQUE INDEX one_job_per_photo ON jobs (sha256)
        WHERE sha256 <> '' AND (outcome IS NULL OR outcome <> 'duplicate');
    CREATE INDEX waiting ON jobs (state, not_before);
    CREATE TABLE places (
        job TEXT NOT NULL, destination TEXT NOT NULL, path BLOB NOT NULL,
        key TEXT NOT NULL UNIQUE,       -- folded and normalised: unique on any file system
        published INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (job, destination)
    );
    CREATE TABLE redos (job TEXT NOT NULL, destination TEXT NOT NULL, PRIMARY KEY (job, destination));
    """,
)
"""Each is applied once, in order, together with its number in one transaction. Append only."""


@dataclass(frozen=True)
class Job:
    """One row of the ledger."""

    number: int
    job: str
    sha256: str
    path: bytes
    shown: str
    state: str
    attempts: int
    interrupted: int
    not_before: float
    outcome: str | None
    record: JobRecord | None


@dataclass(frozen=True)
class SeenFile:
    """What the ledger knows of a path: its signature (size, mtime_ns, inode), the photo and the job."""

    signature: tuple[int, int, int]
    sha256: str
    job: str


_COLUMNS = "number, job, sha256, path, shown, state, attempts, interrupted, not_before, outcome, record"


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
        mode, synchronous = journal_mode(sqlite3.sqlite_version_info)
        self._db.execute(f"PRAGMA journal_mode = {mode}")
        self._db.execute(f"PRAGMA synchronous = {synchronous}")
        self._migrate()

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

    def _migrate(self) -> None:
        with self._transaction() as db:
            done = db.execute("PRAGMA user_version").fetchone()[0]
            for number, script in enumerate(MIGRATIONS[done:], done + 1):
                # executescript would commit the transaction; statements one by one stay inside it.
                for statement in _statements(script):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {number}")

    # --- files ----------------------------------------------------------------------------------------------

    def files(self) -> dict[bytes, SeenFile]:
        """Everything known of the inbox's paths."""
        rows = self._db.execute("SELECT path, size, mtime_ns, inode, sha256, job FROM files")
        return {row[0]: SeenFile((row[1], row[2], row[3]), row[4], row[5]) for row in rows}

    def _remember(self, db: sqlite3.Connection, path: bytes, seen: SeenFile) -> None:
        db.execute(
            "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?, ?)",
            (path, *seen.signature, seen.sha256, seen.job),
        )

    # --- jobs -----------------------------------------------------------------------------------------------

    def claim(
        self,
        sha256: str,
        path: bytes,
        shown: str,
        signature: tuple[int, int, int],
        reserve: Callable[[str], dict[str, Path]],
    ) -> Job:
        """Open a job for a photo that is new, or return the job that it already has.

        reserve(job id) names the place of every output; the names are taken in the same transaction. The file is
        remembered with the job either way.
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
            self._remember(db, path, SeenFile(signature, sha256, known.job))
            return known

    def _reserve(self, db: sqlite3.Connection, job: str, places: dict[str, Path]) -> None:
        for destination, place in places.items():
            db.execute(
                "INSERT OR IGNORE INTO places (job, destination, path, key) VALUES (?, ?, ?, ?)",
                (job, destination, os.fsencode(place), _key(place)),
            )

    def is_taken(self, place: Path) -> bool:
        """Whether another output has this place reserved."""
        return self._db.execute("SELECT 1 FROM places WHERE key = ?", (_key(place),)).fetchone() is not None

    def stems(self, destination: str) -> list[str]:
        """The stems of all names that a destination has given."""
        rows = self._db.execute("SELECT path FROM places WHERE destination = ?", (destination,))
        return [Path(os.fsdecode(row[0])).stem for row in rows]

    def replace_places(self, job: str, places: dict[str, Path]) -> None:
        """Give destinations of a job new places, in the stead of any they had."""
        with self._transaction() as db:
            for destination in places:
                db.execute("DELETE FROM places WHERE job = ? AND destination = ?", (job, destination))
            self._reserve(db, job, places)

    def places(self, job: str) -> dict[str, Path]:
        """Where each destination's file of a job goes."""
        rows = self._db.execute("SELECT destination, path FROM places WHERE job = ?", (job,))
        return {row[0]: Path(os.fsdecode(row[1])) for row in rows}

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
                (
                    number,
                    record.job,
                    record.sha256,
                    path,
                    record.photo,
                    record.outcome,
                    record.model_dump_json(),
                ),
            )
            self._remember(db, path, SeenFile(signature, record.sha256, record.job))
        return record

    def start(self, job: str) -> None:
        """A worker has the job."""
        self._db.execute("UPDATE jobs SET state = 'running' WHERE job = ?", (job,))

    def finish(self, record: JobRecord) -> None:
        """The job is done and its files are in place."""
        with self._transaction() as db:
            db.execute(
                "UPDATE jobs SET state = 'done', outcome = ?, record = ? WHERE job = ?",
                (record.outcome, record.model_dump_json(), record.job),
            )
            delivered = {output.destination for output in record.outputs}
            for (destination,) in db.execute("SELECT destination FROM places WHERE job = ?", (record.job,)).fetchall():
                if destination in delivered:
                    change = "UPDATE places SET published = 1 WHERE job = ? AND destination = ?"
                elif destination == LOOK and record.outcome == "needs a look":
                    continue
                else:
                    change = "DELETE FROM places WHERE job = ? AND destination = ?"
                db.execute(change, (record.job, destination))
            db.execute("DELETE FROM redos WHERE job = ?", (record.job,))

    def stand_back(self, record: JobRecord) -> None:
        """A job that was ready is an alternate now; its places are free again."""
        with self._transaction() as db:
            db.execute(
                "UPDATE jobs SET outcome = ?, record = ? WHERE job = ?",
                (record.outcome, record.model_dump_json(), record.job),
            )
            db.execute("DELETE FROM places WHERE job = ?", (record.job,))

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

    def postpone(self, job: str, not_before: float) -> None:
        """Leave a queued job alone until then: no fault of its own, no attempt counted."""
        self._db.execute("UPDATE jobs SET not_before = ? WHERE job = ?", (not_before, job))

    def recover(self) -> int:
        """After a crash: jobs that were running are queued again. Returns how many."""
        return self._db.execute(
            "UPDATE jobs SET state = 'queued', interrupted = interrupted + 1 WHERE state = 'running'"
        ).rowcount

    def queued(self, now: float) -> list[Job]:
        """Jobs that may start now, oldest first."""
        return self._jobs("WHERE state = 'queued' AND not_before <= ? ORDER BY number", (now,))

    def unfinished(self) -> int:
        """Jobs that are not done, whenever they may start."""
        return int(self._db.execute("SELECT count(*) FROM jobs WHERE state <> 'done'").fetchone()[0])

    def move(self, job: str, path: bytes, shown: str) -> None:
        """The photo of a job now lies elsewhere."""
        self._db.execute("UPDATE jobs SET path = ?, shown = ? WHERE job = ?", (path, shown, job))

    def jobs(self) -> list[Job]:
        """All jobs, oldest first."""
        return self._jobs("ORDER BY number", ())

    def recent_ready(self, count: int) -> list[Job]:
        """The newest jobs whose pictures were given out, newest first."""
        return self._jobs("WHERE outcome = 'ready' ORDER BY number DESC LIMIT ?", (count,))

    def get(self, job: str) -> Job | None:
        """A job by its id."""
        return self._get(self._db, job)

    def _get(self, db: sqlite3.Connection, job: str) -> Job | None:
        row = db.execute(f"SELECT {_COLUMNS} FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        return None if row is None else _job(row)

    def _by_photo(self, db: sqlite3.Connection, sha256: str) -> Job | None:
        row = db.execute(
            f"SELECT {_COLUMNS} FROM jobs WHERE sha256 = ? AND (outcome IS NULL OR outcome <> 'duplicate')",  # noqa: S608
            (sha256,),
        ).fetchone()
        return None if row is None else _job(row)

    def _jobs(self, clause: str, values: tuple[object, ...]) -> list[Job]:
        return [_job(row) for row in self._db.execute(f"SELECT {_COLUMNS} FROM jobs {clause}", values)]  # noqa: S608

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

    def check(self) -> str:
        """SQLite's own word on the file: "ok" or what is wrong."""
        return str(self._db.execute("PRAGMA integrity_check").fetchone()[0])


LOOK = "needs-a-look"
"""The reserved name under which a question's folder is kept among the places."""


def _statements(script: str) -> Iterator[str]:
    pending = ""
    for line in script.splitlines():
        pending += line + "\n"
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""


def _key(place: Path) -> str:
    text = os.fsencode(place).decode("utf-8", "backslashreplace")
    return unicodedata.normalize("NFC", text).casefold()


def _job(row: Any) -> Job:
    record = None if row[10] is None else JobRecord.model_validate_json(row[10])
    values = dict(zip(_COLUMNS.split(", "), row, strict=True))
    return Job(**{**values, "record": record})
