"""Soft shadows: followed on the paper and taken out; washes stay, and plain sheets are left alone."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import find_outline
from autoprep.correction.paper import find_level
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.shadows import find_shadow
from autoprep.correction.squaring import rectify
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32
from tests.lab.measures import measure_colour
from tests.lab.scene import encode_jpeg, random_spec, render


def sheet(seed: int = 0) -> Float32:
    rng = np.random.default_rng(seed)
    paper = np.full((420, 560, 3), 0.5, np.float32) * np.linspace(1.0, 0.8, 560, dtype=np.float32)[None, :, None]
    for _ in range(6):
        points = rng.uniform([80, 60], [480, 360], (5, 2)).round().astype(np.int32)
        cv2.polylines(paper, [points], False, (0.03, 0.03, 0.03), 2, cv2.LINE_AA)
    return (paper * (1 + rng.normal(0, 0.004, paper.shape))).astype(np.float32)


def shaded(paper: Float32, soft_px: float, colour: tuple[float, float, float] = (0.5, 0.52, 0.55)) -> Float32:
    cover = np.zeros(paper.shape[:2], np.float32)
    cv2.ellipse(cover, (560, 230), (230, 110), 12, 0, 360, 1, -1)
    cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), soft_px))
    return (paper * (1 - cover[..., None] * (1 - np.array(colour, np.float32)))).astype(np.float32)


def test_a_soft_shadow_is_found_with_its_depth() -> None:
    picture = shaded(sheet(), 14)
    paper = find_level(picture)
    assert not isinstance(paper, Declined)
    shadow = find_shadow(picture, paper)
    assert not isinstance(shadow, Declined)
    assert 0.15 < shadow.share < 0.5
    height, width = shadow.log_light.shape[:2]
    deep = shadow.log_light[round(height * 0.55), round(width * 0.9)]
    assert deep == pytest.approx(np.log([0.5, 0.52, 0.55]), abs=0.05)
    assert np.abs(shadow.log_light[:, : width // 4]).max() < 0.01


def test_no_shadow_on_a_plain_sheet() -> None:
    paper = find_level(sheet())
    assert not isinstance(paper, Declined)
    assert isinstance(find_shadow(sheet(), paper), Declined)


@pytest.mark.parametrize(
    ("soft_px", "colour"), [(0.6, (0.8, 0.8, 0.8)), (0.6, (0.93, 0.95, 0.98)), (14, (0.9, 0.75, 0.4))],
    ids=["a grey wash with an edge", "a pale wash with an edge", "a coloured wash without one"],
)  # fmt: skip
def test_washes_are_no_shadows(soft_px: float, colour: tuple[float, float, float]) -> None:
    picture = shaded(sheet(), soft_px, colour)
    paper = find_level(picture)
    assert not isinstance(paper, Declined)
    shadow = find_shadow(picture, paper)
    assert isinstance(shadow, Declined) or shadow.share < 0.02


@pytest.mark.parametrize(("depth", "is_shadow"), [(0.09, False), (0.3, True)])
def test_what_is_faint_and_touches_the_rim_in_passing_is_a_wash(depth: float, is_shadow: bool) -> None:
    """Without a border, and as grey as a shadow: so pale skies are painted."""
    cover = np.zeros((420, 560), np.float32)
    cv2.ellipse(cover, (426, 200), (140, 50), 0, 0, 360, 1, -1)
    cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), 10))
    picture = np.asarray(sheet() * (1 - depth * cover[..., None]), np.float32)
    paper = find_level(picture)
    assert not isinstance(paper, Declined)
    assert isinstance(find_shadow(picture, paper), Declined) != is_shadow


def test_a_wash_beside_a_shadow_is_no_piece_of_it() -> None:
    """The pale blue wash of a journal said that no light could be hidden there, and its corner stayed grey, untold."""
    photo = read_photo((Path(__file__).parents[2] / "demo_inbox" / "IMG_2047.jpg").read_bytes())
    outline = find_outline(photo)
    assert not isinstance(outline, Declined)
    plan, _, measures = make_plan(photo, outline, Wishes())
    assert measures["shadow_percent"] > 3
    work = corrected(rectify(photo, plan.geometry, 250_000).linear, plan)
    height, width = work.shape[:2]
    paper, corner = work[: height // 12, : width // 3], work[-height // 20 :, -width // 12 : -width // 60]
    assert np.median(corner, axis=(0, 1)) == pytest.approx(np.median(paper, axis=(0, 1)), rel=0.04)  # it was .75
    # The wash is as blue as it was painted, against the paper.
    painted = work[round(0.71 * height) : round(0.75 * height), round(0.64 * width) : round(0.67 * width)]
    wash = np.median(painted, axis=(0, 1))
    assert wash[2] / wash[0] > 1.04
    assert wash[0] < 0.92 * np.median(paper[..., 0])


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "shadow"), [("pencil", "hand"), ("ink", "phone"), ("journal", "hand")])
def test_shadows_of_the_lab_are_evened(kind: str, shadow: str) -> None:
    """Standard deviation of L* over bare paper well below what the shadow makes of it; goal 1 (FADGI 3 stars)."""
    spec = random_spec(
        30070,
        kind,
        "wood",
        shadow=shadow,
        shadow_strength=0.6,
        shadow_softness_mm=22.0,
        shadow_at=(0.4, 0.4),
        glare=0.0,
    )
    shot = render(spec, 1100)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, _, measures = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
    found = measure_colour(photo, plan, shot)
    assert measures["shadow_percent"] > 3
    assert found.paper_sd < 2.0
    assert found.delta_e < 2.0


def test_the_fold_of_a_book_is_no_shadow() -> None:
    """A soft dark valley across the middle is the page's own; a hand's shadow over it is still taken out."""
    valley = 1 - 0.25 * np.exp(-(((np.arange(560) - 280) / 9.0) ** 2))
    book = (sheet() * valley[None, :, None]).astype(np.float32)
    paper = find_level(book)
    assert not isinstance(paper, Declined)
    assert isinstance(find_shadow(book, paper), Declined)
    dark = shaded(book, 14)
    paper = find_level(dark)
    assert not isinstance(paper, Declined)
    shadow = find_shadow(dark, paper)
    assert not isinstance(shadow, Declined)
    height, width = shadow.log_light.shape[:2]
    assert np.abs(shadow.log_light[: height // 6, width // 2]).max() < 0.05
