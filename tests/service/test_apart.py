"""Several works in one photo: each comes out by itself where the artist says so, and goes where the photo goes."""

import io
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from autoprep.cli import main
from autoprep.domain import JobRecord, Outline
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.job.orders import JobOrder, JobResult
from autoprep.ledger import Job, Ledger, OpenQuestion
from autoprep.logs import open_log
from autoprep.pixels import quad_of
from autoprep.service import grouping, hands
from autoprep.service.engine import Engine
from autoprep.service.outlook import outlook
from autoprep.service.questions import EACH_ONE, NONE, Questions
from autoprep.service.rebuild import rebuild
from autoprep.wishes.names import part_name, whole_name
from autoprep.wishes.notes import facts_of_part
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.lab import several
from tests.service import pretend
from tests.service.engines import run_once
from tests.service.pretend import Studio, photo
from tests.service.test_week import each

SEED = 91003  # two works


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio that was told of a photo that each of the two works in it is one by itself."""
    made = Studio(studio, monkeypatch)
    made.put("Cards.jpg", photo(7, answer="several"))
    made.run()
    each("Cards")(made)
    made.run()
    made.made()
    return made


def outcomes(wren: Studio) -> dict[str, str]:
    return {shown: record.outcome for shown, record in wren.records().items()}


def stems(wren: Studio) -> set[str]:
    return {Path(name).name for name in wren.files() if name.startswith("square/")}


def test_real_works_come_out_one_by_one_in_reading_order(studio: Settings) -> None:
    jpeg, quads = several.jpeg_of(SEED)
    (studio.folders.inbox / "Cards.jpg").write_bytes(jpeg)
    question = run_once(studio)["Cards.jpg"]
    assert (question.outcome, len(question.several)) == ("needs a look", 2)
    folder = studio.folders.needs_a_look / "Cards"
    assert "each of the 2 works" in (folder / "why.txt").read_text(encoding="utf-8")
    assert "each-by-itself" in question.pages
    with Image.open(folder / "each-by-itself.jpg") as sheet:
        assert sheet.width == 2 * sheet.height
    for place in folder.glob("*.jpg"):
        if place.stem.startswith(("choice-", "none-", "no-")):
            place.unlink()
    records = run_once(studio)
    assert {shown: record.outcome for shown, record in records.items()} == {
        "Cards.jpg": "several works", "Cards-1.jpg": "ready", "Cards-2.jpg": "ready",
    }  # fmt: skip
    size = Image.open(io.BytesIO(jpeg)).size
    for number in (1, 2):
        record = records[f"Cards-{number}.jpg"]
        assert record.part == number
        assert record.outline is not None
        assert record.outline == question.several[number - 1].model_copy(update={"confidence": 1.0})
        assert max(overlap_in_photo(quad_of(record.outline), quad, size) for quad in quads) > 0.95
        assert (studio.folders.ready / "square" / f"Cards-{number}.jpg").is_file()
        assert record.reasons[0].startswith("It is one of several works")
    first, second = (records[f"Cards-{number}.jpg"].outline for number in (1, 2))
    assert first is not None
    assert second is not None
    assert quad_of(first).mean(0)[0] < quad_of(second).mean(0)[0]
    assert not folder.exists()
    assert "Cards-1, Cards-2" in records["Cards.jpg"].reasons[0]


def test_what_is_left_is_the_answer(tmp_path: Path) -> None:
    names = ("choice-1.jpg", "choice-2.jpg", "each-by-itself.jpg", "none-of-these.jpg")

    def answer(*left: str, offers_each: bool = True) -> list[tuple[str, int]]:
        for name in names:
            (tmp_path / name).unlink(missing_ok=True)
        for name in left:
            (tmp_path / name).write_bytes(b"x")
        questions = Questions(0.0)
        questions.note(OpenQuestion("job", 2, tmp_path, offers_none=True, offers_each=offers_each))
        return list(questions.answers())

    assert answer(*names) == []
    assert answer("each-by-itself.jpg") == [("job", EACH_ONE)]
    assert answer("each-by-itself.jpg", "none-of-these.jpg") == []
    assert answer("each-by-itself.jpg", "choice-2.jpg") == []
    assert answer("choice-2.jpg", "none-of-these.jpg") == [("job", 1)]
    assert answer("none-of-these.jpg") == [("job", NONE)]
    assert answer() == [("job", NONE)]
    assert answer("each-by-itself.jpg", "choice-2.jpg", offers_each=False) == [("job", 1)]


def test_each_work_has_files_of_its_own_and_nothing_is_made_twice(wren: Studio) -> None:
    assert outcomes(wren) == {"Cards.jpg": "several works", "Cards-1.jpg": "ready", "Cards-2.jpg": "ready"}
    assert stems(wren) == {"Cards-1.jpg", "Cards-2.jpg"}
    assert len({record.work.title for record in wren.records().values()}) == 3
    before = wren.files()
    wren.put("Cards (1).jpg", photo(7, answer="several"))  # the same bytes: a copy of the photo, not of a work
    wren.run()
    assert (wren.made(), wren.files()) == ([], before)
    assert wren.records()["Cards (1).jpg"].duplicate_of == wren.records()["Cards.jpg"].job


def test_two_works_in_one_photo_are_no_takes_of_one(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grouping, "same_work", lambda *_: True)  # two cards that look alike
    wren = Studio(studio, monkeypatch)
    wren.put("Cards.jpg", photo(7, answer="several"))
    wren.run()
    each("Cards")(wren)
    wren.run()
    assert [record.outcome for record in wren.records().values()] == ["several works", "ready", "ready"]


def test_what_is_said_of_the_photo_holds_for_each_of_its_works(wren: Studio) -> None:
    wren.put("Cards.txt", "title: Tide pools\nmedium: ink\nprice: 90\ninventory: WH-3\norder: 4")
    wren.put("Cards-2.txt", "title: Kelp\nprice: 40")
    wren.run()
    first, second = (wren.records()[f"Cards-{number}.jpg"].work for number in (1, 2))
    assert (first.title, first.medium, first.price, first.inventory, first.order) == ("Tide pools 1", "ink", "", "", 0)
    assert (second.title, second.medium, second.price) == ("Kelp", "ink", "40")
    wren.put("Cards.txt", "hold: yes")
    wren.run()
    assert stems(wren) == set()
    wren.put("Cards-2.txt", "hold: no")
    wren.run()
    assert stems(wren) == {"Cards-2.jpg"}


def test_other_words_of_the_photo_do_not_ask_again(wren: Studio) -> None:
    wren.put("Cards.txt", "kind: watercolour")
    wren.run()
    records = wren.records()
    assert outcomes(wren)["Cards.jpg"] == "several works"
    assert {record.kind for record in records.values()} == {None, "watercolour"}
    assert {order for order, *_ in wren.made()} == {"OutlinedOrder"}
    assert records["Cards-2.jpg"].outline == records["Cards.jpg"].several[1]


def test_words_by_the_command_line_reach_each_work(wren: Studio) -> None:
    config = str(wren.config)
    assert main(["say", "Cards.jpg", "medium: ink", "--config", config]) == 0
    assert main(["say", "Cards-1.jpg", "title: Whelk", "--config", config]) == 0
    wren.run()
    first, second = (wren.records()[f"Cards-{number}.jpg"].work for number in (1, 2))
    assert (first.title, first.medium, second.title, second.medium) == ("Whelk", "ink", "Cards 2", "ink")


def test_the_works_follow_their_photo(wren: Studio) -> None:
    (wren.inbox / "Box").mkdir()
    (wren.inbox / "Cards.jpg").rename(wren.inbox / "Box" / "Post.jpg")
    wren.run()
    assert set(outcomes(wren)) == {"Box/Post.jpg", "Box/Post-1.jpg", "Box/Post-2.jpg"}
    assert stems(wren) == {"Post-1.jpg", "Post-2.jpg"}
    assert "Post-1, Post-2" in wren.records()["Box/Post.jpg"].reasons[0]


def test_they_follow_at_once(wren: Studio) -> None:
    """`once` may look at the inbox no more after it has found the photo under another name."""
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    engine._arrivals.follow(wren.records()["Cards.jpg"].job, "Cards.jpg", b"hold/Cards.jpg")
    wren.cut_off(engine)
    assert set(outcomes(wren)) == {"hold/Cards.jpg", "hold/Cards-1.jpg", "hold/Cards-2.jpg"}


def test_one_work_after_all_and_several_again(wren: Studio) -> None:
    outline = wren.records()["Cards-2.jpg"].outline
    wren.put("Cards.txt", "outline: ask")
    wren.run()
    assert outcomes(wren) == {
        "Cards.jpg": "needs a look", "Cards-1.jpg": "no work seen", "Cards-2.jpg": "no work seen",
    }  # fmt: skip
    assert stems(wren) == set()
    assert list((wren.settings.folders.records / "withdrawn").rglob("Cards-1.jpg"))
    for place in (wren.settings.folders.needs_a_look / "Cards").glob("*.jpg"):
        if place.stem not in ("choice-1", "where"):
            place.unlink()
    wren.run()
    assert outcomes(wren)["Cards.jpg"] == "ready"
    assert stems(wren) == {"Cards.jpg"}
    wren.put("Cards.txt", "outline: ask again")
    wren.run()
    each("Cards")(wren)
    wren.run()
    assert outcomes(wren) == {"Cards.jpg": "several works", "Cards-1.jpg": "ready", "Cards-2.jpg": "ready"}
    assert stems(wren) == {"Cards-1.jpg", "Cards-2.jpg"}
    assert wren.records()["Cards-2.jpg"].outline == outline


def test_a_work_that_was_cut_off_from_its_photo_is_given_up_at_the_next_start(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The photo is one work now, and the service ended before anything came of that for the works that it was."""

    class CutOff(BaseException): ...

    def reached(name: str) -> None:
        if name == "withdraw":
            raise CutOff

    wren.put("Cards.txt", "outline: whole photo")
    with monkeypatch.context() as patch:
        patch.setattr(hands, "boundary", reached)
        with pytest.raises(CutOff):
            wren.run()
    wren.run()
    assert stems(wren) == {"Cards.jpg"}


