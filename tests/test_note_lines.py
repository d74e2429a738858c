"""The lines of a note: what goes on with a text, what stands apart, and which slips are read as meant."""

import os
import re
from pathlib import Path

import pytest

from autoprep.domain import WorkFacts
from autoprep.errors import ConfigError
from autoprep.wishes.lines import by_key
from autoprep.wishes.mistakes import Mistakes, nearest
from autoprep.wishes.notes import facts_of


def read(folder: Path, note: str, shown: str = "IMG_1.jpg") -> tuple[WorkFacts, tuple[str, ...]]:
    (folder / shown).with_suffix(".txt").write_text(note, encoding="utf-8")
    return facts_of(folder, shown)


@pytest.mark.parametrize("text", ["alt", "description", "title"])
@pytest.mark.parametrize(
    "line",
    [
        "seller: Ida Marsh, 12 Quay Lane", "private: do not show", "Private buyer: Ida", "lent by：Ida", "seller:Ida",
        "hold until the show opens", "for submision, site", "Not for sale", "don't show this", "Don’t show this",
        "do not show", "private, for Ida", "note to self: ask Ida", "Hold this one please", "please hold", "on hold",
    ],
)  # fmt: skip
@pytest.mark.parametrize("set_in", ["", "  "])
def test_what_may_be_private_is_never_a_part_of_a_text(tmp_path: Path, text: str, line: str, set_in: str) -> None:
    facts, warnings = read(tmp_path, f"{text}: A plan of the slip\n{set_in}{line}\nby Ida\n")
    assert (facts.alt_text or facts.description or facts.title) == "A plan of the slip"
    said = " ".join(warnings)
    assert f"“{line.replace('：', ':').partition(':')[0]}" in said
    assert "“by Ida”" in said  # nor is what follows


def test_an_unknown_line_is_answered_with_a_word_only_where_one_is_near(tmp_path: Path) -> None:
    _, (warning,) = read(tmp_path, "alt: A plan\nprivate: by Ida\n")
    assert "says “private”, which is not understood; nothing was made of that line" in warning


def test_texts_go_on_over_plain_lines(tmp_path: Path) -> None:
    note = (
        "description: The pier.\nHe came at\n10:30 in the rain.\n\n  Holding fast, forever\nhttps://saltmere.example\n"
    )
    facts, warnings = read(tmp_path, note)
    assert facts.description == "The pier. He came at 10:30 in the rain. Holding fast, forever https://saltmere.example"
    assert (facts.hold, warnings) == (False, ())


@pytest.mark.parametrize("line", ["Ida Marsh", "  Ida Marsh", "12 Quay Lane, Gannow"])
def test_keywords_end_with_their_line(tmp_path: Path, line: str) -> None:
    facts, (warning,) = read(tmp_path, f"keywords: slip, tide\n{line}\n")
    assert facts.keywords == ("slip", "tide")
    assert f"“{line.strip()}”" in warning


@pytest.mark.parametrize(
    "line",
    ["Hold this one please", "please hold", "on hold", "Hold!", "please, hold it", "put on hold", "This one is on hold",
    "hodl: yes", "holds: until May", "private!!", "PRIVATE", "Embargo", "Not yet", "strictly confidential",
    "dont post", "please don’t show this", "not to sell, never publish", "keep this one back please", "Keep it private",
    "nicht veröffentlichen", "Bitte noch nicht zeigen!", "à ne pas publier", "no publicar", "niet delen",
    "non condividere", "private: do not show", "please don't put online", "not ready yet", "Wait!",
    "privat", "Secret", "geheim!", "streng geheim", "do not publish", "privé", "not to be shown", "private: yes",
    "Secret:", "geheim: ja", "🙈 keep this one back", "Hlod", "nicht veroeffentlichen", "zurückhalten"],
)  # fmt: skip
@pytest.mark.parametrize("before", ["title: Sluice\n", ""])
def test_a_hold_in_other_words_holds(tmp_path: Path, line: str, before: str) -> None:
    facts, warnings = read(tmp_path, f"{before}{line}\nyear: 2026\n")
    assert facts.hold
    assert facts.title == ("Sluice" if before else "")
    assert "hold" in warnings[0]
    assert read(tmp_path, "hold\n") == (WorkFacts(hold=True, held_as="IMG_1.jpg"), ())


