"""What could not be made is made as soon as the settings of its destination are other ones."""

import re
from dataclasses import replace

import pytest

from autoprep.ledger import Ledger
from autoprep.service.depends import mended
from autoprep.service.hands import Hands
from autoprep.service.knowledge import Knowledge
from autoprep.service.results import rows_of
from autoprep.service.steps import Measure, Render
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo, pretend
from tests.service.test_rule import follow, known, rendition

TABLES = "[square]\nlong_side_px = 300\n\n[shop]\nlong_side_px = 500\nmax_kb = 20\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    made = Studio(studio, monkeypatch)
    most(made, 20)
    made.put("Reeds.jpg", photo(1))
    made.run()
    made.made()
    return made


def most(wren: Studio, kilobytes: int) -> None:
    text = re.sub("max_kb = .*", f"max_kb = {kilobytes}", TABLES)
    wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("most_kb", "held", "failed"),
    [(20, "20 kB cannot be met", ""), (55, "", "it could not be made: 55 is a fault")],
)
def test_a_limit_that_is_mended_reaches_the_work_that_it_stopped_and_no_finished_file(
    wren: Studio, most_kb: int, held: str, failed: str
) -> None:
    most(wren, most_kb)
    record = wren.run()["Reeds.jpg"]
    assert (record.held.get("shop", ""), record.failed.get("shop", "")) == (held, failed)
    wren.made()
    wren.run()
    assert wren.made() == []  # not tried again by the same settings
    most(wren, 200)
    record = wren.run()["Reeds.jpg"]
    assert (record.held, record.failed) == ({}, {})
    assert wren.made() == [("AgainOrder", "Reeds.jpg", ("shop",))]
    assert set(wren.files()) == {"square/Reeds.jpg", "shop/Reeds.jpg"}
    most(wren, 300)
    wren.run()
    assert wren.made() == []  # a finished file stays as it is


def test_one_that_does_not_help_is_tried_once(wren: Studio) -> None:
    most(wren, 30)
    assert wren.run()["Reeds.jpg"].held == {"shop": "30 kB cannot be met"}
    assert len(wren.made()) == 1
    wren.run()
    assert wren.made() == []


def test_another_mark_tries_no_photo_that_waits(wren: Studio) -> None:
    """It has no more pixels by that, and each would have to be read."""
    wren.config.write_text(wren.config.read_text(encoding="utf-8") + '\n[mark]\ntext = "Wren"\n', encoding="utf-8")
    wren.run()
    assert wren.made() == []


def test_what_waits_for_words_is_not_tried_by_another_table(wren: Studio) -> None:
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    wren.put("Gull.jpg", photo(2))
    wren.put("Gull.txt", "hold: yes")
    wren.run()
    wren.made()
    most(wren, 200)
    wren.run()
    assert wren.made() == []


def test_the_rule_makes_what_is_mended_and_nothing_else() -> None:
    made = {name: rendition(name, "failed", output=None) for name in ("square", "site")}
    photo_of = replace(known(made=made), mended=frozenset({"site"}))
    (step,) = follow(photo_of)
    assert step == Render("1", "it could not be made, and what it failed by is mended or changed", ("site",))


def test_what_was_made_is_on_record_with_the_settings_that_it_was_made_by(wren: Studio) -> None:
    """Settings that change while a worker is at it reach what failed by the ones before."""
    ledger = Ledger(ledger_path(wren.settings))
    job = ledger.jobs()[0]
    of_photo = Knowledge(wren.settings, ledger).known(job.job)
    order = Hands(wren.settings, ledger).order(Measure(job.job, "-"), of_photo, photo(1))
    ledger.close()
    most(wren, 200)
    rows = rows_of(wren.settings, order, pretend(order).record, "p", set(), {})
    assert mended(wren.settings, rows.values()) == {"shop"}
    assert mended(order.settings, rows.values()) == frozenset()


def test_only_what_waits_by_its_table_is_tried_by_another(wren: Studio) -> None:
    waits = {why: rendition("shop", "held", output=None, why=why, settings="table x") for why in ("", "too few pixels")}
    assert all(mended(wren.settings, [row]) == {"shop"} for row in waits.values())
    for why in ("size not known", "names the artist", "on hold"):  # which wait for words
        assert mended(wren.settings, [replace(waits[""], why=why)]) == frozenset()
    assert mended(wren.settings, [replace(waits[""], settings="of an earlier version")]) == frozenset()
