"""Captions, as photos are called and notes begin: cut wherever people put a sign, and never read by half in silence."""

from pathlib import Path
from typing import Any

import pytest

from autoprep.domain import WorkFacts
from autoprep.wishes.notes import facts_of


def read(folder: Path, name: str, note: str = "") -> tuple[WorkFacts, tuple[str, ...]]:
    if note:
        (folder / f"{name}.txt").write_text(note, encoding="utf-8")
    return facts_of(folder, f"{name}.jpg")


@pytest.mark.parametrize(
    ("text", "facts", "told"),
    [
        ("Sea Holly; 2025; aquarelle; 21 x 29,7 cm",
         {"title": "Sea Holly", "year": "2025", "medium": "aquarelle", "size_mm": (297, 210)}, []),
        ("Wend Sands at Dusk (oil on board, 30×40) 2026",
         {"title": "Wend Sands at Dusk", "year": "2026", "medium": "oil on board", "size_mm": (400, 300)}, []),
        ("Cord-grass (study no. 4) 2024-25, graphite 21x29,7",
         {"title": "Cord-grass (study no. 4)", "year": "2024–2025", "medium": "graphite", "size_mm": (297, 210)},
         []),
        ("Hornklee – Aquarell – 17,5x12,5 – um 1998",
         {"title": "Hornklee – Aquarell", "year": "c. 1998", "medium": "", "size_mm": (125, 175)}, ["“Aquarell”"]),
        ("Thrift — ink — c. 1998", {"title": "Thrift", "year": "c. 1998", "medium": "ink"}, []),
        ("Thrift - 1998 - 2003 - ink", {"title": "Thrift", "year": "1998–2003", "medium": "ink"}, []),
        ("Thrift - 2025 - 30 x 40 cm", {"title": "Thrift", "year": "2025", "size_mm": (400, 300)}, []),
        ("Thrift - hold", {"title": "Thrift", "hold": True}, []),
        ("Thrift (A5, ink)", {"title": "Thrift", "size_mm": (148, 210), "medium": "ink"}, []),
        ("Thrift, 12,25x17,5", {"title": "Thrift", "size_mm": (175, 122.5)}, []),
        ("Scan 0001, Sea lavender, watercolour", {"title": "Sea lavender, watercolour", "medium": ""},
         ["“watercolour” looks like a medium"]),
        ("Scan 0001, watercolour, 2026", {"title": "", "year": "2026", "medium": "watercolour"}, []),
        ("Salt, chalk", {"title": "Salt, chalk", "medium": ""}, ["“chalk” looks like a medium"]),
        ("Jug 18x24in, by the sea", {"title": "Jug, by the sea", "medium": ""}, ["“by the sea”"]),
        ("Heron (ink)", {"title": "Heron (ink)", "medium": ""}, ["“ink” looks like a medium"]),
        ("Boats, two of them, Aquarell, 2024", {"title": "Boats, two of them, Aquarell", "year": "2024"},
         ["“two of them”, “Aquarell”"]),
        ("Wend (study, 2026)", {"title": "Wend (study, 2026)", "year": ""}, []),
        ("Wend (Öl auf Holz, 30x40)", {"title": "Wend (Öl auf Holz, 30x40)", "size_mm": None},
         ["“Wend (Öl auf Holz, 30x40)” looks like a size"]),
        ("Study 3x4", {"title": "Study 3x4"}, ["“Study 3x4” looks like a size"]),
        ("Gulls, drawn in 2026", {"title": "Gulls, drawn in 2026"}, ["“drawn in 2026” looks like a year"]),
        ("Jug, 30x40cm, ink, 2026 or so", {"title": "Jug", "medium": "ink", "year": ""},
         ["“2026 or so” looks like a year"]),
        ("Jug, 2026, 30 x 40 furlongs", {"title": "Jug", "medium": "", "size_mm": None},
         ["“30 x 40 furlongs” looks like a size"]),
    ],
)  # fmt: skip
def test_a_caption_is_cut_at_any_sign(tmp_path: Path, text: str, facts: dict[str, Any], told: list[str]) -> None:
    as_name = read(tmp_path, text)
    as_line = read(tmp_path, "IMG_2041", f"{text}\n")
    for (found, warnings), called in ((as_name, "the photo's name"), (as_line, "the note IMG_2041.txt")):
        for key, value in facts.items():
            assert getattr(found, key) == (pytest.approx(value) if key == "size_mm" and value else value), key
        assert len(warnings) == len(told)
        for warning, part in zip(warnings, told, strict=True):
            assert warning.startswith(called)
            assert part in warning


