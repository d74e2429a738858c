"""Several takes of one work: which photos show the same work, and which of them is the best."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from autoprep.domain import JobRecord
from autoprep.imaging.likeness import alike
from autoprep.service.rule import CLEARLY_BETTER

# Takes are made one after the other; the same work photographed on another day is another occasion.
_WITHIN = timedelta(minutes=45)
# Two likenesses of one work (imaging.likeness). Takes of one work of the lab stay at .858 or more, other works,
# drawings of the same boat among them, at .758 or less (221 and 115 pairs that look alike, tuning seeds 16000-16147).
_ALIKE = 0.81
_SAME_SHAPE = 0.06


@dataclass(frozen=True)
class Verdict:
    """The better of two takes and the reason in plain words."""

    newer_is_better: bool
    reason: str


def same_work(one: JobRecord, two: JobRecord) -> bool:
    """Whether two records show the same work, taken on the same occasion."""
    if one.plan is None or two.plan is None:
        return False
    if not _same_occasion(one.taken_at, two.taken_at):
        return False
    if abs(np.log(one.plan.geometry.ratio / two.plan.geometry.ratio)) > _SAME_SHAPE:
        return False
    return alike(one.likeness, two.likeness) > _ALIKE


def _same_occasion(one: str | None, two: str | None) -> bool:
    if not one or not two:
        return False
    try:
        return abs(datetime.fromisoformat(one) - datetime.fromisoformat(two)) <= _WITHIN
    except (ValueError, TypeError):
        return False


# What a take loses by each measure: (name, per unit, from which value on, in words).
_FAULTS = (
    ("glare_percent", 0.25, 0.1, "less glare"),
    ("shadow_on_drawing_percent", 0.03, 1.0, "less shadow on the drawing"),
    ("clipped_percent", 0.05, 0.5, "fewer burnt-out parts"),
    ("oblique_degrees", 0.012, 6.0, "squarer to the work"),
    ("light_unevenness_percent", 0.004, 10.0, "more even light"),
)


def merits(record: JobRecord) -> dict[str, float]:
    """The parts of a take's worth, in words; detail is the natural log of what the photo resolves of the work."""
    measures = record.measures
    detail = np.log(measures.get("work_long_side_px", 1.0) / max(measures.get("blur_px", 1.0), 0.5))
    parts = {"sharper": float(detail)}
    for name, per_unit, start, words in _FAULTS:
        parts[words] = -per_unit * max(0.0, measures.get(name, 0.0) - start)
    return parts


def merit(record: JobRecord) -> float:
    """What a take is worth, all in all."""
    return sum(merits(record).values())


def compare(earlier: JobRecord, newer: JobRecord) -> Verdict:
    """Which take is used; the earlier one stays unless the newer one is clearly better."""
    one, two = merits(earlier), merits(newer)
    gain = {words: two[words] - one[words] for words in one}
    newer_wins = merit(newer) > merit(earlier) + CLEARLY_BETTER
    best = max(gain, key=lambda words: gain[words] if newer_wins else -gain[words])
    winner = newer if newer_wins else earlier
    decisive = abs(gain[best]) > 0.005
    return Verdict(newer_wins, f"{winner.photo} is the better take" + (f": {best}" if decisive else ""))
