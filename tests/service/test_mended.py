"""What could not be made is made as soon as the settings of its destination are other ones."""

import re
from dataclasses import replace

import pytest

from autoprep.ledger import Ledger
from autoprep.service.depends import mended
from autoprep.service.hands import Hands
from autoprep.service.knowledge import Knowledge
from autoprep.service.results import rows_of
from autoprep.service.rule import Measure, Render
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


def test_a_limit_that_is_mended_reaches_the_work_that_it_stopped_and_no_finished_file(wren: Studio) -> None:
    assert wren.records()["Reeds.jpg"].failed == {"shop": "20 kB cannot be met"}
    wren.run()
    assert wren.made() == []  # not tried again by the same settings
    most(wren, 200)
    record = wren.run()["Reeds.jpg"]
    assert record.failed == {}
    assert wren.made() == [("AgainOrder", "Reeds.jpg", ("shop",))]
    assert set(wren.files()) == {"square/Reeds.jpg", "shop/Reeds.jpg"}
    most(wren, 300)
    wren.run()
    assert wren.made() == []  # a finished file stays as it is


def test_one_that_does_not_help_is_tried_once(wren: Studio) -> None:
    most(wren, 30)
    assert wren.run()["Reeds.jpg"].failed == {"shop": "30 kB cannot be met"}
    assert len(wren.made()) == 1
    wren.run()
    assert wren.made() == []


def test_the_rule_makes_what_is_mended_and_nothing_else() -> None:
    made = {name: rendition(name, "failed", output=None) for name in ("square", "site")}
    photo_of = replace(known(made=made), mended=frozenset({"site"}))
    (step,) = follow(photo_of)
    assert step == Render("1", "it could not be made, and its settings are others now", ("site",))


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
