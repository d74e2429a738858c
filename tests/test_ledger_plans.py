"""What `status` asks of all works at once is found by an index, however many works there are."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from autoprep.ledger import Ledger
from autoprep.ledger.attention import Attention

QUESTIONS: dict[str, Callable[[Attention], object]] = {
    "what lies beside works on hold": lambda asked: asked.lie_beside("there"),
    "what was to be withdrawn": Attention.to_be_withdrawn,
    "what failed for a reason": lambda asked: asked.failed_by("no folder"),
    "what failed": Attention.with_failures,
    "what waits for a better photo": Attention.held_back,
    "what was set aside": Attention.set_aside,
    "words that can't be used": Attention.not_understood,
    "what waits for a reason": Attention.with_problems,
}


@pytest.mark.parametrize("question", QUESTIONS)
def test_no_table_is_read_throughout(question: str, tmp_path: Path) -> None:
    place = tmp_path / "ledger.sqlite3"
    ledger = Ledger(place)
    asked: list[str] = []
    ledger.overview._db.set_trace_callback(asked.append)
    try:
        QUESTIONS[question](ledger.overview)
    finally:
        ledger.close()
    read = sqlite3.connect(place)
    plan = [row[3] for text in asked for row in read.execute(f"EXPLAIN QUERY PLAN {text}")]
    read.close()
    assert plan
    throughout = [step for step in plan if step.startswith("SCAN") and "USING" not in step and "VIRTUAL" not in step]
    assert not throughout
