"""What lies in ready/ follows from what is known: whatever the artist does, before or after a picture was made."""

import csv
import json
import os
from datetime import date
from typing import Any

import pytest

from autoprep.cli import again, main
from autoprep.errors import UsageError
from autoprep.job.orders import AgainOrder
from autoprep.ledger import MEASURED, Ledger
from autoprep.logs import open_log
from autoprep.service.hands import Hands
from autoprep.service.studio import PageWriter
from autoprep.told.metrics import Metrics
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

DESTINATIONS = """
[square]
long_side_px = 300

[site]
long_side_px = 500
name = "{title}"
listing = true

[blind]
long_side_px = 400
rights = "none"
listing = true

[print]
long_side_px = 900
when = "asked"
"""


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def listed(wren: Studio, destination: str = "site") -> list[dict[str, str]]:
    place = wren.settings.folders.ready / destination / "image-list.csv"
    if not place.exists():
        return []
    return list(csv.DictReader(place.read_text(encoding="utf-8-sig").splitlines()))


def pictures(wren: Studio) -> list[str]:
    return [name for name in wren.files() if "image-list" not in name]


def on_disk(wren: Studio, shown: str) -> dict[str, object]:
    job = wren.records()[shown].job
    place = wren.settings.folders.records / "proof" / job / "record.json"
    read: dict[str, object] = json.loads(place.read_text(encoding="utf-8"))
    return read


