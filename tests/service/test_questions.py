"""A question with choices: its pictures, and the answer by deleting all but one."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from autoprep.domain import JobRecord
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.ledger import LOOK, Ledger, OpenQuestion
from autoprep.pixels import quad_of
from autoprep.service.hands import Hands
from autoprep.service.outlook import outlook
from autoprep.service.questions import EACH_ONE, LOST, NONE, SHOWS_NO_WORK, Questions
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.service.pretend import Studio, photo

pytestmark = pytest.mark.usefixtures("looked_at_once")


@pytest.fixture
def careful(studio: Settings) -> Settings:
    """A studio that asks whatever it sees."""
    return studio.model_copy(update={"correction": studio.correction.model_copy(update={"sure_enough": 1.0})})


def run(settings: Settings) -> JobRecord:
    (record,) = run_once(settings).values()
    return record


def asked(settings: Settings) -> Path:
    (settings.folders.inbox / "Reeds.jpg").write_bytes(photos.jpeg())
    record = run(settings)
    assert record.outcome == "needs a look"
    assert len(record.choices) >= 2
    folder = settings.folders.needs_a_look / "Reeds"
    assert len(list(folder.glob("choice-*.jpg"))) == len(record.choices)
    assert "delete all pictures" in (folder / "why.txt").read_text(encoding="utf-8")
    return folder


def test_the_one_that_is_left_is_the_answer(careful: Settings) -> None:
    folder = asked(careful)
    for picture in sorted(folder.glob("choice-*.jpg"))[1:]:
        picture.unlink()
    record = run(careful)
    assert record.outcome == "ready"
    assert record.reasons[0] == "You chose the outline."
    assert record.outline is not None
    assert record.outline.confidence == 1.0
    assert {output.destination for output in record.outputs} == {"square", "master"}
    assert (careful.folders.ready / "square" / "Reeds.jpg").is_file()
    assert not folder.exists()


def test_another_choice_gives_another_picture(careful: Settings) -> None:
    folder = asked(careful)
    pictures = sorted(folder.glob("choice-*.jpg"))
    for picture in pictures[:-1]:
        picture.unlink()
    record = run(careful)
    assert record.outcome == "ready"
    assert record.outline is not None
    assert record.plan is not None
    assert record.outline.whole_photo or quad_of(record.outline) != pytest.approx(photos.CORNERS, abs=6)


def test_several_left_is_no_answer(careful: Settings) -> None:
    folder = asked(careful)
    next(iter(sorted(folder.glob("choice-*.jpg")))).unlink()
    left = len(list(folder.glob("choice-*.jpg")))
    assert left > 1
    assert run(careful).outcome == "needs a look"
    assert len(list(folder.glob("choice-*.jpg"))) == left


def test_none_of_these_brings_others_once_then_the_photo_rests_until_its_corners_are_said(careful: Settings) -> None:
    folder = asked(careful)
    first = run(careful)
    assert (folder / "none-of-these.jpg").is_file()
    for picture in folder.glob("choice-*.jpg"):
        picture.unlink()
    second = run(careful)
    assert second.outcome == "needs a look"
    assert second.refused == first.choices
    numbers = sorted(int(path.stem.removeprefix("choice-")) for path in folder.glob("choice-*.jpg"))
    # No number comes twice: what is deleted on the phone late can't be taken for an answer to the second question.
    assert numbers == list(range(len(first.choices) + 1, len(first.choices) + len(second.choices) + 1))
    for one in second.choices:
        assert all(overlap_in_photo(quad_of(one), quad_of(other), photos.SIZE) < 0.97 for other in first.choices)
    for picture in folder.glob("choice-*.jpg"):
        picture.unlink()
    third = run(careful)
    assert (third.outcome, third.choices) == ("needs a look", ())
    assert "rests" in third.reasons[0]
    assert not list(folder.glob("choice-*.jpg"))
    assert "corners" in (folder / "why.txt").read_text(encoding="utf-8")
    # Other words do not bring the refused ones back; an outline that is said settles it.
    (careful.folders.inbox / "Reeds.txt").write_text("paper: keep")
    assert run(careful).choices == ()
    (careful.folders.inbox / "Reeds.txt").write_text("outline: whole photo")
    assert run(careful).outcome == "ready"
    assert not folder.exists()


def test_a_photo_that_shows_no_work_is_left_in_peace(careful: Settings) -> None:
    """On a phone, without a word: of all pictures the one stays that says so."""
    folder = asked(careful)
    assert "leave no-work.jpg alone" in (folder / "why.txt").read_text(encoding="utf-8")
    for picture in (*folder.glob("choice-*.jpg"), folder / "none-of-these.jpg"):
        picture.unlink()
    record = run(careful)
    assert (record.outcome, record.plan) == ("no work seen", None)
    assert record.reasons[0].startswith("You said that this photo shows no work")
    assert not folder.exists()
    (careful.folders.inbox / "Reeds.txt").write_text("title: Reeds\nprice: 90")  # said since: it shows one after all
    assert run(careful).outcome == "needs a look"
    assert not (folder / "no-work.jpg").exists()  # whoever gives a price knows that
    for picture in folder.glob("choice-*.jpg"):
        picture.unlink()
    assert run(careful).refused


def test_a_word_that_it_is_a_work_goes_before_a_picture_that_says_none(careful: Settings) -> None:
    folder = asked(careful)
    first = run(careful)
    for picture in (*folder.glob("choice-*.jpg"), folder / "none-of-these.jpg"):
        picture.unlink()
    (careful.folders.inbox / "Reeds.txt").write_text("medium: ink")
    record = run(careful)
    assert record.outcome == "needs a look"
    assert record.refused == first.choices


def test_of_one_choice_the_picture_that_says_none_decides(tmp_path: Path) -> None:
    for name in ("choice-4.jpg", "none-of-these.jpg", "where.jpg"):
        (tmp_path / name).write_bytes(b"x")
    questions = Questions(0.0)
    questions.note(OpenQuestion("job", 1, tmp_path, first=4, offers_none=True))
    assert list(questions.answers()) == []
    (tmp_path / "none-of-these.jpg").unlink()
    assert list(questions.answers()) == [("job", 0)]
    (tmp_path / "choice-4.jpg").unlink()
    assert list(questions.answers()) == [("job", NONE)]
    (tmp_path / "no-work.jpg").write_bytes(b"x")
    questions.note(OpenQuestion("job", 1, tmp_path, first=4, offers_none=True))
    assert list(questions.answers()) == [("job", SHOWS_NO_WORK)]
    (tmp_path / "none-of-these.jpg").write_bytes(b"x")
    assert list(questions.answers()) == [("job", NONE)]
    (tmp_path / "none-of-these.jpg").unlink()
    (tmp_path / "choice-4.jpg").write_bytes(b"x")
    assert list(questions.answers()) == [("job", 0)]  # a choice goes before
    (tmp_path / "no-work.jpg").unlink()
    questions.forget("job")
    # One of an earlier version that had no such picture can't be answered by having it.
    (tmp_path / "choice-1.jpg").write_bytes(b"x")
    questions.note(OpenQuestion("old", 1, tmp_path))
    assert dict(questions.answers()).get("old") is None


def test_each_by_itself_stands_alone_when_it_is_meant(tmp_path: Path) -> None:
    for name in ("each-by-itself.jpg", "no-work.jpg"):
        (tmp_path / name).write_bytes(b"x")
    questions = Questions(0.0)
    questions.note(OpenQuestion("job", 2, tmp_path, offers_none=True, offers_each=True))
    assert list(questions.answers()) == []
    (tmp_path / "no-work.jpg").unlink()
    assert list(questions.answers()) == [("job", EACH_ONE)]


def test_an_answer_counts_when_nothing_is_deleted_any_more(tmp_path: Path) -> None:
    """A phone deletes one picture after another: the last of three is not the answer when all of them go."""
    now = [100.0]
    questions = Questions(2.0, lambda: now[0])
    for number in (1, 2, 3):
        (tmp_path / f"choice-{number}.jpg").write_bytes(b"x")
    questions.note(OpenQuestion("job", 3, tmp_path, offers_none=True))
    assert list(questions.answers()) == []
    for step, number in enumerate((1, 2)):
        (tmp_path / f"choice-{number}.jpg").unlink()
        os.utime(tmp_path, (200 + step, 200 + step))
        now[0] += 1
        assert list(questions.answers()) == []
    assert questions.unsettled
    (tmp_path / "choice-3.jpg").unlink()
    os.utime(tmp_path, (300, 300))
    assert list(questions.answers()) == []
    now[0] += 2
    assert list(questions.answers()) == [("job", NONE)]
    assert not questions.unsettled


@pytest.mark.parametrize(("cost_s", "looks"), [(0.002, 7), (0.0001, 40)])
def test_looks_that_take_long_are_seldom(monkeypatch: pytest.MonkeyPatch, cost_s: float, looks: int) -> None:
    """Three tell what a look costs; a look of 2 ms is taken every 4 s then, of 40 that are half a second apart."""
    now, seen = [100.0], [0]
    questions = Questions(2.0, lambda: now[0])

    def look() -> Iterator[tuple[str, int]]:
        seen[0] += 1
        now[0] += cost_s
        return iter(())

    monkeypatch.setattr(questions, "_look", look)
    for _ in range(40):
        assert list(questions.answers()) == []
        now[0] += 0.5
    assert seen == [looks]


def test_what_else_lies_in_the_folder_stays(careful: Settings) -> None:
    folder = asked(careful)
    (folder / "my own note.txt").write_text("keep", encoding="utf-8")
    for picture in sorted(folder.glob("choice-*.jpg"))[1:]:
        picture.unlink()
    assert run(careful).outcome == "ready"
    assert [path.name for path in folder.iterdir()] == ["my own note.txt"]


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio with two questions."""
    made = Studio(studio, monkeypatch)
    made.put("Reeds.jpg", photo(4, answer="ask"))
    made.put("Kelp.jpg", photo(5, answer="ask"))
    made.run()
    made.made()
    return made


