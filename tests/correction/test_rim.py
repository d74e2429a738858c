"""No line of desk at the edge of a picture: how deep it reaches is seen side by side, torn sides apart."""

from functools import cache

import cv2
import numpy as np
import pytest

from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.rim import LEAST, clear_of_desk
from autoprep.domain import Geometry, Outline, PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import AnyArray, UInt8
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.pixels import Photo
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render

_WIDE, _HIGH, _DESK = 1500, 1100, 80


def photo_of(sheet: AnyArray, desk: int = 60) -> Photo:
    """A sheet of codes on a dark desk, as a lens draws it."""
    picture = np.full((_HIGH + 2 * _DESK, _WIDE + 2 * _DESK, 3), desk, np.float32)
    picture[_DESK:-_DESK, _DESK:-_DESK] = sheet
    soft = cv2.GaussianBlur(picture, (0, 0), 0.9) + np.random.default_rng(2).normal(0, 1.5, picture.shape)
    codes: UInt8 = np.clip(soft, 0, 255).astype(np.uint8)
    return Photo(codes, PhotoFacts("png", codes.shape[1], codes.shape[0]), srgb_tables(256))


@cache
def plain(code: int) -> Photo:
    """A sheet of one code; it is every test's."""
    photo = photo_of(np.full((_HIGH, _WIDE, 3), float(code)))
    photo.codes.setflags(write=False)
    return photo


def corners(out_px: tuple[float, float, float, float]) -> tuple[tuple[float, float], ...]:
    """The outline whose top, right, bottom and left stand so far outside the sheet."""
    top, right, bottom, left = out_px
    x0, y0, x1, y1 = _DESK - left, _DESK - top, _DESK + _WIDE + right, _DESK + _HIGH + bottom
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def geometry(photo: Photo, out_px: tuple[float, float, float, float]) -> Geometry:
    return Geometry(
        photo_px=photo.full_px,
        corners_px=corners(out_px),  # type: ignore[arg-type]
        ratio=_WIDE / _HIGH,
        ratio_from="side lengths",
    )


def test_each_side_is_seen_by_itself() -> None:
    """Desk 3 pixels deep at the right and 2 at the bottom; a hair is the least."""
    photo = plain(235)
    top, right, bottom, left = (v * _WIDE for v in clear_of_desk(photo, geometry(photo, (0, 3, 2, -4))))
    assert right == pytest.approx(5, abs=1)
    assert bottom == pytest.approx(4, abs=1)
    assert right > bottom > top >= LEAST * _WIDE
    assert left == pytest.approx(LEAST * _WIDE, abs=0.02)  # inside the sheet already


def test_a_painting_that_darkens_towards_its_edge_loses_nothing() -> None:
    xs = np.minimum(np.arange(_WIDE), np.arange(_WIDE)[::-1])[None, :, None]
    ys = np.minimum(np.arange(_HIGH), np.arange(_HIGH)[::-1])[:, None, None]
    vignette = 200 - 120 * np.exp(-np.minimum(xs, ys) / 60)
    photo = photo_of(vignette * np.ones(3), desk=78)
    assert max(clear_of_desk(photo, geometry(photo, (0, 0, 0, 0)))) < 1.5 * LEAST


def test_a_whole_photo_has_no_desk() -> None:
    photo = plain(235)
    whole = geometry(photo, (0, 0, 0, 0)).model_copy(update={"ratio_from": "whole photo"})
    assert clear_of_desk(photo, whole) == (LEAST,) * 4


