"""What can have fallen on a work is a shadow: it comes in over the rim and darkens the desk too, or is soft, and has no
colour of its own. What is laid in solid is paint, even if the eye takes it for shade."""

import cv2
import numpy as np
import pytest

from autoprep.correction import planning
from autoprep.correction.fallen import BEYOND, DESK, WORK, as_fallen
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.squaring import rectify
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32, UInt8
from autoprep.imaging.colour import lab_fast
from autoprep.imaging.transfer import encode_fast
from tests import photos

SIDE, MARGIN = 320, 32
PAPER, TABLE = 0.8, 0.3
GREY = np.array([0.45, 0.45, 0.45], np.float32)
WARM = np.array([0.36, 0.45, 0.58], np.float32)  # what a lamp leaves that is hidden, beside a window
RED = np.array([0.7, 0.2, 0.15], np.float32)
INSIDE, OVER_RIM = (100, 100, 180, 170), (0, 120, 120, 200)


def cover(box: tuple[int, int, int, int], soft_px: float = 0.8) -> Float32:
    """(n, n) 0..1 of a rectangle x0, y0, x1, y1 of the view."""
    whole = np.zeros((SIDE, SIDE), np.float32)
    whole[box[1] : box[3], box[0] : box[2]] = 1
    return np.asarray(cv2.GaussianBlur(whole, (0, 0), soft_px), np.float32)


def where(beyond: bool = False) -> UInt8:
    place = np.full((SIDE, SIDE), DESK, np.uint8)
    place[MARGIN:-MARGIN, MARGIN:-MARGIN] = WORK
    if beyond:
        place[:, :MARGIN] = BEYOND
    return place


