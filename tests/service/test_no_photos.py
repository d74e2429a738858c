"""Files that are no pictures at all are passed over: no record, nobody is called, nothing is started over."""

import json
import os

import pytest

from autoprep.cli import main
from autoprep.service.inbox import may_be_picture
from autoprep.service.outlook import outlook
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


@pytest.mark.parametrize(
    ("name", "may"),
    [
        ("letter.pdf", False), ("boats/Film.MOV", False), ("IMG_1.jpg", True), ("IMG_1.CR3", True), ("IMG_1", True),
        ("a.b/IMG_1", True), ("Study no. 4", True), (".pdf", True), ("Boats, 12.5 cm", True), ("letter.docx", False),
    ],
)  # fmt: skip
def test_a_name_says_whether_it_is_a_picture(name: str, may: bool) -> None:
    assert may_be_picture(name) == may


def run(wren: Studio, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main([*words, "--config", str(wren.config)])
    out, err = capsys.readouterr()
    return code, out, err


def logged(wren: Studio) -> list[str]:
    text = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    return [line["photo"] for line in map(json.loads, text.splitlines()) if line["event"] == "passed over"]


def test_a_letter_is_passed_over_in_one_line(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Reeds.jpg", photo(1))
    letter = wren.put("as watercolour/letter.pdf", b"%PDF-1.7 no picture at all")
    assert list(wren.run()) == ["Reeds.jpg"]
    code, out, _ = run(wren, capsys, "status")
    assert code == 0
    assert "Files in the inbox that are not photos, and are left alone: 1" in out
    assert "Set aside" not in out
    wren.run()
    assert logged(wren) == ["as watercolour/letter.pdf"]
    assert list(outlook(wren.settings)) == []
    assert run(wren, capsys, "once")[0] == 0
    assert "it is no photo" in run(wren, capsys, "show", "as watercolour/letter.pdf")[2]
    letter.unlink()
    assert "not photos" not in run(wren, capsys, "status")[1]


def test_what_is_called_a_photo_and_is_none_is_still_told(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Reeds.jpg", b"<html>not a picture, but a page that says so</html>")
    assert wren.run()["Reeds.jpg"].outcome == "set aside"
    assert run(wren, capsys, "status")[0] == 1


def test_a_picture_with_a_strange_name_is_a_picture(wren: Studio) -> None:
    wren.put("Reeds.dat", photo(1))
    assert wren.run()["Reeds.dat"].outcome == "ready"


def test_a_link_is_told_whatever_it_is_called(wren: Studio) -> None:
    os.symlink(wren.config, wren.inbox / "letter.pdf")
    assert wren.run()["letter.pdf"].outcome == "set aside"
