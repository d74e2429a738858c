"""The lists of destinations over time: where they stand, whose they are, and when they go."""

import shutil
from collections.abc import Callable

import pytest

from autoprep.cli import main
from autoprep.ledger import Ledger
from autoprep.service.studio import ListWriter
from autoprep.told.paper import OWN_FONT
from autoprep.told.standing import status_of
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

CALL = '[call]\nlong_side_px = 900\nmark = false\nlisting = true\nname = "{nn} {title}"\n'
SITE = "[site]\nlong_side_px = 1200\nmark = false\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    wren = Studio(studio, monkeypatch)
    tables(wren, SITE + CALL)
    wren.put("Blue Jug.jpg", photo(1))
    wren.put("Red Jug.jpg", photo(2))
    wren.run()
    return wren


def tables(wren: Studio, text: str) -> None:
    wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8")


def lists(wren: Studio) -> list[str]:
    return [name for name in wren.files() if "image-list" in name]


ALL = ["call/image-list.csv", "call/image-list.html", "call/image-list.pdf"]


def test_the_lists_of_a_studio_that_was_moved_are_its_own(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    assert lists(wren) == ALL
    place = wren.config.parent.parent
    there = place.with_name("Moved")
    shutil.move(place, there)
    moved = Studio(load(there / "config" / "autoprep.toml"), monkeypatch)
    moved.put("Thrift.jpg", photo(3))
    moved.run()
    assert lists(moved) == ALL
    assert b"Thrift" in moved.files()["call/image-list.csv"]


def test_lists_that_an_earlier_version_has_on_record_are_known(wren: Studio) -> None:
    kept = wren.settings.folders.records / "lists.json"
    text = kept.read_text(encoding="utf-8")
    assert '"call/image-list.csv"' in text
    kept.write_text(text.replace('"call/', '"/elsewhere/Studio/ready/call/'), encoding="utf-8")
    wren.put("Thrift.jpg", photo(3))
    wren.run()
    assert lists(wren) == ALL
    assert b"Thrift" in wren.files()["call/image-list.csv"]


def test_lists_go_where_none_is_asked_for_any_more(wren: Studio) -> None:
    (wren.settings.folders.ready / "call" / "image-list.html").write_text("edited", encoding="utf-8")
    tables(wren, SITE + CALL.replace("listing = true", "listing = false"))
    wren.run()
    assert lists(wren) == ["call/image-list.html"]  # which is the artist's by now
    tables(wren, SITE + CALL)
    wren.run()
    assert len(lists(wren)) == 4


@pytest.mark.parametrize("most", [200, 0])
def test_a_list_that_is_taken_away_is_no_fault_and_holds_up_no_other(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    tables(wren, SITE + CALL + CALL.replace("[call]", "[open-call]"))
    wren.put("Thrift.jpg", photo(3))
    wren.run()
    assert len(lists(wren)) == 6
    monkeypatch.setattr("autoprep.service.studio._MOST_IN_PDF", most)
    if most:
        tables(wren, SITE + CALL.replace("listing = true", "") + CALL.replace("[call]", "[open-call]"))
    wren.put("Gull.jpg", photo(4))
    wren.run()
    log = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    assert "not written" not in log
    kinds = ("csv", "html", "pdf") if most else ("csv", "html")
    places = ("open-call",) if most else ("call", "open-call")
    assert lists(wren) == [f"{place}/image-list.{kind}" for place in places for kind in kinds]


def test_the_lists_of_a_gone_table_stay_while_they_are_true(wren: Studio) -> None:
    tables(wren, SITE)
    wren.run()
    assert lists(wren) == ALL
    wren.put("Red Jug.txt", "hold: yes\n")
    wren.run()
    assert lists(wren) == []


def test_a_list_takes_the_first_place_when_the_artists_is_gone(wren: Studio) -> None:
    theirs = wren.settings.folders.ready / "call" / "image-list.csv"
    theirs.write_text("mine", encoding="utf-8")
    wren.put("Thrift.jpg", photo(3))
    wren.run()
    assert "call/image-list-2.csv" in lists(wren)
    theirs.unlink()
    wren.put("Gulls.jpg", photo(4))
    wren.run()
    assert lists(wren) == ALL


def test_a_folder_in_a_lists_place_stops_no_list(wren: Studio) -> None:
    theirs = wren.settings.folders.ready / "call" / "image-list.csv"
    theirs.unlink()
    theirs.mkdir()
    wren.put("Thrift.jpg", photo(3))
    wren.run()
    assert lists(wren) == ["call/image-list-2.csv", *ALL[1:]]
    assert b"Thrift" in wren.files()["call/image-list-2.csv"]


def test_a_list_that_can_not_be_written_stops_no_other_and_is_told_by_status(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tables(wren, SITE + CALL + CALL.replace("[call]", "[zine]"))
    real: Callable[..., None] = ListWriter._write_one

    def write(self: ListWriter, settings: Settings, overview: object, ours: object, name: str) -> None:
        if name == "call":
            raise PermissionError(13, "Permission denied")
        real(self, settings, overview, ours, name)

    with monkeypatch.context() as patch:
        patch.setattr(ListWriter, "_write_one", write)
        wren.put("Thrift.jpg", photo(3))
        wren.run()
    assert b"Thrift" in wren.files()["zine/image-list.csv"]
    assert b"Thrift" not in wren.files()["call/image-list.csv"]
    assert main(["status", "--config", str(wren.config)]) == 1
    assert "Tried again later: pages and lists: Permission denied" in capsys.readouterr().out
    logged = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    assert "list of works not written" in logged
    assert "proof page not written" not in logged
    wren.run()
    assert main(["status", "--config", str(wren.config)]) == 0
    assert b"Thrift" in wren.files()["call/image-list.csv"]


def test_a_blind_list_names_nobody_and_no_number_of_the_artists(wren: Studio) -> None:
    tables(wren, CALL.replace("[call]", "[jury]") + 'rights = "none"\ntitle = true\n')
    wren.put("Thrift.txt", "inventory: WH-017\n")
    wren.put("Thrift.jpg", photo(3))
    wren.run()
    for ending in ("csv", "html"):
        text = wren.files()[f"jury/image-list.{ending}"].decode("utf-8-sig")
        assert "Thrift" in text
        assert "Halloway" not in text
        assert "WH-017" not in text


def test_a_work_that_is_sent_to_a_call_no_more_is_not_missing_there(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    tables(wren, SITE + CALL + 'when = "asked"\n')
    wren.put("Red Jug.txt", "for: site\n")
    wren.run()
    assert not any("Red Jug" in name for name in wren.files() if name.startswith("call/"))
    capsys.readouterr()
    main(["works", "--for", "call", "--config", str(wren.config)])
    assert "Red Jug" not in capsys.readouterr().out


def test_letters_that_no_font_holds_are_told_until_they_are_gone(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(
        "autoprep.service.studio.fonts_for", lambda text, _: ((OWN_FONT,), "舟" if "舟" in text else "")
    )
    wren.put("Red Jug.txt", "title: 舟 at the quay")
    wren.run()
    line = "call: no font on this machine holds 舟 of “舟 at the quay”: empty boxes in image-list.pdf"
    page = wren.settings.folders.records / "proof" / "index.html"
    assert f"In a list, {line}" in status(wren)
    assert line in page.read_text(encoding="utf-8")
    assert not [said for said in caplog.records if said.name.startswith("fpdf")]  # its own line names no work
    wren.run()
    assert f"In a list, {line}" in status(wren)  # the list that lies there is as it was
    wren.put("Red Jug.txt", "title: Boat at the quay")
    wren.run()
    assert not any("no font" in said for said in status(wren))
    assert "no font" not in page.read_text(encoding="utf-8")


def test_a_list_that_is_written_at_the_very_end_is_told_on_the_first_page_too(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio = "autoprep.service.studio"
    monkeypatch.setattr(f"{studio}.fonts_for", lambda text, _: ((OWN_FONT,), "舟" if "舟" in text else ""))
    monkeypatch.setattr(f"{studio}._LIST_SHARE", 1e9)  # so slow a list is not written again before the service stops
    page = wren.settings.folders.records / "proof" / "index.html"
    for title, told in (("舟 at the quay", True), ("Boat at the quay", False)):
        wren.put("Red Jug.txt", f"title: {title}")
        wren.run()
        assert ("no font on this machine" in page.read_text(encoding="utf-8")) == told


def status(wren: Studio) -> list[str]:
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return status_of(wren.settings, ledger.overview).lines()
    finally:
        ledger.close()
