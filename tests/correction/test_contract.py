"""What holds for every correction step, whatever the picture."""

from typing import Any, cast

import numpy as np
import pytest

from autoprep.correction import kind
from autoprep.correction.apply import photometry, shoulder
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.neutral import PaperWish, neutral
from autoprep.correction.outline import find_outline
from autoprep.correction.planning import STEPS, Draft, Wishes, _paper_colour, corrected, make_plan
from autoprep.correction.references import Reference
from autoprep.correction.squaring import geometry_of
from autoprep.correction.tone import lighter
from autoprep.correction.view import seen_squarely
from autoprep.domain import (
    CorrectionPlan,
    Declined,
    Geometry,
    LightField,
    Neutral,
    Outline,
    PhotoFacts,
    Sharpening,
    Tone,
)
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import AnyArray, Float32, UInt8, float32
from autoprep.imaging.colour import LUMINANCE, lab_from_linear
from autoprep.imaging.geometry import rectangle
from autoprep.pixels import Photo, Work, packed_light, quad_of


def _noise(height: int, width: int, low: float, high: float) -> Float32:
    return np.random.default_rng(3).uniform(low, high, (height, width, 3)).astype(np.float32)


PICTURES = {
    "black": np.zeros((60, 80, 3), np.float32),
    "white": np.ones((60, 80, 3), np.float32),
    "grey": np.full((60, 80, 3), 0.2, np.float32),
    "noise": _noise(90, 120, 0, 1),
    "tiny": _noise(24, 24, 0.3, 0.5),
    "narrow": np.full((400, 30, 3), 0.5, np.float32),
    "beyond": _noise(60, 80, -0.1, 1.3),
}


def draft_of(linear: Float32) -> Draft:
    codes = np.zeros((*linear.shape[:2], 3), np.uint8)
    photo = Photo(codes, PhotoFacts("png", linear.shape[1], linear.shape[0]), srgb_tables(256))
    outline = whole(photo)
    paper, _ = find_paper(linear)
    geometry = geometry_of(photo, outline)
    work, judged = Work(linear, 1.0, {"blur_px": 1.0}), kind.judge(linear, paper)
    return Draft(work, geometry, Wishes(), paper, judged, seen_squarely(photo, geometry))


def whole(photo: Photo) -> Outline:
    corners = tuple((float(x), float(y)) for x, y in rectangle(*photo.full_px))
    return Outline(corners_px=corners, confidence=1.0, whole_photo=True)  # type: ignore[arg-type]


def plan_of(draft: Draft) -> CorrectionPlan:
    return CorrectionPlan(
        geometry=draft.geometry,
        kind=draft.judged.kind,
        paper=draft.judged.paper,
        light=draft.light,
        neutral=draft.neutral,
        tone=draft.tone,
        sharpening=draft.sharpening,
    )


@pytest.mark.parametrize("name", list(PICTURES))
@pytest.mark.parametrize("step", STEPS, ids=[name for name, _ in STEPS])
def test_steps(name: str, step: tuple[str, object]) -> None:
    """Input untouched, a part that round-trips through JSON, a reason when declined, the same on every run."""
    linear = PICTURES[name].copy()
    linear.setflags(write=False)
    one, two = draft_of(linear), draft_of(linear)
    for draft in (one, two):
        step[1](draft)  # type: ignore[operator]
    part = getattr(one, step[0])
    assert part == getattr(two, step[0])
    assert type(part).model_validate_json(part.model_dump_json()) == part
    if isinstance(part, Declined):
        assert len(part.reason) > 10


@pytest.mark.parametrize("name", list(PICTURES))
def test_whole_plans_stay_finite_and_in_range(name: str) -> None:
    linear = PICTURES[name]
    draft = draft_of(linear)
    for _, step in STEPS:
        step(draft)
    plan = plan_of(draft)
    out = corrected(linear, plan)
    assert np.isfinite(out).all()
    assert CorrectionPlan.model_validate_json(plan.model_dump_json()) == plan
    if draft.tone.ceiling > draft.tone.knee:
        assert out.max() <= draft.tone.ceiling + 1e-6


