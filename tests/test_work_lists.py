"""One list for many works: each row says what a note beside its photo would say, however the table was written."""

import csv
import io
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autoprep.domain import WorkFacts
from autoprep.told.work_lists import told_of
from autoprep.wishes import work_lists
from autoprep.wishes.note_files import said_in, text_of
from autoprep.wishes.notes import facts_of
from autoprep.wishes.photo_notes import has_note, without_photo
from autoprep.wishes.work_lists import Row, read_list

HEADER = ("photo", "title", "medium", "size", "year", "price")
JUG = ("IMG_1", "Blue Jug, late", "watercolour; ink", "30 x 40 cm", "2026", "240 €")
MOEWE = ("IMG_2.jpg", "Möwe", "ink", "12,5 x 17,5 cm", "2025", "on request")


def table(separator: str, end: str, quoting: int = csv.QUOTE_MINIMAL) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]  # the stub wants the constant itself
    writer.writerows([HEADER, JUG, MOEWE])
    return text.getvalue()


def put(inbox: Path, text: str | bytes, name: str = "works.csv") -> Path:
    place = inbox / name
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(text if isinstance(text, bytes) else text.encode())
    return place


def facts(inbox: Path, shown: str) -> WorkFacts:
    found, told = facts_of(inbox, shown)
    assert told == ()
    return found


def by_note(folder: Path, lines: str) -> WorkFacts:
    put(folder, lines, "IMG_1.txt")
    return facts_of(folder, "IMG_1.jpg")[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_list_is_read_however_it_was_written(tmp_path: Path, separator: str, end: str, encoding: str) -> None:
    for quoting in (csv.QUOTE_MINIMAL, csv.QUOTE_ALL):
        place = put(tmp_path, table(separator, end, quoting).encode(encoding))
        assert read_list(place).faults == ()
        jug, moewe = facts(tmp_path, "IMG_1.jpg"), facts(tmp_path, "img_2.JPG")
        assert (jug.title, jug.medium, jug.size_mm, jug.year) == (JUG[1], JUG[2], (400, 300), "2026")
        assert (jug.price, moewe.title, moewe.size_mm) == ("240 €", "Möwe", (175, 125))
        place.unlink()


@pytest.mark.parametrize(
    ("photo", "named"),
    [
        ("IMG_1.jpg", "IMG_1"), ("IMG_1.jpg", "IMG_1.jpg"), ("IMG_1.JPG", "img_1.jpg"), ("IMG_1.jpg", " IMG_1 "),
        ("Möwe.heic", "MO\N{COMBINING DIAERESIS}WE"), ("Blue Jug, 30.5 x 40 cm.jpg", "Blue Jug, 30.5 x 40 cm"),
        ("Blue Jug.jpg", "Blue  Jug"),
    ],
)  # fmt: skip
def test_a_row_names_its_photo_with_or_without_its_ending(tmp_path: Path, photo: str, named: str) -> None:
    put(tmp_path, f'photo,price\n"{named}",240\n')
    assert facts_of(tmp_path, photo)[0].price == "240"
    assert facts_of(tmp_path, f"other {photo}")[0].price == ""
    assert facts_of(tmp_path, f"below/{photo}")[0].price == ""  # a list speaks of its own folder
    assert has_note(tmp_path, photo, corners=False)


@pytest.mark.parametrize("row", ["June/IMG_1", "june/img_1.JPG"])
def test_a_row_names_a_photo_in_a_folder_below(tmp_path: Path, row: str) -> None:
    put(tmp_path, f"photo,title,year\n{row},Blue Jug,2026\n")
    assert facts(tmp_path, "June/IMG_1.jpg").title == "Blue Jug"
    assert {facts(tmp_path, name).year for name in ("IMG_1.jpg", "June/late/IMG_1.jpg", "IMG_1/June.jpg")} == {""}
    put(tmp_path, "photo,title\nIMG_1,Green Jug\n", "June/works.csv")
    found, told = facts_of(tmp_path, "June/IMG_1.jpg")
    assert (found.title, found.year) == ("Green Jug", "2026")  # the nearest list goes before the others
    assert [line.endswith("do not agree on the title; the first holds") for line in told] == [True]


@pytest.mark.parametrize("name", ["works.csv", "Works.CSV", "WORKS.csv"])
def test_a_list_is_found_in_any_capitals_and_is_no_photos_note(tmp_path: Path, name: str) -> None:
    put(tmp_path, "photo,price\nIMG_1,240\n", f"Saltmere/{name}")
    assert facts(tmp_path, "Saltmere/IMG_1.jpg").price == "240"
    assert without_photo([name], []) == []


@pytest.mark.parametrize("heading", ["photo", "Photo:", "File name", "file_name", "PICTURE"])
def test_the_column_of_the_photos_has_a_plain_name(tmp_path: Path, heading: str) -> None:
    place = put(tmp_path, f"Works from Saltmere\n\nprice;{heading}\n240;IMG_1\n")
    assert facts(tmp_path, "IMG_1.jpg").price == "240"
    assert read_list(place).rows == (Row(4, "IMG_1", "price: 240"),)


_CELLS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12) | st.sampled_from(
    ["hold", "yes", "30 x 40 cm", "2026", "do not publish", 'a "quoted" jug', "a, b; c\td", "two\nlines", "\nhold: yes"]
)
_KEYS = ("title", "year", "medium", "size", "hold", "description", "keywords", "for", "price", "kind", "paper")


