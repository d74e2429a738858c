"""What `show` says of a name that no photo has, and of what was said of a work."""

import unicodedata

import pytest

from autoprep.cli import main
from autoprep.cli.found import _waited_for
from autoprep.told.explanations import NO_PHOTO
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def show(wren: Studio, capsys: pytest.CaptureFixture[str], name: str) -> tuple[str, str]:
    main(["show", name, "--config", str(wren.config)])
    out, err = capsys.readouterr()
    return out, err


def test_names_that_begin_so_are_suggested(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("boats/Wend Sands at Dusk, seen from the mole of Gannow Hard.jpg", photo(1))
    wren.run()
    assert "near to that: “boats/Wend Sands at Dusk" in show(wren, capsys, "wend")[1]
    assert "near to that" not in show(wren, capsys, "Harbour")[1]


def test_a_name_is_known_however_its_letters_are_put_together(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    apart = unicodedata.normalize("NFD", "Küste/Möwe.jpg")
    wren.put(apart, photo(1))
    wren.put(unicodedata.normalize("NFD", "Küste/Lärm.mp3"), b"no photo")
    wren.run()
    for name in ("Küste/Möwe.jpg", "Küste/Möwe", unicodedata.normalize("NFD", "Küste/Möwe"), "Möwe"):
        assert show(wren, capsys, name)[0].startswith(apart)
    assert f"near to that: “{apart}”" in show(wren, capsys, "möw")[1]
    assert NO_PHOTO in show(wren, capsys, "Küste/Lärm.mp3")[1]
    assert _waited_for("Möwe", {apart: 5.0}) == 5.0


def test_what_is_said_of_the_work_is_shown(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Thrift\nsize: 30 x 40 cm\nyear: 2026\nmedium: ink\nprice: 240\n")
    wren.put("IMG_2.jpg", photo(2))
    wren.run()
    said = "  said of it: title Thrift; year 2026; medium ink; size 30 x 40 cm; price 240"
    assert said in show(wren, capsys, "IMG_1")[0].splitlines()
    assert "said of it" not in show(wren, capsys, "IMG_2")[0]


def test_redo_says_that_it_has_worked_on_other_photos_too(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put("IMG_2.jpg", photo(2))
    for more in ("What else waited in the inbox was worked on too: 1 photo; see `autoprep jobs`.", ""):
        main(["redo", "IMG_1", "--config", str(wren.config)])
        out = capsys.readouterr().out
        assert "Rendered again: 1 of 1 photo." in out
        assert more in out
        assert bool(more) == ("What else" in out)


def test_redo_of_a_destination_makes_what_is_sent_there(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    at = ("--destination", "square", "--config", str(wren.config))
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_2.jpg", photo(2))
    wren.run()
    wren.put("IMG_1.txt", "for: master\n")
    wren.run()
    main(["redo", *at])
    assert "Rendered again: 1 of 1 photo." in capsys.readouterr().out
    assert [name for name in wren.files() if name.startswith("square/")] == ["square/IMG_2.jpg"]
    for named, others in (("IMG_1.jpg", "IMG_2.jpg"), ("IMG_2.jpg", "IMG_1.jpg")):
        main(["redo", named, *at])  # what is named is made wherever the artist wants it, and that is said
        out = capsys.readouterr().out
        assert ("IMG_1.jpg is not sent to square; it is there now because you named both" in out) == (
            named == "IMG_1.jpg"
        )
        assert f"{others} is not" not in out
    main(["redo", *at])
    out = capsys.readouterr().out  # both: one is sent there, one was asked for
    assert "Rendered again: 2 of 2 photos." in out
    assert "is not sent" not in out
