"""Why a destination has no file: what is told is true now, and not only when it was written."""

import pytest

from autoprep.cli import main
from autoprep.ledger import Ledger
from autoprep.service.outlook import made_otherwise
from autoprep.told.explanations import HOLD, NO_TABLE, NOT_SENT
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo
from tests.service.test_week import answer

TABLES = "[square]\nlong_side_px = 300\n\n[site]\nlong_side_px = 500\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    made = Studio(studio, monkeypatch)
    table(made, TABLES)
    made.put("Reeds.jpg", photo(1))
    made.run()
    return made


def table(wren: Studio, text: str) -> None:
    wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8")


def asked_and_answered(wren: Studio, said: str) -> None:
    """The finished work becomes a question, and is a work again by its answer."""
    wren.put("Reeds.txt", "outline: ask")
    wren.run()
    assert wren.files() == {}
    wren.put("Reeds.txt", f"outline: ask\n{said}")
    answer("Reeds", 2)(wren)
    wren.run()


def not_given_out(wren: Studio) -> dict[str, str]:
    """As the record has it; the ledger says the same."""
    record = wren.records()["Reeds.jpg"]
    ledger = Ledger(ledger_path(wren.settings))
    rows = ledger.renditions(record.job)
    ledger.close()
    told = dict(record.not_given_out)
    away = {name: row for name, row in rows.items() if row.state in ("withdrawn", "held")}
    # What waited where the work is sent no more is no news.
    away = {name: row for name, row in away.items() if row.state == "withdrawn" or row.reason != NOT_SENT}
    assert {name: row.reason for name, row in away.items()} == told
    assert {name: row.why for name, row in away.items()} == record.held_kinds
    return told


def test_a_settled_question_leaves_no_reason_that_is_over(wren: Studio) -> None:
    asked_and_answered(wren, "for: square")
    assert not_given_out(wren) == {"site": str(NOT_SENT)}
    assert set(wren.files()) == {"square/Reeds.jpg"}


def test_nor_does_one_of_a_work_that_is_on_hold_now(wren: Studio) -> None:
    asked_and_answered(wren, "hold: yes")
    assert not_given_out(wren) == {"square": str(HOLD), "site": str(HOLD)}
    wren.put("Reeds.txt", "outline: ask\nfor: square")
    wren.run()
    assert not_given_out(wren) == {}


def test_a_table_that_went_is_named_as_the_reason(wren: Studio) -> None:
    table(wren, TABLES.partition("\n[site]")[0])
    wren.run()
    assert set(wren.files()) == {"square/Reeds.jpg", "site/Reeds.jpg"}  # it stays as it was
    asked_and_answered(wren, "")
    assert not_given_out(wren) == {"site": str(NO_TABLE)}


def test_a_table_that_went_comes_back_from_a_hold_as_before(wren: Studio) -> None:
    table(wren, TABLES.partition("\n[site]")[0])
    for said, files in (("hold: yes", set()), ("hold: no", {"square/Reeds.jpg", "site/Reeds.jpg"})):
        wren.put("Reeds.txt", said)
        wren.run()
        assert set(wren.files()) == files


def test_a_table_that_went_follows_where_the_work_is_sent(wren: Studio) -> None:
    table(wren, TABLES.partition("\n[site]")[0])
    (note,) = [line for line in made_otherwise(wren.settings) if "no destination site" in line]
    assert note.startswith(str(wren.settings.folders.ready / "site"))
    both, one = {"square/Reeds.jpg", "site/Reeds.jpg"}, {"square/Reeds.jpg"}
    for said, files in (
        ("for: square", one), ("hold: yes", set()), ("", both), ("for: square", one), ("hold: yes\nfor: square", set()),
        ("for: square", one), ("title: Reed\nhold: yes", set()),
    ):  # fmt: skip
        wren.put("Reeds.txt", said)
        wren.run()
        assert set(wren.files()) == files, said
    assert not any("no destination" in line for line in made_otherwise(wren.settings))
    wren.put("Reeds.txt", "title: Rush")
    wren.run()
    assert set(wren.files()) == one  # the other one has another title, and nothing makes it anew


