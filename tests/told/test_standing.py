"""How a studio stands, in words."""

import time
from collections.abc import Iterator

import pytest

from autoprep.cli.main import main
from autoprep.told.standing import Status
from autoprep.told.summary import tried_later
from autoprep.wishes.tables import Settings

_CALM = Status(
    waiting=2, running=1, questions=0, set_aside=0, not_given_out=0, finished=68,
    last_finished="2026-11-26T23:53:20+00:00", free_mb=57_428, needed_mb=500,
)  # fmt: skip


@pytest.fixture(autouse=True)
def _in_the_east(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC-2")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_a_calm_studio_in_words_and_by_the_clock_of_the_place() -> None:
    assert _CALM.lines() == [
        "Finished: 68 photos, the last on 27 November 2026, 01:53",
        "Waiting: 2, being worked on: 1",
        "Free space: 57 GB",
    ]
    assert not _CALM.needs_attention


def test_what_somebody_should_look_at_has_its_line() -> None:
    looked_at = {"set_aside": 1, "photos_set_aside": ("a.jpg",), "not_given_out": 2, "not_made": ("b.jpg", "c.jpg")}
    status = Status(**{**_CALM.__dict__, "questions": 3, "free_mb": 120, **looked_at})
    assert status.needs_attention
    assert status.lines()[2:] == [
        "Questions for you: 3 (in the folder needs-a-look)",
        "Set aside: 1 (a.jpg); `autoprep retry` starts them over",
        "Photos with a destination that could not be made: 2 (b.jpg, c.jpg); `autoprep show PHOTO` says why",
        "Free space: 120 MB; work waits until there are 500 MB",
    ]


def test_a_new_studio_has_no_last_photo() -> None:
    assert Status(0, 0, 0, 0, 0, 0, "", 900, 500).lines()[0] == "Finished: 0 photos"


def test_that_no_worker_can_be_had_has_its_line() -> None:
    status = Status(**{**_CALM.__dict__, "trouble": "workers end as soon as they start (exit code 1)"})
    assert status.needs_attention
    assert "Nothing is worked on: workers end as soon as they start (exit code 1)" in status.lines()


def test_one_reason_for_many_photos_is_said_once() -> None:
    failing = {f"Gull {number}.jpg": "its disk is away" for number in range(9)} | {"Tern.jpg": "it may not be read"}
    lines = Status(**{**_CALM.__dict__, "failing": failing}).lines()
    assert [line for line in lines if line.startswith("Tried again")] == [
        "Tried again later: 9 (Gull 0.jpg, Gull 1.jpg, Gull 2.jpg, Gull 3.jpg, Gull 4.jpg, Gull 5.jpg and 3 more): its "
        "disk is away",
        "Tried again later: Tern.jpg: it may not be read",
    ]
    many = {f"Gull {number}.jpg": f"reason {number % 8}" for number in range(20)}
    lines = Status(**{**_CALM.__dict__, "failing": many}).lines()
    assert "Tried again later: 4 more; `autoprep status --json` names all" in lines
    first, second = tried_later(failing)
    assert "and 3 more): its disk is away; they are tried again" in first
    assert "`autoprep retry PHOTO`" in first
    assert second.startswith("Tern.jpg: it may not be read; it is tried again")


def test_photos_that_are_sent_to_no_destination_that_there_is_are_named() -> None:
    lost = tuple(f"for submision/{number}.jpg" for number in range(8))
    status = Status(**{**_CALM.__dict__, "not_given_out": 9, "not_made": ("Gull.jpg",), "no_such_destination": lost})
    assert status.needs_attention
    assert (
        "Photos with a destination that could not be made: 1 (Gull.jpg); `autoprep show PHOTO` says why"
        in status.lines()
    )
    (line,) = (line for line in status.lines() if line.startswith("Given out nowhere"))
    assert line.startswith("Given out nowhere, for there is no such destination: 8 (for submision/0.jpg, ")
    assert line.endswith("for submision/5.jpg and 2 more)")


def test_an_inbox_that_is_away_is_told(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    """Its disk was unplugged, and `status` said that all was well."""
    assert main(["status", "--config", str(studio.config_file)]) == 0
    studio.folders.inbox.rename(studio.folders.inbox.with_name("elsewhere"))
    capsys.readouterr()
    assert main(["status", "--config", str(studio.config_file)]) == 1
    assert f"Nothing comes in: the inbox {studio.folders.inbox} is not there" in capsys.readouterr().out
    for more in ((), ("--json",)):
        assert main(["check", "--ahead", *more, "--config", str(studio.config_file)]) == 1  # as `once` and `status` end
    assert "Nothing comes in" in capsys.readouterr().out  # and not that all is as it should be


def test_works_that_are_to_be_measured_again_have_their_line() -> None:
    status = Status(**{**_CALM.__dict__, "asked_afresh": ("a.jpg", "b.jpg")})
    assert "To be measured again, as you asked: 2 (a.jpg, b.jpg)" in status.lines()
    assert not status.needs_attention