@pytest.mark.parametrize(
    "title",
    [
        "Gulls, boats and rain", "Tide - evening", "Low water – Gannow Hard", "Heron (detail)", "Boats (two, or three)",
        "Boats; gulls", "Tide - in, out", "Study - 2", "Reeds 2025-26", "Harbour 2026", "Well-worn rope",
        "Photo 1, Boats", "Thrift, 2nd of 3",
    ],
)  # fmt: skip
def test_a_plain_title_stays_one(tmp_path: Path, title: str) -> None:
    assert read(tmp_path, title) == (WorkFacts(title=title), ())


@pytest.mark.parametrize(
    ("name", "note"),
    [
        ("Salt, chalk", "title: Salt, chalk"), ("Salt, chalk", "medium: chalk"), ("Study 3x4", "size: 30 x 40 cm"),
        ("Hornklee – Aquarell – 1998", "medium: watercolour"), ("Jug, 30x40cm, 2026 or so", "year: 2026"),
    ],
)  # fmt: skip
def test_a_note_settles_what_a_name_left_open(tmp_path: Path, name: str, note: str) -> None:
    assert len(read(tmp_path, name)[1]) == 1
    assert read(tmp_path, name, note)[1] == ()
    assert len(read(tmp_path, "IMG_1", f"{name}\nprice: 240")[1]) == 1
    assert not [line for line in read(tmp_path, "IMG_1", f"{name}\n{note}")[1] if "looks like" in line]


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        ("IMG_20261120_101112, hold", {"hold": True}), ("PXL_20261120_101112345.MP hold", {"hold": True}),
        ("IMG_2063, hold", {"hold": True}), ("Screenshot_20261126-101112_App, hold", {"hold": True}),
        ("IMG-20261126-WA0003, on hold", {"hold": True}), ("2026-11-20 10.30 on hold", {"hold": True}),
        ("hold, 2026-11-20 10.30", {"hold": True}),
        ("Messenger Image 2026-11-20 at 10.11.12, turn left", {"turn": 270}),
        ("20261120_101112, Blue Jug, 2026, watercolour, 30x40cm",
         {"title": "Blue Jug", "year": "2026", "medium": "watercolour", "size_mm": (400, 300), "size_free": False}),
        ("Sea lavender, 2026-11-20 14h30, hold", {"title": "Sea lavender", "hold": True}),
        ("Tide, 20261120 1030", {"title": "Tide"}),
        ("20261120_101112 - Copy", {}), ("20261120_101112, edited (2)", {}), ("2026-11-20 at 10.30.11 PM", {}),
        ("Blue Jug, on hold", {"title": "Blue Jug", "hold": True}),
        ("hold, Blue Jug", {"title": "Blue Jug", "hold": True}),
        ("Hold - Blue Jug", {"title": "Blue Jug", "hold": True}),
        ("Blue Jug, 2026, on hold", {"title": "Blue Jug", "year": "2026", "hold": True}),
        ("(hold) Blue Jug", {"title": "Blue Jug", "hold": True}), ("hold", {"hold": True}),
        ("In the hold", {"title": "In the hold"}), ("A ship's hold", {"title": "A ship's hold"}),
        ("Household", {"title": "Household"}), ("Stronghold, 2026", {"title": "Stronghold", "year": "2026"}),
    ],
)  # fmt: skip
def test_words_beside_a_machines_name_and_a_plain_hold_are_read(
    tmp_path: Path, name: str, facts: dict[str, Any]
) -> None:
    assert facts_of(tmp_path, f"{name}.jpg") == (WorkFacts(**facts), ())


