"""A small score of the quick seeds against the bars of the report: nothing that is reached may be lost again.

Eighteen photos are few: limits that hang on one photo are wider here, and each says by how much. The report itself is
`python -m tests.lab score --photos 20`.
"""

import math

import pytest

from tests.lab.bars import BARS
from tests.lab.score import Row, score

# A ratchet: raise these, never lower them. Where the report's bar is reached with room, the bar itself stands here.
_SMALL = {
    "sent to needs a look, %": 17.0,  # three of the eighteen
    # At 1200 px the fit is coarser than in the report, and so is the hair by which torn and rounded edges are cut (.116
    # before that was measured).
    "edge lost, median, px at 2000": 0.25,
    "watercolour with bare paper: mean CIEDE2000": 2.6,  # two photos
}


@pytest.mark.slow
def test_bars_and_a_published_contest() -> None:
    """One test, for one score: in several they would be divided among processes, each with a score of its own.

    Page outlines of ICDAR 2015 (SmartDoc challenge 1): the winner's mean Jaccard index was 0.9716.
    """
    rows = score(3, 1200, None, first=30020, processes=1)  # the other cores have tests of their own
    assert _missed(rows) == []
    passed = [row.outline.jaccard for row in rows if row.confidence >= 0.9]
    assert len(passed) >= 0.7 * len(rows)
    assert sum(passed) / len(passed) > 0.9716
    assert sum(overlap < 0.95 for overlap in passed) <= 1


def _missed(rows: list[Row]) -> list[str]:
    """The bars that are missed, each with its value; what none of the photos has is not measured."""
    found = []
    for bar in BARS:
        value, limit = bar.value(rows), _SMALL.get(bar.name, bar.limit)
        if not math.isnan(value) and not (value >= limit if bar.at_least else value <= limit):
            found.append(f"{bar.name}: {value:.4f}, limit {limit}")
    assert sum(math.isnan(bar.value(rows)) for bar in BARS) <= 1
    return found