@pytest.mark.parametrize("torn", [False, True], ids=["cut", "torn below"])
def test_the_outermost_pixels_are_the_works(torn: bool) -> None:
    """The bar: in the median along a side within 2 (CIEDE2000) of what lies 3 pixels further in; torn ones had 25."""
    sheet = np.full((_HIGH, _WIDE, 3), 200.0)
    if torn:
        depth = np.repeat(np.random.default_rng(4).uniform(0, 9, 150), 10)
        sheet[np.arange(_HIGH)[:, None] > _HIGH - depth[None]] = 60
    photo = photo_of(sheet)
    outline = Outline(corners_px=corners((1.5, 1.5, 1.5, 1.5)), confidence=0.99)  # type: ignore[arg-type]
    plan, _, _ = make_plan(photo, outline, Wishes())
    assert (plan.silhouette is not None) == torn
    made = render(photo, plan, lay_out(Frame(), plan), Look(), lambda strip, _x, _y: strip, lambda code: code)
    lab = lab_from_linear(srgb_to_linear(made.pixels.astype(float) / 255))
    for side in (0, 1, 3) if torn else range(4):
        seen = np.rot90(lab, side)
        middle = slice(seen.shape[1] // 20, -(seen.shape[1] // 20))
        assert float(np.median(ciede2000(seen[0, middle], seen[3, middle]))) < 2


def test_bleed_does_not_mirror_a_torn_edge() -> None:
    """Past a torn side the ground runs on; past cut ones the paper does."""
    sheet = np.full((_HIGH, _WIDE, 3), 200.0)
    depth = np.repeat(np.random.default_rng(4).uniform(0, 9, 150), 10)
    sheet[np.arange(_HIGH)[:, None] > _HIGH - depth[None]] = 60
    photo = photo_of(sheet)
    outline = Outline(corners_px=corners((0, 0, 0, 0)), confidence=0.99)  # type: ignore[arg-type]
    plan, _, _ = make_plan(photo, outline, Wishes())
    frame = Frame(size_mm=(150, 150 / plan.geometry.ratio), ppi=200, bleed_mm=3, fit="fill", max_enlarge=2)
    layout = lay_out(frame, plan)
    look = Look(ground=(0.2, 0.4, 0.6))
    pixels = render(photo, plan, layout, look, lambda strip, _x, _y: strip, lambda code: code).pixels
    _, _, _, bottom = layout.trim
    assert (np.abs(pixels[bottom + 2 :, 60:-60] - np.array([51, 102, 153])) <= 1).all()
    assert pixels[:10, 60:-60].mean() > 185  # the paper's own tone


@pytest.mark.parametrize("out_px", [0.0, 0.5, 1.0, 1.5, 2.0])
def test_no_trace_of_the_desk_stands_at_the_edge(out_px: float) -> None:
    """A hairline that the eye can see begins at about 1 (CIEDE2000): wherever the outline stands, none is left."""
    photo = plain(225)
    outline = Outline(corners_px=corners((out_px,) * 4), confidence=0.99)  # type: ignore[arg-type]
    plan, _, _ = make_plan(photo, outline, Wishes())
    made = render(photo, plan, lay_out(Frame(), plan), Look(), lambda strip, _x, _y: strip, lambda code: code)
    lab = lab_from_linear(srgb_to_linear(made.pixels.astype(float) / 255))
    for side in range(4):
        seen = np.rot90(lab, side)
        paper = np.median(seen[8:30], axis=(0, 1))
        ring = np.median(seen[0, seen.shape[1] // 20 : -(seen.shape[1] // 20)], axis=0)
        assert float(ciede2000(ring, paper)) < 1.0


def test_desk_that_a_shaken_hand_has_drawn_over_the_sheet_is_followed_and_a_drawn_border_is_not() -> None:
    photo = plain(235)
    smeared = cv2.blur(photo.codes, (25, 1))
    shaken = Photo(np.asarray(smeared, np.uint8), photo.facts, photo.tables)
    top, right, bottom, left = (v * _WIDE for v in clear_of_desk(shaken, geometry(shaken, (0, 1, 0, 1))))
    assert right == pytest.approx(14, abs=2)
    assert left == pytest.approx(14, abs=2)
    assert max(top, bottom) < 4
    sheet = np.full((_HIGH, _WIDE, 3), 235.0)
    sheet[:, 9:14] = sheet[:, -14:-9] = 90  # a line along the border
    bordered = photo_of(sheet)
    assert max(clear_of_desk(bordered, geometry(bordered, (0, 0, 0, 0)))) * _WIDE < 8


def test_no_drawn_line_is_repeated_up_to_the_edge() -> None:
    """The light changes up to the edge, and a slant line is drawn beside it: what lies at the depth is not bare."""
    sheet = np.full((_HIGH, _WIDE, 3), 235.0)
    sheet[:, :10] = np.linspace(100, 230, 10)[None, :, None]
    for row in range(0, _HIGH * 2 // 5):
        sheet[row, 10 + row // 100 : 16 + row // 100] = 60
    photo = photo_of(sheet, desk=80)
    assert clear_of_desk(photo, geometry(photo, (0, 0, 0, 0)))[3] * _WIDE < 6
