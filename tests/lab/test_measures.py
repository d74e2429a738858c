"""What is lost of a work and what is left around it, in pixels of a work of 2000: told right, and only what shows."""

from dataclasses import replace

import numpy as np
import pytest

from autoprep.domain import Corners, Geometry, Outline
from autoprep.imaging.arrays import Float64
from tests.rendering.test_render import plan_for

from .measures import OutlineMeasures, ends_of_picture, measure_outline
from .scene import Shot, random_spec, render


def _geometry(shot: Shot, quad: Float64) -> Geometry:
    corners: Corners = tuple((float(x), float(y)) for x, y in quad)  # type: ignore[assignment]
    size = (shot.pixels.shape[1], shot.pixels.shape[0])
    ratio = shot.truth.size_mm[0] / shot.truth.size_mm[1]
    return Geometry(photo_px=size, corners_px=corners, ratio=ratio, ratio_from="corners")


def _measured(shot: Shot, quad: Float64) -> OutlineMeasures:
    geometry = _geometry(shot, quad)
    return measure_outline(shot, Outline(corners_px=geometry.corners_px, confidence=1.0), geometry)


def _grown(quad: Float64, share: float) -> Float64:
    return np.asarray(quad + (quad - quad.mean(axis=0)) * share)


@pytest.fixture(scope="module")
def whole() -> Shot:
    return render(random_spec(8, "ink", "wood", fill=0.7, distortion=0.0, tilt_deg=0, pan_deg=0, roll_deg=0), 600)


def test_the_true_outline_loses_and_leaves_nothing(whole: Shot) -> None:
    found = _measured(whole, np.asarray(whole.truth.corners_px))
    assert found.jaccard == pytest.approx(1, abs=1e-6)
    assert (found.lost_px, found.left_px) == pytest.approx((0, 0), abs=0.01)


@pytest.mark.parametrize("share", [0.02, -0.02])
def test_a_rim_of_one_percent_of_the_long_side_is_twenty_pixels(whole: Shot, share: float) -> None:
    found = _measured(whole, _grown(np.asarray(whole.truth.corners_px), share))
    told, other = (found.left_px, found.lost_px) if share > 0 else (found.lost_px, found.left_px)
    assert told == pytest.approx(20, abs=0.5)  # at the long side's ends; half of 2 % at either
    assert other == 0


def test_what_lies_beyond_the_photos_border_is_not_lost_but_what_shows_beyond_the_work_is_left() -> None:
    shot = render(
        random_spec(8, "ink", "wood", fill=1.15, distortion=0.0, offset=(0, 0), tilt_deg=3, pan_deg=0, roll_deg=1), 600
    )
    size = np.array(shot.pixels.shape[1::-1])
    truth = np.asarray(shot.truth.corners_px)
    seen = np.clip(truth, 0, size)
    assert np.abs(seen - truth).max() > 10
    assert _measured(shot, seen).lost_px < 4  # clipping its corners turns two sides a little
    assert _measured(shot, _grown(seen, -0.1)).lost_px > 20
    inside = render(random_spec(8, "ink", "wood", fill=0.7, distortion=0.0), 600)
    border = np.array([[0.0, 0.0], [size[0], 0], size, [0, size[1]]])
    assert _measured(inside, border).left_px > 100


def test_what_a_torn_side_lacks_of_its_size_is_not_lost(whole: Shot) -> None:
    """The frame is the size of the sheet before it was torn; the paper ends two percent further in at its right."""
    alpha = whole.truth.work.alpha.copy()
    alpha[:, -round(0.02 * alpha.shape[1]) :] = 0
    torn = replace(whole, truth=replace(whole.truth, work=replace(whole.truth.work, alpha=alpha)))
    width, height = whole.truth.size_mm
    strip = 2000 * 0.02 * width / max(width, height)
    found = _measured(torn, np.asarray(whole.truth.corners_px))
    assert (found.lost_px, found.left_px) == pytest.approx((0, strip), abs=1.5)
    cut = tuple((x * 0.98, y) for x, y in ((0.0, 0.0), (0.5, 0), (1, 0), (1, 0.2), (1, 0.8), (1, 1), (0, 1)))
    plan = plan_for(*whole.pixels.shape[1::-1]).model_copy(
        update={"geometry": _geometry(whole, np.asarray(whole.truth.corners_px)), "silhouette": cut}
    )
    ends = ends_of_picture(plan)
    outline = Outline(corners_px=plan.geometry.corners_px, confidence=1.0)
    shown = measure_outline(torn, outline, plan.geometry, ends)
    assert (shown.lost_px, shown.left_px) == pytest.approx((0, 0), abs=1.5)
    assert measure_outline(whole, outline, plan.geometry, ends).lost_px == pytest.approx(strip, abs=1.5)


def test_a_strip_of_desk_that_is_painted_over_is_not_left(whole: Shot) -> None:
    """The outermost of a picture repeats what lies further in (see correction.rim): that much more may be outlined."""
    quad = _grown(np.asarray(whole.truth.corners_px), 0.006)
    plan = plan_for(*whole.pixels.shape[1::-1]).model_copy(
        update={"geometry": _geometry(whole, quad), "inset": (0.003, 0.003, 0.003, 0.003)}
    )
    outline = Outline(corners_px=plan.geometry.corners_px, confidence=1.0)
    bare = measure_outline(whole, outline, plan.geometry)
    shown = measure_outline(whole, outline, plan.geometry, ends_of_picture(plan))
    assert bare.left_px == pytest.approx(6, abs=0.2)
    assert shown.left_px == pytest.approx(0, abs=0.2)
    inside = plan.model_copy(update={"geometry": _geometry(whole, np.asarray(whole.truth.corners_px))})
    assert measure_outline(whole, outline, inside.geometry, ends_of_picture(inside)).lost_px == pytest.approx(
        0, abs=0.1
    )
