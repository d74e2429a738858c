"""How often a file is read that is not whole yet."""

from pathlib import Path

import pytest

from autoprep.domain import JobRecord
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.arrivals import Arrivals, shown_name
from autoprep.service.inbox import GIVE_UP_WAITING_S, Found, SettledFile, Settling, read_settled, scan
from autoprep.wishes.notes import facts_of
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos


def test_half_a_photo_that_does_not_change_is_read_twice(
    tmp_path: Path, studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once to see that it ends too early, once more before it is given up: large ones cost seconds each time."""
    now, read, told = [0.0], list[bytes](), list[JobRecord]()
    (studio.folders.inbox / "half.jpg").write_bytes(photos.jpeg()[:20_000])
    ledger, settling = Ledger(ledger_path(studio)), Settling(1.0, lambda: now[0])
    arrivals = Arrivals(
        studio, ledger, settling, open_log(studio.folders.records, None), told.append, lambda *_: None, patient=True
    )

    def reading(inbox: Path, item: Found) -> SettledFile | None:
        read.append(item.path)
        return read_settled(inbox, item)

    monkeypatch.setattr("autoprep.service.arrivals.read_settled", reading)
    for _ in range(700):
        now[0] += 1
        for item in settling.look(scan(studio.folders.inbox), arrivals.known):
            arrivals.take(item)
    assert len(read) == 2
    assert [record.outcome for record in told] == ["set aside"]
    # One that changes is read again.
    (studio.folders.inbox / "other.jpg").write_bytes(photos.jpeg()[:20_000])
    for size in (30_000, 40_000, None):
        now[0] += 50
        (studio.folders.inbox / "other.jpg").write_bytes(photos.jpeg()[:size])
        for _ in range(3):
            now[0] += 1
            for item in settling.look(scan(studio.folders.inbox), arrivals.known):
                arrivals.take(item)
    assert [job.shown for job in ledger.jobs() if job.state == "queued"] == ["other.jpg"]
    ledger.close()


@pytest.mark.parametrize(
    "name", ["می\u200cخواهم", "ക്\u200dഷ", "a\U0001f469\u200d\U0001f3a8", "a\u200b\ufeffb", "\u200fא"]
)
def test_letters_that_are_not_seen_belong_to_a_name(tmp_path: Path, name: str) -> None:
    (tmp_path / f"{name}.txt").write_text("hold: yes\n")
    facts, unclear = facts_of(tmp_path, shown_name(f"{name}.jpg".encode()))
    assert (facts.title, facts.hold, unclear) == (name, True, ())


def test_a_file_that_is_reserved_and_not_fetched_is_never_taken_in() -> None:
    """An empty one is told after a while: nothing is on its way."""
    now = [0.0]
    settling = Settling(2.0, lambda: now[0])
    found = [
        Found(b"empty.jpg", (0, 1, 1), plain=True, filled=False),
        Found(b"reserved.jpg", (9, 1, 2), plain=True, filled=False),
    ]
    settling.look(found, {})
    now[0] += 10
    assert settling.look(found, {}) == []
    now[0] += GIVE_UP_WAITING_S
    assert [item.path for item in settling.look(found, {})] == [b"empty.jpg"]


def test_a_file_that_was_put_off_is_offered_at_once_where_it_changes() -> None:
    now = [0.0]
    settling = Settling(2.0, lambda: now[0])
    lying, changed = ([Found(b"a.jpg", (size, 1, 1), plain=True, filled=True)] for size in (9, 12))
    settling.look(lying, {})
    now[0] += 3
    assert settling.look(lying, {}) == lying
    settling.later(b"a.jpg", 100.0, "it can't be opened")
    assert settling.look(lying, {}) == []
    assert settling.refused({}) == {b"a.jpg": "it can't be opened"}
    assert settling.look(changed, {}) == []
    assert settling.refused({}) == {}
    now[0] += 3
    assert settling.look(changed, {}) == changed
    settling.later(b"a.jpg", 100.0)
    now[0] += 99
    assert settling.look(changed, {}) == []
    now[0] += 1
    assert settling.look(changed, {}) == changed
