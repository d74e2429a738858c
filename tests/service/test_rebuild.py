"""A ledger that is lost or damaged is made anew from the records: nothing is made twice, nothing said is lost."""

import json
from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.domain import JobRecord
from autoprep.errors import AlreadyRunning, UsageError
from autoprep.ledger import MEASURED, Ledger, Rendition
from autoprep.service.lock import StudioLock
from autoprep.service.outlook import made_otherwise
from autoprep.service.rebuild import rebuild
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.service.pretend import Studio, photo

pytestmark = pytest.mark.usefixtures("looked_at_once")


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio in which every kind of thing has happened."""
    made = Studio(studio, monkeypatch)
    made.put("thrift.jpg", photo(1))
    made.put("thrift soft.jpg", photo(1, sharp=3, take=1))
    made.put("boats/boats.jpg", photo(2))
    made.put("boats/note.txt", "title: Boats\nyear: 2026")
    made.put("held.jpg", photo(3))
    made.put("asked.jpg", photo(4, answer="ask"))
    made.put("asked too/asked.jpg", photo(5, answer="ask"))
    made.put("street.jpg", photo(6, answer="nothing"))
    made.put("copy of boats.jpg", photo(2))
    made.put("no photo.jpg", b"these are words, not a picture")
    made.put("edited.jpg", photo(7))
    made.put("gone.jpg", photo(8))
    made.put("picked up.jpg", photo(9))
    made.run()
    made.put("held.txt", "hold: yes")
    made.run()
    ready = made.settings.folders.ready / "square"
    (ready / "edited.jpg").write_bytes(b"retouched by hand")
    (ready / "picked up.jpg").unlink()
    (made.inbox / "gone.jpg").unlink()
    made.run()
    made.made()
    return made


def test_of_what_kind_reasons_are_is_known_again(wren: Studio) -> None:
    def kinds() -> dict[tuple[str, str], str]:
        ledger = Ledger(ledger_path(wren.settings))
        rows = {
            (job.shown, row.destination): row for job in ledger.jobs() for row in ledger.renditions(job.job).values()
        }
        ledger.close()
        return {at: row.why for at, row in rows.items() if row.reason}

    before = kinds()
    assert set(before.values()) == {"on hold", "another take"}
    assert set(wren.records()["held.jpg"].held_kinds.values()) == {"on hold"}
    _lost(wren)
    rebuild(wren.settings)
    assert {at: kind for at, kind in kinds().items() if at in before} == before


def _lost(wren: Studio) -> None:
    for place in wren.settings.folders.records.glob("ledger*"):
        if place.is_file():
            place.unlink()


def _outcomes(records: dict[str, JobRecord]) -> dict[str, tuple[str, str, str | None]]:
    return {shown: (record.job, record.outcome, record.take_of) for shown, record in records.items()}


def test_nothing_is_made_after_a_lost_ledger(wren: Studio) -> None:
    files, before = wren.files(), _outcomes(wren.records())
    questions = sorted(str(path) for path in wren.settings.folders.needs_a_look.rglob("*"))
    _lost(wren)
    found = rebuild(wren.settings)
    assert found.unreadable == ()
    assert found.put_away is None
    assert found.photos == len(before)
    after = wren.run()
    assert made_otherwise(wren.settings) == []  # by which settings is not known
    assert wren.made() == []
    assert wren.files() == files
    assert _outcomes(after) == before
    assert sorted(str(path) for path in wren.settings.folders.needs_a_look.rglob("*")) == questions
    assert wren.run() == after


@pytest.mark.parametrize("emptied", [False, True])
def test_without_its_ledger_nothing_begins(wren: Studio, capsys: pytest.CaptureFixture[str], emptied: bool) -> None:
    """All pictures were made once more beside those of before, and `status` said that no work had come in."""
    files, place = wren.files(), ledger_path(wren.settings)
    _lost(wren)
    if emptied:
        place.write_bytes(b"")
    for command in ("once", "status", "works"):
        assert main([command, "--config", str(wren.config)]) == 2
        assert "`autoprep rebuild` makes a new one" in capsys.readouterr().err
    assert wren.files() == files
    assert not place.is_file() or not place.stat().st_size
    assert main(["rebuild", "--config", str(wren.config)]) == 0
    assert main(["status", "--config", str(wren.config)]) in (0, 1)


def test_records_of_two_ledgers_have_one_number_each(wren: Studio) -> None:
    """A ledger that was begun anew counted from the start; `rebuild` ended with a traceback on what came of it."""
    root = wren.settings.folders.records / "proof"
    kept = {
        place.name: (place / "record.json").read_bytes()
        for place in root.iterdir()
        if (place / "record.json").is_file()
    }
    first = min(kept)
    other = json.loads(kept[first]) | {"sha256": "0" * 64, "photo": "other.jpg", "outputs": [], "held": {}}
    (root / f"{first.partition('-')[0]}-zz").mkdir()
    (root / f"{first.partition('-')[0]}-zz" / "record.json").write_text(json.dumps(other), encoding="utf-8")
    _lost(wren)
    rebuild(wren.settings)
    ledger = Ledger(ledger_path(wren.settings))
    numbers = [line[0] for line in ledger._db.execute("SELECT number FROM jobs ORDER BY number")]
    ledger.close()
    assert len(numbers) == len(set(numbers)) == len(kept) + 1
    assert numbers[-1] == max(int(name.partition("-")[0]) for name in kept) + 1


def test_what_is_said_afterwards_is_followed_as_before(wren: Studio) -> None:
    _lost(wren)
    rebuild(wren.settings)
    wren.run()
    (wren.inbox / "held.txt").unlink()
    wren.run()
    assert wren.made() == []  # it comes back as it was
    assert "square/held.jpg" in wren.files()
    wren.put("boats/boats.txt", "title: Boats at Rest")
    assert wren.run()["boats/boats.jpg"].work.title == "Boats at Rest"
    assert [name for _, name, _ in wren.made()] == ["boats/boats.jpg"]
    folder = next(path for path in wren.settings.folders.needs_a_look.iterdir() if path.name.startswith("asked"))
    (folder / "choice-2.jpg").unlink()
    outcomes = [record.outcome for shown, record in wren.run().items() if shown.endswith("asked.jpg")]
    assert sorted(outcomes) == ["needs a look", "ready"]
    (wren.inbox / "thrift.jpg").unlink()
    wren.redo("thrift soft.jpg", "square", "master")
    assert wren.run()["thrift soft.jpg"].outcome == "ready"


def test_words_of_the_command_line_still_belong_to_their_photos(wren: Studio) -> None:
    at = ["--config", str(wren.settings.studio)]
    assert main(["say", "edited.jpg", "medium: watercolour", *at]) == 0
    wren.run()
    wren.made()
    _lost(wren)
    rebuild(wren.settings)
    assert wren.run()["edited.jpg"].work.medium == "watercolour"
    assert wren.made() == []


def test_a_sound_ledger_is_left_alone_unless_it_is_said(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(UsageError, match="sound"):
        rebuild(wren.settings)
    assert main(["rebuild", "--anyway", "--config", str(wren.settings.studio)]) == 0
    assert "ledger-put-away-" in capsys.readouterr().out
    assert len(list(wren.settings.folders.records.glob("ledger-put-away-*.sqlite3"))) == 1


def test_a_damaged_ledger_is_put_away_and_an_unreadable_record_told(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ledger_path(wren.settings)
    damaged = b"no database" * 900
    place.write_bytes(damaged)
    job = next(path for path in (wren.settings.folders.records / "proof").iterdir() if path.name.startswith("00003"))
    (job / "record.json").write_text("{", encoding="utf-8")
    assert main(["rebuild", "--config", str(wren.settings.studio)]) == 1
    assert "00003" in capsys.readouterr().out
    (kept,) = wren.settings.folders.records.glob("ledger-put-away-*.sqlite3")
    assert kept.read_bytes() == damaged
    ledger = Ledger(place)
    assert ledger.check() == "ok"
    ledger.close()


def test_it_waits_for_no_service(wren: Studio) -> None:
    held = StudioLock(wren.settings.folders.records)
    with pytest.raises(AlreadyRunning):
        rebuild(wren.settings, sound_too=True)
    held.close()


@pytest.mark.slow
def test_with_real_pictures_nothing_is_made_either(studio: Settings) -> None:
    (studio.folders.inbox / "Sea Thrift, 2026, ink.jpg").write_bytes(photos.jpeg(seed=1))
    (studio.folders.inbox / "Boats.jpg").write_bytes(photos.jpeg(seed=2))
    first = run_once(studio)
    (studio.folders.inbox / "Boats.txt").write_text("hold: yes", encoding="utf-8")
    held = run_once(studio)
    stamps = {path: path.stat().st_mtime_ns for path in studio.folders.ready.rglob("*") if path.is_file()}
    assert stamps
    for place in studio.folders.records.glob("ledger.sqlite3*"):
        place.unlink()
    rebuild(studio)
    again = run_once(studio)
    assert {path: path.stat().st_mtime_ns for path in stamps} == stamps
    assert {path for path in studio.folders.ready.rglob("*") if path.is_file()} == set(stamps)
    assert again == held
    assert first.keys() == again.keys()
    (studio.folders.inbox / "Boats.txt").unlink()
    back = run_once(studio)
    kept = {"notes": ()}  # what was said of a withdrawn file is not on disk
    was = [output.model_copy(update=kept) for output in first["Boats.jpg"].outputs]
    assert [output.model_copy(update=kept) for output in back["Boats.jpg"].outputs] == was
    log = (studio.folders.records / "log.jsonl").read_text(encoding="utf-8").splitlines()
    started = [json.loads(line)["photo"] for line in log if json.loads(line)["event"] == "started"]
    assert sorted(started) == sorted(first)  # each was begun once, ever
    assert Path(studio.studio / first["Boats.jpg"].outputs[0].path).is_file()


def _rows(wren: Studio) -> dict[str, Rendition]:
    """The renditions of the one photo, by destination."""
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = ledger.views()
    rows = ledger.renditions(job.job)
    ledger.close()
    return rows


@pytest.fixture
def gull(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio with one photo, made for one destination some time ago."""
    made = Studio(studio, monkeypatch)
    table = "long_side_px = 900\nmark = false\n"
    tables = f'[site]\npublic = true\n{table}[print]\nwhen = "asked"\n{table}'
    made.config.with_name("destinations.toml").write_text(tables, encoding="utf-8")
    made.put("gull.jpg", photo(1))
    monkeypatch.setattr("tests.service.pretend.now", lambda: "2025-03-01T10:00:00+00:00")
    made.run()
    monkeypatch.undo()
    return Studio(studio, monkeypatch)


