"""After a rebuild takes of one work, edited photos and what `say` has left stand as they stood before."""

import pytest

from autoprep.cli import main
from autoprep.domain import JobRecord
from autoprep.ledger import Ledger
from autoprep.service.rebuild import put_back, rebuild
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

TABLES = "[square]\nlong_side_px = 900\n"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    return Studio(studio, monkeypatch)


def rebuilt(wren: Studio) -> dict[str, JobRecord]:
    ledger_path(wren.settings).unlink()
    rebuild(wren.settings)
    return wren.run()


def gone(wren: Studio) -> dict[str, bool]:
    """Of each photo, whether its record says that an edited one has taken its place."""
    ledger = Ledger(ledger_path(wren.settings))
    found = {job.sha256: job.record.gone for job in ledger.jobs() if job.record is not None}
    ledger.close()
    return found


def say(wren: Studio, *words: str) -> None:
    assert main(["say", *words, "--config", str(wren.config)]) == 0
    wren.run()


def test_what_is_said_beside_one_take_reaches_the_one_that_was_asked_for_besides(wren: Studio) -> None:
    for name, take in (("a.jpg", 1), ("b.jpg", 2)):
        wren.put(name, photo(1, take=take))
        wren.run()
    wren.redo("b.jpg", "square")
    wren.run()
    files = wren.files()
    assert len(files) == 2
    rebuilt(wren)
    assert wren.files() == files
    wren.put("a.txt", "hold: yes")
    wren.run()
    assert wren.files() == {}


@pytest.mark.parametrize(("renamed", "outdone"), [(False, False), (True, False), (False, True)])
def test_what_was_before_an_edit_stays_away(wren: Studio, renamed: bool, outdone: bool) -> None:
    """outdone: a better take is used, so that nothing but what the record says of an edit changes."""
    wren.put("a.jpg", photo(1, take=1))
    wren.run()
    place = wren.put("a.jpg", photo(1, take=2))
    wren.run()
    if renamed:
        place.rename(place.with_name("b.jpg"))
        wren.run()
    if outdone:
        wren.put("c.jpg", photo(1, sharp=9, take=3))
        wren.run()
    files, was = wren.files(), gone(wren)
    assert sorted(was.values()) == [False, *([False] if outdone else []), True]
    rebuilt(wren)
    assert (wren.files(), gone(wren)) == (files, was)
    wren.put("b.jpg" if renamed else "a.jpg", photo(1, take=1))  # put back
    wren.run()
    back = gone(wren)
    sharp = wren.records()["c.jpg"].sha256 if outdone else ""
    assert back == {sha256: not one and sha256 != sharp for sha256, one in was.items()}
    assert (wren.files() != files) == (not outdone)
    files = wren.files()
    rebuilt(wren)
    assert (wren.files(), gone(wren)) == (files, back)


@pytest.mark.parametrize("copy", [False, True])
@pytest.mark.parametrize("other", ["", "title: Gull\n", "hold: yes\n"])
def test_what_say_has_left_goes_with_the_photo_to_its_new_number(wren: Studio, copy: bool, other: str) -> None:
    """other: what was said of another number of the photo."""
    for number, name in enumerate(("a.jpg", "b.jpg", "c.jpg")):
        wren.put(name, photo(number))
        wren.run()
    said = "title: Jug" if other else "hold"
    name = "c" if copy else "b"
    say(wren, f"{name}.jpg", said)
    job = wren.records()[f"{name}.jpg"].job
    words, proof = (wren.settings.folders.records / folder for folder in ("words", "proof"))
    if other:
        (words / f"00007{job[5:]}").with_suffix(".txt").write_text(other, encoding="utf-8")
    if copy:
        (wren.inbox / "b.jpg").unlink()
        ledger_path(wren.settings).unlink()
        put_back(wren.settings)
        record = wren.run()["c.jpg"]  # whose number is that of the photo that is there no more
    else:
        (proof / job / "record.json").write_bytes(b"")
        record = rebuilt(wren)["b.jpg"]
    assert record.job != job
    assert (record.work.hold, record.work.title) == (said == "hold" or "hold" in other, "Jug" if other else name)
    assert bool(record.outputs) == (not record.work.hold)
    assert (words / f"{record.job}.txt").is_file()
