"""The list of all works, put into the inbox as it was written: it says what is said, and can be changed."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from autoprep.cli.main import main
from autoprep.domain import WorkFacts
from autoprep.ledger import WorkRow
from autoprep.service.outlook import outlook
from autoprep.told import works
from autoprep.wishes import work_lists
from autoprep.wishes.lines import taken
from autoprep.wishes.notes import facts_of
from autoprep.wishes.sizes import as_said, size
from autoprep.wishes.tables import Settings
from autoprep.wishes.work_lists import FORMULA, OURS, read_list
from tests.service.pretend import Studio, photo

DESTINATIONS = '[site]\nlong_side_px = 500\n[print]\nlong_side_px = 900\nwhen = "asked"\n'
NOTES = {
    "IMG_1": "title: Blue Jug\nsize: 16 1/2 x 11 3/4 in\nkind: ink\nprice: 240 €\ninventory: WH-017",
    "IMG_2": "title: =Tern, and gull\nsize: A5\nyear: c. 1998\nalt: A tern, on a post",
    "June/IMG_3": "title: -Boat\nsize: 3 1/3 x 5 in\nmedium: ink and wash",
    "June/IMG_4": "title: Mole\nhold: yes",
    "June/late/IMG_5": "title: @ low tide\nsize: letter landscape\nfor: print",
}


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    for number, (name, note) in enumerate(NOTES.items(), 1):
        wren.put(f"{name}.jpg", photo(number))
        wren.put(f"{name}.txt", note)
    wren.put("Thrift, 2026, ink, 14 x 21 cm.jpg", photo(6))
    wren.put("Samphire.jpg", photo(7, answer="ask"))
    wren.run()
    return wren


def written(wren: Studio, capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["works", "--csv", "--config", str(wren.config)]) == 0
    return capsys.readouterr().out


def test_a_list_that_is_put_back_changes_nothing(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    before = wren.files()
    said = {shown: record.work for shown, record in wren.records().items()}
    asked = wren.records()["Samphire.jpg"].finished_at
    wren.made()
    wren.put("works.csv", written(wren, capsys))
    assert not [line for line in outlook(wren.settings) if line.startswith("works.csv")]
    wren.run()
    assert wren.made() == []
    assert wren.files() == before
    records = wren.records()
    assert {shown: record.work.model_copy(update={"noted": work.noted})
            for (shown, record), work in zip(records.items(), said.values(), strict=True)} == said  # fmt: skip
    assert records["Samphire.jpg"].finished_at == asked  # what is asked is not answered by it
    assert main(["status", "--config", str(wren.config)]) == 1
    assert "List of works" not in capsys.readouterr().out


def test_of_a_list_that_is_put_back_no_change_is_told(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """Also where the words of a name, or of another take, stand in it; the record keeps that all the same."""
    wren.put("IMG_8.jpg", photo(8))
    wren.put("IMG_8.txt", "title: Sea holly")
    wren.put("IMG_9.jpg", photo(8, sharp=9))
    wren.run()
    wren.put("works.csv", written(wren, capsys))
    main(["once", "--config", str(wren.config)])
    assert capsys.readouterr().out.startswith("Done: nothing was waiting.")
    records = wren.records()
    assert records["Thrift, 2026, ink, 14 x 21 cm.jpg"].work.noted
    assert (records["IMG_9.jpg"].work.title, records["IMG_9.jpg"].work.shared) == ("Sea holly", ())
    wren.put("works.csv", written(wren, capsys).replace("240 €", "260 €"))
    (wren.inbox / "IMG_1.txt").unlink()
    main(["once", "--config", str(wren.config)])
    assert capsys.readouterr().out.startswith("Done: 1 with other words or another name.")  # no file has the price


def test_it_speaks_alone_where_no_note_does(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """And whatever stands in it is read as it was said."""
    said = {shown: record.work for shown, record in wren.records().items()}
    wren.put("works.csv", written(wren, capsys))
    for name in NOTES:
        (wren.inbox / f"{name}.txt").unlink()
    wren.run()
    for shown, record in wren.records().items():
        for field in ("title", "year", "medium", "size_mm", "size_free", "unit", "inventory", "price", "alt_text",
                      "kind", "hold"):  # fmt: skip
            assert getattr(record.work, field) == getattr(said[shown], field), (shown, field)


def test_a_cell_that_is_changed_there_changes_its_work(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    name = "June/IMG_3"
    (wren.inbox / f"{name}.txt").unlink()
    wren.put("works.csv", written(wren, capsys).replace("'-Boat", "Ferry"))
    wren.run()
    assert wren.records()[f"{name}.jpg"].work.title == "Ferry"
    wren.made()
    wren.put("works.csv", written(wren, capsys).replace("Ferry", "Boat at the weir"))
    wren.run()
    assert wren.made() == [("AgainOrder", f"{name}.jpg", ("site",))]
    assert wren.records()[f"{name}.jpg"].work.title == "Boat at the weir"


@pytest.mark.parametrize("name", ["Jug.jpg", "harbour/IMG_1.jpg"])
def test_a_row_mutes_no_note_that_was_left_under_an_earlier_name(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Blue Jug\nalso for: print\nkeywords: sea\nturn: left")
    wren.run()
    (wren.inbox / name).parent.mkdir(exist_ok=True)
    (wren.inbox / "IMG_1.jpg").rename(wren.inbox / name)
    before = wren.run()[name].work
    files = wren.files()
    assert [file.partition("/")[0] for file in files] == ["print", "site"]
    wren.made()
    wren.put("works.csv", written(wren, capsys))
    assert wren.run()[name].work == before
    assert (wren.made(), wren.files()) == ([], files)
    assert list(outlook(wren.settings)) == [f"IMG_1.txt: speaks of {name}, which was called IMG_1.jpg"]
    wren.put("IMG_1.txt", "hold: yes")  # heard as ever
    wren.run()
    assert wren.files() == {}


NAMED = (
    "-1", "@low", "=x", "+jug", "Blue  Jug, ink", "Tern, Mole; ink", "Sea: a study", "June  1/IMG_7 ", " Lead",
    'A, "Jug"', "It's 5", "'Twas", "hold/IMG_50", "Blue Jug, ink",
)  # fmt: skip


@pytest.fixture
def named(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    for number, name in enumerate(NAMED, 1):
        wren.put(f"{name}.jpg", photo(number))
    wren.run()
    return wren


def all_held(text: str) -> str:
    out, rows = io.StringIO(), list(csv.DictReader(io.StringIO(text)))
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows({**row, "held": "yes"} for row in rows)
    return out.getvalue()


@pytest.mark.parametrize("gone", [False, True])
def test_photos_are_known_by_any_name_as_the_list_writes_it(
    named: Studio, capsys: pytest.CaptureFixture[str], gone: bool
) -> None:
    text = written(named, capsys)
    named.put("works.csv", text)
    named.made()
    assert [line for line in outlook(named.settings) if line.startswith("works.csv")] == []
    named.run()
    assert named.made() == []
    for name in NAMED if gone else ():
        (named.inbox / f"{name}.jpg").unlink()
    named.run()
    assert len(named.files()) == len(NAMED) - 1
    named.put("works.csv", all_held(text))
    named.run()
    assert list(named.files()) == []
    assert main(["status", "--config", str(named.config)]) in (0, 1)
    assert "List of works" not in capsys.readouterr().out


def test_a_row_of_a_name_with_other_blanks_is_of_that_photo_alone(tmp_path: Path) -> None:
    for name in ("Blue  Jug", "Blue Jug"):
        (tmp_path / f"{name}.jpg").touch()
    (tmp_path / "works.csv").write_text("photo,price\nBlue Jug,1\nBlue  Jug,2\n", encoding="utf-8")
    assert [facts_of(tmp_path, f"{name}.jpg")[0].price for name in ("Blue Jug", "Blue  Jug")] == ["1", "2"]


def test_a_hold_in_the_list_holds_until_it_is_taken_out_there(
    studio: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    wren = Studio(studio, monkeypatch)
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "hold: yes")
    wren.put("hold/IMG_2.jpg", photo(2))
    wren.run()
    text = written(wren, capsys)
    wren.put("works.csv", text)
    assert all(record.work.unclear == () for record in wren.run().values())
    (wren.inbox / "hold" / "IMG_2.jpg").rename(wren.inbox / "IMG_2.jpg")
    wren.put("IMG_1.txt", "hold: no")
    told = {shown: record.work.unclear for shown, record in wren.run().items()}
    assert wren.files() == {}
    moved = (
        "row 3 of works.csv says that hold/IMG_2.jpg, as the photo was called before, is held; to end that, write “no” "
        "there"
    )
    assert told["IMG_2.jpg"] == (moved,)
    (disagrees,) = told["IMG_1.jpg"]
    assert disagrees == "the note IMG_1.txt, row 2 of works.csv do not agree on a hold; it is held"
    main(["show", "IMG_2.jpg", "--config", str(wren.config)])
    assert "row 3 of works.csv says that hold/IMG_2.jpg" in capsys.readouterr().out
    (wren.inbox / "IMG_2.jpg").rename(wren.inbox / "IMG_2 hold.jpg")
    assert moved not in wren.run()["IMG_2 hold.jpg"].work.unclear
    (wren.inbox / "IMG_2 hold.jpg").rename(wren.inbox / "IMG_2.jpg")
    wren.run()
    assert main(["say", "IMG_1.jpg", "hold: no", "--config", str(wren.config)]) in (0, 1)
    wren.run()
    assert list(wren.files()) == ["site/IMG_1.jpg"]
    wren.put("works.csv", text.replace(",held,", ",no,"))
    records = wren.run()
    assert list(wren.files()) == ["site/IMG_1.jpg", "site/IMG_2.jpg"]
    assert records["IMG_2.jpg"].work.unclear == ()


def test_a_list_that_is_not_read_whole_says_so_as_it_is_written(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    text = written(wren, capsys)
    assert main(["works", "--csv", "--config", str(wren.config)]) == 0
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(work_lists, "LARGEST_LIST", 600)
    assert main(["works", "--csv", "--config", str(wren.config)]) == 0
    out, told = capsys.readouterr()
    wren.put("works.csv", text)
    read = read_list(wren.inbox / "works.csv")
    assert out == text
    assert 0 < len(read.rows) < len(NOTES) + 2
    assert told.startswith(f"This list has {len(NOTES) + 2} rows")
    assert f"only its first {len(read.rows)} rows are heard, and all works without a “no” to a hold are held" in told


def test_a_list_of_many_works_is_longer_than_what_is_read() -> None:
    facts = WorkFacts(title="Sea holly", alt_text="Brine holly on the north shore, with its bracts " * 8)
    base = WorkRow(7, "00007-a", "00009-b", "IMG_1.jpg", "2026-11-20", "ink", facts, 1, ())
    rows = [replace(base, number=number, shown=f"June/IMG_{number}.jpg") for number in range(12_000)]
    assert "has 12000 rows and is longer than the 4 MiB" in works.too_long(works.as_csv(rows, {}), len(rows))
    assert works.too_long(works.as_csv(rows[:6_000], {}), 6_000) == ""
    assert works.too_long(works.as_csv([], {}), 0) == ""


def test_what_the_note_of_a_question_says_is_in_the_list() -> None:
    row = WorkRow(7, "00007-a", "00009-b", "IMG_1.jpg", "2026-11-20", "ink", WorkFacts(), 0, (), asks=True)
    cells = [
        next(csv.DictReader(io.StringIO(works.as_csv([replace(row, said=said)], {}))))["title"]
        for said in (WorkFacts(title="Samphire", noted=True), WorkFacts(title="Samphire"))
    ]
    assert cells == ["Samphire", ""]  # that a photo shows a work is said by a note alone, and by no name


def test_columns_beside_ours_are_read_as_in_any_list(tmp_path: Path) -> None:
    place = tmp_path / "works.csv"
    head = "number,title,kind,photo,held,went to,nowhere because,keywords,gallery"
    place.write_text(f"{head}\n17,Jug,ink,IMG_1,held,site: Jug.jpg,on hold,sea,North\n", encoding="utf-8")
    found = read_list(place)
    assert [row.text for row in found.rows] == ["title: Jug\nhold: yes\nkeywords: sea"]
    assert found.faults == ("has columns that are not understood, and not used: “gallery”",)
    place.write_text("photo,number,kind,held\nIMG_1,WH-017,ink,yes\n", encoding="utf-8")  # one of the artist's own
    assert [row.text for row in read_list(place).rows] == ["number: WH-017\nkind: ink\nhold: yes"]


_TELLING = ("work number", "kind seen", "takes", "public since", "went to", "nowhere because")


@pytest.mark.parametrize("left", ["", *_TELLING, "Went_To", "KIND SEEN"])
def test_columns_that_only_tell_may_be_taken_out(wren: Studio, capsys: pytest.CaptureFixture[str], left: str) -> None:
    said = {shown: record.work.model_copy(update={"noted": True}) for shown, record in wren.records().items()}
    rows = list(csv.reader(io.StringIO(written(wren, capsys))))
    kept = [k for k, name in enumerate(rows[0]) if name not in _TELLING or name == left.lower().replace("_", " ")]
    rows[0] = [left if name == left.lower().replace("_", " ") else name.title() for name in rows[0]]
    wren.made()
    wren.put("works.csv", "\n".join(";".join(f'"{row[k]}"' for k in kept) for row in rows))
    told = [line for line in outlook(wren.settings) if line.startswith("works.csv")]
    assert [line for line in told if "not understood, and not used" not in line] == []
    wren.run()
    assert wren.made() == []
    works_now = {shown: record.work.model_copy(update={"noted": True}) for shown, record in wren.records().items()}
    assert works_now == said


@pytest.mark.parametrize("left", ["went to", "nowhere because", "Kind Said", "public_since"])
def test_a_list_of_before_is_known_by_any_of_its_own_columns(tmp_path: Path, left: str) -> None:
    """It called what only tells by words that a note gives the artist's own numbers and kinds by."""
    place = tmp_path / "works.csv"
    place.write_text(f"Number,title,Kind,photo,Held,{left}\n17,Jug,ink,IMG_1,held,\n", encoding="utf-8")
    assert [row.text for row in read_list(place).rows] == ["title: Jug\nhold: yes"]
    place.write_text(f"work number,number,photo,{left}\n17,WH-017,IMG_1,\n", encoding="utf-8")
    assert [row.text for row in read_list(place).rows] == ["number: WH-017"]  # beside ours it is the artist's


