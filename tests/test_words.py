"""What an artist writes on a phone: sizes, dates, names and notes are read whole, or answered; never by half."""

import os
import tomllib
from pathlib import Path
from typing import Any

import pytest

from autoprep.cli.studio import make_studio
from autoprep.domain import WorkFacts
from autoprep.job.rights import year_of
from autoprep.service.said import facts_for, sent_to
from autoprep.told.lists import harmless
from autoprep.wishes.blind import names_artist
from autoprep.wishes.captions import is_camera_name
from autoprep.wishes.note_files import place_of
from autoprep.wishes.notes import facts_of
from autoprep.wishes.settings import default_files
from autoprep.wishes.sizes import size, trailing_size, year

INCH = 25.4  # ISO 80000-3: one inch is 25.4 mm


def read(folder: Path, shown: str, note: str | bytes = "") -> tuple[WorkFacts, tuple[str, ...]]:
    if note:
        place = (folder / shown).with_suffix(".txt")
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(note if isinstance(note, bytes) else note.encode())
    return facts_of(folder, shown)


@pytest.mark.parametrize(
    ("text", "height", "width", "unit"),
    [
        ("30 x 40 cm", 300, 400, "cm"),
        ("30x40", 300, 400, "cm"),
        ("16 1/2 x 11 3/4 in", 16.5 * INCH, 11.75 * INCH, "in"),
        ("30 x 40 cm x 1 1/2 in", 300, 400, "cm"),
        ("30 cm x 40 x 1 1/2 in", 300, 400, "cm"),
        ("12 x 16 in x 4 cm", 12 * INCH, 16 * INCH, "in"),
        ("30 x 40 cm x 1 1/2", 300, 400, "cm"),
        ("12 x 16 x 1 1/2 in", 12 * INCH, 16 * INCH, "in"),
        ("300 x 400 x 2 mm", 300, 400, "mm"),
        ("16½ × 11¾ inches", 16.5 * INCH, 11.75 * INCH, "in"),
        ('12" x 16"', 12 * INCH, 16 * INCH, "in"),
        ("8½ x 11", 8.5 * INCH, 11 * INCH, "in"),  # nobody halves or quarters centimetres
        ("11 x 8 1/2", 11 * INCH, 8.5 * INCH, "in"),
        ("8½ x 11 cm", 85, 110, "cm"),
        ("12,5 x 17,5 cm", 125, 175, "cm"),
        ("40 (w) x 30 (h) cm", 300, 400, "cm"),
        ("40 x 30 (h) cm", 300, 400, "cm"),
        ("40 (w) x 30 cm", 300, 400, "cm"),
        ("H 30 cm x W 40 cm x D 2 cm", 300, 400, "cm"),
        ("0.3 by 0.4 m", 300, 400, "cm"),
        ("about 300 x 400 mm", 300, 400, "mm"),
        # ISO 216, table of the A and B series; ANSI/ASME Y14.1 size A.
        ("A3", 420, 297, "cm"),
        ("A5", 210, 148, "cm"),
        ("a5 landscape", 148, 210, "cm"),
        ("a5 wide", 148, 210, "cm"),
        ("A5 portrait", 210, 148, "cm"),
        ("B4", 353, 250, "cm"),
        ("letter", 11 * INCH, 8.5 * INCH, "in"),
        ("A4 (21 x 29.7 cm)", 297, 210, "cm"),  # a sheet may lie either way, in whatever order its sides are said
        ("29.7 x 21 cm (A4)", 297, 210, "cm"),
        ("12 x 16 in (30.5 x 40.6 cm)", 12 * INCH, 16 * INCH, "in"),
        ("30 x 40 cm (h x w)", 300, 400, "cm"),
        ("40 x 30 cm (width x height)", 300, 400, "cm"),
    ],
)
def test_a_size_is_read_as_it_is_written(text: str, height: float, width: float, unit: str) -> None:
    said = size(text)
    assert said["size_mm"] == pytest.approx((width, height))
    assert said["unit"] == unit


