"""Torn edges: found to the pixel, kept on their ground; cut edges stay straight."""

import cv2
import numpy as np
import pytest

from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.silhouette import find_silhouette
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32
from autoprep.rendering.layout import Frame, lay_out, torn_sides
from autoprep.rendering.render import Look, render
from tests.lab.scene import encode_jpeg, random_spec
from tests.lab.scene import render as photograph

MARGIN = 24


def framed(torn: bool, seed: int = 3) -> tuple[Float32, Bool]:
    """A light sheet of 800 x 600 on a dark desk with MARGIN around it, torn at its lower side or not."""
    rng = np.random.default_rng(seed)
    depth = np.repeat(rng.uniform(0, 9, 100), 8) if torn else np.zeros(800)
    sheet = np.zeros((600 + 2 * MARGIN, 800 + 2 * MARGIN), bool)
    rows = np.arange(600)[:, None]
    sheet[MARGIN:-MARGIN, MARGIN:-MARGIN] = rows < 600 - depth[None]
    picture = np.where(sheet[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)
    cv2.line(picture, (200, 590), (300, 610), (0.05, 0.05, 0.05), 3)  # a drawing that comes near the edge
    return picture * (1 + rng.normal(0, 0.02, picture.shape).astype(np.float32)), sheet


def test_cut_edges_have_no_silhouette() -> None:
    assert find_silhouette(framed(torn=False)[0], MARGIN) is None


def test_a_torn_edge_is_followed() -> None:
    picture, sheet = framed(torn=True)
    found = find_silhouette(picture, MARGIN)
    assert found is not None
    mask = np.zeros(sheet.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(found.points * [800, 600] + MARGIN).astype(np.int32)], 1)
    frame = slice(MARGIN, -MARGIN)
    inside, outside = sheet[frame, frame], ~sheet[frame, frame]
    assert outside.mean() > 0.005  # otherwise the lines below would prove nothing
    assert (outside & (mask[frame, frame] == 0)).sum() > 0.7 * outside.sum()
    assert (inside & (mask[frame, frame] == 0)).sum() < 0.002 * inside.sum()