@pytest.mark.parametrize(
    ("shown", "title"),
    [
        ("Blue Jug hold.jpg", "Blue Jug"), ("Blue Jug, please hold.jpg", "Blue Jug"), ("HOLD Blue Jug.jpg", ""),
        ("Blue Jug, 2026, do not publish.jpg", "Blue Jug"), ("Blue Jug (please hold), 2026.jpg", "Blue Jug"),
        ("Gulls, hold (two).jpg", "Gulls"), ("20261120_101112 please hold.jpg", ""), ("don't post/IMG_1.jpg", ""),
        ("Hold until Friday/IMG_1.jpg", ""), ("please hold/IMG_1.jpg", ""), ("hold (Anna)/IMG_1.jpg", ""),
    ],
)  # fmt: skip
def test_a_hold_in_other_words_holds_until_a_note_settles_it(tmp_path: Path, shown: str, title: str) -> None:
    facts, (told,) = facts_of(tmp_path, shown)
    assert (facts.title, facts.medium, facts.hold) == (title, "", True)
    assert "held until" in told
    place = (tmp_path / shown).with_suffix(".txt")
    place.parent.mkdir(exist_ok=True)
    for word in ("yes", "no"):
        place.write_text(f"hold: {word}", encoding="utf-8")
        facts, told_now = facts_of(tmp_path, shown)
        assert facts.hold is (word == "yes")
        assert not [line for line in told_now if "held until" in line]


@pytest.mark.parametrize(
    ("folder", "facts"),
    [
        ("on hold", {"hold": True}), ("HOLD!", {"hold": True}), ("01 hold", {"hold": True}), ("hold 2", {"hold": True}),
        ("hold-1", {"hold": True}), ("Hold (1)", {"hold": True}), ("Thresholds", {"title": "Thresholds"}),
        ("For: site", {"destinations": ("site",)}), ("for_site", {"destinations": ("site",)}),
        ("for-site", {"destinations": ("site",)}), ("for a, b", {"destinations": ("a", "b")}),
        ("also-for site; b", {"also": ("site", "b")}),
        ("not for site", {"not_for": ("site",)}), ("Not-for site; b", {"not_for": ("site", "b")}),
        ("not for site/not for b", {"not_for": ("site", "b")}), ("forget-me-not", {"title": "forget-me-not"}),
        ("as-is", {"title": "as-is"}),
        ("2026-11", {}), ("November", {}), ("11 November 2026", {}), ("11-november", {}), ("Nov '26", {}),
        ("November and December 2026", {}), ("2e Mai", {"title": "2e Mai"}), ("1er mai", {}), ("März_2026", {}),
        ("20th of June", {}), ("Mars", {"title": "Mars"}), ("mars 2026", {}), ("Sept", {"title": "Sept"}),
        ("November sea", {"title": "November sea"}), ("26", {}), ("A March day", {"title": "A March day"}),
    ],
)  # fmt: skip
def test_folders_are_called_as_people_and_computers_call_them(
    tmp_path: Path, folder: str, facts: dict[str, Any]
) -> None:
    assert facts_of(tmp_path, f"{folder}/IMG_1.jpg") == (WorkFacts(**facts), ())


@pytest.mark.parametrize(
    ("shown", "hold"),
    [
        ("note to self/IMG_1.jpg", False), ("private/IMG_1.jpg", True), ("Tide, 2026, private.jpg", True),
        ("Gallery - dont post/IMG_1.jpg", True), ("NOT YET/IMG_1.jpg", True),
        ("Tide (sold, do not post).jpg", True), ("Tide - not for web.jpg", True),
        ("privat/IMG_1.jpg", True), ("secret/IMG_1.jpg", True), ("do not publish/IMG_1.jpg", True),
    ],
)  # fmt: skip
def test_what_may_be_private_is_no_title_and_no_medium(tmp_path: Path, shown: str, hold: bool) -> None:
    facts, (told,) = facts_of(tmp_path, shown)
    assert (facts.medium, facts.title in ("", "Tide"), facts.hold) == ("", True, hold)
    assert ("the work is held until" if hold else "nothing was made of it") in told