@pytest.mark.parametrize(
    "text",
    ["30 x", "30 x 40 furlongs", "16 1/2 x", "3 x 4 x 5 x 6 cm", "A11", "1/0 x 3 cm", "h 3 x h 4 cm", "30 cm high",
     "A4 (30 x 40 cm)", "30 x 40 cm (h x h)", "30 x 40 cm (sketch)", "A4 (landscape) (A4)"],
)  # fmt: skip
def test_a_size_that_is_not_understood_is_answered_and_never_read_by_half(text: str, tmp_path: Path) -> None:
    assert size(text) == {}
    facts, warnings = read(tmp_path, "IMG_1.jpg", f"size: {text}")
    assert facts.size_mm is None
    assert text in warnings[0]
    assert "30 x 40 cm" in warnings[0]  # a form that is understood


@pytest.mark.parametrize(
    ("line", "stops"),
    [
        ("lighter: 1/3", 0.333), ("darker: ⅔ stop", -0.667), ("lighter: −0.3", -0.3), ("lighter: –1 1/3 EV", -1.333),
        ("darker: 0,5", -0.5), ("lighter: +1", 1.0), ("lighter: 1/0", 0.0), ("lighter: 4", 0.0),
    ],
)  # fmt: skip
def test_stops_are_read_as_cameras_and_programs_write_them(line: str, stops: float, tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "IMG_1.jpg", line)
    assert facts.lighter == stops
    assert bool(warnings) == (stops == 0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026", "2026"), ("3 May 2026", "2026"), ("May 3rd, 2026", "2026"), ("2026-05-03", "2026"), ("5/3/2026",
        "2026"),
        ("03.05.2026", "2026"), ("spring 2026", "2026"), ("2005-11", "2005"), ("2025-26", "2025–2026"),
        ("1998 to 2003", "1998–2003"), ("ca. 1998", "c. 1998"),
    ],
)  # fmt: skip
def test_a_date_in_any_form_gives_its_year(text: str, expected: str) -> None:
    assert year(text) == {"year": expected}


@pytest.mark.parametrize("text", ["yesterday", "26", "3 May", "2026 or so", "2003-1998"])
def test_a_date_without_a_year_is_answered(text: str, tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "IMG_1.jpg", f"year: {text}")
    assert facts.year == ""
    assert text in warnings[0]


@pytest.mark.parametrize(
    "name",
    [
        "IMG_7027", "IMG 7027 (edited)", "IMG_E7027", "IMG_7027~2", "IMG-20261126-WA0003", "PXL_20261126_101112345",
        "PXL_20261126_101112345.PORTRAIT", "photo_2026-11-26_10-11-12", "20261126_101112",
        "Screenshot_20261126-101112_App",
        "Screenshot 2026-11-26 at 10.11.12", "Messenger Image 2026-11-26 at 10.11.12", "note-2026-11-26-101112",
        "image0",
        "image(1)", "Untitled", "FullSizeRender", "DSC_0001-2", "Scan 3", "Scan_20261126", "FB_IMG_1700000000000",
        "DSCF0012",
        "IMG_7027 copy", "0A1B2C3D-4E5F-6071-8293-A4B5C6D7E8F9", "unnamed (2)", "Photo 12.11.26", "_MG_1234",
        "VID_20261126", "ABC_0012", "ABC_2026", "ABC_0012-2", "saved_1700000000000", "saved-20261126_101112",
    ],
)  # fmt: skip
def test_names_that_machines_give_are_no_titles(name: str, tmp_path: Path) -> None:
    assert is_camera_name(name)
    assert read(tmp_path, f"{name}.jpg")[0].title == ""


