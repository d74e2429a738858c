"""Files of the inbox that are not read yet, and what they may hold."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from autoprep.domain import WorkFacts
from autoprep.ledger import Ledger, SeenFile, View
from autoprep.service.inbox import Found, scan
from autoprep.service.unread import Unread
from autoprep.wishes.tables import Settings


def view_of_one_on_hold(ledger: Ledger) -> View:
    job = ledger.claim("a" * 64, b"Reeds.jpg", "Reeds.jpg", lambda _: {}).job
    view = ledger.view(job)
    assert view is not None
    return replace(view, state="done", said=WorkFacts(hold=True))


def test_a_photo_that_is_away_comes_until_what_lies_in_its_place_is_read_or_gone(
    studio: Settings, tmp_path: Path
) -> None:
    ledger, unread = Ledger(tmp_path / "ledger.sqlite3"), Unread()
    view, place = view_of_one_on_hold(ledger), studio.folders.inbox / "Reeds.jpg"
    ledger.close()
    files: dict[bytes, SeenFile] = {}  # what the ledger knows, also between two looks

    def looked() -> list[Found]:
        found = scan(studio.folders.inbox)
        unread.look(found, files)
        return list(found)

    (studio.folders.inbox / "Terns.jpg").write_bytes(b"another")
    looked()
    assert not unread.comes(view)
    place.write_bytes(b"a photo")
    found = {item.path: item for item in looked()}
    assert unread.comes(view)
    assert unread.over() == set()
    files[view.path] = SeenFile(found[view.path].signature, view.job)
    assert unread.over() == {view.job}
    assert unread.over() == set()  # told once
    assert not unread.comes(view)
    files.clear()
    looked()
    assert unread.comes(view)
    place.unlink()
    looked()
    assert unread.over() == {view.job}


def test_a_file_holds_until_it_is_read_or_gone(studio: Settings, tmp_path: Path) -> None:
    inbox = studio.folders.inbox
    (inbox / "hold").mkdir()
    for name in ("Reeds.jpg", "hold/Rocks.jpg", "hold/Gulls.jpg", "hold/longer.jpg", "Terns.jpg"):
        (inbox / name).write_bytes(b"a photo" + b"." * ("longer" in name))
    ledger, unread = Ledger(tmp_path / "ledger.sqlite3"), Unread()
    view = view_of_one_on_hold(ledger)
    ledger.close()
    files: dict[bytes, SeenFile] = {}

    def held(said: WorkFacts | None = None) -> bool:
        return unread.heard(studio, view, said or WorkFacts(), (b"Reeds.jpg",)).hold

    def looked() -> Sequence[Found]:
        found = scan(inbox)
        unread.look(found, files)
        return found

    assert not held()  # nothing was looked at yet
    for item in looked():
        if item.path in (b"Reeds.jpg", b"hold/Rocks.jpg"):
            files[item.path] = SeenFile(item.signature, "")
    assert held()
    assert not held(WorkFacts(released=True))
    assert held()
    assert unread.over() == set()
    (inbox / "hold/Gulls.jpg").unlink()
    looked()
    assert unread.over() == {view.job}
    assert not held()  # what is left was read, is longer, or holds nothing
    assert unread.over() == set()
    (inbox / "hold/Gulls.jpg").write_bytes(b"a photo")
    gulls = next(item for item in looked() if item.path == b"hold/Gulls.jpg")
    assert held()
    files[gulls.path] = SeenFile(gulls.signature, "")
    assert unread.over() == {view.job}  # before the next look
    assert not held()


def test_only_a_new_file_of_its_size_elsewhere_may_be_a_photo_that_has_left_its_place(studio: Settings) -> None:
    inbox, unread = studio.folders.inbox, Unread()
    for name in ("Rocks.jpg", "Gulls.jpg"):
        (inbox / name).write_bytes(b"a photo" + b"." * ("Gulls" in name))
    files: dict[bytes, SeenFile] = {}
    found = {item.path: item for item in scan(inbox)}
    unread.look(found.values(), files)
    assert unread.may_be(b"Reeds.jpg", found[b"Rocks.jpg"])
    assert not unread.may_be(b"Gulls.jpg", found[b"Rocks.jpg"])  # which is in its place
    gone = replace(found[b"Rocks.jpg"], path=b"Terns.jpg")
    assert not unread.may_be(b"Terns.jpg", gone)  # its own place
    files[b"Gulls.jpg"] = SeenFile(found[b"Gulls.jpg"].signature, "")
    unread.look(found.values(), files)
    assert unread.may_be(b"Reeds.jpg", found[b"Rocks.jpg"])
    assert not unread.may_be(b"Reeds.jpg", found[b"Gulls.jpg"])  # no new file has its size


def test_what_is_said_of_a_copy_that_meets_a_fault_holds(
    studio: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody knows what was said there: what is on hold stays so."""
    inbox = studio.folders.inbox
    for name in ("Reeds.jpg", "Rocks.jpg"):
        (inbox / name).write_bytes(b"a photo")
    ledger, unread = Ledger(tmp_path / "ledger.sqlite3"), Unread()
    view = view_of_one_on_hold(ledger)
    ledger.close()
    unread.look(scan(inbox), {})
    assert not unread.heard(studio, view, WorkFacts(), (b"Reeds.jpg",)).hold

    def fault(*_: object) -> WorkFacts:
        raise RuntimeError("a mistake in the code")

    monkeypatch.setattr("autoprep.service.unread.facts_of_copy", fault)
    assert unread.heard(studio, view, WorkFacts(), (b"Reeds.jpg",)).hold
