"""A question with choices: its pictures, and the answer by deleting all but one."""

from pathlib import Path

import pytest

from autoprep.domain import JobRecord
from autoprep.wishes.settings import Settings
from tests import photos
from tests.service.engines import run_once


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
    assert record.outline.whole_photo or record.outline.array() != pytest.approx(photos.CORNERS, abs=6)


def test_none_left_or_several_left_is_no_answer(careful: Settings) -> None:
    folder = asked(careful)
    pictures = sorted(folder.glob("choice-*.jpg"))
    if len(pictures) > 2:
        pictures[0].unlink()
        assert run(careful).outcome == "needs a look"
    for picture in folder.glob("choice-*.jpg"):
        picture.unlink()
    assert run(careful).outcome == "needs a look"
    assert (folder / "why.txt").is_file()


def test_what_else_lies_in_the_folder_stays(careful: Settings) -> None:
    folder = asked(careful)
    (folder / "my own note.txt").write_text("keep", encoding="utf-8")
    for picture in sorted(folder.glob("choice-*.jpg"))[1:]:
        picture.unlink()
    assert run(careful).outcome == "ready"
    assert [path.name for path in folder.iterdir()] == ["my own note.txt"]