@pytest.mark.parametrize("line", ["For submission only", "not for sale", "For Ida", "private, Ida"])
@pytest.mark.parametrize("before", ["title: Sluice\n", ""])
def test_a_line_on_where_a_work_may_go_is_answered_and_no_title(tmp_path: Path, line: str, before: str) -> None:
    facts, (warning,) = read(tmp_path, f"{before}{line}\n")
    assert (facts.title, facts.hold) == ("Sluice" if before else "", False)
    assert f"“{line}” without a word and a colon before it" in warning


@pytest.mark.parametrize(
    ("line", "field", "value", "word"),
    [
        ("Titel: Jug", "title", "Jug", "title"), ("medum: ink", "medium", "ink", "medium"),
        ("keyword: jug", "keywords", ("jug",), "keywords"),
        ("descripton: A jug", "description", "A jug", "description"),
    ],
)  # fmt: skip
def test_a_slip_is_read_as_meant_and_told(tmp_path: Path, line: str, field: str, value: object, word: str) -> None:
    facts, (warning,) = read(tmp_path, f"alt: A jug\n{line}\n")
    assert (getattr(facts, field), facts.alt_text) == (value, "A jug")
    assert warning.endswith(f": “{line.partition(':')[0]}” was read as “{word}”")


@pytest.mark.parametrize("line", ["names: Ida Marsh", "numbers: 3", "lumber: 3", "form: site", "ttl: Jug", "photos: x"])
def test_what_may_be_another_word_is_only_answered(tmp_path: Path, line: str) -> None:
    facts, (warning,) = read(tmp_path, f"year: 2026\n{line}\n")
    assert facts == WorkFacts(year="2026", noted=True)
    assert "which is not understood" in warning


def test_a_word_is_near_that_shares_more_than_half_of_the_letters() -> None:
    assert nearest("lfet", ("left", "right")) == "left"
    assert nearest("signed", ("size",)) == ""
    assert nearest("everything", ("vertical",)) == ""
    assert nearest("maybe", ("yes", "no")) == ""


def test_far_words_are_answered_with_those_that_are_known(tmp_path: Path) -> None:
    _, (warning,) = read(tmp_path, "hold: maybe")
    assert "maybe; write yes or no; the work is held until it is" in warning
    _, (warning,) = read(tmp_path, "year: 2026\nsigned: yes")
    assert "size" not in warning


def test_keywords_add_up(tmp_path: Path) -> None:
    facts, warnings = read(tmp_path, "Keywords: jug, fruit\nTags: oil, jug\n")
    assert (facts.keywords, warnings) == (("jug", "fruit", "oil"), ())


@pytest.mark.parametrize("line", ["Rain at {}", "day {}: rain"])
def test_of_many_lines_that_are_not_understood_the_first_are_told_and_the_number(tmp_path: Path, line: str) -> None:
    diary = "\n".join(line.format("".join("abcdefghij"[int(digit)] for digit in str(k))) for k in range(2000))
    (tmp_path / "Jar.txt").write_text(f"title: Jar\nmedium: ink\n\n{diary}\nplease do not post\n", encoding="utf-8")
    facts, told = facts_of(tmp_path, "Jar.jpg")
    assert (facts.title, facts.medium, facts.hold) == ("Jar", "ink", True)
    assert len(told) == 14
    assert sum("please do not post" in words for words in told) == 1  # what holds a work is told whatever else is
    assert "the note Jar.txt has 1988 more lines that are not understood; nothing was made of them" in told
    (tmp_path / "Jar.txt").write_text("title: Jar\n\n" + "\n".join(diary.splitlines()[:13]), encoding="utf-8")
    assert len(facts_of(tmp_path, "Jar.jpg")[1]) == 13


def test_a_caption_against_a_line_of_the_same_note_is_told(tmp_path: Path) -> None:
    facts, (warning,) = read(tmp_path, "Cormer Lass, 2025\ntitle: Cormer Lass\nyear: 2026\n")
    assert (facts.title, facts.year) == ("Cormer Lass", "2026")
    assert "gives the year twice, “Cormer Lass, 2025” and “2026”; the last holds" in warning


@pytest.mark.parametrize("line", ["hold", "Hold this one please"])
def test_a_work_that_is_held_and_is_not_is_held(tmp_path: Path, line: str) -> None:
    for note in (f"hold: no\n{line}\n", f"title: Jug\n{line}\nhold: no\n"):
        facts, warnings = read(tmp_path, note)
        assert (facts.hold, facts.released) == (True, False)
        assert warnings[-1].endswith("says both that the work is held and that it is not; it is held")


