"""Photos that are edited in their places: turned, cropped or brightened on the phone, under the same name."""

import os
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from autoprep.cli.main import main
from autoprep.domain import JobRecord
from autoprep.imaging.likeness import likeness
from autoprep.job.takes import Look, is_edited
from autoprep.ledger import Ledger, WorkRow
from autoprep.told.explanations import AWAY, HOLD
from autoprep.told.standing import status_of
from autoprep.told.works import why_nowhere
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend as pretended
from tests.service.pretend import InlinePool, Studio, photo

DESTINATIONS = """
[site]
long_side_px = 900
name = "{title}"
"""


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def outcomes(wren: Studio) -> list[str | None]:
    """Of all photos, in the order in which they came."""
    return [record.outcome for record in all_records(wren)]


def all_records(wren: Studio) -> list[JobRecord]:
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return [job.record for job in ledger.jobs() if job.record is not None]
    finally:
        ledger.close()


# As good as before; fewer pixels, for it was cropped; better; and so much turned that it seems to show another work.
EDITED = (photo(1, take=2), photo(1, sharp=4, take=2), photo(1, sharp=9, take=2), photo(8))


@pytest.mark.parametrize("edited", EDITED)
def test_the_note_beside_an_edited_photo_speaks_for_the_work(wren: Studio, edited: bytes) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Jug\nhold: yes")
    wren.run()
    wren.put("IMG_1.jpg", edited)
    wren.run()
    assert not wren.files()
    assert list(all_records(wren)[-1].held) == ["site"]  # `show` and `jobs` called it ready
    wren.put("IMG_1.txt", "title: Jar\nhold: no")
    wren.run()
    assert list(wren.files()) == ["site/Jar.jpg"]
    wren.put("IMG_1.txt", "title: Jar\nhold: yes")
    wren.run()
    assert not wren.files()
    wren.put("IMG_1.txt", "title: Jar")  # the word beside what is there no more is not said again
    wren.run()
    assert list(wren.files()) == ["site/Jar.jpg"]


@pytest.mark.parametrize("edited", EDITED)
def test_an_edited_photo_is_one_work_and_one_picture(wren: Studio, edited: bytes) -> None:
    wren.put("IMG_1.jpg", photo(1))
    before = wren.run()["IMG_1.jpg"].sha256.encode()
    wren.put("IMG_1.jpg", edited)
    wren.run()
    assert list(wren.files()) == ["site/IMG_1.jpg"]
    assert before not in wren.files()["site/IMG_1.jpg"]
    (old, new) = all_records(wren)
    assert (old.outcome, old.take_of, new.outcome) == ("alternate", new.job, "ready")
    assert "was edited" in old.reasons[0]
    withdrawn = list((wren.settings.folders.records / "withdrawn").rglob("*.jpg"))
    assert [before in place.read_bytes() for place in withdrawn] == [True]  # nothing is deleted


def test_an_edited_photo_that_asks_leaves_what_was_edited_where_it_is(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put("IMG_1.jpg", photo(8))
    wren.run()
    wren.put("IMG_1.txt", "outline: ask")
    wren.run()
    assert outcomes(wren) == ["alternate", "needs a look"]
    assert not wren.files()  # what the artist has changed does not come back


def test_a_photo_of_another_time_in_the_place_of_one_is_surely_another_work(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at="2026-03-02T10:00:00"))
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at="2026-03-05T16:00:00"))
    wren.put("IMG_1.jpg", photo(8))
    wren.run()
    assert outcomes(wren) == ["ready", "ready"]
    assert not [reason for record in all_records(wren) for reason in record.reasons if "lay here before" in reason]


