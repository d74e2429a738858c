"""The light on a painting: a shadow of a hand is evened where it goes on beside it, and what is painted stays."""

import functools

import cv2
import numpy as np
import pytest

from autoprep.correction import light_eye, planning
from autoprep.correction.apply import light_at
from autoprep.correction.fallen import BEYOND, DESK, WORK
from autoprep.correction.kind import Judged
from autoprep.correction.light_eye import LightSight, doubtful, light_seen, look_at_light
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.references import Reference
from autoprep.correction.view import MARGIN_PX, SIDE_PX, View
from autoprep.domain import CorrectionPlan, Declined, LightField, Outline, ToldBy
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo, in_photo, light_nodes, packed_light
from autoprep.told.done import reasons
from tests.lab.measures import on_work
from tests.lab.scene import Shot, encode_jpeg, light_of, random_spec, render

_WORK = np.s_[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]
_CLEAR: dict[str, object] = {"over": "none", "glare": 0.0, "fill": 0.75, "offset": (0.0, 0.0), "blur_px": 0.8}


@functools.cache
def shot_of(shadow: str) -> tuple[Shot, Photo, Outline]:
    """A painting on a wooden desk, with the shadow of a hand over it or without."""
    spec = random_spec(
        30751, "painting", "wood", shadow=shadow, shadow_softness_mm=4.0, shadow_strength=0.75, shadow_at=(0.0, 0.2),
        shadow_turn_deg=40.0, **_CLEAR,
    )  # fmt: skip
    shot = render(spec, 1000)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    return shot, read_photo(encode_jpeg(shot, 90)), Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]


@functools.cache
def planned_of_hand() -> tuple[CorrectionPlan, Judged, dict[str, float]]:
    """What is planned for the photo with the shadow of a hand, with the eye for light and nothing said."""
    shot, photo, outline = shot_of("hand")
    return make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))


def left_uneven(shot: Shot, plan: CorrectionPlan) -> float:
    """Standard deviation of what the plan leaves of the true light's natural log."""
    at = (np.arange(64) + 0.5) / 64
    places = np.stack(np.meshgrid(at, at), axis=-1)
    px = in_photo(plan.geometry, places)
    size = np.array(shot.pixels.shape[1::-1])
    light = light_of(shot.spec, shot.truth.size_mm).at(on_work(shot, px)) @ LUMINANCE
    true = np.log(light * shot.vignette((px - size / 2) / (np.hypot(*size) / 2)))
    return float((true if isinstance(plan.light, Declined) else true - light_at(plan.light, places) @ LUMINANCE).std())


def test_the_shadow_of_a_hand_goes_from_a_painting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the lab's own light."""
    shot, photo, outline = shot_of("hand")
    plan, judged, measures = planned_of_hand()
    assert judged.paper == "none"
    monkeypatch.setattr(light_eye, "_net", lambda: None)
    without, _, _ = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
    assert isinstance(without.light, Declined)
    assert left_uneven(shot, plan) < 0.5 * left_uneven(shot, without)
    told = " ".join(reasons(plan, photo.facts, measures))
    assert "evened by what shows of it on the work and around; “as shot” in a note leaves all as it came" in told


def test_what_lies_in_no_shadow_keeps_its_level() -> None:
    plan, _, _ = planned_of_hand()
    assert isinstance(plan.light, LightField)
    nodes = light_nodes(plan.light)
    assert np.ptp(nodes, axis=-1).max() == 0  # no colour is changed
    # The hand hides less than half of the work: its middle is what is lit.
    assert abs(float(np.median(nodes))) < 0.01
    assert float(nodes.min()) < -0.4


def test_the_artist_may_keep_the_light_as_it_came() -> None:
    shot, photo, outline = shot_of("hand")
    plan, _, _ = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm, as_shot=True))
    assert isinstance(plan.light, Declined)