@pytest.mark.parametrize(
    "line",
    ["- hold", "• hold", "#hold", "[ ] hold", "1. hold", "“hold”", "* hold: yes", "1. hold: yes", "\u200ehold: yes",
     "“hold: yes”", "☐ Hold : yes", "hold\u200b: yes", "ho\u200cld: yes", "\u200dhold"],
)  # fmt: skip
def test_a_hold_in_a_list_or_in_quotes_holds(tmp_path: Path, line: str) -> None:
    assert read(tmp_path, f"{line}\n") == (WorkFacts(hold=True, held_as="IMG_1.jpg"), ())
    facts, told = read(tmp_path, f"title: Sluice\nalt: A sluice\n{line}\n")
    assert (facts.title, facts.alt_text, facts.hold, told) == ("Sluice", "A sluice", True, ())


@pytest.mark.parametrize("line", ["hold until : May", "please hold: Ida", "do not publish", "Don’t post this"])
def test_a_hold_before_a_colon_or_in_other_words_holds_until_it_is_understood(tmp_path: Path, line: str) -> None:
    facts, (told,) = read(tmp_path, f"title: Sluice\n{line}\n")
    assert (facts.title, facts.hold) == ("Sluice", True)
    assert "held until" in told


@pytest.mark.parametrize("title", ["می\u200cخواهم", "Gull \U0001f469\u200d\U0001f3a8", "ക്\u200dഷ"])
@pytest.mark.parametrize("line", ["title: {}", "- title: {}", "{}", "title:\n  {}", "\u200etitle: {}"])
def test_a_title_keeps_the_signs_that_join_or_part_its_letters(tmp_path: Path, line: str, title: str) -> None:
    """Words of Persian and Malayalam are misspelt without, and one sign of several people or things falls apart."""
    assert read(tmp_path, f"{line.format(title)}\n")[0].title == title


def test_other_lines_may_be_a_list_too(tmp_path: Path) -> None:
    facts, told = read(tmp_path, "- Blue Jug, 2026\n- price: 240\n* medium: ink\n- lighter: -0.3\n")
    assert (facts.title, facts.year, facts.price, facts.medium) == ("Blue Jug", "2026", "240", "ink")
    assert (facts.lighter, told) == (-0.3, ())


@pytest.mark.parametrize("line", ["Title - Harbour at dusk", "title – Harbour at dusk", "TITLE — Harbour at dusk"])
def test_behind_a_known_word_a_dash_is_as_good_as_a_colon(tmp_path: Path, line: str) -> None:
    facts, told = read(tmp_path, f"{line}\nyear: 2026\n")
    assert (facts.title, facts.year, told) == ("Harbour at dusk", "2026", ())


@pytest.mark.parametrize("sign", [" = ", "=", "\t", " \t"])
def test_behind_a_known_word_an_equals_sign_or_a_tab_is_as_good_as_a_colon(tmp_path: Path, sign: str) -> None:
    """As settings and sheets of numbers have them: the title was published with its word before it."""
    facts, told = read(
        tmp_path, f"Title{sign}Harbour at dusk\r\nnot a work{sign}no\r\nhold{sign}no\r\nonly for{sign}site\r\n"
    )
    assert (facts.title, facts.released, facts.destinations, told) == ("Harbour at dusk", True, ("site",), ())


@pytest.mark.parametrize("line", ["Tide = moon", "Photo = harbour", "3 = 4"])
def test_an_equals_sign_in_a_title_stays(tmp_path: Path, line: str) -> None:
    assert read(tmp_path, f"{line}\n")[0].title == line


@pytest.mark.parametrize(
    ("line", "field", "places"),
    [
        ("only for site", "destinations", ("site",)), ("Only-for site, master", "destinations", ("site", "master")),
        ("- also for site", "also", ("site",)),
    ],
)  # fmt: skip
@pytest.mark.parametrize("before", ["title: Sluice\n", ""])
def test_where_a_work_goes_may_be_said_as_a_folder_says_it(
    tmp_path: Path, line: str, field: str, places: tuple[str, ...], before: str
) -> None:
    """It was taken for the title, and the work went everywhere."""
    facts, told = read(tmp_path, f"{before}{line}\n")
    assert (facts.title, getattr(facts, field), told) == ("Sluice" if before else "", places, ())


