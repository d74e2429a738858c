"""Sheets of paper between strokes: what is believed to be one, and the light that is read off it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction import hypotheses
from autoprep.correction import sheet as sheets
from autoprep.correction.apply import shoulder
from autoprep.correction.cells import ground_cells
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import judge
from autoprep.correction.marks import lighter_marks
from autoprep.correction.planning import _washes_said
from autoprep.correction.ruling import is_ruled
from autoprep.correction.sheet import Sheet, find_sheet, washed
from autoprep.correction.tone import lighter, tone
from autoprep.domain import Declined
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMINANCE

_SIZE = (840, 1180)


def _paper(level: float = 0.88, seed: int = 1) -> Float32:
    """A bare sheet with a little grain."""
    rng = np.random.default_rng(seed)
    return np.asarray(level * np.exp(rng.normal(0, 0.01, (*_SIZE, 1))) * np.ones(3), np.float32)


def _squared(sheet: Float32, step: int = 20, strength: float = 0.4) -> Float32:
    sheet = sheet.copy()
    for at in range(7, max(_SIZE), step):
        sheet[at : at + 2] *= 1 - strength
        sheet[:, at : at + 2] *= 1 - strength
    return cv2.GaussianBlur(sheet, (0, 0), 0.8)  # type: ignore[return-value]


def _drawn(sheet: Float32) -> Float32:
    picture = sheet.copy()
    rng = np.random.default_rng(5)
    for _ in range(40):
        a, b = (rng.uniform((120, 120), (1060, 720)).astype(int) for _ in range(2))
        cv2.line(picture, tuple(int(v) for v in a), tuple(int(v) for v in b), (0.03, 0.03, 0.08), 3, cv2.LINE_AA)
    return picture


def _two_lights() -> Float32:
    """Lamp from the left, window from the right: the tint turns over the sheet, the light falls off to a third."""
    x = np.linspace(0, 1, _SIZE[1], dtype=np.float32)[None, :, None]
    lamp, window = np.array([1.3, 0.95, 0.55], np.float32), np.array([0.85, 1.0, 1.3], np.float32)
    return np.asarray((0.9 * (1 - x) ** 2 * lamp + 0.5 * x * window + 0.15) * np.ones((_SIZE[0], 1, 1)), np.float32)


def _error(sheet: Sheet, light: Float32) -> float:
    """The 98th percentile of how far the read light lies from the true one, natural log."""
    size = sheet.paper.shape[::-1]
    true = np.log(cv2.resize(light, size, interpolation=cv2.INTER_AREA))
    off = sheet.log_light - true
    return float(np.percentile(np.abs(off - np.median(off, axis=(0, 1))), 98))


@pytest.mark.parametrize("ruled", [True, False])
def test_light_of_two_colours_is_followed(ruled: bool) -> None:
    light = _two_lights()
    page = _drawn(_squared(_paper()) if ruled else _paper()) * light
    sheet = find_sheet(ground_cells(page))
    assert isinstance(sheet, Sheet), sheet
    assert sheet.explained > 0.9
    assert _error(sheet, light) < 0.06


def test_a_hard_shadow_over_half_a_squared_page_is_its_light() -> None:
    light = np.ones((*_SIZE, 3), np.float32)
    cv2.fillPoly(light, [np.array([[0, 0], [700, 0], [420, _SIZE[0]], [0, _SIZE[0]]])], (0.42, 0.46, 0.52))
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), 4), np.float32)
    sheet = find_sheet(ground_cells(_drawn(_squared(_paper())) * light))
    assert isinstance(sheet, Sheet), sheet
    lit = sheet.log_light @ LUMINANCE
    cols = lit.shape[1]
    assert lit[:, : cols // 4].mean() - lit[:, -cols // 4 :].mean() == pytest.approx(np.log(0.46), abs=0.06)


def test_a_painted_page_is_no_sheet() -> None:
    rng = np.random.default_rng(3)
    patches = cv2.resize(rng.uniform(0.05, 0.8, (9, 12, 3)).astype(np.float32), _SIZE[::-1])
    page = np.asarray(patches * np.exp(rng.normal(0, 0.15, (*_SIZE, 1))), np.float32)
    assert isinstance(find_sheet(ground_cells(page)), Declined)


def test_a_pale_wash_keeps_the_sheet_from_taking_it_for_light() -> None:
    page = _drawn(_paper())
    cv2.ellipse(page, (600, 420), (330, 220), 0, 0, 360, (0.80, 0.84, 0.88), -1)
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    light = paper.log_field(84, 118) @ LUMINANCE
    wash, bare = light[42, 60], light[8, 60]
    assert abs(wash - bare) < 0.012  # the wash is 0.05 darker than the paper; it must not be evened


def test_only_printed_lines_are_a_ruling() -> None:
    assert is_ruled(_drawn(_squared(_paper())))
    assert not is_ruled(_drawn(_paper()))
    grain = np.asarray(cv2.GaussianBlur(np.random.default_rng(2).normal(0, 0.05, _SIZE), (0, 0), 1.5))
    assert not is_ruled(np.asarray(0.4 * np.exp(grain[..., None]) * np.ones(3), np.float32))


def test_chalk_counts_as_lighter_and_what_a_camera_adds_does_not() -> None:
    grey = _paper(0.35)
    flat = np.full((84, 118, 3), np.log(0.35), np.float32)
    chalk = grey.copy()
    for y in range(200, 600, 60):
        cv2.line(chalk, (300, y), (800, y + 20), (0.75, 0.75, 0.72), 5)
    assert lighter_marks(chalk, flat) > 0.005
    sharpened = _drawn(grey)
    sharpened = np.asarray(sharpened + 2.5 * (sharpened - cv2.GaussianBlur(sharpened, (0, 0), 2.0)), np.float32)
    assert lighter_marks(sharpened, flat) < 0.001
    shine = grey.copy()
    cv2.rectangle(shine, (0, 0), (500, 90), (0.7, 0.7, 0.7), -1)  # comes in from the rim
    assert lighter_marks(shine, flat) < 0.001


def test_a_shine_inside_a_sheet_is_no_chalk_whatever_lines_run_through() -> None:
    y, x = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]].astype(np.float32)
    swell = np.exp(-(((x - 600) / 130) ** 2) - ((y - 420) / 130) ** 2)[..., None]
    flat = np.full((84, 118, 3), np.log(0.35), np.float32)
    for strength in (0.1, 0.3):
        shine = np.asarray(_drawn(_paper(0.35)) + strength * swell, np.float32)
        assert lighter_marks(shine, flat) < 0.001
    moon = np.asarray(_drawn(_paper(0.35)), np.float32)
    cv2.circle(moon, (600, 420), 60, (0.7, 0.7, 0.68), -1)
    assert lighter_marks(moon, flat) > 0.005


def test_the_rim_of_a_dim_white_sheet_counts_where_a_shine_lies() -> None:
    """Not where hardly anything is lit: on black paper that is the shine, and all of the paper seems a shadow."""
    y, x = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]].astype(np.float32)
    for (across, down), reach, strength, counts in (((300, 600), 250, 0.25, True), ((150, 700), 350, 0.4, False)):
        swell = np.exp(-(((x - across) / reach) ** 2) - ((y - down) / (0.8 * reach)) ** 2)[..., None]
        paper, _ = find_paper(np.asarray(_drawn(_paper(0.1)) + strength * swell, np.float32))
        assert not isinstance(paper, Declined)
        assert (paper.rim > 0.9) == counts


def test_ruled_paper_in_a_dim_warm_room_is_white() -> None:
    page = _drawn(_squared(_paper())) * np.array([0.34, 0.27, 0.17], np.float32)
    paper, _ = find_paper(page)
    judged = judge(page, paper)
    assert judged.paper in ("white", "tinted")
    assert not judged.guessed


def test_the_artists_word_on_the_paper_settles_it() -> None:
    page = _drawn(_paper(0.30))
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    paper = replace(paper, lighter=0.009)
    assert judge(page, paper).guessed
    assert judge(page, paper).paper == "white"
    for said, expected in (("toned", "toned"), ("none", "none"), ("white", "white")):
        told = judge(page, paper, said_paper=said)  # type: ignore[arg-type]
        assert (told.paper, told.guessed) == (expected, False)


def test_a_tinted_shadow_is_light_where_the_artist_says_that_there_are_no_washes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What a lamp's shadow takes has a colour of its own, and so has a pale wash: where the shadow itself is not known
    for one, only a word tells the two apart."""
    page = _drawn(_paper(0.6))
    y, x = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]]
    across = (np.abs(x - 0.7 * y - 150) < 200).astype(np.float32)
    shade = cv2.GaussianBlur(across, (0, 0), 10)[..., None]
    page = np.asarray(page * (1 - shade * np.array([0.42, 0.36, 0.24], np.float32)), np.float32)
    monkeypatch.setattr(hypotheses, "find_shadow", lambda linear, paper: Declined(reason="no soft shadow"))

    def left(washes: bool | None) -> float:
        paper, _ = find_paper(page, True, washes)
        assert not isinstance(paper, Declined)
        even = np.log(page @ LUMINANCE) - paper.log_field(*_SIZE) @ LUMINANCE
        return float(np.median(even[across > 0]) - np.median(even[across == 0]))

    assert left(None) < -0.3
    assert left(True) < -0.3
    assert abs(left(False)) < 0.05
    kinds = [_washes_said(kind) for kind in (None, "journal", "watercolour", "ink", "pencil")]
    assert kinds == [None, None, True, False, False]


