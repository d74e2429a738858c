"""What holds a work, and what does not, is said as it is."""

import json

import pytest

from autoprep.told.explanations import HOLD
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def logged(wren: Studio, event: str) -> list[dict[str, str]]:
    text = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    return [line for line in map(json.loads, text.splitlines()) if line["event"] == event]


def test_a_copy_on_hold_says_that_the_work_is_not(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("hold/Reeds.jpg", photo(1))
    copy = wren.run()["hold/Reeds.jpg"]
    assert copy.outcome == "duplicate"
    assert copy.reasons[0] == (
        "the same photo as Reeds.jpg; nothing was made twice. This copy lies on hold, the work does not: put a note "
        "“hold: yes” beside Reeds.jpg, or move that into a folder “hold”"
    )
    (line,) = [line for line in logged(wren, "finished") if line["outcome"] == "duplicate"]
    assert "the work does not" in line["reason"]
    assert "square/Reeds.jpg" in wren.files()


@pytest.mark.parametrize("held", ["note", "copy"])
def test_where_both_or_none_are_on_hold_nothing_is_said(wren: Studio, held: str) -> None:
    if held == "note":
        wren.put("Reeds.txt", "hold: yes")
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    place = "hold/Reeds.jpg" if held == "note" else "more/Reeds.jpg"
    wren.put(place, photo(1))
    assert "hold" not in wren.run()[place].reasons[0].removeprefix("hold/")


def test_the_log_says_why_a_work_is_withdrawn(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Gull.jpg", photo(9))
    wren.run()
    wren.put("Reeds.txt", "for: everything")
    wren.put("Gull.txt", "hold: yes")
    wren.run()
    reasons = {line["photo"]: line["reason"] for line in logged(wren, "withdrawn")}
    assert reasons["Reeds.jpg"].startswith("no destination is called everything")
    assert reasons["Gull.jpg"] == HOLD
