"""What was said of a work is heard for as long as it holds: through edits, copies, folders that go and come back."""

import hashlib
import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from autoprep.cli.main import main
from autoprep.domain import JobRecord
from autoprep.files.storage import publish
from autoprep.ledger import Ledger, Line
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.messages import Failed, Finished
from autoprep.service.said import Said
from autoprep.told.explanations import HOLD
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend as pretended
from tests.service.pretend import InlinePool, Studio, photo
from tests.service.test_week import each

DESTINATIONS = '[site]\nlong_side_px = 500\n[print]\nlong_side_px = 900\nwhen = "asked"\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def say(wren: Studio, name: str, *lines: str) -> int:
    return main(["say", name, *lines, "--config", str(wren.config)])


def all_records(wren: Studio) -> list[JobRecord]:
    """Of all photos, in the order in which they came."""
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return [job.record for job in ledger.jobs() if job.record is not None]
    finally:
        ledger.close()


@pytest.mark.parametrize(("line", "files"), [
    ("hold", []),
    ("alt: A jug", ["site/b.jpg"]),
    ("for: print", ["print/b.jpg"]),
])  # fmt: skip
def test_what_is_said_of_a_photo_that_was_edited_counts_beside_the_edited_picture(
    wren: Studio, line: str, files: list[str]
) -> None:
    """Both are called alike, and the other take was made for it again and again without an end."""
    wren.put("a.jpg", photo(2, sharp=9, take=1))
    wren.run()
    wren.put("b.jpg", photo(2, sharp=9, take=2))
    wren.run()
    say(wren, "a.jpg", line)
    wren.run()
    wren.put("a.jpg", photo(2, sharp=3, take=1))
    wren.run()
    assert list(wren.files()) == files


@pytest.mark.parametrize(("word", "answer"), [("not a work: yes", ""), ("outline: ask", "outline: whole photo")])
def test_a_take_that_stood_in_for_the_best_stands_back_again(wren: Studio, word: str, answer: str) -> None:
    wren.put("a.jpg", photo(1, sharp=9, take=1))
    wren.run()
    wren.put("b.jpg", photo(1, sharp=3, take=2))
    wren.run()
    wren.put("a.txt", word)
    wren.run()
    assert list(wren.files()) == ["site/b.jpg"]
    wren.put("a.txt", answer)
    wren.run()
    assert list(wren.files()) == ["site/a.jpg"]
    wren.redo("b.jpg", "site")
    wren.run()
    assert list(wren.files()) == ["site/a.jpg", "site/b.jpg"]


def test_a_place_that_was_the_photos_own_and_is_a_copys_now_speaks(wren: Studio) -> None:
    wren.put("hold/a.jpg", photo(1))
    wren.run()
    wren.put("Album/a.jpg", photo(1))
    wren.run()
    (wren.inbox / "hold/a.jpg").rename(wren.inbox.parent / "off.jpg")
    wren.run()
    assert list(wren.files()) == ["site/a.jpg"]
    (wren.inbox.parent / "off.jpg").rename(wren.inbox / "hold/a.jpg")
    wren.run()
    assert not wren.files()


@pytest.mark.parametrize(("own", "note"), [
    ("Journal/a.jpg", "Journal/a.txt"), ("Journal/a.jpg", "Journal/note.txt"), ("hold/a.jpg", "hold/note.txt"),
    ("hold/a.jpg", "Album/b.txt"),
])  # fmt: skip
def test_a_photo_whose_folder_is_away_keeps_what_was_said_of_it_beside_its_copy(
    wren: Studio, own: str, note: str
) -> None:
    said = "title: Jug\nsize: A5\n" + ("hold: yes" if own.startswith("Journal") else "")
    wren.put(own, photo(1))
    wren.put(note, said)
    wren.run()
    wren.put("Album/a.jpg", photo(1))
    before = wren.run()[own].work
    folder, off = wren.inbox / own.partition("/")[0], wren.inbox.parent / "off"
    folder.rename(off)
    record = wren.run()[own]
    assert (wren.files(), record.work.title, record.work.size_mm) == ({}, before.title, before.size_mm)
    assert f"autoprep say {own} 'hold: no'" in record.work.unclear[-1]
    off.rename(folder)
    assert wren.run()[own].work == before
    folder.rename(off)
    wren.run()
    say(wren, own, "hold: no")
    record = wren.run()[own]
    assert (list(wren.files()), record.work.unclear) == (["site/a.jpg"], ())


