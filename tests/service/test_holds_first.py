"""Which files are asked about whether they are on hold before what is new is made; each is asked about once."""

import os
from pathlib import Path
from typing import Any

import pytest

from autoprep.ledger import SeenFile
from autoprep.service.holds_first import HoldsFirst
from autoprep.service.inbox import Found

_KNOWN = {b"one.jpg": SeenFile((500, 1, 1), "00001-a"), b"letter.jpg": SeenFile((700, 1, 2), "")}
_NOTES = {".": (("two.txt", 5, 9),)}


def waiting(**sizes: int) -> dict[bytes, Found]:
    return {f"{name}.jpg".encode(): Found(f"{name}.jpg".encode(), (size, 3, 4), True) for name, size in sizes.items()}


@pytest.fixture
def holds(tmp_path: Path) -> HoldsFirst:
    (tmp_path / "words").mkdir()
    return HoldsFirst(tmp_path / "words")


def asked(holds: HoldsFirst, ready: dict[bytes, Found]) -> set[bytes]:
    return set(holds.due(ready))


def test_files_of_a_known_photos_size_are_asked_about_once(holds: HoldsFirst) -> None:
    ready = waiting(two=500, three=501, four=500, five=700)
    assert asked(holds, ready) == set()  # nothing was looked at yet
    holds.look(_NOTES, _KNOWN)
    assert asked(holds, ready) == {b"two.jpg", b"four.jpg"}
    nothing: Any = None  # what waits is not even gone through
    assert asked(holds, nothing) == set()
    holds.look(_NOTES, _KNOWN)
    assert asked(holds, ready | waiting(six=500)) == {b"six.jpg"}


def test_and_again_when_something_else_may_be_said_of_them(holds: HoldsFirst, tmp_path: Path) -> None:
    ready = waiting(two=500)
    holds.look(_NOTES, _KNOWN)
    assert asked(holds, ready) == {b"two.jpg"}
    holds.look({".": (("two.txt", 6, 9),)}, _KNOWN)
    assert asked(holds, ready) == {b"two.jpg"}
    (tmp_path / "words" / "two.jpg.txt").write_text("hold", encoding="utf-8")
    os.utime(tmp_path / "words", (5, 5))
    holds.look({".": (("two.txt", 6, 9),)}, _KNOWN)
    assert asked(holds, ready) == {b"two.jpg"}
    holds.forget()
    assert asked(holds, ready) == {b"two.jpg"}


def test_what_has_the_size_of_one_that_was_just_taken_in_is_asked_about(holds: HoldsFirst) -> None:
    ready = waiting(two=900, three=900)
    holds.look(_NOTES, _KNOWN)
    assert asked(holds, ready) == set()
    holds.taken(ready.pop(b"two.jpg"))
    assert asked(holds, ready) == {b"three.jpg"}


def test_what_there_was_no_time_for_or_could_not_be_taken_in_is_due_again(holds: HoldsFirst) -> None:
    ready = waiting(two=500, three=500)
    holds.look(_NOTES, _KNOWN)
    first = next(holds.due(ready))
    rest = ready.keys() - {first}
    assert asked(holds, ready) == rest
    holds.put_off(ready[first])
    holds.look(_NOTES, _KNOWN)
    assert asked(holds, ready) == {first}
