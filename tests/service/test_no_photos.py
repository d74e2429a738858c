"""Files that are no pictures at all are passed over: no record, nobody is called, nothing is started over."""

import json
import os
from pathlib import Path
from typing import Any

import pytest

from autoprep.cli import main
from autoprep.service import inbox
from autoprep.service.inbox import may_be_picture
from autoprep.service.outlook import outlook
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo
from tests.service.test_unfinished import stepped, watching


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
    log = wren.settings.folders.records / "log.jsonl"
    text = log.read_text(encoding="utf-8") if log.exists() else ""
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


def test_a_film_of_any_size_is_passed_over_and_a_photo_beyond_all_measure_is_told(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.arrivals._LARGEST_FILE", 200_000)
    for name in ("Film.mov", "Reeds.tif"):
        wren.put(name, bytes(200_001))
    (record,) = wren.run().values()
    assert (record.photo, record.outcome, record.reasons) == ("Reeds.tif", "set aside", ("the file is too large",))
    assert logged(wren) == ["Film.mov"]


def test_a_picture_with_a_strange_name_is_a_picture(wren: Studio) -> None:
    wren.put("Reeds.dat", photo(1))
    assert wren.run()["Reeds.dat"].outcome == "ready"


def test_a_link_is_told_whatever_it_is_called(wren: Studio) -> None:
    os.symlink(wren.config, wren.inbox / "letter.pdf")
    assert wren.run()["letter.pdf"].outcome == "set aside"


def test_of_what_is_called_no_picture_the_start_is_read_and_of_a_picture_all(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[tuple[bytes, int]] = []
    real = inbox.read_plain

    def plain(folder: Path, path: bytes, most: int = -1) -> inbox.SettledFile | None:
        found = real(folder, path, most)
        assert found is not None
        read.append((path, len(found.data)))
        return found

    monkeypatch.setattr(inbox, "read_plain", plain)
    wren.put("Film.mov", b"no picture" * 9_000)
    wren.put("Reeds.dat", photo(1) + bytes(9_000))
    wren.run()
    assert dict(read)[b"Film.mov"] == 4096
    assert dict(read)[b"Reeds.dat"] == len(photo(1)) + 9_000
    assert logged(wren) == ["Film.mov"]


def test_files_that_need_no_worker_are_taken_in_a_few_at_a_time(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a service that takes in a phone's films tells its manager nothing, and can't be stopped, for minutes."""
    monkeypatch.setattr("autoprep.service.engine._AT_ONCE_S", -1.0)  # each turn is over as soon as it has begun
    for number in range(4):
        wren.put(f"Film {number}.mov", b"no picture, but a film")
    engine = watching(wren)
    while not logged(wren):
        stepped(wren, engine, 1)
    waits: list[float] = []
    monkeypatch.setattr("autoprep.service.engine.wait", lambda _what, pause: waits.append(pause))
    taken = []
    for _ in range(4):
        engine._next_scan = float("inf")
        engine.step(1.0)
        taken.append(len(logged(wren)))
    engine.stop()
    assert taken == [2, 3, 4, 4]
    assert waits == [0.0, 0.0, 1.0, 1.0]  # it goes on at once, and rests when all is done


def test_photos_in_a_folder_that_is_called_like_a_note_are_taken_in(wren: Studio) -> None:
    """`status` said for ever that they were not read yet."""
    for folder in ("August.md", "boats/Sketches.txt", "works.csv", "Tern.mov"):
        wren.put(f"{folder}/Gull.jpg", photo(len(folder)))
    wren.put("Tern.jpg", photo(1))
    assert set(wren.run()) == {
        "August.md/Gull.jpg", "boats/Sketches.txt/Gull.jpg", "works.csv/Gull.jpg", "Tern.mov/Gull.jpg", "Tern.jpg",
    }  # fmt: skip


def test_what_lies_in_folders_of_systems_is_not_said_to_wait(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in ("@eaDir/Gull.jpg", "#recycle", "$RECYCLE.BIN", ".trash", "Gull.jpg.download"):
        wren.put(f"{folder}/SMALL.jpg", photo(1))
    assert wren.run() == {}
    assert "not read yet" not in run(wren, capsys, "status")[1]


def test_status_walks_through_the_inbox_once(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a share of thousands of folders each walk takes as long again."""
    wren.put("boats/June/Gull.jpg", photo(1))
    wren.put("boats/June/Kelp.txt", "hold: yes")
    looked_into, scandir = list[str](), os.scandir

    def noted(place: Any) -> Any:
        looked_into.append(os.fsdecode(place))
        return scandir(place)

    monkeypatch.setattr(os, "scandir", noted)
    told = run(wren, capsys, "status")[1]
    assert "not read yet: 1 photo" in told
    assert "boats/June/Kelp.txt" in told
    assert looked_into.count(str(wren.inbox / "boats" / "June")) == 1


def test_a_list_and_a_note_in_a_folder_of_systems_are_not_told_of(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    """A network disk keeps what was deleted in a folder of its own, and the notes there asked to hold for ever."""
    wren.put("#recycle/Kelp.txt", "hold: yes")
    wren.put("#recycle/works.csv", "photo,title\nKelp,Kelp\n")
    told = run(wren, capsys, "status")[1]
    assert "Kelp" not in told
    assert "List of works" not in told
