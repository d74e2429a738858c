"""What is typed after a command: any bytes, any numbers, in any order; it is used, or answered in one line."""

import json
import os
from pathlib import Path

import pytest
from pypdf import PdfReader

from autoprep.cli import main
from autoprep.cli.again import _came_out
from autoprep.domain import JobRecord, OutputRecord
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

BYTES = os.fsdecode(b"caf\xe9")


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def run(wren: Studio, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        code = main([*words, "--config", str(wren.config)])
    except SystemExit as end:  # wrong words
        code = int(str(end.code))
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_names_that_are_no_text_are_names_like_others(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put(f"{BYTES}.jpg", photo(1))
    assert run(wren, capsys, "show", BYTES)[0] == 2  # before the first photo has come
    wren.run()
    for name in (BYTES, f"{BYTES}.jpg", str(wren.inbox / f"{BYTES}.jpg"), "caf\\xe9"):
        code, out, err = run(wren, capsys, "show", name)
        assert (code, err) == (0, ""), name
        assert "caf\\xe9.jpg" in out
    assert run(wren, capsys, "say", BYTES, f"title: {BYTES}")[:2] == (
        0, "caf\\xe9.jpg: said here is now: title: caf\\xe9. `watch` or `once` makes what follows from it.\n",
    )  # fmt: skip
    assert "caf\\xe9.jpg was not set aside" in run(wren, capsys, "retry", BYTES)[2]
    assert run(wren, capsys, "redo", BYTES)[0] == 0
    place = wren.inbox.parent / f"{BYTES}.pdf"
    code, out, _ = run(wren, capsys, "sheet", str(place), BYTES, "--title", f"{BYTES}\nof Saltmere")
    assert (code, "1 picture on 1 page" in out) == (0, True)
    assert "caf\\xe9 of Saltmere" in PdfReader(place).pages[0].extract_text()
    for words in (
        ("show", f"{BYTES}2"), ("jobs", "--month", BYTES), ("jobs", "--outcome", BYTES),
        ("redo", "--destination", BYTES), ("works", "--for", BYTES), ("bag", BYTES, "bags"),
        ("sheet", "x.pdf", "--for", BYTES),
    ):  # fmt: skip
        assert run(wren, capsys, *words)[0] == 2, words


@pytest.mark.parametrize("huge", ["9" * 20, "9" * 400])
def test_pages_of_any_number_are_answered(wren: Studio, capsys: pytest.CaptureFixture[str], huge: str) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    assert run(wren, capsys, "jobs", "--page", huge)[:2] == (
        0, f"There is no page {huge}: there is 1 page, of 1 photo in all.\n",
    )  # fmt: skip
    assert "Gull.jpg" in run(wren, capsys, "jobs", "--per-page", huge)[1]
    assert json.loads(run(wren, capsys, "jobs", "--json", "--page", huge, "--per-page", huge)[1]) == []


def test_words_may_stand_behind_an_option(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Reeds.jpg", photo(2))
    wren.run()
    config = ("--config", str(wren.config))
    assert main(["say", "Gull.jpg", "price: 9", *config, "title: Slip", "year: 2026"]) == 0
    assert "now: price: 9; title: Slip; year: 2026." in capsys.readouterr().out
    assert main(["say", "Gull.jpg", *config, "--", "price: 8"]) == 0
    place = str(wren.inbox.parent / "sheet.pdf")
    assert main(["sheet", place, *config, "Reeds"]) == 0
    assert capsys.readouterr().out.endswith(f"1 picture on 1 page: {place}\n")
    # What no command takes is answered with the usage of that command.
    for words in (["show", "Gull.jpg", *config, "Reeds.jpg"], ["say", "Gull.jpg", *config, "--titel", "price: 7"]):
        with pytest.raises(SystemExit) as end:
            main(words)
        assert end.value.code == 2
        assert f"usage: autoprep {words[0]} " in capsys.readouterr().err
    assert run(wren, capsys, "say", "Gull.jpg", "price: 6")[1].count("price: 6") == 1


@pytest.mark.parametrize(
    "words", [("bag", "square", ""), ("demo", "--dir", ""), ("demo", "--photos", " "), ("init", "")]
)
def test_a_folder_without_a_name_is_none(
    wren: Studio, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for arguments in (words, ("check", "--config", "")):
        with pytest.raises(SystemExit) as end:
            main(list(arguments))
        assert end.value.code == 2
        assert "the folder has no name" in capsys.readouterr().err


def test_words_are_looked_at_before_the_first_photo_has_come(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (("--outcome", "bogus"), ("--page", "0"), ("--per-page", "-1"), ("--month", "2026-13")):
        code, _, err = run(wren, capsys, "jobs", *words)
        assert (code, err != "") == (2, True), words
    assert run(wren, capsys, "jobs", "--outcome", "ready")[:2] == (0, "No photo has come in yet.\n")


def test_redo_counts_what_came_out(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Gull.txt", "title: Gull, by Wren Halloway")
    wren.run()
    assert "Rendered again: 1 of 1 photo." in run(wren, capsys, "redo", "Gull.jpg", "--destination", "square")[1]
    destinations = wren.config.with_name("destinations.toml")
    text = destinations.read_text(encoding="utf-8")
    destinations.write_text(f'{text}\n[jury]\nlong_side_px = 90\nrights = "none"\n', encoding="utf-8")
    code, out, _ = run(wren, capsys, "redo", "Gull.jpg", "--destination", "jury")  # which is blind
    assert code == 1
    assert "Rendered again: 0 of 1 photo.\n  Gull.jpg: jury was not made:" in out
    assert "Rendered again: 1 of 1 photo." in run(wren, capsys, "redo", "Gull.jpg")[1]  # but for the jury


def test_redo_misses_nothing_where_a_work_is_sent_no_more(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "not for: square")
    wren.run()
    assert run(wren, capsys, "redo")[:2] == (0, "Rendered again: 1 of 1 photo.\n")
    code, out, _ = run(wren, capsys, "redo", "Gull.jpg", "--destination", "square")
    assert (code, "Rendered again: 0 of 1 photo." in out) == (1, True)


def test_a_file_that_stays_as_another_fails_did_not_come_out() -> None:
    out = OutputRecord(destination="square", path="ready/square/a.jpg", width_px=9, height_px=6, bytes=9, sha256="1")
    made = JobRecord(job="1", photo="Gull.jpg", sha256="", outcome="ready", outputs=(out,))
    assert _came_out(made, None)
    assert not _came_out(made.model_copy(update={"failed": {"square": "the disk is full"}}), None)


def test_a_destination_may_be_written_as_in_a_note(
    wren: Studio, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    assert "square" in run(wren, capsys, "works", "--for", "Square")[1]
    assert run(wren, capsys, "sheet", str(tmp_path / "all.pdf"), "--for", "SQUARE")[0] == 0
    assert run(wren, capsys, "redo", "IMG_1.jpg", "--destination", "square ")[0] == 0
    code, _, told = run(wren, capsys, "works", "--for", "squares")
    assert code == 2
    assert "no destination is called 'squares'; there are square, master" in told


def test_a_name_that_begins_like_an_option_is_told_how_to_be_given(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("-rf.jpg", photo(1))
    wren.run()
    for words in (("show", "-rf.jpg"), ("say", "-rf.jpg", "hold"), ("redo", "-rf.jpg"), ("retry", "--rf.jpg")):
        code, out, err = run(wren, capsys, *words)
        name = words[1]
        how = f"put -- before it, behind all options: autoprep {words[0]} -- {name}\n"
        assert (code, out, err.startswith(f"autoprep: {name} was taken for an option"), how in err) == (
            2, "", True, True,
        )  # fmt: skip
    capsys.readouterr()
    assert main(["show", "--config", str(wren.config), "--", "-rf.jpg"]) == 0
    for line in ("show", "check -x", "redo --afersh", "-x"):
        code, out, err = run(wren, capsys, *line.split())
        assert (code, "usage: " in err) == (2, True), line
