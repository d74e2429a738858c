"""Reference shots in the inbox: never rendered, told of, and used for the works of their folder."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import piexif
import pytest
from PIL import Image

from autoprep.correction.chart import PATCHES
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import float32
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.job.orders import AgainOrder
from autoprep.job.orders import JobOrder as Order
from autoprep.job.reference_shots import BESIDE, with_references
from autoprep.ledger import Change, Ledger
from autoprep.service.late_light import LateLight
from autoprep.told.done import reasons
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once

pytestmark = pytest.mark.usefixtures("looked_at_once")

LIGHT = (1.0, 0.86, 0.66)


def jpeg(linear: np.ndarray, taken: str = "2025:06:14 10:11:12") -> bytes:
    out = io.BytesIO()
    exif = piexif.dump({"Exif": {piexif.ExifIFD.DateTimeOriginal: taken.encode()}})
    Image.fromarray(quantise8(encode_fast(linear.astype(np.float32)))).save(out, "JPEG", quality=92, exif=exif)
    return out.getvalue()


def card() -> np.ndarray:
    grain = 1 + np.random.default_rng(1).normal(0, 0.01, (450, 600, 1))
    return np.asarray(0.18 * float32(LIGHT) * grain, np.float32)


def painting() -> bytes:
    """A patterned picture without any paper, in the same warm light."""
    rng = np.random.default_rng(5)
    pixels = np.asarray(photos.sheet(5), np.float32) * 0 + 12
    top, left, bottom, right = 140, 230, 760, 1000
    cells = rng.uniform(60, 190, (31, 38, 3)).repeat(20, axis=0).repeat(20, axis=1)
    pixels[top:bottom, left : left + 760] = cells[: bottom - top, : right - left]
    out = io.BytesIO()
    Image.fromarray(pixels.astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


def put(settings: Settings, place: str, data: bytes) -> Path:
    path = settings.folders.inbox / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def test_a_grey_card_in_the_folder_tells_the_light(studio: Settings) -> None:
    put(studio, "as painting/light reference/IMG_1.jpg", jpeg(card()))
    put(studio, "as painting/IMG_2.jpg", painting())
    records = run_once(studio)
    reference = records["as painting/light reference/IMG_1.jpg"]
    assert reference.outcome == "reference"
    assert "the colour of the light" in reference.reasons[0]
    assert not reference.outputs
    work = records["as painting/IMG_2.jpg"]
    assert work.outcome == "ready"
    assert work.plan is not None
    assert work.plan.reference == "IMG_1.jpg"
    gain = np.array(work.plan.neutral.gain)  # type: ignore[union-attr]
    assert gain * LIGHT / (gain[1] * LIGHT[1]) == pytest.approx(np.ones(3), abs=0.03)
    assert any("IMG_1.jpg" in reason for reason in work.reasons)
    assert len(list((studio.folders.ready / "square").glob("*"))) == 1


def test_a_grey_card_that_comes_later_tells_the_light_of_what_is_made(studio: Settings) -> None:
    put(studio, "as painting/IMG_2.jpg", painting())
    before = run_once(studio)["as painting/IMG_2.jpg"]
    assert before.plan is not None
    assert not before.plan.reference
    put(studio, "as painting/light reference/IMG_1.jpg", jpeg(card()))
    after = run_once(studio)["as painting/IMG_2.jpg"]
    assert after.plan is not None
    assert after.plan.reference == "IMG_1.jpg"
    assert [output.destination for output in after.outputs] == [output.destination for output in before.outputs]
    assert {output.sha256 for output in after.outputs}.isdisjoint(output.sha256 for output in before.outputs)
    assert len(list((studio.folders.ready / "square").glob("*"))) == 1
    assert run_once(studio)["as painting/IMG_2.jpg"] == after, "once is enough"


@pytest.mark.parametrize(
    ("shot", "taken"),
    [("grey card.jpg", "2025:06:13 10:11:12"), ("other/grey card.jpg", "2025:06:14 10:11:12")],
    ids=["of another day", "of another folder"],
)
def test_a_card_that_comes_later_leaves_alone_what_it_says_nothing_of(studio: Settings, shot: str, taken: str) -> None:
    put(studio, "Reeds.jpg", photos.jpeg())
    before = run_once(studio)["Reeds.jpg"]
    put(studio, shot, jpeg(card(), taken))
    records = run_once(studio)
    assert "the colour of the light" in records[shot].tells
    assert records["Reeds.jpg"] == before


def test_a_card_that_comes_later_leaves_alone_what_is_shown_as_shot(studio: Settings) -> None:
    put(studio, "Reeds.jpg", photos.jpeg())
    put(studio, "Reeds.txt", b"as shot")
    before = run_once(studio)["Reeds.jpg"]
    assert before.work.as_shot
    put(studio, "grey card.jpg", jpeg(card()))
    records = run_once(studio)
    assert "the colour of the light" in records["grey card.jpg"].tells
    assert records["Reeds.jpg"] == before


def test_a_shot_that_is_not_used_is_looked_at_once_and_never_again(studio: Settings) -> None:
    """Of a shot that comes later, and in whose stead another one is used all the same."""
    put(studio, "grey card 2.jpg", jpeg(card()))
    put(studio, "as painting/Reeds.jpg", painting())
    before = run_once(studio)["as painting/Reeds.jpg"]
    put(studio, "grey card.jpg", jpeg(card() * 0.9, "2025:06:14 11:41:12"))
    records = run_once(studio)
    assert "the colour of the light" in records["grey card.jpg"].tells
    after = records["as painting/Reeds.jpg"]
    assert before.plan is not None
    assert after.plan is not None
    assert after.plan.told_by.colour == before.plan.told_by.colour == "grey card 2.jpg"
    for _ in range(2):
        put(studio, "as painting/Reeds.txt", b"keywords: sea")  # at other words too
        assert run_once(studio)["as painting/Reeds.jpg"].plan == after.plan
    log = (studio.folders.records / "log.jsonl").read_text(encoding="utf-8")
    assert log.count("grey card.jpg tells its light") == 1


def test_what_can_not_serve_changes_nothing(studio: Settings) -> None:
    put(studio, "Reeds.jpg", photos.jpeg())
    before = run_once(studio)["Reeds.jpg"]
    put(studio, "colour chart.jpg", painting())
    records = run_once(studio)
    assert records["colour chart.jpg"].tells == ()
    assert records["Reeds.jpg"] == before


def test_a_reference_from_another_day_is_not_used(studio: Settings) -> None:
    put(studio, "grey card.jpg", jpeg(card(), "2025:06:13 10:11:12"))
    put(studio, "Reeds.jpg", photos.jpeg())
    records = run_once(studio)
    assert records["grey card.jpg"].outcome == "reference"
    assert any("another time" in reason for reason in records["Reeds.jpg"].reasons)
    assert records["Reeds.jpg"].outcome == "ready"


def test_a_photo_that_is_no_reference_is_told(studio: Settings) -> None:
    put(studio, "colour chart.jpg", photos.jpeg())
    record = run_once(studio)["colour chart.jpg"]
    assert record.outcome == "reference"
    assert "can't serve: no colour chart" in record.reasons[0]
    assert not record.outputs


def test_a_work_that_was_taken_for_a_reference_is_made_under_another_name(studio: Settings) -> None:
    path = put(studio, "white board.jpg", photos.jpeg())
    assert run_once(studio)["white board.jpg"].outcome == "reference"
    path.rename(path.with_name("The white board.jpg"))
    record = run_once(studio)["The white board.jpg"]
    assert record.outcome == "ready"
    assert (studio.folders.ready / "square" / "The white board.jpg").is_file()


def board(taken: str = "2025:06:14 10:11:12") -> bytes:
    """A plain board in the work's place, in light that falls off from left to right."""
    fall = np.linspace(1.0, 0.5, 600, dtype=np.float32)[None, :, None]
    return jpeg(card() / 0.18 * 0.6 * fall, taken)


