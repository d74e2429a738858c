"""Along a torn edge no desk shows, though the edge is known to a pixel or two only; all else stays as it is."""

import cv2
import numpy as np
import pytest

from autoprep.imaging.arrays import Float32, UInt8
from autoprep.rendering.fringe import _repeat, depth_px, repeat_inside
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, on_ground, render
from tests.rendering.test_render import photo_of, plan_for

PAPER, DESK, GROUND = 200, 40, 0.91
HIGH, WIDE = 700, 500


def torn_photo(missed_px: float) -> tuple[UInt8, tuple[tuple[float, float], ...]]:
    """A sheet whose lower edge wanders, with a drawing, and its silhouette, so many pixels too far out."""
    x = np.arange(WIDE)
    edge = HIGH - 12 + 6 * np.sin(x / 9.0)
    codes = np.full((HIGH, WIDE, 3), PAPER, np.uint8)
    codes[300:303, 100:400] = 70
    codes[np.arange(HIGH)[:, None] > edge[None]] = DESK
    wander = [(float(at + 0.5) / WIDE, float(edge[at] + missed_px) / HIGH) for at in reversed(range(0, WIDE, 4))]
    return codes, ((0.0, 0.0), (1.0, 0.0), (1.0, wander[0][1]), *wander, (0.0, wander[-1][1]))


@pytest.mark.parametrize("missed_px", [0.0, 1.0, 2.0])
@pytest.mark.parametrize("long_side", [None, 350])
def test_no_desk_stands_along_a_torn_edge(missed_px: float, long_side: int | None) -> None:
    codes, silhouette = torn_photo(missed_px)
    plan = plan_for(WIDE, HIGH).model_copy(update={"silhouette": silhouette})
    layout = lay_out(Frame(long_side_px=long_side), plan)

    def strongly(code: Float32) -> Float32:
        return np.asarray(code + 1.5 * (code - cv2.GaussianBlur(code, (0, 0), 1.5)), np.float32)

    look = Look(ground=(GROUND,) * 3)
    out = render(photo_of(codes), plan, layout, look, lambda strip, _x, _y: strip, strongly).pixels.astype(int)
    scale = layout.canvas_px[1] / HIGH
    last = out[round((HIGH - 22) * scale) :]
    assert last.min() > PAPER - 12  # neither desk (40) nor a tenth of it
    above = out[round((HIGH - 24) * scale) : round((HIGH - 20) * scale)]
    assert np.abs(above - PAPER).max() <= 12  # and no line that sharpening draws
    assert np.abs(out[-1, round(WIDE * scale / 2)] - round(GROUND * 255)).max() <= 1
    # The sheet ends where its silhouette does, to half a pixel: as much of the last rows is ground as is outside of it.
    share = 1 - (np.array(silhouette[3:-1])[:, 1] * HIGH - (HIGH - 22)).mean() / 22
    assert (last[..., 0] - PAPER).mean() / (GROUND * 255 - PAPER) == pytest.approx(share, abs=0.03 + 0.5 / (22 * scale))
    # What is further in is not touched.
    plain = render(photo_of(codes), plan_for(WIDE, HIGH), layout, look, lambda strip, _x, _y: strip, strongly).pixels
    kept = round((HIGH - 40) * scale)
    assert (out[:kept] == plain[:kept]).all()


def test_the_nearest_pixel_that_is_deep_enough_is_repeated() -> None:
    picture = np.arange(10, dtype=np.float32)[None, :, None].repeat(5, 0).repeat(3, 2)
    sheet = np.full((5, 10), 255, np.uint8)
    sheet[:, 7:] = 0
    sheet[:, 6] = 128
    repeat_inside(picture, sheet, 2)
    assert picture[2, :, 0].tolist() == [0, 1, 2, 3, 3, 3, 3, 3, 3, 3]  # 6 is half covered, 4 and 5 lie near it
    nowhere = np.ones((3, 3, 3), np.float32)
    repeat_inside(nowhere, np.zeros((3, 3), np.uint8), 2)
    assert (nowhere == 1).all()


def test_the_depth_is_one_of_photo_pixels() -> None:
    assert [depth_px(scale) for scale in (6.0, 1.5, 1.0, 0.5)] == [1, 2, 3, 5]


def test_stretches_of_columns_are_seen_as_they_are_in_the_whole() -> None:
    rng = np.random.default_rng(5)
    picture = rng.uniform(0, 1, (60, 300, 3)).astype(np.float32)
    sheet = np.full((60, 300), 255, np.uint8)
    wander = (8 + 4 * np.sin(np.arange(60) / 3) + rng.uniform(0, 3, 60)).astype(int)
    for row, depth in enumerate(wander):
        sheet[row, :depth] = sheet[row, 300 - 2 * depth :] = 0
    sheet[20:24, 150:153] = 90
    whole = picture.copy()
    _repeat(whole, cv2.erode(sheet, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7)), borderValue=255) < 255)
    repeat_inside(picture, sheet, 3)
    assert (picture == whole).all()


def test_a_pixel_that_is_part_sheet_is_part_ground_and_what_was_given_stays() -> None:
    code = np.full((40, 50, 3), 0.5, np.float32)
    silhouette = ((0.0, 0.0), (1.0, 0.0), (1.0, 0.8), (0.51, 0.8), (0.51, 1.0), (0.0, 1.0))
    plan = plan_for(50, 40).model_copy(update={"silhouette": silhouette})
    shown = on_ground(code, plan)
    assert (code == 0.5).all()
    assert shown[36, [10, 25, 40], 0] == pytest.approx([0.5, 0.5 + 0.5 * (GROUND - 0.5), GROUND], abs=0.002)
    assert (shown[:30] == 0.5).all()