@pytest.mark.parametrize("held", [False, True])
def test_since_when_files_are_there_is_known_again(gull: Studio, held: bool) -> None:
    gull.put("gull.txt", "kind: painting\n")
    gull.run()
    if held:
        gull.put("gull.txt", "kind: painting\nhold: yes\n")
        gull.run()
    before = _rows(gull)["site"]
    assert before.first.startswith("2025-03-01")
    assert not before.made.startswith("2025-03-01")
    _lost(gull)
    rebuild(gull.settings)
    after = _rows(gull)["site"]
    assert (after.first, after.made) == (before.first, before.made)


def test_of_a_record_that_does_not_say_so_the_day_is_not_known(gull: Studio) -> None:
    (place,) = (gull.settings.folders.records / "proof").glob("*/record.json")
    record = json.loads(place.read_text(encoding="utf-8"))
    assert record.pop("dates") == {"site": ["2025-03-01T10:00:00+00:00"] * 2}
    place.write_text(json.dumps(record), encoding="utf-8")
    _lost(gull)
    rebuild(gull.settings)
    assert (_rows(gull)["site"].first, _rows(gull)["site"].made) == ("", "")


@pytest.mark.parametrize("older", [False, True])
@pytest.mark.parametrize("sent", ["", "for: site\n"])
def test_what_was_asked_for_by_name_stays(gull: Studio, sent: str, older: bool) -> None:
    """A record of an earlier version does not say what was: it is known where the work is not sent there."""
    gull.put("gull.txt", sent)
    gull.redo("gull.jpg", "print")
    gull.run()
    assert list(gull.files()) == ["print/gull.jpg", "site/gull.jpg"]
    (place,) = (gull.settings.folders.records / "proof").glob("*/record.json")
    record = json.loads(place.read_text(encoding="utf-8"))
    assert record["asked"] == ["print"]
    if older:
        record.pop("asked")
        place.write_text(json.dumps(record), encoding="utf-8")
    _lost(gull)
    rebuild(gull.settings)
    gull.put("gull.txt", "for: site\n" if not older else sent)
    gull.run()
    assert list(gull.files()) == ["print/gull.jpg", "site/gull.jpg"]
    assert _rows(gull)["print"].asked == (not older or bool(sent))


