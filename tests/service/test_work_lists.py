"""A list of works in the inbox: its rows reach the works whenever either comes, and each row its own work alone."""

import json
import os
from pathlib import Path

import pytest

from autoprep.cli.main import main
from autoprep.service.glance import Glance
from autoprep.service.inbox import is_ignored, scan
from autoprep.service.outlook import outlook
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

DESTINATIONS = '[site]\nlong_side_px = 500\n[print]\nlong_side_px = 900\nwhen = "asked"\n'
LIST = "photo;title;year;hold\nIMG_1;Blue Jug;2026;\nIMG_2.jpg;Tern;2025;\nIMG_3;Boat;;\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def three(wren: Studio, folder: str = "", first: int = 1) -> None:
    for number in range(first, first + 3):
        wren.put(f"{folder}IMG_{number}.jpg", photo(number))


def titles(wren: Studio) -> dict[str, str]:
    return {shown: record.work.title for shown, record in wren.records().items()}


def status(wren: Studio, capsys: pytest.CaptureFixture[str]) -> tuple[int, list[str]]:
    capsys.readouterr()
    code = main(["status", "--json", "--config", str(wren.config)])
    return code, json.loads(capsys.readouterr().out)["lists"]


def ahead(wren: Studio) -> list[str]:
    return list(outlook(wren.settings))


TITLES = {"IMG_1.jpg": "Blue Jug", "IMG_2.jpg": "Tern", "IMG_3.jpg": "Boat"}


@pytest.mark.parametrize("first", ["the list", "the photos"])
def test_a_list_reaches_its_works_before_and_after_them(wren: Studio, first: str) -> None:
    for step in (1, 2):
        if (step == 1) == (first == "the list"):
            wren.put("works.csv", LIST)
        else:
            three(wren)
        records = wren.run()
        assert "works.csv" not in records  # it is no photo, and has no record of its own
    assert titles(wren) == TITLES
    assert [records[name].work.year for name in TITLES] == ["2026", "2025", ""]
    assert all("Blue Jug" not in data.decode() for name, data in wren.files().items() if "IMG_1" not in name)
    assert "Blue Jug" in wren.files()["site/IMG_1.jpg"].decode()
    assert ahead(wren) == []
    wren.made()
    wren.run()
    assert wren.made() == []


def test_a_row_that_is_changed_makes_its_work_again_and_no_other(wren: Studio) -> None:
    wren.put("works.csv", LIST)
    three(wren)
    wren.run()
    before = wren.files()
    wren.made()
    wren.put("works.csv", LIST.replace("Tern", "Arctic Tern"))
    (step,) = ahead(wren)
    assert step.startswith("IMG_2.jpg: site made, because ")
    wren.run()
    assert wren.made() == [("AgainOrder", "IMG_2.jpg", ("site",))]
    changed = [name for name, data in wren.files().items() if before.get(name) != data]
    assert changed == ["site/IMG_2.jpg"]
    assert "Arctic Tern" in wren.files()["site/IMG_2.jpg"].decode()


def test_a_row_and_a_list_that_are_taken_out_say_nothing_any_more(wren: Studio) -> None:
    three(wren)
    wren.run()
    without = wren.files()
    wren.put("works.csv", LIST)
    wren.run()
    with_list = wren.files()
    wren.made()
    wren.put("works.csv", LIST.replace("IMG_3;Boat;;\n", ""))
    wren.run()
    assert wren.made() == [("AgainOrder", "IMG_3.jpg", ("site",))]
    assert wren.files() == {**with_list, "site/IMG_3.jpg": without["site/IMG_3.jpg"]}
    (wren.inbox / "works.csv").unlink()
    wren.run()
    assert wren.files() == without


def test_a_hold_and_where_a_work_goes_are_heard_in_a_row(wren: Studio) -> None:
    wren.put("works.csv", "photo,hold,for\nIMG_1,yes,\nIMG_2,,print\n")
    three(wren)
    wren.run()
    assert list(wren.files()) == ["print/IMG_2.jpg", "site/IMG_3.jpg"]
    wren.put("works.csv", "photo,hold,for\nIMG_1,,\nIMG_2,yes,print\nIMG_3,,nowhere\n")
    wren.run()
    assert list(wren.files()) == ["site/IMG_1.jpg"]  # sent to no place that there is: better given out nowhere
    assert wren.records()["IMG_3.jpg"].work.unclear[0].startswith("no destination is called nowhere")
    wren.put("works.csv", "photo,kind\nIMG_1,pencil\n")
    assert wren.run()["IMG_1.jpg"].kind == "pencil"
    assert list(wren.files()) == ["site/IMG_1.jpg", "site/IMG_2.jpg", "site/IMG_3.jpg"]


