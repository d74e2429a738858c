"""What the artist is told of a photo."""

from typing import Literal

import numpy as np
import pytest

from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import (
    CorrectionPlan,
    Declined,
    Geometry,
    Kind,
    LightField,
    Neutral,
    Outline,
    PhotoFacts,
    Sharpening,
    ToldBy,
    Tone,
)
from autoprep.pixels import Photo
from autoprep.told.done import advice, reasons
from tests import photos


def plan_of(width: int, height: int) -> CorrectionPlan:
    corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    geometry = Geometry(photo_px=(width, height), corners_px=corners, ratio=width / height, ratio_from="corners")
    return CorrectionPlan(
        geometry=geometry, kind="ink", paper="white", light=Declined(reason="-"), neutral=Declined(reason="-"),
        tone=Tone(), sharpening=Sharpening(),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("size", "blur_px", "told"),
    [
        ((4032, 3024), 1.2, False),
        ((4032, 3024), 1.6, True),
        ((8064, 6048), 2.6, False),  # the same photo, from a sensor of 48 megapixels
        ((8064, 6048), 3.2, True),
        ((1600, 1200), 1.2, False),  # and a small copy of it: what it can't hold is not blurred
        ((1600, 1200), 1.6, True),
    ],
)
def test_blur_is_told_by_what_it_takes_of_the_work_and_not_by_pixels(
    size: tuple[int, int], blur_px: float, told: bool
) -> None:
    measures = {
        "blur_px": blur_px, "oblique_degrees": 2.0, "work_long_side_px": float(size[0]), "clipped_percent": 0.0,
    }  # fmt: skip
    assert any("blurred" in line for line in advice(plan_of(*size), measures)) == told


@pytest.mark.parametrize("kept", [True, False])
def test_paper_whose_tint_is_kept_is_not_said_to_be_white(kept: bool) -> None:
    neutral = Declined(reason="the paper's tint is kept, as you asked") if kept else Neutral(source="paper")
    plan = plan_of(400, 300).model_copy(update={"neutral": neutral, "tone": Tone(gain=2.0), "paper": "tinted"})
    photo = Photo(np.zeros((3, 4, 3), np.uint8), PhotoFacts("jpeg", 4, 3))
    said = " ".join(reasons(plan, photo.facts, {"oblique_degrees": 1.0}))
    assert "lifted 1.0 stops" in said
    assert ("clean white" in said) != kept
    assert ("its tint stays" in said) == kept


@pytest.mark.parametrize(("paper", "kept"), [("tinted", True), ("toned", False), ("none", False)])
def test_paper_that_keeps_its_tint_beside_a_grey_card_is_told_so(paper: str, kept: bool) -> None:
    """Toned paper and paintings keep their colours anyway."""
    changes = {"neutral": Neutral(source="grey reference"), "told_by": ToldBy(colour="card.jpg"), "paper": paper}
    plan = plan_of(400, 300).model_copy(update={**changes, "tone": Tone(gain=2.0)})
    photo = Photo(np.zeros((3, 4, 3), np.uint8), PhotoFacts("jpeg", 4, 3))
    said = " ".join(reasons(plan, photo.facts, {"oblique_degrees": 1.0}))
    assert "The colour of the light was taken from card.jpg" in said
    assert ("the paper keeps its own tint" in said) == ("to the lightness of paper; its tint stays" in said) == kept
    assert "clean white" not in said


@pytest.mark.parametrize(
    ("paper", "guessed", "source", "word"),
    [
        ("toned", True, "none", "paper: white"),
        ("toned", True, "grey reference", "paper: white"),
        ("toned", False, "none", ""),
        ("white", True, "paper", "paper: toned"),
    ],
)
def test_a_guess_about_the_paper_is_told_with_the_line_that_settles_it(
    paper: str, guessed: bool, source: Literal["none", "paper", "grey reference"], word: str
) -> None:
    neutral = Declined(reason="toned") if source == "none" else Neutral(source=source)
    plan = plan_of(400, 300).model_copy(update={"neutral": neutral, "paper": paper, "paper_guessed": guessed})
    photo = Photo(np.zeros((3, 4, 3), np.uint8), PhotoFacts("jpeg", 4, 3))
    told = " ".join(reasons(plan, photo.facts, {"oblique_degrees": 1.0}))
    assert told.count("that is a guess") == int(guessed)
    assert word in told


@pytest.mark.parametrize("left", [1.0, 12.0])
def test_a_shadow_that_stays_is_told_and_how_to_take_the_photo_without_it(left: float) -> None:
    light = LightField(rows=1, cols=1, log_light=((0.0, 0.0, 0.0),))
    plan = plan_of(400, 300).model_copy(update={"light": light})
    measures = {"oblique_degrees": 1.0, "light_unevenness_percent": 5.0, "shade_left_percent": left, "blur_px": 1.0,
                "clipped_percent": 0.0}  # fmt: skip
    photo = Photo(np.zeros((3, 4, 3), np.uint8), PhotoFacts("jpeg", 4, 3))
    assert ("12 % of the sheet is still darker" in " ".join(reasons(plan, photo.facts, measures))) == (left > 2)
    assert ("A shadow fell on the work" in " ".join(advice(plan, measures))) == (left > 2)


@pytest.mark.parametrize(
    ("kind", "said", "told"),
    [
        ("ink", False, "A line “kind: ink”"),
        ("watercolour", False, "A line “kind: ink”"),
        (
            "ink",
            True,
            "you said that there are no washes on it, so it is a shadow; it could not be evened any further.",
        ),
        ("pencil", True, "it could not be evened any further."),
        ("watercolour", True, "a shadow, or a grey wash; it was left."),
    ],
)
def test_no_word_is_asked_for_that_was_said(kind: Kind, said: bool, told: str) -> None:
    light = LightField(rows=1, cols=1, log_light=((0.0, 0.0, 0.0),))
    plan = plan_of(400, 300).model_copy(update={"light": light, "kind": kind})
    measures = {"oblique_degrees": 1.0, "light_unevenness_percent": 5.0, "shade_left_percent": 3.0}
    photo = Photo(np.zeros((3, 4, 3), np.uint8), PhotoFacts("jpeg", 4, 3))
    words = " ".join(reasons(plan, photo.facts, measures | ({"kind_said": 1.0} if said else {})))
    assert "3 % of the sheet is still darker" in words
    assert told in words
    assert ("A line “kind: ink”" in words) != said


@pytest.mark.parametrize("kind", ["ink", None])
def test_a_plan_knows_whether_the_kind_was_said(kind: Kind | None) -> None:
    photo = Photo(photos.sheet(), PhotoFacts("jpeg", *photos.sheet().shape[1::-1]))
    outline = Outline(corners_px=tuple((x, y) for x, y in photos.corners().tolist()), confidence=0.99)  # type: ignore[arg-type]
    _, _, measures = make_plan(photo, outline, Wishes(kind=kind))
    assert ("kind_said" in measures) == (kind is not None)