@pytest.mark.parametrize(
    "title",
    [
        "Private View",
        "Not Yet Born",
        "A private path",
        "The Keep",
        "Show Me the Way",
        "Never Show Fear",
        "Do Not Disturb",
    ],
)
def test_a_title_that_sounds_so_is_a_title(tmp_path: Path, title: str) -> None:
    facts, told = facts_of(tmp_path, f"{title}, 2026, ink.jpg")
    assert (facts.title, facts.hold, told) == (title, False, ())


WISHES = (
    "art only", "Art only!", "no", "without frame", "only the picture", "crop it", "inside", "no title", "Frame",
    "only the drawing", "the art, not the frame",
)  # fmt: skip


@pytest.mark.parametrize("wish", WISHES[:-1])
def test_a_wish_in_other_words_is_answered_and_no_title(tmp_path: Path, wish: str) -> None:
    """A line, or a folder, of nothing but such words would stand in every file as the title."""
    for facts, told in (read(tmp_path, "IMG_1", f"- {wish}\n"), facts_of(tmp_path, f"{wish}/IMG_2.jpg")):
        assert facts.title == ""
        assert len(told) == 1
        assert f"“{wish}” is not understood, and no title" in told[0]
        assert f"“title: {wish}”" in told[0]


def test_the_answer_to_a_wish_names_the_line_that_says_it(tmp_path: Path) -> None:
    assert "write “outline: inside frame”, and if" in read(tmp_path, "IMG_1", "art only")[1][0]
    assert "write “outline: ask”, and if" in read(tmp_path, "IMG_1", "crop it")[1][0]
    assert "outline" not in read(tmp_path, "IMG_1", "no")[1][0]
    # A title says nothing of the frame: only the line itself, or the outline, settles it.
    assert len(read(tmp_path, "IMG_1", "art only\ntitle: Blue Jug")[1]) == 1
    assert read(tmp_path, "IMG_1", "art only\noutline: inside frame")[1] == ()
    assert read(tmp_path, "IMG_1", "title: No")[0].title == "No"


def test_a_title_settles_what_its_folder_is_called(tmp_path: Path) -> None:
    (tmp_path / "art only").mkdir()
    (tmp_path / "art only" / "IMG_2.txt").write_text("title: Reeds\n", encoding="utf-8")
    facts, told = facts_of(tmp_path, "art only/IMG_2.jpg")
    assert (facts.title, told) == ("Reeds", ())


@pytest.mark.parametrize(
    "title",
    ["The Frame Maker", "Inside the Cove", "No Wind", "Only Gulls", "The Edge", "Nothing", "Cut Reeds"],
)
def test_titles_with_words_of_wishes_stay_titles(tmp_path: Path, title: str) -> None:
    assert read(tmp_path, "IMG_1", title) == (WorkFacts(title=title, noted=True), ())
    assert facts_of(tmp_path, f"{title}/IMG_2.jpg") == (WorkFacts(title=title), ())


def test_a_long_wish_stays_a_title_and_a_part_that_reads_like_one_is_told(tmp_path: Path) -> None:
    facts, (told,) = read(tmp_path, "IMG_1", WISHES[-1])
    assert (facts.title, "“not the frame” is not understood" in told) == (WISHES[-1], True)
    assert facts_of(tmp_path, f"{WISHES[-1]}/IMG_2.jpg") == (WorkFacts(title=WISHES[-1]), ())


@pytest.mark.parametrize(
    "folder", ["only for submission", "Only-for submission", "only_for_submission", "for submission"]
)
def test_a_folder_that_says_only_for_sends_there_and_nowhere_else(tmp_path: Path, folder: str) -> None:
    facts, told = facts_of(tmp_path, f"{folder}/Jar.jpg")
    assert (facts.destinations, facts.also, facts.title, told) == (("submission",), (), "Jar", ())


