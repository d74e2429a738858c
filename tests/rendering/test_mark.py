"""The visible mark: off signatures, inside the safe zone, the same corner for a series, readable, in any script."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, features

from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.transfer import code_to_linear, linear_to_code, srgb_to_linear
from autoprep.rendering.legible import DARK, LIGHT, Coding, Contrast, contrast_ratio
from autoprep.rendering.mark import (
    CORNERS,
    CornerChoice,
    MarkStyle,
    _heights,
    _runs,
    missing_glyphs,
    place_and_draw,
    text_mask,
)
from autoprep.wishes.places import font_path as _font_path
from tests.test_fonts import made_font
from tests.test_settings import studio

FONT = Path(__file__).parents[2] / "autoprep" / "fonts" / "DejaVuSans.ttf"
STYLE = MarkStyle("© Wren Halloway", (FONT,), 3.0, 0.5)
BOX = (0, 0, 900, 700)


def sheet(level: int = 242) -> UInt8:
    grain = np.random.default_rng(2).normal(0, 1.2, (700, 900, 1))
    return np.clip(np.full((700, 900, 3), level) + grain, 0, 255).astype(np.uint8)


def signed(canvas: UInt8, corner: str) -> UInt8:
    x = 640 if corner.endswith("right") else 30
    y = 670 if corner.startswith("bottom") else 40
    cv2.putText(canvas, "W. Halloway 26", (x, y), cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, 0.9, (40, 40, 45), 2, cv2.LINE_AA)
    return canvas


def test_the_usual_corner_where_nothing_is_in_the_way() -> None:
    placed = place_and_draw(sheet(), BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner == CORNERS[0]


@pytest.mark.parametrize("corner", CORNERS)
def test_it_never_covers_a_signature(corner: str) -> None:
    canvas = signed(sheet(), corner)
    before = canvas.copy()
    placed = place_and_draw(canvas, BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner != corner
    ink = (before < 150).all(-1)
    assert np.array_equal(canvas[ink], before[ink])


def test_a_series_keeps_its_corner_though_its_grounds_differ() -> None:
    corners = {
        placed.corner
        for level in (235, 242, 180, 120)
        if (placed := place_and_draw(sheet(level), BOX, BOX, STYLE)) is not None
    }
    assert corners == {CORNERS[0]}


def test_a_work_signed_in_all_corners_gets_it_between_them() -> None:
    canvas = sheet()
    for corner in CORNERS:
        signed(canvas, corner)
    placed = place_and_draw(canvas, BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner in ("bottom", "top")


def test_on_ruled_paper_it_stands_in_its_corner_unless_something_is_drawn_in_all_of_them() -> None:
    ruled = sheet()
    ruled[::24] = ruled[:, ::24] = (150, 160, 175)
    plain = place_and_draw(ruled.copy(), BOX, BOX, STYLE)
    assert plain is not None
    assert plain.corner == CORNERS[0]
    for x in (20, 810):
        for y in (20, 640):
            cv2.rectangle(ruled, (x, y), (x + 70, y + 40), (20, 20, 25), -1)
    before = ruled.copy()
    placed = place_and_draw(ruled, BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner in ("bottom", "top")
    black = (before < 60).all(-1)
    assert np.array_equal(ruled[black], before[black])


@pytest.mark.parametrize(
    ("paper", "ink"),
    [((250, 248, 244), (228, 226, 222)), ((120, 120, 120), (178, 104, 104)), ((40, 60, 120), (52, 72, 134))],
    ids=["faint pencil", "red as light as its grey", "tone on tone"],
)
def test_it_keeps_off_a_signature_that_hardly_shows(paper: tuple[int, int, int], ink: tuple[int, int, int]) -> None:
    """One that differs in colour alone, or by a tenth of the scale and less."""
    grain = np.random.default_rng(1).normal(0, 1.0, (700, 900, 1))
    canvas = np.clip(np.array(paper) + grain, 0, 255).astype(np.uint8)
    for x in range(700, 880, 12):
        cv2.line(canvas, (x, 690), (x + 9, 655), ink, 2, cv2.LINE_AA)
        cv2.line(canvas, (x, 660), (x + 10, 688), ink, 2, cv2.LINE_AA)
    placed = place_and_draw(canvas, BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner == "bottom-left"


def test_grain_is_no_signature() -> None:
    grain = np.random.default_rng(1).normal(0, 6.0, (700, 900, 1))
    grain[:, :450] = 0  # else all corners are alike, and the usual one is taken whatever is seen in them
    canvas = np.clip(np.array((235, 230, 220)) + grain, 0, 255).astype(np.uint8)
    placed = place_and_draw(canvas, BOX, BOX, STYLE)
    assert placed is not None
    assert placed.corner == "bottom-right"


def test_it_keeps_inside_the_safe_zone() -> None:
    for shown in (BOX, (60, 60, 840, 640)):
        placed = place_and_draw(sheet(), shown, BOX, STYLE, safe_px=50)
        assert placed is not None
        x0, y0, x1, y1 = placed.box
        assert x0 >= 50
        assert y0 >= 50
        assert x1 <= 850
        assert y1 <= 650


@pytest.mark.parametrize("level", [10, 60, 110, 130, 160, 250])
def test_light_or_dark_by_what_lies_under_it(level: int) -> None:
    placed = place_and_draw(sheet(level), BOX, BOX, STYLE)
    assert placed is not None
    assert placed.light == (level < 120)


def grounds() -> dict[str, UInt8]:
    """From white to black, in strong colours, textured, and black where the mark begins and white where it ends."""
    found = {f"grey {level}": sheet(level) for level in (0, 40, 110, 120, 128, 140, 200, 255)}
    noise = cv2.GaussianBlur(np.random.default_rng(3).normal(0, 1, (700, 900)).astype(np.float32), (0, 0), 3)
    for level, spread in ((128, 25), (60, 30), (200, 30), (128, 60)):
        code = np.clip(level + noise / noise.std() * spread, 0, 255)
        found[f"texture {level}"] = np.repeat(code[..., None], 3, axis=-1).astype(np.uint8)
    found["red"], found["edge"] = sheet(0), sheet(0)
    found["red"][..., 0] = 255
    found["edge"][:, 800:] = 255
    return found


def luminance(code: UInt8) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Relative luminance as WCAG 2.2 defines it."""
    value = code / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize(("contrast", "least"), [("quiet", 1.8), ("readable", 3.0)])