def test_once_says_what_it_did(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    for note, said in (
        ("hold: yes", "Done: 2 withdrawn."), ("hold: no", "Done: 2 brought back."),
        ("price: 9", "Done: 2 with other words or another name."),
        ("price: 8", "Done: nothing was waiting."), ("outline: whole photo", "Done: 1 ready, 2 given up."),
    ):  # fmt: skip
        wren.put("Cards.txt", note)
        assert main(["once", "--config", str(wren.config)]) == 0
        assert capsys.readouterr().out.splitlines()[0] == said, note


def test_redo_of_the_photo_makes_each_work(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["redo", "Cards.jpg", "--destination", "square", "--config", str(wren.config)]) == 0
    assert sorted(wren.made()) == [("AgainOrder", f"Cards-{number}.jpg", ("square",)) for number in (1, 2)]
    assert "2 of 2 photos" in capsys.readouterr().out
    assert main(["retry", "Cards.jpg", "--config", str(wren.config)]) == 2
    assert "several works" in capsys.readouterr().err


def test_a_note_of_one_work_speaks_of_something(wren: Studio) -> None:
    wren.put("Cards-2.txt", "title: Kelp")
    wren.put("Cards-3.txt", "title: Nothing")
    said = list(outlook(wren.settings))
    assert not [line for line in said if line.startswith("Cards-2.txt")]
    assert [line for line in said if line.startswith("Cards-3.txt: speaks of no photo")]


def test_a_lost_ledger_knows_the_works_again(wren: Studio) -> None:
    before, files = wren.records(), wren.files()
    for place in wren.settings.folders.records.glob("ledger*"):
        if place.is_file():
            place.unlink()
    rebuild(wren.settings)
    ledger = Ledger(ledger_path(wren.settings))
    assert {view.path for view in ledger.views()} == {b"Cards.jpg"}
    ledger.close()
    wren.run()
    assert (wren.made(), wren.files()) == ([], files)
    assert outcomes(wren) == {shown: record.outcome for shown, record in before.items()}
    (wren.inbox / "Cards.jpg").rename(wren.inbox / "Post.jpg")
    wren.run()
    assert stems(wren) == {"Post-1.jpg", "Post-2.jpg"}


def test_a_work_without_a_record_is_made_after_a_lost_ledger(wren: Studio) -> None:
    record: JobRecord = wren.records()["Cards-2.jpg"]
    (wren.settings.folders.records / "proof" / record.job / "record.json").unlink()
    for place in wren.settings.folders.records.glob("ledger*"):
        if place.is_file():
            place.unlink()
    rebuild(wren.settings)
    wren.run()
    assert [photo for _, photo, _ in wren.made()] == ["Cards-2.jpg"]
    assert outcomes(wren)["Cards-2.jpg"] == "ready"


def test_the_same_bytes_twice_are_two_jobs_only_where_they_are_two_works(wren: Studio) -> None:
    ledger = Ledger(ledger_path(wren.settings))
    (whole, *parts) = ledger.views()
    assert [(part.sha256, part.whole, part.part) for part in parts] == [(whole.sha256, whole.job, k) for k in (1, 2)]
    assert (whole.parts, [part.shown for part in ledger.parts(whole.job)]) == (2, ["Cards-1.jpg", "Cards-2.jpg"])
    with pytest.raises(sqlite3.IntegrityError):
        ledger._db.execute("UPDATE jobs SET part = 1 WHERE part = 2")
    ledger.close()


@pytest.mark.parametrize("shown", ["IMG_1.jpg", "Box/Reeds.v2.jpeg", "a-1.heic", "no ending", "Box.1/x"])
def test_names_of_works_and_of_their_photo(shown: str) -> None:
    assert (part_name(shown, 0), whole_name(shown, 0)) == (shown, shown)
    assert whole_name(part_name(shown, 12), 12) == shown
    assert part_name("Box/IMG_1.jpg", 2) == "Box/IMG_1-2.jpg"


def test_corners_that_are_said_of_the_photo_are_not_those_of_a_work_in_it(tmp_path: Path) -> None:
    (tmp_path / "IMG_1.txt").write_text("outline: whole photo\nsize: 9 x 13 cm\ndescription: two cards\nalt: two")
    (tmp_path / "IMG_1-2.txt").write_text("corners: 1,1 90,1 90,60 1,60")
    first, _ = facts_of_part(tmp_path, "IMG_1-1.jpg", 1)
    second, _ = facts_of_part(tmp_path, "IMG_1-2.jpg", 2)
    assert (first.outline, first.corners_px, first.description, first.alt_text) == (None, None, "", "")
    assert first.size_mm == second.size_mm == (130.0, 90.0)
    assert second.corners_px is not None


def test_a_photo_of_a_works_name_has_its_note_for_itself(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Cards-2.jpg", photo(9))  # so sync tools call a second file
    wren.put("Cards-2.txt", "title: Thrift\nprice: 240\nhold: yes")
    wren.run()
    ledger = Ledger(ledger_path(wren.settings))
    part, other = [job for job in ledger.jobs() if job.shown == "Cards-2.jpg"]
    ledger.close()
    assert part.record is not None
    assert other.record is not None
    assert (part.part, part.record.work.title, part.record.work.price, part.record.work.hold) == (
        2,
        "Cards 2",
        "",
        False,
    )
    assert (other.record.work.title, other.record.work.hold) == ("Thrift", True)
    (told,) = part.record.work.unclear
    assert "is that of the photo of this name" in told
    # And nothing is done to the wrong one of them.
    assert main(["show", "Cards-2.jpg", "--config", str(wren.config)]) == 2
    assert f"“{other.job}”, “{part.job}”; name one by its id" in capsys.readouterr().err
    for job in (part, other):
        assert main(["show", job.job, "--config", str(wren.config)]) == 0
    (wren.inbox / "Cards-2.jpg").unlink()
    (wren.inbox / "Cards-2.txt").unlink()
    wren.run()
    assert main(["show", "Cards-1.jpg", "--config", str(wren.config)]) == 0


def of_three(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """A photo of three works, made one by one."""
    asked = pretend._asked

    def three(order: JobOrder, base: JobRecord, outline: Outline, *, several: bool) -> JobResult:
        result = asked(order, base, outline, several=several)
        works = (*result.record.several, result.record.several[0])
        return replace(result, record=result.record.model_copy(update={"several": works}))

    monkeypatch.setattr(pretend, "_asked", three)
    wren.put("Post.jpg", photo(9, answer="several"))
    wren.run()
    each("Post")(wren)
    wren.run()
    monkeypatch.setattr(pretend, "_asked", asked)
    assert {f"Post-{number}.jpg" for number in (1, 2, 3)} <= stems(wren)


def of_post(wren: Studio) -> set[str]:
    return {name for name in stems(wren) if name.startswith("Post")}


def test_an_edited_photo_of_fewer_works_takes_back_what_it_shows_no_longer(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_three(wren, monkeypatch)
    others = stems(wren) - of_post(wren)
    wren.put("Post.jpg", photo(9, answer="several", take=2))
    wren.run()
    assert len(of_post(wren)) == 3  # nothing is taken back before it is known what there is in its stead
    each("Post")(wren)
    wren.run()
    assert of_post(wren) == {"Post-1.jpg", "Post-2.jpg"}
    assert list((wren.settings.folders.records / "withdrawn").rglob("Post-3.jpg"))
    record = next(job.record for job in all_jobs(wren) if job.shown == "Post-3.jpg" and job.record)
    assert (record.outcome, "was edited" in record.reasons[0]) == ("alternate", True)
    wren.made()
    wren.run()
    assert wren.made() == []
    assert others <= stems(wren)


def test_an_edited_photo_of_one_work_takes_back_those_of_before(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    of_three(wren, monkeypatch)
    ready = wren.settings.folders.ready / "square"
    (ready / "Post-2.jpg").write_bytes(b"retouched")
    wren.put("Post.jpg", photo(9, take=2))
    wren.run()
    assert of_post(wren) == {"Post.jpg", "Post-2.jpg"}  # what the artist has changed stays
    assert (ready / "Post-2.jpg").read_bytes() == b"retouched"
    wren.put("Post.jpg", photo(30, take=3))  # edited once more
    wren.run()
    assert of_post(wren) == {"Post.jpg", "Post-2.jpg"}


def test_another_photo_of_the_name_leaves_the_works_of_before(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    of_three(wren, monkeypatch)
    monkeypatch.setattr(pretend, "_PHOTO", replace(pretend._PHOTO, taken_at="2026-11-21T15:00:00"))
    wren.put("Post.jpg", photo(31))
    wren.run()
    assert of_post(wren) == {"Post.jpg", "Post-1.jpg", "Post-2.jpg", "Post-3.jpg"}


def all_jobs(wren: Studio) -> list[Job]:
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return list(ledger.jobs())
    finally:
        ledger.close()


@pytest.mark.parametrize("said", ["note", "command"])
def test_a_hold_of_one_of_several_works_holds_the_one_that_an_edited_photo_shows(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, said: str
) -> None:
    of_three(wren, monkeypatch)
    if said == "note":
        wren.put("Post-3.txt", "hold: yes")
    else:
        main(["say", "Post-3.jpg", "hold", "--config", str(wren.config)])
    wren.run()
    assert of_post(wren) == {"Post-1.jpg", "Post-2.jpg"}
    wren.put("Post.jpg", photo(9, take=2))
    wren.run()
    assert of_post(wren) == set()
    assert wren.records()["Post.jpg"].work.hold
    assert not [*wren.settings.folders.records.rglob("Post.jpg")]  # it was not given out for a moment either
    main(["say", "Post.jpg", "hold: no", "--config", str(wren.config)])
    wren.run()
    assert of_post(wren) == {"Post.jpg"}


def test_the_one_work_that_an_edited_photo_shows_is_given_out_where_none_was_held(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_three(wren, monkeypatch)
    wren.put("Post.jpg", photo(9, take=2))
    wren.run()
    assert of_post(wren) == {"Post.jpg"}


@pytest.mark.parametrize("held", [False, True])
def test_an_edited_photo_that_shows_several_works_takes_back_the_one_it_showed(wren: Studio, held: bool) -> None:
    wren.put("Post.jpg", photo(9))
    wren.run()
    if held:
        main(["say", "Post.jpg", "hold", "--config", str(wren.config)])
        wren.run()
    assert of_post(wren) == (set() if held else {"Post.jpg"})
    wren.put("Post.jpg", photo(9, answer="several", take=2))
    wren.run()
    (folder,) = wren.settings.folders.needs_a_look.glob("Post*")
    each(folder.name)(wren)
    wren.run()
    assert of_post(wren) == (set() if held else {"Post-1.jpg", "Post-2.jpg"})


def test_a_held_work_that_an_edited_photo_shows_no_longer_holds_none_of_the_others(
    wren: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_three(wren, monkeypatch)
    wren.put("Post-3.txt", "hold: yes")
    wren.run()
    wren.put("Post.jpg", photo(9, answer="several", take=2))
    wren.run()
    for folder in [*wren.settings.folders.needs_a_look.glob("Post*")]:
        each(folder.name)(wren)
    wren.run()
    assert of_post(wren) == {"Post-1.jpg", "Post-2.jpg"}


def test_a_hold_that_was_ended_does_not_come_back_when_an_edited_photo_shows_several(wren: Studio) -> None:
    wren.put("Post.jpg", photo(9))
    wren.run()
    main(["say", "Post.jpg", "hold", "--config", str(wren.config)])
    wren.run()
    wren.put("Post.jpg", photo(9, take=3))
    wren.run()
    assert of_post(wren) == set()
    main(["say", "Post.jpg", "hold: no", "--config", str(wren.config)])
    wren.run()
    assert of_post(wren) == {"Post.jpg"}
    wren.put("Post.jpg", photo(9, answer="several", take=2))
    wren.run()
    (folder,) = wren.settings.folders.needs_a_look.glob("Post*")
    each(folder.name)(wren)
    wren.run()
    assert of_post(wren) == {"Post-1.jpg", "Post-2.jpg"}
