"""The open ledger: every file seen, every photo, work and rendition. The only SQL beside the migrations."""

import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from sys import intern

from autoprep.domain import JobRecord
from autoprep.ledger.asked import Asked
from autoprep.ledger.earlier import Earlier
from autoprep.ledger.moved import Moved
from autoprep.ledger.names import Names, key_of
from autoprep.ledger.overview import Overview
from autoprep.ledger.rows import (
    GONE,
    LOOK,
    MEASURED,
    RECORD_COLUMNS,
    RENDITION_COLUMNS,
    VIEW_COLUMNS,
    Change,
    Job,
    Rendition,
    Restored,
    SeenFile,
    Take,
    View,
    dated,
    job_of,
    rendition_row,
    told_apart,
    view_of,
)

_WITH_RECORD = f"{VIEW_COLUMNS}, (SELECT record FROM records WHERE records.number = jobs.number)"  # noqa: S608


class Ledger(Names, Earlier, Moved, Asked):
    """The open ledger. One connection; call from one thread. overview: what is asked of all photos together."""

    def __init__(self, path: Path, *, anew: bool = False) -> None:
        super().__init__(path, anew=anew)
        self.overview = Overview(self._db)

    # --- files ----------------------------------------------------------------------------------------------

    def files(self) -> dict[bytes, SeenFile]:
        """Everything known of the inbox's paths, also of files that are no longer there."""
        rows = self._db.execute("SELECT path, size, mtime_ns, inode, job FROM files")
        return {row[0]: SeenFile((row[1], row[2], row[3]), intern(row[4])) for row in rows}

    def known_paths(self) -> set[bytes]:
        """All files of the inbox that have been taken in, as they are now or were before."""
        return {path for (path,) in self._db.execute("SELECT path FROM files")}

    def remember(self, path: bytes, seen: SeenFile, sha256: str) -> None:
        """This file has been taken in: it is not read again while it stays as it is."""
        with self._transaction() as db:
            self._remember(db, path, seen, sha256)

    def _remember(self, db: sqlite3.Connection, path: bytes, seen: SeenFile, sha256: str) -> None:
        db.execute(
            "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?, ?)",
            (path, *seen.signature, sha256, seen.job),
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
                    "INSERT INTO jobs (number, job, sha256, path, shown, state, came) "
                    "VALUES (?, ?, ?, ?, ?, 'queued', date('now', 'localtime'))",
                    (number, job, sha256, path, shown),
                )
                self._not_earlier(db, job, shown)
                self._reserve(db, job, reserve(job))
                known = self._get(db, job)
            assert known is not None
            return known

    def add_finished(self, record: JobRecord, path: bytes, signature: tuple[int, int, int]) -> JobRecord:
        """Record a photo that needed no work (a duplicate, something set aside); its job id is filled in.

        Bytes that the ledger knows already keep the record that they have: only where they lie is remembered. The
        record on disk is yet to be written.
        """
        with self._transaction() as db:
            known = self._by_photo(db, record.sha256) if record.sha256 and record.outcome != "duplicate" else None
            if known is not None:
                self._remember(db, path, SeenFile(signature, known.job), record.sha256)
                return known.record or record.model_copy(update={"job": known.job})
            number = db.execute("SELECT coalesce(max(number), 0) + 1 FROM jobs").fetchone()[0]
            record = record.model_copy(update={"job": f"{number:05d}-{record.sha256[:8] or 'unread'}"})
            db.execute(
                "INSERT INTO jobs (number, job, sha256, path, shown, state, outcome, unwritten, came, "  # noqa: S608
                f"{RECORD_COLUMNS}) VALUES (?, ?, ?, ?, ?, 'done', ?, 1, date('now', 'localtime'), ?, ?, ?, ?, ?)",
                (number, record.job, record.sha256, path, record.photo, record.outcome, *told_apart(record)),
            )
            db.execute("INSERT INTO records VALUES (?, ?)", (number, record.model_dump_json()))
            owner = record.duplicate_of or record.job
            self._remember(db, path, SeenFile(signature, owner), record.sha256)
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
            copy = (
                "FROM jobs WHERE outcome = 'duplicate' AND path = ?1 "
                "AND sha256 = (SELECT sha256 FROM jobs WHERE job = ?2)"
            )
            db.execute(f"DELETE FROM records WHERE number IN (SELECT number {copy})", (path, job))  # noqa: S608
            db.execute(f"DELETE {copy}", (path, job))
            self._renamed(db, job, shown)
            db.execute("UPDATE jobs SET path = ?1, shown = ?2, unwritten = 1 WHERE job = ?3", (path, shown, job))
            db.execute(
                "UPDATE records SET record = json_set(record, '$.photo', ?1) "
                "WHERE number = (SELECT number FROM jobs WHERE job = ?2)",
                (shown, job),
            )

    def restore(self, photos: Sequence[Restored]) -> None:
        """Photos of which the records are known and no ledger: all of them, in one transaction, into an empty one.

        Of two records of the same bytes the later one holds.
        """
        with self._transaction() as db:
            for each in photos:
                record = each.change.record
                if record.sha256 and record.outcome != "duplicate":
                    same = "DELETE FROM jobs WHERE sha256 = ? AND part = ? AND outcome <> 'duplicate'"
                    db.execute(same, (record.sha256, record.part))
                db.execute(
                    "INSERT INTO jobs (number, job, sha256, path, shown, state, outcome, came, part, whole, was) "
                    "VALUES (?, ?, ?, ?, ?, 'done', ?, ?, ?, ?, ?)",
                    (each.number, record.job, record.sha256, os.fsencode(each.photo or record.photo), record.photo,
                     record.outcome, each.came, record.part, each.whole, json.dumps(record.was)),
                )  # fmt: skip
                self._reserve(db, record.job, dict(each.coming))
                self._note_stayed(db, record.job, each.stayed)
                self._apply(db, each.change, "")  # of which the record does not know the day, nobody does
            for each in photos:
                self._open_parts(db, each.change.record.job, each.parts)

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

    def _apply(self, db: sqlite3.Connection, change: Change, when: str | None = None) -> None:
        """when: since when new files are there, if not since the record's time."""
        record = change.record
        db.execute(
            f"UPDATE jobs SET state = 'done', outcome = ?, said = ?, attempts = 0, not_before = 0, problem = '', "  # noqa: S608
            f"unwritten = 0, ({RECORD_COLUMNS}) = (?, ?, ?, ?, ?) WHERE job = ?",
            (record.outcome, record.work.model_dump_json(), *told_apart(record), record.job),
        )
        db.execute(
            "INSERT OR REPLACE INTO records SELECT number, ?1 FROM jobs WHERE job = ?2",
            (record.model_dump_json(), record.job),
        )
        for column, value in change.fields.items():
            assert column in ("work", "usual", "merit", "chosen", "plan", "answered", "parts", "light")
            stored = json.dumps(value) if column == "usual" else value
            db.execute(f"UPDATE jobs SET {column} = ? WHERE job = ?", (stored, record.job))  # noqa: S608
        db.execute("DELETE FROM coming WHERE job = ? AND destination <> ?", (record.job, LOOK))
        stays = MEASURED if record.plan is not None else None  # until it is measured, or that is said to be impossible
        db.execute("DELETE FROM redos WHERE job = ? AND destination IS NOT ?", (record.job, stays))
        self._put(db, record.job, change.renditions, (record.finished_at or "") if when is None else when)
        self._take_apart(db, record.job, change.parts)
        name = record.photo.rpartition("/")[2]
        db.executemany("UPDATE jobs SET light = ? WHERE job = ?", [(name, each) for each in change.serves])
        gone = [(GONE, each) for each in change.replaces]
        db.executemany("UPDATE jobs SET merit = ?, chosen = 0, unwritten = 1 WHERE job = ?", gone)
        if change.lends:
            db.execute("UPDATE renditions SET key = NULL WHERE job = ? AND state <> 'in place'", (record.job,))

    def _take_apart(self, db: sqlite3.Connection, whole: str, parts: Sequence[str]) -> None:
        """Open a job for each of the works in a photo, or once more where there was one before."""
        db.execute(
            "UPDATE jobs SET state = 'queued', outcome = NULL, attempts = 0, not_before = 0, problem = '' "
            "WHERE whole = ? AND part <= ?",
            (whole, len(parts)),
        )
        self._open_parts(db, whole, parts)

    @staticmethod
    def _open_parts(db: sqlite3.Connection, whole: str, parts: Sequence[str]) -> None:
        """Open a job for each of the works in a photo that has none."""
        for part, shown in enumerate(parts, 1):
            db.execute(
                "INSERT OR IGNORE INTO jobs (number, job, sha256, path, shown, state, came, part, whole, was) "
                "SELECT new.number, printf('%05d-%s', new.number, substr(sha256, 1, 8)), sha256, path, ?1, 'queued', "
                "date('now', 'localtime'), ?2, job, was FROM jobs, (SELECT max(number) + 1 AS number FROM jobs) AS new "
                "WHERE job = ?3",
                (shown, part, whole),
            )

    def _put(self, db: sqlite3.Connection, job: str, renditions: Iterable[Rendition], when: str) -> None:
        before = self.renditions(job) if renditions else {}
        for new in renditions:
            each = dated(new, before.get(new.destination), when)
            db.execute("DELETE FROM renditions WHERE job = ? AND destination = ?", (job, each.destination))
            key = None if each.path is None else key_of(each.path)
            if each.state != "in place" and each.path is not None and self.is_taken(each.path, (job,)):
                key = None  # a better take has the name now
            if each.state == "in place":  # after a rebuild one that was withdrawn may have come to it first
                db.execute("UPDATE renditions SET key = NULL WHERE key = ? AND state <> 'in place'", (key,))
            db.execute(
                f"INSERT INTO renditions (job, key, {RENDITION_COLUMNS}) VALUES ({', '.join('?' * 14)})",  # noqa: S608
                (job, key, *rendition_row(each)),
            )

    def give_back(self, job: str, *, failed: bool, not_before: float = 0, why: str = "") -> int:
        """Queue a job again. failed counts an attempt; an interruption is no fault of the photo. Returns attempts.

        why: what the try came to; empty leaves what is known of an earlier one.
        """
        column = "attempts" if failed else "interrupted"
        with self._transaction() as db:
            db.execute(
                f"UPDATE jobs SET state = 'queued', {column} = {column} + 1, not_before = ?2, "  # noqa: S608
                "problem = coalesce(nullif(?3, ''), problem) WHERE job = ?1",
                (job, not_before, why),
            )
            return int(db.execute("SELECT attempts FROM jobs WHERE job = ?", (job,)).fetchone()[0])

    def reopen(self, job: str, path: bytes, shown: str, places: dict[str, Path]) -> None:
        """A photo that was set aside, or waits, lies here now: it is worked on again from the start."""
        with self._transaction() as db:
            self._renamed(db, job, shown)
            db.execute(
                "UPDATE jobs SET state = 'queued', outcome = NULL, attempts = 0, not_before = 0, problem = '', "
                "path = ?, shown = ? WHERE job = ?",
                (path, shown, job),
            )
            self._reserve(db, job, places)

    def postpone(self, job: str, not_before: float, *, attempt: bool = False, why: str = "") -> int:
        """Leave a job alone until then; attempt counts a failed one, why: as for give_back. Returns the attempts."""
        self._db.execute(
            "UPDATE jobs SET not_before = ?2, attempts = attempts + ?3, problem = coalesce(nullif(?4, ''), problem) "
            "WHERE job = ?1",
            (job, not_before, int(attempt), why),
        )
        return int(self._db.execute("SELECT attempts FROM jobs WHERE job = ?", (job,)).fetchone()[0])

    def note_problem(self, jobs: Sequence[str], why: str) -> None:
        """Why nothing goes on for these photos; empty: nothing is left to do that could fail."""
        with self._transaction() as db:
            done = "" if why else ", attempts = 0, not_before = 0"
            db.executemany(f"UPDATE jobs SET problem = ?{done} WHERE job = ?", [(why, job) for job in jobs])  # noqa: S608

    def recover(self) -> int:
        """After a crash: jobs that were running are queued again. Returns how many."""
        return self._db.execute(
            "UPDATE jobs SET state = 'queued', interrupted = interrupted + 1 WHERE state = 'running'"
        ).rowcount

    # --- asking ---------------------------------------------------------------------------------------------

    def queued(self, now: float) -> list[Job]:
        """Jobs that may start now, oldest first."""
        return self._jobs("WHERE state = 'queued' AND not_before <= ? ORDER BY number", (now,))

    def views(self, clause: str = "", values: tuple[object, ...] = ()) -> list[View]:
        """Jobs without their records, oldest first: all, or those that a clause of this class names."""
        rows = self._db.execute(f"SELECT {VIEW_COLUMNS} FROM jobs {clause} ORDER BY number", values)  # noqa: S608
        return [view_of(row) for row in rows]

    def set_aside(self) -> list[View]:
        """The photos that were set aside, oldest first."""
        return self.views("WHERE outcome = 'set aside'")

    def finished(self) -> list[View]:
        """The photos that have finished pictures and a plan to render from, oldest first."""
        return self.views("WHERE outcome = 'ready' AND plan <> ''")

    def lately(self, job: str) -> list[View]:
        """The photos that have finished pictures, or may soon, and came on the day of this one or the day before."""
        return self.views(
            "WHERE (outcome IN ('ready', 'alternate') OR state = 'running') "
            "AND came >= (SELECT date(came, '-1 day') FROM jobs WHERE job = ?)",
            (job,),
        )

    def takes(self, work: str) -> list[str]:
        """The jobs of all takes of a work."""
        return [row[0] for row in self._db.execute("SELECT job FROM jobs WHERE work = ? ORDER BY job", (work,))]

    def parts(self, whole: str) -> list[View]:
        """The works that were made of a photo one by one, in reading order; also those that were given up."""
        return sorted(self.views("WHERE whole = ?", (whole,)), key=lambda view: view.part)

    def part_names(self) -> list[str]:
        """The names of all works that are made of a photo of several."""
        return [view.shown for view in self.views("WHERE part > 0 AND outcome IS NOT 'no work seen'")]

    def renamed(self) -> list[View]:
        """The photos, and works in photos, that were called otherwise before."""
        return self.views("WHERE was <> '[]'")

    def view(self, job: str) -> View | None:
        """A job by its id, without its record."""
        row = self._db.execute(f"SELECT {VIEW_COLUMNS} FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        return None if row is None else view_of(row)

    def jobs(self) -> list[Job]:
        """All jobs, oldest first."""
        return self._jobs("ORDER BY number", ())

    def recent_takes(self, count: int) -> list[Take]:
        """The newest photos whose work was measured, newest first."""
        return self._takes("LIMIT ?", (count,))

    def at_its_place(self, job: str, path: bytes, part: int = 0) -> list[Take]:
        """Other photos, not in parts, that lay at this place last, newest first: their bytes lie nowhere now.

        part: the works of this number in such photos of several instead.
        """
        return self._takes("LIMIT -1", (job, path, part), "AND job <> ? AND path = ? AND part = ? AND state = 'done'")

    def _takes(self, most: str, values: tuple[object, ...], clause: str = "") -> list[Take]:
        rows = self._db.execute(
            "SELECT job, sha256, work, said, json_extract(record, '$.likeness'), json_extract(record, "  # noqa: S608
            "'$.plan.geometry.ratio'), json_extract(record, '$.taken_at'), chosen FROM jobs JOIN records "
            f"USING (number) WHERE plan <> '' AND work <> '' {clause} ORDER BY number DESC {most}",
            values,
        )
        return [Take(*row) for row in rows if isinstance(row[4], str) and row[5]]

    def get(self, job: str) -> Job | None:
        """A job by its id."""
        return self._get(self._db, job)

    def _get(self, db: sqlite3.Connection, job: str) -> Job | None:
        row = db.execute(f"SELECT {_WITH_RECORD} FROM jobs WHERE job = ?", (job,)).fetchone()  # noqa: S608
        return None if row is None else job_of(row)

    def _by_photo(self, db: sqlite3.Connection, sha256: str) -> Job | None:
        row = db.execute(
            f"SELECT {_WITH_RECORD} FROM jobs "  # noqa: S608
            "WHERE sha256 = ? AND part = 0 AND (outcome IS NULL OR outcome <> 'duplicate')",
            (sha256,),
        ).fetchone()
        return None if row is None else job_of(row)

    def _jobs(self, clause: str, values: tuple[object, ...]) -> list[Job]:
        rows = self._db.execute(f"SELECT {_WITH_RECORD} FROM jobs {clause}", values)  # noqa: S608
        return [job_of(row) for row in rows]
