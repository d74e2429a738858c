"""Which photos show one work: a new one is compared with those that came before it."""

from collections.abc import Sequence
from dataclasses import replace

from autoprep.domain import JobRecord, WorkFacts
from autoprep.job.takes import Look, is_edited, look_of, same_work
from autoprep.ledger import GONE, Job, Ledger, Take, View
from autoprep.service.beside import OF_THE_WORK
from autoprep.service.rule import Known

_LOOKED_AT = 40  # a new photo is compared with so many that came before it
_LAY_THERE = "Another photo lay here before, and is taken for another work"


def work_of(ledger: Ledger, record: JobRecord) -> str:
    """The work that a photo shows: that of an earlier take, or a new one."""
    look = look_of(record)
    for other in ledger.recent_takes(_LOOKED_AT):
        # Two works in one photo are two, however alike they look.
        if other.sha256 != record.sha256 and same_work(look, Look(other.likeness, other.ratio, other.taken_at)):
            return other.work
    return record.job


def edited(ledger: Ledger, job: Job, record: JobRecord) -> list[Take]:
    """The takes of which a new photo is an edited picture that has taken their place; all of one work, newest first.

    Of one of several works in a photo: those of the work of its number in the photo that lay there before.
    """
    if job.work:
        return []
    look = look_of(record)
    found = [
        take for take in ledger.at_its_place(job.job, job.path, job.part)
        if is_edited(look, Look(take.likeness, take.ratio, take.taken_at))
    ]  # fmt: skip
    return [take for take in found if take.work == found[0].work]


def asked_before(ledger: Ledger, job: Job, record: JobRecord) -> list[JobRecord]:
    """The records of the questions about the photo that lay at this one's place before it was edited: taken at the
    same moment, or nobody knows at which."""
    jobs = [] if job.work else [each for each in ledger.questions_at(job.path) if ledger.is_replaced(each, done=False)]
    asked = map(ledger.get, jobs)
    found = [each.record for each in asked if each is not None and each.record is not None and each.part == job.part]
    return [one for one in found if None in (one.taken_at, record.taken_at) or one.taken_at == record.taken_at]


def shown_no_longer(ledger: Ledger, job: Job, record: JobRecord) -> tuple[str, ...]:
    """The works that lay at this one's place, and which this edited picture of their photo shows no more.

    A picture of one work shows none of several; one of several those of its numbers, each of which takes the other's
    place by itself (see edited), and not the one work that an earlier picture showed.
    """
    view = ledger.view(job.whole) if job.part else None
    look, shown = look_of(record), 0 if view is None else view.parts
    found = [
        take.job for take in (ledger.at_its_place(job.whole, job.path) if job.part else ())
        if is_edited(look, Look(take.likeness, take.ratio, take.taken_at))
    ]  # fmt: skip
    for part in ledger.parts_at(job.path, shown) if look is not None else ():
        if part.gone or part.whole in (job.job, job.whole):
            continue
        before = ledger.get(part.job)
        if before is not None and before.record is not None and is_edited(look, look_of(before.record)):
            found.append(part.job)
    return tuple(found)


def displaced(ledger: Ledger, view: View, record: JobRecord) -> JobRecord:
    """The record with word of another work whose photo lay at this one's place, and whose pictures stay.

    Only a photo that tells no time: it may be the other one, cropped so much that nothing else tells that.
    """
    if record.taken_at or record.part or record.outcome != "ready":
        return record
    others = [take for take in ledger.at_its_place(record.job, view.path) if take.work != view.work]
    given = [
        take.job for take in others if any(one.state == "in place" for one in ledger.renditions(take.job).values())
    ]
    said = [reason for reason in record.reasons if not reason.startswith(_LAY_THERE)]
    said += [f"{_LAY_THERE}; its pictures stay. To take them out: autoprep say {job} hold" for job in given]
    return record.model_copy(update={"reasons": tuple(said)})


def among_takes(view: View) -> dict[str, object]:
    """What a record says of a photo among the takes of its work: of a ledger that is lost nothing else tells it."""
    return {"first_take": view.work, "chosen": view.chosen, "gone": view.gone}


def without_place(take: Known, replaced: Sequence[Take]) -> Known:
    """A take as it is known once an edited picture has taken its place; others as they are."""
    if take.view.job not in {one.job for one in replaced}:
        return take
    return replace(take, view=replace(take.view, merit=GONE, chosen=False))


def looks_before(ledger: Ledger, job: Job) -> tuple[Look, ...]:
    """What came before a new photo, so that it may be known for a take."""
    return tuple(
        Look(take.likeness, take.ratio, take.taken_at, _says(take.said))
        for take in ledger.recent_takes(_LOOKED_AT)
        if take.sha256 != job.sha256
    )


def _says(said: str) -> bool:
    """Whether anything is said of a work that holds for all its takes; said: as JSON."""
    facts = WorkFacts.model_validate_json(said or "{}")
    return any(getattr(facts, name) for name in OF_THE_WORK)