@pytest.mark.parametrize("shape", [(64, 48), (16, 300), (900, 1200)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_the_finder_survives_pictures_of_nothing(shape: tuple[int, int], level: int) -> None:
    codes: UInt8 = np.full((*shape, 3), level, np.uint8)
    found = find_outline(Photo(codes, PhotoFacts("png", shape[1], shape[0]), srgb_tables(256)))
    if isinstance(found, Outline):
        assert np.isfinite(quad_of(found)).all()
        assert 0 <= found.confidence <= 1


def test_strips_are_corrected_alike() -> None:
    """Correcting in strips gives what correcting at once gives: no seams."""
    y, x = np.mgrid[0:300, 0:400].astype(np.float32)
    linear = ((0.4 + 0.3 * x / 400 - 0.1 * y / 300)[..., None] * float32([1, 0.9, 0.8])).astype(np.float32)
    draft = draft_of(linear)
    for _, step in STEPS:
        step(draft)
    plan = plan_of(draft)
    assert not isinstance(plan.light, Declined)
    apply = photometry(plan, (400, 300))
    strips = np.concatenate([apply(linear[a : a + 64], 0, a) for a in range(0, 300, 64)])
    assert np.abs(strips - apply(linear, 0, 0)).max() < 1e-5
    assert strips.std(axis=(0, 1)).max() < 0.004  # and the even sheet comes out even


def test_a_plan_names_what_it_did() -> None:
    codes = np.full((120, 160, 3), 180, np.uint8)
    photo = Photo(codes, PhotoFacts("png", 160, 120), srgb_tables(256))
    plan, _, measures = make_plan(photo, whole(photo), Wishes())
    assert plan.paper == "white"
    assert measures["paper_L"] == pytest.approx(96.5, abs=0.3)
    assert measures["paper_C"] < 0.2


def test_light_is_taken_off_where_it_lies() -> None:
    """A plan's light over the sheet, applied in strips, is the light that was there: to a part in a thousand."""
    rows, cols, width, height = 12, 16, 640, 480
    y, x = np.mgrid[0:rows, 0:cols]
    field = 0.6 * ((x + 0.5) / cols - 0.5) + 0.4 * ((y + 0.5) / rows - 0.5)
    grid = tuple((float(v),) * 3 for v in field.ravel())
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=(width, height), corners_px=((0.0, 0.0), (640.0, 0.0), (640.0, 480.0), (0.0, 480.0)),
                          ratio=4 / 3, ratio_from="corners"),
        kind="ink", paper="white", light=LightField(rows=rows, cols=cols, log_light=grid),
        neutral=Declined(reason="-"), tone=Tone(), sharpening=Sharpening(),
    )  # fmt: skip
    yy, xx = np.mgrid[0:height, 0:width]
    light = np.exp(0.6 * ((xx + 0.5) / width - 0.5) + 0.4 * ((yy + 0.5) / height - 0.5)).astype(np.float32)
    seen = np.repeat((0.4 * light)[..., None], 3, axis=2)
    apply = photometry(plan, (width, height))
    for top in (0, 100, 333):
        strip = apply(np.ascontiguousarray(seen[top : top + 90]), 0, top)
        assert strip == pytest.approx(0.4, abs=0.002)


@pytest.mark.parametrize("stops", [0.0, 0.05, 0.3])
@pytest.mark.parametrize("gain", [(1.12, 0.99, 0.82), (0.75, 1.03, 1.45)])
def test_what_the_camera_has_burnt_out_takes_no_colour(gain: tuple[float, float, float], stops: float) -> None:
    """A grey card tells the light; a glare on a painting is white all the same, and all else has the gains in full."""
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=(9, 9), corners_px=((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)), ratio=1.0,
                          ratio_from="corners"),
        kind="painting", paper="none", light=Declined(reason="-"),
        neutral=Neutral(gain=gain, source="grey reference"), tone=lighter(Tone(), stops), sharpening=Sharpening(),
    )  # fmt: skip
    seen = np.ones((1, 4, 3), np.float32) * float32([1.0, 0.985, 0.8, 0.4]).reshape(1, 4, 1)
    seen[0, 3] = (1.0, 0.4, 0.1)  # one channel alone is no white
    out = photometry(plan, (4, 1))(seen.copy(), 0, 0)[0]
    assert np.hypot(*lab_from_linear(np.clip(out[:2], 0, 1))[:, 1:].T).max() < 0.5
    if not stops:
        assert out[:2] == pytest.approx(np.full((2, 3), np.array(gain) @ LUMINANCE), rel=0.02)  # its luminance stays
        assert out[2] == pytest.approx(0.8 * np.array(gain), rel=1e-5)
        assert out[3] == pytest.approx(np.array(gain) * [1.0, 0.4, 0.1], rel=1e-5)