@pytest.mark.parametrize(
    "line",
    ["**hold**", "~~hold~~", "`hold`: yes", "<p>hold: yes</p>", '{"hold": true}', "| hold | yes |", "[hold]",
     "{\\rtf1\\ansi hold: yes\\par}", "\\f0\\fs24 \\cf0 hold: yes\\", "(private)"],
)  # fmt: skip
def test_a_hold_between_signs_of_a_program_holds_until_it_is_understood(tmp_path: Path, line: str) -> None:
    facts, (told,) = read(tmp_path, f"title: Sluice\n{line}\n")
    assert (facts.title, facts.hold, "held until" in told) == ("Sluice", True, True)


@pytest.mark.parametrize(
    "line",
    ["not online", "not on the web", "Not on my website!", "keep off the site", "keep it off the web", "nicht online",
     "nicht ins Netz", "pas en ligne", "embargo until June", "under embargo", "private until 1 May", "unpublished",
     "not public", "do not use", "Don’t release", "for me only", "nicht verwenden", "ne pas utiliser"],
)  # fmt: skip
def test_who_wants_a_work_off_the_web_is_heard(tmp_path: Path, line: str) -> None:
    """It was taken for the title, and published under that."""
    for name, note in (("IMG_1.jpg", line), ("IMG_1.jpg", f"title: Sluice\n{line}\n"), (f"Sluice, {line}.jpg", "")):
        facts, told = read(tmp_path, note, name)
        assert (facts.hold, line in facts.title, "is held until" in " ".join(told)) == (True, False, True), name


@pytest.mark.parametrize(
    "line",
    ["Not the net but the boat", "Not on the site of the old quay, a slip", "The private beach", "The harbour on line",
     "Boats that don’t use sails", "Embargo Bay", "Off the web of ropes", "not for site"],
)  # fmt: skip
def test_what_speaks_of_a_site_or_a_net_may_be_the_work(tmp_path: Path, line: str) -> None:
    assert not read(tmp_path, f"{line}\n")[0].hold
    assert not read(tmp_path, f"description: Drawn at noon.\n{line}\n")[0].hold


@pytest.mark.parametrize("line", ["(Wait for the tide)", "[Harbour]", "The ship's hold"])
def test_signs_around_a_title_ask_for_no_hold(tmp_path: Path, line: str) -> None:
    assert not read(tmp_path, f"{line}\n")[0].hold


@pytest.mark.parametrize(
    ("note", "title"),
    [
        ("**Title:** Blue Jug", "Blue Jug"), ("- **Title**: *Blue Jug*", "Blue Jug"), ("***Blue Jug***", "Blue Jug"),
        ("__Title__: `Blue Jug`", "Blue Jug"), ("title: 2*3* 4", "2*3* 4"), ("title: 4 *2*3", "4 *2*3"),
        ("title: * Blue *", "* Blue *"),
    ],
)  # fmt: skip
def test_stars_that_make_words_stout_are_no_part_of_them_in_markdown(tmp_path: Path, note: str, title: str) -> None:
    (tmp_path / "Jug.md").write_text(f"{note}\n**hold:** no\n**for:** *site*\n", encoding="utf-8")
    facts, told = facts_of(tmp_path, "Jug.jpg")
    assert (facts.title, facts.released, facts.destinations, told) == (title, True, ("site",), ())


@pytest.mark.parametrize("note", ["[[work]]\nhold = true", "works = [{hold = true}]", "works = [1, {hold = true}]"])
def test_a_hold_in_a_list_of_tables_holds(tmp_path: Path, note: str) -> None:
    (tmp_path / "Jug.toml").write_text(note, encoding="utf-8")
    assert facts_of(tmp_path, "Jug.jpg")[0].hold


def test_keywords_are_parted_by_the_commas_of_other_scripts_too(tmp_path: Path) -> None:
    assert read(tmp_path, "keywords: 船、海，貝，قارب، بحر\n")[0].keywords == ("船", "海", "貝", "قارب", "بحر")


@pytest.mark.parametrize("line", ["Photo - harbour", "Dusk - Harbour", "Order-less"])
def test_a_dash_in_a_title_stays(tmp_path: Path, line: str) -> None:
    assert read(tmp_path, f"{line}\n")[0].title == line