def test_a_photo_that_is_deleted_beside_its_copy_is_where_the_copy_is(wren: Studio) -> None:
    wren.put("hold/a.jpg", photo(1))
    wren.run()
    wren.put("Album/a.jpg", photo(1))
    wren.run()
    (wren.inbox / "hold/a.jpg").unlink()
    assert wren.run()["Album/a.jpg"].outcome == "ready"
    assert list(wren.files()) == ["site/a.jpg"]


class Slow(InlinePool):
    """A pool whose worker has not done yet what it was given until it may."""

    may = False

    def collect(self) -> Iterator[Finished | Failed]:
        if self.may:
            yield from super().collect()

    @property
    def running(self) -> list[str]:
        return [order.job for order in self._orders]


@pytest.mark.parametrize(("word", "made", "stops"), [
    ("hold: yes", {}, False), ("hold: yes", {}, True), ("for: print", {"print"}, False),
])  # fmt: skip
def test_what_is_said_while_a_photo_is_worked_on_counts_before_its_picture_is_there(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, word: str, made: set[str], stops: bool
) -> None:
    """A folder that is synced takes a picture that lies there for a moment, and keeps it."""
    published: list[Path] = []

    def publishing(part: Path, final: Path) -> None:
        published.append(final)
        publish(part, final)

    monkeypatch.setattr("autoprep.service.hands.publish", publishing)
    monkeypatch.setattr("autoprep.service.engine.Pool", Slow)
    monkeypatch.setattr(Slow, "may", False)
    wren.put("a.jpg", photo(1))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    step(wren, engine)
    assert engine._pool.running
    wren.put("a.txt", f"title: Jug\n{word}")
    step(wren, engine)
    monkeypatch.setattr(Slow, "may", True)
    step(wren, engine, 0 if stops else 9)
    engine.stop()
    record = wren.records()["a.jpg"]
    assert {place.parent.name for place in published} == set(made)
    assert record.outcome == "ready"
    assert (record.held_kinds == {"site": HOLD.kind}) == word.startswith("hold")
    wren.put("a.txt", "title: Jug")
    wren.run()
    assert list(wren.files()) == ["site/a.jpg"]
    assert b"Jug" in wren.files()["site/a.jpg"]


def step(wren: Studio, engine: Engine, times: int = 9) -> None:
    for _ in range(times):
        wren.at_once(engine)
        engine.step(0.0)


@pytest.mark.parametrize(
    ("name", "lines"), [("b.jpg", ["hold"]), ("a.jpg", ["hold"]), ("b.jpg", ["hold", "title: Jug"])]
)
def test_a_new_take_of_a_work_on_hold_says_that_it_is_held(wren: Studio, name: str, lines: list[str]) -> None:
    wren.put("a.jpg", photo(1, sharp=3, take=1))
    wren.run()
    say(wren, "a.jpg", *lines)
    wren.run()
    wren.put(name, photo(1, sharp=9, take=2))
    wren.run()
    record = all_records(wren)[-1]
    assert (record.outcome, record.held, record.held_kinds) == ("ready", {"site": HOLD}, {"site": HOLD.kind})
    say(wren, "a.jpg", "hold: no")
    wren.run()
    assert len(wren.files()) == 1


def test_a_photo_of_several_works_that_is_edited_in_its_place_gives_its_works_anew(wren: Studio) -> None:
    first, second = photo(1, answer="several"), photo(1, answer="several", take=2)
    wren.put("IMG_1.jpg", first)
    wren.run()
    each("IMG_1")(wren)
    before = list_of(wren)
    assert before == {"site/IMG_1-1.jpg": sha_of(first), "site/IMG_1-2.jpg": sha_of(first)}
    wren.put("IMG_1.jpg", second)
    assert list_of(wren) == before  # until the edited one is answered
    each("IMG_1")(wren)
    assert list_of(wren) == dict.fromkeys(before, sha_of(second))
    assert "was edited" in all_records(wren)[1].reasons[0]
    wren.put("IMG_1.jpg", first)
    assert list_of(wren) == before


def list_of(wren: Studio) -> dict[str, str]:
    """After a run: the files, and of which photo each is made."""
    wren.run()
    return {name: json.loads(data)[0] for name, data in wren.files().items()}