@pytest.mark.parametrize("size", [(140, 200), (280, 400), (1120, 1600)])
def test_the_border_of_a_shadow_is_evened_at_every_size(size: tuple[int, int]) -> None:
    """The light has a node each so many pixels, and a picture may be small."""
    width, height = size
    rows, cols = 80, 56
    field = np.where(np.arange(rows)[:, None] + np.arange(cols) < 60, -0.8, 0.0)
    grid = tuple((float(v),) * 3 for v in field.ravel())
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=size, corners_px=((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)), ratio=0.7,
                          ratio_from="corners"),
        kind="ink", paper="white", light=LightField(rows=rows, cols=cols, log_light=grid),
        neutral=Declined(reason="-"), tone=Tone(), sharpening=Sharpening(),
    )  # fmt: skip
    told = photometry(plan, size)(np.ones((height, width, 3), np.float32), 0, 0)[..., 1]
    large = photometry(plan, (5600, 8000))
    middle = [round((place + 0.5) * 5600 / width) for place in range(width)]
    y = height // 3
    row = round((y + 0.5) * 8000 / height)
    truth = large(np.ones((1, 5600, 3), np.float32), 0, row)[0, middle, 1]
    assert np.abs(np.log2(told[y] / truth)).max() < 0.09


def test_toned_paper_is_not_made_white() -> None:
    class Kraft:
        def mean_linear(self) -> AnyArray:
            return np.array([0.4, 0.3, 0.2])

    paper = cast(Any, Kraft())
    assert isinstance(neutral(paper, "toned"), Declined)
    assert isinstance(neutral(paper, "none"), Declined)
    assert "the settings" in getattr(neutral(paper, "white", "keep"), "reason", "")
    assert "as you asked" in getattr(neutral(paper, "white", "keep", asked=True), "reason", "")
    white = neutral(paper, "white")
    assert isinstance(white, Neutral)
    assert np.ptp(np.array(white.gain) * [0.4, 0.3, 0.2]) < 1e-9


@pytest.mark.parametrize("wish", ["keep", "clean"])
def test_a_grey_card_takes_out_the_lamp_and_leaves_the_papers_tint(wish: PaperWish) -> None:
    """Cream paper under a warm lamp: kept, it is cream again; clean, it is white, whatever the card says."""
    lamp, cream = np.array([1.25, 0.95, 0.62]), np.array([0.8, 0.76, 0.66])
    draft = draft_of(float32(np.ones((60, 80, 1)) * 0.8 * lamp * cream))
    gain = (lamp @ LUMINANCE.astype(np.float64)) / lamp
    draft.reference = Reference(name="card", gain=(float(gain[0]), float(gain[1]), float(gain[2])))
    draft.wishes = Wishes(paper=wish)
    for _, step in STEPS:
        step(draft)
    assert draft.judged.paper in ("white", "tinted")
    colour = corrected(draft.work.linear, plan_of(draft))[30, 40]
    expected = cream if wish == "keep" else np.ones(3)
    assert colour / colour[1] == pytest.approx(
        expected / expected[1], rel=0.02
    )  # the shoulder takes a little of the red
    assert _paper_colour(draft) == pytest.approx(colour, rel=0.06)  # a ground of paper goes with it


@pytest.mark.parametrize(("gain", "most"), [(1.0, 0.8), (1.1, 0.88), (1.5, 0.95)])
def test_a_ground_of_paper_is_never_lighter_than_a_picture_shows_it(gain: float, most: float) -> None:
    draft = draft_of(np.full((60, 80, 3), 0.8, np.float32))
    draft.tone = Tone(gain=gain)
    assert not isinstance(draft.paper, Declined)
    assert _paper_colour(draft) == pytest.approx((most,) * 3, abs=0.005)


def test_the_shoulder_bends_what_is_over_the_knee_and_nothing_else() -> None:
    tone = Tone(gain=1.0, knee=0.8, ceiling=0.95)
    linear = np.linspace(-0.1, 3, 3000, dtype=np.float32).reshape(10, 100, 3)
    kept = linear.copy()
    bent = shoulder(linear, tone)
    assert (linear == kept).all()
    below = linear <= 0.8
    assert np.abs(bent - linear)[below].max() < 1e-6
    over = linear[~below] - 0.8
    assert bent[~below] == pytest.approx(0.8 + 0.15 * (1 - np.exp(-over / 0.15)), abs=1e-5)


def test_a_high_strip_is_corrected_as_its_rows_are_one_by_one() -> None:
    light = packed_light(np.repeat(np.linspace(-0.4, 0.3, 12), 3).reshape(4, 3, 3))
    width, height = 1600, 190
    plan = plan_of(draft_of(np.full((60, 80, 3), 0.5, np.float32))).model_copy(
        update={
            "light": light,
            "neutral": Neutral(gain=(0.9, 1.0, 1.1), source="paper"),
            "tone": Tone(gain=1.2, knee=0.8, ceiling=0.95),
        }
    )
    linear, correct = _noise(height, width, 0, 1), photometry(plan, (width, height))
    linear[:, ::3] = 0.98  # some of it is burnt out
    rows = [correct(linear[k : k + 1], 0, k) for k in range(height)]
    assert correct(linear, 0, 0) == pytest.approx(np.concatenate(rows), abs=1e-6)
