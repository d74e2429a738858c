"""Questions about photos that were edited or replaced before they were answered: what they asked is over."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from autoprep.cli.main import main
from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service import pretend as pretended
from tests.service.pretend import Studio, photo

Said = Callable[..., str]


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


@pytest.fixture
def said(wren: Studio, capsys: pytest.CaptureFixture[str]) -> Said:
    def run(*words: str) -> str:
        capsys.readouterr()
        main([*words, "--config", str(wren.config)])
        return capsys.readouterr().out

    return run


def folders(wren: Studio) -> list[str]:
    return sorted(folder.name for folder in wren.settings.folders.needs_a_look.iterdir())


def outcomes(wren: Studio) -> list[str | None]:
    ledger = Ledger(ledger_path(wren.settings))
    try:
        return [job.outcome for job in ledger.jobs()]
    finally:
        ledger.close()


def ask(wren: Studio) -> None:
    wren.put("Gull.jpg", photo(1, answer="ask"))
    wren.run()
    assert folders(wren) == ["Gull"]


def test_a_picture_that_takes_the_place_of_a_question_ends_it(wren: Studio, said: Said) -> None:
    ask(wren)
    wren.put("Gull.jpg", photo(1, take=2))
    wren.run()
    assert (folders(wren), outcomes(wren)) == ([], ["replaced", "ready"])
    assert sorted(file.name for file in wren.settings.folders.ready.glob("square/*")) == ["Gull.jpg"]
    assert said("jobs", "--outcome", "needs a look") == "There is none.\n"
    told = said("status")
    assert "Questions" not in told
    first = wren.settings.folders.records / "proof/index.html"
    assert "Waits for your answer" not in first.read_text(encoding="utf-8")


def test_a_question_that_takes_the_place_of_another_is_the_one_that_is_asked(wren: Studio, said: Said) -> None:
    ask(wren)
    wren.put("Gull.jpg", photo(2, answer="ask"))
    wren.run()
    assert (folders(wren), outcomes(wren)) == (["Gull-2"], ["replaced", "needs a look"])
    assert said("jobs", "--outcome", "needs a look").count("Gull.jpg") == 1
    assert "another photo has its place" in said("show", said("jobs", "--outcome", "replaced").split()[0])
    folder = wren.settings.folders.needs_a_look / "Gull-2"
    for name in ("choice-2.jpg", "none-of-these.jpg", "no-work.jpg"):
        (folder / name).unlink()
    wren.run()
    assert (folders(wren), outcomes(wren)) == ([], ["replaced", "ready"])


def test_what_the_artist_put_beside_an_old_question_stays(wren: Studio) -> None:
    ask(wren)
    own = wren.settings.folders.needs_a_look / "Gull" / "a thought.txt"
    own.write_text("ask Ines about the wing")
    wren.put("Gull.jpg", photo(1, take=2))
    wren.run()
    assert [place.name for place in own.parent.iterdir()] == [own.name]
    assert own.read_text() == "ask Ines about the wing"


@pytest.mark.parametrize("name", ["Gull.jpg", "Gull as it was.jpg"])
def test_a_photo_that_is_back_is_asked_about_again(wren: Studio, name: str) -> None:
    ask(wren)
    wren.put("Gull.jpg", photo(2, answer="ask"))
    wren.run()
    wren.put(name, photo(1, answer="ask"))
    wren.run()
    both = ["needs a look", "needs a look" if name != "Gull.jpg" else "replaced"]
    assert outcomes(wren) == both
    assert len(folders(wren)) == both.count("needs a look")


def test_a_question_stays_while_its_photo_lies_elsewhere_or_nothing_is_in_its_place(wren: Studio) -> None:
    ask(wren)
    (wren.inbox / "Gull.jpg").rename(wren.inbox / "Tern.jpg")
    wren.put("Gull.jpg", photo(2))
    wren.run()
    assert (folders(wren), outcomes(wren)) == (["Tern"], ["needs a look", "ready"])
    (wren.inbox / "Tern.jpg").unlink()
    wren.run()
    assert (folders(wren), outcomes(wren)) == (["Tern"], ["needs a look", "ready"])


def test_a_copy_that_broke_off_takes_no_questions_place(wren: Studio) -> None:
    ask(wren)
    wren.put("Gull.jpg", photo(2, answer="broken"))
    wren.run()
    assert (folders(wren), outcomes(wren)[0]) == (["Gull"], "needs a look")


def test_a_copy_of_a_known_photo_in_its_place_ends_a_question(wren: Studio) -> None:
    wren.put("Tern.jpg", photo(2))
    ask(wren)
    wren.put("Gull.jpg", photo(2))
    wren.run()
    assert (folders(wren), outcomes(wren)) == ([], ["replaced", "ready", "duplicate"])


def test_a_question_of_which_a_copy_lies_elsewhere_goes_on(wren: Studio) -> None:
    ask(wren)
    wren.put("Gull again.jpg", photo(1, answer="ask"))
    wren.run()
    wren.put("Gull.jpg", photo(3))
    wren.run()
    assert outcomes(wren) == ["needs a look", "ready"]


def test_what_was_said_of_a_question_holds_for_the_edited_photo(wren: Studio, said: Said) -> None:
    ask(wren)
    said("say", "Gull.jpg", "hold", "price: 240")
    wren.put("Gull.jpg", photo(1, take=2))
    wren.run()
    assert wren.files() == {}
    withdrawn = wren.settings.folders.records / "withdrawn"
    assert [place for place in withdrawn.rglob("*") if place.is_file()] == []  # nor did any lie there for a moment
    record = wren.records()["Gull.jpg"]
    assert (record.work.hold, record.work.price) == (True, "240")
    said("say", "Gull.jpg", "hold: no")
    wren.run()
    assert len(wren.files()) == 2


def test_what_was_said_of_a_question_is_not_said_of_another_photo(
    wren: Studio, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask(wren)
    said("say", "Gull.jpg", "hold")
    monkeypatch.setattr(pretended, "_PHOTO", replace(pretended._PHOTO, taken_at="2026-11-28T18:00:00"))
    wren.put("Gull.jpg", photo(2))
    wren.run()
    assert len(wren.files()) == 2