def left(wren: Studio, folder: str) -> list[str]:
    return sorted(place.name for place in (wren.settings.folders.needs_a_look / folder).glob("*"))


@pytest.mark.parametrize("refused", [0, 2, 4], ids=["at first", "others were offered", "none is left to offer"])
def test_a_question_whose_folder_is_deleted_comes_back_as_it_was(wren: Studio, refused: int) -> None:
    folder = wren.settings.folders.needs_a_look / "Reeds"
    for first in range(1, refused, 2):
        for number in (first, first + 1):
            (folder / f"choice-{number}.jpg").unlink()
        wren.run()
    before, asked = left(wren, "Reeds"), wren.records()["Reeds.jpg"]
    before = before if asked.choices else ["where.jpg", "why.txt"]  # what was offered before is no part of it
    assert len(asked.refused) == refused
    wren.made()
    shutil.rmtree(folder)
    assert [line for line in outlook(wren.settings) if "Reeds" in line] == [
        "Reeds.jpg: looked at, because the folder of its question is gone"
    ]
    wren.run()
    assert left(wren, "Reeds") == before != []
    record = wren.records()["Reeds.jpg"]
    assert (record.choices, record.refused) == (asked.choices, asked.refused)
    assert [name for _, name, _ in wren.made()] == ["Reeds.jpg"]
    assert "the folder of its question is gone" in (wren.settings.folders.records / "log.jsonl").read_text()
    shutil.rmtree(folder)  # and once more
    wren.run()
    assert left(wren, "Reeds") == before


