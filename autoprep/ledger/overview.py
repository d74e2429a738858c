"""What is asked of all photos together, for lists, pages and counts: never more of it than is shown."""

import json
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord, OutputRecord, WorkFacts
from autoprep.ledger.attention import WAITS_EVERYWHERE
from autoprep.ledger.due import BLOCK, Due
from autoprep.ledger.rows import GONE, LISTED_COLUMNS, Delivered, Fitting, Listed, Sent, WorkRow
from autoprep.logs import composed

QUIET = ("duplicate", "no work seen", "replaced")
"""Outcomes that a page passes over."""

HELD_BACK = "held back"
"""What lists call photos that are ready and of which nothing is given out now."""

_SHOWN = "json_remove(record, '$.plan', '$.likeness', '$.choices', '$.several')"
_AT_ONCE = 200  # rows that are read before the ledger is free again for the service


class Overview(Due):
    """Questions about the whole ledger, over the connection of an open one."""

    # --- counts ---------------------------------------------------------------------------------------------

    def outcomes(self) -> dict[str, int]:
        """How many photos had each outcome."""
        rows = self._db.execute("SELECT outcome, count(*) FROM jobs WHERE outcome IS NOT NULL GROUP BY outcome")
        return dict(rows.fetchall())

    def states(self) -> dict[str, int]:
        """How many photos wait ("queued"), are being worked on ("running") and are done."""
        return dict(self._db.execute("SELECT state, count(*) FROM jobs GROUP BY state").fetchall())

    def last_finished(self) -> str:
        """When the last photo was done, as its record has it; empty where none was."""
        return str(self._db.execute("SELECT coalesce(max(finished), '') FROM jobs").fetchone()[0])

    def last_success(self) -> str:
        """The same of those of which there are pictures."""
        row = self._db.execute("SELECT coalesce(max(finished), '') FROM jobs WHERE outcome IN ('ready', 'alternate')")
        return str(row.fetchone()[0])

    # --- lists ----------------------------------------------------------------------------------------------

    def count(self, outcome: str | None = None, month: str = "") -> int:
        """How many photos a list would hold."""
        clause, values = _which(outcome, month)
        return int(self._db.execute(f"SELECT count(*) FROM jobs WHERE {clause}", values).fetchone()[0])  # noqa: S608

    def newest(self, most: int, skip: int = 0, outcome: str | None = None, month: str = "") -> list[Listed]:
        """A part of the list, oldest first, counted from the newest."""
        clause, values = _which(outcome, month)
        rows = self._db.execute(
            f"SELECT {LISTED_COLUMNS} FROM jobs WHERE {clause} ORDER BY number DESC LIMIT ? OFFSET ?",  # noqa: S608
            (*values, most, skip),
        )
        return [Listed(*row) for row in rows][::-1]

    def listed(self, outcome: str | None = None, month: str = "") -> Iterator[Listed]:
        """The whole list, oldest first, a part at a time."""
        clause, values = _which(outcome, month)
        last = 0
        while True:
            rows = self._db.execute(
                f"SELECT {LISTED_COLUMNS} FROM jobs WHERE {clause} AND number > ? ORDER BY number LIMIT ?",  # noqa: S608
                (*values, last, _AT_ONCE),
            ).fetchall()
            yield from (Listed(*row) for row in rows)
            if len(rows) < _AT_ONCE:
                return
            last = rows[-1][0]

    def records_of(self, numbers: list[int]) -> Iterator[str]:
        """The records of some photos as the JSON that they are kept as."""
        for number in numbers:
            row = self._db.execute("SELECT record FROM records WHERE number = ?", (number,)).fetchone()
            if row is not None:
                yield row[0]

    def find(self, wanted: str) -> list[Fitting]:
        """The photos that are called so, the newest first: of that job id or path below the inbox, there is only one.

        Else those of that name, of that name or path without its ending, or of that title, whichever fits any; copies
        where nothing else does. Of the takes of a work with that title there is one, of those that are given out if any
        is. Letters may be put together in another way than in the photo's name.
        """
        return self._fitting(wanted, "shown", "said") or self._fitting(composed(wanted), "nfc(shown)", "nfc(said)")

    def _fitting(self, wanted: str, shown: str, said: str) -> list[Fitting]:
        """The same; shown, said: how the columns are read."""
        name = wanted.replace("\\", "/").rpartition("/")[2]
        for number, (clause, value) in enumerate((
            (f"job = ?1 OR {shown} = ?1", wanted),
            (f"substr({shown}, -length(?1) - 1) = '/' || ?1", wanted),
            (f"{shown} = ?1 OR substr({shown}, -length(?1) - 1) = '/' || ?1", name),
            (f"instr({shown}, ?1 || '.') AND substr('/' || bare({shown}), -length(?1) - 1) = '/' || ?1", wanted),
            (f"instr({said}, ?2) AND json_extract(nullif({said}, ''), '$.title') = ?1", wanted),
        )):  # fmt: skip
            rows = self._called(clause, value) if value else []
            if rows:
                return _lying(rows) if number == 0 else _one_each(rows, by_work="title" in clause)
        return []

    def _called(self, clause: str, value: str) -> list[Fitting]:
        self._db.create_function("bare", 1, _without_ending, deterministic=True)
        self._db.create_function("nfc", 1, composed, deterministic=True)
        rows = self._db.execute(
            "SELECT job, shown, work, outcome, EXISTS (SELECT 1 FROM files WHERE files.path = jobs.path "  # noqa: S608
            "AND files.job IN (jobs.job, jobs.whole)) AND NOT (part > 0 AND outcome IS 'no work seen') "
            f"FROM jobs WHERE {clause} "
            "ORDER BY outcome IS 'duplicate', number DESC",
            (value, json.dumps(value, ensure_ascii=False)[1:-1]) if "?2" in clause else (value,),
        )
        return [Fitting(*row) for row in rows]

    def names(self) -> set[str]:
        """The paths below the inbox of all photos that ever came in."""
        return {row[0] for row in self._db.execute("SELECT shown FROM jobs")}

    # --- pages ----------------------------------------------------------------------------------------------

    def waiting_for_answers(self, most: int, but: Iterable[str] = ()) -> list[JobRecord]:
        """The newest questions but those of these jobs, newest first."""
        clause = "jobs.outcome = 'needs a look' AND jobs.job NOT IN (SELECT value FROM json_each(?))"
        return self._records(clause, (json.dumps([*but]),), most)

    def came(self, job: str) -> str:
        """The day on which a photo came in, as 2026-11-26."""
        return str(self._db.execute("SELECT came FROM jobs WHERE job = ?", (job,)).fetchone()[0])

    def latest_day(self) -> str:
        """The last day on which a photo came in that a page would show, as 2026-11-26; empty where none did."""
        row = self._db.execute(
            "SELECT came FROM jobs WHERE outcome NOT IN (?, ?, ?) ORDER BY came DESC, number DESC LIMIT 1", QUIET
        ).fetchone()
        return "" if row is None else str(row[0])

    def of_day(self, day: str, most: int) -> list[JobRecord]:
        """The newest photos of a day that ask nothing, newest first."""
        return self._records("jobs.came = ? AND jobs.outcome NOT IN (?, ?, ?, 'needs a look')", (day, *QUIET), most)

    def blocks(self) -> dict[str, dict[int, int]]:
        """Month -> block -> photos that its page shows; newest month first, blocks in order."""
        found: dict[str, dict[int, int]] = {}
        rows = self._db.execute(
            "SELECT substr(came, 1, 7) AS month, number / ?, count(*) FROM jobs WHERE outcome NOT IN (?, ?, ?) "
            "GROUP BY 1, 2 ORDER BY month DESC, 2",
            (BLOCK, *QUIET),
        )
        for month, block, count in rows:
            found.setdefault(month, {})[block] = count
        return found

    def of_block(self, month: str, block: int) -> list[JobRecord]:
        """The photos of one page of a month, newest first."""
        return self._records(
            "jobs.number >= ? AND jobs.number < ? AND substr(jobs.came, 1, 7) = ? AND jobs.outcome NOT IN (?, ?, ?)",
            (block * BLOCK, (block + 1) * BLOCK, month, *QUIET),
            BLOCK,
        )

    def _records(self, clause: str, values: tuple[Any, ...], most: int) -> list[JobRecord]:
        """Records without what no page shows: the plan, the likeness and the choices, by far the most of them."""
        rows = self._db.execute(
            f"SELECT {_SHOWN} FROM jobs JOIN records USING (number) WHERE {clause} ORDER BY number DESC LIMIT ?",  # noqa: S608
            (*values, most),
        )
        return [JobRecord.model_validate_json(row[0]) for row in rows]

    def delivered(self, destination: str, month: str = "") -> list[Delivered]:
        """The files that records list under a destination.

        month: only of photos that came in then, as 2026-11 or 2026-11-26.
        """
        rows = self._db.execute(
            "SELECT o.value, j.said, j.shown, j.work FROM renditions r JOIN jobs j ON j.job = r.job "
            "JOIN records USING (number), json_each(records.record, '$.outputs') o "
            "WHERE r.destination = ?1 AND j.outcome = 'ready' AND json_extract(o.value, '$.destination') = ?1 "
            "AND substr(j.came, 1, length(?2)) = ?2",
            (destination, month),
        )
        return [
            Delivered(OutputRecord.model_validate_json(out), WorkFacts.model_validate_json(said or "{}"), shown, work)
            for out, said, shown, work in rows
        ]

    def made_otherwise(self, destination: str, settings: Sequence[str]) -> int:
        """How many files in place of a destination were made by other settings than those of these digests.

        Those of which a ledger that was made anew does not know it are not counted.
        """
        row = self._db.execute(
            "SELECT count(*) FROM renditions WHERE destination = ? AND state = 'in place' AND settings <> '' "
            "AND settings NOT IN (SELECT value FROM json_each(?))",
            (destination, json.dumps(settings)),
        ).fetchone()
        return int(row[0])

    # --- works ----------------------------------------------------------------------------------------------

    def works(self, only: str = "") -> list[WorkRow]:
        """All works of which there is a picture or could be, by the number of their first photo; or only this one."""
        clause, values = ("work = ?", (only,)) if only else ("work <> ''", ())
        rows = self._db.execute(
            "SELECT number, work, job, shown, came, kind, said, outcome, chosen, merit FROM jobs "  # noqa: S608
            f"WHERE {clause} AND plan <> '' AND outcome IN ('ready', 'alternate') ORDER BY number",
            values,
        )
        takes: dict[str, list[Any]] = {}
        for row in rows:
            takes.setdefault(row[1], []).append(row)
        # Of takes that are given out, one that the artist chose, else the best.
        used = {work: max(group, key=_regard) for work, group in takes.items()}
        sent = self._sent("WHERE job IN (SELECT job FROM jobs WHERE work = ?)", only) if only else self._sent()
        return [
            WorkRow(
                group[0][0], work, used[work][2], used[work][3], group[0][4], used[work][5],
                WorkFacts.model_validate_json(used[work][6] or "{}"), sum((row[9] or 0) > GONE for row in group),
                _since_any(sent.get(used[work][2], ()), [one for row in group for one in sent.get(row[2], ())]),
            )
            for work, group in takes.items()
        ]  # fmt: skip

    def asked(self) -> list[WorkRow]:
        """The photos that wait for an answer as rows of the same list: it is not known yet of what work they are."""
        rows = self._db.execute(
            "SELECT number, job, shown, came, said FROM jobs WHERE outcome = 'needs a look' ORDER BY number"
        )
        # One may have been finished, and public, before it asked.
        sent = self._sent("WHERE job IN (SELECT job FROM jobs WHERE outcome = 'needs a look')")
        return [
            WorkRow(
                number, "", job, shown, came, "", WorkFacts.model_validate_json(said or "{}"), 1,
                tuple(sent.get(job, ())), asks=True,
            )
            for number, job, shown, came, said in rows
        ]  # fmt: skip

    def works_and_questions(self) -> list[WorkRow]:
        """All works, and the photos that may become one, by number."""
        return sorted([*self.works(), *self.asked()], key=lambda row: row.number)

    def row_of(self, listed: Listed) -> WorkRow:
        """A photo of the list of photos as a row of works by itself, with what is said of it and where it went."""
        (said,) = self._db.execute("SELECT said FROM jobs WHERE number = ?", (listed.number,)).fetchone()
        facts, sent = (
            WorkFacts.model_validate_json(said or "{}"),
            self._sent("WHERE job = ?", listed.job).get(listed.job, ()),
        )
        return WorkRow(listed.number, "", listed.job, listed.shown, "", listed.kind, facts, 1, tuple(sent))

    def _sent(self, clause: str = "", *values: str) -> dict[str, list[Sent]]:
        rows = self._db.execute(
            f"SELECT job, destination, state, path, made, first, reason, why FROM renditions {clause}",  # noqa: S608
            values,
        )
        found: dict[str, list[Sent]] = {}
        for job, destination, state, path, *rest in rows:
            place = None if path is None else Path(os.fsdecode(path))
            found.setdefault(job, []).append(Sent(destination, state, place, *rest))
        return found

    def takes_of(self, work: str) -> list[JobRecord]:
        """The records of all photos of a work, the one that is used first."""
        records = self._records("jobs.work = ?", (work,), BLOCK)
        return sorted(records, key=lambda record: (record.outcome != "ready", record.job))

    def works_shown(self, jobs: list[str]) -> dict[str, str]:
        """Job -> the work that the photo shows, of those that show one."""
        clause = ", ".join("?" * len(jobs))
        return dict(self._db.execute(f"SELECT job, work FROM jobs WHERE work <> '' AND job IN ({clause})", jobs))  # noqa: S608

    def finished_between(self, after: str, before: str) -> list[str]:
        """Jobs that were done in a time, both as records have it: from, and before."""
        rows = self._db.execute(
            "SELECT job FROM jobs WHERE finished >= ? AND finished < ? AND finished <> ''", (after, before)
        )
        return [row[0] for row in rows]


