"""Layouts, grounds, bleed, the mark, and pixels that stay where they belong."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from autoprep.correction.sharpening import sharpen
from autoprep.domain import CorrectionPlan, Declined, Geometry, PhotoFacts, Sharpening, Tone, WorkFacts
from autoprep.files.icc import srgb_tables
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray, Float32, UInt8
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import linear_to_code, srgb_to_linear
from autoprep.job.delivery import frame_of
from autoprep.pixels import Photo
from autoprep.rendering.layout import Frame, lay_out, work_pixels
from autoprep.rendering.legible import contrast_ratio
from autoprep.rendering.mark import MarkStyle, missing_glyphs, place_and_draw
from autoprep.rendering.render import Look, Rendition, Shown, as_rows, is_shown_alone, render
from autoprep.wishes.destinations import Preset

FONT = Path(__file__).parents[2] / "autoprep" / "fonts" / "DejaVuSans.ttf"
NO = Declined(reason="nothing to do in this test")


def plan_for(width: int, height: int) -> CorrectionPlan:
    w, h = float(width), float(height)
    geometry = Geometry(
        photo_px=(width, height),
        corners_px=((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),
        ratio=w / h,
        ratio_from="whole photo",
    )
    return CorrectionPlan(
        geometry=geometry, kind="painting", paper="none", light=NO, neutral=NO, tone=Tone(), sharpening=Sharpening()
    )


def photo_of(codes: UInt8) -> Photo:
    return Photo(codes, PhotoFacts("png", codes.shape[1], codes.shape[0]), srgb_tables(256))


def rendered(codes: UInt8, frame: Frame, look: Look | None = None) -> Rendition:
    plan = plan_for(codes.shape[1], codes.shape[0])
    layout = lay_out(frame, plan)
    return render(photo_of(codes), plan, layout, look or Look(), lambda strip, x, y: strip, lambda strip: strip)


def picture(width: int, height: int) -> UInt8:
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([x * 255 // width, y * 255 // height, (x + y) % 256 // 2], axis=-1).astype(np.uint8)


def test_full_size_changes_nothing() -> None:
    codes = picture(301, 201)
    out = rendered(codes, Frame())
    assert out.pixels.shape == codes.shape
    assert np.abs(out.pixels.astype(int) - codes).max() <= 1


def test_a_square_holds_the_whole_work_on_its_ground() -> None:
    codes = np.full((300, 600, 3), 40, np.uint8)
    out = rendered(codes, Frame(size_px=(400, 400), margin_percent=5), Look(ground=(0.9, 0.9, 0.9))).pixels
    assert out.shape == (400, 400, 3)
    dark = np.asarray((out < 60).all(-1))
    assert dark.any(axis=0).sum() == 360  # 5 % margins left and right
    assert dark.any(axis=1).sum() == 180
    assert (out[:100] == round(0.9 * 255)).all()


def test_fill_crops_and_calls_it_a_detail() -> None:
    codes = picture(600, 300)
    plan = plan_for(600, 300)
    layout = lay_out(Frame(size_px=(200, 200), fit="fill"), plan)
    assert any("detail" in note for note in layout.notes)
    out = rendered(codes, Frame(size_px=(200, 200), fit="fill")).pixels
    middle = codes[150, 300].astype(int)
    assert np.abs(out[100, 100].astype(int) - middle).max() <= 3
    assert (out[..., 0].max() - out[..., 0].min()) < 140  # the sides are cut away


def test_a4_with_bleed_has_the_pixels_of_iso_216() -> None:
    frame = Frame(size_mm=(210, 297), ppi=300, bleed_mm=3)
    upright, lying = plan_for(3000, 4243), plan_for(4243, 3000)
    assert lay_out(frame, upright).canvas_px == (2551, 3579)
    assert lay_out(frame, lying).canvas_px == (3579, 2551)  # the sheet turns to suit the work
    left, top, right, bottom = lay_out(frame, upright).trim
    assert (right - left, bottom - top) == (2480, 3508)


def test_bleed_extends_outward_and_the_trim_keeps_every_pixel() -> None:
    codes = picture(210, 297)
    frame = Frame(size_mm=(210, 297), ppi=25.4, bleed_mm=3)
    layout = lay_out(frame, plan_for(210, 297))
    out = rendered(codes, frame).pixels
    assert out.shape == (303, 216, 3)
    left, top, right, bottom = layout.trim
    assert np.abs(out[top:bottom, left:right].astype(int) - codes).max() <= 1
    assert np.abs(out[top:bottom, left - 1].astype(int) - out[top:bottom, left + 1]).max() == 0  # mirrored


def test_a_small_work_is_not_enlarged_in_silence() -> None:
    plan = plan_for(600, 850)
    layout = lay_out(Frame(size_mm=(210, 297), ppi=300, max_enlarge=1.0), plan)
    assert layout.enlarge == 1.0
    assert layout.work[2:] == (600, 850)
    assert any("beyond the limit" in note for note in layout.notes)
    assert any("300 ppi" in note for note in layout.notes)
    site = lay_out(Frame(long_side_px=2000), plan)
    assert site.canvas_px == (600, 850)
    assert "not enlarged" in site.notes[0]


def test_the_long_side_is_exact() -> None:
    assert max(lay_out(Frame(long_side_px=2000), plan_for(3001, 2111)).canvas_px) == 2000
    assert work_pixels(plan_for(300, 200)) == pytest.approx((300, 200))


@pytest.mark.parametrize("shrink", [1.0, 1.4, 2.3, 5.1])
def test_fine_hatching_does_not_alias(shrink: float) -> None:
    """A pattern too fine for the output must come out as its mean light, not as moiré."""
    width = 1200
    lines = (np.arange(width) % 2 * 255).astype(np.uint8)
    codes = np.repeat(np.repeat(lines[None, :, None], 3, axis=-1), 300, axis=0)
    out = rendered(codes, Frame(long_side_px=round(width / shrink))).pixels[20:-20, 20:-20].astype(float)
    if shrink >= 2:
        assert out.std() < 4
        assert out.mean() == pytest.approx(188, abs=4)  # linear mean 0.5 is sRGB 188


def test_the_mark_stands_in_the_ground_when_there_is_one() -> None:
    code = np.full((400, 600, 3), 0.91, np.float32)
    code[80:300, 60:540] = 0.3
    placed = place_and_draw(code, (60, 80, 540, 300), (0, 0, 600, 400), MarkStyle("© Wren Halloway", (FONT,), 3.0))
    assert placed is not None
    assert placed.in_ground
    assert placed.box[1] >= 300
    assert not placed.light
    assert (code[80:300, 60:540] == np.float32(0.3)).all()


@pytest.mark.parametrize(("level", "light"), [(0.95, False), (0.4, True), (0.05, True)])
def test_the_mark_is_light_or_dark_by_what_lies_under_it(level: float, light: bool) -> None:
    code = np.full((300, 500, 3), level, np.float32)
    placed = place_and_draw(code, (0, 0, 500, 300), (0, 0, 500, 300), MarkStyle("© Wren", (FONT,)))
    assert placed is not None
    assert placed.light == light
    assert placed.contrast >= 1.8


def test_the_mark_keeps_off_a_signature() -> None:
    code = np.full((600, 800, 3), 0.95, np.float32)
    rng = np.random.default_rng(2)
    code[560:590, 640:790] = rng.uniform(0, 0.9, (30, 150, 1))
    before: Float32 = code.copy()
    placed = place_and_draw(code, (0, 0, 800, 600), (0, 0, 800, 600), MarkStyle("© Wren Halloway", (FONT,), 3.0))
    assert placed is not None
    assert placed.corner != "bottom-right"
    assert (code[550:, 600:] == before[550:, 600:]).all()


def test_a_mark_that_does_not_fit_is_left_out_and_said() -> None:
    out = rendered(picture(40, 30), Frame(), Look(mark=MarkStyle("© Wren Halloway of Saltmere", (FONT,))))
    assert out.placed is None
    assert "no room" in out.notes[0]


def test_missing_glyphs_are_named() -> None:
    assert missing_glyphs("© Wren Ж é", FONT) == ""
    assert missing_glyphs("画 W", FONT) == "画"


@pytest.mark.parametrize(("one", "two", "ratio"), [(0x76, 0xFF, 4.5422), (0x77, 0xFF, 4.4781), (0x94, 0xFF, 3.0335)])
def test_contrast_ratio(one: int, two: int, ratio: float) -> None:
    """WCAG 2.2 relative luminance: the boundary pairs on white, computed from its formula."""
    from autoprep.imaging.transfer import srgb_to_linear

    levels = [float(srgb_to_linear(np.array(code / 255))) for code in (one, two)]
    assert contrast_ratio(*levels) == pytest.approx(ratio, abs=1e-3)


def test_sharpening_is_mild_and_leaves_flat_paper_alone() -> None:
    """Peak of the modulation transfer below 1.1 (FADGI 2016, 3 stars), measured on sine gratings of full contrast
    after a camera blur of 0.9 px; noise on flat paper is not lifted."""
    x = np.arange(512)
    how = Sharpening(radius_px=0.8, amount=0.42, threshold=0.012)
    gains = []
    for frequency in np.linspace(0.02, 0.5, 25):
        blur = np.exp(-2 * (np.pi * frequency * 0.9) ** 2)
        wave = 0.5 + 0.35 * blur * np.sin(2 * np.pi * frequency * x)
        code = np.repeat(np.repeat(wave[None, :, None], 3, axis=-1), 64, axis=0).astype(np.float32)
        out = sharpen(code, how)[32, 60:-60, 0]
        gains.append(float(out.std()) / (0.35 / np.sqrt(2)))
    assert max(gains) < 1.1
    flat = (0.95 + np.random.default_rng(0).normal(0, 0.002, (200, 200, 3))).astype(np.float32)
    assert sharpen(flat, how).std() < 1.05 * flat.std()


def test_strips_leave_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    """A finish that looks at its neighbours gives the same in many strips as in one."""
    codes = picture(120, 700)
    plan, frame = plan_for(120, 700), Frame()

    def finish(strip: Float32) -> Float32:
        return np.asarray(cv2.GaussianBlur(strip, (0, 0), 1.2), np.float32)

    def made(rows: int) -> AnyArray:
        strips = [(top, min(top + rows, 700)) for top in range(0, 700, rows)]
        monkeypatch.setattr("autoprep.rendering.render.strips", lambda _size: strips)
        return render(photo_of(codes), plan, lay_out(frame, plan), Look(bits=16), lambda s, x, y: s, finish).pixels

    whole = made(10_000).astype(int)
    for rows in (32, 50):
        # Only at the work's own edges may a border differ from itself.
        assert np.abs(made(rows).astype(int) - whole)[8:-8].max() <= 2


@pytest.mark.parametrize(("bleed_mm", "offset_mm"), [(3.0, 3.0), (2.0, 3.0), (4.0, 4.0)])
def test_crop_marks_stand_outside_the_bleed_and_show_the_trim(bleed_mm: float, offset_mm: float) -> None:
    """From 3 mm off the trim, or from where the bleed ends, 5 mm long (common practice, no source); 10 pixels a mm."""
    frame = Frame(size_mm=(60, 40), ppi=254, bleed_mm=bleed_mm, fit="fill", max_enlarge=9, crop_marks=True)
    pixels = rendered(np.full((400, 600, 3), 90, np.uint8), frame).pixels.astype(int)[..., 1]
    edge = round(10 * (offset_mm + 5))
    assert pixels.shape == (400 + 2 * edge, 600 + 2 * edge)
    slug = edge - round(10 * bleed_mm)
    inside = pixels[slug:-slug, slug:-slug]
    assert (abs(inside - 90) <= 1).all()  # the bleed is the picture's to its last pixel
    around = pixels.copy()
    around[slug:-slug, slug:-slug] = 255
    marks = {(int(y), int(x)) for y, x in np.argwhere(around == 0)}
    rows, columns = (edge - 1, edge + 400), (edge - 1, edge + 600)  # the first pixels that are cut off
    far_y, far_x = range(pixels.shape[0] - 50, pixels.shape[0]), range(pixels.shape[1] - 50, pixels.shape[1])
    wanted = {(y, x) for y in (*range(50), *far_y) for x in columns}
    wanted |= {(y, x) for y in rows for x in (*range(50), *far_x)}
    assert marks == wanted
    assert set(np.unique(around)) == {0, 255}


_LIGHT = np.linspace(0, 1, 20_001) ** 3


@pytest.mark.parametrize(
    ("name", "bits", "most"), [("prophoto", 16, 0.05), ("eci-rgb", 16, 0.05), ("display-p3", 8, 0.5)]
)
def test_a_wide_gamut_photo_keeps_its_colours(name: str, bits: int, most: float) -> None:
    """Reds and oranges of a phone's Display P3, whole photo, as shot: CIEDE2000 against the codes themselves."""
    p3, space = SPACES["display-p3"], SPACES[name]
    codes = np.array(
        [(240, 45, 30), (255, 120, 0), (250, 60, 120), (0, 255, 0), (30, 90, 250), (128, 128, 128)], np.uint8
    )
    picture = np.repeat(np.repeat(codes[None], 40, axis=0), 40, axis=1).reshape(40, 240, 3)
    to_srgb = np.linalg.inv(p3.from_srgb()).astype(np.float32)
    photo = Photo(picture, PhotoFacts("png", 240, 40), srgb_tables(256), to_srgb)
    plan = plan_for(240, 40)
    look = Look(matrix=space.from_srgb(), gamma=space.gamma, bits=bits)
    made = render(photo, plan, lay_out(Frame(), plan), look, lambda strip, _x, _y: strip, lambda code: code).pixels
    code = made[20, 20::40] / (65535.0 if bits == 16 else 255.0)
    linear = np.interp(code, linear_to_code(_LIGHT, space.gamma), _LIGHT)
    to_lab = np.linalg.inv(SPACES["srgb"].to_xyz_d50())
    found = lab_from_linear(linear @ (to_lab @ space.to_xyz_d50()).T, "D50")
    wanted = lab_from_linear(srgb_to_linear(codes / 255) @ (to_lab @ p3.to_xyz_d50()).T, "D50")
    inside = srgb_to_linear(codes / 255) @ (space.from_srgb() @ to_srgb).T
    held = ((inside > -1e-4) & (inside < 1 + 1e-4)).all(-1)
    assert held.sum() >= (4 if name == "eci-rgb" else 6)  # the archives' space lacks the strongest orange and green
    assert ciede2000(found, wanted)[held].max() < most


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize(
    ("frame", "look", "alone"),
    [
        (Frame(), Look(), True),
        (Frame(long_side_px=150), Look(matrix=SPACES["a98-rgb"].from_srgb(), gamma=SPACES["a98-rgb"].gamma), True),
        (Frame(size_px=(150, 150), fit="fill"), Look(), True),
        (Frame(size_px=(150, 150)), Look(), False),
        (Frame(size_mm=(15.0, 10.0), ppi=300, bleed_mm=2, crop_marks=True), Look(), False),
        (Frame(), Look(mark=MarkStyle("Wren Halloway 2026", (FONT,), 5.0, 0.6, "quiet", "auto", None)), False),
        (Frame(), Look(continued=True), False),
    ],
)
def test_what_shows_the_work_alone_is_the_same_while_it_is_made(
    frame: Frame, look: Look, alone: bool, bits: int
) -> None:
    codes, look = picture(301, 201), replace(look, bits=bits)
    plan = plan_for(301, 201)
    layout = lay_out(frame, plan)
    assert is_shown_alone(layout, look) is alone
    given = (photo_of(codes), plan, layout, look, lambda strip, x, y: strip, lambda strip: strip)
    shown, whole = Shown(*given), render(*given)
    rows = as_rows(shown, layout, look)
    strips = list(rows.strips)
    if alone:
        assert len(strips) == -(-layout.canvas_px[1] // 128)
        assert rows.shape == whole.pixels.shape
        assert rows.dtype == whole.pixels.dtype
        assert (np.concatenate(strips) == whole.pixels).all()
        assert shown.notes() == whole.notes


def test_colours_that_are_clipped_are_told_of_what_is_written_at_once() -> None:
    codes = np.full((301, 201, 3), (255, 0, 0), np.uint8)
    codes[150:] = 128
    plan = plan_for(201, 301)
    layout, look = lay_out(Frame(), plan), Look(matrix=np.linalg.inv(SPACES["prophoto"].from_srgb()).astype(np.float32))
    shown = Shown(photo_of(codes), plan, layout, look, lambda strip, x, y: strip, lambda strip: strip)
    assert shown.notes() == ()
    list(as_rows(shown, layout, look).strips)
    (said,) = shown.notes()
    assert 45 < float(said.split()[0]) < 55


@pytest.mark.parametrize(
    ("light", "told"),
    [((1.2, 1.2, 1.2), False), ((1.06, 1.03, 1.01), False), ((0.99, 0.5, 0.2), False),
     ((0.008, 0.0, -0.006), False), ((1.2, 0.4, 0.1), True), ((0.5, 0.4, -0.05), True)],
)  # fmt: skip
def test_white_that_is_lighter_than_white_is_no_colour_that_is_lost(
    light: tuple[float, float, float], told: bool
) -> None:
    """A grey photo has no colours that a space could not hold, however light it is."""
    made = render(
        photo_of(picture(120, 90)), plan_for(120, 90), lay_out(Frame(), plan_for(120, 90)), Look(),
        lambda strip, _x, _y: np.full_like(strip, light), lambda code: code,
    )  # fmt: skip
    assert any("can't hold" in note for note in made.notes) == told


@pytest.mark.parametrize("ink", [(0, 0, 0), (20, 20, 20), (0, 60, 200), (0, 90, 0), (190, 0, 0)])
@pytest.mark.parametrize("size_px", [(150, 100), (225, 150), (600, 400)], ids=["a third", "half", "enlarged"])
def test_at_the_edges_of_ink_no_colour_is_lost(ink: tuple[int, int, int], size_px: tuple[int, int]) -> None:
    """A filter swings beside an edge; but no code of such a photo lies outside."""
    codes = np.full((300, 450, 3), 255, np.uint8)
    codes[:, 200:260], codes[100:103], codes[:, 60:69] = ink, ink, ink
    codes[200:, 300::18] = codes[200:, 301::18] = codes[200:, 302::18] = ink
    made = rendered(codes, Frame(size_px=size_px, max_enlarge=3))
    assert made.notes == ()


@pytest.mark.parametrize(("level", "told"), [(255, True), (80, True), (0, False)])
def test_greens_of_a_wide_photo_are_lost_in_a_narrow_space_however_dark(level: int, told: bool) -> None:
    codes = np.full((300, 450, 3), 255, np.uint8)
    codes[:, 150:300] = 0, level, 0
    to_srgb = np.linalg.inv(SPACES["display-p3"].from_srgb()).astype(np.float32)
    photo, plan = Photo(codes, PhotoFacts("png", 450, 300), srgb_tables(256), to_srgb), plan_for(450, 300)
    layout = lay_out(Frame(long_side_px=200), plan)
    made = render(photo, plan, layout, Look(), lambda strip, _x, _y: strip, lambda code: code)
    shares = [float(note.split()[0]) for note in made.notes]
    assert shares == ([pytest.approx(33.3, abs=1.5)] if told else [])


@pytest.mark.parametrize(("fit", "ppi", "margin"), [("whole", 100, 0.75), ("whole", 300, 0.75), ("fill", 100, 0.0)])
def test_a_margin_goes_around_the_works_own_size_and_takes_nothing_of_it(fit: str, ppi: int, margin: float) -> None:
    preset = Preset(size="work", ppi=ppi, margin_percent=10.0, fit=fit)  # type: ignore[arg-type]
    plan = plan_for(1280, 1000)
    layout = lay_out(frame_of(preset, plan, WorkFacts(size_mm=(195.072, 152.4))), plan)
    assert layout.ppi == min(ppi, 1280 // 7.68)  # all the pixels that there are
    # 7.68 x 6 inches; a tenth of the sheet's shorter side, 7.5 inches, at each edge of it.
    assert [side / layout.ppi for side in layout.work[2:]] == pytest.approx([7.68, 6.0], abs=1.6 / layout.ppi)
    inches = [7.68 + 2 * margin, 6.0 + 2 * margin]
    assert [side / layout.ppi for side in layout.canvas_px] == pytest.approx(inches, abs=1 / layout.ppi)


_TIMES = "it was enlarged {} times"


@pytest.mark.parametrize(
    ("frame", "share", "said"),
    [
        (Frame(size_px=(2000, 4000), max_enlarge=1.5), 0.25, "beyond the limit of 1.5"),
        (Frame(size_px=(2000, 4000), max_enlarge=20), 0.25, ""),
        (Frame(size_px=(2000, 4000), max_enlarge=20, margin_percent=10), 0.3125, ""),
        (Frame(size_px=(2000, 4000), fit="fill"), 0.25, "4.00 times to fill"),
        (Frame(size_mm=(508, 1016), ppi=100, max_enlarge=1.5), 0.25, "beyond the limit of 1.5"),
        (Frame(size_mm=(508, 1016), ppi=100, max_enlarge=1.5, true_size=True), 0.25, "enlarged to 37"),
        (Frame(size_mm=(508, 1016), ppi=100, max_enlarge=20, true_size=True), 0.25, "largest print"),
        (Frame(long_side_px=4000), 0.25, "holds 1000 px along the work's long side; it was not enlarged to 4000"),
        (Frame(long_side_px=4000, max_enlarge=10), 0.25, f"long side; {_TIMES.format('4.00')} to 4000"),
        (Frame(long_side_px=4000, max_enlarge=2), 0.25, f"long side; {_TIMES.format('2.00')}, not to 4000"),
        (Frame(short_side_px=750, max_enlarge=2), 2 / 3, f"short side; {_TIMES.format('1.50')} to 750"),
        (Frame(long_side_px=800), 1.0, ""),
        (Frame(size_px=(200, 400)), 1.0, ""),
        (Frame(), 1.0, ""),
    ],
)
def test_the_share_of_a_size_is_that_of_the_photos_own_pixels(frame: Frame, share: float, said: str) -> None:
    layout = lay_out(frame, plan_for(500, 1000))
    assert layout.share == pytest.approx(share, abs=0.01)
    assert any(said in note for note in layout.notes) if said else layout.notes == ()


@pytest.mark.parametrize(
    ("frame", "canvas", "work"),
    [
        (Frame(long_side_px=600, margin_percent=10), (411, 600), (329, 518)),
        (Frame(short_side_px=500, margin_percent=10), (500, 730), (400, 630)),
        (Frame(margin_percent=10), (1000, 1460), (800, 1260)),
        (Frame(long_side_px=5000, margin_percent=10), (1000, 1460), (800, 1260)),
    ],
)
def test_a_margin_is_part_of_a_side_and_goes_around_the_full_size(
    frame: Frame, canvas: tuple[int, int], work: tuple[int, int]
) -> None:
    """In percent of the finished picture's shorter side, at all four edges, on the ground."""
    layout = lay_out(frame, plan_for(800, 1260))
    assert (layout.canvas_px, layout.work[2:]) == (canvas, work)
    assert [round(2 * at - (c - w)) for at, c, w in zip(layout.work, canvas, work, strict=False)] == [0, 0]
    look = Look(ground=(1.0, 1.0, 1.0))
    out = rendered(np.full((1260, 800, 3), 60, np.uint8), frame, look).pixels
    edge = layout.work[0]
    assert edge == pytest.approx(canvas[0] / 10, abs=1)
    assert (out[:edge] == 255).all()
    assert (out[:, -edge:] == 255).all()
    assert (out[edge + 2 : -edge - 2, edge + 2 : -edge - 2] < 70).all()


def test_the_mark_of_a_print_stands_inside_what_is_safe() -> None:
    """A cutter that is off by less than safe_mm takes nothing of it."""
    codes = np.full((800, 600, 3), 230, np.uint8)
    mark = MarkStyle("Wren Halloway 2026", (FONT,), 5.0, 0.6, "quiet", "auto", None)
    safe_px = round(8 / 25.4 * 150)
    for bleed_mm in (0.0, 3.0):
        frame = Frame(size_mm=(100.0, 133.3), ppi=150, safe_mm=8.0, bleed_mm=bleed_mm, fit="fill", max_enlarge=4)
        with_mark, without = (rendered(codes, frame, Look(mark=style)).pixels for style in (mark, None))
        rows, columns = np.nonzero((with_mark != without).any(axis=-1))
        x0, y0, x1, y1 = lay_out(frame, plan_for(600, 800)).trim
        assert rows.size
        assert rows.min() >= y0 + safe_px
        assert rows.max() < y1 - safe_px
        assert columns.min() >= x0 + safe_px
        assert columns.max() < x1 - safe_px
