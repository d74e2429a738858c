"""With what outline a photo is looked at: one that the artist has chosen or that is on record, and none refused."""

from dataclasses import replace

from autoprep.domain import Outline, WorkFacts
from autoprep.job.orders import JobOrder
from autoprep.ledger import Job
from autoprep.service.steps import Measure


def with_refused(order: JobOrder, step: Measure, job: Job) -> JobOrder:
    """The order with the outlines that were refused; other words on the work do not bring them back."""
    record = job.record
    if record is None or not (step.refused or record.refused):
        return order
    if step.refused:
        return replace(order, refused=(*record.refused, *record.choices), rests=bool(record.refused))
    same = (order.facts.outline, order.facts.corners_px) == (job.said.outline, job.said.corners_px)
    asks = job.outcome == "needs a look" and same and step.outline is None
    return replace(order, refused=record.refused, rests=not record.choices) if asks else order


def outline_for(step: Measure, job: Job, said: WorkFacts, seen: Outline | None) -> tuple[Outline | None, bool]:
    """The outline to go on with, where there is one, and whether the artist chose it.

    seen: of one of several works in a photo, the outline that it has there.
    """
    if step.outline is not None:
        return step.outline.model_copy(update={"confidence": 1.0}), True
    record = job.record
    same = (said.outline, said.corners_px) == (job.said.outline, job.said.corners_px)
    if same and record is not None and record.plan is not None and record.outline is not None:
        return record.outline, job.answered  # what else is said of the work does not move its edges
    unsaid = said.outline is None and said.corners_px is None
    return (seen, True) if seen is not None and unsaid else (None, False)