def test_a_ledger_with_a_reason_that_is_over_is_put_right(wren: Studio) -> None:
    """One of an earlier version kept it."""
    wren.put("Reeds.txt", "for: square")
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    with ledger._transaction() as db:
        db.execute("UPDATE renditions SET reason = 'x', why = 'looked at again' WHERE destination = 'site'")
    ledger.close()
    wren.run()
    assert not_given_out(wren) == {"site": str(NOT_SENT)}


def test_a_new_table_takes_no_older_photo_that_is_measured_again(wren: Studio) -> None:
    wren.put("Reeds.txt", "outline: ask")
    wren.run()
    table(wren, TABLES + "\n[wide]\nlong_side_px = 900\n")
    wren.rendered()
    answer("Reeds", 2)(wren)
    wren.run()
    assert {name for _, _, names in wren.rendered() for name in names} == {"square", "site"}
    assert not_given_out(wren) == {}
    wren.put("Gulls.jpg", photo(2))
    wren.run()
    assert "wide/Gulls.jpg" in wren.files()


@pytest.mark.parametrize("typed", ["Mo\u0308we", "M\u00f6we", "Mo\u0308we.jpg", "See/Mo\u0308we.jpg"])
@pytest.mark.parametrize("named", ["See/M\u00f6we.jpg", "See/Mo\u0308we.jpg"])
def test_a_photo_is_found_however_its_letters_are_put_together(
    wren: Studio, capsys: pytest.CaptureFixture[str], typed: str, named: str
) -> None:
    wren.put(named, photo(2))
    wren.put("Gull.jpg", photo(3))
    wren.put("Gull.txt", "title: Bl\u00e4sshuhn")
    wren.run()
    for name in (typed, "Bla\u0308sshuhn"):
        assert main(["show", name, "--config", str(wren.config)]) == 0
    assert "Gull.jpg" in capsys.readouterr().out


def test_an_empty_folder_of_no_destination_is_told_and_stays(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    table(wren, f"{TABLES}[Banner]\nlong_side_px = 900\n")
    ready = wren.settings.folders.ready
    (ready / "shop").mkdir(parents=True)
    (ready / "master").rmdir()  # of the table that this studio began with
    for name in ("kept", ".hidden", *wren.settings.destinations):
        (ready / name).mkdir(exist_ok=True)
    (ready / "kept" / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["check", "--config", str(wren.config)]) == 0
    (note,) = (line for line in capsys.readouterr().out.splitlines() if "empty folder" in line)
    assert note.endswith("ready: an empty folder of no destination that there is: shop; delete what you don't want")
    assert (ready / "shop").is_dir()
    (ready / "shop").rmdir()
    assert main(["check", "--config", str(wren.config)]) == 0
    assert "empty folder" not in capsys.readouterr().out


def test_pictures_in_the_folder_that_ready_was_are_named(wren: Studio) -> None:
    """They go on there: what is made again of their works lies beside them, and what comes new in the new folder."""
    before = wren.settings.folders.ready
    assert not any(str(before) in line for line in made_otherwise(wren.settings))
    text = wren.config.read_text(encoding="utf-8")
    wren.config.write_text(text + '\n[folders]\nready = "shown"\n', encoding="utf-8")
    wren.put("Sails.jpg", photo(2))
    wren.run()
    assert set(wren.files()) == {"square/Sails.jpg", "site/Sails.jpg"}
    told = f"{before}: 2 finished pictures lie there, from when `ready` was that folder; they stay there, and what is "
    (line,) = made_otherwise(wren.settings)
    assert line == f"{told}made again of their works too, while new works go to {wren.settings.folders.ready}"
    was = (before / "square/Reeds.jpg").read_bytes()
    wren.put("Reeds.txt", "title: Rush")
    wren.run()
    assert set(wren.files()) == {"square/Sails.jpg", "site/Sails.jpg"}
    assert (before / "square/Reeds.jpg").read_bytes() != was
    (before / "site/Reeds.jpg").unlink()
    assert made_otherwise(wren.settings)[0].startswith(f"{before}: 1 finished picture lies there, ")
    (before / "square/Reeds.jpg").unlink()
    assert made_otherwise(wren.settings) == []
