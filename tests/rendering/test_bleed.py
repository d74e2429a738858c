"""What lies in the bleed: the work itself where it fills the sheet, paper where it ends in paper, else a mirror."""

import numpy as np
import pytest

from autoprep.domain import CorrectionPlan
from autoprep.imaging.arrays import UInt8
from autoprep.rendering.bleed import _is_bare
from autoprep.rendering.layout import Frame, Layout, lay_out
from autoprep.rendering.render import Look, Rendition, render
from tests.rendering.test_render import photo_of, plan_for

PAPER = (230, 226, 214)
MM = 8  # pixels
SHEET = (60.0, 40.0)


def made(codes: UInt8, frame: Frame, *, continued: bool = False) -> tuple[Rendition, Layout]:
    plan: CorrectionPlan = plan_for(codes.shape[1], codes.shape[0])
    layout = lay_out(frame, plan)
    look = Look(ground=tuple(v / 255 for v in PAPER), continued=continued)  # type: ignore[arg-type]
    return render(photo_of(codes), plan, layout, look, lambda strip, _x, _y: strip, lambda code: code), layout


def frame(**changes: object) -> Frame:
    return Frame(size_mm=SHEET, ppi=25.4 * MM, bleed_mm=3, max_enlarge=9, **changes)  # type: ignore[arg-type]


def ramp() -> UInt8:
    """A painting whose colour tells the place: red across, green down."""
    high, wide = round(SHEET[1] * MM), round(SHEET[0] * MM)
    down, across = np.mgrid[0:high, 0:wide]
    return np.dstack([across * 255 // wide, down * 255 // high, np.full_like(down, 90)]).astype(np.uint8)


def sheet() -> UInt8:
    grain = np.random.default_rng(2).normal(0, 2, (round(SHEET[1] * MM), round(SHEET[0] * MM), 1))
    return np.clip(np.array(PAPER) + grain, 0, 255).astype(np.uint8)


def test_a_painting_that_fills_the_sheet_has_its_own_pixels_in_the_bleed() -> None:
    """Nothing is made up: red goes on growing to the right, into the bleed and through it."""
    rendition, layout = made(ramp(), frame(fit="fill"))
    assert layout.canvas_px == (66 * MM, 46 * MM)
    row = rendition.pixels[layout.canvas_px[1] // 2, :, 0].astype(int)
    assert (np.diff(row) >= -1).all()
    assert row[2 * MM] < row[3 * MM] < row[4 * MM]
    assert row[-1] - row[-3 * MM] > 5
    column = rendition.pixels[:, layout.canvas_px[0] // 2, 1].astype(int)
    assert (np.diff(column) >= -1).all()
    assert column[-1] - column[-3 * MM] > 5
    assert "bleed: the work's own pixels reach into it, so 3 mm of the work are cut off at each edge" in layout.notes
    assert not any("mirrored" in note for note in rendition.notes)


@pytest.mark.parametrize("changes", [{}, {"fit": "fill", "into_bleed": False}])
def test_a_painting_that_must_keep_its_edge_is_mirrored_and_that_is_said(changes: dict[str, object]) -> None:
    rendition, layout = made(ramp(), frame(**changes), continued=True)
    left, top, right, bottom = layout.trim
    assert layout.shown == layout.trim
    assert (rendition.pixels[top:bottom, left - 5] == rendition.pixels[top:bottom, left + 5]).all()
    assert (rendition.pixels[bottom + 4, left:right] == rendition.pixels[bottom - 6, left:right]).all()
    assert rendition.notes == ("bleed (top, right, bottom, left): the work's own edge is mirrored there; look at it",)


def test_paper_goes_on_and_what_is_drawn_to_the_edge_is_mirrored() -> None:
    page = sheet()
    page[: page.shape[0] // 2, 100:103] = 40  # a line of pen that leaves the sheet at the top
    page[150:170, 200:240] = (160, 60, 60)
    page[200:203, -30:-10] = 40  # a stroke that comes near the right edge, and would stand in its mirror
    rendition, layout = made(page, frame(), continued=True)
    left, top, _, _ = layout.trim
    assert set(rendition.notes) == {
        "bleed (bottom, left): the work's paper goes on",
        "bleed (top, right): the work's own edge is mirrored there; look at it",
    }
    assert (rendition.pixels[2:top, left + 101] < 80).all()
    beside = (rendition.pixels[top:, :left], rendition.pixels[-20:, left:-left])
    around = np.concatenate([part.reshape(-1, 3) for part in beside])
    assert np.abs(around.astype(int) - PAPER).max() < 25
    assert around.std(axis=0).min() > 0.5  # with its grain


def test_a_work_inside_the_sheet_has_nothing_to_do_with_its_bleed() -> None:
    rendition, _ = made(ramp(), frame(margin_percent=10))
    assert rendition.notes == ()
    assert np.abs(rendition.pixels[: 3 * MM].astype(int) - PAPER).max() <= 1


@pytest.mark.parametrize("side", range(4))
def test_paper_whose_light_falls_off_towards_its_edge_is_paper(side: int) -> None:
    """What lies beyond is as light as the edge, not as the paper further in: each row is held against its mirror."""
    room, tones = 24, np.arange(200)
    from_edge = np.minimum(np.abs(tones - room), 40)  # grows on both sides of an edge 24 pixels in
    canvas = np.repeat((180 + from_edge).astype(np.uint8)[:, None, None], 200, axis=1).repeat(3, axis=2)
    canvas = np.ascontiguousarray(np.rot90(canvas, -side))
    shown = [0, 0, 200, 200]
    shown[(1, 2, 3, 0)[side]] += room * (1 if side in (0, 3) else -1)
    assert _is_bare(canvas, (shown[0], shown[1], shown[2], shown[3]), side, room)


@pytest.mark.parametrize(("dot_px", "bare"), [(0, True), (1, True), (3, False)], ids=["nothing", "dust", "a pen's dot"])
def test_a_speck_of_dust_beside_an_edge_is_paper_and_a_dot_of_ink_is_not(dot_px: int, bare: bool) -> None:
    """A dot of three pixels shows in the means at one place in sixty of this strip, a speck of one at none."""
    canvas = np.full((224, 200, 3), 220, np.uint8)
    canvas[36 : 36 + dot_px, 90 : 90 + dot_px] = 20
    assert _is_bare(canvas, (0, 24, 200, 224), 0, 24) == bare


@pytest.mark.parametrize("side", range(4))
def test_a_work_narrower_than_its_bleed_is_mirrored(side: int) -> None:
    """There is too little of it to compare with what was made beyond it."""
    canvas = np.full((70, 70, 3), 240, np.uint8)
    shown = (30, 30, 40, 40)
    assert not _is_bare(canvas, shown, side, 20)
    assert _is_bare(canvas, shown, side, 10)
