"""The level of bare paper, on sheets of any proportion."""

from weakref import ref

import cv2
import numpy as np
import pytest

from autoprep.correction import paper as papers
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import judge
from autoprep.correction.paper import find_level
from autoprep.correction.paper_search import Search, _light_of_each, prepare
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Declined, Outline, PhotoFacts
from autoprep.imaging.arrays import Float32
from autoprep.pixels import Photo


def _strip(ratio: int, *, stands: bool) -> Float32:
    """A sheet of white paper with pencil strokes in the light of a lamp at one end, a whisker of the desk around it."""
    rng, (high, wide) = np.random.default_rng(4), (960 // ratio, 960)
    sheet = np.full((high, wide, 3), 0.87, np.float32)
    for x in range(40, wide - 40, 26):
        sheet[high // 4 : -high // 4, x : x + 3] = 0.2
    sheet *= np.linspace(0.7, 0.5, wide, dtype=np.float32)[:, None]
    sheet += rng.normal(0, 0.002, sheet.shape).astype(np.float32)
    sheet[:2] = sheet[-2:] = sheet[:, :2] = sheet[:, -2:] = 0.05
    return np.ascontiguousarray(sheet.transpose(1, 0, 2) if stands else sheet)


@pytest.mark.parametrize("stands", [False, True])
@pytest.mark.parametrize("ratio", [2, 6, 8, 12])
def test_long_strips_of_paper_have_a_rim_of_it(ratio: int, stands: bool) -> None:
    """A leporello or a scroll is no painting."""
    linear = _strip(ratio, stands=stands)
    level = find_level(linear)
    assert not isinstance(level, Declined)
    assert level.rim > 0.8
    paper, _ = find_paper(linear)
    assert judge(linear, paper).paper == "white"


def embossed(lit: float, shaded: float) -> Float32:
    """A sheet with rings pressed into it, or drawn: how much lighter one side is, how much darker the other."""
    rng = np.random.default_rng(5)
    ring = np.zeros((900, 700), np.float32)
    for radius in range(90, 330, 60):
        cv2.circle(ring, (350, 450), radius, 1.0, 9, cv2.LINE_AA)
    soft = np.asarray(cv2.GaussianBlur(ring, (0, 0), 4), np.float32)
    slope = np.roll(soft, (-4, -4), (0, 1)) - np.roll(soft, (4, 4), (0, 1))
    relief = lit * np.maximum(slope, 0) + shaded * np.minimum(slope, 0)
    grain = 1 + rng.normal(0, 0.004, ring.shape)
    return np.asarray((0.5 * np.exp(relief) * grain)[..., None] * np.ones(3), np.float32)


@pytest.mark.parametrize(
    ("lit", "shaded", "marks"),
    [(0.3, 0.3, False), (0.3, 0.0, True), (0.3, 1.2, True), (0.4, 0.4, True)],
    ids=["embossing", "chalk", "chalk and pencil", "chalk as strong as pencil"],
)
def test_the_lit_side_of_a_blank_embossing_is_no_chalk(lit: float, shaded: float, marks: bool) -> None:
    """Of six white embossings five came out grey or beige: marks lighter than the paper prove that it is toned."""
    paper = find_level(embossed(lit, shaded))
    assert not isinstance(paper, Declined)
    assert (paper.lighter > 0.005) == marks


def test_the_level_is_that_of_the_paper_and_of_its_tint() -> None:
    """A wash no darker than the paper is no paper, and mottled paper is all of it paper."""
    rng, shape = np.random.default_rng(6), (400, 480)
    mottle = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 5)
    light = np.linspace(-0.9, -0.5, shape[1]) + mottle * (0.012 / mottle.std())
    linear = np.exp(light)[..., None] * np.array([0.9, 0.9, 0.9])
    wash = np.s_[150:260, 180:330]
    linear[wash] *= np.array([0.75, 1.06, 1.2])  # of the same luminance (0.2126, 0.7152, 0.0722), bluish green
    paper = find_level(linear.astype(np.float32))
    assert not isinstance(paper, Declined)
    inner = np.s_[155:255, 185:325]
    bare = np.ones(shape, bool)
    bare[140:270, 170:340] = False
    assert paper.mask[inner].mean() < 0.02
    assert paper.mask[bare].mean() > 0.95
    told = paper.log_field(*shape).mean(axis=(0, 1))
    assert np.abs(told - (-0.7 + np.log(0.9))).max() < 0.01


def test_the_first_guess_takes_the_pixel_at_a_quantile_of_each_cell_the_first_of_equals() -> None:
    """Against a sort of each cell by itself; a cell with fewer than six plain pixels tells nothing."""
    rng = np.random.default_rng(6)
    cell = rng.integers(0, 26 * 26, 9000).astype(np.uint16)
    luma = (rng.integers(-9, 0, 9000) / 8).astype(np.float32)
    wanted = []
    for one in range(26 * 26):
        own = np.flatnonzero(cell == one)
        if len(own) >= 6:
            wanted.append(own[np.argsort(luma[own], kind="stable")][int(0.85 * len(own))])
    assert 500 < len(wanted) < 26 * 26
    assert _light_of_each(cell, luma).tolist() == wanted


def test_a_work_is_searched_once_and_nothing_is_kept_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A painting's paper is looked for, and again where it is asked whether the camera's contrast hides it."""
    searches: list[Search] = []

    def noted(small: Float32) -> Search:
        searches.append(prepare(small))
        return searches[-1]

    monkeypatch.setattr(papers, "prepare", noted)
    rng = np.random.default_rng(8)
    paint = cv2.resize(rng.uniform(0.02, 0.4, (30, 40, 3)), (800, 600), interpolation=cv2.INTER_LINEAR)
    photo = Photo(np.asarray(paint, np.float32), PhotoFacts("raw", 800, 600))
    corners = ((60.0, 50.0), (740.0, 50.0), (740.0, 550.0), (60.0, 550.0))
    _, judged, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0), Wishes())
    assert judged.paper == "none"
    assert len({id(search) for search in searches}) == len(searches) == 1
    kept = ref(searches.pop())
    assert kept() is None
