"""Notes are found however phones and computers write their names, and a folder's are read once for all its photos."""

import unicodedata
from pathlib import Path

import pytest

from autoprep.wishes import note_files, photo_notes
from autoprep.wishes.corner_notes import is_called_for
from autoprep.wishes.note_files import text_of
from autoprep.wishes.notes import facts_of
from autoprep.wishes.photo_notes import has_note, without_photo


def put(inbox: Path, name: str, text: str) -> None:
    (inbox / name).parent.mkdir(parents=True, exist_ok=True)
    (inbox / name).write_text(text, encoding="utf-8")


def apart(text: str) -> str:
    return unicodedata.normalize("NFD", text)


@pytest.mark.parametrize(
    ("shown", "note"),
    [
        ("IMG_1.jpg", "img_1.txt"), ("IMG_1.jpg", "IMG_1.Txt"), ("IMG_1.JPG", "IMG_1.jpg.txt"),
        ("IMG_1.jpg", "Note.txt"), ("Journal/IMG_1.jpg", "NOTE.TXT"), ("Journal/IMG_1.jpg", "Journal/Note.txt"),
        ("Möwe.jpg", apart("Möwe.txt")), (apart("Möwe.jpg"), "Möwe.txt"), (apart("Möwe.jpg"), "möwe.TXT"),
    ],
)  # fmt: skip
def test_a_note_is_read_however_its_name_is_written(tmp_path: Path, shown: str, note: str) -> None:
    (tmp_path / shown).parent.mkdir(exist_ok=True)
    assert not facts_of(tmp_path, shown)[0].hold
    put(tmp_path, note, "hold: yes")
    facts, told = facts_of(tmp_path, shown)
    assert (facts.hold, told) == (True, ())
    assert not without_photo([Path(note).name], [Path(shown).name])
    put(tmp_path, note, "hold: no")
    assert facts_of(tmp_path, shown)[0].released


@pytest.mark.parametrize("shown", ["nicht veröffentlichen/Jar.jpg", "Jar, zurückhalten.jpg", "não mostrar/Jar.jpg"])
def test_a_hold_is_heard_where_letters_and_accents_stand_apart(tmp_path: Path, shown: str) -> None:
    put(tmp_path, apart(shown), "")
    facts, told = facts_of(tmp_path, apart(shown))
    assert (facts.hold, facts.title) == (True, "Jar")
    assert "asks to hold" in told[0]
    put(tmp_path, "Blue.txt", apart("bitte nicht veröffentlichen"))
    assert facts_of(tmp_path, "Blue.jpg")[0].hold


@pytest.mark.parametrize(
    "shown", ["ｈｏｌｄ/Ｊar.jpg", "Ｊar, ｈｏｌｄ.jpg", "Ｊar　ＨＯＬＤ.jpg", "hold　（２）/Ｊar.jpg"]
)
def test_a_hold_in_letters_of_full_width_is_heard(tmp_path: Path, shown: str) -> None:
    put(tmp_path, shown, "")
    facts, told = facts_of(tmp_path, shown)
    assert (facts.hold, facts.title) == (True, "Ｊar")
    assert len(told) == ("ＨＯＬＤ" in shown)  # the others are called so plainly


def test_a_note_in_letters_of_full_width_is_read_and_its_texts_stay(tmp_path: Path) -> None:
    put(tmp_path, "Jar.txt", "ｔｉｔｌｅ：Ｊａｒ　２\nｔｕｒｎ：ｌｅｆｔ\nｈｏｌｄ：ｙｅｓ")
    facts, told = facts_of(tmp_path, "Jar.jpg")
    assert (facts.title, facts.turn, facts.hold, told) == ("Ｊａｒ ２", 270, True, ())
    put(tmp_path, "Jar.txt", "ｄｏ　ｎｏｔ　ｐｏｓｔ")
    assert facts_of(tmp_path, "Jar.jpg")[0].hold
    put(tmp_path, "Jar.txt", "ｈｏｌｄ：ｎｏ")
    assert facts_of(tmp_path, "Jar.jpg")[0].released