@pytest.mark.parametrize(
    "name",
    ["Blue Jug", "Harbour 2026", "Image of a gull", "Study 3", "Tide 1", "Photographs of rain", "P is for plover",
    "Scanning", "May"],
)  # fmt: skip
def test_titles_are_no_names_of_machines(name: str, tmp_path: Path) -> None:
    assert read(tmp_path, f"{name}.jpg")[0].title == name


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("Boats-2", "Boats-2"), ("Heron_3", "Heron 3"), ("No-5", "No-5"), ("Study_004", "Study 004"),
        ("Studies-2026", "Studies-2026"), ("Heron_2026_2", "Heron 2026 2"), ("Reeds_2025-26", "Reeds 2025-26"),
    ],
)  # fmt: skip
def test_a_word_and_a_short_number_or_a_year_are_a_title(name: str, title: str, tmp_path: Path) -> None:
    assert read(tmp_path, f"{name}.jpg")[0].title == title
    assert read(tmp_path, f"{name}/IMG_1.jpg")[0].title == name  # a folder's too


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        ("Blue Jug 18x24in", {"title": "Blue Jug", "size_mm": (24 * INCH, 18 * INCH)}),
        ("Blue Jug 18x24in, 2026, gouache", {"title": "Blue Jug", "year": "2026", "medium": "gouache"}),
        ("Blue Jug,2026,watercolour,30x40cm", {"title": "Blue Jug", "year": "2026", "medium": "watercolour"}),
        ("Blue Jug, 12,5 x 17,5 cm", {"title": "Blue Jug", "size_mm": (175, 125)}),
        ("Blue Jug, A3, hold", {"title": "Blue Jug", "size_mm": (297, 420), "hold": True}),
        ("Gulls, boats and rain", {"title": "Gulls, boats and rain"}),
        ("Blue Jug, watercolour, 30 x 40 cm, 2026", {"title": "Blue Jug", "year": "2026", "medium": "watercolour"}),
        ("Blue Jug, oil on canvas, 30x40cm", {"title": "Blue Jug", "medium": "oil on canvas", "size_mm": (400, 300)}),
        ("Blue Jug, Pen & ink, Watercolors, 2026", {"title": "Blue Jug", "medium": "Pen & ink, Watercolors"}),
        ("Blue Jug, 2026, mixed media, private", {"title": "Blue Jug", "medium": "mixed media"}),
        ("Blue Jug, gouache 18x24in", {"title": "Blue Jug", "medium": "gouache", "size_mm": (24 * INCH, 18 * INCH)}),
        ("Blue Jug 18x24in, gouache", {"title": "Blue Jug", "medium": "gouache", "size_mm": (24 * INCH, 18 * INCH)}),
        ("Blue Jug, on toned paper, 2026", {"title": "Blue Jug", "medium": "on toned paper"}),
        ("Harbour, oil lamp, 2026", {"title": "Harbour, oil lamp", "medium": "", "year": "2026"}),
        ("Gulls, ink and rain, 2026", {"title": "Gulls, ink and rain", "medium": ""}),
        ("Salt, chalk", {"title": "Salt, chalk", "medium": ""}),
        ("Study 3x4", {"title": "Study 3x4"}),
        ("Low tide, May 2026", {"title": "Low tide", "year": "2026"}),
    ],
)
def test_a_name_is_a_caption(name: str, facts: dict[str, Any], tmp_path: Path) -> None:
    found = read(tmp_path, f"{name}.jpg")[0]
    for key, value in facts.items():
        assert getattr(found, key) == (pytest.approx(value) if key == "size_mm" else value)


def test_fractions_without_a_unit_are_told_to_be_inches(tmp_path: Path) -> None:
    told = "“8½ x 11” has no unit; it was read as inches"
    facts, (warning,) = read(tmp_path, "IMG_1.jpg", "size: 8½ x 11\n")
    assert facts.size_mm == pytest.approx((11 * INCH, 8.5 * INCH))
    assert warning == f"the note IMG_1.txt: {told}"
    facts, (warning,) = read(tmp_path, "Blue Jug, 8½ x 11.jpg")
    assert facts.title == "Blue Jug"
    assert facts.size_mm == pytest.approx((11 * INCH, 8.5 * INCH))
    assert warning.endswith(told)
    assert read(tmp_path, "8½ x 11/Gulls.jpg")[1][0].endswith(told)
    for clear in ("8½ x 11 in", "8½ x 11 cm", "8.5 x 11", "A4", "30 x 40"):
        assert read(tmp_path, "IMG_2.jpg", f"size: {clear}\n")[1] == ()
    assert read(tmp_path, "IMG_3.jpg", "Blue Jug, pen/wash 30x40\n")[1] == ()  # no fraction
    assert read(tmp_path, "Red Jug, 8½ x 11.jpg", "size: 8½ x 11 in\n")[1] == ()  # which settles it


def test_a_title_that_ends_in_numbers_keeps_them() -> None:
    assert trailing_size("Tide 2 9x12in") == ("Tide 2", size("9x12in"))
    assert trailing_size("18x24in") == ("18x24in", {})


