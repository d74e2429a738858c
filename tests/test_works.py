"""What the artist says of a work: folders, file names and notes, and which of them wins."""

from pathlib import Path

import pytest

from autoprep.wishes.notes import facts_of, reference_shots


def facts(tmp_path: Path, shown: str, note: str | None = None, ending: str = ".txt"):  # type: ignore[no-untyped-def]
    place = tmp_path / shown
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(b"")
    if note is not None:
        place.with_suffix(ending).write_text(note, encoding="utf-8")
    return facts_of(tmp_path, shown)


def test_a_name_as_a_caption(tmp_path: Path) -> None:
    said, warnings = facts(tmp_path, "Blue Jug, 2026, watercolour, 30x40cm.jpg")
    assert (said.title, said.year, said.medium) == ("Blue Jug", "2026", "watercolour")
    assert said.size_mm == (400, 300)  # height comes first in captions: common practice, no source
    assert warnings == ()


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("IMG_1234.jpg", ""),
        ("PXL_20260614_101112.jpg", ""),
        ("Thrift, and boats.jpg", "Thrift, and boats"),
        ("Boats, two of them, 2024.jpg", "Boats, two of them"),
        ("Sea_thrift.jpg", "Sea thrift"),
    ],
)
def test_titles(tmp_path: Path, name: str, title: str) -> None:
    assert facts(tmp_path, name)[0].title == title


def test_folders(tmp_path: Path) -> None:
    said, _ = facts(tmp_path, "for spring show/as ink/hold/Blue Jug/IMG_0001.jpg")
    assert said.destinations == ("spring show",)
    assert said.kind == "ink"
    assert said.hold
    assert said.title == "Blue Jug"
    for folder in (
        "Camera Uploads", "Camera Roll", "camera_roll (2)", "All Photos", "My Pictures", "Downloads", "Recents",
        "Screenshots", "New folder", "Untitled folder 2",
    ):  # fmt: skip
        assert (folder, facts(tmp_path, f"{folder}/IMG_0002.jpg")[0].title) == (folder, "")
    for folder in ("Photos of Saltmere", "Camera obscura", "Recent work", "New harbour"):
        assert facts(tmp_path, f"{folder}/IMG_0002.jpg")[0].title == folder


def test_a_loose_note_wins_and_what_it_can_not_say_is_told(tmp_path: Path) -> None:
    note = (
        "Foo: bar\nTITLE: “Low Tide”\nSize: 12 x 9 in\nYear: c. 1998\n"
        "Alt: Boats lie on the sand;\n  gulls between them\nkind: oil\n"
    )
    said, warnings = facts(tmp_path, "Blue Jug, 2026.jpg", note)
    assert said.title == "Low Tide"
    assert said.year == "c. 1998"
    assert said.size_mm == pytest.approx((9 * 25.4, 12 * 25.4))
    assert said.unit == "in"
    assert said.alt_text == "Boats lie on the sand; gulls between them"
    assert any("Foo" in warning for warning in warnings)
    assert any("kind" in warning and "oil" in warning for warning in warnings)


def test_a_toml_note(tmp_path: Path) -> None:
    said, warnings = facts(
        tmp_path, "IMG_3.jpg", 'title = "Thrift"\nkeywords = ["thrift", "boats"]\nhold = true\n', ".toml"
    )
    assert (said.title, said.keywords, said.hold) == ("Thrift", ("thrift", "boats"), True)
    assert warnings == ()
    _, warnings = facts(tmp_path, "IMG_4.jpg", "title = [", ".toml")
    assert len(warnings) == 1
    assert "can't be read" in warnings[0]


def test_a_note_in_wide_characters(tmp_path: Path) -> None:
    (tmp_path / "IMG_5.jpg").write_bytes(b"")
    (tmp_path / "IMG_5.txt").write_text("title: Bläue", encoding="utf-16")
    assert facts_of(tmp_path, "IMG_5.jpg")[0].title == "Bläue"