def test_what_our_columns_say_is_known() -> None:
    assert [key for key in OURS.values() if key and taken(key) != key] == []
    row = WorkRow(7, "00007-a", "00009-b", "IMG_1.jpg", "2026-11-20", "ink", WorkFacts(title="Jug"), 3, ())
    assert next(csv.reader(io.StringIO(works.as_csv([row], {})))) == list(OURS)


WORDS = (
    "“Tern”", '"Tern"', "'Tern'", "'-Boat", "'=Boat", "''+Boat", "'Twas", "“'-Jug'”", "„Möwe“, and “gull”",
    "‘A’ and ‘B’", '“A "jug"”', "-", "'", "''", "- Boat", "* Boat", "1. Boat", "a; b, c", "title: Boat", 'Jug, 12"',
)  # fmt: skip


@pytest.mark.parametrize("column", ["title", "medium", "alternative text"])
@pytest.mark.parametrize("words", WORDS)
def test_quotes_and_signs_around_a_text_survive(tmp_path: Path, words: str, column: str) -> None:
    field = {"alternative text": "alt_text"}.get(column, column)
    row = WorkRow(
        7, "00007-a", "00009-b", "'-IMG_1.jpg", "2026-11-20", "ink", WorkFacts.model_validate({field: words}), 1, ()
    )
    (tmp_path / "works.csv").write_text(works.as_csv([row], {}), encoding="utf-8")
    said, told = facts_of(tmp_path, "'-IMG_1.jpg")
    assert (getattr(said, field), told) == (words, ())
    cells = next(csv.DictReader(io.StringIO(works.as_csv([row], {}))))
    assert cells[column][:1] not in FORMULA