@pytest.mark.parametrize(
    "coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32", "utf-32-be"]
)
def test_a_note_is_read_however_the_phone_has_kept_it(coding: str, tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "IMG_1.jpg", "title: “Möwen am Kai”\nyear: 2026\n".encode(coding))
    assert (facts.title, facts.year, warnings) == ("Möwen am Kai", "2026", ())


def test_signs_that_stand_for_nothing_make_no_other_word_of_hold(tmp_path: Path) -> None:
    for note in ("hold: yes\n".encode("utf-32-le"), b"ho\0ld: yes\n"):
        assert read(tmp_path, "IMG_1.jpg", note)[0].hold


@pytest.mark.parametrize("behind", ["", "a"], ids=["between letters", "within a letter"])
@pytest.mark.parametrize("coding", ["utf-8", "utf-16"])
def test_a_long_note_is_read_in_its_own_letters_wherever_it_is_cut(coding: str, behind: str, tmp_path: Path) -> None:
    note = f"title: Möwe über dem Hafen\ndescription: {behind}{'ü' * 40_000}"
    facts, warnings = read(tmp_path, "IMG_1.jpg", note.encode(coding))
    assert facts.title == "Möwe über dem Hafen"
    assert "is longer than 64 KiB" in warnings[0]
    # A short one that ends so has never been in that code.
    assert read(tmp_path, "IMG_2.jpg", "title: Skär".encode("cp1252")[:-1])[0].title == "Skä"


def test_a_line_without_a_colon_is_a_word_a_caption_or_answered(tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "IMG_1.jpg", "title: Blue Jug\nas ever\nturn left\n")
    assert (facts.title, facts.turn) == ("Blue Jug", 270)
    assert len(warnings) == 1
    assert "“as ever”" in warnings[0]
    facts, warnings = read(tmp_path, "IMG_2.jpg", "Blue Jug, 2026, gouache, 30x40cm\nprice: 240\n")
    assert (facts.title, facts.year, facts.medium, facts.price) == ("Blue Jug", "2026", "gouache", "240")
    assert not warnings
    facts, warnings = read(tmp_path, "IMG_3.jpg", "alt: A jug\non a sill\ntitle: Jug\n  and sill\n")
    assert (facts.alt_text, facts.title, warnings) == ("A jug on a sill", "Jug and sill", ())


def test_a_text_goes_on_over_lines_with_a_colon(tmp_path: Path) -> None:
    note = "description: The pier.\nAs my father said: he built it.\nTold to me: twice.\nyear: 2026\n"
    facts, warnings = read(tmp_path, "IMG_1.jpg", note)
    assert facts.description == "The pier. As my father said: he built it. Told to me: twice."
    assert (facts.year, warnings) == ("2026", ())
    # What is nearly a word that is known is a slip of the finger: it is no part of the text.
    facts, (warning,) = read(tmp_path, "IMG_2.jpg", "description: The pier.\nprise: 240\n")
    assert (facts.description, facts.price) == ("The pier.", "240")
    assert "“prise” was read as “price”" in warning
    # A sentence is no inventory number.
    facts, (warning,) = read(tmp_path, "IMG_3.jpg", "description: The pier.\nNumber: three boats lie there.\n")
    assert facts.inventory == ""
    assert "gives an inventory that is not understood: three boats lie there.; write it as in WH-017" in warning
    assert read(tmp_path, "IMG_4.jpg", "number: 17 b\n")[0].inventory == "17 b"


def test_a_colon_of_full_width_ends_a_key_and_stays_in_what_follows(tmp_path: Path) -> None:
    assert read(tmp_path, "IMG_1.jpg", "title：海：夏\n")[0].title == "海：夏"
    assert read(tmp_path, "IMG_2.jpg", "title: 海：夏\n")[0].title == "海：夏"


@pytest.mark.parametrize(
    ("note", "called"),
    [
        ("title: Reeds\ntitle: Thrift", "the title twice, “Reeds” and “Thrift”"),
        ("year: 2020\nYEAR: 2021", "the year twice, “2020” and “2021”"),
        ("name: Reeds\ntitle: Thrift", "the title twice"),
        ("size: 30 x 40 cm\nsize: 20 x 30 cm", "the size twice"),
        ("for: site\nfor: square", "where it goes twice"),
        ("hold: yes\nhold: no", "whether it is held twice"),
    ],
)
def test_two_values_for_one_thing_are_told_and_the_last_holds(note: str, called: str, tmp_path: Path) -> None:
    _, (warning,) = read(tmp_path, "IMG_1.jpg", note)
    assert called in warning
    assert warning.endswith("; the last holds")
    again, last = read(tmp_path, "IMG_1.jpg", note)[0], read(tmp_path, "IMG_2.jpg", note.splitlines()[1])[0]
    assert again == last


