"""Torn edges: found to the pixel, kept on their ground; cut edges stay straight."""

import cv2
import numpy as np
import pytest

from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.silhouette import find_silhouette
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32
from autoprep.rendering.layout import Frame, lay_out
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


def test_what_can_not_be_told_from_its_surroundings_stays_as_it_is() -> None:
    picture, _ = framed(torn=True)
    assert find_silhouette(np.full_like(picture, 0.4), MARGIN) is None


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
    assert (ground & inside).sum() < 0.002 * inside.sum()
