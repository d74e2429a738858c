"""Which photos that lay at a place a new one there has to do with."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from autoprep.domain import JobRecord
from autoprep.imaging.likeness import likeness
from autoprep.ledger import Take
from autoprep.service.grouping import asked_before, edited
from tests.service.test_small_rules import plan

SEEN = likeness(np.random.default_rng(2).random((64, 64, 3), np.float32))
MOMENT = "2026-11-20T10:00:00"


def record(taken_at: str | None = MOMENT) -> JobRecord:
    return JobRecord(
        job="9", photo="a.jpg", sha256="", outcome="ready", plan=plan(), likeness=SEEN, taken_at=taken_at
    )  # fmt: skip


def test_a_photo_takes_the_place_of_takes_of_one_work_alone() -> None:
    """Of several works whose photos lay there one after the other it is the last one, edited again."""
    takes = [Take(job, job, work, "{}", SEEN, 1.5, MOMENT) for job, work in (("4", "3"), ("3", "3"), ("1", "1"))]
    other = Take("2", "2", "2", "{}", SEEN, 1.5, "2026-11-19T10:00:00")
    ledger: Any = SimpleNamespace(at_its_place=lambda *_: [takes[0], other, *takes[1:]])
    new: Any = SimpleNamespace(job="9", work="", path=b"a.jpg", part=0)
    assert edited(ledger, new, record()) == takes[:2]
    new.work = "9"
    assert edited(ledger, new, record()) == []


def test_of_one_of_several_works_the_question_about_the_same_one_is_over() -> None:
    asked = {name: SimpleNamespace(record=record(), part=part) for name, part in (("5", 1), ("6", 2))}
    ledger: Any = SimpleNamespace(
        questions_at=lambda _: [*asked, "7"], is_replaced=lambda *_, **__: True, get=asked.get
    )
    new: Any = SimpleNamespace(job="9", work="", path=b"a.jpg", part=2)
    assert asked_before(ledger, new, record()) == [asked["6"].record]
    assert asked_before(ledger, new, record("2026-11-21T10:00:00")) == []
    assert asked_before(ledger, new, record(None)) == [asked["6"].record]