@pytest.mark.parametrize("note", ["title: Reeds\nname: Reeds", "size: 30 x 40 cm\nsize: 300 x 400 mm", "year: 2026"])
def test_the_same_said_twice_is_no_contradiction(note: str, tmp_path: Path) -> None:
    assert read(tmp_path, "IMG_1.jpg", note)[1] == ()


@pytest.mark.parametrize("price", ["240", "£ 1,200", "€90.-", "On request", "NFS", "sold"])
def test_a_price_is_a_number_or_a_word_in_its_place(price: str, tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "IMG_1.jpg", f"price: {price}")
    assert (facts.price, warnings) == (price, ())


def test_a_price_without_a_digit_is_answered(tmp_path: Path) -> None:
    facts, (warning,) = read(tmp_path, "IMG_1.jpg", "price: abc")
    assert facts.price == ""
    assert "gives a price that is not understood: abc; write it as in 240" in warning


def test_an_inch_sign_is_no_quote(tmp_path: Path) -> None:
    facts, _ = read(tmp_path, "IMG_1.jpg", 'size: 9 x 12"\ntitle: "Jug"\n')
    assert facts.size_mm == pytest.approx((12 * INCH, 9 * INCH))
    assert facts.title == "Jug"


def test_what_contradicts_itself_is_told_and_the_note_holds(tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "as painting/Blue Jug, 2025.jpg", "year: 2026\nkind: watercolour\n")
    assert (facts.year, facts.kind) == ("2026", "watercolour")
    assert sorted(warnings) == [
        "the photo's folder and its note do not agree on the kind; the note holds",
        "the photo's name and its note do not agree on the year; the note holds",
    ]
    # A group's title and a work's own are no contradiction; nor is a folder's note, which speaks of all in it.
    (tmp_path / "Harbour").mkdir()
    (tmp_path / "Harbour" / "note.txt").write_text("year: 2020")
    facts, warnings = read(tmp_path, "Harbour/Gull, 2026.jpg")
    assert (facts.title, facts.year, warnings) == ("Gull", "2026", ())


@pytest.mark.parametrize(
    ("text", "free"),
    [
        ("A5", True), ("letter", True), ("Half letter paper", True), ("B4 sheet", True), ("A5 landscape", False),
        ("letter upright", False), ("21 x 14,8 cm", False),
    ],
)  # fmt: skip
def test_a_format_without_a_direction_has_none(text: str, free: bool, tmp_path: Path) -> None:
    assert read(tmp_path, "IMG_1.jpg", f"size: {text}")[0].size_free is free
    # A size in numbers that wins over it has a direction, and a contradiction is told once.
    facts, warnings = read(tmp_path, "Jug, A4.jpg", "size: 210 x 297 mm")
    assert (facts.size_mm, facts.size_free) == ((297, 210), False)
    assert warnings == ("the photo's name and its note do not agree on the size; the note holds",)
    assert read(tmp_path, "IMG_2.jpg", "size: A4\nsize: 297 x 210 mm")[1] == ()
    assert facts_of(tmp_path, "A5/IMG_1.jpg")[0].size_free


def test_a_folder_may_say_a_size(tmp_path: Path) -> None:
    assert read(tmp_path, "A5/IMG_1.jpg")[0].size_mm == (148, 210)
    assert read(tmp_path, "A5/IMG_1.jpg")[0].title == ""