def test_impossible_sizes_are_told(tmp_path: Path) -> None:
    said, warnings = facts(tmp_path, "Jug, 0x40cm.jpg")
    assert said.size_mm is None
    assert len(warnings) == 1


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("light reference/IMG_1.jpg", "light reference"),
        ("Grey Card.jpg", "grey card"),
        ("gray-card 2.jpg", "grey card"),
        ("color chart.jpg", "colour chart"),
        ("white board.jpg", "blank board"),
        ("Charts of Saltmere.jpg", None),
        ("reference/IMG_1.jpg", None),
    ],
)
def test_reference_shots_by_name(tmp_path: Path, shown: str, said: str | None) -> None:
    """Only what can hardly be the title of a work is taken for a reference."""
    facts, _ = facts_of(tmp_path, shown)
    assert facts.reference == said


def test_the_nearest_folder_with_references_counts(tmp_path: Path) -> None:
    for place in ("light reference/a.jpg", "june/grey card.jpg", "june/pages/IMG_7.jpg", "IMG_8.jpg"):
        (tmp_path / place).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / place).write_bytes(b"x")
    assert reference_shots(tmp_path, "june/pages/IMG_7.jpg") == [(tmp_path / "june" / "grey card.jpg", "grey card")]
    assert reference_shots(tmp_path, "IMG_8.jpg") == [(tmp_path / "light reference" / "a.jpg", "light reference")]


