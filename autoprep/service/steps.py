"""The steps by which what lies in ready/ comes to be what should lie there: what is to be done for a photo, and why."""

from dataclasses import dataclass

from autoprep.domain import Outcome, Outline
from autoprep.told.explanations import NO_LONGER_APART


@dataclass(frozen=True)
class Step:
    """Something to do for one photo, and why."""

    job: str
    why: str


@dataclass(frozen=True)
class Measure(Step):
    """Look at the photo: find the work, plan, and render; outline is given where the artist has chosen it.

    refused: what it was asked about before is none of it.
    """

    outline: Outline | None = None
    refused: bool = False


@dataclass(frozen=True)
class Render(Step):
    """Make these destinations' files from the plan that there is."""

    destinations: tuple[str, ...] = ()


@dataclass(frozen=True)
class Withdraw(Step):
    """These destinations' files leave the place where they lie; nothing is deleted."""

    destinations: tuple[str, ...] = ()


@dataclass(frozen=True)
class Restore(Step):
    """These destinations' withdrawn files come back as they were."""

    destinations: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tell(Step):
    """The record says what is known now; no file of a picture changes."""


@dataclass(frozen=True)
class TakeApart(Step):
    """Each of the works in the photo is a job of its own from now on; outlines: in reading order."""

    outlines: tuple[Outline, ...] = ()


@dataclass(frozen=True)
class GiveUp(Step):
    """Its photo is no longer taken to show this work: its files leave their places, and it is on record as none.

    reason: as the record tells it; outcome: as what it is on record.
    """

    reason: str = NO_LONGER_APART
    outcome: Outcome = "no work seen"
