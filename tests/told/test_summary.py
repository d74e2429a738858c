"""What a run says at its end: a line for each thing that wants a look."""

import pytest

from autoprep.domain import JobRecord, WorkFacts
from autoprep.told.explanations import HOLD
from autoprep.told.summary import print_summary
from autoprep.wishes.settings import Settings


def said_of(studio: Settings, capsys: pytest.CaptureFixture[str], **more: object) -> list[str]:
    record = JobRecord(job="1", photo="Boat.jpg", sha256="", outcome="ready", **more)  # type: ignore[arg-type]
    print_summary(studio, [record])
    return [line for line in capsys.readouterr().out.splitlines() if line.startswith("  Boat.jpg")]


def test_words_that_were_not_understood_are_told_in_one_line(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = "“titel” is read as “title”", "a \x1b[1msize"
    assert said_of(studio, capsys) == []
    assert said_of(studio, capsys, work=WorkFacts(unclear=(one,))) == [f"  Boat.jpg: about your words: {one}"]
    (line,) = said_of(studio, capsys, work=WorkFacts(unclear=(two, one, one)))
    assert line.endswith("(and 2 more; `autoprep show` says them)")
    assert "\x1b" not in line


def test_destinations_that_wait_for_one_reason_share_a_line(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = said_of(studio, capsys, held={"square": HOLD, "print": "glare"}, failed={"site": HOLD})
    assert lines == [f"  Boat.jpg: square, site not given out: {HOLD}", "  Boat.jpg: print not given out: glare"]