@pytest.mark.parametrize("text", [
    "30 x 40 cm", "12,5 x 17,5", "16 1/2 x 11 3/4 in", "3 1/3 x 2/3 in", "A5", "B4", "letter", "A5 landscape",
    "legal portrait", "297 x 210 mm", "1.2 x 0.8 m", "7 x 3.14159265 in",
])  # fmt: skip
def test_a_size_is_written_as_it_is_read(text: str) -> None:
    said = size(text)
    assert size(as_said(said["size_mm"], said["unit"], free=said["size_free"])) == said


@pytest.mark.parametrize("code", ["cp1252", "ascii"])
def test_a_list_is_written_in_utf_8_whatever_this_machine_writes_on_a_terminal(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, code: str
) -> None:
    wren.put("IMG_1.txt", "title: “Möwe” чайка")
    wren.run()
    before, at = wren.files(), ["--config", str(wren.config)]
    written = {}
    for form in ("--csv", "--json"):
        shell = io.BytesIO()
        monkeypatch.setattr("sys.stdout", io.TextIOWrapper(shell, encoding=code, newline="\n"))
        assert main(["works", form, *at]) == 0
        written[form] = shell.getvalue()
    assert json.loads(written["--json"])[0]["title"] == "“Möwe” чайка"
    wren.put("works.csv", written["--csv"])
    wren.made()
    assert wren.run()["IMG_1.jpg"].work.title == "“Möwe” чайка"
    (wren.inbox / "IMG_1.txt").unlink()
    wren.run()
    assert wren.files()["site/IMG_1.jpg"] == before["site/IMG_1.jpg"]
