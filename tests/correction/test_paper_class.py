"""White or toned: what proves it, what fitted trees say where nothing does, and that exposure tells nothing."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from autoprep.correction.camera import without_contrast
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import judge
from autoprep.correction.paper import Paper
from autoprep.correction.paper_class import measured, proven
from autoprep.correction.paper_eye import PaperSight
from autoprep.correction.paper_signs import NAMES, Around, signs
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.shade_eye import Sight
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import luminance_of_lightness
from autoprep.wishes.tables import CAMERA_CONTRAST
from tests.correction.test_sheet import _drawn, _paper, _squared
from tests.lab.fit_paper import in_other_light
from tests.lab.scene import encode_jpeg, random_spec, render


def _page(light: tuple[float, ...], lighter: float = 0.0) -> tuple[Float32, Paper]:
    page, paper = _page_with_paper(light)
    return page, replace(paper, lighter=lighter)


@cache
def _page_with_paper(light: tuple[float, ...]) -> tuple[Float32, Paper]:
    page = np.asarray(_drawn(_paper(1.0)) * np.array(light, np.float32), np.float32)
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    page.setflags(write=False)  # it is every test's
    return page, paper


def _around(paper: Paper, times: float) -> Around:
    """Things so many times as light as the paper, of its colour."""
    return Around(np.tile((paper.mean_linear() * times).astype(np.float32), (400, 1)), 0.4)


@pytest.mark.parametrize(
    ("lighter", "light", "around", "told"),
    [
        (0.006, (0.30, 0.30, 0.30), 1.0, None),  # what a white sheet in everyday light may show
        (0.009, (0.30, 0.30, 0.30), 1.0, None),
        (0.02, (0.30, 0.30, 0.30), 1.0, "toned"),
        (0.006, (0.90, 0.90, 0.90), 1.0, "light"),
        (0.009, (0.90, 0.90, 0.90), 1.0, None),
        (0.0, (0.50, 0.30, 0.12), 1.0, None),  # white under a lamp that the camera takes back nothing of, or kraft
        (0.0, (0.50, 0.25, 0.07), 1.0, "toned"),
        (0.0, (0.04, 0.04, 0.04), 1.0, None),  # a white sheet in a dim room
        (0.0, (0.04, 0.04, 0.04), 1.6, "toned"),
        (0.0, (0.01, 0.01, 0.01), 0.0, "toned"),
    ],
)
def test_marks_colour_blackness_and_lightness_prove_a_paper(
    lighter: float, light: tuple[float, ...], around: float, told: str | None
) -> None:
    """around: how many times as light as the paper the lightest things around it are."""
    page, paper = _page(light, lighter)
    beside = _around(paper, around)
    assert proven(paper, measured(paper, beside)) == told
    judged = judge(page, paper, None, beside)
    assert ("toned_logit" in judged.evidence) == (told is None)
    if told is not None:
        assert (judged.paper == "toned", judged.guessed) == (told == "toned", False)
    assert not judge(page, paper, "toned", beside).guessed


def test_a_shadow_over_all_of_a_sheet_is_taken_off_its_level_where_the_sheet_looks_light() -> None:
    page, paper = _page((0.30, 0.30, 0.30))
    shaded = replace(paper, dimmed=float(np.log(3)))
    beside = _around(paper, 3.0)
    assert measured(shaded, beside)["surroundings_to_paper"] == pytest.approx(1.0, abs=0.01)
    assert measured(paper, beside)["surroundings_to_paper"] == pytest.approx(3.0, abs=0.01)
    lit = (signs(page, shaded, beside) - signs(page, paper, beside))[[NAMES.index("level"), NAMES.index("around")]]
    assert lit == pytest.approx([np.log(3), 0.0], abs=1e-6)
    for light, level in ((0.9, 0.9), (0.84, 0.3)):
        judged = judge(page, shaded, None, beside, ground=PaperSight(light, 0.05, 0.95 - light))
        assert luminance_of_lightness(judged.evidence["paper_as_shot_L"]) == pytest.approx(level, abs=0.01)


def test_a_shadow_that_is_seen_over_all_of_the_paper_has_no_lit_part_to_be_told_by() -> None:
    page, _ = _page((0.30, 0.30, 0.30))

    def dimmed(of: Float32, shade: Float32, bare: float = 0.95) -> float:
        paper, _ = find_paper(of, sight=Sight(shade, np.full((128, 128), bare, np.float32)))
        assert not isinstance(paper, Declined)
        return paper.dimmed

    whole, most = np.full((128, 128), -0.9, np.float32), np.zeros((128, 128), np.float32)
    most[:, :80] = -0.9
    assert dimmed(page, whole) == pytest.approx(0.9, abs=0.02)
    assert dimmed(page, whole, bare=0.4) == 0.0  # the eye does not know the surface
    assert dimmed(page, whole * np.float32(0.2)) == 0.0
    shadow = page.copy()
    shadow[:, : page.shape[1] * 80 // 128] *= np.float32(np.exp(-0.9))
    assert dimmed(shadow, most) == 0.0  # beside it the paper is lit


def test_a_ruling_proves_white_paper_in_the_warmest_light() -> None:
    page = np.asarray(_drawn(_squared(_paper())) * np.array([0.34, 0.24, 0.1], np.float32), np.float32)
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    assert proven(paper, measured(paper, None)) == "light"
    assert proven(replace(paper, lighter=0.03), measured(replace(paper, lighter=0.03), None)) == "toned"


@pytest.mark.parametrize(
    ("light", "expected"),
    [
        ((0.20, 0.35, 0.22), "toned"),  # no lamp makes white paper green
        ((0.08, 0.15, 0.42), "toned"),  # nor so blue
        ((0.30, 0.30, 0.30), "white"),
        ((0.36, 0.29, 0.20), "tinted"),  # a lamp
    ],
)
def test_a_colour_that_no_lamp_gives_white_paper_is_the_papers_own(light: tuple[float, ...], expected: str) -> None:
    page, paper = _page(light)
    judged = judge(page, paper)
    assert judged.paper == expected
    # Said to be white, it is paper with a tint: what spoke for toned paper is not unseen by that.
    if expected == "toned":
        assert judge(page, paper, said_paper="white").paper == "tinted"


def test_the_same_photo_taken_darker_tells_the_same_but_its_level() -> None:
    page, paper = _page((0.5, 0.45, 0.4))
    beside = Around(np.random.default_rng(3).uniform(0.02, 0.6, (500, 3)).astype(np.float32), 0.4)
    half = replace(paper, coefficients=paper.coefficients + np.log(0.5) * np.eye(len(paper.coefficients))[:, :1])
    dim, beside_dim = page * np.float32(0.5), Around(beside.pixels * np.float32(0.5), 0.4)
    whole, darker = signs(page, paper, beside), signs(dim, half, beside_dim)
    assert len(whole) == len(NAMES)
    changed = np.abs(whole - darker) > 0.003
    assert [name for name, differs in zip(NAMES, changed, strict=True) if differs] == ["level"]
    assert darker[0] - whole[0] == pytest.approx(np.log(0.5), abs=1e-6)
    assert np.isfinite(signs(page, paper, None)).all()
    sliver = signs(page, paper, Around(beside.pixels, 0.01))
    assert not sliver[NAMES.index("around") :].any()


def test_light_of_another_tint_does_to_the_signs_what_the_trees_have_learned_it_does() -> None:
    page, paper = _page((0.5, 0.45, 0.4))
    beside = Around(np.random.default_rng(3).uniform(0.02, 0.6, (500, 1)).repeat(3, 1).astype(np.float32), 0.4)
    gain = np.exp(np.array([0.2, 0.05, -0.2])).astype(np.float32)
    moved = paper.coefficients.copy()
    moved[0] += np.log(gain)
    bluer = signs(page * gain, replace(paper, coefficients=moved), Around(beside.pixels * gain, 0.4))
    expected = in_other_light(signs(page, paper, beside)[None], 0.4, 0.05)[0]
    tints = [
        k for k, name in enumerate(NAMES) if name.endswith(("red to blue", "green", "around")) and name != "around"
    ]
    assert len(tints) == 14
    assert bluer[tints] == pytest.approx(expected[tints], abs=0.01)


def _found(seed: int, kind: str) -> tuple[str, str]:
    spec = random_spec(seed, kind, "wood")
    shot = render(spec, 900)
    photo = without_contrast(read_photo(encode_jpeg(shot, spec.jpeg_quality)), CAMERA_CONTRAST)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    _, judged, _ = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
    return shot.truth.work.paper, judged.paper


def test_coloured_paper_without_white_on_it_keeps_its_colour_and_white_paper_does_not() -> None:
    """Of 40 such sheets (seeds 2300000-) 12 were bleached where only brown, black and white marks told."""
    coloured = [_found(seed, "coloured") for seed in range(66_300_000, 66_300_005)]
    assert {paper for paper, _ in coloured} == {"coloured", "any grey"}
    assert sum(found == "toned" for _, found in coloured) >= 4
    assert [_found(seed, "ink")[1] != "toned" for seed in (66_300_010, 66_300_011)] == [True, True]
