"""Local contrast that a camera has added: it is seen on bare paper, and turns no white sheet grey."""

from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction import planning
from autoprep.correction.camera import without_contrast
from autoprep.correction.local_contrast import above_surroundings, wide_surroundings, without_contrast_of
from autoprep.correction.paper import contrast_on, find_level
from autoprep.correction.paper_class import PaperClass
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.squaring import geometry_of, rectify
from autoprep.domain import Declined, Outline, PaperWord, PhotoFacts
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMINANCE
from autoprep.pixels import Photo
from tests.lab.scene import encode_jpeg, render, rough_spec

_SIZE, _QUAD = (1000, 800), ((120.0, 90.0), (880.0, 90.0), (880.0, 710.0), (120.0, 710.0))
_OUTLINE = Outline(corners_px=_QUAD, confidence=1.0)


def _photo(amount: float, chalk: bool = False, drawn: bool = True) -> Photo:
    """A grey-lit sheet on a dark desk, with dense hatching in its middle; local contrast as trade knows it: light times
    (light / that of its wide surroundings) to a power, from this test's own blur."""
    rng = np.random.default_rng(8)
    light = np.full((_SIZE[1], _SIZE[0]), 0.05, np.float32)
    light[90:710, 120:880] = 0.42
    for x in range(330, 680, 22) if drawn else ():
        light[220:600, x : x + 9] = 0.03
    if chalk:
        for y in range(130, 200, 14):
            light[y : y + 4, 200:800] = 0.8
    light *= np.linspace(1.0, 0.8, _SIZE[0], dtype=np.float32)
    around = cv2.GaussianBlur(light, (0, 0), 0.03 * _SIZE[0])
    light = light * (light / around) ** np.float32(amount)
    light += rng.normal(0, 0.001, light.shape).astype(np.float32)
    return Photo(np.repeat(light[..., None], 3, axis=2), PhotoFacts("jpeg", *_SIZE, camera=True))


def _seen(photo: Photo) -> tuple[Float32, Float32]:
    geometry = geometry_of(photo, _OUTLINE)
    return rectify(photo, geometry).linear, wide_surroundings(photo, geometry)


@pytest.mark.parametrize("amount", [0.1, 0.2, 0.28])
def test_what_was_added_is_seen_on_the_paper_and_taken_back(amount: float) -> None:
    linear, wide = _seen(_photo(amount))
    found = contrast_on(linear, wide)
    assert found == pytest.approx(amount / (1 + amount), rel=0.08)
    before, plain = _seen(_photo(0.0))[0], without_contrast_of(linear, wide, found)
    paper = np.asarray(before @ LUMINANCE > 0.25)
    paper = cv2.erode(paper.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    off, was = (float(np.abs(np.log(picture[paper] / before[paper])).mean()) for picture in (plain, linear))
    assert off < 0.25 * was


def test_where_nothing_was_added_nothing_is_seen() -> None:
    assert contrast_on(*_seen(_photo(0.0))) == 0
    assert contrast_on(*_seen(_photo(0.0, chalk=True))) == 0
    assert contrast_on(*_seen(_photo(0.6))) == 0  # no camera adds so much: it is something else


def test_little_paper_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    linear, wide = _seen(_photo(0.2))
    monkeypatch.setattr("autoprep.correction.paper._TELLS_CONTRAST", 0.999)
    assert contrast_on(linear, wide) == 0


def test_it_is_believed_where_more_of_the_sheet_is_paper_without_it() -> None:
    """Of a sheet without a drawing, whose rim alone is lifted along the dark desk, all is paper then."""
    linear, wide = _seen(_photo(0.25, drawn=False))
    amount = contrast_on(linear, wide)
    before, after = find_level(linear), find_level(without_contrast_of(linear, wide, amount))
    assert not isinstance(before, Declined)
    assert not isinstance(after, Declined)
    assert before.coverage < 0.9
    assert before.rim < 0.85
    assert min(after.coverage, after.rim) > 0.95


def test_surroundings_are_those_of_the_photo_desk_and_all() -> None:
    linear, wide = _seen(_photo(0.0, drawn=False))
    above = above_surroundings(linear, wide)
    middle, corner = above[above.shape[0] // 2, above.shape[1] // 2], above[3, 3]
    assert abs(middle) < 0.02
    assert corner > 0.5  # three quarters of what lies around a corner is dark desk


def test_a_white_sheet_in_a_phones_local_contrast_is_white() -> None:
    """Paper between dense strokes was taken for marks lighter than the paper, which prove a sheet to be grey."""
    shot = render(rough_spec(222261, "ink", None), 900)
    photo = without_contrast(read_photo(encode_jpeg(shot, shot.spec.jpeg_quality)), 0.1)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    assert make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))[0].paper == "white"


@pytest.mark.parametrize(("said", "absolute"), [("toned", False), (None, True)])
def test_what_is_known_of_the_paper_is_not_looked_for_again(
    monkeypatch: pytest.MonkeyPatch, said: PaperWord | None, absolute: bool
) -> None:
    """By the artist's word, or by levels that a colour chart told."""
    monkeypatch.setattr(planning, "contrast_on", lambda *given: pytest.fail("it is looked for"))
    assert make_plan(_photo(0.2), _OUTLINE, Wishes(said_paper=said), absolute=absolute)[0].paper == "toned"


@pytest.mark.parametrize(("left", "class_of_it"), [(0.001, "white"), (0.012, "toned")])
def test_marks_that_stay_without_it_are_marks(monkeypatch: pytest.MonkeyPatch, left: float, class_of_it: str) -> None:
    photo = _photo(0.2, chalk=True)
    real = planning._grounds_of
    answers: Iterator[tuple[PaperClass, float]] = iter([("toned", 0.02), ("white", left)])

    def told(linear: Float32, seen: planning._Seen) -> planning._Grounds:
        paper, shadow, judged = real(linear, seen)
        assert not isinstance(paper, Declined)
        named, lighter = next(answers)
        return replace(paper, lighter=lighter), shadow, judged._replace(paper=named)

    monkeypatch.setattr(planning, "_grounds_of", told)
    assert make_plan(photo, _OUTLINE, Wishes())[0].paper == class_of_it
    assert next(answers, None) is None
