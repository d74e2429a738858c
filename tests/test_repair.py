"""What the service did wrong is put right in one gesture: by a note, a folder, a name or the command line."""

import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from autoprep.cli import main
from autoprep.domain import WorkFacts
from autoprep.imaging.arrays import UInt8
from autoprep.job.orders import JobOrder
from autoprep.service.outlook import outlook
from autoprep.wishes.destinations import Preset
from autoprep.wishes.notes import facts_of
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.pretend import Studio, photo
from tests.test_job import done, order_for, with_presets

pytestmark = pytest.mark.usefixtures("looked_at_once")


def told(tmp_path: Path, name: str, note: str = "") -> WorkFacts:
    place = tmp_path / name
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(b"")
    if note:
        place.with_suffix(".txt").write_text(note, encoding="utf-8")
    facts, warnings = facts_of(tmp_path, name)
    assert warnings == (), warnings
    return facts


@pytest.mark.parametrize(
    ("word", "degrees"),
    [("90", 90), ("right", 90), ("left", 270), ("-90", 270), ("Upside down", 180), ("180°", 180), ("90 degrees", 90),
     ("clockwise", 90), ("counterclockwise", 270), ("Anticlockwise", 270), ("270", 270)],
)  # fmt: skip
def test_turning_can_be_said_in_many_ways(tmp_path: Path, word: str, degrees: int) -> None:
    assert told(tmp_path, "IMG_1.jpg", f"turn: {word}").turn == degrees


def test_the_same_by_note_folder_and_name(tmp_path: Path) -> None:
    for name in ("turn left/IMG_1.jpg", "Blue Jug, 2026, turn left.jpg"):
        assert told(tmp_path, name).turn == 270
    for name in ("not a work/IMG_1.jpg", "Portrait, not a work.jpg"):
        assert told(tmp_path, name).not_a_work
    assert told(tmp_path, "as shot/IMG_1.jpg").as_shot
    assert told(tmp_path, "whole photo/IMG_1.jpg").outline == "whole photo"
    assert told(tmp_path, "IMG_2.jpg", "Outline: ask again").outline == "ask again"
    corners = told(tmp_path, "IMG_3.jpg", "corners: 10,20 300,22 298,410 8,405").corners_px
    assert corners == ((10, 20), (300, 22), (298, 410), (8, 405))
    assert told(tmp_path, "turn of the tide/IMG_1.jpg").title == "turn of the tide"


@pytest.mark.parametrize(
    ("place", "note", "near"),
    [
        ("as Watercolor/IMG_1.jpg", "", "watercolour"),
        ("as wall/IMG_1.jpg", "", "the known words are pencil, ink"),
        ("as ikn/IMG_1.jpg", "", "nearest known word is “ink”"),
        ("IMG_1.jpg", "kinds: painting", "kind"),
        ("IMG_1.jpg", "outline: somewhere", "not understood"),
        ("IMG_1.jpg", "turn: a bit", "not understood"),
        ("IMG_1.jpg", "turn: lfet", "the nearest word is “left”"),
        ("IMG_1.jpg", "hold: maybe", "not understood"),
    ],
)
def test_words_that_are_not_known_are_answered_with_the_nearest(
    tmp_path: Path, place: str, note: str, near: str
) -> None:
    photo_ = tmp_path / place
    photo_.parent.mkdir(parents=True, exist_ok=True)
    photo_.write_bytes(b"")
    if note:
        photo_.with_suffix(".txt").write_text(note, encoding="utf-8")
    facts, warnings = facts_of(tmp_path, place)
    assert len(warnings) == 1
    assert near in warnings[0]
    assert facts.title == ""
    if "Watercolor" in place:
        assert facts.kind == "watercolour"


# --- pictures ---------------------------------------------------------------------------------------------------


