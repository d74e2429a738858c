"""What is measured on the corrected work, against what was put in."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction.assessment import finished_look, glare_percent, oblique_degrees, shade_left_percent
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.paper import find_level
from autoprep.correction.planning import _blur_at_full_size, _changes, _detailed_places, surroundings
from autoprep.correction.squaring import rectify
from autoprep.domain import Declined, Geometry, PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import lab_fast, lightness_of, luminance
from autoprep.pixels import Photo, in_photo


def page(noise: float, strokes: int = 40) -> Float32:
    """(600, 800, 3) linear: paper with drawn lines, and white noise of so many L* in its lightness."""
    lightness = np.full((600, 800), 90.0)
    for k in range(strokes):
        lightness[10 + 14 * k : 12 + 14 * k, 40:760] = 25.0
    lightness += np.random.default_rng(3).normal(0, noise, lightness.shape)
    y = ((lightness + 16) / 116) ** 3
    return np.asarray(np.repeat(y[..., None], 3, axis=-1), np.float32)


@pytest.mark.parametrize("noise", [0.3, 1.0, 3.0])
def test_grain_is_the_noise_that_was_put_in_and_no_drawing(noise: float) -> None:
    assert finished_look(page(noise))["grain"] == pytest.approx(noise, rel=0.12)
    assert finished_look(page(0.0))["grain"] < 0.01


def test_lightness_is_that_of_the_whole_work() -> None:
    assert finished_look(page(0.0, strokes=0))["lightness"] == pytest.approx(90.0, abs=0.01)
    dark = page(0.0, strokes=0) * np.float32(0.004)  # below where L* is a straight line
    assert finished_look(dark)["lightness"] == pytest.approx(float(lab_fast(dark)[..., 0].mean()), abs=0.05)
    assert lightness_of(luminance(dark)).dtype == np.float32


def seen(width: float, height: float, degrees: float, axis: int) -> Geometry:
    """A rectangle that a camera stands so far from square-on to, about the level (0) or the upright axis (1)."""
    focal, size = 3100.0, (4032, 3024)
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [width / 2, height / 2, 0]
    turn, _ = cv2.Rodrigues(np.radians(degrees) * np.eye(3)[axis])
    placed = corners @ turn.T + [0, 0, 1.3 * max(width / size[0], height / size[1]) * focal]
    quad = placed[:, :2] / placed[:, 2:] * focal + np.array(size) / 2
    places = tuple((float(x), float(y)) for x, y in quad)
    return Geometry(photo_px=size, corners_px=places, ratio=width / height, ratio_from="corners", focal_px=focal)  # type: ignore[arg-type]


@pytest.mark.parametrize("ratio", [0.4, 1.0, 1.41, 4.0])
@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("degrees", [0.0, 10.0, 30.0])
def test_how_far_from_square_on_is_told_whatever_the_works_proportion(ratio: float, axis: int, degrees: float) -> None:
    assert oblique_degrees(seen(ratio, 1.0, degrees, axis)) == pytest.approx(degrees, abs=0.01)


def test_blur_is_probed_where_the_detail_is_on_a_slant_photo() -> None:
    geometry = seen(1.4, 1.0, 35.0, 0)
    width, height = geometry.photo_px
    codes = np.full((height, width, 3), 200, np.uint8)
    u, v = 0.5 / 8, 2.5 / 8  # the middle of a cell of the grid that detail is counted in
    x, y = (round(float(value)) for value in in_photo(geometry, np.array([u, v])))
    codes[y - 70 : y + 70 : 8, x - 90 : x + 90] = 40
    codes[y - 70 : y + 70 : 8] = cv2.GaussianBlur(codes[y - 70 : y + 70 : 8], (1, 1), 0)
    soft = cv2.GaussianBlur(codes, (0, 0), 3.0)
    photo = Photo(np.asarray(soft, np.uint8), PhotoFacts("png", width, height), srgb_tables(256))
    work = rectify(photo, geometry).linear
    cells = _detailed_places(_changes(work))
    assert (u, v) in cells
    probed: list[tuple[int, int, int, int]] = []

    class Noted(Photo):
        def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
            probed.append((y0, y1, x0, x1))
            return super().crop(y0, y1, x0, x1)

    noted = Noted(photo.codes, photo.facts, photo.tables)
    _blur_at_full_size(noted, geometry, _changes(work))
    y0, y1, x0, x1 = probed[cells.index((u, v))]
    assert abs((y0 + y1) / 2 - y) <= 1
    assert abs((x0 + x1) / 2 - x) <= 1


def shaded(lightness: float, tint: tuple[float, float, float] = (1, 1, 1), at: tuple[int, int] = (0, 0)) -> Float32:
    """A drawn page, of which a part of 300 x 200, so far down and across, is so light and tinted between its lines."""
    picture = page(0.3)
    part = picture[at[0] : at[0] + 300, at[1] : at[1] + 200]
    level = ((lightness + 16) / 116) ** 3 / ((90 + 16) / 116) ** 3
    part *= np.float32(level) * np.array(tint, np.float32)
    return picture


def test_a_shadow_that_stays_on_the_sheet_is_measured() -> None:
    assert shade_left_percent(shaded(76.0)) == pytest.approx(100 * 300 * 200 / (600 * 800), abs=1.5)
    assert shade_left_percent(page(1.0)) == 0  # lines of drawing are none
    assert shade_left_percent(np.full((600, 800, 3), 0.8, np.float32)) == 0


@pytest.mark.parametrize(
    "picture",
    [
        shaded(86.0),  # what a glance does not see
        shaded(35.0),  # painted dark
        shaded(76.0, (0.75, 1.0, 1.3)),  # a blue wash
        shaded(76.0, at=(150, 300)),  # in the middle of the sheet: a grey wash
        shaded(76.0, at=(540, 720)),  # a corner that is curled
    ],
    ids=["faint", "dark", "coloured", "inside", "small"],
)
def test_what_is_drawn_is_no_shadow_that_stays(picture: Float32) -> None:
    assert shade_left_percent(picture) == 0


def test_blur_is_told_in_pixels_of_the_whole_photo_though_a_smaller_one_was_read() -> None:
    codes = np.full((800, 1000, 3), 200, np.uint8)
    codes[100:700, 300:700] = 40
    codes = np.asarray(cv2.GaussianBlur(codes, (0, 0), 2.0), np.uint8)
    blurs = []
    for times in (1, 2):
        facts = PhotoFacts("png", 1000 * times, 800 * times)
        photo = Photo(codes, facts, srgb_tables(256), scale=1 / times)
        corners = tuple((x * 1000.0 * times, y * 800.0 * times) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1)))
        geometry = Geometry(photo_px=photo.full_px, corners_px=corners, ratio=1.25, ratio_from="whole photo")  # type: ignore[arg-type]
        blurs.append(_blur_at_full_size(photo, geometry, _changes(rectify(photo, geometry).linear)))
    assert blurs[0] > 1.5
    assert blurs[1] == pytest.approx(2 * blurs[0], rel=0.02)


def test_the_edge_of_the_sheet_is_none_of_its_surroundings() -> None:
    """An outline that stands a little within the sheet leaves a line of white paper around it."""
    codes = np.full((1200, 1600, 3), 50, np.uint8)
    codes[192:1008, 192:1408] = 240
    photo = Photo(codes, PhotoFacts("png", 1600, 1200), srgb_tables(256))
    corners = ((200.0, 200.0), (1400.0, 200.0), (1400.0, 1000.0), (200.0, 1000.0))
    geometry = Geometry(photo_px=(1600, 1200), corners_px=corners, ratio=1.5, ratio_from="corners")
    assert surroundings(photo, geometry).lightest() == pytest.approx(luminance(photo.linear()[:1, :1])[0, 0], rel=0.05)


@pytest.mark.parametrize(("share", "counts"), [(0.03, True), (0.004, False)])
def test_what_issurroundings_the_work_is_a_thing_and_no_speck(share: float, counts: bool) -> None:
    codes = np.full((400, 400, 3), 50, np.uint8)
    codes[:20, : round(share * 300 * 400 / 20)] = 240
    photo = Photo(codes, PhotoFacts("png", 400, 400), srgb_tables(256))
    corners = ((100.0, 100.0), (300.0, 100.0), (300.0, 300.0), (100.0, 300.0))
    geometry = Geometry(photo_px=(400, 400), corners_px=corners, ratio=1.0, ratio_from="corners")
    at = 1 if counts else 398
    seen = luminance(photo.linear()[at : at + 1, at : at + 1])[0, 0]
    assert surroundings(photo, geometry).lightest() == pytest.approx(seen, rel=0.02)


def test_glare_is_what_is_burnt_out_or_shines_whichever_is_more() -> None:
    linear = page(0.3) * np.float32(0.6)
    paper, _ = find_paper(linear)
    assert not isinstance(paper, Declined)
    assert glare_percent(linear, replace(paper, shines=0.0)) == 0
    assert glare_percent(linear, replace(paper, shines=0.07)) == pytest.approx(7.0)
    linear[200:400, 200:440] = 1.0  # a tenth of the page
    assert glare_percent(linear, replace(paper, shines=0.07)) == pytest.approx(10.0, abs=0.1)
    assert glare_percent(linear, Declined(reason="-")) == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize(
    ("soft_px", "white", "shines"), [(1.2, 0.2, False), (30.0, 0.06, True)], ids=["gouache", "shine"]
)
def test_white_paint_on_black_paper_is_no_glare(soft_px: float, white: float, shines: bool) -> None:
    """Gouache on black paper was said to be glare: "turn the lamp", and the print waited for a better photo."""
    rng = np.random.default_rng(3)
    laid = np.zeros((800, 600), np.float32)
    laid[300:500, 180:420] = white
    laid = np.asarray(cv2.GaussianBlur(laid, (0, 0), soft_px), np.float32)
    linear = np.asarray(0.03 * (1 + rng.normal(0, 0.03, (800, 600, 1))) + laid[..., None] * np.ones(3), np.float32)
    paper = find_level(linear)
    assert not isinstance(paper, Declined)
    assert paper.lifted > 0.05
    assert (glare_percent(linear, paper) > 5) == shines
