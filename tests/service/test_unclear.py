"""Words that are not understood are said where somebody looks: in the status, on the first page, at the used take."""

from pathlib import Path

import pytest

from autoprep.cli import main
from autoprep.domain import WorkFacts
from autoprep.ledger import Line, View
from autoprep.service.beside import own_words, with_complaints
from autoprep.service.said import Said, facts_for, facts_of_copy
from autoprep.wishes import note_files
from autoprep.wishes.notes import facts_since
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

TURNED, ASKED = "turn: sideways\n", "Your words that are not understood, or do not agree"


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def status(wren: Studio, capsys: pytest.CaptureFixture[str]) -> list[str]:
    main(["status", "--config", str(wren.config)])
    return [line for line in capsys.readouterr().out.splitlines() if "not understood" in line]


def page(wren: Studio, name: str = "index") -> str:
    return (wren.settings.folders.records / "proof" / f"{name}.html").read_text(encoding="utf-8")


def test_status_and_the_first_page_name_photos_with_such_words(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    for number in range(4):
        wren.put(f"Reeds {number}.jpg", photo(number))
    wren.run()
    assert status(wren, capsys) == []
    assert ASKED not in page(wren)
    for number in range(4):
        wren.put(f"Reeds {number}.txt", TURNED)
    wren.run()
    (line,) = status(wren, capsys)
    assert line.endswith(": 4 (Reeds 0.jpg, Reeds 1.jpg, Reeds 2.jpg and 1 more); `autoprep show PHOTO` says which")
    first = page(wren)
    listed = first[first.index(ASKED) : first.index("Today")]
    assert listed.index("Reeds 3.jpg") < listed.index("Reeds 0.jpg")
    assert listed.count("sideways") == 4
    assert f'href="work-{wren.records()["Reeds 0.jpg"].job}.html"' in listed


def test_a_destination_that_there_is_not_has_its_own_line(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("Reeds.jpg", photo(1))
    wren.put("Reeds.txt", "for: nowhere\n")
    wren.run()
    assert status(wren, capsys) == []
    assert ASKED not in page(wren)


def test_a_complaint_beside_another_take_reaches_the_one_that_is_used(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("a.jpg", photo(1, take=1))
    wren.put("b.jpg", photo(1, sharp=9, take=2))
    wren.run()
    wren.made()
    wren.put("a.txt", TURNED)
    records = wren.run()
    assert (records["a.jpg"].outcome, records["b.jpg"].outcome) == ("alternate", "ready")
    own = records["a.jpg"].work.unclear
    assert len(own) == 1
    assert "sideways" in own[0]
    assert records["b.jpg"].work.unclear == (f"{own[0]} (said beside a.jpg)",)
    assert "(said beside a.jpg)" in page(wren, f"work-{records['a.jpg'].job}")
    assert [line for line in status(wren, capsys) if ": 1 (b.jpg); " in line]
    assert wren.made() == []
    wren.put("a.txt", "")
    assert wren.run()["b.jpg"].work.unclear == ()


def test_what_is_told_of_another_take_is_told_once() -> None:
    one = WorkFacts(unclear=("x",))
    other = with_complaints(WorkFacts(unclear=("y",)), [("a.jpg", one)])
    assert other.unclear == ("y", "x (said beside a.jpg)")
    assert with_complaints(one, [("b.jpg", other)]).unclear == ("x", "y (said beside b.jpg)")
    assert with_complaints(one, [("b.jpg", WorkFacts(unclear=("x",)))]) is one
    assert own_words(other).unclear == ("y",)


def test_a_take_that_is_away_keeps_its_own_complaint_alone(wren: Studio) -> None:
    wren.put("a.jpg", photo(1, take=1))
    wren.put("a.txt", TURNED)
    wren.put("b.jpg", photo(1, sharp=9, take=2))
    before = wren.run()["b.jpg"].work.unclear
    assert len(before) == 1
    (wren.inbox / "b.jpg").unlink()
    wren.put("a.txt", "price: 20\n")
    assert wren.run()["b.jpg"].work.unclear == ()


def test_a_note_that_can_not_be_read_holds_until_it_can(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(place: Path, _most: int) -> bytes:
        raise PermissionError(13, "Permission denied", place)

    wren.put("a.jpg", photo(1))
    wren.run()
    assert wren.files()
    wren.put("a.txt", "price: 20")
    with monkeypatch.context() as refused:
        refused.setattr(note_files, "_beginning_of", denied)
        (told,) = wren.run()["a.jpg"].work.unclear
        assert told == "the note a.txt can't be read now (Permission denied); the work is held until it can be"
        assert wren.files() == {}
        wren.run()
        assert wren.files() == {}
    assert wren.run()["a.jpg"].work.unclear == ()  # though nothing shows that it can be read now
    assert wren.files()


def test_a_note_that_could_not_be_read_is_new_at_each_look(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    (wren.inbox / "a.txt").symlink_to(wren.inbox / "elsewhere")
    said, view, line = Said(0.0), View(1, "a", "", b"a.jpg", "a.jpg", "done", 0, 0, 0.0, None), Line("", b"a.jpg", "")
    looks = []
    for _ in range(3):
        looks.append(said.notice(wren.settings, {}, [("a", line)]))
        assert said.of(wren.settings, view).hold
    assert looks == [["a"]] * 3
    (wren.inbox / "a.txt").unlink()
    said.notice(wren.settings, {}, [("a", line)])
    assert not said.of(wren.settings, view).hold
    assert said.notice(wren.settings, {}, [("a", line)]) == []


@pytest.mark.parametrize(
    ("word", "sent"),
    [
        ("print-a3", ("print-a3",)), ("print_a3", ("print_a3",)), ("Print-A3", ("print-a3",)), ("print a3", ()),
        ("open call", ("open-call",)), ("open-call and print-a3", ("open-call", "print-a3")),
        ("print_a3+Open Call", ("print_a3", "open-call")), ("Black and White", ("black-and-white",)),
        ("open-call and print a3", ()), ("open-call and master", ()),
    ],
)  # fmt: skip
def test_of_destinations_that_differ_in_signs_the_one_that_is_written_is_meant(
    wren: Studio, word: str, sent: tuple[str, ...]
) -> None:
    names = ("print-a3", "print_a3", "open-call", "black", "white", "black-and-white")
    tables = "".join(f"[{name}]\nlong_side_px = 90\n" for name in names)
    wren.config.with_name("destinations.toml").write_text(tables, encoding="utf-8")
    wren.put("a.txt", f"for: {word}")
    facts, warnings = facts_for(wren.settings, "a.jpg")
    assert (facts.destinations, facts.hold) == (sent, not sent)  # better held than sent to the wrong one
    assert bool(warnings) == (not sent)


def test_a_note_counts_when_it_has_been_still(wren: Studio) -> None:
    wren.put("a.jpg", photo(1))
    clock = [0.0]
    said, line = Said(10.0, clock=lambda: clock[0]), [("a", Line("", b"a.jpg", ""))]
    view = View(1, "a", "", b"a.jpg", "a.jpg", "done", 0, 0, 0.0, None)
    said.notice(wren.settings, {}, line)
    said.of(wren.settings, view)
    half, whole = ({".": (("a.txt", 1, size),)} for size in (5, 9))
    heard = []
    for now, notes in ((1.0, half), (6.0, whole), (12.0, whole), (16.0, whole), (17.0, whole)):
        clock[0] = now
        heard.append((said.notice(wren.settings, notes, line), said.unsettled))
        if heard[-1][0]:
            said.of(wren.settings, view)
    assert heard == [([], True), ([], True), ([], True), (["a"], False), ([], False)]


def test_a_copy_in_a_folder_that_asks_for_a_hold_is_told_to_be_held(wren: Studio) -> None:
    wren.put("do not publish/a.jpg", photo(1))
    facts = facts_of_copy(wren.settings, "do not publish/a.jpg")
    assert facts.hold
    assert any("is held until" in line for line in facts.unclear)
    assert facts_of_copy(wren.settings, "hold/a.jpg").unclear == ()


def test_a_photo_that_is_away_and_was_released_stays_so(wren: Studio) -> None:
    released = WorkFacts(released=True)
    words = wren.put("elsewhere.txt", "price: 20")
    facts, _ = facts_since(wren.inbox, "a.jpg", released, words, None) or (WorkFacts(), ())
    assert (facts.released, facts.price) == (True, "20")
    assert not (facts_since(wren.inbox, "a.jpg", WorkFacts(), words, None) or (released,))[0].released