def test_the_shade_of_bends_is_evened_or_stays_as_the_artist_asks() -> None:
    x = np.arange(_SIZE[1], dtype=np.float32)[None, :, None]
    page = np.asarray(_drawn(_squared(_paper())) * (1 + 0.12 * np.sin(x / 60)), np.float32)
    spread = []
    for flat in (True, False):
        paper, _ = find_paper(page, flat)
        assert not isinstance(paper, Declined)
        ground = ground_cells(page)
        left = ground.luma - paper.log_field(*ground.shape) @ LUMINANCE
        spread.append(float(np.std(np.median(left, axis=0))))
    assert spread[0] < 0.03
    assert spread[1] > 0.06


def test_lighter_lifts_what_no_paper_tells_and_never_white_paper() -> None:
    grey = tone(Declined(reason="none"), "none")
    lifted = lighter(grey, 0.5)
    assert lifted.gain == pytest.approx(2**0.5)
    values = np.linspace(0, 1.4, 50, dtype=np.float32)
    bent = shoulder(values * lifted.gain, lifted)
    assert bent.max() < lifted.ceiling
    assert (np.diff(bent) > 0).all()
    assert lighter(grey, 0) == grey
    assert lighter(grey, -1).gain == 0.5


def test_a_shine_on_black_paper_is_not_taken_for_its_light() -> None:
    y, x = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]].astype(np.float32)
    gloss = 0.25 * np.exp(-(((x - 500) / 160) ** 2) - ((y - 400) / 120) ** 2)[..., None]
    black = np.asarray(_paper(0.035) + gloss, np.float32)
    assert isinstance(find_sheet(ground_cells(black)), Declined)
    assert isinstance(find_sheet(ground_cells(_paper(0.035))), Sheet)


