"""A margin of bare paper around what is painted nearly to its edges, in a light that is far from even."""

from dataclasses import replace

import numpy as np
import pytest

from autoprep.correction import hypotheses
from autoprep.correction.camera import without_contrast
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import judge
from autoprep.correction.outline.answers import corners_of
from autoprep.correction.paper import Paper, find_margin
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.shade_eye import Sight
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging import fields
from autoprep.imaging.arrays import Bool, Float32
from autoprep.wishes.tables import CAMERA_CONTRAST
from tests.lab.measures import measure_colour
from tests.lab.scene import encode_jpeg, render, rough_spec

_HIGH, _WIDE, _STRIP = 480, 640, 20
# Natural log of the light: from corner to corner it falls to a quarter, and turns from a lamp's colour to a window's.
_LIGHT = np.zeros((6, 3))
_LIGHT[:3] = [[-1.0, -1.1, -1.3], [-0.4, -0.35, -0.2], [-0.35, -0.3, -0.15]]


def _margin() -> Bool:
    rim = np.ones((_HIGH, _WIDE), bool)
    rim[_STRIP:-_STRIP, _STRIP:-_STRIP] = False
    return rim


def _work() -> tuple[Float32, Float32]:
    """(H, W, 3) linear light of strips of paint within a margin of white paper, and natural log of the light on it."""
    rng = np.random.default_rng(4)
    paint = np.repeat(rng.uniform(0.05, 0.7, (_HIGH // 12, _WIDE, 3)), 12, axis=0)
    light = fields.evaluate(_LIGHT, _HIGH, _WIDE)
    surface = np.where(_margin()[..., None], 0.9, paint) * (1 + rng.normal(0, 0.004, (_HIGH, _WIDE, 1)))
    return np.asarray(surface * np.exp(light), np.float32), light


def _seen(share: float = 1.0) -> Sight:
    """What the eye for shade sees: the margin, in so much of the width and the height."""
    bare = np.zeros((128, 128), np.float32)
    bare[:5], bare[-5:], bare[:, :5], bare[:, -5:] = 1, 1, 1, 1
    bare[:, round(128 * share) :] = 0
    bare[round(128 * share) :] = 0
    return Sight(np.zeros((128, 128), np.float32), bare)


def _off(paper: Paper, light: Float32, where: Bool) -> float:
    return float(np.abs(paper.log_field(_HIGH, _WIDE) - light - np.log(0.9))[where].max())


def test_the_margin_tells_the_light_however_it_changes() -> None:
    work, light = _work()
    paper = find_margin(work, _seen().bare > 0.5)
    assert not isinstance(paper, Declined)
    assert paper.margin
    assert _off(paper, light, _margin()) < 0.06
    assert _off(paper, light, ~_margin()) < 0.06
    assert paper.rim > 0.9


def test_what_lies_on_the_margin_is_no_paper() -> None:
    work, light = _work()
    work[100:180, :_STRIP] *= np.float32(0.3)
    paper = find_margin(work, _seen().bare > 0.5)
    assert not isinstance(paper, Declined)
    assert _off(paper, light, _margin()) < 0.06
    rows, cols = paper.mask.shape
    assert not paper.mask[rows * 110 // _HIGH : rows * 170 // _HIGH, : cols * 15 // _WIDE].any()


def test_a_frame_is_no_margin() -> None:
    """Its moulding is lighter on the one side of a ridge than on the other."""
    work, _ = _work()
    across = np.minimum(*np.ogrid[:_HIGH, :_WIDE])
    inward = np.minimum(across, np.minimum(*np.ogrid[_HIGH:0:-1, _WIDE:0:-1]) - 1)
    frame = np.where(inward < _STRIP // 2, 1.06, 0.94)
    moulded = np.where(_margin(), frame, 1.0)[..., None] * work
    assert isinstance(find_margin(np.asarray(moulded, np.float32), _seen().bare > 0.5), Declined)


def test_a_few_pixels_tell_no_light() -> None:
    work, _ = _work()
    speck = np.zeros((128, 128), bool)
    speck[2:5, 2:6] = True
    assert isinstance(find_margin(work, speck), Declined)


@pytest.mark.parametrize(
    ("share", "coverage", "is_margin"), [(1.0, None, True), (1.0, 0.02, True), (1.0, 0.05, False), (0.3, None, False)]
)
def test_it_is_looked_for_where_the_level_tells_of_hardly_any_paper(
    monkeypatch: pytest.MonkeyPatch, share: float, coverage: float | None, is_margin: bool
) -> None:
    """share: of the margin that is seen; coverage: of the paper that its level tells, if any."""
    work, _ = _work()
    known = find_margin(work, _seen().bare > 0.5)
    assert not isinstance(known, Declined)
    none = Declined(reason="none stands out")
    level = none if coverage is None else replace(known, coverage=coverage, margin=False)
    monkeypatch.setattr(hypotheses, "_found", lambda *given: (level, none))
    paper, _ = find_paper(work, sight=_seen(share))
    assert (not isinstance(paper, Declined) and paper.margin) == is_margin
    assert find_paper(work)[0] is level  # without the eye nothing changes


@pytest.mark.parametrize(
    ("coverage", "margin", "light"), [(0.02, True, True), (0.02, False, False), (0.01, True, False)]
)
def test_a_margin_may_be_less_of_the_work_than_other_paper(coverage: float, margin: bool, light: bool) -> None:
    work, _ = _work()
    found = find_margin(work, _seen().bare > 0.5)
    assert not isinstance(found, Declined)
    judged = judge(work, replace(found, coverage=coverage, margin=margin))
    assert (judged.paper == "none", judged.paper in ("white", "tinted")) == (not light, light)


@pytest.mark.slow
def test_a_watercolour_with_a_margin_in_the_shadow_of_a_head() -> None:
    spec = rough_spec(235719, "watercolour", None, shadow="head")
    shot = render(spec, 1200)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    lit = without_contrast(photo, CAMERA_CONTRAST)
    plan, judged, _ = make_plan(
        lit, Outline(corners_px=corners_of(shot.truth.corners_px), confidence=1.0), Wishes(size_mm=shot.truth.size_mm)
    )
    assert judged.paper in ("white", "tinted")
    measured = measure_colour(lit, plan, shot, None, as_shot=photo)
    assert measured.delta_e < 6 < measured.delta_e_as_shot