def seen(dark: Float32, left: Float32, on: Bool) -> tuple[Float32, UInt8]:
    """What the eye sees as shade, and the view: `dark` times the light but for `left` where it lies on `on`."""
    light = 1 - (dark * on)[..., None] * (1 - left)
    linear = np.where(where() == WORK, PAPER, TABLE)[..., None] * light
    shade = np.log(1 - dark * on * (1 - float(left @ [0.2126, 0.7152, 0.0722])))
    small = cv2.resize(shade.astype(np.float32), (SIDE // 2, SIDE // 2), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32), np.round(encode_fast(linear.astype(np.float32)) * 255).astype(np.uint8)


WORK_ALONE, EVERYWHERE = where() == WORK, np.ones((SIDE, SIDE), bool)
PAPER_EVERYWHERE = np.full((SIDE // 2, SIDE // 2), 0.9, np.float32)


def deepest_on_work(shade: Float32) -> float:
    edge = MARGIN // 2
    return float(-shade[edge:-edge, edge:-edge].min())


@pytest.mark.parametrize(
    ("box", "soft_px", "left", "on", "stays"),
    [
        (OVER_RIM, 0.8, GREY, EVERYWHERE, True),
        (OVER_RIM, 0.8, WARM, EVERYWHERE, True),
        (INSIDE, 14.0, GREY, WORK_ALONE, True),
        (INSIDE, 0.8, GREY, WORK_ALONE, False),
        (OVER_RIM, 0.8, GREY, WORK_ALONE, False),
        (OVER_RIM, 0.8, RED, EVERYWHERE, False),
        (INSIDE, 14.0, RED, WORK_ALONE, False),
    ],
    ids=[
        "hard, from outside",
        "warm, from outside",
        "soft, inside",
        "hard, inside",
        "up to the rim",
        "red",
        "soft red",
    ],
)
def test_what_has_fallen_on_a_work(
    box: tuple[int, int, int, int], soft_px: float, left: Float32, on: Bool, stays: bool
) -> None:
    shade, codes = seen(cover(box, soft_px), left, on)
    fallen = as_fallen(shade, PAPER_EVERYWHERE, codes, where())
    assert deepest_on_work(shade) > 0.5
    assert deepest_on_work(fallen) == pytest.approx(deepest_on_work(shade) if stays else 0, abs=0.07)


def test_what_the_eye_alone_sees_go_on_over_the_desk_is_paint() -> None:
    """The desk itself is as light there as beside it."""
    _, codes = seen(cover(OVER_RIM), GREY, WORK_ALONE)
    thought, _ = seen(cover(OVER_RIM), GREY, EVERYWHERE)
    assert deepest_on_work(as_fallen(thought, PAPER_EVERYWHERE, codes, where())) < 0.07
    assert deepest_on_work(as_fallen(thought, PAPER_EVERYWHERE, codes, where(beyond=True))) > 0.5  # there no desk tells


@pytest.mark.parametrize(("soft_px", "box"), [(0.8, OVER_RIM), (14.0, INSIDE)], ids=["hard", "soft"])
def test_in_a_hard_shadow_paper_is_surely_seen(soft_px: float, box: tuple[int, int, int, int]) -> None:
    """Also where no desk tells, because the work fills the photo."""
    shade, codes = seen(cover(box, soft_px), GREY, EVERYWHERE)
    for around in (where(), where(beyond=True)):
        half = np.where(shade < -0.05, 0.5, 0.9).astype(np.float32)
        drawn_on = half.copy()
        drawn_on[::2] = 0.95
        assert (deepest_on_work(as_fallen(shade, half, codes, around)) > 0.5) == (soft_px > 1)
        assert deepest_on_work(as_fallen(shade, drawn_on, codes, around)) > 0.5


def test_a_solid_part_within_a_shadow_goes_down_to_the_shadow() -> None:
    inner = (60, 140, 100, 180)
    outer, codes = seen(cover(OVER_RIM), GREY, EVERYWHERE)
    paint = cover(inner)
    small = np.asarray(cv2.resize(paint, (SIDE // 2, SIDE // 2), interpolation=cv2.INTER_AREA), np.float32)
    darker = np.round(codes * (1 - 0.4 * paint[..., None])).astype(np.uint8)
    fallen = as_fallen(outer - 0.9 * small, PAPER_EVERYWHERE, darker, where())
    assert deepest_on_work(outer - 0.9 * small) > 1.5
    assert fallen[150 // 2 : 170 // 2, 70 // 2 : 90 // 2] == pytest.approx(-0.8, abs=0.35)


@pytest.mark.slow
@pytest.mark.parametrize(
    "paint", [(0.67, 0.15, 0.10), (0.37, 0.37, 0.37), (0.10, 0.18, 0.55)], ids=["red", "grey", "blue"]
)
@pytest.mark.parametrize("place", [(0.3, 0.7), (0.02, 0.6)], ids=["inside", "at the rim"])
def test_a_plain_painted_part_keeps_its_colour(paint: tuple[float, float, float], place: tuple[float, float]) -> None:
    """Laid on a drawn sheet, whatever the eye makes of it."""
    size, box = (1400, 1200), (200, 150, 1000, 1250)
    rng = np.random.default_rng(4)
    sheet = np.full((1100, 800, 3), 0.8, np.float32)
    for _ in range(8):
        points = rng.uniform([300, 120], [700, 600], (4, 2)).round().astype(np.int32)
        cv2.polylines(sheet, [points], False, (0.05, 0.05, 0.06), 4, cv2.LINE_AA)
    at = int(place[0] * 800), int(place[1] * 1100)
    cv2.ellipse(sheet, at, (120, 90), 20, 0, 360, tuple(0.8 * c for c in paint), -1, cv2.LINE_AA)
    whole = np.full((*size, 3), 0.12, np.float32)
    whole[box[1] : box[3], box[0] : box[2]] = sheet
    whole *= np.linspace(1, 0.85, size[1], dtype=np.float32)[None, :, None]
    noisy = encode_fast(whole) + rng.normal(0, 0.006, whole.shape)
    photo = read_photo(photos.jpeg(np.round(np.clip(noisy, 0, 1) * 255).astype(np.uint8)))
    corners = ((200.0, 150.0), (1000.0, 150.0), (1000.0, 1250.0), (200.0, 1250.0))
    plan, _, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0), Wishes())
    made = planning.corrected(rectify(photo, plan.geometry).linear, plan)
    height, width = made.shape[:2]
    x, y = max(12, int(place[0] * width)), int(place[1] * height)
    found = np.median(lab_fast(made[y - 8 : y + 8, x - 8 : x + 8]), axis=(0, 1))
    true = lab_fast((np.array(paint, np.float32) * 0.913).reshape(1, 1, 3))[0, 0]
    assert np.linalg.norm(found - true) < 6
