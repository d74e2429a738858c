"""A destination's table that names its files in another way: what is made again bears the name of today."""

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


def works(wren: Studio) -> None:
    tables(wren, "{title}", "{nn} {title}")
    for number, title in enumerate(("Jug", "Ferry"), 1):
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
