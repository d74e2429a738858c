"""What the ledger holds, as plain values."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from autoprep.domain import JobRecord, OutputRecord, Why, WorkFacts

State = Literal["in place", "withdrawn", "picked up", "held", "failed"]

MEASURED = ""
"""In the place of a destination: the photo is to be measured again."""
LOOK = "needs-a-look"
"""The reserved name under which a question's folder is kept among the places."""
GONE = -1e6
"""What a take is worth whose bytes are no more: an edited picture has taken their place."""


@dataclass(frozen=True, slots=True)
class SeenFile:
    """What the ledger knows of a path: its signature (size, mtime_ns, inode), and the photo's job."""

    signature: tuple[int, int, int]
    job: str


@dataclass(frozen=True)
class View:
    """One photo and the work that it shows, without what is heavy: all that the rule needs.

    path, shown: where the bytes lie, or lay last; work: the job of the work's first take; usual: the destinations that
    took every photo when this one was made; merit: what the take is worth; chosen: the artist asked for this take;
    plan: a digest of the correction plan, empty without one; said: what was said of the work when this was written;
    answered: the artist chose the outline; unwritten: the record on disk is older than the ledger's; parts: so many
    works are made of the photo, each by a job of its own; of such a one, whole: the photo's job, part: which, from 1;
    was: what the photo was called before, the newest first; light: a reference shot that came after the photo was
    measured, and tells its light; empty where there is none; problem: why it waits, if not for its turn: what its last
    try, which failed, came to.
    """

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
    work: str = ""
    usual: tuple[str, ...] = ()
    merit: float | None = None
    chosen: bool = False
    plan: str = ""
    said: WorkFacts = field(default_factory=WorkFacts)
    answered: bool = False
    unwritten: bool = False
    part: int = 0
    whole: str = ""
    parts: int = 0
    was: tuple[str, ...] = ()
    light: str = ""
    problem: str = ""

    @property
    def gone(self) -> bool:
        """Whether an edited picture has taken the photo's place."""
        return self.merit is not None and self.merit <= GONE


@dataclass(frozen=True)
class Job(View):
    """A view with its record."""

    record: JobRecord | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A photo in few bytes, for what is kept of all of them: where it lies, and its work.

    folder: as text, below the inbox; settled: with what knowledge nothing was left to do, empty where that is not
    known; whole, was: as in View.
    """

    work: str
    path: bytes
    folder: str
    settled: str = ""
    whole: str = ""
    was: tuple[str, ...] = ()

    @classmethod
    def of(cls, view: View) -> "Line":
        """The line of a photo of which it is not known yet whether anything is left to do."""
        return cls(view.work, view.path, view.shown.rpartition("/")[0], whole=view.whole, was=view.was)


@dataclass(frozen=True)
class Listed:
    """A photo as a list shows it; held, failed: how many destinations wait, or could not be made."""

    number: int
    job: str
    shown: str
    state: str
    outcome: str | None
    kind: str
    files: int
    held: int
    failed: int


@dataclass(frozen=True)
class Fitting:
    """A photo that is called as somebody wrote: its path below the inbox, and the work that it shows.

    here: it lies there, as far as is known.
    """

    job: str
    shown: str
    work: str
    outcome: str | None
    here: int = 0


@dataclass(frozen=True)
class OpenQuestion:
    """A question that waits for an answer: how many choices it offers, the number of the first, and where they lie.

    offers_none: a picture that says "none of these" lies among them; offers_each: one that shows several works, each
    to be finished by itself.
    """

    job: str
    choices: int
    folder: Path
    first: int = 1
    offers_none: bool = False
    offers_each: bool = False


@dataclass(frozen=True)
class Rendition:
    """One destination of one work: its file and everything that the file depends on, or why there is none.

    state: the file lies where it was put, was withdrawn, or had been picked up when it was to be withdrawn; or there is
    none, because it waits or could not be made.
    told: the artist's words that reach the file, by field; plan, settings: digests of the correction plan and of what
    the settings say; asked: made because it was asked for by name, whatever is usual; reason: why it is no longer, or
    not, in place; why: of what kind that is; made, first: since when the file is as it is, and since when there has
    been one, as records have times: the ledger fills them in.
    """

    destination: str
    state: State
    path: Path | None = None
    told: Mapping[str, Any] = field(default_factory=dict)
    plan: str = ""
    settings: str = ""
    asked: bool = False
    reason: str = ""
    output: OutputRecord | None = None
    made: str = ""
    first: str = ""
    why: Why = ""


@dataclass(frozen=True)
class Take:
    """A photo as far as it tells whether another one shows the same work; said: what is said of that, as JSON.

    chosen: as in View.
    """

    job: str
    sha256: str
    work: str
    said: str
    likeness: str
    ratio: float
    taken_at: str | None
    chosen: int = 0


@dataclass(frozen=True)
class Sent:
    """Where a picture of a work went: the file's name, since when it is as it is, and since when there has been one.

    state, reason, why: as in Rendition.
    """

    destination: str
    state: State
    path: Path | None
    made: str
    first: str
    reason: str = ""
    why: Why = ""


@dataclass(frozen=True)
class Delivered:
    """A file that a record lists under a destination: what is said of its work, its photo, and which work that is."""

    output: OutputRecord
    said: WorkFacts
    shown: str
    work: str


@dataclass(frozen=True)
class WorkRow:
    """A work as the list of all works shows it: the take that is used, with what is said of it and where it went.

    number: that of its first photo, which never changes; takes: how many photos show it; asks: it is a question yet,
    and its photo waits for an answer (then work is empty: it has no page of its own); changed: destinations in which
    pictures of it lie that the artist has changed, with their places, where that was looked for.
    """

    number: int
    work: str
    job: str
    shown: str
    came: str
    kind: str
    said: WorkFacts
    takes: int
    sent: tuple[Sent, ...] = ()
    asks: bool = False
    changed: tuple[tuple[str, Path], ...] = ()


@dataclass(frozen=True)
class Change:
    """What one step leaves in the ledger for one job: its record, what became of renditions, and what else is new.

    renditions: those that changed; fields: columns of the job by name (work, usual, merit, chosen, plan, answered,
    light); lends: the names of its files that are not in place are free, for it leaves a work that has other takes;
    parts: what the works in the photo are called, each of which is to be made by itself from now on; serves: the jobs
    of photos whose light it tells, which are to be looked at again for that; replaces: the jobs of takes of which this
    photo is an edited picture that has taken their place.
    """

    record: JobRecord
    renditions: tuple[Rendition, ...] = ()
    fields: Mapping[str, Any] = field(default_factory=dict)
    lends: bool = False
    parts: tuple[str, ...] = ()
    serves: tuple[str, ...] = ()
    replaces: tuple[str, ...] = ()


@dataclass(frozen=True)
class Restored:
    """A photo as its record on disk has it: its number, the day it came in, and the names that are kept for it.

    Of one of several works in a photo, whole: the photo's job, photo: where it lies. Of such a photo, parts: what the
    works are called, of which some may have no record yet. stayed: as the record has it.
    """

    number: int
    came: str
    change: Change
    coming: Mapping[str, Path] = field(default_factory=dict)
    whole: str = ""
    photo: str = ""
    parts: tuple[str, ...] = ()
    stayed: tuple[tuple[str, Path], ...] = ()


VIEW_COLUMNS = (
    "number, job, sha256, path, shown, state, attempts, interrupted, not_before, outcome, "
    "work, usual, merit, chosen, plan, said, answered, unwritten, part, whole, parts, was, light, problem"
)
RECORD_COLUMNS = "finished, kind, files, held, failed"
LISTED_COLUMNS = "number, job, shown, state, outcome, kind, files, held, failed"
RENDITION_COLUMNS = "destination, state, path, told, plan, settings, asked, reason, output, made, first, why"


def told_apart(record: JobRecord) -> tuple[Any, ...]:
    """What a job's columns repeat of its record, so that nobody reads it for that: RECORD_COLUMNS."""
    return (
        record.finished_at or "", record.kind or "", len(record.outputs), len(record.held), len(record.failed),
    )  # fmt: skip