@pytest.mark.parametrize(
    ("notes", "title", "told"),
    [
        ({"Jug.toml": 'title = "Blue"\nhold = yes'}, "Blue", "can't be read as TOML"),
        ({"Jug.toml": 'title = "Blue\nyear = 2026\nhold = "yes'}, "", "can't be read as TOML"),
        ({"Jug.toml": "hold: yes"}, "", "can't be read as TOML"),
        ({"note.toml": 'keywords = ["jug"\nhold = true'}, "", "can't be read as TOML"),
        ({"Jug.toml": '[work]\ntitle = "Blue"\nhold = true'}, "Blue", ""),
        ({"Jug.txt": "title: Blue\nhold:\n"}, "Blue", "says “hold” and neither yes nor no"),
        ({"Jug.txt": "title: Blue, hold"}, "Blue, hold", "is held until it says"),
        ({"Jug.txt": "title: Blue", "Jug.md": "hold: yes"}, "Blue", ""),
        ({"Jug.txt": "title: Blue", "Jug.jpg.txt": "title: Green\nhold: yes"}, "Blue", "do not agree on the title"),
        ({"Jug.txt": "title: Blue", "jug.txt": "hold: yes"}, "Blue", ""),
        ({"Jug.txt": "title: Blue\nhold: no", "Jug.md": "hold: yes"}, "Blue", "do not agree on a hold; it is held"),
        ({"note.txt": "hold: no", "note.md": "year: 2026\nhold: yes"}, "", "do not agree on a hold; it is held"),
        ({"Jug.md": "---\ntitle: Blue\nhold: yes\n---\nLong ago"}, "Blue", "says “Long ago” without a word"),
        ({"Jug.md": "title: Blue\n" + "description: boats\n" * 4000 + "hold: yes"}, "Blue", "held until it is shorter"),
        ({"Jug.md": "hold: yes\ntitle: Blue\n" + "description: boats\n" * 4000}, "Blue", "is longer than 64 KiB"),
    ],
)
def test_a_hold_is_heard_however_it_is_noted(tmp_path: Path, notes: dict[str, str], title: str, told: str) -> None:
    for name, text in notes.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    facts, warnings = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, facts.title) == (True, title or "Jug")
    assert any(told in line for line in warnings) if told else not warnings


@pytest.mark.parametrize(
    ("note", "title"),
    [
        ("title: Hold", "Hold"),  # of a boat
        ("title: Boat, hold\nhold: no", "Boat, hold"),
        ("---\nBlue Jug, 2026\n---", "Blue Jug"),
        ("----------", "Jug"),
    ],
)
def test_what_asks_for_no_hold_is_none(tmp_path: Path, note: str, title: str) -> None:
    (tmp_path / "Jug.txt").write_text(note, encoding="utf-8")
    facts, warnings = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, facts.title, warnings) == (False, title, ())


def test_a_line_that_is_drawn_ends_a_text(tmp_path: Path) -> None:
    (tmp_path / "Jug.md").write_text("---\ndescription: A jug\n---\nIda has one like it", encoding="utf-8")
    assert facts_of(tmp_path, "Jug.jpg")[0].description == "A jug"


def test_a_note_in_other_capitals_is_that_of_the_photo_in_them(tmp_path: Path) -> None:
    for name in ("Jug.txt", "jug.txt", "jug.jpg"):
        (tmp_path / name).write_text("title: Blue" if name[0] == "J" else "hold: yes", encoding="utf-8")
    assert not facts_of(tmp_path, "Jug.jpg")[0].hold
    assert facts_of(tmp_path, "jug.jpg")[0].hold


def test_a_note_that_is_a_link_is_not_followed_and_holds(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_text("title: secret", encoding="utf-8")
    (tmp_path / "Jug.txt").symlink_to(tmp_path / "elsewhere")
    facts, warnings = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, facts.title) == (True, "Jug")
    assert "it is a link" in warnings[0]


@pytest.mark.parametrize("called", ["Jug.txt", "note.txt"])
@pytest.mark.parametrize("kind", ["folder", "pipe"])
def test_what_is_no_file_in_a_notes_place_is_told_and_holds(tmp_path: Path, called: str, kind: str) -> None:
    """A program that unpacks, or syncs, may have made it of a note: what that said is not known."""
    (tmp_path / called).mkdir() if kind == "folder" else os.mkfifo(tmp_path / called)
    facts, warnings = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, facts.title) == (True, "Jug")
    assert (
        f"{called} can't be read now (it is {'a folder' if kind == 'folder' else 'no plain file'}); the" in warnings[0]
    )


@pytest.mark.parametrize(
    ("note", "places"),
    [
        ("not for: site", ("site",)), ("Not-For: Site, print", ("Site", "print")), ("not for site", ("site",)),
        ("not for: site\nnot for: print", ("site", "print")), ("not for site\nnot for: print", ("site", "print")),
        ("except for: site", ("site",)), ("title: Jug\nnot for print", ("print",)),
    ],
)  # fmt: skip
def test_a_note_says_where_a_work_does_not_go(tmp_path: Path, note: str, places: tuple[str, ...]) -> None:
    facts, told = read(tmp_path, f"{note}\n")
    assert (facts.not_for, facts.hold, told) == (places, False, ())
    assert not facts.says_work or facts.title


