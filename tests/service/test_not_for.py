"""A work that is not for one place goes to all others; what is there already is withdrawn."""

import pytest

from autoprep.cli.main import main
from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend as pretended
from tests.service.pretend import Studio, photo

DESTINATIONS = '[site]\nlong_side_px = 500\n[shop]\nlong_side_px = 700\n[print]\nlong_side_px = 900\nwhen = "asked"\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def say(wren: Studio, *lines: str) -> int:
    return main(["say", "Reeds.jpg", *lines, "--config", str(wren.config)])


@pytest.mark.parametrize("where", ["note", "command", "folder", "name", "list", "copy"])
def test_it_goes_everywhere_else(wren: Studio, where: str) -> None:
    name = {"folder": "not for site/Reeds.jpg", "name": "Reeds, not for site.jpg"}.get(where, "Reeds.jpg")
    wren.put(name, photo(1))
    if where == "note":
        wren.put("Reeds.txt", "not for: Site")
    if where == "list":
        wren.put("works.csv", "photo,not for\nReeds,site\n")
    if where == "copy":
        wren.put("not for site/Reeds.jpg", photo(1))
    wren.run()
    if where == "command":
        assert say(wren, "not for: site") == 0
        wren.run()
    assert [path.partition("/")[0] for path in wren.files()] == ["shop"]


@pytest.mark.parametrize(
    ("name", "places"),
    [
        ("Reeds, only for print.jpg", ["print"]), ("IMG_2041 - only for Print.jpg", ["print"]),
        ("Reeds, also for print.jpg", ["print", "shop", "site"]),
        ("Reeds, only for Anna.jpg", []),
    ],
)  # fmt: skip
def test_a_name_sends_a_work_where_it_says(wren: Studio, name: str, places: list[str]) -> None:
    """What was meant for one place alone is not in public under a title that says so."""
    wren.put(name, photo(1))
    (record,) = wren.run().values()
    assert sorted(path.partition("/")[0] for path in wren.files()) == places
    assert record.work.title in ("Reeds", "")


def test_whom_a_work_was_drawn_for_stays_in_its_title(wren: Studio) -> None:
    wren.put("Reeds, for Anna.jpg", photo(1))
    (record,) = wren.run().values()
    assert record.work.title == "Reeds, for Anna"
    assert len(wren.files()) == 2


def test_what_is_there_is_withdrawn_and_comes_back_and_an_order_does_not_outdo_it(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "also for: print")
    before = wren.run() and wren.files()
    wren.put("Reeds.txt", "also for: print\nnot for: print")
    assert "it does not go there" in wren.run()["Reeds.jpg"].work.unclear[0]
    assert sorted(wren.files()) == ["shop/Reeds.jpg", "site/Reeds.jpg"]
    wren.put("Reeds.txt", "")
    assert main(["redo", "Reeds.jpg", "--destination", "print", "--config", str(wren.config)]) == 0
    wren.run()
    assert sorted(wren.files()) == sorted(before)  # asked for by name
    wren.put("Reeds.txt", "not for: print, site")
    wren.run()
    assert sorted(wren.files()) == ["shop/Reeds.jpg"]
    main(["redo", "Reeds.jpg", "--destination", "site", "--config", str(wren.config)])
    wren.run()
    assert sorted(wren.files()) == ["shop/Reeds.jpg"]
    wren.put("Reeds.txt", "")
    wren.run()
    assert sorted(wren.files()) == sorted(before)


@pytest.mark.parametrize("name", ["Reeds.txt", "not for squaer/IMG_1.jpg"])
def test_a_place_that_is_not_known_holds_the_work_and_is_told(wren: Studio, name: str) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put(name, b"not for: squaer" if name.endswith("txt") else photo(1))
    (record,) = (record for record in wren.run().values() if record.outcome == "ready")
    assert not wren.files()
    assert record.work.hold
    assert "no destination is called squaer" in record.work.unclear[0]
    assert set(record.held_kinds.values()) == {"on hold"}


def test_what_is_said_while_it_is_made_counts(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    made = pretended.pretend

    def meanwhile(order: object) -> object:
        (wren.inbox / "Reeds.txt").write_text("not for: site\n", encoding="utf-8")
        return made(order)  # type: ignore[arg-type]

    monkeypatch.setattr(pretended, "pretend", meanwhile)
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    assert sorted(wren.files()) == ["shop/Reeds.jpg"]
    ledger = Ledger(ledger_path(wren.settings))
    try:
        (job,) = ledger.jobs()
        assert "site" not in {row.destination for row in ledger.renditions(job.job).values() if row.state == "in place"}
    finally:
        ledger.close()
