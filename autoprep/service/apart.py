"""Photos that show several works: each is a job of its own, a part of the photo's, and may be given up again."""

from collections.abc import Mapping, Sequence

from autoprep.domain import JobRecord, Outline, WorkFacts
from autoprep.job.stages import now
from autoprep.ledger import Change, Rendition, View
from autoprep.service.steps import GiveUp
from autoprep.told import explanations as words
from autoprep.wishes.names import part_name


def taken_apart(view: View, record: JobRecord, said: WorkFacts, outlines: Sequence[Outline]) -> Change:
    """The photo is no work itself; each of the works in it is a job, by the outline that it has here.

    record: the photo's, with the question that was asked; outlines: in reading order.
    """
    kept = {name: page for name, page in record.pages.items() if name == "photo"}
    chosen = tuple(outline.model_copy(update={"confidence": 1.0}) for outline in outlines)
    record = record.model_copy(
        update={
            "outcome": "several works",
            "outline": None,
            "choices": (),
            "offers_none": False,
            "several": chosen,
            "work": said,
            "pages": kept,
            "finished_at": now(),
        }
    )
    record = called(record, view.shown)
    return Change(record, (), {"parts": len(chosen)}, parts=part_names(record, view.shown))


def called(record: JobRecord, shown: str) -> JobRecord:
    """The record of such a photo, saying what the works are called now that it has this name."""
    return record.model_copy(update={"photo": shown, "reasons": (words.several_works(part_names(record, shown)),)})


def part_names(record: JobRecord, shown: str) -> tuple[str, ...]:
    """What the works in a photo of this name are called."""
    return tuple(part_name(shown, number) for number in range(1, len(record.several) + 1))


def given_up(view: View, said: WorkFacts, rows: Mapping[str, Rendition], step: GiveUp, *, lends: bool) -> Change:
    """One of several works, which its photo is no longer taken to show, what the artist says is none, or a question
    that nobody can answer any more.

    rows: its files, taken out of their places; lends: as in Change.
    """
    record = JobRecord(
        job=view.job, photo=view.shown, sha256=view.sha256, part=view.part, was=view.was, outcome=step.outcome,
        reasons=(step.reason,), work=said, finished_at=now(),
    )  # fmt: skip
    return Change(record, tuple(rows.values()), {"plan": "", "work": "", "answered": False}, lends)
