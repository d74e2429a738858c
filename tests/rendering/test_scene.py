"""The work on its desk: how much is shown, that nothing is cut, and that the calming keeps to its bounds."""

import numpy as np
import pytest

from autoprep.domain import CorrectionPlan, Geometry, Sharpening, Tone
from autoprep.imaging.arrays import Float32, UInt8
from autoprep.imaging.colour import luminance
from autoprep.rendering import scene
from autoprep.rendering.layout import Frame, lay_out, least_ppi
from autoprep.rendering.render import Look, _desk_runs_on, render
from tests.rendering.test_render import NO, photo_of, picture


def plan(corners: list[tuple[float, float]], ratio: float, photo_px: tuple[int, int] = (800, 600)) -> CorrectionPlan:
    geometry = Geometry(photo_px=photo_px, corners_px=tuple(corners), ratio=ratio, ratio_from="known size")  # type: ignore[arg-type]
    return CorrectionPlan(
        geometry=geometry, kind="painting", paper="none", light=NO, neutral=NO, tone=Tone(), sharpening=Sharpening()
    )


STRAIGHT = plan([(200, 150), (600, 150), (600, 450), (200, 450)], 4 / 3)
OBLIQUE = plan([(220, 160), (590, 140), (630, 470), (190, 450)], 4 / 3)


def test_all_of_a_straight_photo_is_shown() -> None:
    assert scene.around(STRAIGHT, (400, 300)) == pytest.approx((-200, -150, 600, 450), abs=6)


def test_a_desk_whose_horizon_is_in_the_photo_is_shown_as_far_as_it_is_seen() -> None:
    """A very wide lens, held flat: beyond the horizon of the table's plane nothing lies on it."""
    focal, far = 300.0, np.radians(60)
    turn = np.array([[1, 0, 0], [0, np.cos(far), -np.sin(far)], [0, np.sin(far), np.cos(far)]])
    flat = np.array([[-1, -0.7, 0], [1, -0.7, 0], [1, 0.7, 0], [-1, 0.7, 0]]) @ turn.T + [0, 0.9, 3.4]
    corners = [(float(x / z * focal + 400), float(y / z * focal + 300)) for x, y, z in flat]
    x0, y0, x1, y1 = scene.around(plan(corners, 1 / 0.7), (400, 280))
    assert x0 < -20
    assert x1 > 420
    assert y1 > 300
    assert y0 < -20


@pytest.mark.parametrize("found", [STRAIGHT, OBLIQUE], ids=["straight", "oblique"])
@pytest.mark.parametrize("size", [(400, 400), (300, 700), (900, 300)])
def test_nothing_is_cut_from_the_work_and_nothing_is_beyond_the_photo(
    found: CorrectionPlan, size: tuple[int, int]
) -> None:
    layout = lay_out(Frame(size_px=size, scene=True, max_enlarge=3), found)
    x, y, width, height = layout.work
    assert layout.scene is not None
    x0, y0, x1, y1 = layout.shown
    assert x0 <= x
    assert y0 <= y
    assert x + width <= x1
    assert y + height <= y1
    assert width / height == pytest.approx(4 / 3, rel=0.02)
    assert any("desk" in note for note in layout.notes)


def test_where_the_desk_ends_its_tone_runs_on_and_the_record_says_how_much() -> None:
    """A picture that is far taller than the photo: no flat grey beside a desk of wood."""
    codes = picture(800, 600)
    codes[:130], codes[470:] = (120, 90, 60), (140, 110, 80)  # the desk above and below the work
    layout = lay_out(Frame(size_px=(300, 900), scene=True, max_enlarge=3), STRAIGHT)
    out = render(photo_of(codes), STRAIGHT, layout, Look(), lambda strip, x, y: strip, lambda strip: strip)
    _, y0, _, y1 = layout.shown
    assert y0 > 100
    above, below = (np.unique(part.reshape(-1, 3), axis=0) for part in (out.pixels[:y0], out.pixels[y1:]))
    assert len(above) == len(below) == 1
    assert (above == below).all()
    rims = np.concatenate([out.pixels[y0 : y0 + 4].reshape(-1, 3), out.pixels[y1 - 4 : y1].reshape(-1, 3)])
    assert np.abs(above[0] - rims.mean(axis=0)).max() < 6
    bare = 1 - (y1 - y0) / 900
    assert any(f"{bare:.0%} of the picture is the desk's tone" in note for note in layout.notes)
    full = lay_out(Frame(size_px=(400, 300), scene=True, max_enlarge=3), STRAIGHT)
    assert not any("desk's tone" in note for note in full.notes)


