"""Small rules of the service, each by itself."""

import errno
import hashlib
import json
import os
import sqlite3
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from autoprep.cli import main
from autoprep.domain import CorrectionPlan, Declined, Geometry, JobRecord, Sharpening, Tone
from autoprep.errors import ConfigError, DeliveryError, LedgerDamaged
from autoprep.files.storage import answers, publish, write_part
from autoprep.imaging.likeness import likeness
from autoprep.job.orders import RENDERER
from autoprep.job.takes import look_of, same_work
from autoprep.ledger import Ledger, SeenFile
from autoprep.logs import open_log
from autoprep.service.depends import plan_digest, settings_digest, settings_digests
from autoprep.service.engine import Engine
from autoprep.service.inbox import Found, Settling, read_settled, scan
from autoprep.service.keeping import is_ours
from autoprep.service.rebuild import rebuild
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.conftest import within
from tests.service import pretend
from tests.service.pretend import InlinePool, Studio, photo

SQUARE = ((0.0, 0.0), (90.0, 0.0), (90.0, 60.0), (0.0, 60.0))


def plan(ratio: float = 1.5, gain: float = 1.0) -> CorrectionPlan:
    geometry = Geometry(photo_px=(90, 60), corners_px=SQUARE, ratio=ratio, ratio_from="corners")
    no = Declined(reason="-")
    return CorrectionPlan(
        geometry=geometry, kind="ink", paper="none", light=no, neutral=no, tone=Tone(gain=gain), sharpening=Sharpening()
    )


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def test_takes_have_one_shape() -> None:
    seen = likeness(np.random.default_rng(2).random((64, 64, 3), np.float32))

    def record(ratio: float) -> JobRecord:
        return JobRecord(
            job="1", photo="a", sha256="", outcome="ready", plan=plan(ratio), likeness=seen,
            taken_at="2026-11-20T10:00:00",
        )  # fmt: skip

    one = look_of(record(1.5))
    assert one is not None
    assert same_work(look_of(record(1.5)), look_of(record(1.52)))
    assert not same_work(look_of(record(1.5)), look_of(record(1.7)))
    assert not same_work(one, replace(one, taken_at="2026-11-20T11:00:00"))
    assert not same_work(one, replace(one, taken_at=None))


def test_a_plans_digest_is_of_all_of_it_and_a_tables_of_that_table(studio: Settings) -> None:
    assert plan_digest(None) == ""
    assert plan_digest(plan()) == plan_digest(plan())
    assert plan_digest(plan()) != plan_digest(plan(gain=1.1))
    louder = studio.model_copy(update={"mark": studio.mark.model_copy(update={"opacity_percent": 90.0})})
    assert settings_digest(studio, "square") != settings_digest(studio, "master")
    assert settings_digest(studio, "square") != settings_digest(louder, "square")


def test_what_reaches_no_file_of_a_destination_makes_none_older(studio: Settings) -> None:
    """Who compares a table with its call writes the day down: no picture was made by other settings for that."""
    plain = studio.destinations["square"].model_copy(update={"mark": False, "checked": date(2026, 11, 25)})
    blind = plain.model_copy(update={"rights": "none"})
    studio = studio.model_copy(update={"destinations": {"square": plain, "jury": blind}})

    def same(name: str, **other: object) -> bool:
        return settings_digest(studio, name) == settings_digest(studio.model_copy(update=other), name)

    def table(**other: object) -> dict[str, object]:
        return {"destinations": {**studio.destinations, "square": plain.model_copy(update=other)}}

    listed = {"when": "asked", "public": True, "listing": True, "prices": True, "checked": date(2026, 12, 1)}
    assert all(same("square", **table(**{key: value})) for key, value in listed.items())
    assert not same("square", **table(quality=50))
    assert same("square", mark=studio.mark.model_copy(update={"text": "Wren"}))
    other = {"rights": studio.rights.model_copy(update={"notice": "© Wren"})}
    assert same("jury", **other)
    assert not same("square", **other)
    assert not same("jury", artist=studio.artist.model_copy(update={"name": "W. Halloway"}))


def test_files_of_an_earlier_version_are_known_by_its_digest(studio: Settings) -> None:
    """Nothing is told of a whole studio, nor tried again, because a version knows its settings otherwise."""
    told = [studio.destinations["square"], studio.mark, studio.rights, studio.artist]
    text = json.dumps([RENDERER, *(table.model_dump(mode="json") for table in told)], sort_keys=True)
    before = hashlib.sha256(text.encode()).hexdigest()[:24]
    assert settings_digests(studio, "square") == (settings_digest(studio, "square"), before)


