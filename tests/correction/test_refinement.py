"""Sides fitted to the edges beside them: on drawn quads whose corners are known, and against the library's own fits."""

import cv2
import numpy as np
import pytest

from autoprep.correction.outline.refinement import Refined, _Plane, refine
from autoprep.correction.outline.side_fits import fit_sides
from autoprep.imaging.arrays import Float32, Float64, float32

TRUE: Float64 = np.array([[80.3, 60.7], [420.9, 72.2], [408.4, 300.6], [66.8, 287.1]])
_FINE = 8


def sheet(blur_px: float = 0.8, quad: Float64 = TRUE, size: tuple[int, int] = (360, 500)) -> Float32:
    """L*a*b* of a light sheet on a darker desk, its edges where they were drawn to an eighth of a pixel."""
    mask = np.zeros((size[0] * _FINE, size[1] * _FINE), np.uint8)
    cv2.fillPoly(mask, [np.round(quad * _FINE).astype(np.int32)], 255)
    share = cv2.resize(mask, size[::-1], interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255
    noise = np.random.default_rng(5).normal(0, 0.6, (*size, 3))
    lab = float32([45, 8, 20]) * (1 - share) + float32([93, 0, 3]) * share + noise
    return np.asarray(cv2.GaussianBlur(lab.astype(np.float32), (0, 0), blur_px), np.float32)


def off(found: Refined, quad: Float64 = TRUE) -> float:
    return float(np.linalg.norm(found.quad - quad, axis=1).max())


@pytest.mark.parametrize("seed", range(4))
def test_a_rough_outline_comes_to_the_edge(seed: int) -> None:
    rough = TRUE + np.random.default_rng(seed).uniform(-4, 4, (4, 2))
    found = refine(sheet(), rough)
    assert off(found) < 0.2
    assert found.support.min() > 0.9
    assert found.residual_px < 0.2


def test_the_points_told_lie_on_their_side() -> None:
    found = refine(sheet(), TRUE + 2.0)
    for side, points in enumerate(found.points):
        start, end = TRUE[side], TRUE[(side + 1) % 4]
        along = (end - start) / np.linalg.norm(end - start)
        away = (points - start) @ np.array([-along[1], along[0]])
        assert len(points) > 20
        assert float(np.abs(away).max()) < 0.6


def test_a_side_that_is_held_stays() -> None:
    rough = TRUE + np.array([[0, -5.0], [0, -5.0], [2, 2], [2, 2]])
    found = refine(sheet(), rough, held=(True, False, False, False))
    line = np.cross([*rough[0], 1], [*rough[1], 1])
    away = np.abs(np.column_stack([found.quad[:2], [1, 1]]) @ line) / np.hypot(*line[:2])
    assert float(away.max()) < 1e-6
    assert found.support[0] == 0
    assert float(np.linalg.norm(found.quad[2:] - TRUE[2:], axis=1).max()) < 0.2


def test_a_soft_edge_is_told_wide() -> None:
    sharp, soft = (refine(sheet(blur), TRUE + 1.0) for blur in (0.8, 2.5))
    assert sharp.widths_px.max() < 3.5
    assert soft.widths_px.min() > 1.4 * sharp.widths_px.max()


def test_a_line_beside_the_edge_makes_it_no_wider() -> None:
    lab = sheet()
    plain = refine(lab, TRUE).widths_px
    inner = TRUE + np.array([[12, 12], [-12, 12], [-12, -12], [12, -12]])
    cv2.polylines(lab, [np.round(inner).astype(np.int32)], True, (40, 0, 0))
    assert refine(lab, TRUE, reach=0.04, rounds=1).widths_px == pytest.approx(plain, rel=0.15)


def test_strokes_that_run_beside_a_side_take_none_of_its_points() -> None:
    lab = sheet()
    plain = refine(lab, TRUE, rounds=1).points[0]
    for start in range(100, 400, 50):
        lab[77:79, start : start + 20] = (10, 0, 0)
    found = refine(lab, TRUE, reach=0.04, rounds=1).points[0]
    assert len(found) > 0.95 * len(plain)


def test_a_stronger_edge_far_off_does_not_draw_a_side_to_itself() -> None:
    lab = sheet()
    ends = (np.round(TRUE[k] - [0, 15]).astype(int).tolist() for k in range(2))
    cv2.line(lab, next(ends), next(ends), (180, 0, 0), 4)  # far lighter than the sheet, within reach
    assert off(refine(lab, TRUE, reach=0.06)) < 0.2


def test_sides_that_lie_out_of_the_photo_stay() -> None:
    whole = np.array([[-9.0, -9], [508, -9], [508, 368], [-9, 368]])
    lab = np.full((360, 500, 3), 60, np.float32)
    lab[5:8, 20:-20] = 10  # within reach of the upper side, though little of what is within its reach is in the photo
    found = refine(lab, whole, reach=0.034)
    assert np.allclose(found.quad, whole)
    assert found.support.max() == 0


def test_no_edge_at_all_gives_no_support() -> None:
    assert refine(np.full((360, 500, 3), 60, np.float32), TRUE).support.max() == 0


def test_each_round_brings_a_rough_outline_nearer_until_it_is_enough() -> None:
    rough = TRUE + np.array([[6.0, 5], [6, -5], [-6, 5], [5, 6]])
    asked: list[Float64] = []

    def never(quad: Float64) -> bool:
        asked.append(quad)
        return False

    found = refine(sheet(), rough, reach=0.04, is_enough=never)
    away = [float(np.linalg.norm(quad - TRUE, axis=1).max()) for quad in (*asked, found.quad)]
    assert np.array_equal(asked[0], rough)
    assert away == sorted(away, reverse=True)
    assert len(away) == 3
    once = refine(sheet(), rough, reach=0.04, is_enough=lambda quad: not np.array_equal(quad, rough))
    assert np.array_equal(once.quad, asked[1])
    assert np.array_equal(refine(sheet(), rough, is_enough=lambda _: True).quad, rough)


def test_a_side_alone_is_what_it_is_among_others() -> None:
    """All sides are fitted in one pass; none may learn anything of another."""
    ends = np.stack([TRUE, np.roll(TRUE, -1, axis=0)], axis=1) + 1.5
    picture = sheet()
    picture[:, :240, 0] = 88 + 0.1 * picture[:, :240, 0]  # to the left the desk is hardly darker
    picture[:, :240, 1:] *= 0.2
    together = fit_sides(_Plane(picture), ends, 6.0, 3.0)
    for k, side in enumerate(together):
        (alone,) = fit_sides(_Plane(picture), ends[[k]], 6.0, 3.0)
        assert side is not None
        assert alone is not None
        assert np.allclose(side.line, alone.line, atol=1e-9)
        assert np.allclose(side.points, alone.points, atol=1e-6)
        assert (side.support, side.width_px) == pytest.approx((alone.support, alone.width_px), rel=1e-6)
