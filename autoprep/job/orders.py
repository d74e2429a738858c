"""What a worker gets and gives: an order for one photo, of three kinds, and the result."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from autoprep.domain import JobRecord, Outline, ReferenceShot, WorkFacts
from autoprep.job.takes import Look
from autoprep.wishes.tables import Settings

RENDERER = 6
"""Counts up when the same plan and the same settings come to other pixels or bytes: then `redo` has something to do."""

Report = Callable[[str, float, dict[str, object]], None]
"""report(stage, seconds, facts): called once as each stage ends."""


@dataclass(frozen=True)
class JobOrder:
    """A photo to look at: find its work, plan, and make it, ask, or leave it alone.

    data are the photo's bytes as hashed; places the path that is kept for each destination's file; look_folder and
    proof_folder where a question and the proof go; references are the shots that tell the light of its folder;
    refused: outlines of which the artist has said that none is right; rests: and no others are offered any more;
    before: photos that came before, of which this one may be another take; part: which of several works in the photo
    it is about, 0 where there is one; came: the day on which the photo came in, as 2026-11-26; there: folders of ready/
    that were there when it was given, and are not made anew: what they lie on may be away meanwhile.
    """

    job: str
    photo: str
    sha256: str
    data: bytes
    settings: Settings
    places: dict[str, Path]
    look_folder: Path
    proof_folder: Path
    facts: WorkFacts = field(default_factory=WorkFacts)
    references: tuple[tuple[Path, ReferenceShot], ...] = ()
    refused: tuple[Outline, ...] = ()
    rests: bool = False
    before: tuple[Look, ...] = ()
    part: int = 0
    came: str = ""
    there: tuple[Path, ...] = ()


@dataclass(frozen=True, kw_only=True)
class OutlinedOrder(JobOrder):
    """The same where the outline is known: chosen by the artist, or found before and not in doubt."""

    outline: Outline
    chosen: bool


@dataclass(frozen=True, kw_only=True)
class AgainOrder(JobOrder):
    """Files to make from a plan that there is; nothing is measured."""

    earlier: JobRecord


@dataclass
class JobResult:
    """The record, and the synced parts that still have to get their final names."""

    record: JobRecord
    parts: list[tuple[Path, Path]] = field(default_factory=list)


WHERE, WHY, CORNERS = "where.jpg", "why.txt", "corners.html"
NONE_OF_THESE, EACH, NO_WORK = "none-of-these.jpg", "each-by-itself.jpg", "no-work.jpg"
LOOSE_FILES = (WHERE, WHY, NONE_OF_THESE, EACH, NO_WORK, CORNERS, "marked.jpg")
"""What the folder of a question holds besides its choices; the last is of an earlier version."""


def choice_name(number: int) -> str:
    """The picture of a question's choice, counted from 1."""
    return f"choice-{number}.jpg"
