"""What is asked of all photos together because somebody should look: what waits, failed, or is not as it was said."""

import os
import sqlite3
from collections.abc import Collection
from pathlib import Path

from autoprep.domain import WorkFacts
from autoprep.ledger.rows import MEASURED, WorkRow
from autoprep.logs import shown_as

WAITS_EVERYWHERE = "outcome = 'ready' AND held > 0 AND files = 0"


class Attention:
    """Questions about the whole ledger, over the connection of an open one."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def tried(self) -> int:
        """Photos that wait for another try after one that failed."""
        return int(self._db.execute("SELECT count(*) FROM jobs WHERE state = 'queued' AND attempts > 0").fetchone()[0])

    def asked_afresh(self) -> list[str]:
        """Finished photos that wait to be measured again, because that was asked for, oldest first."""
        rows = self._db.execute(
            "SELECT shown FROM redos JOIN jobs USING (job) WHERE destination = ? AND state = 'done' ORDER BY number",
            (MEASURED,),
        )
        return [row[0] for row in rows]

    def with_problems(self) -> list[tuple[str, str]]:
        """Photos that wait for another reason than their turn, oldest first, and what it is."""
        return self._db.execute(
            "SELECT shown, problem FROM jobs WHERE problem <> '' AND state <> 'running' ORDER BY number"
        ).fetchall()

    def to_be_withdrawn(self) -> list[tuple[str, Path, str]]:
        """Files that were to be withdrawn, because their works are held or not sent there, and were not: the photo's
        job, where they lay, and their hash.
        """
        rows = self._db.execute(
            "SELECT r.job, r.path, json_extract(r.output, '$.sha256') FROM renditions r JOIN jobs USING (job) "
            "JOIN records USING (number) "
            "WHERE r.state = 'picked up' AND r.path IS NOT NULL AND r.why IN ('on hold', 'not sent') "
            "AND EXISTS (SELECT 1 FROM json_each(record, '$.held') h WHERE h.key = r.destination) "
            "AND NOT EXISTS (SELECT 1 FROM renditions o WHERE o.path = r.path AND o.state = 'in place') "
            "ORDER BY number, r.destination"
        )
        return [(job, Path(os.fsdecode(path)), sha256 or "") for job, path, sha256 in rows]

    def lie_beside(self, words: str) -> list[tuple[str, str]]:
        """(destination, reason) of works that are held or not sent there, where the reason has these words."""
        return self._db.execute(
            "SELECT r.destination, r.reason FROM renditions r JOIN jobs USING (job) JOIN records USING (number) "
            "WHERE r.state <> 'in place' AND r.why <> '' AND r.why IN ('on hold', 'not sent') AND instr(r.reason, ?) "
            "AND EXISTS (SELECT 1 FROM json_each(record, '$.held') h WHERE h.key = r.destination) "
            "ORDER BY number, r.destination",
            (words,),
        ).fetchall()

    def in_gone_tables(self, destinations: Collection[str]) -> dict[str, list[Path]]:
        """Where the files in place of each destination lie that is none of these."""
        rows = self._db.execute(
            "SELECT destination, path FROM renditions WHERE state = 'in place' AND path IS NOT NULL ORDER BY 1"
        )
        found: dict[str, list[Path]] = {}
        for name, path in rows:
            if name not in destinations:
                found.setdefault(name, []).append(Path(os.fsdecode(path)))
        return found

    def outside(self, folder: Path) -> list[Path]:
        """Where the files in place lie that are not in this folder or one below it, in the order of their places."""
        within = os.fsencode(folder) + os.sep.encode()
        rows = self._db.execute(
            "SELECT path FROM renditions WHERE state = 'in place' AND path IS NOT NULL AND substr(path, 1, ?) <> ? "
            "ORDER BY path",
            (len(within), within),
        )
        return [Path(os.fsdecode(path)) for (path,) in rows]

    def has_had_files(self, folder: Path) -> bool:
        """Whether a file was ever put into this folder or one below it."""
        within = os.fsencode(folder) + os.sep.encode()
        row = self._db.execute(
            "SELECT 1 FROM renditions WHERE path IS NOT NULL AND substr(path, 1, ?) = ? LIMIT 1", (len(within), within)
        ).fetchone()
        return row is not None

    def displaced(self) -> list[tuple[str, str]]:
        """Photos of the last two weeks that tell no time, and the job of another work that lay where they lie, and of
        which there are pictures.
        """
        # In this order, and none by its outcome first: only where a work did lie there is a record opened.
        return self._db.execute(
            "SELECT new.shown, old.job FROM jobs new CROSS JOIN jobs old CROSS JOIN records r "
            "WHERE new.came >= date('now', 'localtime', '-14 days') AND +new.outcome = 'ready' AND new.part = 0 "
            "AND old.path = new.path AND old.number < new.number AND old.work NOT IN ('', new.work) AND old.part = 0 "
            "AND r.number = new.number AND json_extract(r.record, '$.taken_at') IS NULL AND EXISTS (SELECT 1 "
            "FROM renditions f WHERE f.job = old.job AND f.state = 'in place') ORDER BY new.number, old.number"
        ).fetchall()

    def with_failures(self) -> list[str]:
        """Photos with a destination that could not be made, oldest first."""
        # With the plus they are sorted when found: else all are read, for they lie in this order.
        return [row[0] for row in self._db.execute("SELECT shown FROM jobs WHERE failed > 0 ORDER BY +number")]

    def failed_by(self, why: str) -> list[tuple[str, str]]:
        """(job, destination) of what could not be made, or made anew, for a reason of this kind."""
        return self._db.execute(
            "SELECT job, destination FROM jobs JOIN renditions r USING (job) "
            "WHERE failed > 0 AND r.state IN ('failed', 'in place') AND r.why <> '' AND r.why = ? "
            "ORDER BY number, destination",
            (why,),
        ).fetchall()

    def pictures(self, only: str = "") -> list[tuple[str, str, Path, int, str, str]]:
        """(work, destination, place, bytes, SHA-256, since when it is so) of all pictures that lie in their places, or
        that stay there, because they are the artist's by now; or only those of this work."""
        clause, values = ("j.work = ?", (only,)) if only else ("j.work <> ''", ())
        rows = self._db.execute(
            "SELECT j.work, r.destination, r.path, json_extract(r.output, '$.bytes'), "  # noqa: S608
            "json_extract(r.output, '$.sha256'), r.made FROM renditions r JOIN jobs j USING (job) "
            f"WHERE r.state IN ('in place', 'picked up') AND r.path IS NOT NULL AND r.output <> '' AND {clause} "
            "ORDER BY j.number, r.destination",
            values,
        )
        return [(work, name, Path(os.fsdecode(path)), *rest) for work, name, path, *rest in rows]

    def all_stayed(self, only: str = "") -> list[tuple[str, str, Path]]:
        """(work, destination, place) of files that were to leave their places and stayed, because the artist had
        changed them; not where files of the service's own lie by now; of all works, or only this one."""
        clause, values = ("j.work = ?", (only,)) if only else ("j.work <> ''", ())
        rows = self._db.execute(
            f"SELECT j.work, s.destination, s.path FROM stayed s JOIN jobs j USING (job) WHERE {clause} AND NOT "  # noqa: S608
            "EXISTS (SELECT 1 FROM renditions r WHERE r.key = s.key AND r.state = 'in place') ORDER BY j.number",
            values,
        )
        return [(work, name, Path(os.fsdecode(path))) for work, name, path in rows]

    def held_back(self) -> list[str]:
        """Photos with a destination that waits for a better photo, or for a word of the artist, oldest first."""
        rows = self._db.execute(
            "SELECT DISTINCT shown FROM renditions r JOIN jobs USING (job) WHERE r.state = 'held' AND r.why <> '' "
            "AND +outcome = 'ready' AND r.why IN ('glare', 'size not known', 'too few pixels', 'names the artist') "
            "ORDER BY number"
        )
        return [row[0] for row in rows]

    def set_aside(self) -> dict[bytes, tuple[str, str]]:
        """Path below the inbox -> what a photo there is called that was set aside, and its job, oldest first; also
        those that are gone since, and each file of the same bytes.
        """
        aside = "FROM jobs WHERE outcome = 'set aside'"
        rows = self._db.execute(f"SELECT path, shown, job {aside} ORDER BY number")
        found: dict[bytes, tuple[str, str]] = {path: (shown, job) for path, shown, job in rows}
        if found:
            rows = self._db.execute(f"SELECT path, job FROM files WHERE job IN (SELECT job {aside}) ORDER BY path")  # noqa: S608
            found = {path: (shown_as(path), job) for path, job in rows} | found
        return found

    def questions(self) -> list[tuple[str, str, bytes]]:
        """(job, photo, path below the inbox) of those that wait for an answer, oldest first."""
        return self._db.execute(
            "SELECT job, shown, path FROM jobs WHERE outcome = 'needs a look' ORDER BY number"
        ).fetchall()

    def asked_of_replaced(self) -> set[str]:
        """The jobs of questions about photos in whose places others lie now, edited ones too."""
        rows = self._db.execute(
            "SELECT job FROM jobs WHERE outcome = 'needs a look' AND path IN (SELECT path FROM files WHERE job <> '') "
            "AND NOT EXISTS (SELECT 1 FROM files WHERE files.job <> '' AND files.job IN (jobs.job, jobs.whole))"
        )
        return {row[0] for row in rows}

    def given_out_nowhere(self, words: str) -> list[tuple[str, WorkFacts]]:
        """Photos that are ready, wait everywhere and have no file, where these words stand in what is said of them."""
        rows = self._db.execute(
            f"SELECT shown, said FROM jobs WHERE {WAITS_EVERYWHERE} AND failed = 0 AND instr(said, ?) "  # noqa: S608
            "ORDER BY number",
            (words,),
        )
        return [(shown, WorkFacts.model_validate_json(said)) for shown, said in rows]

    def passed_over(self) -> list[bytes]:
        """Files that were seen in the inbox and are no photos, by their paths; also those that are no longer there."""
        return [row[0] for row in self._db.execute("SELECT path FROM files WHERE job = '' ORDER BY path")]

    def not_understood(self) -> list[WorkRow]:
        """Photos with words that can't be used, by number; not takes that are not used: the used one tells theirs."""
        rows = self._db.execute(
            'SELECT number, work, job, shown, came, kind, said FROM jobs WHERE instr(said, \'"unclear":["\') '
            "AND outcome NOT IN ('alternate', 'duplicate') ORDER BY number"
        )
        return [
            WorkRow(number, work, job, shown, came, kind, WorkFacts.model_validate_json(said), 1)
            for number, work, job, shown, came, kind, said in rows
        ]