def test_a_line_that_says_only_for_sends_there_and_nowhere_else(tmp_path: Path) -> None:
    (tmp_path / "Jar.txt").write_text("only for: submission, site", encoding="utf-8")
    facts, told = facts_of(tmp_path, "Jar.jpg")
    assert (facts.destinations, facts.also, told) == (("submission", "site"), (), ())


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("IMG_2041.HEIC", ""),
        ("Blue Jug.jpeg", "Blue Jug"),
        ("Blue Jug, 2026.heic", "Blue Jug"),
        ("No. 3.jug", "No. 3.jug"),
    ],
)
def test_the_ending_of_the_picture_that_a_photo_was_made_of_is_no_title(tmp_path: Path, name: str, title: str) -> None:
    assert read(tmp_path, name)[0].title == title


@pytest.mark.parametrize("wish", ["do not crop", "cropped", "for the jury", "no frame"])
@pytest.mark.parametrize("behind", ["", ", 2026"])
def test_a_wish_that_is_left_in_a_title_is_told(tmp_path: Path, wish: str, behind: str) -> None:
    """It stood in public titles without a word."""
    facts, told = facts_of(tmp_path, f"Sea Thrift, {wish}{behind}.jpg")
    assert facts.title == f"Sea Thrift, {wish}"
    assert told == (
        f"the photo's name: “{wish}” is not understood, and was left in the title; say in a note what is meant",
    )
    (tmp_path / f"Sea Thrift, {wish}{behind}.txt").write_text("title: Sea Thrift")
    assert "not understood" not in "".join(facts_of(tmp_path, f"Sea Thrift, {wish}{behind}.jpg")[1])


@pytest.mark.parametrize(
    ("shown", "turn"),
    [("Tide, rotate left.jpg", 270), ("Tide, rotated 90.jpg", 90), ("rotate right/IMG_1.jpg", 90)],
)
def test_who_writes_rotate_means_turn(tmp_path: Path, shown: str, turn: int) -> None:
    facts, told = facts_of(tmp_path, shown)
    assert (facts.turn, facts.title in ("Tide", ""), told) == (turn, True, ())


@pytest.mark.parametrize(
    ("wish", "line"),
    [("lighter", "lighter: 0.3"), ("Too dark", "lighter: 0.3"), ("make it a bit brighter", "lighter: 0.3"),
     ("darker please!", "darker: 0.3"), ("much too bright", "darker: 0.3")],
)  # fmt: skip
def test_who_asks_for_another_lightness_is_told_how(tmp_path: Path, wish: str, line: str) -> None:
    """“Too dark” was published as a work's title."""
    for facts, told in (read(tmp_path, "IMG_1", f"{wish}\n"), facts_of(tmp_path, f"{wish}/IMG_2.jpg")):
        assert facts.title == ""
        assert len(told) == 1
        assert f"“{line}”" in told[0]
    facts, told = facts_of(tmp_path, f"Tide, {wish}.jpg")
    assert (facts.title, len(told)) == (f"Tide, {wish}", 1)


@pytest.mark.parametrize("title", ["No light", "Brighter days", "The darker side", "Too dark to row"])
def test_a_title_may_speak_of_light(tmp_path: Path, title: str) -> None:
    assert read(tmp_path, "IMG_1", title) == (WorkFacts(title=title, noted=True), ())


@pytest.mark.parametrize(
    "wish",
    ["not before May", "wait until May", "internal", "internal use only", "hidden", "take down", "take it down",
     "no internet", "no website", "draft", "WIP", "work in progress", "unfinished", "nicht vor Mai", "kein Internet"],
)  # fmt: skip
def test_who_wants_a_work_to_wait_is_heard(tmp_path: Path, wish: str) -> None:
    """It was published, under a title that said so."""
    for facts, told in (
        facts_of(tmp_path, f"Sluice, {wish}.jpg"),
        facts_of(tmp_path, f"{wish}/IMG_1.jpg"),
        read(tmp_path, "IMG_2", f"title: Sluice\n{wish}\n"),
    ):
        assert (facts.hold, facts.title in ("Sluice", ""), len(told)) == (True, True, 1)
        assert "held until" in told[0]