@given(
    st.lists(st.tuples(*(_CELLS for _ in _KEYS)), min_size=1, max_size=4),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_whatever_stands_in_a_row_is_what_a_note_of_its_lines_says(
    rows: list[tuple[str, ...]], separator: str, end: str
) -> None:
    """However it was quoted: no cell gets into another one, or into another work's row."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=end, quoting=csv.QUOTE_ALL)
    writer.writerow(("photo", *_KEYS))
    writer.writerows((f"IMG_{number}", *row) for number, row in enumerate(rows))
    found = work_lists._understood(text.getvalue())
    assert found.faults == ()
    assert [row.photo for row in found.rows] == [f"IMG_{number}" for number in range(len(rows))]
    for row, cells in zip(found.rows, rows, strict=True):
        seen = [cell.strip() if any(ch.isprintable() and not ch.isspace() for ch in cell) else "" for cell in cells]
        note = "\n".join(f"{key}: {cell}" for key, cell in zip(_KEYS, seen, strict=True) if cell)
        assert said_in(row.text, Path("a.txt"), []) == said_in(note, Path("a.txt"), [])


@given(st.text() | st.text('",;\n\rab\t'), st.binary(max_size=200))
def test_nothing_that_lies_there_is_an_error(text: str, data: bytes) -> None:
    for each in (text, data.decode("cp1252", "replace")):
        work_lists._understood(each)
    for before in (text, f"IMG_1,{text}", f"IMG_1,Jug\n{text}"):
        rows = work_lists._understood(f"photo,title\n{before}\nIMG_2,Tern").rows
        assert [row.text for row in rows if row.photo == "IMG_2"][-1:] == ["title: Tern"]


def test_an_empty_cell_says_nothing(tmp_path: Path) -> None:
    place = put(tmp_path, "photo,title,hold,year,price\nIMG_1,,,2026\nIMG_2, ,\u200b,\u00a0,\nIMG_3\n")
    assert facts(tmp_path, "Blue Jug/IMG_1.jpg") == facts(tmp_path, "Blue Jug/IMG_9.jpg")
    jug = facts(tmp_path, "IMG_1.jpg")
    assert (jug.title, jug.year, jug.hold, jug.released, jug.noted) == ("", "2026", False, False, True)
    assert not facts(tmp_path, "IMG_2.jpg").noted
    assert not has_note(tmp_path, "IMG_3.jpg", corners=False)
    assert read_list(place).faults == ()


@pytest.mark.parametrize(
    ("cells", "lines"),
    [
        ("hold;yes", "hold: yes"), ("hold;no", "hold: no"), ("hold;x", "hold: x"), ("kind;ink", "kind: ink"),
        ("for;site, print", "for: site, print"), ("also for;print", "also for: print"), ("turn;left", "turn: left"),
        ("corners;120,80 1900,95 1880,2500 130,2480", "corners: 120,80 1900,95 1880,2500 130,2480"),
        ("keywords;jug, window", "keywords: jug, window"), ("paper;toned", "paper: toned"),
        ("not a work;yes", "not a work: yes"),
        ("Titel;Jug", "titel: Jug"), ("Technique;ink", "medium: ink"), ("Inventory_Number;WH-017", "inventory: WH-017"),
        ('description;"A jug.\nprivate: Ida asks\nOn a sill."', "description: A jug.\nprivate: Ida asks\nOn a sill."),
        ('description;"A jug,\non a sill."', "description: A jug,\non a sill."), ("lighter;0,3", "lighter: 0.3"),
    ],
)  # fmt: skip
def test_each_column_says_what_its_key_says_in_a_note(tmp_path: Path, cells: str, lines: str) -> None:
    key, _, value = cells.partition(";")
    put(tmp_path, f"photo;{key}\nIMG_1;{value}\n", "list/works.csv")
    said = facts_of(tmp_path / "list", "IMG_1.jpg")[0]
    assert said == by_note(tmp_path / "note", lines)
    assert said != WorkFacts()


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("photo,title,gallery,sizes (cm)\nIMG_1,Jug,North,30", "not understood, and not used: “gallery”, “sizes (cm)”"),
        (f"photo,title,{'long ' * 99}\nIMG_1,Jug", f"and not used: “{'long ' * 11}long…”"),
        ("photo,titel\nIMG_1,Jug", "“titel” was read as “title”"),
        ("photo,title,\nIMG_1,Jug,blue", "words in a column without a heading"),
        ("photo,title\nIMG_1,Jug\n,Tern\n,\n", "names no photo in row 3"),
        ("photo,title\nIMG_1,Jug\nIMG_2,Tern, late\n", "more cells in row 3 than in its header; nothing of"),
        ('photo,title\nIMG_2,"Tern\nIMG_1,Jug', "quotes that do not close where a cell ends, in row 2;"),
        ('photo,title\nIMG_2,"Tern" "late"\nIMG_1,Jug', "quotes that do not close where a cell ends, in row 2;"),
        ("photo,file,title\nIMG_1,IMG_2,Jug", "not understood, and not used: “file”"),
        ("file,photo,title\nIMG_1,IMG_2,Jug", "not understood, and not used: “photo”"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_list_is_told_once_and_stops_nothing(tmp_path: Path, text: str, fault: str) -> None:
    (told,) = read_list(put(tmp_path, text)).faults
    assert fault in told
    assert facts(tmp_path, "IMG_1.jpg").title == "Jug"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("title,year\nJug,2026", "no column of it is called “photo”"),
        ("\n" * 10 + "photo,title\nIMG_1,Jug\n", "no column of it is called “photo”"),
    ],
)  # fmt: skip
def test_a_list_that_is_none_is_told(tmp_path: Path, text: str | bytes, fault: str) -> None:
    found = read_list(put(tmp_path, text))
    assert (found.rows, len(found.faults)) == ((), 1)
    assert fault in found.faults[0]
    assert facts(tmp_path, "IMG_1.jpg") == WorkFacts()


@pytest.mark.parametrize(
    "text",
    [
        "name,title,hold\nIMG_1,Jug,yes\n", "IMG_1;Jug;hold\n", "Name\tHeld\nIMG_1\tyes\n",
        "bird,how\nJug,please hold\n",
        b"\x89PNG\r\n\x1a\n\x00\x01\xff\xfe", b"PK\x03\x04\x14\x00\x06\x00\x08\x00",
        b"photo,title,hold\n" + b"\x00\xff\xfe\x01" * 50,
    ],
)  # fmt: skip
def test_a_list_that_may_ask_for_a_hold_of_nobody_knows_which_photos_holds(tmp_path: Path, text: str | bytes) -> None:
    """A heading that was renamed, or a list saved otherwise, would give out what it holds."""
    place = put(tmp_path, text)
    held, told = facts_of(tmp_path, "IMG_1.jpg")
    assert (held.hold, held.title, len(told)) == (True, "", 1)
    assert read_list(place).unread == read_list(place).faults[0]
    (tmp_path / "IMG_1.txt").write_text("hold: no", encoding="utf-8")
    assert facts_of(tmp_path, "IMG_1.jpg")[0].hold


def test_a_list_that_names_photos_alone_names_them(tmp_path: Path) -> None:
    """Its other columns are told by their names."""
    found = read_list(put(tmp_path, "photo,gallery\nIMG_1,North\n"))
    assert len(found.rows) == 1
    assert not any("no column" in fault for fault in found.faults)
    assert "gallery" in found.faults[0]


@pytest.mark.parametrize("text", ["", " \n\n"])
def test_an_empty_list_may_be_on_its_way_and_holds(tmp_path: Path, text: str) -> None:
    place = put(tmp_path, text)
    assert facts_of(tmp_path, "IMG_1.jpg")[0].hold
    assert (read_list(place).faults, read_list(place).unread) == (("is empty",), "is empty")
    put(tmp_path, "photo,title\n")
    assert facts(tmp_path, "IMG_1.jpg") == WorkFacts()


def test_a_row_whose_quotes_are_open_swallows_no_other(tmp_path: Path) -> None:
    """Each would be a part of its title, and a hold among them would be lost."""
    place = put(tmp_path, 'photo,title,hold\nIMG_1,"Jug,yes\nIMG_2,"Tern",yes\nIMG_3,"Boat\nIMG_4,Gull,yes\n')
    assert [(row.photo, row.text) for row in read_list(place).rows] == [
        ("IMG_1", "title: Jug\nhold: yes"), ("IMG_2", "title: Tern\nhold: yes"), ("IMG_3", "title: Boat"),
        ("IMG_4", "title: Gull\nhold: yes"),
    ]  # fmt: skip
    assert "in rows 2, 4;" in read_list(place).faults[0]


def test_a_file_that_is_damaged_throughout_is_given_up(tmp_path: Path) -> None:
    place = put(tmp_path, "photo,title\n" + 'IMG_1,"Jug\n' * 500 + "IMG_2,Tern\n")
    assert "is so damaged that what stands behind these was not read" in read_list(place).faults
    assert "rows 2, 3, 4, 5, 6, 7 and 94 more" in read_list(place).faults[0]


def test_a_row_that_does_not_fit_its_header_holds_where_it_may_say_so(tmp_path: Path) -> None:
    place = put(tmp_path, "photo,title,hold\nIMG_1,Jug, late,yes\nIMG_2,Tern,\n")
    held, told = facts_of(tmp_path, "IMG_1.jpg")
    assert (held.hold, held.title, len(told)) == (True, "", 1)
    assert not facts(tmp_path, "IMG_2.jpg").hold
    assert read_list(place).faults[0].endswith(", and these works are held until it is put right")


@pytest.mark.parametrize("row", ["gallery;do not publish", "on hold;until May", "on hold;no", ";on hold"])
def test_what_asks_for_a_hold_in_a_column_that_is_not_known_holds(tmp_path: Path, row: str) -> None:
    heading, cell = row.split(";")
    put(tmp_path, f"photo;title;{heading}\nIMG_1;Jug;{cell}\nIMG_2;Tern;\n")
    held, told = facts_of(tmp_path, "IMG_1.jpg")
    assert (held.hold, held.title, len(told)) == (True, "Jug", 1)
    assert not facts(tmp_path, "IMG_2.jpg").hold


def test_a_long_list_is_read_as_far_as_it_may_be(tmp_path: Path) -> None:
    row = "IMG_%06d,Jug\n"
    place = put(tmp_path, "photo,title\n" + "".join(row % number for number in range(300_000)))
    found = read_list(place)
    assert "is longer than 4 MiB" in found.faults[0]
    assert len(found.rows) == (4 * 1024 * 1024 - len("photo,title\n")) // len(row % 0)
    assert {row.text for row in found.rows} == {"title: Jug"}


def test_the_rows_of_thousands_of_works_are_all_read(tmp_path: Path) -> None:
    rows = "".join(f'IMG_{number:05d},"Sea holly, north shore",yes\n' for number in range(20_000))
    place = put(tmp_path, "photo,title,hold\n" + rows)
    assert place.stat().st_size > 600_000
    assert read_list(place).faults == ()
    assert facts(tmp_path, "IMG_19999.jpg").hold


@pytest.mark.parametrize("rows", ["IMG_9,Jug,\n" * 60, 'IMG_9,"Jug,\n' * 101])
def test_what_was_not_read_of_a_list_may_ask_for_a_hold(
    tmp_path: Path, rows: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(work_lists, "LARGEST_LIST", 600 if '"' not in rows else 10_000)
    beginning = "photo,title,hold\nIMG_1,Tern,\nIMG_2,Gull,no\nIMG_4,Boat,yes\n"
    place = put(tmp_path, f"{beginning}{rows}IMG_3,Jug,yes\n")
    for name, title in (("IMG_1.jpg", "Tern"), ("IMG_3.jpg", "")):
        said, told = facts_of(tmp_path, name)
        assert (said.hold, said.title, len(told)) == (True, title, 1)
        assert told[0].startswith("the list works.csv is ")
        assert "the work is held until that is put right, or its row says no to it" in told[0]
    assert not facts(tmp_path, "IMG_2.jpg").hold
    assert facts(tmp_path, "IMG_4.jpg").hold
    assert any("works of its folder and below are held" in line for line in told_of(place, "works.csv", lambda _: True))
    place.write_text(f"{beginning}IMG_3,Jug,\n", encoding="utf-8")
    assert not facts(tmp_path, "IMG_3.jpg").hold


def test_a_note_wins_over_the_list_and_the_list_over_all_else(tmp_path: Path) -> None:
    shown = "as ink/Jug, 2024.jpg"
    put(tmp_path, "year: 2023\nprice: 1\nmedium: oil", "as ink/note.txt")
    put(tmp_path, 'photo,year,kind,price\n"Jug, 2024",2025,painting,2\n', "as ink/works.csv")
    said, told = facts_of(tmp_path, shown)
    assert (said.year, said.kind, said.price, said.medium) == ("2025", "painting", "2", "oil")
    assert told == (
        "the photo's folder and its list do not agree on the kind; the list holds",
        "the photo's name and its list do not agree on the year; the list holds",
    )
    put(tmp_path, "price: 3\n", "as ink/Jug, 2024.txt")
    said, told = facts_of(tmp_path, shown)
    assert (said.year, said.kind, said.price) == ("2025", "painting", "3")
    assert "the note Jug, 2024.txt and row 2 of as ink/works.csv do not agree on the price; the first holds" in told


def test_a_hold_is_heard_in_the_note_and_in_the_list(tmp_path: Path) -> None:
    put(tmp_path, "photo,hold\nIMG_1,yes\nIMG_2,no\n")
    for name, said in (("IMG_1", "no"), ("IMG_2", "yes")):
        put(tmp_path, f"hold: {said}", f"{name}.txt")
        held, told = facts_of(tmp_path, f"{name}.jpg")
        assert held.hold
        assert told[0].startswith(f"the note {name}.txt, row ")
    assert facts(tmp_path, "hold/IMG_3.jpg").hold
    put(tmp_path, "photo,hold\nIMG_3,no\n", "hold/works.csv")
    assert facts_of(tmp_path, "hold/IMG_3.jpg")[0].released


def test_of_several_rows_of_one_photo_the_first_holds_and_a_hold_in_any(tmp_path: Path) -> None:
    put(tmp_path, "photo,title,hold\nIMG_1,Jug,\nimg_1.jpg,Tern,yes\n")
    said, told = facts_of(tmp_path, "IMG_1.jpg")
    assert (said.title, said.hold) == ("Jug", True)
    assert told == ("row 2 of works.csv and row 3 of works.csv do not agree on the title; the first holds",)


def test_lists_of_several_folders_are_told_apart(tmp_path: Path) -> None:
    put(tmp_path, "photo,title,hold\nJune/IMG_1,Pot,yes\n")
    put(tmp_path, "photo,title,hold\nIMG_1,Cup,no\n", "June/works.csv")
    both = "row 2 of June/works.csv"
    assert facts_of(tmp_path, "June/IMG_1.jpg")[1] == (
        f"{both} and row 2 of works.csv do not agree on the title; the first holds",
        f"{both}, row 2 of works.csv do not agree on a hold; it is held",
    )


def test_photos_in_other_capitals_have_rows_of_their_own(tmp_path: Path) -> None:
    put(tmp_path, "photo,title\nIMG_1,Jug\nimg_1,Tern\n")
    for name in ("IMG_1.jpg", "img_1.jpg"):
        (tmp_path / name).touch()
    if len(list(tmp_path.iterdir())) == 3:  # not where the disk takes the two for one
        assert [facts(tmp_path, name).title for name in ("IMG_1.jpg", "img_1.jpg")] == ["Jug", "Tern"]


def test_the_paper_of_one_row_is_not_that_of_the_others(tmp_path: Path) -> None:
    put(tmp_path, "photo,paper\nIMG_1,toned\nIMG_2,\n", "Saltmere journal/works.csv")
    assert [facts(tmp_path, f"Saltmere journal/IMG_{n}.jpg").paper for n in (1, 2)] == ["toned", None]


def test_a_list_that_can_not_be_read_holds_the_works_beside_it(tmp_path: Path) -> None:
    put(tmp_path, "photo,title\nIMG_1,Jug\n", "elsewhere.csv")
    (tmp_path / "works.csv").symlink_to(tmp_path / "elsewhere.csv")
    held, told = facts_of(tmp_path, "IMG_2.jpg")
    assert (held.hold, held.title) == (True, "")
    why = "it is a link, and links are not followed"
    assert told == (f"the list works.csv can't be read now ({why}); the work is held until it can be",)
    assert facts_of(tmp_path, "other/IMG_2.jpg")[1] == told  # of which a row may speak too
    put(tmp_path / "other", "photo,title\nIMG_1,Jug\n", "elsewhere.csv")
    (tmp_path / "other" / "works.csv").symlink_to(tmp_path / "other" / "elsewhere.csv")
    (tmp_path / "works.csv").unlink()
    assert not facts(tmp_path, "IMG_2.jpg").hold
    (tmp_path / "works.csv").mkdir()  # where a list stood, perhaps
    held, told = facts_of(tmp_path, "IMG_2.jpg")
    assert held.hold
    assert told == ("the list works.csv can't be read now (it is a folder); the work is held until it can be",)


def test_a_list_is_read_once_for_all_its_photos_and_again_when_it_is_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []

    def noted(place: Path, most: int) -> str | None:
        read.append(place.name)
        return text_of(place, most)

    monkeypatch.setattr(work_lists, "text_of", noted)
    place = put(tmp_path, "photo,year\n" + "".join(f"IMG_{n},20{n}\n" for n in range(10, 30)))
    assert [facts(tmp_path, f"IMG_{n}.jpg").year for n in range(10, 30)] == [f"20{n}" for n in range(10, 30)]
    assert read == ["works.csv"]
    before = place.stat().st_mtime_ns
    put(tmp_path, place.read_bytes().replace(b"2010", b"1999"))
    os.utime(place, ns=(before + 5_000_000, before + 5_000_000))
    assert facts(tmp_path, "IMG_10.jpg").year == "1999"


def test_what_wins_over_a_row_that_was_written_later_is_told(tmp_path: Path) -> None:
    words = put(tmp_path, "title: Green Jug\n", "words/job.txt")
    put(tmp_path, "photo: IMG_1.jpg\ncorners: 120,80 1900,95 1880,2500 130,2480", "IMG_1.corners.txt")
    place = put(tmp_path, "photo,title,outline\nIMG_1,Blue Jug,whole photo\n")
    os.utime(place, ns=(2 * place.stat().st_mtime_ns, 2 * place.stat().st_mtime_ns))
    said, told = facts_of(tmp_path, "IMG_1.jpg", words)
    assert said.title == "Green Jug"
    assert told == (
        "row 2 of works.csv gives another outline than IMG_1.corners.txt, which the corner page has saved and which "
        "holds; to have the list's, delete IMG_1.corners.txt",
        "the photo's list and what you said by the command line do not agree on the title; the command line holds, "
        "until it is unsaid with “title:”",
    )