def view_of(row: Any) -> View:
    """A row of VIEW_COLUMNS."""
    return View(**_view_values(row))


def job_of(row: Any) -> Job:
    """A row of VIEW_COLUMNS and the record."""
    record = None if row[-1] is None else JobRecord.model_validate_json(row[-1])
    return Job(**_view_values(row), record=record)


def _view_values(row: Any) -> dict[str, Any]:
    values = dict(zip(VIEW_COLUMNS.split(", "), row, strict=False))
    said = values["said"]
    return {
        **values,
        "usual": tuple(json.loads(values["usual"])),
        "chosen": bool(values["chosen"]),
        "answered": bool(values["answered"]),
        "unwritten": bool(values["unwritten"]),
        "was": tuple(json.loads(values["was"])),
        "said": WorkFacts.model_validate_json(said) if said else WorkFacts(),
    }


def rendition_of(row: Any) -> Rendition:
    """A row of RENDITION_COLUMNS."""
    destination, state, path, told, plan, settings, asked, reason, output, made, first, why = row
    return Rendition(
        destination,
        state,
        None if path is None else Path(os.fsdecode(path)),
        json.loads(told),
        plan,
        settings,
        bool(asked),
        reason,
        None if output is None else OutputRecord.model_validate_json(output),
        made,
        first,
        why,
    )


def dated(rendition: Rendition, before: Rendition | None, when: str) -> Rendition:
    """The same with its times: a file with the bytes that it had before is no newer than that.

    before: what the ledger had; where that is nothing, and the times are known from a record, they stay.
    """
    if rendition.output is None:
        return replace(rendition, made="", first=rendition.first if before is None else before.first)
    if before is None:
        made = rendition.made or when
        return replace(rendition, made=made, first=rendition.first or made)
    same = before.output is not None and before.output.sha256 == rendition.output.sha256
    made = before.made if same else when
    return replace(rendition, made=made, first=before.first or made)


def rendition_row(rendition: Rendition) -> tuple[Any, ...]:
    """The values of RENDITION_COLUMNS."""
    return (
        rendition.destination,
        rendition.state,
        None if rendition.path is None else os.fsencode(rendition.path),
        json.dumps(dict(rendition.told), sort_keys=True),
        rendition.plan,
        rendition.settings,
        int(rendition.asked),
        str(rendition.reason),
        None if rendition.output is None else rendition.output.model_dump_json(),
        rendition.made,
        rendition.first,
        rendition.why,
    )
