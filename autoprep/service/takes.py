"""Several takes of one work: which of them is the best, and why."""

from collections.abc import Callable, Mapping

import numpy as np

from autoprep.domain import JobRecord
from autoprep.logs import argument
from autoprep.service.rule import Known, is_shown

_ALTERNATE = "Another take of the same work is used"
_EDITED = f"{_ALTERNATE}: this photo was edited, and the edited picture has taken its place"

# What a take loses by each measure: (name, per unit, from which value on, at most, in words). Fitted by hand on five
# takes of 60 works (`python -m tests.lab best-take`, tuning seeds 16200-16259). What the correction takes out, such as
# uneven light, weighs little; paper that ran out of scale is white anyway, so that loss has an end.
_FAULTS = (
    ("glare_percent", 0.25, 0.1, 9.0, "less glare"),
    ("shadow_on_drawing_percent", 0.03, 1.0, 9.0, "less shadow on the drawing"),
    ("shade_left_percent", 0.05, 1.0, 9.0, "no shadow left on the sheet"),
    ("clipped_percent", 0.05, 0.5, 1.0, "fewer burnt-out parts"),
    ("oblique_degrees", 0.012, 6.0, 9.0, "squarer to the work"),
    ("light_unevenness_percent", 0.002, 10.0, 9.0, "more even light"),
    ("grain", 0.1, 0.0, 9.0, "less noise"),
)
_PER_L = 0.012  # a take that comes out dark was dim, or its white paper was taken for grey
_GRID_PX = 1200.0  # about the long side of the work at the size that it is measured at


def merits(record: JobRecord) -> dict[str, float]:
    """The parts of a take's worth, in words, as natural logs of detail or what weighs as much."""
    measures = record.measures
    parts = {"sharper": _detail(measures), "lighter": _PER_L * measures.get("lightness", 90.0)}
    for name, per_unit, start, most, words in _FAULTS:
        parts[words] = -min(per_unit * max(0.0, measures.get(name, start) - start), most)
    return parts


def _detail(measures: Mapping[str, float]) -> float:
    """What a photo resolves of the work, as a natural log: by the width of its edges and by their energy, by half each.

    The width is that of the strongest edges, and those along which a hand has moved stay sharp; the energy misses none,
    but grows with noise.
    """
    long_px = measures.get("work_long_side_px", 1.0)
    edges = np.log(long_px / max(measures.get("blur_px", 1.0), 0.5))
    if "sharpness" not in measures:
        return float(edges)
    energy = 0.5 * np.log(max(measures["sharpness"], 1e-6) * min(long_px, _GRID_PX))
    return float(edges + energy) / 2


def merit(record: JobRecord) -> float:
    """What a take is worth, all in all."""
    return sum(merits(record).values())


def why_used(used: JobRecord, other: JobRecord, *, away: bool = False) -> str:
    """Why a take is used and not the other, in plain words; an earlier one is unless another is clearly better.

    away: the photo of the other is not there, so that what was said since could not reach it.
    """
    one, two = merits(other), merits(used)
    gain = {words: two[words] - one[words] for words in one}
    best = max(gain, key=lambda words: gain[words])
    if away and merit(used) <= merit(other):
        return f"this photo is no longer in the inbox, and what was said since needs one: {used.photo}"
    if merit(used) <= merit(other):
        return f"{used.photo} came first, and this one is not clearly better"
    return f"{used.photo} is the better take" + (f": {best}" if gain[best] > 0.005 else "")


def regarded(known: Known, best: str, record: JobRecord, used: Callable[[], JobRecord]) -> JobRecord:
    """Ready, or an alternate to the take that is used, with the reason in its first line; used: that one's record."""
    reasons = tuple(reason for reason in record.reasons if not reason.startswith(_ALTERNATE))
    if is_shown(known, best) or best == record.job:
        return record.model_copy(update={"outcome": "ready", "take_of": None, "reasons": reasons})
    if known.view.gone:
        update = {"outcome": "alternate", "take_of": best or record.take_of, "reasons": (_EDITED, *reasons)}
        return record.model_copy(update=update)
    why = why_used(used(), record, away=not known.present)
    said = f"{_ALTERNATE}: {why}. To have this one too: autoprep redo {argument(record.photo)}"
    return record.model_copy(update={"outcome": "alternate", "take_of": best, "reasons": (said, *reasons)})
