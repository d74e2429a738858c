"""A studio that version 0.3.0 left behind goes on: nothing is made twice, and the new rule holds for the old works.

tests/data/studio-0.3.0.zip was made by that version from five photos of this project's own: a work with an alternate
take and a copy, one on hold, a question, and a file that is no photo. Three of the photos are no longer there.
"""

import json
import os
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest

from autoprep.ledger import MIGRATIONS, Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.engines import run_once

ARCHIVE = Path(__file__).parent.parent / "data" / "studio-0.3.0.zip"


@pytest.fixture
def old(tmp_path: Path) -> Settings:
    studio = tmp_path / "saltmere"
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(studio)
        held = json.loads(archive.read("ledger.json"))
    (studio / "records").mkdir()
    db = sqlite3.connect(studio / "records" / "ledger.sqlite3")
    for statement in held.pop("schema"):
        db.execute(statement)
    db.execute("PRAGMA user_version = 1")
    for table, rows in held.items():
        for row in rows:
            values = [_value(value, studio) for value in row.values()]
            db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", values)
    db.commit()
    db.close()
    return load(studio / "config" / "autoprep.toml")


def _value(value: Any, studio: Path) -> Any:
    if isinstance(value, dict):
        return os.fsencode(value["path"].replace("{studio}", str(studio)))
    return value.replace("{studio}", str(studio).casefold()) if isinstance(value, str) else value


def _files(settings: Settings) -> dict[str, bytes]:
    ready = settings.folders.ready
    return {str(path.relative_to(ready)): path.read_bytes() for path in ready.rglob("*.jpg")}


def test_what_was_known_is_known(old: Settings) -> None:
    ledger = Ledger(ledger_path(old))
    views = {view.shown: view for view in ledger.views()}
    used, other = views["Sea Thrift.jpg"], views["Sea Thrift soft.jpg"]
    assert used.work == other.work == used.job
    assert set(used.usual) == {"square", "site"}
    assert used.said.title == "Sea Thrift"
    made = ledger.renditions(used.job)
    assert {name: row.state for name, row in made.items()} == {"square": "in place", "site": "in place"}
    assert made["site"].path == old.folders.ready / "site" / "Sea Thrift.jpg"
    assert {(row.state, row.why) for row in ledger.renditions(views["hold/Boats.jpg"].job).values()} == {
        ("held", "on hold")
    }
    assert ledger.is_taken(old.folders.needs_a_look / "Reeds")
    assert ledger.files()[b"copy.jpg"].job == used.job
    assert ledger.check() == "ok"
    ledger.close()


def test_the_old_ledger_is_kept_beside_the_new_one(old: Settings) -> None:
    Ledger(ledger_path(old)).close()
    copies = list(old.folders.records.glob("ledger-before-*.sqlite3"))
    assert [copy.name for copy in copies] == ["ledger-before-2.sqlite3"]
    kept = sqlite3.connect(copies[0])
    assert kept.execute("PRAGMA user_version").fetchone()[0] == 1
    assert kept.execute("SELECT count(*) FROM places").fetchone()[0] > 0
    kept.close()
    before = copies[0].read_bytes()
    Ledger(ledger_path(old)).close()
    assert copies[0].read_bytes() == before


def test_reasons_of_an_older_ledger_have_a_kind(studio: Settings) -> None:
    """The words are those of 0.9.0; another reason has none, and is told whole."""
    words = {
        "glare hides 2.5 % of the work; this destination waits for a better photo": "glare",
        "the title holds the artist's name, and this destination is blind; say it without": "names the artist",
        "the work's size is not known; say it, as in “size: 30 x 40 cm”, and it is printed so": "size not known",
        "the photo holds the work with 9 x 9 pixels, 20 % of the size that it wants": "too few pixels",
        "the photo is on hold (by its folder, a note, a word, or because it was sent nowhere)": "on hold",
        "another take of the same work is used": "another take",
        "the work is not sent here (any more)": "not sent",
        "the photo was looked at again, and is no finished work now": "looked at again",
        "2.5 kB cannot be met": "",
    }  # fmt: skip
    place = ledger_path(studio)
    db = sqlite3.connect(place)
    for script in MIGRATIONS[:5]:  # the sixth knows of kinds
        db.executescript(script)
    db.execute("PRAGMA user_version = 5")
    for number, reason in enumerate(words):
        row = (f"{number}", "site", "held", reason)
        db.execute("INSERT INTO renditions (job, destination, state, reason) VALUES (?, ?, ?, ?)", row)
    db.commit()
    db.close()
    ledger = Ledger(place)
    found = [ledger.renditions(f"{number}")["site"] for number in range(len(words))]
    ledger.close()
    assert {row.reason: row.why for row in found} == words


def test_records_of_works_of_which_a_file_stayed_are_written_anew(studio: Settings) -> None:
    place = ledger_path(studio)
    db = sqlite3.connect(place)
    before = next(number for number, script in enumerate(MIGRATIONS) if "FROM stayed" in script)
    for script in MIGRATIONS[:before]:
        db.executescript(script)
    db.execute(f"PRAGMA user_version = {before}")
    for job in ("1", "2"):
        db.execute(
            "INSERT INTO jobs (job, sha256, path, shown, state, came) VALUES (?, ?, '', '', 'done', '')", (job, job)
        )
    db.execute("INSERT INTO stayed VALUES ('2', 'site', ?, '')", (b"/saltmere/ready/site/Gull.jpg",))
    db.commit()
    db.close()
    ledger = Ledger(place)
    assert {view.job: view.unwritten for view in ledger.views()} == {"1": False, "2": True}
    ledger.close()


@pytest.mark.slow
def test_nothing_is_made_twice_and_the_new_rule_holds(old: Settings) -> None:
    before = _files(old)
    assert set(before) == {"site/Sea Thrift.jpg", "square/Sea Thrift.jpg"}
    records = run_once(old)
    assert _files(old) == before
    assert records["Sea Thrift soft.jpg"].outcome == "alternate"
    (old.folders.inbox / "Sea Thrift.txt").write_text("hold: yes", encoding="utf-8")
    (old.folders.inbox / "hold" / "Boats.jpg").rename(old.folders.inbox / "Boats.jpg")
    records = run_once(old)
    assert set(_files(old)) == {"site/Boats.jpg", "square/Boats.jpg"}
    assert set(records["Sea Thrift.jpg"].held) == {"square", "site"}
    (old.folders.inbox / "Sea Thrift.txt").unlink()
    run_once(old)
    after = _files(old)
    assert {name: after[name] for name in before} == before