def test_the_pattern_of_a_cloth_is_no_torn_edge() -> None:
    """A sheet that is cut straight, on a cloth whose light squares look like the sheet."""
    picture, _ = framed(torn=False)
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    squares = ((y // 8 + x // 24) % 3 == 0)[..., None]
    cloth = np.where(squares, np.float32(0.4), np.float32(0.07)) * np.ones(3, np.float32)
    sheet = np.zeros((height, width, 1), bool)
    sheet[MARGIN:-MARGIN, MARGIN:-MARGIN] = True
    on_cloth = cv2.GaussianBlur(np.where(sheet, np.float32(0.6), cloth), (0, 0), 0.8)
    assert find_silhouette(np.asarray(on_cloth, np.float32), MARGIN) is None


def deckled(depth_px: float, sides: int) -> Float32:
    """A sheet whose edges wander by so many pixels at so many of its sides, on a dark desk."""
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[0:600, 0:800] + 0.5

    def wanders(length: int) -> Float32:
        steps = np.repeat(rng.uniform(0, depth_px, length // 10), 10)
        return np.asarray(cv2.GaussianBlur(steps.reshape(1, -1), (0, 0), 2.0).ravel(), np.float32)

    from_edge = (rows - wanders(800)[None], 800 - columns - wanders(600)[:, None],
                 600 - rows - wanders(800)[None], columns - wanders(600)[:, None])  # fmt: skip
    sheet = np.all([distance > 0 for distance in from_edge[:sides]], axis=0)
    picture = np.where(np.pad(sheet, MARGIN)[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)


def test_a_sheet_that_wanders_a_little_at_every_side_is_deckled() -> None:
    """What is too little for one torn side is enough where three or more show it."""
    little = 3.0
    found = find_silhouette(deckled(little, 4), MARGIN)
    assert found is not None
    assert torn_sides(tuple((float(x), float(y)) for x, y in found.points)) == (True,) * 4
    assert find_silhouette(deckled(little, 1), MARGIN) is None


def test_the_edge_of_a_small_photo_is_taken_further_in() -> None:
    """Where a pixel of the copy is one of the photo, the lens mixes more of the desk into it."""
    picture, _ = framed(torn=True)
    fine, coarse = (find_silhouette(picture, MARGIN, photo_px) for photo_px in (2.0, 1.0))
    assert fine is not None
    assert coarse is not None
    lower = fine.points[:, 1] > 0.9
    assert np.median(fine.points[lower, 1] - coarse.points[lower, 1]) * 600 == pytest.approx(0.8, abs=0.05)


def test_what_can_not_be_told_from_its_surroundings_stays_as_it_is() -> None:
    picture, _ = framed(torn=True)
    assert find_silhouette(np.full_like(picture, 0.4), MARGIN) is None


def rounded(radius: float, corners: tuple[int, ...] = (0, 1, 2, 3), desk: float = 0.07) -> tuple[Float32, Bool]:
    """The same sheet with rounded corners; 0 is the upper left one, clockwise."""
    ys, xs = np.mgrid[0:600, 0:800] + 0.5
    sheet = np.ones((600, 800), bool)
    for corner in corners:
        x, y = (xs if corner in (0, 3) else 800 - xs), (ys if corner < 2 else 600 - ys)
        sheet &= (x > radius) | (y > radius) | ((x - radius) ** 2 + (y - radius) ** 2 < radius**2)
    whole = np.pad(sheet, MARGIN)
    picture = np.where(whole[..., None], np.float32(0.6), np.float32(desk)) * np.ones(3, np.float32)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)
    return picture * (1 + np.random.default_rng(3).normal(0, 0.02, picture.shape).astype(np.float32)), sheet


@pytest.mark.parametrize("corners", [(0, 1, 2, 3), (1, 2)], ids=["all", "the outer ones of a page"])
@pytest.mark.parametrize("radius", [10.0, 20.0, 34.0])
def test_rounded_corners_are_followed(radius: float, corners: tuple[int, ...]) -> None:
    """No wedge of desk is left, and no paper lost; the sides between stay straight."""
    picture, sheet = rounded(radius, corners)
    found = find_silhouette(picture, MARGIN)
    assert found is not None
    mask = np.zeros(sheet.shape, np.uint8)
    cv2.fillPoly(mask, [np.round((found.points * [800, 600] - 0.5) * 16).astype(np.int32)], 1, shift=4)
    assert ((mask == 1) & ~sheet).sum() < 0.15 * (~sheet).sum()
    assert ((mask == 0) & sheet).sum() < 0.0012 * sheet.sum()
    assert torn_sides(tuple((float(x), float(y)) for x, y in found.points)) == (False,) * 4


def test_a_corner_that_is_bent_or_written_on_is_not_rounded() -> None:
    bent, _ = framed(torn=False)
    cv2.fillPoly(bent, [np.array([[MARGIN, MARGIN], [MARGIN + 34, MARGIN], [MARGIN, MARGIN + 12]])], (0.07, 0.07, 0.07))
    assert find_silhouette(bent, MARGIN) is None
    written, _ = framed(torn=False)
    cv2.circle(written, (MARGIN + 14, MARGIN + 14), 6, (0.05, 0.05, 0.05), -1)
    assert find_silhouette(written, MARGIN) is None
    assert find_silhouette(rounded(20, desk=0.6)[0], MARGIN) is None  # nothing of it can be seen


def test_a_white_page_on_a_white_desk_shows_its_corner_by_its_shadow() -> None:
    picture, sheet = rounded(20, corners=(2,), desk=0.57)
    whole = np.pad(sheet, MARGIN).astype(np.float32)
    shadow = cv2.GaussianBlur(
        cv2.warpAffine(whole, np.array([[1, 0, 3], [0, 1, 3]], np.float32), whole.shape[::-1]), (0, 0), 3
    )
    picture = picture * np.where(whole > 0, 1, 1 - 0.5 * shadow)[..., None]
    found = find_silhouette(np.asarray(picture, np.float32), MARGIN)
    assert found is not None
    gaps = [np.abs(found.points - corner).sum(axis=1).min() for corner in ((0, 0), (1, 0), (1, 1), (0, 1))]
    assert gaps[2] > 0.01 > max(gaps[0], gaps[1], gaps[3])


@pytest.mark.slow
def test_the_desk_is_gone_from_a_torn_sheet_of_the_lab() -> None:
    specs = (random_spec(seed, "watercolour", "dark", shadow="none", over="none") for seed in range(30080, 30099))
    shot = next(shot for spec in specs if (shot := photograph(spec, 1400)).truth.work.alpha.mean() < 0.997)
    photo = read_photo(encode_jpeg(shot))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    plan, _, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0), Wishes(size_mm=shot.truth.size_mm))  # type: ignore[arg-type]
    assert plan.silhouette is not None
    layout = lay_out(Frame(long_side_px=700), plan)
    out = render(photo, plan, layout, Look(ground=(0, 1, 0)), lambda strip, x, y: strip, lambda strip: strip)
    height, width = out.pixels.shape[:2]
    alpha = np.asarray(cv2.resize(shot.truth.work.alpha, (width, height), interpolation=cv2.INTER_AREA))
    ground = out.pixels[..., 1].astype(int) - out.pixels[..., 0] > 60
    outside, inside = alpha < 0.05, alpha > 0.95
    assert (ground & outside).sum() > 0.5 * outside.sum()
    assert (ground & inside).sum() < 0.0035 * inside.sum()  # half a pixel along its edges
