"""Which photos show the same work: takes of one work are made one after the other, and look alike."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from autoprep.domain import JobRecord
from autoprep.imaging.likeness import alike, alike_if_turned

# The same work photographed on another day is another occasion.
_WITHIN = timedelta(minutes=45)
# Two likenesses of one work (imaging.likeness). Takes of one work of the lab stay at .858 or more, other works,
# drawings of the same boat among them, at .758 or less (221 and 115 pairs that look alike, tuning seeds 16000-16147).
_ALIKE = 0.81
_SAME_SHAPE = 0.06


@dataclass(frozen=True)
class Look:
    """What takes of one work are known by: the likeness, width : height, and when the photo was made.

    late: the files of another take of this work wait until it is known for one, because they have words or a number of
    the work.
    """

    likeness: str
    ratio: float
    taken_at: str | None
    late: bool = False


def look_of(record: JobRecord) -> Look | None:
    """The look of a photo that was measured; None where there is no plan."""
    return None if record.plan is None else Look(record.likeness, record.plan.geometry.ratio, record.taken_at)


def same_work(one: Look | None, two: Look | None) -> bool:
    """Whether two photos show the same work, taken on the same occasion."""
    if one is None or two is None or not _same_occasion(one.taken_at, two.taken_at):
        return False
    if abs(np.log(one.ratio / two.ratio)) > _SAME_SHAPE:
        return False
    return alike(one.likeness, two.likeness) > _ALIKE


def is_edited(one: Look | None, two: Look | None) -> bool:
    """Whether a photo may be another one that was edited in its place: turned or cropped, it may look otherwise.

    The moment tells, which stays in an edited file; where either has none, the drawing does, however it is turned.
    """
    if one is None or two is None:
        return False
    if one.taken_at and two.taken_at:
        return one.taken_at == two.taken_at or same_work(one, two)
    return alike_if_turned(one.likeness, two.likeness) > _ALIKE


def is_late(record: JobRecord, before: Iterable[Look]) -> bool:
    """Whether no files are made of a photo yet, because it is a take of a work that lends them words or a number."""
    look = look_of(record)
    return any(other.late and same_work(look, other) for other in before)


def _same_occasion(one: str | None, two: str | None) -> bool:
    if not one or not two:
        return False
    try:
        return abs(datetime.fromisoformat(one) - datetime.fromisoformat(two)) <= _WITHIN
    except (ValueError, TypeError):
        return False