def test_a_work_that_touches_the_border_stays_whole() -> None:
    layout = lay_out(Frame(long_side_px=500, scene=True), plan([(0, 0), (800, 0), (800, 600), (0, 600)], 4 / 3))
    assert layout.work[:2] == (0, 0)
    assert layout.work[2:] == layout.canvas_px


def test_the_work_is_the_same_with_and_without_its_desk() -> None:
    codes = picture(800, 600)

    def shown(frame: Frame) -> tuple[np.ndarray, tuple[int, int, int, int]]:
        layout = lay_out(frame, STRAIGHT)
        out = render(photo_of(codes), STRAIGHT, layout, Look(), lambda strip, x, y: strip, lambda strip: strip)
        return out.pixels, layout.work

    alone, _ = shown(Frame())
    desk, (x, y, width, height) = shown(Frame(scene=True))
    inside = desk[y + 3 : y + height - 3, x + 3 : x + width - 3].astype(int)
    assert np.abs(inside - alone[3:-3, 3:-3]).max() <= 2


def test_the_calming_keeps_to_its_bounds() -> None:
    rng = np.random.default_rng(1)
    small: Float32 = (0.05 + 0.6 * rng.random((60, 80, 3))).astype(np.float32)
    small[:, :40] *= 0.2  # one side of the desk is dark
    calm = scene.calm(small, (800, 600), (300, 200, 500, 400))
    most = 2**scene.MOST_STOPS
    assert calm.gain.max() <= most * 1.001
    assert calm.gain.min() >= 1 / most * 0.999
    assert calm.gain[:, :20].mean() > calm.gain[:, -20:].mean()
    strip: Float32 = np.tile(np.array([0.4, 0.2, 0.1], np.float32), (600, 800, 1))
    out = calm(strip, 0)
    assert np.array_equal(out[210:390, 310:490], strip[210:390, 310:490])
    before, after = strip[5, 5] - luminance(strip[5:6, 5:6])[0, 0], out[5, 5] - luminance(out[5:6, 5:6])[0, 0]
    assert np.abs(after).max() == pytest.approx(np.abs(before).max() * scene.COLOUR_KEPT * calm.gain[0, 0], rel=0.05)


def test_viewing_distance() -> None:
    """Acuity of one minute of arc: ppi = 3438 / distance in inches; 300 ppi goes with 11.46 in (29.1 cm)."""
    assert least_ppi(29.1) == pytest.approx(300, abs=0.5)
    assert least_ppi(36 * 2.54) == pytest.approx(95.5, abs=0.1)
    near = lay_out(Frame(size_mm=(100, 75), ppi=300, viewing_cm=20, max_enlarge=9), STRAIGHT)
    assert any("not enough" in note for note in near.notes)
    far = lay_out(Frame(size_mm=(100, 75), ppi=300, viewing_cm=200, max_enlarge=9), STRAIGHT)
    assert any(note.endswith("enough") for note in far.notes)


def test_cropping_to_fill_keeps_to_the_centre_of_interest() -> None:
    left = lay_out(Frame(size_px=(300, 300), fit="fill", focus=(0.25, 0.5)), STRAIGHT)
    right = lay_out(Frame(size_px=(300, 300), fit="fill", focus=(0.75, 0.5)), STRAIGHT)
    assert left.work[0] == 0
    assert right.work[0] == 300 - right.work[2]
    assert any("detail" in note for note in left.notes)


def test_the_shorter_side() -> None:
    layout = lay_out(Frame(short_side_px=150), STRAIGHT)
    assert min(layout.canvas_px) == 150
    limited = lay_out(Frame(short_side_px=3000), STRAIGHT)
    assert "not enlarged" in limited.notes[0]