def test_reference_shots_are_looked_for_by_names_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten thousand photos in one folder are asked about once for each of them: no file of another name is looked at."""
    for number in range(50):
        (tmp_path / f"IMG_{number}.jpg").write_bytes(b"")
    (tmp_path / "grey card.jpg").write_bytes(b"")
    looked: list[str] = []
    real = Path.is_symlink
    monkeypatch.setattr(Path, "is_symlink", lambda path: looked.append(path.name) or real(path))  # type: ignore[func-returns-value]
    monkeypatch.setattr(Path, "iterdir", lambda path: pytest.fail(f"{path.name} was read as paths"))
    assert [said for _, said in reference_shots(tmp_path, "IMG_7.jpg")] == ["grey card"]
    assert set(looked) == {"grey card.jpg"}


def test_a_grey_card_beside_the_work_is_said(tmp_path: Path) -> None:
    assert facts_of(tmp_path, "with grey card/IMG_1.jpg")[0].grey_card
    (tmp_path / "Reeds.txt").write_text("Grey card: yes", encoding="utf-8")
    assert facts_of(tmp_path, "Reeds.jpg")[0].grey_card
    assert not facts_of(tmp_path, "IMG_2.jpg")[0].grey_card


@pytest.mark.parametrize(
    ("said", "field", "value"),
    [("white", "paper", "white"), ("Toned", "paper", "toned"), ("none", "paper", "none"), ("keep", "keep_paper", True)],
)
def test_the_paper_can_be_said(tmp_path: Path, said: str, field: str, value: object) -> None:
    (tmp_path / "IMG_1.txt").write_text(f"paper: {said}", encoding="utf-8")
    facts, warnings = facts_of(tmp_path, "IMG_1.jpg")
    assert getattr(facts, field) == value
    assert warnings == ()


def test_a_folders_note_holds_for_all_in_it_and_the_photos_own_wins(tmp_path: Path) -> None:
    book = tmp_path / "Sketchbook" / "May"
    book.mkdir(parents=True)
    (tmp_path / "Sketchbook" / "note.txt").write_text("paper: toned\nmedium: chalk\nsize: 20 x 30 cm", encoding="utf-8")
    (book / "IMG_2.txt").write_text("medium: ink", encoding="utf-8")
    facts, _ = facts_of(tmp_path, "Sketchbook/May/IMG_2.jpg")
    assert (facts.paper, facts.medium, facts.size_mm) == ("toned", "ink", (300.0, 200.0))
    assert facts_of(tmp_path, "IMG_3.jpg")[0].paper is None


def test_a_sketchbook_remembers_its_paper(tmp_path: Path) -> None:
    for folder in ("Grey book", "DCIM", "Camera Roll"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "IMG_1.txt").write_text("paper: toned\ntitle: Rope", encoding="utf-8")
    later, _ = facts_of(tmp_path, "Grey book/IMG_2.jpg")
    assert later.paper == "toned"
    assert later.title == "Grey book"  # only the paper is the book's
    assert facts_of(tmp_path, "DCIM/IMG_2.jpg")[0].paper is None  # a camera's folder is no sketchbook
    assert facts_of(tmp_path, "Camera Roll/IMG_2.jpg")[0].paper is None
    (tmp_path / "Grey book" / "IMG_3.txt").write_text("paper: white", encoding="utf-8")
    assert facts_of(tmp_path, "Grey book/IMG_3.jpg")[0].paper == "white"


@pytest.mark.parametrize(
    ("line", "stops", "warned"),
    [("lighter: 0.3", 0.3, 0), ("Lighter: 0,5 stops", 0.5, 0), ("darker: 1", -1.0, 0), ("lighter: a lot", 0.0, 1)],
)
def test_lighter_and_darker(tmp_path: Path, line: str, stops: float, warned: int) -> None:
    (tmp_path / "IMG_1.txt").write_text(line, encoding="utf-8")
    said, warnings = facts_of(tmp_path, "IMG_1.jpg")
    assert said.lighter == pytest.approx(stops)
    assert len(warnings) == warned


@pytest.mark.parametrize(
    ("word", "held"), [("yes", True), ("no", False), ("No", False), ("false", False), ("0", False)]
)
def test_hold_can_be_said_and_unsaid(tmp_path: Path, word: str, held: bool) -> None:
    (tmp_path / "a.txt").write_text(f"hold: {word}", encoding="utf-8")
    assert facts_of(tmp_path, "a.jpg")[0].hold is held


def test_words_are_cut_to_what_a_file_can_hold_and_that_is_told(tmp_path: Path) -> None:
    words = ", ".join(f"word{number}" for number in range(9000))
    said, warnings = facts(tmp_path, "a.jpg", f"description: {'long ' * 20000}\nkeywords: {words}"[:60000])
    assert len(said.description) <= 4000
    assert any("longer than 4000 letters" in line for line in warnings)
    said, warnings = facts(tmp_path, "b.jpg", f"keywords: {words}"[:60000])
    assert len(said.keywords) == 60
    assert any("keywords" in line for line in warnings)


def test_a_hold_in_words_that_are_not_known_holds(tmp_path: Path) -> None:
    said, warnings = facts(tmp_path, "a.jpg", "hold: until spring")
    assert said.hold
    assert "not understood" in warnings[0]


@pytest.mark.parametrize(
    ("name", "note", "says"),
    [
        ("IMG_1.jpg", "", False),
        ("Harbour, 2026.jpg", "", False),  # any photo may be called so
        ("IMG_2026.jpg", "hold: yes", False),
        ("IMG_1.jpg", "not a work: yes", False),
        ("IMG_1.jpg", "nonsense", True),  # the first line of a note is a caption
        ("IMG_1.jpg", "year: 2026", True),
        ("IMG_1.jpg", "title: Gull", True),
        ("IMG_1.jpg", "alt: A gull on a pier", True),
        ("IMG_1.jpg", "description: A gull", True),
        ("IMG_1.jpg", "keywords: gull", True),
        ("IMG_1.jpg", "lighter: 0.3", True),
        ("IMG_1.jpg", "paper: keep", True),
        ("turn left/IMG_1.jpg", "", True),
        ("as shot/IMG_1.jpg", "", True),
    ],
)
def test_what_is_said_of_works_only_says_that_there_is_one(tmp_path: Path, name: str, note: str, says: bool) -> None:
    place = (tmp_path / name).with_suffix(".txt")
    place.parent.mkdir(exist_ok=True)
    place.write_text(note, encoding="utf-8")
    assert facts_of(tmp_path, name)[0].says_work == says