def test_half_a_photo_waits_and_at_last_is_told(wren: Studio) -> None:
    whole = photo(1)
    wren.put("half.jpg", whole[: len(whole) // 2])
    record = wren.run()["half.jpg"]
    assert record.outcome == "set aside"
    assert "ends before the picture does" in record.reasons[0]
    wren.put("half.jpg", whole)
    assert wren.run()["half.jpg"].outcome == "ready"


def test_nothing_is_read_through_a_link(wren: Studio) -> None:
    secret = wren.settings.studio / "secret.jpg"
    secret.write_bytes(photo(1))
    os.symlink(secret, wren.inbox / "link.jpg")
    record = wren.run()["link.jpg"]
    assert (record.outcome, record.sha256) == ("set aside", "")


def test_heic_can_be_switched_off(wren: Studio) -> None:
    text = wren.config.read_text(encoding="utf-8").replace("[service]", "[service]\nheic = false")
    wren.config.write_text(text, encoding="utf-8")
    wren.put("page.heic", b"\0\0\0\x18ftypheic\0\0\0\0heicmif1" + b"\0" * 64)
    assert "switched off" in wren.run()["page.heic"].reasons[0]


def test_nothing_begins_while_there_is_no_room(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    service = wren.settings.service.model_copy(update={"min_free_mb": 1e12})
    settings = wren.settings.model_copy(update={"service": service})
    engine = Engine(settings, open_log(settings.folders.records, None), follow=False)
    for _ in range(6):
        engine._next_scan = 0.0
        engine.step(0.0)
    assert InlinePool.made == []
    assert not engine.idle
    engine.stop()
    assert wren.run()["page.jpg"].outcome == "ready"


def test_a_hold_needs_no_room(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    assert wren.run()["page.jpg"].outcome == "ready"
    wren.put("page.txt", "hold: yes")
    wren.put("new.jpg", photo(2))
    service = wren.settings.service.model_copy(update={"min_free_mb": 1e12})
    settings = wren.settings.model_copy(update={"service": service})
    engine = Engine(settings, open_log(settings.folders.records, None), follow=False)
    for _ in range(10):
        wren.at_once(engine)
        engine.step(0.0)
    engine.stop()
    assert list(wren.files()) == []
    assert wren.run()["new.jpg"].outcome == "ready"


def test_a_file_that_cannot_be_read_is_not_left_out_for_good(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    wren.put("page.jpg", photo(1))
    wren.run()
    wren.put("page.txt", "hold: yes")
    read = Path.read_bytes

    def failing(place: Path) -> bytes:
        if place.name == "page.jpg" and "ready" in place.parts:
            raise OSError(errno.EIO, "planted")
        return read(place)

    def work() -> None:
        engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
        for _ in range(10):
            wren.at_once(engine)
            engine.step(0.0)
        engine.stop()

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", failing)
        work()
    assert "square/page.jpg" in wren.files()
    work()
    assert list(wren.files()) == []


@pytest.mark.parametrize("gone", ["records", "ready"])
def test_where_nothing_can_be_written_no_photo_is_blamed(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, gone: str
) -> None:
    wren.put("page.jpg", photo(1))
    wren.run()
    wren.put("page.txt", "hold: yes")
    folder = getattr(wren.settings.folders, gone)

    def refused(*_: object) -> None:
        raise PermissionError(errno.EACCES, "planted")

    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    with monkeypatch.context() as patch:
        patch.setattr("autoprep.service.keeping._move", refused)
        patch.setattr("autoprep.service.desk.answers", lambda place: place != folder)
        patch.setattr(time, "sleep", lambda _: None)
        for _ in range(5):
            wren.at_once(engine)
            engine.step(0.0)
    engine.stop()
    log = (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")
    assert '"waiting"' in log
    assert '"fault"' not in log
    wren.run()
    assert list(wren.files()) == []


def test_a_folder_answers_or_does_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert answers(tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert answers(tmp_path / "not there")

    def refused(*_: object) -> None:
        raise OSError(errno.EROFS, "planted")

    monkeypatch.setattr(Path, "write_bytes", refused)
    assert not answers(tmp_path)


def test_space_that_a_copy_has_announced_is_no_photo_yet(tmp_path: Path) -> None:
    with (tmp_path / "reserved.jpg").open("wb") as file:
        file.truncate(2_000_000)
    (tmp_path / "full.jpg").write_bytes(os.urandom(200_000))
    (tmp_path / "empty.jpg").touch()
    found = {os.fsdecode(item.path): item.filled for item in scan(tmp_path)}
    assert found == {"reserved.jpg": False, "full.jpg": True, "empty.jpg": False}


def test_a_file_settles_when_it_has_been_still_for_long_enough() -> None:
    now = [100.0]
    settling = Settling(2.0, lambda: now[0])

    def look(size: int) -> list[bytes]:
        return [item.path for item in settling.look([Found(b"a.jpg", (size, 1, 1), plain=True)], {})]

    assert look(5) == []
    now[0] += 1.9
    assert look(5) == []
    now[0] += 0.2
    assert look(5) == [b"a.jpg"]
    assert look(6) == []  # it grew
    now[0] += 1.0
    assert look(6) == []
    now[0] += 1.1
    assert look(6) == [b"a.jpg"]
    known = {b"a.jpg": SeenFile((6, 1, 1), "1")}
    assert settling.look([Found(b"a.jpg", (6, 1, 1), plain=True)], known) == []


def test_what_is_said_while_it_runs_is_heard(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)

    def rest() -> None:
        for _ in range(60):
            engine._next_scan = 0.0
            engine.step(0.0)

    rest()
    wren.put("Reeds.txt", "hold: yes")
    rest()
    assert not list((wren.settings.folders.ready / "square").glob("*.jpg"))
    (wren.inbox / "Reeds.txt").unlink()
    rest()
    assert list((wren.settings.folders.ready / "square").glob("*.jpg"))
    engine.stop()


def test_what_was_said_of_a_photo_that_is_away_stays_said(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "medium: ink")
    wren.run()
    (wren.inbox / "Reeds.jpg").unlink()
    (wren.inbox / "Reeds.txt").unlink()
    wren.redo("Reeds.jpg", "square")  # all that is known is looked through again
    assert wren.run()["Reeds.jpg"].work.medium == "ink"


def test_a_clock_that_was_put_back_delays_nothing(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(3):
        engine._next_scan = 0.0
        engine._desk.room = lambda complain: False  # type: ignore[method-assign]
        if engine._ready:
            engine._arrivals.take(engine._ready.popitem()[1])
        engine.step(0.0)
    (job,) = engine.ledger.jobs()
    engine.ledger.postpone(job.job, time.time() + 86_400)
    engine.stop()
    assert wren.run()["page.jpg"].outcome == "ready"


def test_a_damaged_ledger_is_told_with_what_to_do(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    place = ledger_path(studio)
    place.write_bytes(b"this is no database" * 500)
    with pytest.raises(LedgerDamaged, match="ledger-copies"):
        Ledger(place)
    assert main(["jobs", "--config", str(studio.studio)]) == 2
    assert "damaged" in capsys.readouterr().err


@pytest.mark.parametrize("way", ["dots", "link"])
def test_finished_pictures_never_come_in_again(studio: Settings, way: str) -> None:
    file = studio.config_file
    text = file.read_text(encoding="utf-8")
    if way == "dots":
        folders = '[folders]\nready = "ready/../inbox/ready"\n'
    else:
        (studio.studio / "linked").symlink_to(studio.folders.inbox)
        folders = '[folders]\nready = "linked/ready"\n'
    file.write_text(folders + text, encoding="utf-8")
    with pytest.raises(ConfigError, match="would come in again"):
        load(file)


def test_once_does_not_wait_for_room_that_may_never_come(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("page.jpg", photo(1))
    text = wren.config.read_text(encoding="utf-8").replace("[service]", "[service]\nmin_free_mb = 1e12")
    wren.config.write_text(text, encoding="utf-8")
    main(["once", "--config", str(wren.settings.studio)])
    assert "not enough free space" in capsys.readouterr().err
    assert InlinePool.made == []


@pytest.mark.parametrize(
    "where", ["tests.service.pretend.write_part", "autoprep.service.hands.publish", "autoprep.service.hands.write_now"]
)
def test_a_full_disk_costs_no_try_however_long_it_lasts(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    wren.put("page.jpg", photo(1))

    def full(final: Path, *_: object, **_how: object) -> Path:
        raise DeliveryError(f"{final.name} can't be written (No space left on device)", full=True)

    with monkeypatch.context() as patch:
        patch.setattr(where, full)
        for _ in range(6):
            wren.run()
            wren.wait_over()
    ledger = Ledger(ledger_path(wren.settings))
    (job,) = ledger.jobs()
    ledger.close()
    assert (job.state, job.attempts) == ("queued", 0)
    assert wren.run()["page.jpg"].outcome == "ready"


def test_no_room_is_told_from_other_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    part = write_part(tmp_path / "b.jpg", b"x", "1")
    part.with_name("b.jpg").write_bytes(b"x")
    for code, full in ((errno.ENOSPC, True), (errno.EACCES, False)):

        def failing(_: int, code: int = code) -> None:
            raise OSError(code, "planted")

        monkeypatch.setattr("autoprep.files.storage.os.fsync", failing)
        for act in (lambda: write_part(tmp_path / "a.jpg", b"x", "1"), lambda: publish(part, tmp_path / "b.jpg")):
            with pytest.raises(DeliveryError) as told:
                act()
            assert told.value.full is full


def test_a_start_removes_what_a_killed_run_left_half_written_and_nothing_of_the_artists(wren: Studio) -> None:
    wren.put("page.jpg", photo(1))
    record = wren.run()["page.jpg"]
    folders = wren.settings.folders
    left = [
        folders.ready / "square" / ".autoprep-1a-page.jpg.part",
        folders.ready / ".autoprep-1a-list.csv.part",
        folders.needs_a_look / "page" / ".autoprep-1a-choice-1.jpg.part",
        folders.records / ".autoprep-1a-ledger.part",
        folders.records / "proof" / ".autoprep-1a-index.html.part",
    ]
    own = [folders.ready / "square" / name for name in (".autoprep-page.jpg", "page.part", "autoprep-page.jpg.part")]
    for path in (*left, *own, folders.inbox / ".autoprep-1a-mine.jpg.part"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"half")
    wren.run()
    assert [path.name for path in left if path.exists()] == []
    assert all(path.read_bytes() == b"half" for path in (*own, folders.inbox / ".autoprep-1a-mine.jpg.part"))
    assert all((wren.settings.studio / out.path).is_file() for out in record.outputs)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
def test_a_pipe_or_a_link_in_a_photos_place_is_not_read(wren: Studio, tmp_path: Path) -> None:
    place = wren.put("page.jpg", photo(1))
    job = wren.run()["page.jpg"].job
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    data = engine._desk._knowledge.data

    try:
        with within(10, "it waits for whoever writes into the pipe"):
            assert data(job) == photo(1)
            place.unlink()
            os.mkfifo(place)
            assert data(job) is None
            place.unlink()
            (tmp_path / "other.jpg").write_bytes(photo(1))
            place.symlink_to(tmp_path / "other.jpg")
            assert data(job) is None
    finally:
        engine.stop()


def test_a_file_that_is_not_as_it_was_found_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "page.jpg").write_bytes(photo(1))
    (found,) = scan(tmp_path, {})
    read = read_settled(tmp_path, found)
    assert read is not None
    assert read.data == photo(1)
    (tmp_path / "page.jpg").write_bytes(photo(1) + b"more")
    assert read_settled(tmp_path, found) is None


def test_an_undated_photo_keeps_the_year_in_which_it_came_in(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pretend, "_PHOTO", replace(pretend._PHOTO, taken_at=None))
    wren.put("Gull.jpg", photo(1))
    wren.run()
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute("UPDATE jobs SET came = '2019-03-09'")
    ledger.commit()
    ledger.close()
    wren.put("Gull.txt", "title: Tern")
    assert wren.run()["Gull.jpg"].came == "2019-03-09"
    notices = [json.loads(text)[2]["notice"] for text in wren.files().values()]
    assert set(notices) == {"© 2019 Wren Halloway"}
    # Also where the ledger is lost: the record says it.
    ledger_path(wren.settings).unlink()
    rebuild(wren.settings)
    wren.put("Gull.txt", "title: Avocet")
    assert wren.run()["Gull.jpg"].came == "2019-03-09"


def test_a_link_is_never_taken_for_ours(tmp_path: Path) -> None:
    """Moved away, it would be missing where the artist has put it."""
    data = b"the very same bytes"
    sha256 = hashlib.sha256(data).hexdigest()
    place, link = tmp_path / "Gull.jpg", tmp_path / "Link.jpg"
    place.write_bytes(data)
    link.symlink_to(place)
    assert is_ours(place, sha256)
    assert not is_ours(link, sha256)
    assert not is_ours(tmp_path / "none.jpg", sha256)
    assert not is_ours(tmp_path, sha256)
