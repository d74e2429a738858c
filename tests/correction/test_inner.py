"""The picture inside a frame: the innermost lines along all four sides, and none where nothing is framed."""

from dataclasses import replace
from functools import cache
from typing import cast

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey, gate
from autoprep.correction.outline.inner import CLEAR, picture_inside
from autoprep.domain import Corners, Outline, PhotoFacts, WorkFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import homography, overlap, rectangle
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.job.question import Doubt
from autoprep.job.which_outline import which_outline
from autoprep.pixels import Photo, quad_of
from autoprep.wishes.tables import Settings
from tests.lab.frames import score_one_frame
from tests.test_job import order_for

pytestmark = pytest.mark.usefixtures("looked_at_once")
SIZE = (1000, 760)
OUTER = np.array([[150.0, 120], [860, 90], [880, 690], [130, 660]])


def picture(width: int, height: int) -> Float32:
    """Patches of many colours, with a horizon along all of it."""
    rough = np.random.default_rng(5).normal(0, 1, (height, width, 3)).astype(np.float32)
    painted = (0.3 + 2.2 * cv2.GaussianBlur(rough, (0, 0), 5)).clip(0.02, 0.8)
    painted[height // 2 :] *= 0.35
    return np.asarray(painted, np.float32)


def framed(rail: int, mat: int, below: int = 0, lean_px: float = 0.0) -> tuple[Float32, Float64]:
    """What made_once() made, as the caller's own."""
    photo, corners = made_once(rail, mat, below, lean_px)
    return photo.copy(), corners.copy()


@cache
def made_once(rail: int, mat: int, below: int, lean_px: float) -> tuple[Float32, Float64]:
    """A linear photo of a picture in a frame and, where it is wider than nothing, a mat; and the picture's corners.

    below: how much wider the mat is at the bottom; lean_px: how far the picture hangs askew in its frame.
    """
    width, height = 800, 620
    work = np.full((height, width, 3), (0.13, 0.09, 0.05), np.float32)
    work[rail : height - rail, rail : width - rail] = 0.75
    inside = (rail + mat, rail + mat, width - rail - mat, height - rail - mat - below)
    x0, y0, x1, y1 = inside
    work[y0:y1, x0:x1] = picture(x1 - x0, y1 - y0)
    corners = np.array([[x0, y0], [x1, y0 + lean_px], [x1, y1], [x0, y1]], np.float64)
    if lean_px:  # the mat is cut askew at its upper side
        cv2.fillConvexPoly(
            work, np.array([[x0, y0 - 1], [x1, y0 - 1], [x1, y0 + lean_px]], np.int32), (0.75, 0.75, 0.75)
        )
    matrix = homography(rectangle(width, height), OUTER)
    photo = np.full((SIZE[1], SIZE[0], 3), 0.45, np.float32)
    cv2.warpPerspective(work, matrix, SIZE, dst=photo, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_TRANSPARENT)
    noise = np.random.default_rng(8).normal(0, 0.01, photo.shape)
    mapped = cv2.perspectiveTransform(corners[None], matrix)[0]
    return np.asarray(cv2.GaussianBlur(photo, (0, 0), 0.7) * np.exp(noise), np.float32), np.asarray(mapped, np.float64)


@pytest.mark.parametrize(
    ("rail", "mat", "below", "lean"), [(40, 0, 0, 0.0), (40, 60, 0, 0.0), (25, 50, 30, 0.0), (40, 60, 0, 6.0)]
)
def test_the_picture_is_what_frame_and_mat_leave_free(rail: int, mat: int, below: int, lean: float) -> None:
    photo, true = framed(rail, mat, below, lean)
    found = picture_inside(photo, OUTER)
    assert found is not None
    assert overlap(found.quad, true) > 0.98
    assert found.support >= CLEAR


def test_a_painting_without_a_frame_has_none_inside() -> None:
    photo, _ = framed(0, 0)
    found = picture_inside(photo, OUTER)
    assert found is None or found.support < CLEAR


@pytest.mark.parametrize(
    ("across", "along"), [((70, 630), (60, 480)), ((60, 735), (60, 480))], ids=["uneven all around", "deep below"]
)
def test_lines_that_are_painted_all_across_at_uneven_distances_are_no_frame(
    across: tuple[int, ...], along: tuple[int, ...]
) -> None:
    photo, _ = framed(0, 0)
    panes = picture(800, 620)
    for x in across:
        panes[:, x : x + 5] = 0.01
    for y in along:
        panes[y : y + 5] = 0.01
    matrix = homography(rectangle(800, 620), OUTER)
    cv2.warpPerspective(panes, matrix, SIZE, dst=photo, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_TRANSPARENT)
    found = picture_inside(photo, OUTER)
    assert found is None or found.support < CLEAR


@pytest.mark.slow
def test_on_paintings_of_the_lab() -> None:
    """Quick seeds, which no tuning used: what is clear is right, and nothing is clear where there is no frame."""
    rows = [score_one_frame(seed, 1000) for seed in range(30060, 30069)]
    clear = [row for row in rows if row.support >= CLEAR]
    inside = [row for row in rows if row.framed]
    assert len(inside) >= 3
    assert [row for row in clear if row.overlap <= 0.95] == []
    assert len(clear) >= 0.8 * len(inside)


# --- what the service makes of it -------------------------------------------------------------------------------


def photo_of(linear: Float32) -> Photo:
    codes = quantise8(encode_fast(linear.clip(0, 1)))
    return Photo(codes, PhotoFacts("jpeg", SIZE[0], SIZE[1]), srgb_tables(256))


def outer(confidence: float = 0.97) -> Outline:
    return Outline(corners_px=cast(Corners, tuple(map(tuple, OUTER.tolist()))), confidence=confidence)


def settled(
    settings: Settings, word: str | None, confidence: float = 0.97, linear: Float32 | None = None
) -> Outline | Doubt:
    photo = photo_of(framed(40, 60)[0] if linear is None else linear)
    settings = settings.model_copy(
        update={"correction": settings.correction.model_copy(update={"sure_enough": gate.SURE})}
    )
    order = replace(order_for(settings, b""), facts=WorkFacts(outline=word))  # type: ignore[arg-type]
    return which_outline(order, photo, Survey(photo), outer(confidence), None)


def leaving_out(settings: Settings) -> Settings:
    return settings.model_copy(update={"inbox": settings.inbox.model_copy(update={"frames": "leave out"})})


def is_inside(found: Outline | Doubt) -> bool:
    true = framed(40, 60)[1]
    return isinstance(found, Outline) and overlap(quad_of(found), true) > 0.98


def test_a_frame_stays_unless_it_is_left_out_by_word_or_setting(studio: Settings) -> None:
    assert settled(studio, None) == outer()
    assert is_inside(settled(studio, "inside frame"))
    assert is_inside(settled(leaving_out(studio), None))
    assert settled(leaving_out(studio), "with frame") == outer()


def test_a_border_that_is_drawn_on_a_page_is_no_frame_to_a_setting_but_to_a_word(studio: Settings) -> None:
    page, _ = framed(0, 0)
    sheet = np.full((620, 800, 3), 0.78, np.float32)
    cv2.rectangle(sheet, (50, 50), (750, 570), (0.05, 0.05, 0.05), 3)
    cv2.circle(sheet, (400, 300), 120, (0.1, 0.2, 0.4), 4)
    matrix = homography(rectangle(800, 620), OUTER)
    cv2.warpPerspective(sheet, matrix, SIZE, dst=page, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_TRANSPARENT)
    assert settled(leaving_out(studio), None, linear=page) == outer()
    assert isinstance(settled(studio, "inside frame", linear=page), Outline)


def test_what_the_photo_cuts_has_no_frame_to_a_setting(studio: Settings) -> None:
    photo, order = photo_of(framed(40, 60)[0]), order_for(leaving_out(studio), b"")
    for cut in ((False, False, True, False), (True, True, True, True)):
        outline = outer().model_copy(update={"cut": cut})
        assert which_outline(order, photo, Survey(photo), outline, None) == outline


def test_what_is_not_sure_is_asked_and_offers_the_picture_inside(studio: Settings) -> None:
    for word in (None, "inside frame", "ask"):
        asked = settled(studio, word, confidence=0.6)
        assert isinstance(asked, Doubt)
        assert any(is_inside(choice) for choice in asked.choices), word


def test_where_nothing_is_framed_a_word_for_the_inside_is_a_question(studio: Settings) -> None:
    asked = settled(studio, "inside frame", linear=framed(0, 0)[0])
    assert isinstance(asked, Doubt)
    assert "No edge was seen inside" in asked.reason
    assert settled(leaving_out(studio), None, linear=framed(0, 0)[0]) == outer()