def made(settings: Settings, order: JobOrder, **said: object) -> UInt8:
    result = done(replace(order, facts=WorkFacts(**said)))  # type: ignore[arg-type]
    assert result.record.outcome == "ready", result.record.reasons
    with Image.open(io.BytesIO((settings.folders.ready / "site" / "Blue Jug.jpg").read_bytes())) as image:
        return np.asarray(image.convert("RGB"))


@pytest.fixture
def site(studio: Settings) -> tuple[Settings, JobOrder]:
    settings = with_presets(studio, site=Preset(long_side_px=400, mark=False))
    return settings, order_for(settings, photos.jpeg())


@pytest.mark.parametrize(("turn", "quarters"), [(90, 1), (180, 2), (270, 3)])
def test_a_turned_work_is_the_same_picture_turned(site: tuple[Settings, JobOrder], turn: int, quarters: int) -> None:
    plain = made(*site)
    turned = made(*site, turn=turn)
    assert turned.shape[:2] == (plain.shape[:2] if quarters == 2 else plain.shape[1::-1])
    difference = np.abs(turned.astype(int) - np.rot90(plain, -quarters))
    assert np.percentile(difference, 99) < 40
    assert difference.mean() < 2
    assert np.abs(turned.astype(int) - np.rot90(plain, quarters)).mean() > 2 * difference.mean() or quarters == 2


def test_as_shot_straightens_and_does_nothing_else(site: tuple[Settings, JobOrder]) -> None:
    settings, order = site
    plain, as_shot = made(settings, order).astype(int), made(settings, order, as_shot=True).astype(int)
    assert plain.shape == as_shot.shape
    assert np.median(plain[..., 2]) - np.median(as_shot[..., 2]) > 30  # the lamp's light stays on the paper
    record = done(replace(order, facts=WorkFacts(as_shot=True))).record
    assert record.plan is not None
    assert (record.plan.tone.gain, record.plan.contrast, record.plan.sharpening.amount) == (1.0, 0.0, 0.0)
    assert any("as you asked" in reason for reason in record.reasons)


def test_the_outline_can_be_said(site: tuple[Settings, JobOrder]) -> None:
    settings, order = site
    whole = made(settings, order, outline="whole photo")
    assert whole.shape[1] / whole.shape[0] == pytest.approx(photos.SIZE[0] / photos.SIZE[1], abs=0.01)
    part = ((300.0, 250.0), (800.0, 250.0), (800.0, 500.0), (300.0, 500.0))
    record = done(replace(order, facts=WorkFacts(corners_px=part))).record
    assert record.outline is not None
    assert record.outline.corners_px == part
    assert record.reasons[0] == "You said which outline it is."
    asked = done(replace(order, facts=WorkFacts(outline="ask"))).record
    assert asked.outcome == "needs a look"
    assert len(asked.choices) > 1
    text = (order.look_folder / "why.txt").read_text(encoding="utf-8")
    assert "you asked for the choices" in text.lower()
    assert "choice-" in text


def test_what_is_said_to_be_no_work_is_not_looked_at(site: tuple[Settings, JobOrder]) -> None:
    result = done(replace(site[1], facts=WorkFacts(not_a_work=True, title="Portrait")))
    assert result.record.outcome == "no work seen"
    assert "You said" in result.record.reasons[0]
    assert result.parts == []
    assert "outline" not in result.record.seconds


def test_corners_that_can_not_be_meant_are_a_question(site: tuple[Settings, JobOrder]) -> None:
    _, order = site
    for corners in (((0.0, 0.0),) * 4, ((0.0, 0.0), (9e6, 0.0), (9e6, 9e6), (0.0, 9e6))):
        record = done(replace(order, facts=WorkFacts(corners_px=corners))).record
        assert record.outcome == "needs a look"
        assert "1200 x 900 pixels" in record.reasons[0]


# --- what follows by itself -------------------------------------------------------------------------------------


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def ready(wren: Studio) -> list[str]:
    return [name for name in wren.files() if name.startswith("square/")]


