"""At rest the service looks at folders and notes alone; whatever comes, goes or changes is found all the same."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from autoprep.cli import main
from autoprep.ledger import OpenQuestion, SeenFile
from autoprep.logs import open_log
from autoprep.service import engine as engines
from autoprep.service.engine import Engine
from autoprep.service.glance import Glance
from autoprep.service.inbox import Found, scan
from autoprep.service.questions import Questions
from autoprep.wishes.tables import Settings


class Inbox:
    """An inbox with two photos and a note, a glance at it, and a clock that is moved by hand."""

    def __init__(self, folder: Path) -> None:
        self.inbox, self.words, self.now = folder / "inbox", folder / "words", 0.0
        (self.inbox / "trip").mkdir(parents=True)
        for name in ("one.jpg", "trip/two.jpg"):
            (self.inbox / name).write_bytes(b"a photo")
        (self.inbox / "trip" / "two.txt").write_text("title: Reeds", encoding="utf-8")
        self.glance = Glance(self.words, 30.0, lambda: self.now)
        self.known: dict[bytes, SeenFile] = {}

    def look(self, *, takes: bool = True) -> list[Found]:
        notes: dict[str, Any] = {}
        began, found = self.now, scan(self.inbox, notes)
        if takes:
            self.known |= {item.path: SeenFile(item.signature, "a job") for item in found}
        self.glance.looked(self.inbox, began, found, notes, self.known)
        return found

    def rest(self) -> None:
        """Looked at twice, a tick apart."""
        self.look()
        self.now += 2.0
        self.look()
        assert self.glance.same()


@pytest.fixture
def inbox(tmp_path: Path) -> Inbox:
    return Inbox(tmp_path)


def test_what_comes_goes_or_changes_its_name_is_seen(inbox: Inbox) -> None:
    one, two = inbox.inbox / "one.jpg", inbox.inbox / "trip" / "two.jpg"
    (inbox.inbox / "deep" / "in").mkdir(parents=True)
    changes: tuple[Callable[[], object], ...] = (
        lambda: (inbox.inbox / "deep" / "in" / "three.jpg").write_bytes(b"new"),
        lambda: one.rename(inbox.inbox / "uno.jpg"),
        two.unlink,
        lambda: (inbox.inbox / "trip" / "two.txt").write_text("title: Reeds, in wind", encoding="utf-8"),
        lambda: (inbox.inbox / "trip").rename(inbox.inbox / "Trip"),
        inbox.words.mkdir,
        lambda: (inbox.words / "a job.txt").write_text("hold", encoding="utf-8"),
    )
    for number, change in enumerate(changes):
        inbox.rest()
        change()
        assert not inbox.glance.same(), number


def test_a_file_that_is_not_taken_yet_may_be_filled_in_its_place(inbox: Inbox) -> None:
    (inbox.inbox / "empty.jpg").write_bytes(b"")
    inbox.look(takes=False)
    inbox.now = 2.0
    inbox.look(takes=False)
    assert inbox.glance.same()
    (inbox.inbox / "empty.jpg").write_bytes(b"filled")
    assert not inbox.glance.same()


def test_within_a_tick_of_the_folders_clock_nothing_is_trusted(inbox: Inbox) -> None:
    inbox.look()
    assert not inbox.glance.same()
    inbox.now = 1.9
    inbox.look()
    assert not inbox.glance.same()
    inbox.now = 2.0
    inbox.look()
    assert inbox.glance.same()


def test_a_photo_that_is_written_again_in_its_place_is_seen_at_the_thorough_look(inbox: Inbox) -> None:
    inbox.rest()
    began = inbox.now
    with (inbox.inbox / "one.jpg").open("r+b") as file:
        file.write(b"other")
    assert inbox.glance.same()  # its folder is as it was
    inbox.now = began + 299
    assert inbox.glance.same()
    inbox.now = began + 300
    assert not inbox.glance.same()


def test_an_inbox_that_went_away_and_came_back(inbox: Inbox) -> None:
    inbox.rest()
    inbox.inbox.rename(inbox.inbox.with_name("away"))
    assert not inbox.glance.same()
    inbox.now += 5
    inbox.look()
    inbox.now += 5
    inbox.look()
    assert inbox.glance.same()
    inbox.inbox.with_name("away").rename(inbox.inbox)
    assert not inbox.glance.same()


def test_a_service_at_rest_looks_through_nothing_and_finds_what_comes_without_an_event(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    scans: list[Path] = []

    def counted(inbox: Path, notes: dict[str, Any]) -> list[Found]:
        scans.append(inbox)
        return scan(inbox, notes)

    monkeypatch.setattr(engines, "scan", counted)
    monkeypatch.setattr("autoprep.service.glance._TICK_S", 0.2)
    monkeypatch.setattr("autoprep.service.glance._THOROUGH", 100)
    quick = studio.service.model_copy(update={"rescan_s": 0.2})
    engine = Engine(studio.model_copy(update={"service": quick}), open_log(studio.folders.records, None))
    monkeypatch.setattr(engine.hints, "on_any_event", lambda _event: None)
    try:
        for _ in range(8):
            engine.step(0.2)
        at_rest = len(scans)
        for _ in range(6):
            engine.step(0.2)
        assert len(scans) == at_rest
        (studio.folders.inbox / "letter.jpg").write_bytes(b"no photo")
        for _ in range(12):
            engine.step(0.2)
        assert engine.ledger.overview.outcomes() == {"set aside": 1}
    finally:
        engine.stop()


def test_the_service_holds_no_library_that_only_lists_need() -> None:
    said = (
        "import sys, autoprep.cli.work; print([name for name in ('fpdf', 'fontTools', 'rawpy') if name in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_many_open_questions_are_looked_at_seldom_and_a_new_one_at_once(tmp_path: Path) -> None:
    now, looks = [0.0], list[str]()

    def clock() -> float:
        return now[0]

    class Slow(Questions):
        def _look(self) -> Any:
            looks.append("look")
            now[0] += took
            return iter(())

    took, questions = 0.005, Slow(0.4, clock)
    for _ in range(3):
        list(questions.answers())
    now[0] += 9.9
    list(questions.answers())
    assert len(looks) == 3
    now[0] += 0.2
    list(questions.answers())
    assert len(looks) == 4
    os.mkdir(tmp_path / "Reeds")
    questions.note(OpenQuestion("a job", 2, tmp_path / "Reeds"))
    list(questions.answers())
    assert len(looks) == 5
    now[0] += 10.1
    took = 0.0001  # the others were held up by a busy machine
    for _ in range(9):
        list(questions.answers())
    took = 1.0
    for _ in range(2):
        list(questions.answers())
    assert len(looks) == 16


def test_what_is_to_be_tried_again_is_heard_by_a_service_that_runs(studio: Settings) -> None:
    (studio.folders.inbox / "letter.jpg").write_bytes(b"no photo")
    engine = Engine(studio, open_log(studio.folders.records, None))
    try:
        for _ in range(8):
            engine.step(0.2)
        assert engine.ledger.overview.outcomes() == {"set aside": 1}
        assert main(["retry", "--config", str(studio.studio)]) == 0
        engine.step(0.1)
        engine.step(0.1)
        assert engine.pending == 1
    finally:
        engine.stop()


def test_a_photo_that_goes_before_its_turn_is_waited_for_no_longer(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.pool.Pool.free", 0)  # all workers are busy
    photo = studio.folders.inbox / "page.jpg"
    photo.write_bytes(b"a photo")
    engine = Engine(studio, open_log(studio.folders.records, None))
    try:
        for _ in range(8):
            engine.step(0.2)
        assert not engine.idle
        photo.unlink()
        for _ in range(4):
            engine.step(0.2)
        assert engine.idle
    finally:
        engine.stop()


def test_a_photo_whose_taking_in_fails_is_on_hold_till_it_is_known_and_tried_later(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> bool:
        raise OSError("the disk does not answer")

    (studio.folders.inbox / "page.jpg").write_bytes(b"a photo")
    engine = Engine(studio, open_log(studio.folders.records, None))
    try:
        monkeypatch.setattr(engine._arrivals, "is_on_hold", lambda path: False)
        assert not engine._may_be_on_hold(b"page.jpg")
        monkeypatch.setattr(engine._arrivals, "is_on_hold", fails)
        assert engine._may_be_on_hold(b"page.jpg")
        monkeypatch.setattr(engine._arrivals, "take", fails)
        for _ in range(8):
            engine.step(0.2)
        assert list(engine.later) == ["page.jpg"]
    finally:
        engine.stop()


def test_a_page_that_could_not_be_put_in_place_is_written_again(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.engine._PAGE_AGAIN_S", 0.2)
    folder = studio.folders.records / "proof"
    (folder / "index.html").mkdir(parents=True)  # in its way
    engine = Engine(studio, open_log(studio.folders.records, None))
    try:
        engine.step(0.1)
        assert [path.name for path in folder.iterdir()] == ["index.html"]
        (folder / "index.html").rmdir()
        for _ in range(8):
            engine.step(0.1)
        assert (folder / "index.html").is_file()
    finally:
        engine.stop()


def test_a_look_that_takes_long_comes_seldom(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where looking through an inbox takes ten seconds, the next look, whatever asks for it, comes after fifty."""
    clock = [100.0]

    def slow(inbox: Path, notes: dict[str, Any]) -> list[Found]:
        clock[0] += 10.0
        return scan(inbox, notes)

    engine = Engine(studio, open_log(studio.folders.records, None))
    try:
        monkeypatch.setattr(engines, "scan", slow)
        monkeypatch.setattr(engines, "time", SimpleNamespace(monotonic=lambda: clock[0]))
        (studio.folders.inbox / "page.jpg").write_bytes(b"a photo that is on its way")
        engine._look()
        assert engine._next_scan >= clock[0] + 50.0
        monkeypatch.setattr(engine.hints, "drain", lambda: True)
        engine._next_scan = clock[0] + 300.0
        engine.step(0.0)
        assert clock[0] + 50.0 <= engine._next_scan < clock[0] + 300.0
    finally:
        engine.stop()
