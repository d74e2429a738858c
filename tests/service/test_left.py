"""Finished pictures that were away, with a share, say, when they were to be taken out of their places."""

import hashlib
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from autoprep.cli.main import main
from autoprep.domain import OutputRecord
from autoprep.ledger import Ledger, Rendition
from autoprep.service.left import LeftThere, as_they_lie
from autoprep.told.explanations import HOLD, NOT_SENT
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

DESTINATIONS = '[site]\nlong_side_px = 500\nlisting = true\n[print]\nlong_side_px = 900\nwhen = "asked"\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


@pytest.mark.parametrize(("word", "linked"), [("hold: yes", False), ("hold: yes", True), ("for: print", True)])
def test_a_picture_that_was_away_when_it_was_to_be_withdrawn_is_taken_out_when_it_is_back(
    wren: Studio, capsys: pytest.CaptureFixture[str], word: str, linked: bool
) -> None:
    site, share = wren.settings.folders.ready / "site", wren.inbox.parent / "share"
    shutil.rmtree(site, ignore_errors=True)
    if linked:
        share.mkdir()
        site.symlink_to(share, target_is_directory=True)
    wren.put("a.jpg", photo(1))
    wren.run()
    before = wren.files() | {f"site/{file.name}": file.read_bytes() for file in site.iterdir()}
    (share if linked else site).rename(wren.inbox.parent / "off")
    wren.put("a.txt", word)
    wren.run()
    assert main(["status", "--config", str(wren.config)]) == 0
    shutil.rmtree(site, ignore_errors=True)
    (wren.inbox.parent / "off").rename(share if linked else site)
    capsys.readouterr()
    assert main(["status", "--config", str(wren.config)]) == 1
    told = capsys.readouterr().out
    assert "again, though their works are held, or not sent there: 1 (site/a.jpg); `watch` or `once` takes" in told
    assert "Changed by you" not in told
    wren.run()
    assert not list(site.iterdir())
    assert main(["status", "--config", str(wren.config)]) == 0
    wren.put("a.txt", "")
    wren.run()
    assert sorted(file.name for file in site.iterdir()) == sorted(name.partition("/")[2] for name in before)


def test_only_what_was_away_when_its_work_was_held_or_not_sent_there_lies_there_again(tmp_path: Path) -> None:
    """What was picked up for another reason, and lies there again, was put there by the artist."""
    place = tmp_path / "a.jpg"
    place.write_bytes(b"a picture")
    output = OutputRecord(
        destination="site", path="ready/site/a.jpg", width_px=1, height_px=1, bytes=9,
        sha256=hashlib.sha256(b"a picture").hexdigest(),
    )  # fmt: skip
    row = Rendition("site", "picked up", place, output=output, why=HOLD.kind)
    for why, state in ((HOLD.kind, "in place"), (NOT_SENT.kind, "in place"), ("", "picked up")):
        assert as_they_lie({"site": replace(row, why=why)})["site"].state == state
    place.write_bytes(b"another one")
    assert as_they_lie({"site": row}) == {"site": row}


def test_what_lies_there_again_is_news_each_time_that_it_comes(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    wren.run()
    (place,) = (wren.settings.folders.ready / "site").glob("*.jpg")
    away = wren.inbox.parent / "off"
    place.rename(away)
    wren.put("a.txt", "hold: yes")
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    left = LeftThere(ledger)
    assert left.news(wren.settings) == set()
    for _ in range(2):
        away.rename(place)
        assert left.news(wren.settings) == {ledger.jobs()[0].job}
        assert left.news(wren.settings) == set()  # told once
        place.rename(away)
        assert left.news(wren.settings) == set()
    ledger.close()