def test_what_a_system_leaves_among_withdrawn_pictures_is_none(gull: Studio) -> None:
    gull.put("gull.txt", "hold: yes\n")
    gull.run()
    (away,) = (gull.settings.folders.records / "withdrawn").iterdir()
    (away / ".DS_Store").write_bytes(b"left")
    for name in (".DS_Store", "Thumbs.db", "gull.txt", ".gull.jpg", "more.jpg"):
        (away / "site" / name).write_bytes(b"left")
    (away / "site" / "more.jpg").unlink()
    (away / "site" / "more.jpg").mkdir()
    _lost(gull)
    rebuild(gull.settings)
    gull.put("gull.txt", "")
    gull.run()
    assert list(gull.files()) == ["site/gull.jpg"]
    assert b"left" not in gull.files()["site/gull.jpg"]


def test_what_was_asked_for_again_is_named(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """No record holds it, and nothing is lost in silence."""

    def said() -> str:
        assert main(["rebuild", "--anyway", "--config", str(wren.config)]) == 0
        return capsys.readouterr().out

    wren.redo("held.jpg", MEASURED)
    wren.redo("thrift.jpg", MEASURED, "square")
    told = said()
    assert "Asked for and not done yet, and not known any more: 2 photos to be made or measured" in told
    assert "(with --afresh to measure): held.jpg, thrift.jpg" in told
    assert "Asked for" not in said()
    assert rebuild(wren.settings, sound_too=True).unasked == ()
    _lost(wren)
    assert "Whether something was still to be made or measured again, as you asked, is not known" in said()
    ledger_path(wren.settings).write_bytes(b"no ledger at all" * 300)
    assert rebuild(wren.settings).unasked is None