def _regard(row: Any) -> tuple[bool, int, float]:
    """Of a row of `Overview.works`: given out, chosen, merit."""
    return row[7] == "ready", row[8], row[9] or 0.0


def _since_any(used: Iterable[Sent], of_all: Iterable[Sent]) -> tuple[Sent, ...]:
    """What was sent of the take that is used, since a picture of any take was there: it is the work that is known."""
    first: dict[str, str] = {}
    for one in of_all:
        if one.first:
            first[one.destination] = min(one.first, first.get(one.destination, one.first))
    return tuple(replace(one, first=first.get(one.destination, "")) for one in used)


def _lying(rows: list[Fitting]) -> list[Fitting]:
    """Of photos of one path those that lie there; the newest where none does."""
    return [row for row in rows if row.here] or rows[:1]


def _one_each(rows: list[Fitting], *, by_work: bool) -> list[Fitting]:
    """Of each path the newest, and by_work of each work one that is given out; copies only where the first is one."""
    copies = rows[0].outcome == "duplicate"
    found: dict[str, Fitting] = {}
    for row in rows:
        if (row.outcome == "duplicate") == copies:
            found.setdefault(row.shown, row)
    if not by_work:
        return list(found.values())
    works: dict[str, Fitting] = {}
    for row in sorted(found.values(), key=lambda row: row.outcome != "ready"):
        works.setdefault(row.work or row.shown, row)
    return list(works.values())


def _which(outcome: str | None, month: str) -> tuple[str, tuple[str, ...]]:
    clauses: list[str] = ["1"]
    values: list[str] = []
    if outcome in ("queued", "running"):
        clauses, values = [*clauses, "state = ?"], [*values, outcome]
    elif outcome == HELD_BACK:
        clauses.append(WAITS_EVERYWHERE)
    elif outcome:
        clauses, values = [*clauses, "outcome = ?"], [*values, outcome]
    if month:
        clauses, values = [*clauses, "came >= ? AND came < ? || '~'"], [*values, month, month]
    return " AND ".join(clauses), tuple(values)


def _without_ending(shown: str) -> str:
    folders, slash, name = shown.rpartition("/")
    return folders + slash + (name.rpartition(".")[0] or name)