def test_a_dim_ruled_page_half_in_shadow_is_a_sheet() -> None:
    light = np.full((*_SIZE, 3), 0.06, np.float32)
    light[:, 700:] = 0.16
    page = _drawn(_squared(_paper())) * np.asarray(cv2.GaussianBlur(light, (0, 0), 5), np.float32)
    sheet = find_sheet(ground_cells(page))
    assert isinstance(sheet, Sheet), sheet
    assert judge(page, find_paper(page)[0]).paper == "white"


def test_soft_pale_washes_are_left_to_the_level() -> None:
    """Washes without a hard edge: the sheet's light would follow them, so it must not be asked."""
    y, x = np.mgrid[0 : _SIZE[0], 0 : _SIZE[1]].astype(np.float32)
    page = _drawn(_paper())
    for cx, cy in ((300, 250), (820, 300), (560, 600)):
        wash = np.exp(-(((x - cx) / 110) ** 2) - ((y - cy) / 90) ** 2)[..., None]
        page = np.asarray(page * np.exp(-wash * np.array([0.16, 0.08, 0.0])), np.float32)
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    light = paper.log_field(84, 118) @ LUMINANCE
    assert light[10, 100] - light[25, 30] < 0.02


@pytest.mark.parametrize(
    ("places", "light", "is_wash"),
    [
        ([(600, 420)], 0.93, True),
        ([(60, 420)], 0.93, False),  # it comes in from the rim, as shadows do
        ([(600, 420)], 1.07, False),  # lighter: a shine
        ([(150 + 130 * k, 420) for k in range(7)], 0.93, False),  # scattered: the paper's own waves
    ],
    ids=["wash", "shadow", "shine", "waves"],
)
def test_what_lies_within_the_sheet_with_paper_all_around_is_a_wash(
    places: list[tuple[int, int]], light: float, is_wash: bool
) -> None:
    plain = np.ones((*_SIZE, 1), np.float32)
    for place in places:
        size = (250, 180) if len(places) == 1 else (50, 40)
        cv2.ellipse(plain, place, size, 0, 0, 360, light, -1)
    bare, page = (ground_cells(np.asarray(_paper() * seen, np.float32)) for seen in (1, plain))
    smooth, sheet = find_sheet(bare), find_sheet(page)
    assert isinstance(smooth, Sheet)
    assert isinstance(sheet, Sheet)
    follows = replace(sheet, log_light=page.logs)
    share = washed(follows, smooth.log_light, page)
    assert (0.1 < share < 0.2) if is_wash else share == 0


