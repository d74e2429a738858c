"""The proof page: what waits comes first, each state is a sentence, everything is escaped, nothing is fetched."""

import re
from pathlib import Path

from autoprep.domain import JobRecord, OutputRecord, WorkFacts
from autoprep.told.pages import Place, index_html, state

PLACE = Place(Path("/studio"), Path("/studio/records/proof"))


def record(job: str, outcome: str, **more: object) -> JobRecord:
    return JobRecord(job=job, photo=f"{job}<b>.jpg", sha256="0" * 64, outcome=outcome, **more)  # type: ignore[arg-type]


def output(name: str) -> OutputRecord:
    return OutputRecord(destination=name, path=f"ready/{name}/a.jpg", width_px=9, height_px=6, bytes=9, sha256="1")


def test_what_waits_for_an_answer_comes_first() -> None:
    records = [record("1", "ready"), record("2", "needs a look"), record("3", "ready"), record("4", "needs a look")]
    page = index_html("Wren Halloway", PLACE, records)
    assert re.findall(r'<article id="(\d)"', page) == ["4", "2", "3", "1"]


def test_what_shows_no_work_is_quiet() -> None:
    page = index_html("Wren Halloway", PLACE, [record("1", "no work seen"), record("2", "duplicate")])
    assert "<article" not in page
    assert "1 no work seen" in page


def test_each_state_is_a_sentence() -> None:
    one = record("1", "ready", outputs=(output("square"),))
    assert state(one) == "Finished: 1 picture."
    two = one.model_copy(update={"outputs": (output("square"), output("site")), "held": {"print": "glare"}})
    assert state(two) == "Finished: 2 pictures. 1 not given out."
    for outcome in ("needs a look", "alternate", "reference", "set aside"):
        assert re.fullmatch(r"[A-Z].*\.", state(record("1", outcome)))


def test_everything_is_escaped_and_nothing_is_fetched() -> None:
    facts = WorkFacts(title='"><script>alert(1)</script>', unclear=("“<i>knd</i>”",))
    made = record("1", "ready", work=facts, pages={"before": "1/before.jpg", "after": "1/after.jpg"})
    page = index_html("<Wren>", PLACE, [made])
    assert "<script>alert" not in page
    assert "<i>knd" not in page
    assert "<Wren>" not in page
    assert "1<b>" not in page
    assert not re.search(r"https?://", page)
    assert "default-src &#x27;none&#x27;" in page