def sha_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def test_what_is_said_of_a_copy_is_said_of_its_photo(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put("x/IMG_1 copy.jpg", photo(1))
    wren.run()
    assert say(wren, "IMG_1 copy.jpg", "hold") == 0
    told = capsys.readouterr()
    assert told.err == "x/IMG_1 copy.jpg is a copy of IMG_1.jpg, which is meant.\n"
    assert told.out.startswith("IMG_1.jpg: said here is now: hold.")
    wren.run()
    assert not wren.files()
    say(wren, "IMG_1 copy.jpg")
    wren.made()
    assert main(["redo", "IMG_1 copy.jpg", "--config", str(wren.config)]) == 0
    assert list(wren.files()) == ["site/IMG_1.jpg"]


def test_what_is_made_again_in_vain_is_no_loop_but_a_fault_that_is_told(
    wren: Studio, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("a.jpg", photo(1))
    before = (wren.run(), wren.files())[1]
    never = {"title": "of no photo"}
    with monkeypatch.context() as patch:
        patch.setattr("autoprep.service.hands.of_the_work", lambda own, _: own.model_copy(update=never))
        wren.put("a.txt", "title: Jug")
        wren.made()
        wren.run()
        assert len(wren.made()) == 2
    assert wren.files() == before
    main(["status", "--config", str(wren.config)])
    assert "a.jpg: it was made twice by words that do not hold for it" in capsys.readouterr().out
    wren.wait_over()
    wren.run()
    assert wren.files() != before


def test_other_words_for_a_hold_in_the_folder_of_a_copy_are_told(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("do not publish/Reeds.jpg", photo(1))
    wren.run()
    work = wren.run()["Reeds.jpg"].work
    assert work.hold
    assert any("is held until" in line for line in work.unclear)


def test_the_note_of_a_photo_that_is_there_speaks_of_no_other_that_had_its_name(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at=None))
    wren.put("a.jpg", photo(1))
    wren.run()
    wren.put("a.jpg", photo(8))
    wren.run()
    assert len(wren.files()) == 2  # nothing tells that they are one work
    wren.put("a.txt", "hold: yes")
    wren.run()
    assert len(wren.files()) == 1


def test_a_note_is_heard_when_it_has_been_still(studio: Settings) -> None:
    now = [100.0]
    said = Said(5.0, {"1": "as it was"}, lambda: now[0])

    def changed(size: int) -> list[str]:
        return said.notice(studio, {".": (("a.txt", 1, size),)}, [("1", Line("1", b"a.jpg", ""))])

    assert changed(9) == []
    now[0] += 4.9
    assert changed(20) == []  # it grew
    now[0] += 4.9
    assert changed(20) == []
    now[0] += 0.2
    assert changed(20) == ["1"]


def test_a_file_that_is_where_it_belongs_after_a_crash_is_never_missing(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("a.jpg", photo(1))
    wren.run()
    wren.put("a.txt", "title: Jug")

    def cut(name: str) -> None:
        if name == "record":
            raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("autoprep.service.hands.boundary", cut)
        with pytest.raises(KeyboardInterrupt):
            wren.run()
    taken: list[object] = []
    monkeypatch.setattr("autoprep.service.hands.take_out", lambda *what: taken.append(what))
    wren.run()
    assert b"Jug" in wren.files()["site/a.jpg"]
    assert not taken


@pytest.mark.parametrize("hold", ["", "hold: yes"])
def test_a_note_beside_a_copy_is_heard_when_the_folder_of_the_photo_is_gone_for_good(wren: Studio, hold: str) -> None:
    """Photos are copied to where they belong, and the folder in which they came is deleted."""
    wren.put("Camera/a.jpg", photo(1))
    wren.put("Camera/a.txt", f"title: Jug\n{hold}")
    wren.run()
    wren.put("Works/a.jpg", photo(1))
    wren.run()
    shutil.rmtree(wren.inbox / "Camera")
    assert wren.run()["Camera/a.jpg"].work.title == "Jug"
    wren.put("Works/a.txt", "title: Boat")
    records = wren.run()
    if hold:
        assert (records["Camera/a.jpg"].work.title, wren.files()) == ("Jug", {})
        say(wren, "Camera/a.jpg", "hold: no")
        wren.run()
        records = wren.run()
    assert records["Works/a.jpg"].work.title == "Boat"
    assert list(wren.files()) == ["site/a.jpg"]