def test_the_corner_pages_note_wins_wherever_it_was_dropped(tmp_path: Path) -> None:
    corners = "corners: 10,10 900,20 890,700 15,690"
    facts, _ = read(tmp_path, "Book/IMG_1.jpg", "title: Jug\noutline: ask\n")
    assert facts.outline == "ask"
    # In the inbox itself it holds for the photo that it names, and for no other of the same name.
    place = tmp_path / "IMG_1.corners.txt"
    place.write_text(f"photo: Book/IMG_1.jpg\n{corners}\n")
    facts, warnings = facts_of(tmp_path, "Book/IMG_1.jpg")
    assert (facts.title, facts.outline, warnings) == ("Jug", None, ())
    assert facts.corners_px == ((10, 10), (900, 20), (890, 700), (15, 690))
    assert facts_of(tmp_path, "Other/IMG_1.jpg")[0].corners_px is None
    # What is wrong in it is told of the photo that it means, and of no other.
    place.write_text(f"photo: Book/IMG_1.jpg\n{corners}\nfoo: bar\n")
    assert len(facts_of(tmp_path, "Book/IMG_1.jpg")[1]) == 1
    assert facts_of(tmp_path, "Other/IMG_1.jpg")[1] == ()
    # A second one that the phone has numbered is newer.
    newer = tmp_path / "Book" / "IMG_1.corners (1).txt"
    newer.write_text("outline: whole photo\n")
    os.utime(place, (1, 1))
    facts, _ = facts_of(tmp_path, "Book/IMG_1.jpg")
    assert (facts.outline, facts.corners_px) == ("whole photo", None)


@pytest.mark.parametrize(
    ("photo", "note"),
    [
        ("what?.jpg", "what_"), ('say "hi".jpg', "say _hi_"), ("a: b.jpg", "a_ b"), ("<x> y.jpg", "_x_ y"),
        ("two  blanks.jpg", "two blanks"), ("title: Foo.jpg", "title_ Foo"), ("tab\\x09x.jpg", "tab_x09x"),
        ("caf\\xe9.jpg", "caf_xe9"), ("Book?/what?.jpg", "what_"),
    ],
)  # fmt: skip
def test_a_corner_note_is_found_under_the_name_that_a_browser_gives_it(tmp_path: Path, photo: str, note: str) -> None:
    corners = "corners: 10,10 900,20 890,700 15,690"
    place = tmp_path / f"{note}.corners (1).txt"
    place.write_text(f"photo: {photo}\n{corners}\n", encoding="utf-8")
    facts, warnings = facts_of(tmp_path, photo)
    assert facts.corners_px is not None
    assert warnings == ()
    # Another photo may have that very name: the note says which of the two it means.
    there = place_of(tmp_path, photo)
    there.parent.mkdir(exist_ok=True)
    there.write_bytes(b"")
    assert facts_of(tmp_path, f"{note}.jpg")[0].corners_px is None


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_notes_are_read_beside_photos_whose_names_are_no_text(tmp_path: Path) -> None:
    for name in (b"caf\xe9", b"tab\tx", b"\xe9t\xe9/gull"):
        place = os.fsencode(tmp_path) + b"/" + name
        os.makedirs(os.path.dirname(place), exist_ok=True)
        for ending, text in ((b".jpg", b""), (b".txt", b"price: 9\nfoo: x"), (b".corners.txt", b"outline: ask")):
            with open(place + ending, "wb") as file:
                file.write(text)
    with open(os.fsencode(tmp_path) + b"/\xe9t\xe9/note.txt", "wb") as file:
        file.write(b"medium: ink")
    for shown in ("caf\\xe9.jpg", "tab\\x09x.jpg", "\\xe9t\\xe9/gull.jpg"):
        facts, warnings = facts_of(tmp_path, shown)
        assert (facts.price, facts.outline) == ("9", "ask")
        assert warnings[0].encode("utf-8")  # what is told can be written down
    assert facts.medium == "ink"
    # A name that really holds a backslash is its own.
    (tmp_path / "caf\\xe9.txt").write_text("price: 7")
    (tmp_path / "caf\\xe9.jpg").write_bytes(b"")
    assert facts_of(tmp_path, "caf\\xe9.jpg")[0].price == "7"


