"""What the commands say is so, can be read, and can be typed as it stands."""

import shlex
import sqlite3

import pytest

from autoprep.cli import main
from autoprep.domain import JobRecord
from autoprep.service.takes import why_used
from autoprep.wishes.settings import Settings, ledger_path
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def run(wren: Studio, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main([*words, "--config", str(wren.config)])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_a_sheet_for_a_destination_knows_months(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.put("Reeds.jpg", photo(2))
    wren.run()
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute("UPDATE jobs SET came = '2026-03-09' WHERE shown = 'Gull.jpg'")
    ledger.commit()
    ledger.close()
    place = str(wren.inbox.parent / "sheet.pdf")
    for words in (("--for", "square"), ()):
        made = run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-03")
        assert made[:2] == (0, f"1 picture on 1 page: {place}\n")
        assert run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-02")[0] == 1
        code, _, err = run(wren, capsys, "sheet", place, "--anyway", *words, "--month", "2026-13")
        assert (code, "a month is written as 2026-11" in err) == (2, True)


def record(name: str, **measures: float) -> JobRecord:
    usual = {"work_long_side_px": 3000.0, "blur_px": 1.0, "sharpness": 0.2, "lightness": 90.0, "grain": 0.1}
    return JobRecord(job=name, photo=name, sha256="", outcome="ready", measures={**usual, **measures})


def test_the_take_that_is_used_is_the_one_that_is_praised(wren: Studio) -> None:
    assert why_used(record("one"), record("two", blur_px=2.0)) == "one is the better take: sharper"
    first, close = record("one", grain=0.2), record("two")  # better by less than counts
    assert why_used(first, close) == "one came first, and this one is not clearly better"
    third = record("three", blur_px=0.99)  # it replaced the first, and is hardly better than the second
    assert why_used(third, close).startswith("three is the better take")
    wren.put("IMG_1.jpg", photo(1, sharp=100))
    wren.put("IMG_2.jpg", photo(1, sharp=101))
    reason = wren.run()["IMG_2.jpg"].reasons[0]
    assert reason.startswith("Another take of the same work is used: IMG_1.jpg came first")


@pytest.mark.parametrize("name", ["A boat, at last.jpg", "-slack.jpg", "Wren's page.jpg", "Box/$HOME.jpg"])
def test_the_command_that_is_offered_can_be_typed(wren: Studio, capsys: pytest.CaptureFixture[str], name: str) -> None:
    wren.put("IMG_1.jpg", photo(1, sharp=9))
    wren.run()
    wren.put(name, photo(1, sharp=2))
    reason = wren.run()[name].reasons[0]
    typed = shlex.split(reason.partition("To have this one too: ")[2])
    assert typed[:2] == ["autoprep", "redo"]
    assert main(["redo", "--config", str(wren.config), *typed[2:]]) == 0
    assert "1 of 1 photo" in capsys.readouterr().out


def test_mistakes_of_the_settings_have_a_line_each(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.config.with_name("destinations.toml").write_text(
        "[square]\nlong_side_px = 'x'\n[site]\nqualty = 9\n", encoding="utf-8"
    )
    code, _, err = run(wren, capsys, "check")
    assert code == 2
    first, *rest = err.splitlines()
    assert first.startswith("autoprep: ")
    assert first.endswith("mistakes in the settings:")
    assert len(rest) >= 2
    assert all("destinations.toml, line" in line for line in rest)
    assert "\\x0a" not in err


def test_what_is_told_of_a_photo_stays_in_its_line(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(wren, capsys, "show", "a\nb")
    assert (code, len(err.splitlines())) == (2, 1)