def test_an_answer_in_a_folder_that_was_renamed_counts(wren: Studio) -> None:
    """It was asked a second time beside it, and what was answered there was lost."""
    look = wren.settings.folders.needs_a_look
    (look / "Reeds").rename(look / "the weir")
    wren.run()
    assert sorted(place.name for place in look.iterdir()) == ["Kelp", "the weir"]
    assert wren.made() == []
    for name in ("choice-1.jpg", "none-of-these.jpg", "no-work.jpg"):
        (look / "the weir" / name).unlink()
    wren.run()
    assert [name for _, name, _ in wren.made()] == ["Reeds.jpg"]
    assert wren.records()["Reeds.jpg"].outcome == "ready"
    assert sorted(place.name for place in look.iterdir()) == ["Kelp"]


def test_others_that_are_offered_lie_under_the_own_name_again(wren: Studio) -> None:
    look = wren.settings.folders.needs_a_look
    (look / "Reeds").rename(look / "the weir")
    for place in (look / "the weir").glob("choice-*.jpg"):
        place.unlink()
    (look / "the weir" / "no-work.jpg").unlink()
    wren.run()
    assert sorted(place.name for place in look.iterdir()) == ["Kelp", "Reeds"]
    assert "choice-3.jpg" in left(wren, "Reeds")


def test_the_folder_of_another_question_is_none_that_was_renamed(wren: Studio) -> None:
    """Two photos of one name in two folders have questions called Reeds and Reeds-2."""
    look = wren.settings.folders.needs_a_look
    wren.put("June/Reeds.jpg", photo(6, answer="ask"))
    wren.run()
    assert sorted(place.name for place in look.iterdir()) == ["Kelp", "Reeds", "Reeds-2"]
    shutil.rmtree(look / "Reeds-2")
    wren.made()
    wren.run()
    assert [name for _, name, _ in wren.made()] == ["June/Reeds.jpg"]
    assert left(wren, "Reeds-2") == left(wren, "Reeds")
    shutil.copytree(look / "Kelp", look / "kept")
    shutil.copytree(look / "Kelp", look / "kept too")
    shutil.rmtree(look / "Kelp")
    wren.run()  # which of the two is meant is not known
    assert "Kelp" in {place.name for place in look.iterdir()}