def test_a_row_says_that_a_photo_shows_a_work_as_a_note_does(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1, answer="nothing"))
    assert wren.run()["IMG_1.jpg"].outcome == "no work seen"
    wren.put("works.csv", LIST)
    assert wren.run()["IMG_1.jpg"].outcome == "ready"


def test_a_note_of_its_own_wins_over_the_list(wren: Studio) -> None:
    wren.put("works.csv", LIST)
    three(wren)
    wren.run()
    wren.made()
    wren.put("IMG_1.txt", "title: Green Jug")
    wren.run()
    assert wren.made() == [("AgainOrder", "IMG_1.jpg", ("site",))]
    work = wren.records()["IMG_1.jpg"].work
    assert (work.title, work.year) == ("Green Jug", "2026")
    (wren.inbox / "IMG_1.txt").unlink()
    assert wren.run()["IMG_1.jpg"].work.title == "Blue Jug"


def test_a_row_stays_with_a_photo_that_is_called_otherwise(wren: Studio) -> None:
    wren.put("works.csv", LIST.replace("2026;", "2026;yes"))
    three(wren)
    wren.run()
    (wren.inbox / "IMG_1.jpg").rename(wren.inbox / "Jug on a sill.jpg")
    (wren.inbox / "later").mkdir()
    (wren.inbox / "IMG_2.jpg").rename(wren.inbox / "later" / "IMG_2.jpg")
    wren.run()
    assert titles(wren) == {"Jug on a sill.jpg": "Blue Jug", "IMG_3.jpg": "Boat", "later/IMG_2.jpg": "Tern"}
    assert list(wren.files()) == ["site/IMG_2.jpg", "site/IMG_3.jpg"]
    assert ahead(wren) == [
        "works.csv: row 2 speaks of Jug on a sill.jpg, which was called IMG_1.jpg",
        "works.csv: row 3 speaks of later/IMG_2.jpg, which was called IMG_2.jpg",
    ]
    wren.put("works.csv", LIST.replace("IMG_1;Blue Jug", "jug on a sill;Green Jug"))
    assert wren.run()["Jug on a sill.jpg"].work.title == "Green Jug"
    assert "site/Jug on a sill.jpg" in wren.files()


def test_a_row_beside_another_photo_of_an_earlier_name_is_that_ones(wren: Studio) -> None:
    wren.put("works.csv", LIST)
    three(wren)
    wren.run()
    (wren.inbox / "IMG_1.jpg").rename(wren.inbox / "Jug.jpg")
    wren.run()
    wren.put("IMG_1.jpg", photo(9))
    wren.run()
    assert titles(wren) == {**TITLES, "Jug.jpg": "Jug"}


def test_two_folders_have_a_list_each(wren: Studio) -> None:
    three(wren, "journal/")
    three(wren, "harbour/", first=4)
    wren.put("journal/works.csv", LIST)
    wren.put("harbour/Works.CSV", "photo\ttitle\nIMG_4\tFerry\nIMG_5\tMole\nIMG_1\tBuoy\n".encode("utf-16"))
    wren.run()
    ours = {f"journal/{name}": title for name, title in TITLES.items()}
    theirs = {"harbour/IMG_4.jpg": "Ferry", "harbour/IMG_5.jpg": "Mole", "harbour/IMG_6.jpg": "harbour"}
    assert titles(wren) == ours | theirs
    assert ahead(wren) == ["harbour/Works.CSV names a photo that is not beside it: IMG_1 (row 4)"]
    wren.made()
    wren.put("harbour/Works.CSV", "photo\ttitle\nIMG_4\tOld ferry\nIMG_5\tMole\n")
    wren.run()
    assert wren.made() == [("AgainOrder", "harbour/IMG_4.jpg", ("site",))]