def test_a_note_adds_to_what_its_folder_says_of_where_a_work_does_not_go(tmp_path: Path) -> None:
    place = tmp_path / "not for site" / "IMG_1.txt"
    place.parent.mkdir()
    place.write_text("not for print\nnot for shop\n", encoding="utf-8")
    facts, _ = facts_of(tmp_path, "not for site/IMG_1.jpg")
    assert facts.not_for == ("site", "print", "shop")
    assert facts.goes_to(("site", "wall")) == ("wall",)


def test_what_is_not_for_sale_is_for_all_places(tmp_path: Path) -> None:
    facts, told = read(tmp_path, "not for: sale\n")
    assert (facts.price, facts.not_for, told) == ("not for sale", (), ())


def test_places_that_a_work_is_not_for_add_up_on_the_command_line() -> None:
    assert by_key(["not for: site2", "not for site", "hold"]) == {"not_for": "not for: site2, site", "hold": "hold"}
    assert by_key(["not for: site", "not for: print", "not for:"]) == {}


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (r'title = "C:\dir\x"', r"twice, or the text stands in single quotes: `title = 'C:\dir\x'`"),
        ('title = "C:\\dir\\"', "`title = 'C:\\dir\\'`"),
        ('title = """a\n\\q"""', "a \\ in a text is written twice (line 2)"),
        ("date = 2026-02-30", "there is no such day as 2026-02-30"), ("year = 2026-1-5", "`year = 2026-01-05`"),
        ("date = 25.11.2026", "a date is year, month and day"), ("year = 1999-12-31 10:00", "is no time of day"),
        ('title = "a\x01"', "a sign that nobody sees"), ('title = "Jug', "a quote of `title` is open"),
    ],
)  # fmt: skip
def test_a_slip_in_a_note_in_toml_is_told_plainly(tmp_path: Path, line: str, told: str) -> None:
    (tmp_path / "IMG_1.toml").write_text(f"{line}\n", encoding="utf-8")
    warnings = facts_of(tmp_path, "IMG_1.jpg")[1]
    assert told in warnings[0]
    assert not re.search("column|Unescaped|Invalid|Expected", warnings[0])
    mistakes = Mistakes()
    mistakes.parsed(tmp_path / "IMG_1.toml", f"{line}\n")
    with pytest.raises(ConfigError, match=re.escape(told.removesuffix(" (line 2)"))):
        mistakes.tell()


RICH = r"{\rtf1\ansi\deff0 {\fonttbl {\f0 Courier;}} \f0\fs24 \b title:\b0  Jug\par hold: no\par}"


@pytest.mark.parametrize("name", ["Jug.rtf", "JUG.RTF", "Jug.jpg.rtf", "note.rtf", "Jug.txt"])
def test_a_note_in_rich_text_is_told_of_and_holds(tmp_path: Path, name: str) -> None:
    """The editor of some computers saves so by itself, and what was said went unheard."""
    (tmp_path / name).write_text(RICH, encoding="utf-8")
    facts, (told,) = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, facts.title) == (True, "Jug")
    called = "" if name == "Jug.txt" else f", called {Path(name).stem}.txt"
    assert told == (
        f"the note {name} can't be read now (it is rich text; save it as plain text{called}); "
        "the work is held until it can be"
    )


@pytest.mark.parametrize(
    ("rich", "plain"), [("Jug.rtf", "Jug.txt"), ("Jug.jpg.rtf", "Jug.md"), ("note.rtf", "note.txt")]
)
def test_rich_text_beside_the_same_as_plain_text_holds_nothing(tmp_path: Path, rich: str, plain: str) -> None:
    (tmp_path / rich).write_text(RICH, encoding="utf-8")
    (tmp_path / plain).write_text("title: Blue jug\n", encoding="utf-8")
    facts, told = facts_of(tmp_path, "Jug.jpg")
    assert (facts.hold, told) == (False, ())


def test_a_plain_note_whose_name_ends_like_rich_text_is_read(tmp_path: Path) -> None:
    (tmp_path / "Jug.rtf").write_text("title: Blue jug\n", encoding="utf-8")
    facts, told = facts_of(tmp_path, "Jug.jpg")
    assert (facts.title, facts.hold, told) == ("Blue jug", False, ())
