"""A picture of the mark that is damaged while the service works, as by a sync tool that has copied half of it."""

import shutil
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from autoprep.cli.main import main
from autoprep.domain import JobRecord
from autoprep.errors import ConfigError
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.rebuild import rebuild
from autoprep.told.summary import mark_notes, print_record, print_summary
from autoprep.wishes.places import font_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service import pretend
from tests.service.pretend import InlinePool, Studio, photo
from tests.service.test_rebuild import _lost

TABLES = "[square]\nlong_side_px = 300\n\n[master]\nlong_side_px = 500\nmark = false\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    made = Studio(studio, monkeypatch)
    made.config.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    text = made.config.read_text(encoding="utf-8") + '\n[mark]\npicture = "seal.png"\n'
    seal(studio).parent.mkdir(exist_ok=True)
    draw(seal(studio))
    made.config.write_text(text, encoding="utf-8")
    return made


def seal(settings: Settings) -> Path:
    return settings.studio / "seal.png"


def draw(place: Path) -> None:
    codes = np.random.default_rng(3).integers(0, 255, (60, 90, 4), np.uint8)
    codes[..., 3] = 255
    codes[:10, :20, 3] = 0
    Image.fromarray(codes).save(place)


def halve(place: Path) -> None:
    whole = place.read_bytes()
    place.write_bytes(whole[: len(whole) // 2])


class Running:
    """The service, which goes on while its files change."""

    def __init__(self, wren: Studio) -> None:
        self._wren = wren
        self.engine = Engine(wren.settings, open_log(wren.settings.folders.records, None))

    def rest(self) -> None:
        for _ in range(60):
            self._wren.at_once(self.engine)
            self.engine.step(0.0)
        assert self.engine.idle

    def redo(self, shown: str) -> None:
        job = next(job for job in self.engine.ledger.jobs() if job.shown == shown)
        self.engine.ledger.ask_redo(job.job, ["square", "master"])


def test_half_a_picture_is_told_by_the_check(wren: Studio) -> None:
    load(wren.config)
    halve(seal(wren.settings))
    with pytest.raises(
        ConfigError, match=r"`mark\.picture` is no picture that can be read: .*seal\.png; it is damaged"
    ):
        load(wren.config)


def test_the_service_starts_with_half_a_picture_and_makes_what_needs_none(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    halve(seal(wren.settings))
    wren.put("Reeds.jpg", photo(1))
    said = ["--config", str(wren.config)]
    assert main(["once", *said]) == 1
    assert "the mark's picture seal.png can't be read: it is damaged, or not whole" in capsys.readouterr().out
    assert {*wren.files()} == {"master/Reeds.jpg"}
    assert main(["status", *said]) == 1
    assert "could not be made: 1 (Reeds.jpg)" in capsys.readouterr().out
    assert main(["check", *said]) == 2  # who asks whether the settings are right is told
    assert "is no picture that can be read" in capsys.readouterr().err
    (note,) = mark_notes(load(wren.config, unmarked=True))  # which the log of `watch` has
    assert note.startswith("the mark's picture seal.png can't be read")
    assert note.endswith("all else is made")
    draw(seal(wren.settings))
    assert main(["once", *said]) == 0
    assert {*wren.files()} == {"master/Reeds.jpg", "square/Reeds.jpg"}


def test_what_stands_stays_and_all_goes_on_when_the_picture_is_mended(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("Reeds.jpg", photo(1))
    run = Running(wren)
    run.rest()
    before = wren.files()
    assert {*before} == {"square/Reeds.jpg", "master/Reeds.jpg"}
    wren.made()
    place, settings = seal(wren.settings), wren.settings
    halve(place)
    wren.put("Reeds.txt", "title: Reeds at the weir")
    wren.put("Gull.jpg", photo(2))
    run.rest()
    records = wren_records(run)
    assert {*wren.files()} == {"square/Reeds.jpg", "master/Reeds.jpg", "master/Gull.jpg"}
    assert wren.files()["square/Reeds.jpg"] == before["square/Reeds.jpg"]
    why = "it could not be made: the mark's picture seal.png can't be read: it is damaged, or not whole"
    assert {name: said.startswith(why) for name, said in records["Reeds.jpg"].failed.items()} == {"square": True}
    assert records["Reeds.jpg"].failed["square"].endswith("the one that was made before stays until then")
    assert records["Gull.jpg"].failed["square"].endswith("it is made as soon as that is mended")
    for each in records.values():
        print_record(each)
    print_summary(settings, list(records.values()))
    said = capsys.readouterr().out
    assert said.count("not made anew: square:") == 1
    assert said.count("square not made anew:") == 1
    assert said.count("not given out: square:") == 1
    wren.made()
    run.redo("Reeds.jpg")
    run.rest()
    assert wren.made() == [("AgainOrder", "Reeds.jpg", ("square", "master"))]  # once, and not again and again
    assert wren.files()["square/Reeds.jpg"] == before["square/Reeds.jpg"]
    draw(place)
    run.rest()
    assert sorted(wren.made()) == [("AgainOrder", name, ("square",)) for name in ("Gull.jpg", "Reeds.jpg")]
    assert {*wren.files()} == {"square/Reeds.jpg", "master/Reeds.jpg", "square/Gull.jpg", "master/Gull.jpg"}
    assert b"Reeds at the weir" in wren.files()["square/Reeds.jpg"]
    assert all(record.failed == {} == record.held_kinds for record in wren_records(run).values())
    run.rest()
    assert wren.made() == []
    run.engine.stop()


def test_an_earlier_take_stays_until_the_better_one_has_its_mark(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    run = Running(wren)
    run.rest()
    before = wren.files()
    halve(seal(wren.settings))
    wren.put("Reeds again.jpg", photo(1, sharp=9, take=1))
    run.rest()
    assert wren.files()["square/Reeds.jpg"] == before["square/Reeds.jpg"]
    assert "square" in wren_records(run)["Reeds again.jpg"].failed
    assert len([name for name in wren.files() if name.startswith("master/")]) == 1
    wren.made()
    run.rest()
    assert wren.made() == []
    wren.put("Reeds.txt", "hold: yes")
    run.rest()
    assert wren.files() == {}  # what is held is no longer given out, in whichever take
    (wren.inbox / "Reeds.txt").unlink()
    run.rest()
    draw(seal(wren.settings))
    run.rest()
    records = wren_records(run)
    assert [records[name].outcome for name in ("Reeds.jpg", "Reeds again.jpg")] == ["alternate", "ready"]
    sha256 = records["Reeds again.jpg"].sha256.encode()
    assert [name for name, data in wren.files().items() if sha256 not in data] == []
    assert sorted(name.partition("/")[0] for name in wren.files()) == ["master", "square"]
    run.engine.stop()


def wren_records(run: Running) -> dict[str, JobRecord]:
    return {job.shown: job.record for job in run.engine.ledger.jobs() if job.record is not None}


@pytest.mark.parametrize("how", ["at a start", "held and released", "rebuilt"])
def test_it_is_not_forgotten_what_is_to_be_made_anew(wren: Studio, how: str) -> None:
    wren.put("Reeds.jpg", photo(1))
    run = Running(wren)
    run.rest()
    place = seal(wren.settings)
    halve(place)
    wren.put("Reeds.txt", "title: Reeds at the weir")
    run.rest()
    if how == "held and released":
        wren.put("Reeds.txt", "title: Reeds at the weir\nhold: yes")
        run.rest()
        assert wren.files() == {}
        wren.put("Reeds.txt", "title: Reeds at the weir")
        run.rest()
        assert {*wren.files()} == {"master/Reeds.jpg"}
    run.engine.stop()
    draw(place)
    if how == "rebuilt":
        _lost(wren)
        rebuild(wren.settings)
    wren.run()
    assert b"Reeds at the weir" in wren.files()["square/Reeds.jpg"]
    assert InlinePool.made[-1] == ("AgainOrder", "Reeds.jpg", ("square",))


def test_settings_that_change_while_it_is_damaged_hold_for_what_carries_no_mark(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pretend, "load", partial(load, unmarked=True))
    run, others = Running(wren), "[site]\nlong_side_px = 500\nmark = false\n"
    table = wren.config.with_name("destinations.toml")
    halve(seal(wren.settings))
    table.write_text(TABLES + others, encoding="utf-8")
    wren.put("Tern.jpg", photo(2))
    run.rest()
    assert {*wren.files()} == {"master/Tern.jpg", "site/Tern.jpg"}
    seal(wren.settings).with_name("half.png").write_bytes(seal(wren.settings).read_bytes())
    wren.config.write_text(wren.config.read_text(encoding="utf-8").replace("seal.png", "half.png"), encoding="utf-8")
    table.write_text(TABLES, encoding="utf-8")
    wren.put("Gull.jpg", photo(3))
    run.rest()  # another picture that can't be read is a mistake, and what held before goes on
    assert {*wren.files()} == {f"{place}/{name}.jpg" for place in ("master", "site") for name in ("Gull", "Tern")}
    run.engine.stop()


def test_a_font_that_is_taken_away_and_put_back(wren: Studio) -> None:
    """It stops only what would be written in it, and what it stopped is made when it is back, without a word."""
    ours, font = font_path(wren.settings), wren.settings.studio / "Saltmere.ttf"
    shutil.copy(ours, font)
    text = wren.config.read_text(encoding="utf-8").replace('picture = "seal.png"', 'font = "Saltmere.ttf"')
    wren.config.write_text(text, encoding="utf-8")
    run = Running(wren)
    font.unlink()
    wren.put("Gull.jpg", photo(2))
    run.rest()
    assert {*wren.files()} == {"master/Gull.jpg"}
    why = wren_records(run)["Gull.jpg"].failed["square"]
    assert why.startswith("it could not be made: the mark's font Saltmere.ttf can't be read: ")
    assert why.endswith("it is made as soon as that is mended")
    wren.made()
    run.rest()
    assert wren.made() == []
    shutil.copy(ours, font)
    run.rest()
    assert {*wren.files()} == {"square/Gull.jpg", "master/Gull.jpg"}
    assert wren.made() == [("AgainOrder", "Gull.jpg", ("square",))]
    run.engine.stop()