def test_a_work_in_a_photo_of_several_has_a_row_of_its_own(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1, answer="several"))
    wren.put("works.csv", "photo,title,price\nIMG_1,Cards,240\nIMG_1-2,Tern,90\n")
    wren.run()
    look = next(wren.settings.folders.needs_a_look.iterdir())
    for place in look.iterdir():
        if place.name.startswith(("choice-", "none-", "no-work")):
            place.unlink()
    wren.run()
    said = {name: (record.work.title, record.work.price) for name, record in wren.records().items() if record.part}
    assert said == {"IMG_1-1.jpg": ("Cards 1", ""), "IMG_1-2.jpg": ("Tern", "90")}
    assert ahead(wren) == []


def test_a_list_that_is_damaged_is_told_and_stops_nothing(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("works.csv", 'photo;title;gallery\nIMG_1;"Blue Jug;North\nIMG_2;Tern;North\nIMG_3;Boat;a;b\nIMG_9;Mole;\n')
    faults = [
        "works.csv has columns that are not understood, and not used: “gallery”",
        "works.csv has quotes that do not close where a cell ends, in row 2; look at these",
        "works.csv has more cells in row 4 than in its header; nothing of that was used",
    ]
    three(wren)
    lost = "works.csv names a photo that is not beside it: IMG_9 (row 5)"
    assert [line for line in ahead(wren) if line.startswith("works.csv")] == [*faults, lost]
    assert status(wren, capsys) == (0, [*faults, lost])
    wren.run()
    assert titles(wren) == {**TITLES, "IMG_3.jpg": ""}
    assert len(wren.files()) == 3
    assert ahead(wren) == [*faults, lost]
    assert status(wren, capsys) == (0, [*faults, lost])
    main(["status", "--config", str(wren.config)])
    assert f"List of works: {lost}\n" in capsys.readouterr().out
    wren.put("works.csv", "title\tgallery\nTern\tNorth\n")
    wren.run()
    assert len(wren.files()) == 3
    assert [line.partition(":")[0] for line in status(wren, capsys)[1]] == ["works.csv was not used"]


def test_what_a_list_holds_is_held_while_it_can_t_be_understood(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    """The heading of the photos' names may be renamed, or the list be saved as a spreadsheet under its name."""
    listed = LIST.replace("2025;", "2025;yes")
    three(wren)
    for text in (listed, listed.replace("photo", "name", 1), b"PK\x03\x04\x14\x00\x06\x00"):
        wren.put("works.csv", text)
        wren.run()
        assert not any("IMG_2" in name for name in wren.files())
    assert "works.csv was not used" in (told := status(wren, capsys)[1][0])
    assert "works of its folder and below are held until that is put right" in told
    wren.put("works.csv", listed)
    wren.run()
    assert sorted(wren.files()) == ["site/IMG_1.jpg", "site/IMG_3.jpg"]


def test_what_is_no_photo_is_none_that_a_row_names(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("works.csv", LIST + "works;Mole;;\n")
    wren.put("IMG_1.txt", "year: 2026")
    wren.put(".thumbnails/works.csv", LIST)
    wren.put("IMG_2.jpg", photo(2))
    (told,) = status(wren, capsys)[1]
    assert told == "works.csv names photos that are not beside it: IMG_1 (row 2), IMG_3 (row 4), works (row 5)"


def test_a_photo_that_was_deleted_or_renamed_is_no_mistake_of_its_row(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("trip/works.csv", LIST)
    three(wren, "trip/")
    wren.run()
    (wren.inbox / "trip" / "IMG_1.jpg").unlink()
    (wren.inbox / "trip" / "IMG_2.jpg").rename(wren.inbox / "trip" / "Tern.jpg")
    wren.run()
    assert status(wren, capsys) == (0, [])
    wren.put("works.csv", "photo,title\ntrip/IMG_3,Boat\nIMG_2,Tern\nother/IMG_3,Mole\n../IMG_1,Jug\n")
    lost = ["IMG_2 (row 3)", "other/IMG_3 (row 4)", "../IMG_1 (row 5)"]
    assert status(wren, capsys)[1] == [f"works.csv names photos that are not beside it: {', '.join(lost)}"]
    (wren.inbox / "works.csv").unlink()
    assert ahead(wren) == [
        "trip/works.csv: row 2 speaks of trip/IMG_1.jpg, which is not in the inbox now",
        "trip/works.csv: row 3 speaks of trip/Tern.jpg, which was called trip/IMG_2.jpg",
    ]


def test_rows_name_photos_below_the_folder_of_their_list_and_no_others(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("trip/works.csv", "photo,title\nlate/IMG_1,Jug\n../IMG_4,Tern\nlate/IMG_9,Mole\n/IMG_4,Boat\n")
    three(wren, "trip/late/")
    wren.put("IMG_4.jpg", photo(4))
    lost = ["../IMG_4 (row 3)", "late/IMG_9 (row 4)", "/IMG_4 (row 5)"]
    told = f"trip/works.csv names photos that are not beside it: {', '.join(lost)}"
    for _ in range(2):
        assert status(wren, capsys)[1] == [told]
        assert [line for line in ahead(wren) if "works.csv" in line] == [told]
        wren.run()
    assert titles(wren)["trip/late/IMG_1.jpg"] == "Jug"
    assert titles(wren)["IMG_4.jpg"] == ""


def test_a_row_holds_and_releases_a_photo_that_was_deleted(wren: Studio) -> None:
    wren.put("works.csv", LIST)
    three(wren)
    wren.run()
    (wren.inbox / "IMG_1.jpg").unlink()
    wren.run()
    assert "site/IMG_1.jpg" in wren.files()
    wren.put("works.csv", LIST.replace("2026;", "2026;yes"))
    wren.run()
    assert list(wren.files()) == ["site/IMG_2.jpg", "site/IMG_3.jpg"]
    wren.put("works.csv", LIST.replace("2026;", "2026;no"))
    wren.run()
    assert "site/IMG_1.jpg" in wren.files()


def test_a_list_that_can_not_be_read_holds_until_it_can(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("works.csv", LIST)
    three(wren)
    wren.put("other/IMG_4.jpg", photo(4))
    wren.run()
    (wren.inbox / "works.csv").rename(wren.settings.studio / "works.csv")
    (wren.inbox / "works.csv").symlink_to(wren.settings.studio / "works.csv")
    wren.run()
    assert not wren.files()  # one of its rows may hold a work in a folder below
    why = "it is a link, and links are not followed"
    told = f"works.csv can't be read now ({why}); the works in its folder and below are held until it can be"
    assert status(wren, capsys)[1] == [told]
    assert told in ahead(wren)
    (wren.inbox / "works.csv").unlink()
    wren.put("works.csv", LIST)
    wren.run()
    assert len(wren.files()) == 4


@pytest.mark.parametrize("name", ["works.csv", "Works.CSV"])
def test_a_list_is_passed_over_in_silence_and_looked_at_at_rest(tmp_path: Path, name: str) -> None:
    place = tmp_path / "inbox" / name
    place.parent.mkdir()
    place.write_text(LIST, encoding="utf-8")
    assert is_ignored(name)
    assert not is_ignored("prices.csv")
    notes: dict[str, tuple[tuple[str, int, int], ...]] = {}
    assert scan(tmp_path / "inbox", notes) == []
    assert [note[0] for note in notes["."]] == [name]
    now = 0.0
    glance = Glance(tmp_path / "words", 30.0, lambda: now)
    for now in (0.0, 4.0):
        glance.looked(tmp_path / "inbox", now, [], notes, {})
    assert glance.same()
    with place.open("a", encoding="utf-8") as file:  # written in its place, which changes no folder
        file.write("IMG_9;Mole;;\n")
    os.utime(place)
    assert not glance.same()


def test_a_list_that_lay_there_before_it_was_known_for_one_is_counted_no_more(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("works.csv", LIST)
    wren.put("prices.csv", "a,b")
    three(wren)
    with monkeypatch.context() as earlier:
        earlier.setattr("autoprep.service.inbox.is_work_list", lambda _name: False)
        wren.run()
    assert wren.run()["IMG_1.jpg"].work.title == "Blue Jug"
    capsys.readouterr()
    main(["status", "--json", "--config", str(wren.config)])
    assert json.loads(capsys.readouterr().out)["not_photos"] == 1