def test_words_that_reach_files_have_their_letters_put_together(tmp_path: Path) -> None:
    put(tmp_path, apart("Möwe, conté, 2026.jpg"), "")
    put(tmp_path, "Möwe, conté, 2026.txt", "title: Möwe\nalt: " + apart("Eine Möwe"))
    facts, told = facts_of(tmp_path, apart("Möwe, conté, 2026.jpg"))
    assert (facts.title, facts.medium, facts.alt_text) == ("Möwe", "conté", "Eine Möwe")
    assert told == ()  # the name and the note agree
    assert facts_of(tmp_path, apart("Küste/IMG_1.jpg"))[0].title == "Küste"


def test_a_note_of_just_the_photos_name_wins(tmp_path: Path) -> None:
    put(tmp_path, "img_1.txt", "title: Jar")
    assert facts_of(tmp_path, "IMG_1.jpg")[0].title == "Jar"
    put(tmp_path, "IMG_1.txt", "title: Jug")
    assert facts_of(tmp_path, "IMG_1.jpg")[0].title == "Jug"
    assert facts_of(tmp_path, "img_1.jpg")[0].title == "Jar"
    assert has_note(tmp_path, "Img_1.jpg", corners=False)
    assert not has_note(tmp_path, "IMG_11.jpg", corners=False)


@pytest.mark.parametrize(
    ("shown", "note", "named"),
    [
        (apart("Möwe.jpg"), "Möwe.corners.txt", apart("Möwe.jpg")),
        ("Küste/Möwe.jpg", "Möwe.corners.txt", apart("Küste/Möwe.jpg")),
        ("Gull.jpg", "Gull.corners.txt.txt", "Gull.jpg"), ("Gull.jpg", "Gull.corners (10).txt", "Gull.jpg"),
        ("Gull.jpg", "gull.Corners.TXT", "Gull.jpg"), ("Gull.jpg", "Gull.corners - Copy.txt", "Gull.jpg"),
    ],
)  # fmt: skip
def test_a_note_of_the_corner_page_is_read_however_it_was_saved(
    tmp_path: Path, shown: str, note: str, named: str
) -> None:
    put(tmp_path, shown, "")
    put(tmp_path, note, f"photo: {named}\ncorners: 120,80 1900,95 1880,2500 130,2480")
    put(tmp_path, "Gulls.corners.txt", "photo: Gulls.jpg\ncorners: 1,1 9,1 9,9 1,9")
    corners = facts_of(tmp_path, shown)[0].corners_px
    assert corners is not None
    assert corners[0] == (120, 80)
    assert is_called_for(note, shown)


def test_the_papers_of_a_folder_are_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A journal of a thousand pages is one folder: what each costs must not grow with it."""
    for number in range(20):
        put(tmp_path, f"Journal/IMG_{number}.txt", f"price: {number}")
    put(tmp_path, "Journal/IMG_3.txt", "paper: toned")
    read: list[str] = []

    def noted(place: Path) -> str | None:
        read.append(place.name)
        return text_of(place)

    monkeypatch.setattr(photo_notes, "text_of", noted)
    monkeypatch.setattr(note_files, "text_of", noted)
    assert {facts_of(tmp_path, f"Journal/IMG_{number}.jpg")[0].paper for number in range(20)} == {"toned"}
    places = [name for name in read if (tmp_path / "Journal" / name).is_file()]
    assert len(places) <= 2 * 20  # each for its photo, and once for all
    put(tmp_path, "Journal/IMG_4.txt", "paper: white paper, and said anew")
    put(tmp_path, "Journal/IMG_5.txt", "paper: none")
    assert facts_of(tmp_path, "Journal/IMG_1.jpg")[0].paper == "none"
