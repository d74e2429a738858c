"""Files that are called like copies of a list of works: browsers and sync tools make them, and they may hold."""

import json
import os
from pathlib import Path

import pytest

from autoprep.cli.main import main
from autoprep.service.outlook import outlook
from autoprep.wishes.note_files import is_list_copy
from autoprep.wishes.notes import facts_of
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

HOLDS = "photo,title,hold\nIMG_1,Tern,yes\nIMG_2,Gull,\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def lists(wren: Studio, capsys: pytest.CaptureFixture[str]) -> list[str]:
    capsys.readouterr()
    main(["status", "--json", "--config", str(wren.config)])
    told: list[str] = json.loads(capsys.readouterr().out)["lists"]
    return told


def given_out(wren: Studio) -> set[str]:
    return {Path(name).name for name in wren.files() if name.startswith("square/")}


@pytest.mark.parametrize(
    "name",
    [
        "works2.csv", "works (1).csv", "Works copy.CSV", "works - Copy.csv", "Copy of works.csv", "works_old.csv",
        "works.sync-conflict-20261128-101500.csv", "works.csv.csv", "Kopie von Works.csv",
    ],
)  # fmt: skip
def test_what_is_called_like_a_copy_of_a_list_is_known(name: str) -> None:
    assert is_list_copy(name)


@pytest.mark.parametrize(
    "name",
    ["works.csv", "Works.CSV", "artworks.csv", "worksheet.csv", "works.txt", "works", ".works2.csv", "prices.csv"],
)
def test_what_is_called_otherwise_is_none(name: str) -> None:
    assert not is_list_copy(name)


def test_a_copy_holds_what_it_names_and_says_so_everywhere(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("June/IMG_1.jpg", photo(1))
    wren.put("June/IMG_2.jpg", photo(2))
    wren.put("June/works.csv", "photo,title,hold\nIMG_1,Blue Jug,no\nIMG_2,Boat,\n")
    wren.run()
    assert given_out(wren) == {"IMG_1.jpg", "IMG_2.jpg"}
    copy = wren.put("June/works (1).csv", HOLDS)
    records = wren.run()
    assert given_out(wren) == {"IMG_2.jpg"}
    record = records["June/IMG_1.jpg"]
    assert (record.work.title, record.work.hold) == ("Blue Jug", True)  # its other words do not count
    assert any("row 2 of June/works (1).csv, which seems to be a copy" in line for line in record.work.unclear)
    (line,) = lists(wren, capsys)
    said = "June/works (1).csv seems to be a copy of a list, so nothing that it says counts but a hold, in row 2"
    assert line.startswith(said)
    assert line in outlook(wren.settings)
    page = (wren.settings.folders.records / "proof/index.html").read_text(encoding="utf-8")
    assert "works (1).csv" in page
    copy.write_text(HOLDS.replace("yes", "no"), encoding="utf-8")
    wren.run()
    assert (given_out(wren), lists(wren, capsys)) == ({"IMG_1.jpg", "IMG_2.jpg"}, [])
    copy.write_text(HOLDS, encoding="utf-8")
    wren.run()
    assert given_out(wren) == {"IMG_2.jpg"}
    copy.unlink()
    wren.run()
    assert given_out(wren) == {"IMG_1.jpg", "IMG_2.jpg"}


def test_a_copy_above_holds_photos_that_are_away_too(wren: Studio) -> None:
    wren.put("June/IMG_1.jpg", photo(1))
    wren.run()
    (wren.inbox / "June/IMG_1.jpg").unlink()
    wren.put("works2.csv", "photo,hold\nJune/IMG_1,yes\n")
    wren.run()
    assert not given_out(wren)


def test_an_empty_copy_says_nothing_and_a_damaged_one_may_hold(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("works copy.csv", "")
    wren.run()
    assert (given_out(wren), lists(wren, capsys)) == ({"IMG_1.jpg"}, [])
    wren.put("works copy.csv", "name,hold\nIMG_1,yes\n")
    wren.run()
    assert not given_out(wren)
    (line,) = lists(wren, capsys)
    assert "no column of it is called" in line
    assert "are held" in line
    assert line in outlook(wren.settings)
    wren.put("works copy.csv", "photo,title\nIMG_1,Tern\n")
    records = wren.run()
    assert (given_out(wren), records["IMG_1.jpg"].work.title) == ({"IMG_1.jpg"}, "")


@pytest.mark.parametrize("name", ["works.csv", "works (1).csv"])
def test_a_folder_in_a_lists_place_releases_nothing(
    wren: Studio, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put(name, HOLDS)
    wren.run()
    assert not given_out(wren)
    (wren.inbox / name).unlink()
    (wren.inbox / name).mkdir()
    wren.run()
    assert not given_out(wren)
    told = f"{name} can't be read now (it is a folder); the works in its folder and below are held until it can be"
    assert lists(wren, capsys) == [told]
    assert told in outlook(wren.settings)
    (wren.inbox / name).rmdir()
    wren.run()
    assert given_out(wren) == {"IMG_1.jpg"}


def test_a_copy_that_is_a_link_holds(tmp_path: Path) -> None:
    (tmp_path / "elsewhere.txt").write_text(HOLDS)
    os.symlink(tmp_path / "elsewhere.txt", tmp_path / "works2.csv")
    said, told = facts_of(tmp_path, "IMG_2.jpg")
    assert said.hold
    assert told == (
        "the list works2.csv can't be read now (it is a link, and links are not followed); the work is held until it "
        "can be",
    )
