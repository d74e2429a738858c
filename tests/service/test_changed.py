"""The list of all works names the pictures that the artist has changed since they were made."""

import csv
import hashlib
import io
import json
import os
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.ledger import Ledger
from autoprep.service import changed
from autoprep.service.studio import PageWriter
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    tables = "[site]\nlong_side_px = 500\n[master]\nlong_side_px = 900\n"
    studio.config_file.with_name("destinations.toml").write_text(tables, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    wren.run()
    return wren


def works(wren: Studio, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    assert main(["works", *words, "--config", str(wren.config)]) == 0
    return capsys.readouterr().out


def row(wren: Studio, capsys: pytest.CaptureFixture[str], photo: str) -> dict[str, str]:
    rows = csv.DictReader(io.StringIO(works(wren, capsys, "--csv")))
    return next(row for row in rows if row["photo"] == photo)


def site(wren: Studio, name: str = "Gull.jpg") -> Path:
    return wren.settings.folders.ready / "site" / name


@pytest.mark.parametrize("size", ["other", "same"])
def test_a_picture_that_was_retouched_is_told(wren: Studio, capsys: pytest.CaptureFixture[str], size: str) -> None:
    before = works(wren, capsys)
    assert "changed" not in before
    as_made = site(wren).read_bytes()
    site(wren).write_bytes(b"retouched" if size == "other" else as_made[::-1])
    later = os.stat(site(wren)).st_mtime + 60
    os.utime(site(wren), (later, later))
    gull, tern = works(wren, capsys).splitlines()
    assert gull.endswith("(in site, master; changed by you: site/Gull.jpg)")
    assert tern == before.splitlines()[1]
    told = row(wren, capsys, "Gull.jpg")["went to"]
    assert told.startswith("site: Gull.jpg (")
    assert told.partition("; ")[0].endswith("), changed by you since")
    assert told.count("changed") == 1
    (gull_object, tern_object) = json.loads(works(wren, capsys, "--json"))
    assert gull_object["changed_by_you"] == [{"destination": "site", "file": "Gull.jpg"}]
    assert tern_object["changed_by_you"] == []
    site(wren).write_bytes(as_made)
    assert works(wren, capsys) == before


def test_one_that_stayed_beside_a_new_one_is_told_too_and_on_hold(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    site(wren).write_bytes(b"retouched")
    (wren.inbox / "Gull.jpg").rename(wren.inbox / "Sea holly.jpg")
    wren.run()
    assert row(wren, capsys, "Sea holly.jpg")["went to"].endswith("; site: Gull.jpg, changed by you")
    wren.put("Sea holly.txt", "hold")
    wren.run()
    told = row(wren, capsys, "Sea holly.jpg")
    assert told["went to"] == ""
    assert told["nowhere because"].endswith("but in site lies one that you changed: take it out yourself")
    assert "; changed by you: site/Gull.jpg)" in works(wren, capsys)
    site(wren).unlink()
    assert "changed" not in works(wren, capsys)


def test_what_is_away_or_replaced_by_no_file_ends_no_list(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    site(wren).unlink()
    site(wren, "Tern.jpg").unlink()
    site(wren, "Tern.jpg").mkdir()
    gull, tern = works(wren, capsys).splitlines()
    assert "changed" not in gull
    assert "changed by you: site/Tern.jpg" in tern


def test_a_picture_that_was_moved_out_of_ready_is_not_said_to_be_there(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    site(wren).rename(wren.inbox.parent / "for Ines.jpg")
    gull, tern = works(wren, capsys).splitlines()
    assert gull.endswith("(in master; moved out of site, or gone)")
    assert tern.endswith("(in site, master)")
    assert "site" not in row(wren, capsys, "Gull.jpg")["went to"]
    (told, other) = json.loads(works(wren, capsys, "--json"))
    assert [each["state"] for each in told["went_to"]] == ["picked up", "in place"]
    assert [each["state"] for each in other["went_to"]] == ["in place", "in place"]
    (wren.settings.folders.ready / "master/Gull.jpg").unlink()
    gull = works(wren, capsys).splitlines()[0]
    assert gull.endswith("(given out nowhere: site, master picked up: it lies there no more: it was moved, or is gone)")
    (wren.inbox.parent / "for Ines.jpg").rename(site(wren))
    assert works(wren, capsys).splitlines()[0].endswith("(in site; moved out of master, or gone)")


def test_where_pictures_are_is_not_known_while_ready_is_away(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    ready = wren.settings.folders.ready
    off = ready.rename(ready.with_name("off"))
    capsys.readouterr()
    assert main(["works", "--config", str(wren.config)]) == 0
    told = capsys.readouterr()
    assert "Where the pictures are, and which of them you have changed, is not known now" in told.err
    assert all(line.endswith("(in site, master)") for line in told.out.splitlines())
    off.rename(ready)


def test_pictures_that_are_as_old_as_their_records_are_not_read(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def read(place: Path, *_sha256: str) -> bool:
        raise AssertionError(place)

    monkeypatch.setattr(changed, "is_ours", read)
    assert "changed" not in works(wren, capsys)


def test_of_pictures_whose_age_is_not_known_every_byte_is_compared(tmp_path: Path) -> None:
    """Records of earlier versions do not say when a picture was made."""
    place = tmp_path / "Gull.jpg"
    place.write_bytes(b"retouched")
    for bytes_made, is_changed in ((b"retouched", False), (b"as it was", True)):
        assert changed._is_changed(place, 9, hashlib.sha256(bytes_made).hexdigest(), "") is is_changed


def test_the_page_of_all_works_tells_it_too_at_the_latest_on_the_next_day(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = wren.settings.folders.records / "proof" / "works.html"
    assert "changed by you" not in page.read_text(encoding="utf-8")
    site(wren).write_bytes(b"retouched")
    wren.put("Tern.txt", "title: Arctic tern")
    wren.run()
    assert "changed by you: site/Gull.jpg" in page.read_text(encoding="utf-8")
    (site(wren).parent.parent / "master" / "Tern.jpg").write_bytes(b"retouched")
    before = page.read_bytes()
    wren.run()
    assert page.read_bytes() == before  # nothing is new that the service could know of
    day_before = os.stat(page).st_mtime - 86400
    os.utime(page, (day_before, day_before))
    wren.run()
    told = page.read_text(encoding="utf-8")
    assert told.count("changed by you") == 2
    (leaf,) = (page for page in page.parent.glob("work-*.html") if "Arctic tern" in page.read_text(encoding="utf-8"))
    now = datetime.now().astimezone()
    assert f"<p>Changed by you, as of {now.day} {now:%B %Y}, " in leaf.read_text(encoding="utf-8")
    assert ": master/Tern.jpg.</p>" in leaf.read_text(encoding="utf-8")
    (site(wren).parent.parent / "master" / "Tern.jpg").unlink()
    os.utime(page, (day_before, day_before))
    wren.run()
    assert "hanged by you" not in leaf.read_text(encoding="utf-8")
    assert f"Which pictures you have changed: as of {now.day} {now:%B %Y}, " in told


def test_while_the_service_runs_on_the_page_is_written_anew_each_day(wren: Studio, tmp_path: Path) -> None:
    ledger = Ledger(ledger_path(wren.settings))
    pages, today = PageWriter(), date.today()
    page = wren.settings.folders.records / "proof" / "works.html"

    def tells(day: date) -> bool:
        assert pages.write(wren.settings, ledger.overview, day, last=True)
        return "changed by you" in page.read_text(encoding="utf-8")

    assert not tells(today)
    site(wren).write_bytes(b"retouched")
    assert not tells(today)
    assert tells(today + timedelta(days=1))
    site(wren).unlink()
    assert tells(today + timedelta(days=1))
    assert not tells(today + timedelta(days=2))
    ledger.close()