def test_a_reference_shot_knows_the_light_better() -> None:
    shot, photo, outline = shot_of("hand")
    width, height = photo.full_px
    told = packed_light(np.zeros((max(4, round(20 * height / width)), 20, 3), np.float32))
    reference = Reference(name="board.jpg", light=told, told_by=ToldBy(light="board.jpg"))
    plan, _, measures = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm), reference=reference)
    assert isinstance(plan.light, LightField)
    assert float(np.abs(light_nodes(plan.light)).max()) < 1e-6
    assert "evened as board.jpg tells it" in " ".join(reasons(plan, photo.facts, measures))
    other = reference.model_copy(update={"light": packed_light(np.zeros((20, 80, 3), np.float32))})
    unlike = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm), reference=other)[0]
    assert isinstance(unlike.light, LightField)  # of another format, it knows nothing: what is seen counts


def view_of(work: Float32, light: Float32, around: int = DESK) -> View:
    """A picture (n, n, 3) linear in the place of the work, on a plain desk, under a light over all of the view."""
    side = SIDE_PX - 2 * MARGIN_PX
    linear = np.full((SIDE_PX, SIDE_PX, 3), 0.3, np.float32)
    linear[_WORK] = cv2.resize(work, (side, side), interpolation=cv2.INTER_AREA)
    grain = np.random.default_rng(3).normal(1, 0.03, linear.shape)
    linear = (linear * grain * light[..., None]).astype(np.float32)
    where = np.full((SIDE_PX, SIDE_PX), around, np.uint8)
    where[_WORK] = WORK
    bright = float(np.percentile(linear[_WORK] @ LUMINANCE, 99))
    codes = encode_fast(np.clip(linear * 0.8 / bright, 0, 1).astype(np.float32)) * 255 * (where != BEYOND)[..., None]
    shown = np.round(codes).astype(np.uint8)
    return View(shown, where, np.log(linear @ LUMINANCE).astype(np.float32), shown)


def painted_night() -> Float32:
    """A picture that is dark from one corner on, with a hard border: as a shadow would be, but for the desk."""
    y, x = np.mgrid[0:256, 0:256] / 256
    hues = np.random.default_rng(5).uniform(0.25, 0.6, (8, 8, 3)).astype(np.float32)
    ground = cv2.resize(hues, (256, 256), interpolation=cv2.INTER_CUBIC)
    return np.asarray(ground * np.where(x + 0.4 * y < 0.8, 1.0, 0.35)[..., None], np.float32)


EVEN = np.ones((SIDE_PX, SIDE_PX), np.float32)


def falling() -> Float32:
    """A light that falls off across the view, natural log from .3 to -.3."""
    return np.exp(np.broadcast_to(np.linspace(0.3, -0.3, SIDE_PX), (SIDE_PX, SIDE_PX))).astype(np.float32)


def test_what_is_painted_dark_is_no_shadow() -> None:
    seen = light_seen(view_of(painted_night(), EVEN), 1.0)
    assert isinstance(seen, Declined)
    assert "left alone" in seen.reason or "even" in seen.reason


@pytest.mark.parametrize("turns", range(4))
def test_a_light_that_falls_off_on_work_and_desk_is_evened(turns: int) -> None:
    quiet = np.full((256, 256, 3), 0.4, np.float32)
    quiet[60:200, 80:180] = (0.2, 0.12, 0.1)
    light = np.ascontiguousarray(np.rot90(falling(), turns))
    seen = light_seen(view_of(quiet, light), 1.0)
    assert isinstance(seen, LightField)
    field = light_nodes(seen)[..., 1]
    true = cv2.resize(np.log(light)[_WORK], (field.shape[1], field.shape[0]), interpolation=cv2.INTER_AREA)
    assert float((true - field).std()) < 0.4 * float(true.std())


def test_with_nothing_around_it_the_light_is_left_alone() -> None:
    seen = light_seen(view_of(painted_night(), falling(), BEYOND), 1.0)
    assert isinstance(seen, Declined)
    assert seen.reason.startswith("too little shows around the work")


