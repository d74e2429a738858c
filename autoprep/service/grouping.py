"""Which photos show one work: a new one is compared with those that came before it."""

from autoprep.domain import JobRecord, WorkFacts
from autoprep.job.takes import Look, look_of, same_work
from autoprep.ledger import Job, Ledger
from autoprep.service.beside import OF_THE_WORK

_LOOKED_AT = 40  # a new photo is compared with so many that came before it


def work_of(ledger: Ledger, record: JobRecord) -> str:
    """The work that a photo shows: that of an earlier take, or a new one."""
    look = look_of(record)
    for other in ledger.recent_takes(_LOOKED_AT):
        # Two works in one photo are two, however alike they look.
        if other.sha256 != record.sha256 and same_work(look, Look(other.likeness, other.ratio, other.taken_at)):
            return other.work
    return record.job


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
