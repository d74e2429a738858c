"""What became of a photo: its record, with every finished file and every reason."""

from typing import Literal

from pydantic import Field, field_validator

from autoprep.domain.plan import CorrectionPlan, Outline
from autoprep.domain.values import Kind, Outcome, Value
from autoprep.domain.work import WorkFacts


class OutputRecord(Value):
    """One delivered file."""

    destination: str
    path: str
    width_px: int
    height_px: int
    bytes: int
    sha256: str
    notes: tuple[str, ...] = ()


Why = Literal[
    "", "on hold", "glare", "size not known", "too few pixels", "names the artist", "another take", "not sent",
    "looked at again", "photo away", "mark", "closed folder",
]  # fmt: skip
"""Of what kind a reason is for which a destination has no file; empty where it is none of these."""


class Reason(str):
    """Why a destination has no file, in words; kind: of what kind that is, for those that have no room for words."""

    __slots__ = ("kind",)
    kind: Why

    def __new__(cls, words: str, kind: Why = "") -> "Reason":
        """The words, with their kind."""
        made = super().__new__(cls, words)
        made.kind = kind
        return made


def kind_of(reason: str) -> Why:
    """Of what kind a reason is, where that was said."""
    return reason.kind if isinstance(reason, Reason) else ""


class JobRecord(Value):
    """Everything about one photo: what was seen, done, measured, written, and why.

    likeness: what the corrected work looks like, small (see imaging.likeness), by which takes of one work are known;
    older records have another kind, which is read as none; take_of: for an alternate, the job whose take is used;
    held, failed: destinations that wait, and that could not be made, and why; held_kinds: of what kind that is, where
    it is known (older records have none); of what could not be made anew the file of before may be among the outputs;
    choices: for a question, the outlines that it offers; refused: those that the artist has refused before, so that its
    numbers go on after them;
    offers_none: a picture that says "none of these" lies among the choices; several: the outlines of several works
    that are seen in the photo, in reading order, each of which may be or is finished by itself; part: of the work in
    such a photo, which one it is, from 1; its `photo` is the photo's name with that number; was: what the photo was
    called before, the newest name first; came: the day on which it came in (older records have none); tells: what a
    reference shot tells of the light, in words, nothing where it can't serve; dates: by destination since when there
    has been a file, and since when it is as it is, as finished_at has times; asked: destinations of which a file was
    made because it was asked for by name (older records have neither); first_take: the job of the first take of its
    work; chosen: the artist asked for this take; gone: an edited picture has taken its place; stayed: files that were
    to leave their places and stayed, because the artist has changed them, each with its destination.
    """

    version: Literal[1] = 1
    job: str
    photo: str
    sha256: str
    outcome: Outcome
    taken_at: str | None = None
    finished_at: str | None = None
    came: str = ""
    outline: Outline | None = None
    choices: tuple[Outline, ...] = ()
    refused: tuple[Outline, ...] = ()
    offers_none: bool = False
    several: tuple[Outline, ...] = ()
    part: int = 0
    was: tuple[str, ...] = ()
    tells: tuple[str, ...] = ()
    kind: Kind | None = None
    kind_evidence: dict[str, float] = Field(default_factory=dict)
    plan: CorrectionPlan | None = None
    measures: dict[str, float] = Field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    outputs: tuple[OutputRecord, ...] = ()
    likeness: str = ""
    take_of: str | None = None
    held: dict[str, str] = Field(default_factory=dict)
    held_kinds: dict[str, Why] = Field(default_factory=dict)
    failed: dict[str, str] = Field(default_factory=dict)
    dates: dict[str, tuple[str, str]] = Field(default_factory=dict)
    asked: tuple[str, ...] = ()
    first_take: str = ""
    chosen: bool = False
    gone: bool = False
    stayed: tuple[tuple[str, str], ...] = ()
    work: WorkFacts = WorkFacts()
    pages: dict[str, str] = Field(default_factory=dict)
    seconds: dict[str, float] = Field(default_factory=dict)
    settings_sha256: str | None = None
    duplicate_of: str | None = None

    @property
    def not_given_out(self) -> dict[str, str]:
        """Destinations without a file, and why: those that wait and those that could not be made."""
        return {**self.held, **self.failed}

    @field_validator("likeness", mode="before")
    @classmethod
    def _of_this_kind(cls, given: object) -> object:
        return given if isinstance(given, str) else ""