def test_what_a_question_offers_no_longer_leaves_its_folder(wren: Studio) -> None:
    folder = wren.settings.folders.needs_a_look / "Reeds"
    (folder / "my own note.txt").write_text("keep", encoding="utf-8")
    assert "no-work.jpg" in left(wren, "Reeds")
    wren.put("Reeds.txt", "kind: ink")  # so it is a work, and the photo is asked about again
    wren.run()
    assert "no-work.jpg" not in left(wren, "Reeds")
    assert {"choice-1.jpg", "choice-2.jpg", "none-of-these.jpg", "my own note.txt"} < {*left(wren, "Reeds")}
    for place in folder.glob("choice-*"):
        place.unlink()
    wren.run()
    assert "choice-3.jpg" in left(wren, "Reeds")
    for place in folder.glob("choice-*"):
        place.unlink()
    wren.run()
    assert left(wren, "Reeds") == ["my own note.txt", "where.jpg", "why.txt"]  # nothing is left to choose from


def test_questions_of_a_place_that_is_away_are_not_asked_again(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    root = wren.settings.folders.needs_a_look
    on_share = [True]
    monkeypatch.setattr("autoprep.service.questions.is_apart", lambda _folder: on_share[0])
    wren.put("Kelp.txt", "kind: ink")
    wren.run()
    wren.made()
    on_share[0] = False
    away = root.with_name("away")
    root.rename(away)
    wren.run()
    root.mkdir(exist_ok=True)  # where the disk is mounted, while it is not
    wren.run()
    assert wren.made() == []
    root.rmdir()
    away.rename(root)
    on_share[0] = True
    shutil.rmtree(root / "Kelp")
    wren.run()
    assert [name for _, name, _ in wren.made()] == ["Kelp.jpg"]


@pytest.mark.parametrize("left", ["nothing", "an empty folder"])
def test_all_questions_come_back_where_their_folder_was_deleted(wren: Studio, left: str) -> None:
    """They were counted for ever, in a folder that held none of them."""
    root = wren.settings.folders.needs_a_look
    asked = sorted(place.name for place in root.iterdir())
    shutil.rmtree(root)
    if left != "nothing":
        root.mkdir()  # as `once` does at its start
    wren.run()
    assert sorted(place.name for place in root.iterdir()) == asked != []


def test_questions_in_a_folder_that_a_link_leads_to_may_be_away(wren: Studio) -> None:
    root = wren.settings.folders.needs_a_look
    root.rename(root.with_name("share"))
    root.symlink_to(root.with_name("share"))
    wren.put("Kelp.txt", "kind: ink")
    wren.run()
    wren.made()
    root.with_name("share").rename(root.with_name("off"))
    wren.run()
    root.with_name("share").mkdir()
    wren.run()
    assert wren.made() == []


def test_a_folder_counts_as_deleted_when_it_has_been_away_for_a_while(tmp_path: Path) -> None:
    now = [100.0]
    questions = Questions(2.0, lambda: now[0])
    folder = tmp_path / "Reeds"
    folder.mkdir()
    for number in (1, 2):
        (folder / f"choice-{number}.jpg").write_bytes(b"x")
    questions.note(OpenQuestion("job", 2, folder, offers_none=True))
    assert list(questions.answers()) == []
    folder.rename(tmp_path / "Sedge")
    assert list(questions.answers()) == []
    (tmp_path / "Sedge").rename(folder)
    now[0] += 5
    assert list(questions.answers()) == []
    folder.rename(tmp_path / "Sedge")
    now[0] += 1
    assert list(questions.answers()) == []
    now[0] += 2
    assert list(questions.answers()) == [("job", LOST)]
    now[0] += 60
    assert list(questions.answers()) == []  # it is said once


def test_the_folder_of_a_photo_that_is_looked_at_again_stays_until_it_is_settled(studio: Settings) -> None:
    (studio.folders.inbox / "Reeds.jpg").write_bytes(photos.jpeg())
    job = run(studio).job
    folder = studio.folders.needs_a_look / "Reeds"
    folder.mkdir(parents=True)
    ledger = Ledger(ledger_path(studio))
    ledger.reserve(job, {LOOK: folder})
    hands = Hands(studio, ledger)
    hands.clear_questions({job})  # it may become a question, and its pictures are on their way there
    assert folder.is_dir()
    assert ledger.settled_questions() == {job: folder}
    hands.clear_questions(())
    assert not folder.exists()
    assert ledger.settled_questions() == {}
    ledger.close()