def test_what_lay_at_a_place_before_is_told_where_nothing_says_that_it_is_the_same(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Messengers take the time out, and a crop may look like another work."""
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at=None))
    wren.put("IMG_1.jpg", photo(1))
    old = wren.run()["IMG_1.jpg"].job
    assert not standing(wren)
    wren.put("IMG_1.jpg", photo(8))
    wren.run()
    assert outcomes(wren) == ["ready", "ready"]
    (told,) = [reason for reason in all_records(wren)[1].reasons if "lay here before" in reason]
    assert f"autoprep say {old} hold" in told
    (line,) = standing(wren)
    assert f"`autoprep say {old} hold` takes them out" in line
    wren.put("IMG_1.txt", "title: Sea holly")
    wren.run()
    assert sum("lay here before" in reason for reason in all_records(wren)[1].reasons) == 1
    say(wren, "hold", old)
    wren.run()
    assert len(wren.files()) == 1
    assert not standing(wren)


def standing(wren: Studio) -> list[str]:
    ledger = Ledger(ledger_path(wren.settings))
    lines = status_of(wren.settings, ledger.overview).lines()
    ledger.close()
    return [line for line in lines if line.startswith("Another photo lay where IMG_1.jpg lies now")]


def test_words_of_the_command_line_hold_for_the_edited_photo(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    say(wren, "hold")
    wren.put("IMG_1.jpg", photo(8))
    wren.run()
    assert not wren.files()
    say(wren, "hold: no")
    wren.run()
    assert list(wren.files()) == ["site/IMG_1.jpg"]


def say(wren: Studio, line: str, name: str = "IMG_1.jpg") -> int:
    return main(["say", name, line, "--config", str(wren.config)])


def test_a_photo_that_is_put_back_as_it_was_is_used_again(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    first = wren.run()["IMG_1.jpg"].sha256.encode()
    wren.put("IMG_1.jpg", photo(8))
    wren.run()
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    assert outcomes(wren) == ["ready", "alternate"]
    assert say(wren, "price: 240") == 0  # of the one that lies there
    wren.run()
    assert [record.work.price for record in all_records(wren)] == ["240", "240"]
    assert (wren.settings.folders.records / "words" / f"{all_records(wren)[0].job}.txt").is_file()
    assert [first in data for data in wren.files().values()] == [True]
    wren.put("IMG_1.txt", "title: Jug")
    wren.run()
    assert list(wren.files()) == ["site/Jug.jpg"]


def test_after_a_rebuild_the_edited_photo_is_used(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put("IMG_1.jpg", photo(1, take=2))
    wren.run()
    before = wren.files()
    ledger_path(wren.settings).unlink()
    assert main(["rebuild", "--config", str(wren.config)]) == 0
    wren.run()
    assert (wren.files(), outcomes(wren)) == (before, ["alternate", "ready"])


@pytest.mark.parametrize("name", ["IMG_1.jpg", "IMG_2.jpg"])
def test_a_work_is_known_since_a_picture_of_any_of_its_takes_was_there(wren: Studio, name: str) -> None:
    """Calls ask whether a work was public before; an edited picture, or a better take, made it new."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Jug")
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    ledger._db.execute("UPDATE renditions SET first = '2025-03-01T10:00:00'")
    ledger.close()
    wren.put(name, photo(1, sharp=9, take=2))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (work,) = ledger.overview.works()
    ledger.close()
    assert (work.takes, work.shown) == (1 if name == "IMG_1.jpg" else 2, name)
    assert [sent.first[:10] for sent in work.sent] == ["2025-03-01"]


def test_another_photo_of_the_same_name_is_another_work() -> None:
    """Cameras and apps give names again: what was made under one of them before is nobody's to withdraw."""
    drawing, other = alike_of(1), alike_of(2)
    then, now = "2026-11-20T10:00:00", "2026-12-20T10:00:00"
    assert is_edited(Look(drawing, 1.5, then), Look(other, 0.7, then))
    assert not is_edited(Look(drawing, 1.5, now), Look(drawing, 1.5, then))
    assert is_edited(Look(drawing, 1.5, None), Look(drawing, 1.2, then))
    assert not is_edited(Look(drawing, 1.5, None), Look(other, 1.5, then))
    assert not is_edited(None, Look(other, 1.5, then))


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_photo_that_tells_no_time_is_known_however_it_is_turned(quarters: int) -> None:
    """Messengers take the time out: turned on the phone, such a page lay in `ready/` twice, once on its side."""
    drawn = np.random.default_rng(7).random((90, 90, 3)).astype(np.float32)
    turned = np.ascontiguousarray(np.rot90(drawn, quarters))
    assert is_edited(Look(likeness(drawn), 1.5, None), Look(likeness(turned), 1 / 1.5, None))


def alike_of(work: int) -> str:
    return likeness(np.random.default_rng(work).random((64, 64, 3), np.float32))


def test_a_retake_speaks_for_a_photo_that_was_deleted(wren: Studio) -> None:
    """Nobody can see or change what was said beside the first any more."""
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "title: Jug\nhold: yes")
    wren.run()
    for name in ("IMG_1.jpg", "IMG_1.txt"):
        os.unlink(wren.inbox / name)
    wren.run()
    wren.put("IMG_2.jpg", photo(1, take=2))
    wren.put("IMG_2.txt", "title: Jar")
    wren.run()
    assert not wren.files()  # it was held, and nobody said that it is not
    wren.put("IMG_2.txt", "title: Jar\nhold: no")
    records = wren.run()
    assert list(wren.files()) == ["site/Jar.jpg"]
    assert "no longer in the inbox" in records["IMG_1.jpg"].reasons[0]


def test_what_is_said_beside_a_retake_leaves_the_pictures_of_a_deleted_photo_else(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    before = wren.files()
    os.unlink(wren.inbox / "IMG_1.jpg")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, take=2))
    wren.run()
    assert wren.files() == before