@pytest.mark.parametrize("beside", [None, "grey card", "chart"], ids=str)
def test_the_light_over_the_frame_is_told_by_a_board_whatever_lies_beside_the_work(
    tmp_path: Path, beside: str | None
) -> None:
    height, width = 900, 1200
    linear = np.full((height, width, 3), 0.07, np.float32)
    painted = np.random.default_rng(5).uniform(0.05, 0.5, (17, 18, 3)).repeat(40, axis=0).repeat(40, axis=1)
    linear[110:790, 90:810] = painted
    if beside == "grey card":
        linear[300:525, 920:1100] = 0.18
    if beside == "chart":
        for k in range(24):
            row, column = 270 + k % 6 * 48, 900 + k // 6 * 48
            linear[row - 8 : row + 46, column - 8 : column + 46] = 0.02
        for k, patch in enumerate(PATCHES):
            row, column = 270 + k % 6 * 48, 900 + (3 - k // 6) * 48
            linear[row : row + 38, column : column + 38] = np.clip(patch, 0, 1) * 0.8
    grain = np.random.default_rng(1).normal(0, 0.002, linear.shape)
    shot, other = tmp_path / "blank board.jpg", tmp_path / "grey card.jpg"
    shot.write_bytes(board())
    other.write_bytes(jpeg(card()))
    photo = read_photo(jpeg(np.clip(linear + grain, 0, 1)))
    outline = Outline(corners_px=((90, 110), (810, 110), (810, 790), (90, 790)), confidence=1.0)
    seen = with_references(photo, outline, beside == "grey card", ((shot, "blank board"), (other, "grey card")))
    assert (seen.chart is not None) == (beside == "chart")
    assert seen.reference is not None
    assert seen.reference.light is not None
    assert seen.reference.told_by.light == "blank board.jpg"
    assert seen.reference.told_by.colour == {"grey card": BESIDE, "chart": "", None: "grey card.jpg"}[beside]
    assert (seen.reference.gain is None) == (beside == "chart")
    wishes = Wishes(kind="painting")
    plan, _, measures = make_plan(seen.photo, outline, wishes, seen.chart, seen.reference, seen.absolute)
    assert not isinstance(plan.light, Declined)
    said = " ".join(reasons(plan, photo.facts, measures))
    assert "was evened as blank board.jpg tells it" in said
    assert ("lies beside the work" in said) == (beside == "chart")
    assert ("taken from the grey card beside the work;" in said) == (beside == "grey card")


def test_what_was_to_be_looked_at_again_is_after_a_restart_once(studio: Settings) -> None:
    put(studio, "Reeds.jpg", photos.jpeg())
    put(studio, "other/grey card.jpg", jpeg(card()))
    records = run_once(studio)
    ledger = Ledger(ledger_path(studio))
    job = records["Reeds.jpg"].job
    ledger.apply([Change(records["other/grey card.jpg"], serves=(job,))])  # as a crash right after it leaves the ledger
    view = ledger.view(job)
    assert view is not None
    assert view.light == "grey card.jpg"
    ledger.close()
    again = run_once(studio)["Reeds.jpg"]
    ledger = Ledger(ledger_path(studio))
    view = ledger.view(job)
    assert view is not None
    assert not view.light, "only who measures it takes that back"
    ledger.close()
    assert run_once(studio)["Reeds.jpg"] == again


def test_a_shot_that_comes_while_a_work_is_measured_is_heard_unless_it_was_there_already(studio: Settings) -> None:
    """A work that was begun without the shot keeps its word; one that was begun with it does not."""
    put(studio, "Reeds.jpg", photos.jpeg())
    record = run_once(studio)["Reeds.jpg"]
    ledger = Ledger(ledger_path(studio))
    late, before = LateLight(ledger), ledger.get(record.job)
    assert before is not None
    order = Order(before.job, before.shown, before.sha256, b"", studio, {}, studio.studio, studio.studio)
    late.ordered(before)
    lit = replace(before, light="grey card.jpg")
    assert late.heard(order, lit) == {}
    late.ordered(before)
    offered = replace(order, references=((studio.folders.inbox / "grey card.jpg", "grey card"),))
    assert late.heard(offered, lit) == {"light": ""}
    late.ordered(lit)
    assert late.heard(order, lit) == {"light": ""}
    assert late.heard(AgainOrder(**vars(order), earlier=record), lit) == {}
    ledger.close()


def test_a_shot_serves_works_that_are_being_measured(studio: Settings) -> None:
    put(studio, "Reeds.jpg", photos.jpeg())
    put(studio, "grey card.jpg", jpeg(card()))
    records = run_once(studio)
    ledger = Ledger(ledger_path(studio))
    work, shot = (ledger.view(records[name].job) for name in ("Reeds.jpg", "grey card.jpg"))
    assert work is not None
    assert shot is not None
    late = LateLight(ledger)
    change = Change(records["grey card.jpg"])
    assert late.told(change, shot, studio.folders.inbox).serves == (), "it was there already"
    ledger.start(work.job)
    assert late.told(change, shot, studio.folders.inbox).serves == (work.job,)
    assert late.news() == {work.job}
    assert late.news() == set()
    ledger.close()
