"""What a run says at its end: a line for each thing that wants a look."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from autoprep.domain import JobRecord, WorkFacts
from autoprep.imaging.arrays import UInt8
from autoprep.told.explanations import HOLD, NO_DESTINATION
from autoprep.told.summary import mark_notes, print_summary, warnings_of
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings


def said_of(studio: Settings, capsys: pytest.CaptureFixture[str], **more: object) -> list[str]:
    record = JobRecord(job="1", photo="Boat.jpg", sha256="", outcome="ready", **more)  # type: ignore[arg-type]
    print_summary(studio, [record])
    return [line for line in capsys.readouterr().out.splitlines() if line.startswith("  Boat.jpg")]


def test_words_that_were_not_understood_are_told_in_one_line(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = "“titel” is read as “title”", "a \x1b[1msize"
    assert said_of(studio, capsys) == []
    assert said_of(studio, capsys, work=WorkFacts(unclear=(one,))) == [f"  Boat.jpg: about your words: {one}"]
    (line,) = said_of(studio, capsys, work=WorkFacts(unclear=(two, one, one)))
    assert line.endswith("(and 2 more; `autoprep show` says them)")
    assert "\x1b" not in line


def test_destinations_that_wait_for_one_reason_share_a_line(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = said_of(studio, capsys, held={"square": HOLD, "print": "glare"}, failed={"site": HOLD})
    assert lines == [f"  Boat.jpg: square, site not given out: {HOLD}", "  Boat.jpg: print not given out: glare"]


def test_a_work_that_was_sent_nowhere_says_so_and_not_that_it_is_held(
    studio: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = f"{NO_DESTINATION} submision; the nearest is “submission”"
    said = WorkFacts(hold=True, unclear=("“titel” is read as “title”", nowhere))
    held = {"held": {"square": str(HOLD), "print": "glare"}, "held_kinds": {"square": "on hold", "print": "glare"}}
    assert said_of(studio, capsys, work=said, **held) == [
        f"  Boat.jpg: square not given out: {nowhere}", "  Boat.jpg: print not given out: glare",
        "  Boat.jpg: about your words: “titel” is read as “title”",
    ]  # fmt: skip
    mended = said.model_copy(update={"unclear": ()})  # a word of hold, and the old one gone
    assert said_of(studio, capsys, work=mended, **held)[0] == f"  Boat.jpg: square not given out: {HOLD}"


def test_a_day_of_checking_that_is_still_to_come_is_worth_a_second_look(studio: Settings) -> None:
    today = datetime.now(UTC).date()
    for days, told in ((0, False), (1, False), (3, True)):
        preset = Preset(long_side_px=90, checked=today + timedelta(days=days))
        notes = warnings_of(studio.model_copy(update={"destinations": {"call": preset}}))
        assert any("call: checked = " in note for note in notes) is told


def test_what_was_done_besides_is_told(studio: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    record = JobRecord(job="1", photo="Boat.jpg", sha256="", outcome="ready")
    for records, acts, said in (
        ([record], {"withdrawn": 2}, "Done: 1 ready, 2 withdrawn."),
        ([], {"brought back": 1, "told": 3}, "Done: 1 brought back, 3 with other words or another name."),
        ([], {}, "Done: nothing was waiting."),
    ):
        print_summary(studio, records, acts)
        assert capsys.readouterr().out.splitlines()[0] == said


def test_a_fit_without_a_shape_is_told_and_stops_no_studio(studio: Settings) -> None:
    """It was valid before there was anything that told of it."""
    sized = {"side": Preset(long_side_px=90, fit="fill"), "whole": Preset(full_size=True, fit="fill")}
    shaped = {"shape": Preset(width_px=90, height_px=60, fit="fill"), "plain": Preset(long_side_px=90)}
    notes = warnings_of(studio.model_copy(update={"destinations": {**sized, **shaped}}))
    assert [note.partition(":")[0] for note in notes if "no shape to fill" in note] == ["side", "whole"]


def test_a_destination_that_leads_out_of_the_studio_is_told(studio: Settings, tmp_path: Path) -> None:
    assert not [note for note in warnings_of(studio) if "is a link" in note]
    (tmp_path / "elsewhere").mkdir()
    folder = studio.folders.ready / "square"
    folder.rmdir()
    folder.symlink_to(tmp_path / "elsewhere")
    (note,) = (note for note in warnings_of(studio) if "is a link" in note)
    assert note == f"square: its folder {folder} is a link, so its pictures lie in {(tmp_path / 'elsewhere').resolve()}"


def test_a_picture_that_makes_no_mark_is_told(studio: Settings) -> None:
    def told(codes: UInt8, **of_mark: float) -> str:
        Image.fromarray(codes).save(studio.studio / "seal.png")
        mark = studio.mark.model_copy(update={"picture": "seal.png", **of_mark})
        return " ".join(mark_notes(studio.model_copy(update={"mark": mark, "destinations": {"site": site}})))

    site = Preset(long_side_px=1400)
    ring = np.zeros((60, 90, 4), np.uint8)
    ring[5:55, 5:85, 3] = 255
    ring[15:45, 15:75, 3] = 0
    assert told(ring) == ""
    assert told(ring * 0).startswith("mark.picture, seal.png, shows nothing")
    assert told(ring[:15]).startswith("mark.picture, seal.png, is a plain block")
    assert "seal.png, is 80 x 50 pixels, and is drawn 80 high" in told(ring, height_percent=8.0)
    site = Preset(width_mm=105, height_mm=148, ppi=600)
    assert "is drawn 124 high" in told(ring, height_percent=5.0)
    site = Preset(long_side_px=1400, mark=False)
    assert told(ring * 0) == ""