def test_also_for_adds_and_for_replaces(tmp_path: Path) -> None:
    settings = make_studio(tmp_path / "Studio")
    inbox = settings.folders.inbox
    usual = sent_to(settings, WorkFacts())
    assert "submission" not in usual
    (inbox / "IMG_1.txt").write_text("also for: submission")
    assert sent_to(settings, facts_for(settings, "IMG_1.jpg")[0]) == [*usual, "submission"]
    (inbox / "IMG_2.txt").write_text("for: submission")
    assert sent_to(settings, facts_for(settings, "IMG_2.jpg")[0]) == ["submission"]
    assert sent_to(settings, facts_for(settings, "also for submission/IMG_3.jpg")[0]) == [*usual, "submission"]
    # A place to add that is not known keeps nothing from going where it goes anyway.
    (inbox / "IMG_4.txt").write_text("also for: sumbission")
    facts, warnings = facts_for(settings, "IMG_4.jpg")
    assert (sent_to(settings, facts), facts.hold) == (usual, False)
    assert "called sumbission; the nearest is “submission”" in warnings[0]
    (inbox / "IMG_5.txt").write_text("for: everything")
    facts, warnings = facts_for(settings, "IMG_5.jpg")
    assert facts.hold
    assert "called everything; there are " in warnings[0]


def test_any_words_that_leave_with_a_picture_may_name_the_artist() -> None:
    for said, told in (
        ({"keywords": ("tide", "Halloway")}, "keywords"), ({"alt_text": "Wren draws"}, "alternative text"),
        ({"medium": "ink by Wren"}, "medium"), ({"description": "of Wren"}, "description"),
        ({"keywords": ("tide",)}, ""),
    ):  # fmt: skip
        assert names_artist(WorkFacts.model_validate(said), "Wren Halloway") == told


@pytest.mark.parametrize(
    ("said", "taken_at", "expected"),
    [("2025–2026", None, "2026"), ("c. 1998", "2026-11-20T10:00:00", "1998"), ("", "2025-11-20T10:00:00", "2025"),
     ("", None, "2027"), ("", "2062-03-04T05:06:07", "2027")],
)  # fmt: skip
def test_rights_are_of_the_last_year_that_is_said(said: str, taken_at: str | None, expected: str) -> None:
    assert year_of(WorkFacts(year=said), taken_at, "2027-01-02") == expected


def test_a_camera_in_another_zone_is_in_the_new_year_before_this_machine() -> None:
    assert year_of(WorkFacts(), "2027-01-01T09:10:00", "2026-12-31") == "2027"
    assert year_of(WorkFacts(), "2027-01-03T09:10:00", "2026-12-31") == "2026"


@pytest.mark.parametrize(
    ("key", "most"),
    [("title", 300), ("medium", 200), ("inventory", 60), ("price", 60), ("description", 4000), ("alt", 2000)],
)
def test_words_are_cut_where_a_file_holds_no_more_and_not_before(key: str, most: int, tmp_path: Path) -> None:
    field = {"alt": "alt_text"}.get(key, key)
    facts, told = read(tmp_path, "IMG_1.jpg", f"{key}: {'7' * most}")
    assert (len(getattr(facts, field)), told) == (most, ())
    facts, (warning,) = read(tmp_path, "IMG_1.jpg", f"{key}: {'7' * (most + 1)}")
    assert len(getattr(facts, field)) == most
    assert f"longer than {most} letters" in warning


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_a_cell_of_a_list_is_never_a_formula(sign: str) -> None:
    assert harmless(f"{sign}SUM(A1)") == f"'{sign}SUM(A1)"
    assert harmless(f"Jug {sign} 2") == f"Jug {sign} 2"


def test_shipped_destinations_tell_what_is_public_and_what_glare_keeps_back() -> None:
    shipped = tomllib.loads(default_files()["destinations.toml"])
    public = {name for name, table in shipped.items() if table.get("public")}
    assert public == {"square", "vertical", "full-screen", "link-card", "banner", "site"}
    careful = {name for name, table in shipped.items() if table.get("hold_for_glare")}
    assert careful == {
        "submission", "submission-blind", "print-a4", "print-a3", "print-8x10", "print-own-size", "press",
    }  # fmt: skip
    assert not any(shipped["submission-blind"].get(key) for key in ("title", "mark", "camera", "prices"))