def test_the_calming_lies_where_it_was_measured() -> None:
    """A cell of ten pixels has its own gain in its middle, between the fifth and the sixth."""
    gain = (0.8 + 0.03 * np.arange(6)[:, None] + 0.05 * np.arange(8)).astype(np.float32)
    calm = scene.Calm(gain, (80, 60), (-90, -90, -80, -80))
    grey: Float32 = np.full((60, 80, 3), 0.25, np.float32)
    out = calm(grey, 0)[..., 0] / 0.25
    middles = (out[4::10, 4::10] + out[5::10, 4::10] + out[4::10, 5::10] + out[5::10, 5::10]) / 4
    assert middles[1:-1, 1:-1] == pytest.approx(gain[1:-1, 1:-1], abs=0.003)
    strips = np.concatenate([calm(grey[top : top + 13], top)[..., 0] / 0.25 for top in range(0, 60, 13)])
    assert strips == pytest.approx(out, abs=2e-3)


def test_a_desk_that_is_lighter_on_one_side_runs_on_in_the_mean_of_both() -> None:
    canvas = np.full((300, 100, 3), 7, np.uint8)
    canvas[100:150], canvas[150:200] = 40, 200
    _desk_runs_on(canvas, (0, 100, 100, 200), (40, 130, 20, 40))
    assert (canvas[:100] == 120).all()
    assert (canvas[200:] == 120).all()


PAGE, WOOD, GROUND = 240, 60, 231


def page_on_wood(work: tuple[int, int, int, int], shown: tuple[int, int, int, int] = (0, 100, 200, 200)) -> UInt8:
    """(300, 200, 3) a white page, the work, on wood in the shown part; the rest is ground yet."""
    canvas = np.full((300, 200, 3), GROUND, np.uint8)
    canvas[shown[1] : shown[3], shown[0] : shown[2]] = WOOD
    canvas[max(0, work[1]) : work[1] + work[3], max(0, work[0]) : work[0] + work[2]] = PAGE
    _desk_runs_on(canvas, shown, work)
    return canvas


@pytest.mark.parametrize(
    ("work", "tone"),
    [
        ((0, 100, 180, 100), WOOD),  # desk on the right alone
        ((-9, 90, 189, 120), WOOD),  # the same, and the page goes on beyond the photo
        ((0, 120, 200, 80), WOOD),  # above alone
        ((0, 100, 200, 100), GROUND),  # it fills the photo
        ((0, 100, 198, 100), GROUND),  # no more than its shadow is seen
    ],
)
def test_the_work_is_no_desk_where_it_stands_at_the_border(work: tuple[int, int, int, int], tone: int) -> None:
    canvas = page_on_wood(work)
    assert (canvas[:100] == tone).all()
    assert (canvas[200:] == tone).all()


def test_other_sides_tell_the_tone_where_the_page_fills_those_that_run_on() -> None:
    rims = scene.desk_rims(
        (400, 100), (100, 0, 300, 100), (100, 20, 200, 60)
    )  # desk above and below, free at the sides
    assert sum((x1 - x0) * (y1 - y0) for boxes in rims for x0, y0, x1, y1 in boxes) == 2 * 3 * (18 + 18)
    above = scene.desk_rims((200, 300), (0, 100, 200, 200), (0, 140, 200, 20))
    assert above == [[(0, 100, 200, 103)], [(0, 197, 200, 200)]]
    beside = scene.desk_rims((200, 300), (0, 100, 200, 300), (0, 102, 120, 198))
    assert beside == [[(122, 100, 200, 106)]]  # but for the row of shadow
    others = scene.desk_rims((200, 300), (0, 100, 200, 300), (0, 98, 200, 100))  # which fills the side that runs on
    assert others == [[(0, 294, 200, 300)], [(0, 200, 6, 300)], [(194, 200, 200, 300)]]
    assert scene.desk_rims((200, 300), (0, 100, 200, 200), (0, 100, 200, 100)) == []


def test_a_page_that_fills_the_photo_stands_on_ground_and_the_record_says_so() -> None:
    whole = plan([(0, 0), (800, 0), (800, 600), (0, 600)], 4 / 3)
    layout = lay_out(Frame(size_px=(300, 900), scene=True, max_enlarge=3), whole)
    assert any(
        "shows nothing of the desk for this shape" in note and "is plain ground" in note for note in layout.notes
    )
    look = Look(ground=(GROUND / 255,) * 3)
    out = render(photo_of(picture(800, 600)), whole, layout, look, lambda strip, x, y: strip, lambda strip: strip)
    assert layout.shown[1] > 100
    assert (out.pixels[: layout.shown[1]] == GROUND).all()
