"""What the command line has said of a photo that is edited in its place is said of the edited picture."""

import pytest

from autoprep.cli.main import main
from autoprep.domain import CorrectionPlan, Geometry, JobRecord
from autoprep.ledger import Ledger
from autoprep.service.rebuild import _edited
from autoprep.service.said import hand_words_on
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

TABLES = '[site]\nlong_side_px = 900\nname = "{title}"\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    return Studio(studio, monkeypatch)


def all_records(wren: Studio) -> list[JobRecord]:
    ledger = Ledger(ledger_path(wren.settings))
    found = [job.record for job in ledger.jobs() if job.record is not None]
    ledger.close()
    return found


def said_of(wren: Studio, *lines: str) -> None:
    assert main(["say", "a.jpg", *lines, "--config", str(wren.config)]) == 0
    wren.run()


def test_what_say_said_of_a_photo_is_said_of_its_edited_picture(wren: Studio) -> None:
    wren.put("a.jpg", photo(1, take=1))
    wren.run()
    said_of(wren, "kind: painting", "size: 30 x 40 cm", "hold", "corners: 0,0 90,0 90,60 0,60")
    wren.put("a.jpg", photo(1, take=2))
    wren.run()
    assert wren.files() == {}
    (words,) = (wren.settings.folders.records / "words").iterdir()
    before, edited = all_records(wren)
    assert words.stem == edited.job
    assert (edited.kind, edited.work.size_mm, edited.work.hold) == ("painting", (400.0, 300.0), True)
    assert edited.work.corners_px is not None
    assert edited.work.shared == ()
    said_of(wren)  # all is unsaid
    assert list(wren.files()) == ["site/a.jpg"]
    said_of(wren, "title: Jug")
    wren.put("a.jpg", photo(1, take=1))  # put back
    wren.run()
    (words,) = (wren.settings.folders.records / "words").iterdir()
    assert words.stem == before.job
    assert list(wren.files()) == ["site/Jug.jpg"]


@pytest.mark.parametrize(
    ("before", "own", "px", "after"),
    [
        ("title: Jug\nhold\n", None, (9, 6), "title: Jug\nhold\n"),
        ("title: Jug\nhold\n", "title: Blue Jug\n", (9, 6), "title: Blue Jug\nhold\n"),
        ("corners: 0,0 9,0 9,6 0,6\nprice: 9\n", None, (9, 6), "corners: 0,0 9,0 9,6 0,6\nprice: 9\n"),
        ("corners: 0,0 9,0 9,6 0,6\nprice: 9\n", None, (9, 5), "price: 9\n"),
        ("outline: 0,0 9,0 9,6 0,6\n", None, (9, 5), None),
        ("whole photo\n", None, (9, 5), "whole photo\n"),
        ("corners: 0,0 9,0 9,6 0,6\n", "corners: 0,0 9,0 9,5 0,5\n", (9, 5), "corners: 0,0 9,0 9,5 0,5\n"),
    ],
)
def test_words_go_over_to_the_edited_picture(
    studio: Settings, before: str, own: str | None, px: tuple[int, int], after: str | None
) -> None:
    def record(job: str, photo_px: tuple[int, int]) -> JobRecord:
        geometry = Geometry.model_construct(photo_px=photo_px)
        plan = CorrectionPlan.model_construct(geometry=geometry)
        return JobRecord.model_construct(job=job, photo="a.jpg", outcome="ready", plan=plan)

    folder = studio.folders.records / "words"
    folder.mkdir(parents=True)
    (folder / "1.txt").write_text(before, encoding="utf-8")
    if own is not None:
        (folder / "2.txt").write_text(own, encoding="utf-8")
    assert hand_words_on(studio, record("2", px), [record("1", (9, 6))]) == ("1",)
    assert {place.name: place.read_text(encoding="utf-8") for place in folder.iterdir()} == (
        {} if after is None else {"2.txt": after}
    )


def test_by_older_records_an_alternate_was_edited_where_it_lies_in_the_used_takes_place() -> None:
    def record(job: str, photo: str, outcome: str) -> JobRecord:
        return JobRecord.model_construct(job=job, photo=photo, outcome=outcome, gone=False)

    records = {
        "1": record("1", "a.jpg", "alternate"),
        "2": record("2", "a.jpg", "ready"),
        "3": record("3", "b.jpg", "alternate"),
        "4": record("4", "c.jpg", "alternate"),
        "5": record("5", "c.jpg", "ready"),
        "6": record("6", "d.jpg", "needs a look").model_copy(update={"gone": True}),
    }
    works = {"1": "w", "2": "w", "3": "w", "4": "other", "5": "w", "6": "w"}
    assert _edited(records, works) == {"1", "6"}