def test_a_pale_wash_in_warm_light_is_no_evidence_for_the_sheet() -> None:
    """The sheet's light follows it and explains an eighth of the ground more; it is the wash all the same."""
    wash = np.zeros(_SIZE, np.float32)
    cv2.ellipse(wash, (680, 440), (260, 190), 20, 0, 360, 1, -1)
    wash = np.asarray(cv2.GaussianBlur(wash, (0, 0), 2.0), np.float32)[..., None]
    light = np.linspace(1.0, 0.82, _SIZE[1], dtype=np.float32)[None, :, None] * np.array([1.25, 0.96, 0.66], np.float32)
    page = np.asarray(_drawn(np.asarray(_paper(0.8) * light, np.float32)) * (1 - 0.055 * wash), np.float32)
    paper, _ = find_paper(page)
    assert not isinstance(paper, Declined)
    assert paper.sheet is None
    across = paper.log_field(84, 118) @ LUMINANCE
    assert abs(across[44, 68] - (across[44, 30] + across[44, 106]) / 2) < 0.02


def test_of_a_work_in_washes_the_level_of_the_paper_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where both explain most of the ground and the sheet more of it, the artist's word decides."""
    monkeypatch.setattr(hypotheses, "_AS_WELL", -1.0)
    page = _drawn(_paper())
    by_sheet, by_level = (find_paper(page, washes=said)[0] for said in (False, True))
    assert not isinstance(by_sheet, Declined)
    assert not isinstance(by_level, Declined)
    assert by_sheet.sheet is not None
    assert by_level.sheet is None


def test_cells_that_are_paper_in_the_light_beside_them_join_it() -> None:
    """Two looks reach further than one: what joins first shows more of the light."""
    x = np.linspace(0, -0.24, 60, dtype=np.float32)
    luma = np.broadcast_to(x, (40, 60)).copy()
    logs = np.repeat(luma[..., None], 3, axis=2)
    open_, nowhere = np.ones(luma.shape, bool), np.zeros(luma.shape, bool)
    ground = sheets._Ground(logs, logs, luma, open_, open_, nowhere, ruled=False)
    believed = nowhere.copy()
    believed[:, :10] = True
    never = nowhere.copy()
    never[:10, 12:16] = True
    paper, light = sheets._followed(ground, believed, never, nowhere)
    assert paper[:, :10].all()
    assert paper[20:, 10:16].all()
    assert not paper[:10, 12:16].any()
    once, _ = sheets._followed(ground, paper, never, nowhere)
    assert once.sum() > paper.sum() > believed.sum()
    assert np.abs(light - logs)[:, :16].max() < 0.04
