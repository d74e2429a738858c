"""A studio that was moved goes on where it lies now, with all that it knew."""

import sqlite3
from pathlib import Path

import pytest

from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def move(wren: Studio, name: str = "elsewhere") -> Path:
    """The whole folder, between two runs. Where it lay."""
    was = wren.settings.studio
    new = was.with_name(name)
    was.rename(new)
    wren.config = new / wren.config.relative_to(was)
    wren._read = None
    return was


def test_what_is_said_after_a_move_reaches_the_files(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    wren.put("boat.jpg", photo(2))
    wren.run()
    was = move(wren)
    wren.put("page.txt", "hold: yes")
    wren.put("boat.txt", "title: Blue Boat")
    records = wren.run()
    files = wren.files()
    assert {Path(name).stem for name in files} == {"boat"}
    assert records["page.jpg"].held
    assert all("Blue Boat" in str(text) for text in files.values())
    assert not was.exists()


def test_a_question_is_answered_after_a_move(wren: Studio) -> None:
    wren.put("page.jpg", photo(1, answer="ask"))
    assert wren.run()["page.jpg"].outcome == "needs a look"
    move(wren)
    assert wren.run()["page.jpg"].outcome == "needs a look"
    folder = wren.settings.folders.needs_a_look / "page"
    for picture in [*folder.glob("choice-*.jpg"), folder / "none-of-these.jpg"]:
        if picture.name != "choice-2.jpg":
            picture.unlink(missing_ok=True)
    assert wren.run()["page.jpg"].outcome == "ready"


def test_a_ledger_that_did_not_keep_where_it_lay_tells_it_by_its_files(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    wren.run()
    with sqlite3.connect(ledger_path(wren.settings)) as ledger:
        ledger.execute("DELETE FROM kept WHERE name = 'studio'")
    move(wren)
    wren.put("page.txt", "hold: yes")
    wren.run()
    assert list(wren.files()) == []


def test_files_outside_of_the_studio_stay_where_they_are(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite3")
    ledger.reserve("00001-a", {"square": tmp_path / "Studio/ready/square/a.jpg", "site": tmp_path / "Studio 2/a.jpg"})
    assert ledger.follow(tmp_path / "Studio") == ""
    assert ledger.follow(tmp_path / "Saltmere") == str(tmp_path / "Studio")
    kept = {name: place for name, (place, _) in ledger.coming("00001-a").items()}
    assert kept == {"square": tmp_path / "Saltmere/ready/square/a.jpg", "site": tmp_path / "Studio 2/a.jpg"}
    assert ledger.is_taken(tmp_path / "saltmere/READY/square/a.jpg")
    assert not ledger.is_taken(tmp_path / "Studio/ready/square/a.jpg")
    assert ledger.follow(tmp_path / "Saltmere") == ""
    ledger.close()


def test_another_write_at_the_same_time_is_waited_for_by_nobody_who_only_reads(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    wren.run()
    writer = sqlite3.connect(ledger_path(wren.settings), isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    reader = Ledger(ledger_path(wren.settings))
    assert reader.overview.outcomes() == {"ready": 1}
    reader.close()
    writer.close()