def test_a_title_that_comes_late_reaches_file_list_and_record_and_nothing_else(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    assert pictures(wren) == ["blind/01.jpg", "site/IMG_1.jpg", "square/IMG_1.jpg"]
    before = wren.files()
    wren.made()
    wren.put("IMG_1.txt", "title: Sea Thrift\n")
    wren.run()
    assert pictures(wren) == ["blind/01.jpg", "site/Sea Thrift.jpg", "square/IMG_1.jpg"]
    assert b"Sea Thrift" in wren.files()["square/IMG_1.jpg"]
    assert wren.files()["blind/01.jpg"] == before["blind/01.jpg"]
    assert [row["title"] for row in listed(wren)] == ["Sea Thrift"]
    assert on_disk(wren, "IMG_1.jpg")["work"]["title"] == "Sea Thrift"  # type: ignore[index]
    assert [kind for kind, _, _ in wren.made()] == ["AgainOrder"]  # measured once
    withdrawn = list((wren.settings.folders.records / "withdrawn").rglob("IMG_1.jpg"))
    assert len(withdrawn) == 1  # the picture under its old name: nothing is deleted


def test_words_that_reach_no_file_make_none_again(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.made()
    before = {name: data for name, data in wren.files().items() if "image-list" not in name}
    wren.put("Reeds.txt", "price: 200\n")
    records = wren.run()
    assert wren.made() == []
    assert {name: data for name, data in wren.files().items() if "image-list" not in name} == before
    assert records["Reeds.jpg"].work.price == "200"
    assert on_disk(wren, "Reeds.jpg")["work"]["price"] == "200"  # type: ignore[index]


def test_what_the_plan_depends_on_is_measured_again(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    wren.made()
    wren.put("Reeds.txt", "kind: painting\nlighter: 0.5\n")
    record = wren.run()["Reeds.jpg"]
    assert record.kind == "painting"
    assert [kind for kind, _, _ in wren.made()] == ["OutlinedOrder"]  # its edges are where they were
    assert wren.files()["square/Reeds.jpg"] != before["square/Reeds.jpg"]
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds.jpg", "square/Reeds.jpg"]
    wren.run()
    assert wren.made() == []


@pytest.mark.parametrize("way", ["note", "folder"])
def test_hold_takes_the_files_back_and_releasing_it_brings_them_again(wren: Studio, way: str) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Boats.jpg", photo(2))
    wren.run()
    before = wren.files()
    wren.made()
    if way == "note":
        wren.put("Reeds.txt", "hold: yes")
    else:
        (wren.inbox / "hold").mkdir()
        (wren.inbox / "Reeds.jpg").rename(wren.inbox / "hold" / "Reeds.jpg")
    held = wren.run()["Reeds.jpg" if way == "note" else "hold/Reeds.jpg"]
    assert pictures(wren) == ["blind/01.jpg", "site/Boats.jpg", "square/Boats.jpg"]
    assert [row["title"] for row in listed(wren)] == ["Boats"]
    assert [row["number"] for row in listed(wren)] == ["01"]  # numbered anew
    assert held.outputs == ()
    assert set(held.held) == {"square", "site", "blind"}
    assert all("on hold" in reason for reason in held.held.values())
    withdrawn = wren.settings.folders.records / "withdrawn"
    assert sorted(p.name for p in withdrawn.rglob("*.jpg")) == ["02.jpg", "Reeds.jpg", "Reeds.jpg"]
    if way == "note":
        (wren.inbox / "Reeds.txt").unlink()
    else:
        (wren.inbox / "hold" / "Reeds.jpg").rename(wren.inbox / "Reeds.jpg")
    back = wren.run()["Reeds.jpg"]
    assert wren.made() == []  # nothing was rendered again
    assert wren.files() == before
    assert back.held == {}
    assert len(back.outputs) == 3
    assert [row["title"] for row in listed(wren)] == ["Boats", "Reeds"]


def test_a_photo_on_hold_from_the_start_comes_out_when_it_is_released(wren: Studio) -> None:
    wren.put("hold/Reeds.jpg", photo(1))
    record = wren.run()["hold/Reeds.jpg"]
    assert pictures(wren) == []
    assert set(record.held) == {"square", "site", "blind"}
    (wren.inbox / "hold" / "Reeds.jpg").rename(wren.inbox / "Reeds.jpg")
    record = wren.run()["Reeds.jpg"]
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds.jpg", "square/Reeds.jpg"]
    assert record.held == {}


def test_the_list_goes_when_its_last_picture_does(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    assert len(listed(wren)) == 1
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    assert wren.files() == {}


def test_a_renamed_photo_keeps_one_name(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    (wren.inbox / "Reeds.jpg").rename(wren.inbox / "Reeds at Dusk.jpg")
    records = wren.run()
    assert list(records) == ["Reeds at Dusk.jpg"]
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds at Dusk.jpg", "square/Reeds at Dusk.jpg"]
    assert [row["title"] for row in listed(wren)] == ["Reeds at Dusk"]
    assert on_disk(wren, "Reeds at Dusk.jpg")["photo"] == "Reeds at Dusk.jpg"
    (wren.inbox / "Reeds at Dusk.jpg").rename(wren.inbox / "Reeds.jpg")
    wren.run()
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds.jpg", "square/Reeds.jpg"]


def test_a_copy_keeps_the_work_when_the_first_file_goes(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("Reeds too.jpg", photo(1))
    records = wren.run()
    assert records["Reeds too.jpg"].outcome == "duplicate"
    (wren.inbox / "Reeds.jpg").unlink()
    wren.run()
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds too.jpg", "square/Reeds too.jpg"]


def test_a_deleted_photo_leaves_its_pictures(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "medium: ink")
    wren.run()
    before = wren.files()
    (wren.inbox / "Reeds.jpg").unlink()
    (wren.inbox / "Reeds.txt").unlink()  # notes may go with their photo: they were said all the same
    record = wren.run()["Reeds.jpg"]
    assert wren.files() == before
    assert record.work.medium == "ink"


def test_an_inbox_that_goes_away_changes_nothing(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "title: Reeds at Dusk")
    wren.run()
    before = wren.files()
    away = wren.inbox.with_name("away")
    wren.inbox.rename(away)
    wren.inbox.mkdir()  # the empty mount point of a share
    wren.run()
    assert wren.files() == before
    wren.inbox.rmdir()
    away.rename(wren.inbox)
    wren.made()
    wren.run()
    assert (wren.files(), wren.made()) == (before, [])


def test_what_was_picked_up_is_not_made_again_unless_it_would_be_another(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    place = wren.settings.folders.ready / "square" / "Reeds.jpg"
    place.unlink()
    wren.run()
    assert not place.exists()
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    (wren.inbox / "Reeds.txt").unlink()
    record = wren.run()["Reeds.jpg"]
    assert not place.exists()  # it had been picked up before it was held
    assert {output.destination for output in record.outputs} == {"square", "site", "blind"}
    wren.redo("Reeds.jpg", "square")
    wren.run()
    assert place.exists()
    place.unlink()
    wren.put("Reeds.txt", "medium: ink")
    wren.run()
    assert place.exists()


def test_withdrawn_files_that_somebody_threw_away_are_made_again(wren: Studio) -> None:
    import shutil

    wren.put("Reeds.jpg", photo(1))
    wren.run()
    before = wren.files()
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    shutil.rmtree(wren.settings.folders.records / "withdrawn")
    (wren.inbox / "Reeds.txt").unlink()
    wren.run()
    assert wren.files() == before


def test_an_edited_file_is_neither_overwritten_nor_withdrawn(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    place = wren.settings.folders.ready / "square" / "Reeds.jpg"
    place.write_bytes(b"retouched by hand")
    wren.put("Reeds.txt", "medium: ink")
    record = wren.run()["Reeds.jpg"]
    assert place.read_bytes() == b"retouched by hand"
    square = next(o for o in record.outputs if o.destination == "square")
    assert square.path == "ready/square/Reeds-2.jpg"
    assert any("stays" in note for note in square.notes)
    wren.put("Reeds.txt", "medium: ink\nhold: yes")
    wren.run()
    assert pictures(wren) == ["square/Reeds.jpg"]
    (wren.inbox / "Reeds.txt").unlink()
    wren.run()
    assert "square/Reeds-2.jpg" in pictures(wren)
    assert place.read_bytes() == b"retouched by hand"


def test_a_file_in_the_way_of_one_that_comes_back_stays(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    made = (wren.settings.folders.ready / "square" / "Reeds.jpg").read_bytes()
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    (wren.settings.folders.ready / "square" / "Reeds.jpg").write_bytes(b"mine")
    (wren.inbox / "Reeds.txt").unlink()
    record = wren.run()["Reeds.jpg"]
    assert wren.files()["square/Reeds.jpg"] == b"mine"
    assert wren.files()["square/Reeds-2.jpg"] == made
    assert next(o.path for o in record.outputs if o.destination == "square") == "ready/square/Reeds-2.jpg"


def test_a_new_table_takes_new_works_at_once_and_older_ones_when_asked(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    file = wren.config.with_name("destinations.toml")
    file.write_text(DESTINATIONS + "\n[wide]\nlong_side_px = 700\n", encoding="utf-8")
    wren.put("Boats.jpg", photo(2))
    wren.run()
    assert [name for name in pictures(wren) if name.startswith("wide/")] == ["wide/Boats.jpg"]
    wren.redo("Reeds.jpg", "wide")
    wren.run()
    assert [name for name in pictures(wren) if name.startswith("wide/")] == ["wide/Boats.jpg", "wide/Reeds.jpg"]
    before = {name: wren.files()[name] for name in pictures(wren)}
    file.write_text(DESTINATIONS.replace("500", "501"), encoding="utf-8")  # [wide] is gone, [site] has changed
    wren.redo("Boats.jpg", "wide")
    wren.run()
    assert {name: wren.files()[name] for name in pictures(wren)} == before  # older files stay as they are
    wren.redo("Boats.jpg", "site")
    wren.run()
    assert wren.files()["site/Boats.jpg"] != before["site/Boats.jpg"]
    log = "".join(p.read_text(encoding="utf-8") for p in wren.settings.folders.records.glob("log.jsonl*"))
    assert "no destination is called wide" in log
    assert '"fault"' not in log


def test_sent_elsewhere_after_it_was_made(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("Reeds.txt", "for: print")
    record = wren.run()["Reeds.jpg"]
    assert pictures(wren) == ["print/Reeds.jpg"]
    assert set(record.held) == {"square", "site", "blind"}
    (wren.inbox / "Reeds.txt").unlink()
    wren.run()
    assert pictures(wren) == ["blind/01.jpg", "site/Reeds.jpg", "square/Reeds.jpg"]


def test_a_destination_that_waits_to_be_asked_is_made_only_then(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    assert not [name for name in pictures(wren) if name.startswith("print/")]
    wren.redo("Reeds.jpg", "print")
    wren.run()
    assert "print/Reeds.jpg" in pictures(wren)
    wren.put("Reeds.txt", "medium: ink")
    wren.run()
    assert "print/Reeds.jpg" in pictures(wren)  # asked for once, it stays


@pytest.mark.parametrize("better_first", [True, False])
def test_the_better_take_is_used_and_the_other_withdrawn(wren: Studio, better_first: bool) -> None:
    takes = {"Good.jpg": photo(1, sharp=9), "Poor.jpg": photo(1, sharp=3)}
    for name in takes if better_first else reversed(takes):
        wren.put(name, takes[name])
        wren.run()
    records = wren.records()
    assert records["Good.jpg"].outcome == "ready"
    assert records["Poor.jpg"].outcome == "alternate"
    assert records["Poor.jpg"].take_of == records["Good.jpg"].job
    assert "sharper" in records["Poor.jpg"].reasons[0]
    assert on_disk(wren, "Poor.jpg")["outcome"] == "alternate"
    assert [name for name in pictures(wren) if name.startswith("square/")] == ["square/Good.jpg"]
    assert len(listed(wren)) == 1


def test_an_alternate_that_is_asked_for_is_ready_and_says_so(wren: Studio) -> None:
    wren.put("Good.jpg", photo(1, sharp=9))
    wren.put("Poor.jpg", photo(1, sharp=3))
    wren.run()
    wren.redo("Poor.jpg", "square", "site", "blind")
    records = wren.run()
    assert records["Poor.jpg"].outcome == "ready"
    assert records["Poor.jpg"].take_of is None
    assert not any("Another take" in reason for reason in records["Poor.jpg"].reasons)
    assert records["Good.jpg"].outcome == "ready"
    assert len([name for name in pictures(wren) if name.startswith("square/")]) == 2


def test_takes_of_another_day_are_another_occasion(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.service import pretend

    wren.put("Monday.jpg", photo(1, sharp=9))
    wren.run()
    later = pretend._PHOTO.__class__("jpeg", 90, 60, taken_at="2026-11-24T10:00:00")
    monkeypatch.setattr(pretend, "_PHOTO", later)
    wren.put("Friday.jpg", photo(1, sharp=3))
    records = wren.run()
    assert {record.outcome for record in records.values()} == {"ready"}


def test_a_question_is_answered_and_an_answer_survives_other_words(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1, answer="ask"))
    assert wren.run()["Reeds.jpg"].outcome == "needs a look"
    folder = wren.settings.folders.needs_a_look / "Reeds"
    (folder / "choice-1.jpg").unlink()
    record = wren.run()["Reeds.jpg"]
    assert record.outcome == "ready"
    assert record.outline is not None
    assert record.outline.corners_px[0] == (1.0, 1.0)
    assert not folder.exists()
    wren.put("Reeds.txt", "kind: painting")
    record = wren.run()["Reeds.jpg"]
    assert (record.outcome, record.kind) == ("ready", "painting")
    assert record.outline is not None
    assert record.outline.corners_px[0] == (1.0, 1.0)
    assert record.reasons[0] == "You chose the outline."


def test_no_work_becomes_one_by_word_and_a_work_becomes_a_reference(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1, answer="nothing"))
    assert wren.run()["IMG_1.jpg"].outcome == "no work seen"
    wren.put("IMG_1.txt", "kind: painting")
    assert wren.run()["IMG_1.jpg"].outcome == "ready"
    assert len(pictures(wren)) == 3
    (wren.inbox / "grey card").mkdir()
    os.rename(wren.inbox / "IMG_1.jpg", wren.inbox / "grey card" / "IMG_1.jpg")
    os.rename(wren.inbox / "IMG_1.txt", wren.inbox / "grey card" / "IMG_1.txt")
    record = wren.run()["grey card/IMG_1.jpg"]
    assert record.outcome == "reference"
    assert pictures(wren) == []


def test_a_mistake_in_the_code_is_told_with_its_traceback_and_not_tried_again(wren: Studio) -> None:
    wren.put("Broken.jpg", photo(1, answer="broken"))
    wren.put("Fine.jpg", photo(2))
    records = wren.run()
    assert records["Broken.jpg"].outcome == "set aside"
    assert records["Fine.jpg"].outcome == "ready"
    assert [name for _, name, _ in wren.made()].count("Broken.jpg") == 1
    log = "".join(p.read_text(encoding="utf-8") for p in wren.settings.folders.records.glob("log.jsonl*"))
    assert '"traceback": "planted"' in log or '"traceback":"planted"' in log


def test_what_is_at_rest_stays_at_rest(wren: Studio) -> None:
    for number in range(4):
        wren.put(f"{number}.jpg", photo(number))
    wren.run()
    before, _ = wren.files(), wren.made()
    wren.run()
    assert (wren.files(), wren.made()) == (before, [])


def test_what_would_be_done_can_be_read_before(wren: Studio) -> None:
    from autoprep.service.outlook import outlook

    wren.put("Reeds.jpg", photo(1))
    assert list(outlook(wren.settings)) == ["Reeds.jpg: looked at, because it is new"]
    wren.run()
    assert list(outlook(wren.settings)) == []
    before = wren.files()
    wren.put("Reeds.txt", "title: Reeds at Dusk")
    wren.put("Boats.jpg", photo(2))
    assert sorted(outlook(wren.settings)) == [
        "Boats.jpg: looked at, because it is new or has changed",
        "Reeds.jpg: square, site made, because there is another title now",
    ]
    wren.put("Reeds.txt", "hold: yes")
    (said,) = [line for line in outlook(wren.settings) if "Reeds" in line]
    assert said.startswith("Reeds.jpg: square, site, blind withdrawn, because the photo is on hold")
    assert wren.files() == before


def test_an_address_that_is_set_later_takes_words_that_hold_it_from_the_blind_table(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "title: Reeds\nkeywords: reeds, inkandsalt")
    assert wren.run()["Reeds.jpg"].held.get("blind") is None
    assert "blind/01.jpg" in pictures(wren)
    text = wren.config.read_text(encoding="utf-8")
    wren.config.write_text(text.replace("[artist]", '[artist]\nwebsite = "https://inkandsalt.example"'), "utf-8")
    record = wren.run()["Reeds.jpg"]
    assert "the keywords holds the artist's name, or an address" in record.held["blind"]
    assert "blind/01.jpg" not in pictures(wren)
    assert "square/Reeds.jpg" in pictures(wren)


def test_words_that_come_to_name_the_artist_take_the_picture_from_the_blind_table(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("Reeds.txt", "title: Wren Halloway at the Reeds")
    record = wren.run()["Reeds.jpg"]
    assert "blind" in record.held or "blind/01.jpg" not in pictures(wren)
    text = "".join(str(row) for row in listed(wren, "blind"))
    assert "Halloway" not in text


def test_every_alternate_names_the_take_that_is_used_now(wren: Studio) -> None:
    for number, sharp in enumerate((3, 5, 9)):
        wren.put(f"take {number}.jpg", photo(1, sharp=sharp))
        wren.run()
    records = wren.records()
    used = records["take 2.jpg"]
    assert used.outcome == "ready"
    for number in (0, 1):
        other = records[f"take {number}.jpg"]
        assert (other.outcome, other.take_of) == ("alternate", used.job)
        assert "take 2.jpg is the better take" in other.reasons[0]
        assert on_disk(wren, f"take {number}.jpg")["take_of"] == used.job


def test_a_question_keeps_its_folder_while_others_are_finished(wren: Studio) -> None:
    """Two workers: B is finished while A, which was ready before, is being looked at again and becomes a question."""
    from autoprep.logs import open_log
    from autoprep.service.engine import Engine
    from tests.service import pretend

    wren.put("A.jpg", photo(1))
    wren.put("B.jpg", photo(2))
    wren.run()
    wren.put("A.txt", "outline: ask")
    wren.put("B.txt", "title: Gulls")
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    pool = engine._pool
    two = type(pool).free
    pretend.InlinePool.free = property(lambda self: 2 - len(self._orders))  # type: ignore[assignment, method-assign]
    try:
        for _ in range(40):
            engine._next_scan = 0.0
            engine.step(0.0)
    finally:
        pretend.InlinePool.free = two  # type: ignore[method-assign]
        engine.stop()
    assert wren.records()["A.jpg"].outcome == "needs a look"
    folder = wren.settings.folders.needs_a_look / "A"
    (folder / "choice-1.jpg").unlink()
    assert wren.run()["A.jpg"].outcome == "ready"
    assert not folder.exists()


def test_a_question_that_lies_nowhere_is_asked_again(wren: Studio) -> None:
    from autoprep.ledger import Ledger
    from autoprep.wishes.places import ledger_path

    wren.put("A.jpg", photo(1, answer="ask"))
    job = wren.run()["A.jpg"].job
    ledger = Ledger(ledger_path(wren.settings))
    ledger.settle_question(job)
    ledger.close()
    wren.run()
    folders = list(wren.settings.folders.needs_a_look.iterdir())
    assert any((folder / "choice-1.jpg").exists() for folder in folders)
    for folder in folders:
        (folder / "choice-2.jpg").unlink(missing_ok=True)
    assert wren.run()["A.jpg"].outcome == "ready"


def test_an_answer_is_used_once(wren: Studio) -> None:
    from autoprep.logs import open_log
    from autoprep.service.engine import Engine

    wren.put("A.jpg", photo(1, answer="ask"))
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)

    def rest() -> str:
        for _ in range(30):
            wren.at_once(engine)
            engine.step(0.0)
        record = engine.ledger.jobs()[0].record
        assert record is not None
        return record.outcome

    folder = wren.settings.folders.needs_a_look / "A"
    assert rest() == "needs a look"
    (folder / "choice-2.jpg").unlink()
    assert rest() == "ready"
    wren.put("A.txt", "outline: ask again")
    assert rest() == "needs a look"  # and not answered by what was said before
    assert (folder / "choice-2.jpg").exists()
    engine.stop()


def test_a_list_of_the_artists_stays(wren: Studio) -> None:
    place = wren.settings.folders.ready / "site"
    place.mkdir(parents=True, exist_ok=True)
    (place / "image-list.csv").write_text("mine", encoding="utf-8")
    wren.run()
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    assert (place / "image-list.csv").read_text(encoding="utf-8") == "mine"
    assert "Reeds" in (place / "image-list-2.csv").read_text(encoding="utf-8-sig")
    (place / "image-list-2.csv").write_text("edited", encoding="utf-8")
    wren.put("Reeds.txt", "title: Other")
    wren.run()
    assert (place / "image-list-2.csv").read_text(encoding="utf-8") == "edited"
    assert "Other" in (place / "image-list-3.csv").read_text(encoding="utf-8-sig")
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    assert sorted(path.name for path in place.glob("*.csv")) == ["image-list-2.csv", "image-list.csv"]


def test_hold_takes_back_what_a_table_that_went_away_has_made(wren: Studio) -> None:
    file = wren.config.with_name("destinations.toml")
    file.write_text(DESTINATIONS + "\n[poster]\nlong_side_px = 700\n", encoding="utf-8")
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    file.write_text(DESTINATIONS, encoding="utf-8")
    wren.run()
    before = pictures(wren)
    assert "poster/Reeds.jpg" in before
    wren.put("Reeds.txt", "hold: yes")
    wren.run()
    assert pictures(wren) == []
    (wren.inbox / "Reeds.txt").unlink()
    wren.run()
    assert pictures(wren) == before


def test_what_is_asked_for_by_name_is_kept_wherever_the_work_was_sent(wren: Studio) -> None:
    wren.put("for site/Reeds.jpg", photo(1))
    wren.run()
    assert pictures(wren) == ["site/Reeds.jpg"]
    wren.redo("for site/Reeds.jpg", "square")
    wren.run()
    assert pictures(wren) == ["site/Reeds.jpg", "square/Reeds.jpg"]


def test_what_was_picked_up_is_on_no_list_and_has_no_link(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Boats.jpg", photo(2))
    wren.run()
    (wren.settings.folders.ready / "site" / "Reeds.jpg").unlink()
    wren.put("Boats.txt", "price: 5")
    wren.run()
    assert [row["file"] for row in listed(wren)] == ["Boats.jpg"]
    page = (wren.settings.folders.records / "proof" / "index.html").read_text(encoding="utf-8")
    assert "site (picked up)" in page
    assert "site/Reeds.jpg" not in page


def test_a_copy_that_becomes_the_original_is_no_copy_any_more(wren: Studio) -> None:
    from autoprep.ledger import Ledger
    from autoprep.wishes.places import ledger_path

    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.put("copy.jpg", photo(1))
    wren.run()
    (wren.inbox / "Reeds.jpg").unlink()
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    assert [(job.shown, job.outcome) for job in ledger.jobs()] == [("copy.jpg", "ready")]
    ledger.close()


def test_a_picture_that_somebody_has_changed_is_not_withdrawn_with_its_take(wren: Studio) -> None:
    wren.put("Poor.jpg", photo(1, sharp=3))
    wren.run()
    changed = wren.settings.folders.ready / "square" / "Poor.jpg"
    changed.write_bytes(b"retouched by hand")
    wren.put("Good.jpg", photo(1, sharp=9))
    records = wren.run()
    assert records["Poor.jpg"].outcome == "alternate"
    assert changed.read_bytes() == b"retouched by hand"


def test_all_takes_on_request(wren: Studio) -> None:
    text = wren.config.read_text(encoding="utf-8").replace("[correction]", '[correction]\ntakes = "all"')
    wren.config.write_text(text, encoding="utf-8")
    wren.put("Good.jpg", photo(1, sharp=9))
    wren.put("Poor.jpg", photo(1, sharp=3))
    assert {record.outcome for record in wren.run().values()} == {"ready"}


def test_a_copy_in_the_right_folder_frees_a_photo_that_was_sent_to_a_misspelt_one(wren: Studio) -> None:
    wren.put("for squaer/Reeds.jpg", photo(1))
    record = wren.run()["for squaer/Reeds.jpg"]
    assert (record.outcome, record.outputs) == ("ready", ())
    assert "squaer" in record.work.unclear[0]
    wren.put("for square/Reeds.jpg", photo(1))  # dropped in again, the first one still there
    records = wren.run()
    assert [output.destination for output in records["for square/Reeds.jpg"].outputs] == ["square"]
    # What the artist holds is not freed by a copy elsewhere: a phone's sync makes such copies by itself.
    wren.put("hold/Gulls.jpg", photo(2))
    wren.run()
    wren.put("Gulls (1).jpg", photo(2))
    assert wren.run()["hold/Gulls.jpg"].outputs == ()


@pytest.mark.parametrize("noted", ["IMG_1", "IMG_2"])
def test_what_is_said_beside_one_take_holds_for_the_work(wren: Studio, noted: str) -> None:
    wren.put("IMG_1.jpg", photo(1, sharp=3))
    wren.put(f"{noted}.txt", "title: Thrift\nhold: yes\n")
    wren.run()
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    wren.run()
    assert pictures(wren) == []
    away = wren.settings.folders.records / "withdrawn"
    assert noted == "IMG_2" or not [place for place in away.rglob("*") if place.is_file()], (
        "it was given out for a while"
    )
    wren.put(f"{noted}.txt", "title: Thrift\n")
    wren.run()
    assert [row["title"] for row in listed(wren)] == ["Thrift"]
    assert "site/Thrift.jpg" in pictures(wren)
    wren.put("IMG_2.txt", "title: Thrift in May\n")  # the used take's own words win
    wren.run()
    assert [row["title"] for row in listed(wren)] == ["Thrift in May"]


def test_a_hold_of_a_take_that_went_away_can_be_lifted_beside_another(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "hold: yes\ntitle: Reeds")
    wren.put("IMG_2.jpg", photo(1, sharp=9, take=1))
    assert wren.run()["IMG_2.jpg"].outputs == ()
    (wren.inbox / "IMG_1.jpg").unlink()
    record = wren.run()["IMG_2.jpg"]
    assert record.outputs == ()  # what is held stays held: the photo may be away for a while only
    wren.put("IMG_2.txt", "hold: no")
    record = wren.run()["IMG_2.jpg"]
    assert [output.destination for output in record.outputs]
    assert record.work.title == "Reeds"


def test_words_that_were_taken_over_go_when_they_are_taken_back(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    wren.put("b.jpg", photo(1, sharp=9, take=1))
    wren.put("b.txt", "price: 30\nmedium: ink")
    wren.run()
    assert wren.run()["a.jpg"].work.medium == "ink"
    (wren.inbox / "a.jpg").unlink()
    wren.run()
    wren.put("b.txt", "price: 30")
    record = wren.run()["b.jpg"]
    assert (record.work.price, record.work.medium) == ("30", "")


def test_a_typo_in_where_a_work_goes_leaves_nothing_behind_when_it_is_mended(wren: Studio) -> None:
    """Sent nowhere it waits everywhere; sent somewhere it waits nowhere else any more."""
    wren.put("Reeds.txt", "for: prnit-shop")
    wren.put("Reeds.jpg", photo(1))
    assert set(wren.run()["Reeds.jpg"].held) == {"square", "site", "blind"}
    wren.put("Reeds.txt", "for: print")
    record = wren.run()["Reeds.jpg"]
    assert (record.held, record.held_kinds) == ({}, {})
    assert [out.destination for out in record.outputs] == ["print"]
    wren.put("Reeds.txt", "for: print\nhold: yes")
    assert set(wren.run()["Reeds.jpg"].held) == {"square", "site", "blind", "print"}


def test_asking_for_one_destination_again_sends_no_work_there_that_does_not_go_there(wren: Studio) -> None:
    """Prints are made when asked; a work for one place goes nowhere else; what has a file already is made again."""
    wren.put("Reeds.jpg", photo(1))
    wren.put("for site/Thrift.jpg", photo(2))
    wren.put("also for print/Skiff.jpg", photo(3))
    wren.run()

    def meant(destination: str) -> list[str]:
        return sorted(view.shown for view in again._able(wren.settings, None, destination))

    assert meant("print") == ["also for print/Skiff.jpg"]
    assert meant("square") == ["Reeds.jpg", "also for print/Skiff.jpg"]
    assert len(meant("site")) == 3
    wren.redo("Reeds.jpg", "print")  # named, it is made there
    wren.run()
    assert meant("print") == ["Reeds.jpg", "also for print/Skiff.jpg"]


def test_where_no_work_goes_nothing_can_be_asked_for_again_by_the_way(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    with pytest.raises(UsageError, match="no finished photo is sent to 'print'"):
        again._able(wren.settings, None, "print")
    assert [view.shown for view in again._able(wren.settings, "Reeds", "print")] == ["Reeds.jpg"]


def test_a_name_that_all_works_share_numbers_no_other_files(wren: Studio) -> None:
    place = wren.settings.config_file.with_name("destinations.toml")
    more = '\n[names]\nlong_side_px = 300\nname = "{last} {first}"\n'
    more += '\n[both]\nlong_side_px = 300\nname = "{last} {title}"\n'
    place.write_text(DESTINATIONS + more, encoding="utf-8")
    for number, name in enumerate(("Reeds", "Thrift", "Skiff")):
        wren.put(f"{name}.jpg", photo(number))
        wren.run()
    names = pictures(wren)
    assert sorted(name for name in names if name.startswith("square/")) == [
        "square/Reeds.jpg", "square/Skiff.jpg", "square/Thrift.jpg",
    ]  # fmt: skip
    assert len([name for name in names if name.startswith("names/") and name[-5].isdigit()]) == 2
    wren.put("boats/Skiff.jpg", photo(9))
    wren.run()
    assert {"square/Skiff-2.jpg", "both/Halloway Skiff-2.jpg"} <= set(pictures(wren))


def test_a_work_is_measured_again_when_that_is_asked_for(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Boats.jpg", photo(2))
    wren.run()
    wren.made()
    files, plan = wren.files(), wren.records()["Reeds.jpg"].plan
    assert main(["redo", "Reeds.jpg", "--afresh", "--config", str(wren.config)]) == 0
    assert capsys.readouterr().out.startswith("Measured again: 1 of 1 photo")
    assert [(kind, shown) for kind, shown, _ in wren.made()] == [("OutlinedOrder", "Reeds.jpg")]  # the edges stay
    assert (wren.files(), wren.records()["Reeds.jpg"].plan) == (files, plan)
    wren.run()
    assert wren.made() == []  # once
    assert main(["redo", "--afresh", "--config", str(wren.config)]) == 0
    assert sorted(shown for _, shown, _ in wren.made()) == ["Boats.jpg", "Reeds.jpg"]
    assert main(["redo", "Reeds.jpg", "--afresh", "--destination", "site", "--config", str(wren.config)]) == 2
    assert "leave --destination out" in capsys.readouterr().err


def test_what_can_not_be_measured_again_is_told_and_stays_as_it_is(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    files = wren.files()
    (wren.inbox / "Reeds.jpg").rename(wren.inbox.parent / "off.jpg")
    assert main(["redo", "Reeds.jpg", "--afresh", "--config", str(wren.config)]) == 1
    assert "its photo is no longer in the inbox; put it back first" in capsys.readouterr().out
    assert wren.files() == files
    wren.made()
    (wren.inbox.parent / "off.jpg").rename(wren.inbox / "Reeds.jpg")
    wren.run()
    assert (wren.made(), wren.files()) == ([], files)  # what could not be done is no longer asked for


@pytest.mark.parametrize("how", [(), ("--afresh",)])
def test_a_photo_that_was_put_back_is_made_again_at_the_first_try(
    wren: Studio, capsys: pytest.CaptureFixture[str], how: tuple[str, ...]
) -> None:
    """Who was told to put it back first, and did, is not told that nothing was made."""
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    (wren.inbox / "Reeds.jpg").unlink()
    wren.run()
    wren.put("Reeds.jpg", photo(1))
    wren.made()
    assert main(["redo", "Reeds.jpg", *how, "--config", str(wren.config)]) == 0
    assert "again: 1 of 1 photo" in capsys.readouterr().out
    assert wren.made()


def test_another_photo_in_its_place_leaves_nothing_asked_for(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    (wren.inbox / "Reeds.jpg").unlink()
    wren.run()
    wren.put("Reeds.jpg", photo(9))
    wren.redo("Reeds.jpg", "site")
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    assert ledger.redos() == {}
    ledger.close()


def test_what_is_asked_for_by_name_comes_with_the_measuring(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.redo("Reeds.jpg", "print", MEASURED)
    wren.run()
    assert any(name.startswith("print/") for name in wren.files())


def test_a_wish_to_measure_again_that_comes_while_files_are_made_is_not_lost(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.run()
    wren.made()
    deliver = Hands.deliver

    def late(hands: Hands, order: Any, *given: Any) -> Any:
        if isinstance(order, AgainOrder):
            hands._ledger.ask_redo(order.job, [MEASURED])
        return deliver(hands, order, *given)

    monkeypatch.setattr(Hands, "deliver", late)
    wren.redo("Reeds.jpg", "square")
    wren.run()
    assert [kind for kind, *_ in wren.made()] == ["AgainOrder", "OutlinedOrder"]


def test_another_take_that_is_measured_again_does_not_come_forward_by_that(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("a.jpg", photo(1, sharp=9, take=1))
    wren.put("b.jpg", photo(1, sharp=3, take=2))
    wren.run()
    files = wren.files()
    assert main(["redo", "b.jpg", "--afresh", "--config", str(wren.config)]) == 0
    assert capsys.readouterr().out.startswith("Measured again: 1 of 1 photo")
    assert wren.records()["b.jpg"].outcome == "alternate"
    assert wren.files() == files


def test_an_outline_that_was_chosen_stays_where_its_work_is_measured_again(wren: Studio) -> None:
    wren.put("Reeds.jpg", photo(1, answer="ask"))
    wren.run()
    (wren.settings.folders.needs_a_look / "Reeds" / "choice-1.jpg").unlink()
    before = wren.run()["Reeds.jpg"]
    wren.redo("Reeds.jpg", MEASURED)
    record = wren.run()["Reeds.jpg"]
    assert (record.outcome, record.outline) == ("ready", before.outline)
    assert record.reasons[0] == "You chose the outline."


def test_works_that_wait_to_be_measured_again_are_counted(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    """By `status` and its JSON, on the first page, and for collectors of metrics."""
    for number, name in enumerate(("Reeds", "Boats", "Thrift")):
        wren.put(f"{name}.jpg", photo(number))
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    (first,) = [job.job for job in ledger.jobs() if job.shown == "Reeds.jpg"]
    ledger.ask_redo(first, [MEASURED, "square"])
    for job in ledger.jobs():
        if job.job != first:
            ledger.ask_redo(job.job, ["square"])  # which is made again, and measured not
    metrics = Metrics(wren.settings, open_log(wren.settings.folders.records, None))
    assert metrics._values(ledger, up=True)["autoprep_photos_waiting"] == 1
    page = wren.settings.folders.records / "proof" / "index.html"
    PageWriter().write(wren.settings, ledger.overview, date.today())
    assert "3 ready, 1 to be measured again." in page.read_text(encoding="utf-8")
    ledger.close()
    main(["status", "--config", str(wren.config)])
    assert "To be measured again, as you asked: 1 (Reeds.jpg)" in capsys.readouterr().out
    main(["status", "--json", "--config", str(wren.config)])
    assert json.loads(capsys.readouterr().out)["asked_afresh"] == ["Reeds.jpg"]
    wren.run()
    main(["status", "--config", str(wren.config)])
    assert "measured again" not in capsys.readouterr().out
    assert "3 ready. " in page.read_text(encoding="utf-8")