def test_not_a_work_takes_the_pictures_back_and_can_be_unsaid(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    assert ready(wren) == ["square/IMG_1.jpg"]
    wren.put("IMG_1.txt", "not a work: yes")
    record = wren.run()["IMG_1.jpg"]
    assert record.outcome == "no work seen"
    assert ready(wren) == []
    (wren.inbox / "IMG_1.txt").unlink()
    assert wren.run()["IMG_1.jpg"].outcome == "ready"
    assert ready(wren) == ["square/IMG_1.jpg"]


def test_a_ready_outline_can_be_asked_for_again_and_answered(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    for number, word in enumerate(("ask", "ask again")):
        wren.put("IMG_1.txt", f"outline: {word}")
        assert wren.run()["IMG_1.jpg"].outcome == "needs a look"
        assert ready(wren) == []
        folder = wren.settings.folders.needs_a_look / "IMG_1"
        (folder / f"choice-{2 - number}.jpg").unlink()
        record = wren.run()["IMG_1.jpg"]
        assert record.outcome == "ready"
        assert record.outline is not None
        assert record.outline.corners_px[0] == ((0.0, 0.0), (1.0, 1.0))[number]
        assert ready(wren) == ["square/IMG_1.jpg"]
    wren.made()
    wren.run()
    assert wren.made() == []  # the note still says so, and is answered


def test_the_command_says_the_same(wren: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    at = ["--config", str(wren.settings.studio)]
    before = {path: path.read_bytes() for path in wren.inbox.rglob("*") if path.is_file()}
    assert main(["say", "IMG_1", "kind: painting", "title: Thrift", *at]) == 0
    record = wren.run()["IMG_1.jpg"]
    assert (record.kind, record.work.title) == ("painting", "Thrift")
    assert main(["say", "IMG_1", "knd: ink", *at]) == 1
    assert "the nearest word is “kind”" in capsys.readouterr().out
    record = wren.run()["IMG_1.jpg"]
    assert (record.kind, record.work.title) == ("painting", "Thrift")  # what was said before still holds
    assert record.work.unclear[0].startswith("what you said says")
    assert main(["show", "IMG_1", *at]) == 0
    assert "not understood" in capsys.readouterr().out
    page = (wren.settings.folders.records / "proof" / "index.html").read_text(encoding="utf-8")
    assert "nearest word" in page
    assert main(["say", "IMG_1", "knd:", "title:", *at]) == 0
    record = wren.run()["IMG_1.jpg"]
    assert (record.kind, record.work.title, record.work.unclear) == ("painting", "", ())
    assert main(["say", "IMG_1", *at]) == 0
    record = wren.run()["IMG_1.jpg"]
    assert (record.kind, record.work.title, record.work.unclear) == ("ink", "", ())
    assert {path: path.read_bytes() for path in wren.inbox.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("line", ["price 3", "just words", "as it was then: so"])
def test_a_line_of_the_command_without_a_colon_is_answered(
    wren: Studio, capsys: pytest.CaptureFixture[str], line: str
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    at = ["--config", str(wren.settings.studio)]
    assert main(["say", "IMG_1", "title: Thrift", *at]) == 0
    assert main(["say", "IMG_1", "year: 2026", line, *at]) == 2
    assert f"“{line}” has no word and a colon before it" in capsys.readouterr().err
    work = wren.run()["IMG_1.jpg"].work
    assert (work.title, work.year) == ("Thrift", "")  # all of it or nothing


def test_the_command_takes_words_that_stand_alone_in_a_note_too(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    at = ["--config", str(wren.settings.studio)]
    assert main(["say", "IMG_1", "hold", "turn left", "name: Thrift", *at]) == 0
    work = wren.run()["IMG_1.jpg"].work
    assert (work.hold, work.turn, work.title) == (True, 270, "Thrift")
    assert main(["say", "IMG_1", "hold:", "turn: right", "title: Sea thrift", *at]) == 0
    work = wren.run()["IMG_1.jpg"].work
    assert (work.hold, work.turn, work.title) == (False, 90, "Sea thrift")


def test_the_command_holds_what_is_asked_for_in_other_words_as_a_note_does(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.run()
    at = ["--config", str(wren.settings.studio)]
    for line in ("please hold", "don't post", "private"):
        assert main(["say", "IMG_1", "year: 2026", line, *at]) == 1
        assert f"“{line}”; the work is held until it says “hold: yes” or “hold: no”" in capsys.readouterr().out
        work = wren.run()["IMG_1.jpg"].work
        assert (work.hold, work.year) == (True, "2026")
    assert not wren.files()
    assert main(["say", "IMG_1", "hold: no", *at]) == 0
    assert not wren.run()["IMG_1.jpg"].work.hold


@pytest.mark.parametrize("command", [("say", "title: Reeds"), ("show",), ("redo",), ("retry",)])
def test_a_name_that_fits_several_photos_is_refused(
    wren: Studio, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    for number, name in enumerate(("Page 1.jpg", "boats/Page 1.jpg")):
        wren.put(name, photo(number + 1))
    before = wren.run()
    name, *lines = command
    at = ["--config", str(wren.settings.studio)]
    assert main([name, "Page 1", *lines, *at]) == 2
    assert "fits 2 photos: “boats/Page 1.jpg”, “Page 1.jpg”" in capsys.readouterr().err
    assert wren.run() == before
    if name in ("say", "show"):  # a whole path is one photo
        assert main([name, "Page 1.jpg", *lines, *at]) == 0
        assert main([name, str(wren.inbox / "boats" / "Page 1.jpg"), *lines, *at]) == 0
        assert capsys.readouterr().out.count("boats/Page 1.jpg") == 1
    assert main([name, "boats/Page l", *lines, *at]) == 2
    assert "near to that: “boats/Page 1.jpg”" in capsys.readouterr().err


def test_a_photo_that_a_typing_mistake_sends_nowhere_wants_a_look(
    wren: Studio, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--config", str(wren.settings.studio)]
    wren.put("for squaer/IMG_1.jpg", photo(1))
    wren.put("hold/IMG_2.jpg", photo(2))  # as the artist said
    wren.put("IMG_3.jpg", photo(3))
    wren.run()
    assert main(["status", "--json", *at]) == 1
    status = json.loads(capsys.readouterr().out)
    assert (status["not_given_out"], status["no_such_destination"]) == (1, ["for squaer/IMG_1.jpg"])
    (wren.inbox / "for square").mkdir()
    (wren.inbox / "for squaer" / "IMG_1.jpg").rename(wren.inbox / "for square" / "IMG_1.jpg")
    wren.run()
    assert main(["status", "--json", *at]) == 0
    wren.put("IMG_3.txt", "for: squaer")  # of one that was given out before
    wren.run()
    assert main(["status", *at]) == 1
    assert "Given out nowhere, for there is no such destination: 1 (IMG_3.jpg)" in capsys.readouterr().out


def test_a_word_that_is_mended_is_answered_no_more(wren: Studio) -> None:
    wren.put("IMG_1.jpg", photo(1))
    wren.put("IMG_1.txt", "titel: Thrift")
    record = wren.run()["IMG_1.jpg"]
    assert "“title”" in record.work.unclear[0]
    wren.put("IMG_1.txt", "title: Thrift")
    record = wren.run()["IMG_1.jpg"]
    assert record.work.unclear == ()
    place = wren.settings.folders.records / "proof" / record.job / "record.json"
    assert json.loads(place.read_text(encoding="utf-8"))["work"]["title"] == "Thrift"


def test_the_note_of_the_corner_page_reaches_a_finished_work_from_the_top_of_the_inbox(wren: Studio) -> None:
    wren.put("Book/IMG_1.jpg", photo(1))
    wren.put("Other/IMG_1.jpg", photo(2))
    wren.run()
    wren.put("IMG_1.corners.txt", "photo: Book/IMG_1.jpg\ncorners: 2,2 80,3 81,50 1,52\n")
    records = wren.run()
    assert records["Book/IMG_1.jpg"].work.corners_px == ((2, 2), (80, 3), (81, 50), (1, 52))
    assert records["Other/IMG_1.jpg"].work.corners_px is None
    (wren.inbox / "IMG_1.corners.txt").unlink()
    assert wren.run()["Book/IMG_1.jpg"].work.corners_px is None


def test_a_corner_note_at_the_top_is_not_for_the_photo_of_that_name_beside_it(wren: Studio) -> None:
    """It names the photo that it is for; only where that is nowhere (moved with its note, say) the one beside it is."""
    wren.put("Page 1.jpg", photo(1))
    wren.put("boats/Page 1.jpg", photo(2))
    wren.run()
    for copy in ("", " (1)"):
        wren.put(f"Page 1.corners{copy}.txt", "photo: boats/Page 1.jpg\ncorners: 2,2 80,3 81,50 1,52\n")
    records = wren.run()
    assert records["boats/Page 1.jpg"].work.corners_px == ((2, 2), (80, 3), (81, 50), (1, 52))
    assert records["Page 1.jpg"].work.corners_px is None


def test_a_corner_note_goes_with_its_photo(wren: Studio) -> None:
    wren.put("Book/IMG_1.jpg", photo(1))
    wren.put("Book/IMG_1.corners.txt", "photo: Book/IMG_1.jpg\ncorners: 2,2 80,3 81,50 1,52\n")
    assert wren.run()["Book/IMG_1.jpg"].work.corners_px is not None
    (wren.inbox / "Book").rename(wren.inbox / "Boats")
    assert wren.run()["Boats/IMG_1.jpg"].work.corners_px == ((2, 2), (80, 3), (81, 50), (1, 52))


def test_a_note_that_a_renamed_photo_has_left_behind_is_named(wren: Studio) -> None:
    """Notes for a folder, and for photos that are there, are none."""
    wren.put("boats/Grey.jpg", photo(1))
    wren.put("boats/Grey.txt", "price: 240")
    wren.put("boats/note.txt", "size: 14 x 21 cm")
    wren.put("boats/Grey.jpg.md", "medium: ink")
    wren.put("Grey.corners.txt", "photo: boats/Grey.jpg\ncorners: 2,2 80,3 81,50 1,52\n")
    wren.put("IMG_2.txt", "title: Thrift")
    wren.run()
    assert [line for line in outlook(wren.settings) if "speaks of no photo" in line] == [
        "IMG_2.txt: speaks of no photo, because none beside it is called so"
    ]
    (wren.inbox / "IMG_2.txt").unlink()
    assert list(outlook(wren.settings)) == []
    (wren.inbox / "boats" / "Grey.jpg").rename(wren.inbox / "boats" / "Grey Boat.jpg")
    left = [
        f"{note}: speaks of boats/Grey Boat.jpg, which was called boats/Grey.jpg"
        for note in ("Grey.corners.txt", "boats/Grey.jpg.md", "boats/Grey.txt")
    ]
    # Also before the service has seen it: nobody should throw away a note because it is said to speak of nothing.
    assert sorted(outlook(wren.settings)) == sorted([*left, "boats/Grey.jpg: followed to boats/Grey Boat.jpg"])
    wren.put("boats/Grey.jpg", photo(3))  # another photo under the old name
    coming = [line for line in outlook(wren.settings) if "looked at" in line or "followed" in line]
    assert coming == [
        "boats/Grey.jpg: followed to boats/Grey Boat.jpg",
        "boats/Grey.jpg: looked at, because it is new or has changed",
    ]
    (wren.inbox / "boats" / "Grey.jpg").unlink()
    wren.run()
    assert sorted(outlook(wren.settings)) == left
