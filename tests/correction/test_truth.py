"""The correction against known truth: simulated photos of the quick seeds, which no tuning used."""

import io
from functools import cache

import cv2
import numpy as np
import pytest
from PIL import Image

from autoprep.correction.outline import find_outline
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.squaring import rectify
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.pixels import Photo, quad_of
from tests import photos
from tests.lab.scene import Shot, encode_jpeg, random_spec, render
from tests.overlap import overlap_in_frame


def shot_and_photo(seed: int, long_px: int = 1200, **changes: object) -> tuple[Shot, Photo]:
    spec = random_spec(seed, **changes)  # type: ignore[arg-type]
    shot = render(spec, long_px)
    return shot, read_photo(encode_jpeg(shot))


@cache
def plain_sheet() -> tuple[Photo, Outline]:
    """A photo of a sheet with the outline that is found; it is looked for once."""
    photo = read_photo(photos.jpeg())
    outline = find_outline(photo)
    assert isinstance(outline, Outline)
    return photo, outline


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["pencil", "ink", "journal", "watercolour"])
def test_white_paper_comes_out_white_and_colours_true(kind: str) -> None:
    """Paper: chroma well inside Metamorfoze 1.0's 2; mean CIEDE2000 below FADGI 2016's 4-star 2 for paintings.

    The outline is given, so that this measures light, neutral and tone alone.
    """
    shot, photo = shot_and_photo(30040, kind=kind, desk="wood", shadow="none", glare=0.0, over="none", tone_curve=0.0)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, judged, measures = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
    assert judged.paper in ("white", "tinted")
    assert measures["paper_C"] < 0.6
    assert measures["paper_L"] == pytest.approx(96.5, abs=1.0)
    work = rectify(photo, plan.geometry, 200_000)
    found = corrected(work.linear, plan)
    height, width = found.shape[:2]
    art = cv2.resize(shot.truth.work.reflectance, (width, height), interpolation=cv2.INTER_AREA)
    bare = cv2.resize(shot.truth.work.bare.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA) > 0.99
    truth = art / np.median(art[bare], axis=0) * 0.9113  # media-relative: paper at L* 96.5
    edge = slice(height // 20, -height // 20), slice(width // 20, -width // 20)
    blurred = [cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 2.0)[edge] for picture in (found, truth)]
    difference = ciede2000(*(lab_from_linear(np.clip(picture, 0, 1)) for picture in blurred))
    assert difference.mean() < 2.0


@pytest.mark.slow
def test_paintings_and_toned_paper_are_never_whitened() -> None:
    for kind, desk in (("painting", "plaster"), ("toned", "wood")):
        shot, photo = shot_and_photo(30050, kind=kind, desk=desk, shadow="none", glare=0.0)
        corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
        plan, _, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0), Wishes())  # type: ignore[arg-type]
        assert plan.kind == kind
        assert isinstance(plan.neutral, Declined)
        assert plan.tone.gain == 1.0


def test_a_plain_sheet_is_found_to_the_pixel() -> None:
    _, outline = plain_sheet()
    assert np.abs(quad_of(outline) - photos.corners()).max() < 1.5
    assert overlap_in_frame(photos.corners(), quad_of(outline)) > 0.995


def test_the_artists_word_overrules_the_kind() -> None:
    photo, outline = plain_sheet()
    plan, judged, _ = make_plan(photo, outline, Wishes(kind="painting"))
    assert judged.kind == "painting"
    assert isinstance(plan.light, Declined)
    assert isinstance(plan.neutral, Declined)


def test_the_papers_tint_is_kept_on_request() -> None:
    photo, outline = plain_sheet()
    plan, _, measures = make_plan(photo, outline, Wishes(paper="keep"))
    assert isinstance(plan.neutral, Declined)
    assert measures["paper_C"] > 3
    clean, _, _ = make_plan(photo, outline, Wishes())
    assert not isinstance(clean.neutral, Declined)


def test_a_photo_that_is_the_work_is_not_cropped() -> None:
    rng = np.random.default_rng(8)
    art = cv2.GaussianBlur(rng.uniform(0, 255, (90, 120, 3)).astype(np.float32), (0, 0), 6)
    art = cv2.resize((art - art.min()) / np.ptp(art) * 255, (1200, 900), interpolation=cv2.INTER_CUBIC)
    out = io.BytesIO()
    Image.fromarray(art.clip(0, 255).astype(np.uint8)).save(out, "PNG")
    outline = find_outline(read_photo(out.getvalue()))
    # Either it is seen as the whole work, or it is a question; never a confident crop.
    assert isinstance(outline, Declined) or outline.whole_photo or outline.confidence < 0.9