@pytest.mark.parametrize("height_percent", [1.5, 3.0])
def test_it_can_be_read_as_it_is_drawn(contrast: Contrast, least: float, height_percent: float) -> None:
    """Strokes against what is left free beside them, measured here anew, on each half of the mark by itself."""
    for name, canvas in grounds().items():
        style = MarkStyle("© Wren Halloway", (FONT,), height_percent, 0.5, contrast, corner="bottom-right")
        placed = place_and_draw(canvas, BOX, BOX, style)
        assert placed is not None
        x0, y0, x1, y1 = placed.box
        mask = text_mask(style, round(700 * height_percent / 100))
        free = (mask < 0.02) & (cv2.dilate(mask, np.ones((5, 5))) > 0.02)
        light = luminance(canvas[y0:y1, x0:x1])
        for half in (slice(0, (x1 - x0) // 2), slice((x1 - x0) // 2, None)):
            stroke = light[:, half][mask[:, half] >= 0.75 * mask.max()].mean()
            ground = light[:, half][free[:, half]].mean()
            assert (max(stroke, ground) + 0.05) / (min(stroke, ground) + 0.05) >= least, name
        assert placed.contrast >= least, name


@pytest.mark.parametrize(
    ("name", "published"),
    [
        ("display-p3", "Display P3"),
        ("a98-rgb", "Adobe RGB (1998)"),
        ("eci-rgb", "ECI RGB v2"),
        ("prophoto", "ROMM RGB"),
    ],
)
@pytest.mark.parametrize("ground", [(0.9, 0.9, 0.9), (0.5, 0.5, 0.5), (0.2, 0.7, 0.3), (0.1, 0.2, 0.6)])
def test_in_any_space_it_can_be_read_as_its_record_says(
    name: str, published: str, ground: tuple[float, float, float]
) -> None:
    """The contrast of WCAG 2.2 of what the codes mean, by colour-science."""
    import colour

    space = SPACES[name]
    canvas = np.empty((700, 900, 3), np.float32)
    canvas[:] = linear_to_code(srgb_to_linear(np.array(ground)) @ space.from_srgb().T, space.gamma)
    style = MarkStyle("© Wren Halloway", (FONT,), 3.0, 0.5, "readable")
    placed = place_and_draw(canvas, BOX, BOX, style, coding=Coding(space.gamma, space.from_srgb()))
    assert placed is not None
    x0, y0, x1, y1 = placed.box
    mask = text_mask(style, 21)
    linear = colour.RGB_to_RGB(
        canvas[y0:y1, x0:x1], published, "sRGB", chromatic_adaptation_transform="Bradford", apply_cctf_decoding=True
    )
    light = linear @ np.array([0.2126, 0.7152, 0.0722])
    stroke, beside = light[mask >= 0.75 * mask.max()].mean(), light[mask < 0.005].mean()
    found = contrast_ratio(float(stroke), float(beside))
    assert found >= 3.0
    assert placed.contrast == pytest.approx(found, rel=0.04)  # it is the lowest of some stretches
    # The ink is that which is chosen in sRGB.
    plain = np.full((700, 900, 3), ground, np.float32)
    assert (of_srgb := place_and_draw(plain, BOX, BOX, style)) is not None
    assert of_srgb.light == placed.light


def test_where_it_can_be_read_it_is_as_strong_as_it_is_said_to_be() -> None:
    canvas = np.full((700, 900, 3), 242, np.uint8)
    for opacity in (0.5, 0.9):
        marked = canvas.copy()
        placed = place_and_draw(marked, BOX, BOX, MarkStyle("© Wren Halloway", (FONT,), 3.0, opacity))
        assert placed is not None
        # Codes blend: dark ink is .10 of 255.
        assert int(marked.min()) == round(242 + (25.5 - 242) * opacity)
    faint = canvas.copy()
    place_and_draw(faint, BOX, BOX, MarkStyle("© Wren Halloway", (FONT,), 3.0, 0.1))
    assert 130 < int(faint.min()) < 200  # more than a tenth, so that it can be read, and no more than that


def test_wcag_pairs() -> None:
    """Published boundary pairs on white: #949494 3.0335 and #767676 4.5422 (WCAG 2.2 formula)."""
    for code, ratio in ((0x94, 3.0335), (0x76, 4.5422)):
        value = ((code / 255 + 0.055) / 1.055) ** 2.4
        assert contrast_ratio(1.0, value) == pytest.approx(ratio, abs=1e-3)


def test_a_picture_of_the_artists_own(tmp_path: Path) -> None:
    seal = np.zeros((40, 60, 4), np.uint8)
    cv2.circle(seal, (30, 20), 15, (200, 30, 30, 255), -1)
    place = tmp_path / "seal.png"
    Image.fromarray(seal).save(place)
    canvas = sheet()
    placed = place_and_draw(canvas, BOX, BOX, MarkStyle("", (FONT,), 6.0, 1.0, picture=place))
    assert placed is not None
    x0, y0, x1, y1 = placed.box
    assert (x1 - x0, y1 - y0) == (42, 42)  # of the ink alone: 6 % of 700
    drawn = canvas[y0:y1, x0:x1]
    assert drawn[(y1 - y0) // 2, (x1 - x0) // 2].max() < 60  # dark ink on light paper
    assert drawn[1, 1].min() > 220  # and nothing outside its shape


@pytest.mark.skipif(not features.check("raqm"), reason="this build of the imaging library has no raqm")
def test_right_to_left_scripts_are_shaped() -> None:
    joined = text_mask(MarkStyle("رسم", (FONT,)), 60)
    apart = text_mask(MarkStyle("ر‌س‌م", (FONT,)), 60)  # zero-width non-joiners keep the letters' single forms
    assert joined.shape[1] < apart.shape[1]
    assert missing_glyphs("رסм", FONT) == ""


_HEBREW = "ג'ון בן-דוד"


@pytest.mark.parametrize("text", [f"© 2026 {_HEBREW}", f"{_HEBREW} © 2026", f"© W {_HEBREW}", "© رسم-رسم 2026"])
def test_a_name_that_is_read_from_the_right_is_not_cut_at_its_signs(text: str, tmp_path: Path) -> None:
    """Where the mark's own font lacks the script, the one that holds all of the text writes all of it."""
    made_font(own := tmp_path / "own.ttf", "©2026W'-")
    assert np.array_equal(text_mask(MarkStyle(text, (own, FONT)), 60), text_mask(MarkStyle(text, (FONT,)), 60))


@pytest.mark.skipif(not features.check("raqm"), reason="this build of the imaging library has no raqm")
@pytest.mark.parametrize(("text", "at_left"), [(f"©2026 {_HEBREW}", True), (f"W2026 {_HEBREW}", False)])
def test_it_stands_where_it_is_read_though_its_font_lacks_the_rest(text: str, at_left: bool, tmp_path: Path) -> None:
    """Unicode: a text whose first letter is read from the right begins at the right."""
    made_font(own := tmp_path / "own.ttf", "©2026W'-")
    made_font(second := tmp_path / "second.ttf", _HEBREW.replace(" ", ""))
    assert [piece for _, piece in _runs(text, (own, second))] == [text[:6], _HEBREW]
    whole, name = (text_mask(MarkStyle(words, (own, second)), 60) for words in (text, _HEBREW))
    end = whole[:, : name.shape[1]] if at_left else whole[:, -name.shape[1] :]
    assert np.abs(end - name).mean() < 0.05  # it may lie a part of a pixel further on


def test_other_scripts_leave_signs_to_the_marks_own_font(tmp_path: Path) -> None:
    made_font(own := tmp_path / "own.ttf", "©2026W'-")
    assert [piece for _, piece in _runs("©Ж-Ж", (own, FONT))] == ["©", "Ж", "-", "Ж"]


def test_the_font_that_comes_along_is_used(tmp_path: Path) -> None:
    from autoprep.wishes.settings import load

    assert _font_path(load(studio(tmp_path))).is_file()


@pytest.mark.parametrize("name", list(SPACES))
@pytest.mark.parametrize("light", [True, False])
def test_the_ink_is_the_same_light_in_any_space(name: str, light: bool) -> None:
    ink = Coding(SPACES[name].gamma, SPACES[name].from_srgb()).ink(light)
    wanted = srgb_to_linear(np.array(LIGHT if light else DARK))
    assert float(code_to_linear(np.array(ink), SPACES[name].gamma)) == pytest.approx(float(wanted), abs=1e-4)


def test_in_the_ground_it_never_touches_the_work() -> None:
    for shown in ((0, 0, 900, 620), (0, 80, 900, 700), (100, 0, 600, 700)):
        placed = place_and_draw(sheet(), shown, BOX, STYLE)
        assert placed is not None
        assert placed.in_ground
        x0, y0, x1, y1 = placed.box
        apart = max(x0 - shown[2], shown[0] - x1, y0 - shown[3], shown[1] - y1)
        assert apart >= 5


@pytest.mark.parametrize("corner", CORNERS)
def test_in_the_ground_it_stands_off_the_pictures_edge(corner: CornerChoice) -> None:
    """Above or below a work that fills the picture's width."""
    placed = place_and_draw(sheet(), (0, 80, 900, 620), BOX, replace(STYLE, corner=corner))
    assert placed is not None
    assert placed.in_ground
    assert (placed.box[0] == 10) if corner.endswith("left") else (placed.box[2] == 890)


@pytest.mark.parametrize("corner", CORNERS)
def test_beside_the_work_it_reaches_no_further_than_that(corner: CornerChoice) -> None:
    """Where the ground below is too low for it, it stands at the work's own lower edge, and so above."""
    placed = place_and_draw(sheet(), (300, 20, 600, 680), BOX, replace(STYLE, corner=corner))
    assert placed is not None
    assert placed.in_ground
    assert placed.box[2] < 300 or placed.box[0] > 600
    assert (placed.box[1] == 20) if corner.startswith("top") else (placed.box[3] == 680)


def test_its_seam_is_not_cut_off_at_its_box() -> None:
    """On a ground that is black here and white there letters have a soft seam, which has room around them."""
    canvas = grounds()["edge"]
    before = canvas.copy()
    placed = place_and_draw(canvas, BOX, BOX, replace(STYLE, contrast="readable", corner="bottom-right"))
    assert placed is not None
    x0, y0, x1, y1 = placed.box
    changed = (canvas != before).any(-1)
    assert changed[y0:y1, x0:x1].any()
    changed[y0:y1, x0:x1] = False
    assert changed.any()


@pytest.mark.parametrize(("width", "height"), [(357, 2000), (2000, 357)])
def test_on_a_narrow_work_it_can_be_read(width: int, height: int) -> None:
    """By 2 % of the shorter side it would be 8 px from top to bottom, as small as letters get at all."""
    style, box = replace(STYLE, height_percent=2.0), (0, 0, width, height)
    placed = place_and_draw(np.full((height, width, 3), 240, np.uint8), box, box, style)
    assert placed is not None
    whole = text_mask(style, 12)  # 2 % of the root of 357 x 1000
    assert (placed.box[2] - placed.box[0], placed.box[3] - placed.box[1]) == whole.shape[::-1]


def test_on_a_narrow_work_it_is_no_wider_than_its_room_and_stays_in_the_ground() -> None:
    style, box = replace(STYLE, height_percent=2.0), (0, 0, 100, 4000)
    placed = place_and_draw(np.full((4000, 100, 3), 240, np.uint8), box, box, style)
    assert placed is not None  # at 28 px it has no room
    assert 8 < placed.box[2] - placed.box[0] <= 100 - 8
    shown = (0, 0, 357, 2000 - 20)
    placed = place_and_draw(np.full((2000, 357, 3), 240, np.uint8), shown, (0, 0, 357, 2000), style)
    assert placed is not None
    assert placed.in_ground
    narrow = place_and_draw(np.full((2000, 357, 3), 240, np.uint8), (0, 0, 357, 1984), (0, 0, 357, 2000), style)
    assert narrow is not None
    assert narrow.in_ground  # in smaller letters


@pytest.mark.parametrize("sides", [(300, 300), (2000, 1414), (1999, 1000), (1000, 2000)])
def test_of_other_works_its_height_is_that_of_the_shorter_side(sides: tuple[int, int]) -> None:
    assert list(_heights(sides, 2.0)) == [round(min(sides) * 0.02)]
