"""Takes of one drawing are alike, however shaken and lit; drawings of one boat with other words are not."""

import json

import cv2
import numpy as np
import pytest

from autoprep.domain import JobRecord
from autoprep.imaging.arrays import Float32
from autoprep.imaging.likeness import alike, likeness
from autoprep.job.takes import _ALIKE

_WORDS = ("Oystermaid 18 Aug", "Gray Wend 9 Sept")


def drawing(words: str, ink: float = 0.2, stones: int = 1, boat_px: float = 0.0) -> Float32:
    """(600, 800, 3) codes of a boat on its shore with a caption, drawn as dark as asked."""
    page = np.full((600, 800, 3), 245, np.uint8)
    colour = (round(255 * ink),) * 3
    hull = np.array([[180, 260], [560, 250], [500, 350], [230, 355]]) + np.array([boat_px, 0])
    cv2.polylines(page, [np.round(hull).astype(np.int32)], True, colour, 4, cv2.LINE_AA)
    for k in range(5):
        cv2.line(page, (200 + 8 * k, 270 + 16 * k), (545 - 10 * k, 262 + 17 * k), colour, 2, cv2.LINE_AA)
    rng = np.random.default_rng(stones)
    for _ in range(14):
        at = tuple(int(v) for v in rng.uniform((120, 380), (700, 440)))
        cv2.ellipse(page, at, (14, 6), 0, 0, 360, colour, 2, cv2.LINE_AA)
    cv2.putText(page, words, (150, 520), cv2.FONT_HERSHEY_SIMPLEX, 1.0, colour, 2, cv2.LINE_AA)
    return np.asarray(page / 255, np.float32)


def taken(page: Float32, blur_px: float = 0.0, shift_px: float = 0.0, shade: float = 0.0, seed: int = 0) -> Float32:
    """The page as another take gives it: shaken, squared a little differently, lit unevenly, with noise."""
    moved = cv2.warpAffine(
        page,
        np.array([[1.004, 0, shift_px], [0, 1, -shift_px]], np.float32),
        (800, 600),
        borderMode=cv2.BORDER_REPLICATE,
    )
    seen = cv2.GaussianBlur(moved, (0, 0), blur_px) if blur_px else moved
    light = 1 - shade * np.linspace(0, 1, 800, dtype=np.float32)[None, :, None]
    return np.asarray(seen * light + np.random.default_rng(seed).normal(0, 0.01, page.shape), np.float32)


@pytest.mark.parametrize("ink", [0.2, 0.75, 0.9], ids=["ink", "pencil", "hard pencil"])
def test_takes_of_one_drawing_are_alike(ink: float) -> None:
    one = likeness(taken(drawing(_WORDS[0], ink)))
    other = likeness(taken(drawing(_WORDS[0], ink), blur_px=5.0, shift_px=4.0, shade=0.06, seed=1))
    assert alike(one, one) == pytest.approx(1)
    assert alike(one, other) > _ALIKE


_OTHERS = (
    drawing(_WORDS[0], stones=2),
    drawing(_WORDS[1], stones=3),
    drawing(_WORDS[1], stones=2, boat_px=30),
)


@pytest.mark.parametrize("other", _OTHERS, ids=["other stones", "other words as well", "and another place"])
def test_another_drawing_of_the_same_boat_is_not(other: Float32) -> None:
    assert alike(likeness(taken(drawing(_WORDS[0]))), likeness(taken(other, seed=1))) < _ALIKE


def test_a_dark_figure_does_not_drown_what_is_beside_it() -> None:
    def page(seed: int) -> Float32:
        codes = np.full((600, 800, 3), 245, np.uint8)
        cv2.circle(codes, (400, 300), 120, (20, 20, 20), -1)
        for x, y in np.random.default_rng(seed).integers((20, 20), (780, 580), (70, 2)):
            cv2.circle(codes, (int(x), int(y)), 7, (160, 160, 160), -1)
        return np.asarray(codes / 255, np.float32)

    one, other = likeness(page(1)), likeness(page(2))
    assert alike(one, other) < _ALIKE - 0.2


def test_bare_sheets_and_noise_are_like_nothing() -> None:
    bare = np.full((600, 800, 3), 0.96, np.float32)
    assert alike(likeness(bare), likeness(bare)) == 0
    assert alike(likeness(taken(bare)), likeness(taken(bare, seed=1))) < 0.5


def test_an_older_records_likeness_is_none_and_a_broken_one_harms_nothing() -> None:
    record = JobRecord(job="1", photo="a.jpg", sha256="", outcome="ready", likeness=likeness(drawing(_WORDS[0])))
    old = json.loads(record.model_dump_json()) | {"likeness": [200] * 576}
    assert JobRecord.model_validate(old).likeness == ""
    assert JobRecord.model_validate_json(record.model_dump_json()).likeness == record.likeness
    for broken in ("", "no likeness", record.likeness[:40]):
        assert alike(record.likeness, broken) == 0


def test_a_likeness_is_small() -> None:
    """A ledger of 20,000 photos holds as many."""
    rough = np.random.default_rng(3).random((600, 800, 3), np.float32)
    assert len(likeness(drawing(_WORDS[0]))) < 4000
    assert len(likeness(rough)) < 5000
