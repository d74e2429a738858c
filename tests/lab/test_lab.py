"""The laboratory must be right before anything is measured with it."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import piexif
import pytest
from PIL import Image, ImageCms

from autoprep.correction.fallen import BEYOND
from autoprep.correction.squaring import geometry_of
from autoprep.correction.view import seen_squarely
from autoprep.domain import Outline
from autoprep.files.reading import read_photo

from .camera import rotation
from .carriers import CARRIERS
from .colour import decode_bytes, lab_from_linear
from .demo import PHOTOS
from .flatwork import blank_board
from .lit.samples import true_light
from .profile import to_wide, wide_icc
from .scene import DESKS, SceneSpec, Shot, encode_jpeg, random_spec, render
from .spec import carried_spec
from .works import KINDS, make_work

DEMO = Path(__file__).resolve().parents[2] / "demo_inbox"
PLAIN = {
    "tone_curve": 0.0,
    "noise": 0.0,
    "blur_px": 0.0,
    "motion_px": 0.0,
    "sharpening": 0.0,
    "distortion": 0.0,
    "glare": 0.0,
    "over": "none",
}


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_renders_and_is_deterministic(kind: str) -> None:
    spec = random_spec(30001, kind)
    work = make_work(kind, 30001, 320)
    again = make_work(kind, 30001, 320)
    assert np.array_equal(work.reflectance, again.reflectance)
    assert work.reflectance.dtype == np.float32
    assert work.reflectance.shape == (*work.alpha.shape, 3) == (*work.bare.shape, 3)
    assert 0 < work.reflectance.min() <= work.reflectance.max() < 0.95
    first, second = render(spec, 320, work), render(spec, 320, again)
    assert np.array_equal(first.pixels, second.pixels)
    assert first.pixels.std() > 3


@pytest.mark.parametrize("desk", DESKS)
def test_each_desk_renders(desk: str) -> None:
    work = make_work("ink", 30002, 320)
    shot = render(random_spec(30002, "ink", desk), 320, work)
    assert shot.spec.desk == desk
    assert shot.pixels.dtype == np.uint8


def test_corners_follow_the_pinhole_formula() -> None:
    spec = SceneSpec(seed=30003, tilt_deg=14, pan_deg=-9, roll_deg=6, fill=0.7, offset=(0.4, -0.3), focal_mm35=28)
    work = make_work("ink", 30003, 200)
    shot = render(spec, 600, work)
    height, width = shot.pixels.shape[:2]
    focal_px = 28 / np.hypot(36, 24) * np.hypot(width, height)
    tilt, pan, roll = np.radians([14, -9, 6])
    w, h = work.size_mm
    for (x, y), seen in zip(((-w, -h), (w, -h), (w, h), (-w, h)), shot.truth.corners_px, strict=True):
        px, py, pz = x / 2, y / 2 * np.cos(tilt), y / 2 * np.sin(tilt)
        px, pz = px * np.cos(pan) + pz * np.sin(pan), -px * np.sin(pan) + pz * np.cos(pan)
        px, py = px * np.cos(roll) - py * np.sin(roll), px * np.sin(roll) + py * np.cos(roll)
        tx, ty, tz = shot.truth.camera.shift_mm
        expected = (width / 2 + focal_px * (px + tx) / (pz + tz), height / 2 + focal_px * (py + ty) / (pz + tz))
        assert seen == pytest.approx(expected, abs=1e-6)
    assert np.allclose(rotation(14, -9, 6) @ rotation(14, -9, 6).T, np.eye(3))


def test_the_drawn_edge_lies_on_the_true_corners() -> None:
    spec = replace(random_spec(30004, "ink", "dark"), **{**PLAIN, "distortion": 0.015}, shadow="none", vignetting=0.0)  # type: ignore[arg-type]
    work = replace(
        make_work("ink", 30004, 700),
        alpha=np.ones((10, 10), np.float32),
        reflectance=np.full((10, 10, 3), 0.88, np.float32),
    )
    shot = render(spec, 800, work)
    mask = (shot.pixels[..., 1] > 0.5 * np.percentile(shot.pixels[..., 1], 95)).astype(np.uint8)
    area = float(mask.sum())
    # The bowed sides enclose a little more or less than the straight outline: stay within a percent.
    true_area = float(cv2.contourArea(shot.truth.corners_px.astype(np.float32)))
    assert area == pytest.approx(true_area, rel=0.02)
    for corner in shot.truth.corners_px:
        inward = corner + 4 * (shot.truth.corners_px.mean(axis=0) - corner) / np.linalg.norm(
            shot.truth.corners_px.mean(axis=0) - corner
        )
        assert mask[int(inward[1]), int(inward[0])] == 1


def test_a_scene_is_the_same_at_every_resolution() -> None:
    spec = replace(random_spec(30005, "watercolour", "wood"), noise=0.0)
    small = render(spec, 480, make_work("watercolour", 30005, 400))
    large = render(spec, 960, make_work("watercolour", 30005, 800))
    assert np.allclose(small.truth.corners_px * 2, large.truth.corners_px, atol=0.5)
    reduced = cv2.resize(large.pixels, small.pixels.shape[1::-1], interpolation=cv2.INTER_AREA).astype(float)
    blurred = [cv2.GaussianBlur(p, (0, 0), 2.0) for p in (reduced, small.pixels.astype(float))]
    assert np.abs(blurred[0] - blurred[1]).mean() < 2.0


@pytest.mark.parametrize("kind", ["pencil", "watercolour", "toned"])
def test_dividing_by_the_true_light_gives_back_the_paper(kind: str) -> None:
    seed = 30006
    spec = replace(random_spec(seed, kind, "wood"), **PLAIN, exposure_ev=0.8)  # type: ignore[arg-type]
    work = make_work(kind, seed, 500)
    shot = render(spec, 1000, work)
    h, w = work.alpha.shape
    target = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    to_work = cv2.getPerspectiveTransform((shot.truth.corners_px - 0.5).astype(np.float32), target - 0.5)
    flat = cv2.warpPerspective(decode_bytes(shot.pixels), to_work, (w, h), flags=cv2.INTER_LINEAR)
    light = cv2.resize(shot.truth.light, (w, h), interpolation=cv2.INTER_LINEAR)
    bare = cv2.erode(work.bare.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    bare[:8] = bare[-8:] = False
    bare[:, :8] = bare[:, -8:] = False
    assert bare.mean() > 0.05
    ratio = (flat / light)[bare].mean(axis=0) / work.reflectance[bare].mean(axis=0)
    assert ratio == pytest.approx(np.ones(3), abs=0.01)


def test_white_paper_is_white_and_washes_are_pale() -> None:
    whites = [w for w in (make_work("ink", seed, 200) for seed in range(30010, 30030)) if w.paper == "white"]
    assert whites
    for work in whites:
        lab = lab_from_linear(work.reflectance[work.bare].mean(axis=0))
        assert 93.5 < lab[0] < 96.5
        assert np.hypot(lab[1], lab[2]) < 3.5


def test_exif_says_what_a_phone_would_say() -> None:
    shot = render(random_spec(30007, "ink"), 320, make_work("ink", 30007, 300))
    data = encode_jpeg(shot, 85, orientation=6)
    exif = piexif.load(data)
    assert exif["0th"][piexif.ImageIFD.Orientation] == 6
    assert exif["Exif"][piexif.ExifIFD.FocalLengthIn35mmFilm] == round(shot.spec.focal_mm35)
    assert exif["GPS"]
    assert exif["thumbnail"]
    stored = Image.open(io.BytesIO(data))
    assert stored.size == shot.pixels.shape[:2]
    turned = np.asarray(stored.transpose(Image.Transpose.ROTATE_270)).astype(int)
    assert np.abs(turned - shot.pixels).mean() < 6


def test_the_wide_profile_turns_back_into_srgb() -> None:
    colours = np.random.default_rng(30008).integers(20, 236, (8, 8, 3)).astype(np.uint8)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(wide_icc()))
    back = ImageCms.profileToProfile(Image.fromarray(to_wide(colours)), profile, ImageCms.createProfile("sRGB"))
    assert back is not None
    assert np.abs(np.asarray(back).astype(int) - colours).max() <= 3


@pytest.mark.skipif(not DEMO.exists(), reason="the demo photos are not in this copy")
def test_the_demo_photos_are_complete() -> None:
    paths = [DEMO / photo.name for photo in PHOTOS]
    assert all(path.exists() for path in paths)
    assert sum(path.stat().st_size for path in paths) <= 24_000_000
    orientations, profiles = set(), 0
    for path in paths:
        with Image.open(path) as picture:
            assert sorted(picture.size) == [3024, 4032]
            profiles += "icc_profile" in picture.info
        exif = piexif.load(str(path))
        orientations.add(exif["0th"][piexif.ImageIFD.Orientation])
        assert piexif.GPSIFD.GPSLatitude in exif["GPS"]
    assert profiles == 1
    assert len(orientations) > 1


@cache
def _rendered(spec: SceneSpec) -> Shot:
    return render(spec, 600)


@pytest.mark.parametrize("carrier", CARRIERS)
def test_what_carries_a_sheet_shows_around_it_and_leaves_the_sheet_as_it_is(carrier: str) -> None:
    spec = replace(carried_spec(21600, "ink", carrier), desk="wood")
    bare, carried = (_rendered(each) for each in (replace(spec, carrier="none"), spec))
    assert (bare.truth.corners_px == carried.truth.corners_px).all()
    sheet = np.zeros(bare.pixels.shape[:2], np.uint8)
    cv2.fillConvexPoly(sheet, np.round(bare.truth.corners_px).astype(np.int32), 1)
    changed = np.abs(bare.pixels.astype(np.int16) - carried.pixels).max(2) > 24
    inner = cv2.erode(sheet, np.ones((75, 75), np.uint8)) > 0
    assert changed[sheet == 0].mean() > 0.01
    assert changed[inner].mean() < 0.03 + 0.2 * (carrier == "sleeve")  # a film throws light back


@cache
def _board_and_work() -> tuple[Shot, Shot]:
    """A plain board in the place of a painting and of its desk, and the painting, in the same uneven light."""
    spec = random_spec(
        30006, "painting", "wood", **PLAIN, shadow="hand", shadow_softness_mm=20.0, shadow_at=(0.0, 0.1),
        shadow_turn_deg=30.0, falloff=0.35, vignetting=0.3, keep_highlights=True, exposure_ev=-0.5, local_contrast=0.0,
    )  # fmt: skip
    work = make_work("painting", 30006, 320)
    board, painting = render(spec, 700, blank_board(work), placed_for=work), render(spec, 700, work)
    return replace(board, truth=replace(board.truth, size_mm=work.size_mm)), painting  # the light is that of the work


@pytest.mark.parametrize("turn", [0, 90])
def test_the_light_that_is_taught_is_the_light_on_a_plain_board(turn: int) -> None:
    """As an eye is shown the board, in the place of a work and of its desk: what is left without that light is even."""
    shot, painting = _board_and_work()
    photo = read_photo(encode_jpeg(shot, 95))
    corners = tuple((float(x), float(y)) for x, y in painting.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    geometry = geometry_of(photo, outline, shot.truth.size_mm, turn)
    view, light = seen_squarely(photo, geometry), true_light(shot, geometry)
    shown = cv2.resize(view.luma, light.shape[::-1], interpolation=cv2.INTER_AREA)
    seen = cv2.resize((view.where > BEYOND).astype(np.float32), light.shape[::-1], interpolation=cv2.INTER_AREA) == 1
    assert float(light[seen].std()) > 0.15
    assert float((shown - light)[seen].std()) < 0.1 * float(light[seen].std())
