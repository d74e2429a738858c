"""Solid paint in a shadow stays: it is darker than all that lies around it, and hard all round."""

from dataclasses import replace
from typing import cast

import cv2
import numpy as np
import pytest

from autoprep.correction import hypotheses
from autoprep.correction.cells import ground_cells
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.islands import islands
from autoprep.correction.paper import find_level, on_sheet
from autoprep.correction.seen_shade import light_by_sight
from autoprep.correction.shade_eye import Sight
from autoprep.correction.sheet import find_sheet
from autoprep.domain import Declined
from autoprep.imaging.arrays import Bool, Float32, float32
from tests.lab.laid import Laid, laid_one, told

SIZE = (420, 560)
GREY = 0.45


def _ellipse(middle: tuple[int, int] = (400, 200)) -> Bool:
    cover = np.zeros(SIZE, np.uint8)
    cv2.ellipse(cover, middle, (80, 65), 0, 0, 360, (1,), -1)
    return cover > 0


def _core(cover: Bool) -> Bool:
    return np.asarray(cv2.erode(cover.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0)


def _shadow(soft_px: float) -> Float32:
    """(H, W) natural log of what a shadow leaves that comes in from the right."""
    x = np.arange(SIZE[1], dtype=np.float64)
    return np.broadcast_to(float32(-0.6 / (1 + np.exp((300 - x) / soft_px))), SIZE)


def _page(paint: Bool, soft_px: float = 12.0) -> Float32:
    """(H, W, 3) a sheet with strokes, a part of it painted grey, in a soft shadow."""
    rng = np.random.default_rng(3)
    sheet = np.where(paint[..., None], np.float32(GREY), np.ones((*SIZE, 3), np.float32))
    for _ in range(5):  # some of them cross the border of what is painted, which is not seen there
        points = rng.uniform([60, 50], [500, 370], (5, 2)).round().astype(np.int32)
        cv2.polylines(sheet, [points], False, (0.06, 0.06, 0.06), 2, cv2.LINE_AA)
    light = 0.5 * np.linspace(1, 0.85, SIZE[1], dtype=np.float32) * np.exp(_shadow(soft_px))
    grain = 1 + rng.normal(0, 0.004, (*SIZE, 1)).astype(np.float32)
    return float32(sheet * light[..., None] * grain)


def _sight(shade: Float32, bare: Float32) -> Sight:
    small = (cv2.resize(plane, (128, 128), interpolation=cv2.INTER_AREA) for plane in (shade, bare))
    return Sight(*(cast(Float32, plane) for plane in small))


def test_paint_in_a_soft_shadow_stays() -> None:
    picture, paint = _page(_ellipse()), _ellipse()
    paper, _ = find_paper(picture)
    assert not isinstance(paper, Declined)
    rest = np.log(picture) - paper.log_field(*SIZE)
    assert float(np.median(rest[_core(paint)])) < 0.7 * np.log(GREY)
    assert float(np.median(rest[:, 500:])) == pytest.approx(0, abs=0.03)  # and the shadow goes


def test_paint_that_the_eye_takes_for_deeper_shadow_stays() -> None:
    picture, paint = _page(_ellipse(), 1.0), _ellipse()
    shade = _shadow(1.0) + np.log(float32(GREY)) * paint * np.float32(0.8)
    found = light_by_sight(picture, _sight(float32(shade), np.full(SIZE, 0.95, np.float32)))
    assert not isinstance(found, Declined)
    rest = np.log(picture) - found[0].log_field(*SIZE)
    assert float(np.median(rest[_core(paint)])) < 0.7 * np.log(GREY)
    assert float(np.median(rest[:, 500:])) == pytest.approx(0, abs=0.03)


def _luma(cover: Bool, soft_px: float = 0.7, depth: float = -0.5) -> Float32:
    return float32(cv2.GaussianBlur(depth * cover.astype(np.float32), (0, 0), soft_px))


def test_an_island_is_hard_all_round_and_lies_within() -> None:
    inside, at_rim, large = _ellipse(), _ellipse((540, 200)), np.zeros(SIZE, bool)
    large[20:-20, 20:-20] = True
    assert (islands(_luma(inside)) & inside).sum() > 0.98 * inside.sum()
    assert not (islands(_luma(inside)) & ~cv2.dilate(inside.astype(np.uint8), np.ones((9, 9))).astype(bool)).any()
    for none in (_luma(inside, soft_px=30), _luma(at_rim), _luma(inside, depth=-0.09), _luma(large)):
        assert not islands(none).any()


def test_what_fades_on_one_side_is_no_island() -> None:
    """A finger's shadow, hard where it touches the sheet."""
    fading = np.clip((480 - np.arange(SIZE[1])) / 160, 0, 1)
    luma = float32(cv2.GaussianBlur(float32(-0.6 * _ellipse() * fading), (0, 0), 0.7))
    assert luma.min() < -0.55
    assert not islands(luma).any()


def test_what_is_surely_no_paper_is_not_evened_as_a_shadow_of_the_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """A painted part whose border is lost in strokes, where a shadow comes in from the rim."""
    monkeypatch.setattr("autoprep.correction.shadows.islands", lambda luma: np.zeros(luma.shape, bool))
    monkeypatch.setattr("autoprep.correction.hypotheses.find_level", lambda linear: Declined(reason="none"))
    picture, paint = _page(_ellipse()), _ellipse()
    bare = np.where(paint, 0.02, 0.95).astype(np.float32)
    for seen, stays in ((bare, True), (np.full(SIZE, 0.95, np.float32), False), (bare * np.float32(0.3), False)):
        paper, _ = find_paper(picture, sight=_sight(np.zeros(SIZE, np.float32), seen))
        assert not isinstance(paper, Declined)
        assert paper.sheet is not None
        rest = np.log(picture) - paper.log_field(*SIZE)
        assert (float(np.median(rest[_core(paint)])) < 0.7 * np.log(GREY)) == stays


def test_marks_are_told_in_the_light_that_was_found_on_all_of_the_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not in that of its lit part, which is all that is left where what is painted leaves no sheet to be believed."""
    picture = _page(_ellipse(), 1.0)
    for y in range(30, 60, 12):
        picture[y : y + 4, 60:220] *= 1.5  # chalk
    whole = find_sheet(ground_cells(picture))
    assert not isinstance(whole, Declined)
    answers = iter([whole, Declined(reason="painted")])  # as it is, and without what is painted
    monkeypatch.setattr(hypotheses, "find_sheet", lambda cells: next(answers))
    level = find_level(picture)
    assert not isinstance(level, Declined)
    monkeypatch.setattr(hypotheses, "find_level", lambda linear: replace(level, lighter=0.0))
    monkeypatch.setattr(hypotheses, "_explains_more", lambda *given: True)
    bare = np.where(_ellipse(), 0.02, 0.95).astype(np.float32)
    paper, shadow = find_paper(picture, sight=_sight(_shadow(1.0), bare))
    assert not isinstance(paper, Declined)
    assert not isinstance(shadow, Declined)
    assert paper.lighter > 0.3 * on_sheet(picture, whole).lighter > 0.001


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "kind"), [(155149, "watercolour"), (155102, "pencil")])
def test_paint_laid_into_a_shadow_of_the_lab_stays(seed: int, kind: str) -> None:
    """Two of the photos that the limits were chosen on; it was gone from both."""
    laid = laid_one(seed, kind, 900)
    assert laid is not None
    assert laid.kept > 0.75


def test_the_lab_counts_what_is_gone(capsys: pytest.CaptureFixture[str]) -> None:
    told([Laid(1, "ink", "hand", 0.9), Laid(2, "pencil", "arm", 0.3), Laid(3, "ink", "phone", 0.1)])
    said = capsys.readouterr().out
    assert "laid into 3 shadows: kept 0.30 in the median" in said
    assert "gone by half or more: 2, all but a quarter: 1\n  2 pencil under arm: kept 0.30" in said


def test_an_island_of_a_few_thousandths_of_the_work_is_seen() -> None:
    cover = np.zeros(SIZE, np.uint8)
    cv2.ellipse(cover, (300, 200), (17, 14), 0, 0, 360, (1,), -1)
    assert 0.0015 < cover.mean() < 0.004
    found = islands(np.where(cover > 0, np.float32(-0.7), np.float32(0)))
    assert found[cover > 0].all()
    assert found.mean() < 2 * cover.mean()