@pytest.mark.parametrize("hold", ["say", "note"])
def test_a_photo_that_was_tidied_away_is_held_and_released(wren: Studio, hold: str) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    before = wren.files()
    os.unlink(wren.inbox / "IMG_1.jpg")
    wren.run()
    assert wren.files() == before
    if hold == "say":
        assert say(wren, "hold") == 0
    else:
        wren.put("IMG_1.txt", "hold: yes")
        assert_ahead(wren, "IMG_1.txt: speaks of IMG_1.jpg, which is not in the inbox now")
    wren.run()
    assert not wren.files()
    wren.run()
    assert not wren.files()
    assert say(wren, "hold: no") == 0
    wren.run()
    assert wren.files() == before


def assert_ahead(wren: Studio, line: str) -> None:
    from autoprep.service.outlook import outlook

    assert line in list(outlook(wren.settings))


@pytest.mark.parametrize("words", ["hold: no", "hold: no\ntitle: Jar"])
def test_a_photo_that_is_away_and_is_released_is_asked_for(wren: Studio, words: str) -> None:
    """It was never given out, or its pictures have other words on them."""
    wren.put("IMG_1.jpg", photo(1))
    if "title" in words:
        wren.run()
    wren.put("IMG_1.txt", "hold: yes")
    wren.run()
    os.unlink(wren.inbox / "IMG_1.jpg")
    wren.run()
    wren.put("IMG_1.txt", words)
    assert "put it back" in wren.run()["IMG_1.jpg"].held["site"]
    assert "put it back" in why_nowhere(row_of(wren))
    wren.put("IMG_1.txt", "hold: yes")
    assert wren.run()["IMG_1.jpg"].held == {"site": str(HOLD)}
    wren.put("IMG_1.txt", words)
    assert wren.run()["IMG_1.jpg"].held == {"site": str(AWAY)}
    wren.put("IMG_1.jpg", photo(1))
    assert not wren.run()["IMG_1.jpg"].held
    assert len(wren.files()) == 1


def row_of(wren: Studio) -> WorkRow:
    ledger = Ledger(ledger_path(wren.settings))
    (work,) = ledger.overview.works()
    ledger.close()
    return work


def test_what_a_picture_must_be_made_anew_for_waits_for_its_photo(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "price: 240\ntitle: Jug")
    wren.run()
    for name in ("IMG_1.jpg", "IMG_1.txt"):
        os.unlink(wren.inbox / name)
    wren.run()
    assert say(wren, "title: Jar") == 1
    assert "not in the inbox" in capsys.readouterr().out
    record = wren.run()["IMG_1.jpg"]
    assert (record.work.title, record.work.price) == ("Jar", "240")  # what else was said of it stays
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    assert list(wren.files()) == ["site/Jar.jpg"]


@pytest.mark.parametrize("edited", EDITED)
@pytest.mark.parametrize("folder", ["hold", "also for call"])
def test_a_copy_of_what_was_edited_speaks_on_and_the_edited_picture_is_used(
    wren: Studio, edited: bytes, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = f'{DESTINATIONS}\n[call]\nlong_side_px = 900\nname = "{{title}}"\nwhen = "asked"\n'
    wren.config.with_name("destinations.toml").write_text(call, encoding="utf-8")
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    wren.put(f"{folder}/IMG_1.jpg", photo(1))
    before = wren.run()["IMG_1.jpg"].sha256.encode()
    goal = [] if folder == "hold" else ["call/IMG_1.jpg", "site/IMG_1.jpg"]
    assert list(wren.files()) == goal
    wren.put("IMG_1.jpg", edited)
    monkeypatch.setattr(InlinePool, "collect", slow(InlinePool.collect))
    if not goal:  # not even for a moment
        monkeypatch.setattr("autoprep.service.hands.bring_back", None)
        monkeypatch.setattr("autoprep.service.hands.publish", None)
    for _ in range(2):
        wren.run()
        assert list(wren.files()) == goal
        assert not any(before in data for data in wren.files().values())
        assert [one for one in outcomes(wren) if one != "duplicate"] == ["alternate", "ready"]
    if goal:
        wren.put("IMG_1.jpg", photo(1))  # as it was
        wren.run()
        assert list(wren.files()) == goal
        assert all(before in data for data in wren.files().values())
        assert [one.photo for one in all_records(wren) if one.outcome == "ready"] == ["IMG_1.jpg"]


def slow(collect: Callable[[InlinePool], Any]) -> Callable[[InlinePool], Any]:
    """The inbox is looked at a few times before the first results come."""
    looks = iter(range(3))
    return lambda pool: collect(pool) if next(looks, None) is None else ()
