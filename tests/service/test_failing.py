"""What can't be read, or fails again and again: the service goes on, and who asks is told of what waits and why."""

import errno
import os
import shutil
import sqlite3
from collections import namedtuple
from collections.abc import Callable
from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.domain import WorkFacts
from autoprep.errors import DeliveryError
from autoprep.files.storage import write_part
from autoprep.job.folders import by_its_folder, takes_files
from autoprep.ledger import Ledger
from autoprep.service import keeping
from autoprep.service.places import Others, reserve
from autoprep.told.standing import Status
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import InlinePool, Studio, photo
from tests.service.test_unfinished import stepped, watching

Said = Callable[..., tuple[int, str]]
Room = namedtuple("Room", "total free")


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


@pytest.fixture
def said(wren: Studio, capsys: pytest.CaptureFixture[str]) -> Said:
    def call(*command: str) -> tuple[int, str]:
        capsys.readouterr()
        code = main([*command, "--config", str(wren.config)])
        told = capsys.readouterr()
        return code, told.out + told.err

    return call


@pytest.fixture
def locked(monkeypatch: pytest.MonkeyPatch) -> set[bytes]:
    """Names of files that may not be read: root may read all, so it is pretended."""
    names: set[bytes] = set()
    real = os.open

    def opened(place: object, *flags: int, **more: int) -> int:
        if os.path.basename(os.fsencode(str(place) if isinstance(place, Path) else place)) in names:  # type: ignore[arg-type]
            raise PermissionError(13, "Permission denied")
        return real(place, *flags, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", opened)
    return names


def log_of(wren: Studio) -> str:
    return (wren.settings.folders.records / "log.jsonl").read_text(encoding="utf-8")


def failing(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    def fails(_order: object) -> None:
        raise DeliveryError("the worker wanted more memory than it may have")

    monkeypatch.setattr("tests.service.pretend.pretend", fails)
    return monkeypatch


def test_a_photo_that_may_not_be_read_is_told_and_holds_nothing_up(
    wren: Studio, said: Said, locked: set[bytes]
) -> None:
    locked.add(b"Gull.jpg")
    wren.put("Gull.jpg", photo(1))
    wren.put("Tern.jpg", photo(2))
    assert list(wren.run()) == ["Tern.jpg"]  # and comes to rest
    code, told = said("status")
    assert code == 1
    assert "Tried again later: Gull.jpg: it can't be read (Permission denied); see that" in told
    code, told = said("once")
    assert (code, "Gull.jpg: it can't be read (Permission denied)" in told) == (1, True)
    locked.clear()
    assert set(wren.run()) == {"Gull.jpg", "Tern.jpg"}
    assert said("status")[0] == 0


def test_that_it_may_not_be_read_is_logged_once(
    wren: Studio, locked: set[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.arrivals._UNREADABLE_WAIT_S", 0.0)
    locked.add(b"Gull.jpg")
    wren.put("Gull.jpg", photo(1))
    engine = watching(wren)
    stepped(wren, engine)
    engine.stop()
    assert log_of(wren).count('"not read"') == 1


def test_a_photo_that_can_be_read_no_more_waits_with_its_reason(wren: Studio, said: Said, locked: set[bytes]) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "kind: painting\n")
    locked.add(b"Gull.jpg")
    wren.run()
    code, told = said("status")
    assert (code, "Gull.jpg: it can't be read (Permission denied)" in told) == (1, True)
    locked.clear()
    assert "what failed is tried again" in said("retry", "Gull.jpg")[1]
    assert wren.run()["Gull.jpg"].kind == "painting"
    assert said("status")[0] == 0


def test_a_photo_that_went_away_before_it_was_worked_on_is_waited_for_by_name(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = wren.put("Gull.jpg", photo(1))
    with monkeypatch.context() as patch:
        failing(patch)
        wren.run()
    place.unlink()
    wren.wait_over()
    wren.run()
    code, told = said("status")
    assert (code, "Waiting for their photos, which are not in the inbox: 1 (Gull.jpg)" in told) == (0, True)


def test_words_that_fail_on_a_finished_photo_are_told_until_they_are_carried_out_or_unsaid(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "title: Blue Jug\n")
    with monkeypatch.context() as patch:
        failing(patch)
        wren.run()
    code, told = said("status")
    assert code == 1
    assert "Tried again later: Gull.jpg: the worker wanted more memory than it may have" in told
    assert "is not done yet: the worker wanted" in said("show", "Gull.jpg")[1]
    code, told = said("once")  # in the pause, by another process
    assert (code, "the worker wanted more memory than it may have; it is tried again" in told) == (1, True)
    code, told = said("retry", "Gull.jpg")
    assert (code, "Gull.jpg: what failed is tried again" in told) == (0, True)
    assert wren.run()["Gull.jpg"].work.title == "Blue Jug"
    assert said("status")[0] == 0
    wren.put("Gull.txt", "title: Tern\n")
    with monkeypatch.context() as patch:
        failing(patch)
        wren.run()
    assert said("status")[0] == 1
    wren.put("Gull.txt", "title: Blue Jug\n")
    wren.run()
    assert said("status")[0] == 0
    ledger = Ledger(ledger_path(wren.settings))
    assert [view.attempts for view in ledger.views()] == [0]
    ledger.close()


def test_tries_without_number_end_nothing(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "title: Blue Jug\n")
    ledger = sqlite3.connect(ledger_path(wren.settings))
    ledger.execute("UPDATE jobs SET attempts = 1100, problem = 'planted'")
    ledger.commit()
    ledger.close()
    failing(monkeypatch)
    wren.run()
    kept = Ledger(ledger_path(wren.settings))
    assert [view.attempts for view in kept.views()] == [1101]
    kept.close()


@pytest.mark.parametrize("where", ["hands.Hands.order", "knowledge.Knowledge.follows"])
def test_a_fault_in_working_out_is_told_by_status_too(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    wren.put("Gull.jpg", photo(1))

    def fails(*_: object) -> None:
        raise StopIteration

    with monkeypatch.context() as patch:
        patch.setattr(f"autoprep.service.{where}", fails)
        wren.run()
    code, told = said("status")
    assert (code, "Gull.jpg: Autoprep itself made a mistake (StopIteration); the" in told) == (1, True)
    wren.wait_over()
    wren.run()
    assert said("status")[0] == 0


def test_a_running_service_hears_that_a_pause_is_ended(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    wren.put("Gull.jpg", photo(1))
    engine = watching(wren)
    with monkeypatch.context() as patch:
        failing(patch)
        stepped(wren, engine)
    assert list(engine.later) == ["Gull.jpg"]
    main(["retry", "Gull.jpg", "--config", str(wren.config)])
    stepped(wren, engine)
    assert engine.later == {}
    assert wren.records()["Gull.jpg"].outcome == "ready"
    engine.stop()


def closed(wren: Studio, name: str = "square") -> Path:
    """A folder of ready/ that can't be written to: root may write anywhere, so a file stands in its place."""
    folder = wren.settings.folders.ready / name
    if folder.is_dir():
        folder.rename(folder.with_name("away"))
    folder.write_bytes(b"a file of the artist's")
    return folder


def opened(folder: Path) -> None:
    folder.unlink()
    if folder.with_name("away").is_dir():
        folder.with_name("away").rename(folder)


def test_a_closed_folder_is_told_and_holds_up_no_other(wren: Studio, said: Said) -> None:
    wren.config.with_name("destinations.toml").write_text(
        "[square]\nlong_side_px = 300\n\n[master]\nlong_side_px = 500\n", encoding="utf-8"
    )
    folder = closed(wren)
    wren.put("Gull.jpg", photo(1))
    record = wren.run()["Gull.jpg"]
    assert {*wren.files()} == {"square", "master/Gull.jpg"}
    assert record.failed["square"].endswith("it is made as soon as that folder can be written to")
    code, told = said("status")
    assert (code, "Can't be written to, so pictures wait for it: ready/square" in told) == (1, True)
    wren.run()
    assert InlinePool.made == [("JobOrder", "Gull.jpg", ("square", "master"))]  # it is not tried while it is closed
    opened(folder)
    assert wren.run()["Gull.jpg"].failed == {}
    assert {*wren.files()} == {"square/Gull.jpg", "master/Gull.jpg"}
    code, told = said("status")
    assert (code, "written to" in told) == (0, False)


@pytest.mark.parametrize("why", ["closed", "a fault"])
@pytest.mark.parametrize("word", ["hold: yes", "not for: square, master", "not for: square"])
def test_what_could_not_be_made_is_no_news_of_a_work_that_is_not_given_out_there(
    wren: Studio, said: Said, word: str, why: str
) -> None:
    def tables(text: str) -> None:
        wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8")

    whole = "[square]\nlong_side_px = 300\n[master]\nlong_side_px = 500\n"
    tables(whole)
    if why == "closed":
        folder = closed(wren)
    else:
        tables(whole.replace("[master]", "max_kb = 55\n[master]"))
    wren.put("Gull.jpg", photo(1))
    assert "square" in wren.run()["Gull.jpg"].failed
    assert said("status")[0] == 1
    wren.put("Gull.txt", word)
    record = wren.run()["Gull.jpg"]
    assert record.failed == {}
    assert said("status")[0] == 0
    told = {"hold": "the photo is on hold (by its folder, a note or a word)", "not for: square": ""}
    assert record.held.get("square", "") == told.get(word.removesuffix(": yes"), "the work is not sent here (any more)")
    wren.put("Gull.txt", "")
    record = wren.run()["Gull.jpg"]
    assert "square" in record.failed
    assert said("status")[0] == 1
    wren.put("Gull.txt", word)
    wren.run()
    if why == "closed":
        opened(folder)
    else:
        tables(whole)
    wren.run()
    wren.put("Gull.txt", "")
    assert wren.run()["Gull.jpg"].failed == {}
    assert {"square/Gull.jpg", "master/Gull.jpg"} == {*wren.files()}
    assert said("status")[0] == 0


def test_the_file_of_before_stays_in_a_closed_folder_until_it_is_open(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    before = wren.files()["square/Gull.jpg"]
    engine = watching(wren)
    stepped(wren, engine)
    folder = closed(wren)
    wren.put("Gull.txt", "title: Herring gull\n")
    stepped(wren, engine)
    record = wren.records()["Gull.jpg"]
    assert record.failed["square"].endswith("the one that was made before stays until then")
    opened(folder)
    assert wren.files()["square/Gull.jpg"] == before
    engine._stirred = True  # a look through all files, as in each ten: no event tells that a folder is open
    stepped(wren, engine)
    engine.stop()
    assert wren.records()["Gull.jpg"].failed == {}
    assert b"Herring gull" in wren.files()["square/Gull.jpg"]


class Disk:
    """A pretended disk of its own under one folder of ready/. free_mb: what it says; full: whether it takes a file."""

    def __init__(self, wren: Studio, monkeypatch: pytest.MonkeyPatch, name: str = "square") -> None:
        self.free_mb, self.full = 0, True
        folder = wren.settings.folders.ready / name
        monkeypatch.setattr("autoprep.job.folders._disk", lambda place: int(place == folder))
        real = shutil.disk_usage

        def usage(place: Path) -> object:
            return Room(2000 * 10**6, self.free_mb * 10**6) if place == folder else real(place)

        monkeypatch.setattr(shutil, "disk_usage", usage)

        def write(place: Path, data: bytes, token: str, **how: bool) -> Path:
            if self.full and place.parent == folder:
                raise DeliveryError(f"{name}/{place.name} can't be written (No space left on device)", full=True)
            return write_part(place, data, token, **how)

        monkeypatch.setattr("tests.service.pretend.write_part", write)


def test_a_full_disk_under_one_destination_holds_up_no_other(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Disk(wren, monkeypatch)
    wren.config.with_name("destinations.toml").write_text(
        "[square]\nlong_side_px = 300\n\n[master]\nlong_side_px = 500\n", encoding="utf-8"
    )
    wren.put("Gull.jpg", photo(1))
    record = wren.run()["Gull.jpg"]
    assert {*wren.files()} == {"master/Gull.jpg"}
    told = "it could not be made: square/Gull.jpg can't be written (No space left on device); it is made as soon as "
    assert record.failed["square"] == f"{told}100 MB are free there"
    code, line = said("status")
    assert (code, "Can't be written to, so pictures wait for it: ready/square" in line) == (1, True)
    disk.free_mb = 99  # of which a few bytes more are no room
    wren.run()
    assert InlinePool.made == [("JobOrder", "Gull.jpg", ("square", "master"))]
    disk.free_mb, disk.full = 101, False
    assert wren.run()["Gull.jpg"].failed == {}
    assert {*wren.files()} == {"square/Gull.jpg", "master/Gull.jpg"}
    assert InlinePool.made[1:] == [("AgainOrder", "Gull.jpg", ("square",))]
    assert said("status")[0] == 0


def test_a_disk_that_only_says_it_has_room_is_not_tried_without_a_pause(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A quota is such a disk."""
    disk = Disk(wren, monkeypatch)
    disk.free_mb = 1000
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.run()
    assert len(InlinePool.made) == 1
    wren.wait_over()
    disk.full = False
    assert wren.run()["Gull.jpg"].failed == {}


def test_a_full_disk_that_goes_away_meanwhile_is_a_folder_that_takes_no_files(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Disk(wren, monkeypatch)
    disk.free_mb = 1000

    def gone(place: Path) -> object:
        raise FileNotFoundError(place)

    monkeypatch.setattr(shutil, "disk_usage", gone)
    folder = wren.settings.folders.ready / "square"
    told = by_its_folder(wren.settings, folder / "Gull.jpg", DeliveryError("it can't be written", full=True))
    assert told is not None
    assert str(told).endswith(f"as soon as {wren.settings.service.min_free_mb:.0f} MB are free there")
    assert not takes_files(wren.settings, folder)


def test_a_full_disk_under_all_that_is_written_makes_the_photo_wait(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Disk(wren, monkeypatch)
    monkeypatch.setattr("autoprep.job.folders._disk", lambda _place: 1)
    wren.put("Gull.jpg", photo(1))
    assert wren.run() == {}
    assert "Tried again later: Gull.jpg: square/Gull.jpg can't be written (No space" in said("status")[1]
    disk.full = False
    wren.wait_over()
    assert wren.run()["Gull.jpg"].failed == {}


def test_where_no_folder_of_ready_can_be_written_to_all_waits(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.job.folders.answers", lambda _folder: False)
    closed(wren)
    wren.put("Gull.jpg", photo(1))
    wren.run()
    code, told = said("status")
    assert code == 1
    (line,) = (line for line in told.splitlines() if line.startswith("Tried again later: Gull.jpg: "))
    assert "ready/square" in line.replace(os.sep, "/")


def test_a_hold_empties_all_folders_but_the_closed_one(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.config.with_name("destinations.toml").write_text(
        "[square]\nlong_side_px = 300\n\n[master]\nlong_side_px = 500\n", encoding="utf-8"
    )
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "hold\n")
    real = keeping._move

    def moved(source: Path, target: Path) -> None:
        if source.parent.name == "square":
            raise PermissionError(13, "Permission denied", str(source))
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(keeping, "_move", moved)
        wren.run()
    assert {*wren.files()} == {"square/Gull.jpg"}
    code, told = said("status")
    assert (code, "Gull.jpg can't be opened or written to (Permission denied); see that" in told) == (1, True)
    wren.wait_over()
    wren.run()
    assert wren.files() == {}
    assert said("status")[0] == 0


def test_what_a_full_disk_keeps_out_holds_no_other_picture_of_a_released_work(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ("square", "site", "master")
    tables = "".join(f"[{name}]\nlong_side_px = 300\n" for name in names)
    wren.config.with_name("destinations.toml").write_text(tables, encoding="utf-8")
    wren.put("Gull.jpg", photo(1))
    wren.run()
    wren.put("Gull.txt", "hold\n")
    wren.run()
    wren.put("Gull.txt", "")
    real = keeping._move

    def moved(source: Path, target: Path) -> None:
        if target.parent == wren.settings.folders.ready / "site":
            raise OSError(errno.ENOSPC, "No space left on device", str(target))
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(keeping, "_move", moved)
        wren.run()
    assert {*wren.files()} == {"square/Gull.jpg", "master/Gull.jpg"}
    assert {"square", "master"} == {out.destination for out in wren.records()["Gull.jpg"].outputs}
    code, told = said("status")
    place = wren.settings.folders.ready / "site" / "Gull.jpg"
    why = f"Tried again later: Gull.jpg: there is no free space on the disk, so {place} can't be written\n"
    assert (code, why in told, "Errno" in told) == (1, True, False)
    wren.run()
    assert {*wren.files()} == {f"{name}/Gull.jpg" for name in names}
    assert said("status")[0] == 0


def test_a_ledger_that_can_not_be_written_to_is_told_by_status(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    assert said("status")[0] == 0
    real = os.access  # root may write anywhere, so it is pretended
    shut = {ledger_path(wren.settings)}
    monkeypatch.setattr(os, "access", lambda path, mode: path not in shut and real(path, mode))
    code, told = said("status")
    assert (code, "Nothing can be done: the ledger can't be written to; see that" in told) == (1, True)
    shut = {ledger_path(wren.settings).parent}
    assert said("status")[0] == 1


def test_of_many_that_fail_the_first_are_told() -> None:
    status = Status(0, 0, 0, 0, 0, 0, "", 900, 500, failing={f"{n}.jpg": f"{n} is planted" for n in range(9)})
    lines = [line for line in status.lines() if line.startswith("Tried again later")]
    assert len(lines) == 7
    assert lines[-1] == "Tried again later: 3 more; `autoprep status --json` names all"


def test_a_name_without_room_for_a_number_is_told_in_words(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    tables = wren.config.with_name("destinations.toml")
    tables.write_text('[call]\nlong_side_px = 900\nname = "{title} {nn}"\nname_max = 1\n', encoding="utf-8")
    monkeypatch.setattr("autoprep.service.places.MOST_NUMBERS", 20)
    monkeypatch.setattr("autoprep.service.called.MOST_NUMBERS", 20)
    given = Others(lambda place: True, lambda name: [str(number) for number in range(10)])
    with pytest.raises(DeliveryError, match="no number is free in call: make its `name` shorter, or `name_max` larger"):
        reserve(wren.settings, "Gull.jpg", WorkFacts(), ["call"], given)


def test_redo_says_why_it_failed(wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    with monkeypatch.context() as patch:
        failing(patch)
        code, told = said("redo", "Gull.jpg")
    assert (code, "Gull.jpg: the worker wanted more memory than it may have" in told) == (1, True)


@pytest.mark.parametrize("command", [("once",), ("redo", "Gull.jpg")])
def test_an_inbox_that_is_away_is_told_and_no_empty_one_made_in_its_place(
    wren: Studio, said: Said, command: tuple[str, ...]
) -> None:
    wren.put("Gull.jpg", photo(1))
    wren.run()
    before = wren.files()
    away = wren.inbox.rename(wren.inbox.with_name("away"))
    assert f"autoprep: the inbox {wren.inbox} is not there (a disk that is away?)" in said(*command)[1]
    assert not wren.inbox.exists()
    code, told = said("status")
    assert (code, "Nothing comes in: the inbox" in told) == (1, True)
    away.rename(wren.inbox)
    wren.put("Tern.jpg", photo(2))
    assert "is not there" not in said("once")[1]
    assert {name: data for name, data in wren.files().items() if "Gull" in name} == before
    assert len(wren.files()) == 2 * len(before)


@pytest.mark.parametrize("begun", [True, False], ids=["begun", "new"])
def test_a_run_that_can_not_see_the_inbox_is_not_called_done(
    wren: Studio, said: Said, capsys: pytest.CaptureFixture[str], begun: bool
) -> None:
    """A script that runs `once` every night must not go on as if all were well. new: nothing was made there yet."""
    if begun:
        wren.put("Gull.jpg", photo(1))
        wren.run()
    inbox = wren.inbox
    away = inbox.rename(inbox.with_name("away"))
    if not begun:
        inbox.symlink_to(inbox.with_name("nowhere"))  # a folder would be made where nothing is
        assert said("once")[0] == 2
        inbox.unlink()
        assert said("once")[0] == 0
        inbox.rmdir()
    why = f"Nothing came in: the inbox {inbox} is not there (a disk that is away?); once it is back"
    code, told = said("once")
    assert (code, why in told, "nothing was waiting" in told) == (1, True, False)
    assert main(["once", "--json", "--config", str(wren.config)]) == 1
    assert capsys.readouterr().out == "[]\n"
    away.rename(inbox)
    code, told = said("once")
    assert (code, "Done: nothing was waiting." in told) == (0, True)


def test_a_question_about_a_photo_in_whose_place_another_lies_asks_for_nobody(wren: Studio, said: Said) -> None:
    """Whoever crops a photo that asks, on the phone, can't answer what was asked of the one before."""
    wren.put("a letter.doc", "Dear Wren")
    wren.put("Gull.jpg", photo(1, answer="ask"))
    wren.run()
    wren.put("Gull.jpg", photo(2, answer="ask"))
    wren.run()
    told = said("status")[1]
    assert "Questions for you: 1 " in told
    assert "no longer in the inbox" not in told
    assert said("works")[1].count("Gull") == 1
    wren.put("Gull as it was.jpg", photo(1, answer="ask"))
    wren.run()
    assert "Questions for you: 2 " in said("status")[1]


def test_a_question_about_a_photo_that_was_thrown_away_asks_for_nobody(wren: Studio, said: Said) -> None:
    wren.put("Gull.jpg", photo(1, answer="ask"))
    wren.put("Tern.jpg", photo(2, answer="ask"))
    wren.run()
    assert "Questions for you: 2 " in said("status")[1]
    (wren.inbox / "Gull.jpg").unlink()
    told = said("status")[1]
    assert "Questions for you: 1 " in told
    assert "Questions about photos that are no longer in the inbox: 1 (Gull.jpg); they count" in told
    assert "Gull" not in said("works")[1]
    assert "Gull" not in said("works", "--for", "square")[1]
    wren.run()
    works_page = wren.settings.folders.records / "proof/works.html"
    assert "0 works, 1 more waits for your answer" in works_page.read_text(encoding="utf-8")
    (wren.inbox / "Tern.jpg").unlink()
    assert said("status")[0] == 0
    wren.run()
    assert "0 works; " in works_page.read_text(encoding="utf-8")
    wren.put("Gull.jpg", photo(1, answer="ask"))
    wren.run()
    assert "0 works, 1 more waits for your answer" in works_page.read_text(encoding="utf-8")
    assert "Gull" in said("works")[1]
    assert said("status")[0] == 1
    off = wren.inbox.rename(wren.inbox.with_name("off"))
    assert "Questions for you: 2 " in said("status")[1]  # nobody knows what lies there
    off.rename(wren.inbox)


def test_a_photo_that_was_set_aside_and_thrown_away_asks_for_nobody_any_more(wren: Studio, said: Said) -> None:
    broken = [wren.put(name, photo(work, answer="broken")) for work, name in enumerate(("Gull.jpg", "Tern.jpg"))]
    wren.run()
    code, told = said("status")
    assert (code, "Set aside: 2 (Gull.jpg, Tern.jpg)" in told) == (1, True)
    broken[0].unlink()
    code, told = said("status")
    assert (code, "Set aside: 1 (Tern.jpg)" in told) == (1, True)
    inbox = wren.inbox
    away = inbox.rename(inbox.with_name("away"))
    assert "Set aside: 2 (Gull.jpg, Tern.jpg)" in said("status")[1]  # nobody knows what lies there
    away.rename(inbox)
    broken[1].unlink()
    code, told = said("status")
    assert (code, "Set aside" in told) == (0, False)
    assert "Gull.jpg" in said("jobs", "--outcome", "set aside")[1]
    broken[0].symlink_to(inbox / "nowhere.jpg")
    wren.run()
    assert said("status")[0] == 1  # a link that leads nowhere lies there all the same


@pytest.mark.parametrize("data", [photo(1, answer="broken"), b"no picture"], ids=["fails", "no picture"])
def test_each_file_of_a_broken_photo_is_named_until_it_is_thrown_away(wren: Studio, said: Said, data: bytes) -> None:
    """A sync tool had made a copy of it: who threw away the one that was named was told of the other one only then."""
    names = ("Gull.jpg", "gulls/Gull copy.jpg")
    places = {name: wren.put(name, data) for name in names}
    wren.run()
    told = said("status")[1]
    assert "Set aside: 2 (" in told
    assert all(name in told for name in names)
    assert [said("show", name)[0] for name in names] == [0, 0]
    mine, other = sorted(names, key=lambda name: name not in said("show", name)[1])
    places[mine].unlink()
    assert f"Set aside: 1 ({other})" in said("status")[1]
    assert said("retry") == (0, "1 of 1 photo will be worked on again by `watch` or `once`.\n")
    wren.run()
    assert f"Set aside: 1 ({other})" in said("status")[1]
    places[other].unlink()
    assert said("status")[0] == 0
