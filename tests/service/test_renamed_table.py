"""A destination's table that names its files in another way: what is made again bears the name of today."""

from collections.abc import Sequence

import pytest

from autoprep.cli import main
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def tables(wren: Studio, site: str, call: str) -> None:
    text = f'[site]\nlong_side_px = 300\nname = "{site}"\n[call]\nlong_side_px = 200\nname = "{call}"\n'
    wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8")


def works(wren: Studio, titles: Sequence[str] = ("Jug", "Ferry")) -> None:
    tables(wren, "{title}", "{nn} {title}")
    for number, title in enumerate(titles, 1):
        wren.put(f"G{number}.txt", f"title: {title}\nyear: 2026\n")
        wren.put(f"G{number}.jpg", photo(number))
        wren.run()


def redo(wren: Studio, *words: str) -> int:
    return main(["redo", *words, "--config", str(wren.config)])


def test_a_redo_gives_the_names_of_today_and_check_tells_no_more(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    works(wren)
    tables(wren, "{title}, {year}", "{last} {nn} {title}")
    wren.run()
    before = {"call/01 Jug.jpg", "call/02 Ferry.jpg", "site/Jug.jpg", "site/Ferry.jpg"}
    assert wren.files().keys() == before  # settings make nothing anew by themselves
    wren.put("G1.txt", "title: Jug\nyear: 2026\nkeywords: blue\n")
    wren.run()
    assert wren.files().keys() == before  # nor is a work renamed by words that are in no name
    assert redo(wren, "--destination", "site") == 0
    site = {"site/Jug-2026.jpg", "site/Ferry-2026.jpg"}
    assert wren.files().keys() == {"call/01 Jug.jpg", "call/02 Ferry.jpg", *site}
    assert redo(wren) == 0
    assert wren.files().keys() == {"call/Halloway 01 Jug.jpg", "call/Halloway 02 Ferry.jpg", *site}
    capsys.readouterr()
    assert main(["check", "--config", str(wren.config)]) == 0
    assert "made before" not in capsys.readouterr().out
    as_made = wren.files()
    assert redo(wren) == 0
    assert wren.files() == as_made


def test_what_is_measured_afresh_bears_them_too_and_what_was_retouched_stays(wren: Studio) -> None:
    works(wren)
    retouched = wren.settings.folders.ready / "site" / "Jug.jpg"
    retouched.write_bytes(b"retouched")
    tables(wren, "{title} {year}", "{nn} {title}")
    assert redo(wren, "--afresh") == 0
    assert wren.files().keys() == {
        "call/01 Jug.jpg", "call/02 Ferry.jpg", "site/Jug.jpg", "site/Jug 2026.jpg", "site/Ferry 2026.jpg",
    }  # fmt: skip
    assert retouched.read_bytes() == b"retouched"


def test_a_redo_by_another_table_leaves_names_that_fit(wren: Studio) -> None:
    """A number at its end, that told it from a file of the artist's, is no other name."""
    tables(wren, "{title}", "{nn} {title}")
    own = wren.settings.folders.ready / "site" / "Jug.jpg"
    own.parent.mkdir(parents=True, exist_ok=True)
    own.write_bytes(b"the artist's")
    works(wren)
    before = wren.files().keys()
    assert "site/Jug-2.jpg" in before
    config = wren.config.with_name("destinations.toml")
    text = config.read_text(encoding="utf-8").replace("300", "310").replace("200", "210")
    config.write_text(text, encoding="utf-8")
    assert redo(wren) == 0
    assert wren.files().keys() == before


def numbers(wren: Studio) -> dict[str, str]:
    """Title -> number in the call."""
    stems = [name.removeprefix("call/").removesuffix(".jpg") for name in wren.files() if name.startswith("call/")]
    found = {stem.split()[-1]: next(word for word in stem.split() if word.isdecimal()) for stem in stems}
    assert len(found) == len(stems)
    return found


@pytest.mark.parametrize("first", ["G1.jpg", "G2.jpg"])
def test_a_redo_of_some_works_by_another_pattern_gives_no_number_twice(wren: Studio, first: str) -> None:
    """A call's list went out with the first names: who asks for the second work alone has it under its number."""
    works(wren)
    before = numbers(wren)
    tables(wren, "{title}", "{last} {nn} {title}")
    assert redo(wren, first) == 0
    assert numbers(wren) == before
    wren.put("G3.txt", "title: Heron\nyear: 2026\norder: 1\n")  # which is given, by whichever pattern
    wren.put("G3.jpg", photo(3))
    wren.run()
    assert numbers(wren) == {**before, "Heron": "03"}
    assert redo(wren) == 0
    assert numbers(wren) == {**before, "Heron": "03"}


def test_digits_of_a_title_are_no_number_of_its_earlier_name(wren: Studio) -> None:
    works(wren, ("Pier 12 Jug", "Ferry"))
    tables(wren, "{title}", "{last} {nn} {title}")
    assert redo(wren, "G2.jpg") == redo(wren, "G1.jpg") == 0
    assert {"call/Halloway 01 Pier 12 Jug.jpg", "call/Halloway 02 Ferry.jpg"} <= wren.files().keys()


def test_numbers_that_begin_anew_with_each_title_stay_apart(wren: Studio) -> None:
    tables(wren, "{title}", "{title} {nn}")
    for number, title in enumerate(("Jug", "Ferry"), 1):
        wren.put(f"G{number}.txt", f"title: {title}\nyear: 2026\n")
        wren.put(f"G{number}.jpg", photo(number))
        wren.run()
    assert {"call/Jug 01.jpg", "call/Ferry 01.jpg"} <= wren.files().keys()


def test_what_other_words_made_again_and_left_its_name_is_still_told_by_check(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    works(wren)
    tables(wren, "{title}, {year}", "{nn} {title}")
    for number, title in enumerate(("Jug", "Ferry"), 1):
        wren.put(f"G{number}.txt", f"title: {title}\nyear: 2026\nkeywords: blue\n")
    wren.run()
    assert {"site/Jug.jpg", "site/Ferry.jpg"} <= wren.files().keys()
    capsys.readouterr()
    assert main(["check", "--config", str(wren.config)]) == 0
    told = capsys.readouterr().out
    assert "site: 2 files in its folder were made before the name, " in told
    assert "call: 2 files" not in told  # of which the name is that of today
    assert redo(wren, "--destination", "site") == 0
    assert {"site/Jug-2026.jpg", "site/Ferry-2026.jpg"} <= wren.files().keys()
    capsys.readouterr()
    assert main(["check", "--config", str(wren.config)]) == 0
    assert "made before" not in capsys.readouterr().out