def test_what_lies_beyond_the_photo_is_no_desk() -> None:
    """A desk whose right half shows tells the same as all of it; too short a part of it, or a side along which the
    light hardly changes while it does across the work, tells nothing."""
    across = np.broadcast_to(np.linspace(0.24, -0.24, 128), (128, 128)).astype(np.float32)
    half, corner = (view_of(np.full((8, 8, 3), 0.4, np.float32), falling()) for _ in range(2))
    left = np.s_[:, : SIDE_PX // 2]
    half.where[left][half.where[left] == DESK] = BEYOND
    half.codes[half.where == BEYOND] = 0
    assert light_eye._goes_on(half, across) == pytest.approx(1.2, abs=0.15)
    slim = view_of(np.full((8, 8, 3), 0.4, np.float32), falling())
    outside = np.ones(slim.where.shape, bool)
    outside[MARGIN_PX - 13 : 13 - MARGIN_PX, MARGIN_PX - 13 : 13 - MARGIN_PX] = False
    slim.where[outside] = BEYOND
    assert light_eye._goes_on(slim, across) == pytest.approx(1.1, abs=0.1)
    corner.where[corner.where == DESK] = BEYOND
    corner.where[: int(0.6 * SIDE_PX), -MARGIN_PX:] = DESK
    assert light_eye._goes_on(corner, np.ascontiguousarray(across.T)) is None
    corner.where[:, -MARGIN_PX:] = DESK
    assert light_eye._goes_on(corner, np.ascontiguousarray(across.T)) not in (None, 0)
    tilted = np.ascontiguousarray(across + 0.2 * across.T)
    assert light_eye._goes_on(corner, tilted) == 0


def test_how_far_the_desk_goes_along_is_a_slope() -> None:
    """Worked by hand: a desk that changes by twice as much as the light that is said, and by a ninth more since it is
    looked at further out, where a light that falls off has fallen further; and one that does not change."""
    view = view_of(np.full((8, 8, 3), 0.4, np.float32), falling())
    across = np.linspace(0.24, -0.24, 128)
    half = np.broadcast_to(across / 2, (128, 128)).astype(np.float32)
    slope = light_eye._goes_on(view, np.ascontiguousarray(half))
    assert slope == pytest.approx(2.25, abs=0.15)
    none = light_eye._goes_on(view_of(np.full((8, 8, 3), 0.4, np.float32), EVEN), np.ascontiguousarray(half))
    assert none == pytest.approx(0.0, abs=0.05)


def test_a_bright_wall_and_the_shadow_of_the_work_itself_tell_no_light() -> None:
    """Of a dark picture on a wall that the exposure for it clips, with its own shadow on the wall below and beside."""
    view = view_of(painted_night() * 0.3, EVEN)
    assert (view.codes[4, 4] == 255).all()
    across = np.broadcast_to(np.linspace(0.24, -0.24, 128), (128, 128)).astype(np.float32)
    said = np.ascontiguousarray(across + across.T)
    view.luma[-MARGIN_PX : -MARGIN_PX + 10, MARGIN_PX + 10 :] -= 0.7
    view.luma[MARGIN_PX + 10 :, -MARGIN_PX : -MARGIN_PX + 10] -= 0.7
    assert light_eye._goes_on(view, said) == pytest.approx(0.0, abs=0.05)
    view.where[-MARGIN_PX + 13 :] = BEYOND  # where the photo ends soon below, its shadow is all that shows there
    assert light_eye._goes_on(view, said) == pytest.approx(0.0, abs=0.05)
    lit = view_of(painted_night() * 0.3, falling())
    assert light_eye._goes_on(lit, np.ascontiguousarray(across)) == pytest.approx(1.0, abs=0.15)


def test_where_the_desk_changes_less_the_light_does_too(monkeypatch: pytest.MonkeyPatch) -> None:
    slow = np.broadcast_to(np.linspace(0.3, -0.3, 128), (128, 128)).astype(np.float32)
    spans = []
    for goes_on in (0.5, 1.0, 2.0):
        monkeypatch.setattr(light_eye, "look_at_light", lambda view, it=goes_on: LightSight(slow, 0.01, it))
        field = light_seen(view_of(painted_night(), EVEN), 1.0)
        assert isinstance(field, LightField)
        spans.append(float(np.ptp(light_nodes(field))))
    assert spans == pytest.approx([0.3, 0.6, 0.6], rel=0.05)


def _sight(uneven: float, doubt: float, goes_on: float | None) -> LightSight:
    light = np.full((4, 4), uneven, np.float32)
    light[:2] *= -1  # its standard deviation is `uneven`
    return LightSight(light, doubt, goes_on)


@pytest.mark.parametrize(
    ("sight", "why"),
    [
        (_sight(0.1, 0.059, 0.41), None),
        (_sight(0.1, 0.061, 0.41), "can't be told apart"),
        (_sight(0.1, 0.059, 0.39), "can't be told apart"),
        (_sight(0.1, 0.059, None), "too little shows"),
        (_sight(0.021, 0.001, 1.0), None),
        (_sight(0.019, 0.001, 1.0), "looks even"),
    ],
)
def test_what_is_doubtful_is_not_believed(sight: LightSight, why: str | None) -> None:
    found = doubtful(sight)
    assert (found is None) if why is None else (found is not None and why in found.reason)


def test_a_hard_border_has_nodes_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """The plan of a light that changes slowly stays small, and a shadow's border is not blurred."""
    slow = np.broadcast_to(np.linspace(0.3, -0.3, 128), (128, 128)).astype(np.float32)
    steps = np.where(slow > 0, 0.3, -0.3).astype(np.float32)
    found = {}
    for name, light in (("slow", slow), ("steps", steps)):
        monkeypatch.setattr(light_eye, "look_at_light", lambda view, light=light: LightSight(light, 0.01, 1.0))
        field = light_seen(view_of(painted_night(), EVEN), 0.5)
        assert isinstance(field, LightField)
        found[name] = (field.rows, field.cols)
    assert found == {"slow": (40, 20), "steps": (128, 64)}


def test_why_it_is_left_alone_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    shot, photo, outline = shot_of("none")
    for seen in (Declined(reason="so it is"), None):
        monkeypatch.setattr(planning, "light_seen", lambda view, ratio, seen=seen: seen)
        plan, _, _ = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
        assert isinstance(plan.light, Declined)
        assert (plan.light.reason == "so it is") == (seen is not None)


def test_bare_paper_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its light is measured."""

    def refused(view: View, ratio: float) -> LightField:
        raise AssertionError("paper tells its own light")

    monkeypatch.setattr(planning, "light_seen", refused)
    shot = render(random_spec(30752, "ink", "wood", shadow="none", **_CLEAR), 900)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, judged, _ = make_plan(read_photo(encode_jpeg(shot, 90)), outline, Wishes(size_mm=shot.truth.size_mm))
    assert judged.paper != "none"
    assert isinstance(plan.light, LightField)


def test_the_light_over_the_median_is_none() -> None:
    sight = look_at_light(view_of(painted_night(), falling()))
    assert sight is not None
    assert abs(float(np.median(sight.light))) < 1e-6
    grid: Float64 = np.asarray(sight.on(20, 30), np.float64)
    assert grid.shape == (20, 30)


def test_both_showings_count_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Worked by hand: lights of +-.2 and +-.4 across make +-.3; doubts of e^-2 and e^-3 make e^-2.5."""
    half, edge = SIDE_PX // 2, MARGIN_PX // 2
    sign = np.where(np.arange(half) < half // 2, -1.0, 1.0)
    maps = [
        np.stack([np.broadcast_to(sign * light, (half, half)), np.full((half, half), doubt)]).astype(np.float32)
        for light, doubt in ((0.2, -2.0), (0.4, -3.0))
    ]
    monkeypatch.setattr(light_eye, "shown_twice", lambda net, view: maps)
    sight = look_at_light(view_of(painted_night(), EVEN))
    assert sight is not None
    assert sight.light.shape == (half - 2 * edge, half - 2 * edge)
    assert sight.doubt == pytest.approx(np.exp(-2.5), rel=1e-4)
    assert float(np.ptp(sight.light)) == pytest.approx(0.6, rel=1e-3)