@pytest.mark.parametrize("title", ["The hidden cove", "A harbour in progress", "Internal light", "Waiting for May"])
def test_a_title_may_hold_such_a_word(tmp_path: Path, title: str) -> None:
    for facts, _ in (facts_of(tmp_path, f"{title}.jpg"), facts_of(tmp_path, f"{title}/IMG_1.jpg")):
        assert (facts.title, facts.hold) == (title, False)


@pytest.mark.parametrize("key", ["draft", "hidden", "unfinished", "embargo", "WIP"])
def test_a_state_that_is_denied_holds_nothing(tmp_path: Path, key: str) -> None:
    assert not read(tmp_path, "IMG_1", f"title: Sluice\n{key}: no\n")[0].hold
    assert read(tmp_path, "IMG_2", f"title: Sluice\n{key}: yes\n")[0].hold
    assert read(tmp_path, "IMG_3", f"title: Sluice\n{key}: until May\n")[0].hold
    for line in ("not online: no", "work in progress: yes"):
        assert read(tmp_path, "IMG_4", f"title: Sluice\n{line}\n")[0].hold


@pytest.mark.parametrize("key", ["no", "No.", "Nr."])
def test_who_writes_no_is_told_which_word_gives_a_number(tmp_path: Path, key: str) -> None:
    facts, (told,) = read(tmp_path, "IMG_1", f"title: Sluice\n{key}: WH-017\n")
    assert facts.inventory == ""
    assert "the nearest word is “inventory”" in told


def test_a_remark_for_the_studio_holds_nothing(tmp_path: Path) -> None:
    assert not read(tmp_path, "IMG_1", "title: Sluice\ninternal: Ida wants it\n")[0].hold


@pytest.mark.parametrize("wish", ["only site", "site only", "Site only", "Only on site"])
def test_who_names_one_place_with_only_sends_it_there_alone(tmp_path: Path, wish: str) -> None:
    """It went everywhere, with “site only” for its medium or in its title."""
    for facts, told in (
        facts_of(tmp_path, f"Sluice, {wish}.jpg"),
        facts_of(tmp_path, f"Sluice, 2026, {wish}.jpg"),
        facts_of(tmp_path, f"Sluice ({wish}).jpg"),
        facts_of(tmp_path, f"{wish}/Sluice.jpg"),
        read(tmp_path, "IMG_1", f"title: Sluice\n{wish}\n"),
    ):
        assert (facts.title, facts.medium, facts.destinations, told) == ("Sluice", "", ("site",), ())


def test_only_says_no_place_beside_a_medium_or_in_a_title(tmp_path: Path) -> None:
    facts, _ = facts_of(tmp_path, "Sluice, 30x40cm, ink only.jpg")
    assert (facts.medium, facts.destinations) == ("ink only", ())
    assert facts_of(tmp_path, "Sluice, art only.jpg")[0].destinations == ()
    assert facts_of(tmp_path, "Only Saltmere.jpg")[0].title == "Only Saltmere"


@pytest.mark.parametrize("state", ["sold", "Framed", "NFS"])
def test_what_tells_a_works_state_is_no_title(tmp_path: Path, state: str) -> None:
    facts, told = facts_of(tmp_path, f"{state}/IMG_1.jpg")
    assert (facts.title, facts.hold) == ("", False)
    assert told == (f"the photo's folder: “{state}” is taken for no title; nothing was made of it",)
    assert "left in the title" in facts_of(tmp_path, f"Sluice, {state}.jpg")[1][0]


@pytest.mark.parametrize("key", ["inv. no.", "Inv. No", "inv no", "inventory no.", "Inv.-Nr.", "inv."])
def test_an_inventory_number_is_read_as_people_write_it(tmp_path: Path, key: str) -> None:
    assert read(tmp_path, "IMG_1", f"title: Sluice\n{key}: WH-017\n") == (
        WorkFacts(title="Sluice", inventory="WH-017", noted=True),
        (),
    )