@pytest.mark.parametrize(
    ("artist", "title", "told"),
    [
        ("Wren Lee", "Asleep beside a wrenched fleet", ""),
        ("Wren Lee", "Lee's shore", "title"),
        ("Wren Lee", "By wrenlee", "title"),
        ("Tansy Coal", "Study in charcoal", ""),
        ("Tansy Coal", "Tansyholt", "title"),  # a longer part may go on, as in "Halloways"
        ("Wren Halloway", "Hallowed ground", ""),
        ("Wren Halloway", "After Halloway", "title"),
        ("Wren Halloway", "@wrenhalloway", "title"),
        ("Wren Chant", "Enchanting merchant", ""),
        ("鷗娜", "海边鷗娜画", "title"),  # no spaces between words
        ("D. d", "D day", ""),
        ("Li Wu", "Self portrait of Li Wu", "title"),  # none is long enough: all of them in a row
        ("Li Wu", "Wu, Li: a page", "title"),
        ("Li Wu", "Woven lilies", ""),
        ("Li Wu", "Mali Wuthering", ""),
        ("Li Wu", "@liwu", "title"),
        ("M. C. Ek", "M.C. Ek at the window", "title"),
        ("Wu", "Wu", "title"),
        ("Wu", "Wuthering", ""),
        ("Wren Ek", "Ek", ""),
    ],
)
def test_words_name_the_artist_by_whole_words_and_their_beginnings(artist: str, title: str, told: str) -> None:
    assert names_artist(WorkFacts(title=title), artist) == told


@pytest.mark.parametrize(
    ("address", "title", "told"),
    [
        ("wren@saltmere.example", "Prints: wren@saltmere.example", "title"),
        ("wren@saltmere.example", "Saltmere at dusk", ""),  # of mail, any site may be that of thousands
        ("wren@saltmere.example", "By @wren", "title"),
        ("wren@saltmere.example", "A wren on saltmere example cloth", ""),
        ("tide.and.ink@saltmere.example", "tideandink, page 3", "title"),
        ("tide.and.ink@saltmere.example", "Tide and ink", ""),
        ("https://www.inkandsalt.example/", "More on inkandsalt.example", "title"),
        ("www.inkandsalt.example", "An InkAndSalt page", "title"),
        ("inkandsalt.example/journal", "From my journal", ""),
        ("https://harbour.example", "The harbour", ""),
        ("https://harbour.example", "The harbour, @harbour", "title"),
        ("https://harbour.example/@tidebooks", "tidebooks", "title"),
        ("https://harbour.example/tidebooks", "tidebooks", ""),
        ("https://harbour.example/tidebooks", "@tidebooks", "title"),
        ("inkandsalt.example:8080", "inkandsalt", "title"),
        ("", "The harbour", ""),
    ],
)
def test_addresses_of_the_artist_name_the_artist(address: str, title: str, told: str) -> None:
    """A jury read in a caption whose site shows the page."""
    assert names_artist(WorkFacts(title=title), "Ida Marsh", address) == told


@pytest.mark.parametrize(
    ("name", "said", "told"),
    [
        ("Jug, 2024, 2026, ink", {"title": "Jug", "year": "2026", "medium": "ink"}, "the year twice; the last, “2026”"),
        (
            "Jug, 30x40 cm, 20x30 cm",
            {"title": "Jug", "size_mm": (300.0, 200.0)},
            "the size twice; the last, “20x30 cm”",
        ),
        ("Jug, 30x40 cm, framed, ink", {"title": "Jug", "medium": "ink"}, "“framed” names no medium"),
        ("Jug, 2026, sold", {"title": "Jug", "year": "2026", "medium": ""}, "“sold” names no medium"),
        ("Copy of IMG_2041", {"title": ""}, ""),
        ("Kopie von DSC_0042", {"title": ""}, ""),
        ("Copy of Boats", {"title": "Copy of Boats"}, ""),
    ],
)
def test_what_stands_twice_or_says_the_state_of_a_work_is_told(
    tmp_path: Path, name: str, said: dict[str, object], told: str
) -> None:
    facts, unclear = facts_of(tmp_path, f"{name}.jpg")
    assert {key: getattr(facts, key) for key in said} == said
    assert len(unclear) == bool(told)
    assert told in "".join(unclear)


def test_where_a_work_goes_besides_adds_up(tmp_path: Path) -> None:
    (tmp_path / "Jug.txt").write_text("also for: print-a3\nkeywords: sea\nalso for: submission, print-a3\n")
    facts, unclear = facts_of(tmp_path, "Jug.jpg")
    assert facts.also == ("print-a3", "submission")
    assert unclear == ()
