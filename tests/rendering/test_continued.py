"""A ground of the work's own paper: no step where the sheet ends, the same grain, and nothing of the drawing in it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from autoprep.imaging.arrays import Float32, UInt8, float32
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.rendering.continued import continue_paper
from autoprep.rendering.layout import Frame
from autoprep.rendering.render import Look, Rendition
from autoprep.wishes.tables import Settings
from tests import photos
from tests.rendering.test_render import rendered
from tests.test_job import done, order_for
from tests.test_one_place import with_table

TONES = {"kraft": (171, 132, 99), "white": (243, 243, 243)}
SHEET = (140, 120, 760, 560)  # on a canvas of 900 x 700


def paper(tone: tuple[int, int, int], width: int = 620, height: int = 440, spread: float = 3.0) -> UInt8:
    """Paper with a grain that runs across, a little darker to the right and bluer below, with strokes and a wash."""
    grain = cv2.GaussianBlur(np.random.default_rng(4).normal(0, 1, (height, width)), (0, 0), 3.0, sigmaY=1.0)
    y, x = np.mgrid[0:height, 0:width]
    code = (
        np.array(tone)
        + (grain / grain.std() * spread - x / width * 6)[..., None]
        + (y / height * 4)[..., None] * [0, 0, 1]
    )
    for k in range(12):
        cv2.line(code, (200 + 20 * k, 150), (190 + 22 * k, 330), (30.0, 30.0, 40.0), 2)
    code[200:300, 60:160] -= 25
    return np.asarray(np.clip(code, 0, 255), np.uint8)


def flat_of(tone: tuple[int, int, int]) -> Float32:
    return float32([[[value / 255 for value in tone]]])


def canvas_with(sheet: UInt8, tone: tuple[int, int, int]) -> UInt8:
    canvas = np.full((700, 900, 3), tone, np.uint8)
    canvas[SHEET[1] : SHEET[3], SHEET[0] : SHEET[2]] = sheet
    return canvas


def apart(one: UInt8, two: UInt8) -> float:
    means = [lab_from_linear(srgb_to_linear(part.reshape(-1, 3).mean(0) / 255)) for part in (one, two)]
    return float(ciede2000(means[0], means[1]))


@pytest.mark.parametrize("name", TONES)
def test_the_tone_runs_on_and_the_grain_is_the_papers(name: str) -> None:
    tone = TONES[name]
    before = canvas_with(paper(tone), tone)
    canvas = before.copy()
    continue_paper(canvas, SHEET, flat_of(tone))
    x0, y0, x1, y1 = SHEET
    assert np.array_equal(canvas[y0:y1, x0:x1], before[y0:y1, x0:x1])  # nothing of the work itself is touched
    beside = [
        (np.s_[y0 + k : y0 + k + 60, x1 - 60 : x1 - 10], np.s_[y0 + k : y0 + k + 60, x1 : x1 + 50])
        for k in range(0, 380, 60)
    ]
    beside += [
        (np.s_[y1 - 60 : y1 - 10, x0 + k : x0 + k + 60], np.s_[y1 : y1 + 50, x0 + k : x0 + k + 60])
        for k in range(0, 560, 60)
    ]
    steps = [apart(before[within], canvas[beyond]) for within, beyond in beside]
    were = [apart(before[within], before[beyond]) for within, beyond in beside]
    assert np.median(were) > 0.8
    assert np.median(steps) < 0.3
    assert max(steps) < 0.8
    # The grain: as strong, and as much longer across than down, as that of the sheet (its steps to the next pixel).
    own, made = (part.astype(float)[..., 1] for part in (before[y0 + 10 : y0 + 130, x0 + 10 : x1 - 10], canvas[10:110]))
    for axis in (0, 1):
        strengths = [float(np.abs(np.diff(part, axis=axis)).mean()) for part in (own, made)]
        assert strengths[1] == pytest.approx(strengths[0], rel=0.2)
    assert np.abs(made - cv2.GaussianBlur(made, (0, 0), 12)).max() < 8 * 3  # no stroke, no wash in it


def test_it_is_the_same_each_time_and_in_sixteen_bits() -> None:
    tone = TONES["kraft"]
    made = []
    for factor in (1, 1, 257):
        canvas = (canvas_with(paper(tone), tone).astype(int) * factor).astype(np.uint8 if factor == 1 else np.uint16)
        continue_paper(canvas, SHEET, flat_of(tone))
        made.append(canvas.astype(float) / factor)
    assert np.array_equal(made[0], made[1])
    assert np.abs(made[2] - made[0]).max() < 1.5


def test_torn_edges_melt_into_it() -> None:
    """A pixel that the sheet covers by half is half of it and half of the ground."""
    tone = TONES["kraft"]
    canvas = canvas_with(paper(tone), tone)
    cover = np.full((440, 620), 255, np.uint8)
    cover[:, :40], cover[:, 40] = 0, 128
    flat = flat_of(tone)
    sheet = canvas[SHEET[1] : SHEET[3], SHEET[0] : SHEET[2]]
    share = cover[..., None] / 255
    sheet[:] = np.rint(np.array(tone) + (sheet - np.array(tone)) * share)
    before = canvas.copy()
    continue_paper(canvas, SHEET, flat, cover)
    assert np.array_equal(canvas[200:500, 200:700], before[200:500, 200:700])
    changed = canvas.astype(int) - before
    torn = SHEET[0] + 40
    assert changed[200:500, torn - 30 : torn].std() > 2
    half, whole = changed[200:500, torn].std(), changed[200:500, torn - 1].std()
    assert half == pytest.approx(whole / 2, rel=0.3)
    assert not changed[200:500, torn + 1 : torn + 9].any()


def test_a_line_of_desk_along_the_edge_does_not_go_on() -> None:
    """The outermost cells of the sheet may hold some of the desk, too little of it to be told from paper."""
    tone = TONES["kraft"]
    canvas = canvas_with(paper(tone), tone)
    _, y0, x1, y1 = SHEET
    clean = canvas[y0:y1, x1 - 30 : x1 - 10].reshape(-1, 3).mean(axis=0)
    canvas[y0:y1, x1 - 8 : x1] += 10
    continue_paper(canvas, SHEET, flat_of(tone))
    assert canvas[y0:y1, x1 : x1 + 20].reshape(-1, 3).mean(axis=0) == pytest.approx(clean, abs=2)


def test_ruled_lines_are_no_grain() -> None:
    """Of a lined page no piece is free of lines; spread by chance they would be streaks all over the ground."""
    tone = TONES["white"]
    canvas = canvas_with(paper(tone, spread=1.2), tone)
    x0, y0, x1, y1 = SHEET
    canvas[y0 + 15 : y1 : 40, x0:x1] -= 32
    continue_paper(canvas, SHEET, flat_of(tone))
    ground = canvas[10:110].astype(float)[..., 1]
    grain = ground - cv2.GaussianBlur(ground, (0, 0), 12)
    assert 0.7 < grain.std() < 1.5  # the paper's is 1.2
    assert grain.mean(axis=1).std() < 0.35  # 4.8 with the lines


def test_fine_writing_darkens_no_margin() -> None:
    """In the mean of a cell a hairline or two pass for darker paper."""
    tone = TONES["white"]
    sheet = paper(tone, spread=1.2)
    rng = np.random.default_rng(7)
    for y in range(10, 430, 6):
        for x in range(306, 612, 5):
            cv2.line(sheet, (x, y), (x + int(rng.integers(-2, 3)), y + 2), (185, 185, 190), 1)
    canvas = canvas_with(sheet, tone)
    clean = canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[0] + 4 : SHEET[0] + 50].reshape(-1, 3).mean(axis=0)
    continue_paper(canvas, SHEET, flat_of(tone))
    beside = canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[2] + 5 : SHEET[2] + 60].reshape(-1, 3).mean(axis=0)
    assert clean - beside == pytest.approx(np.array([4.0, 4.0, 4.0]), abs=3.0)  # the paper is darker to the right


@pytest.mark.parametrize("deviation", [4.0, 10.0])
def test_rough_paper_goes_on_no_lighter_than_it_is(deviation: float) -> None:
    tone = TONES["white"]
    rng = np.random.default_rng(8)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (440, 620)), (0, 0), 1.0)[..., None]
    sheet = np.clip(np.array(tone) - 20 + grain / grain.std() * deviation, 0, 255).astype(np.uint8)
    canvas = canvas_with(sheet, tone)
    continue_paper(canvas, SHEET, flat_of(tone))
    beside = canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[2] + 5 : SHEET[2] + 60]
    assert beside.mean() == pytest.approx(sheet.mean(), abs=1)


def test_light_writing_lightens_no_margin() -> None:
    tone = TONES["kraft"]
    sheet = paper(tone, spread=1.2)
    for y in range(10, 430, 6):
        for x in range(306, 612, 5):
            cv2.line(sheet, (x, y), (x + 1, y + 2), (221, 182, 149), 1)
    canvas = canvas_with(sheet, tone)
    clean = canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[0] + 4 : SHEET[0] + 50].reshape(-1, 3).mean(axis=0)
    continue_paper(canvas, SHEET, flat_of(tone))
    beside = canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[2] + 5 : SHEET[2] + 60].reshape(-1, 3).mean(axis=0)
    assert clean - beside == pytest.approx(np.array([4.0, 4.0, 4.0]), abs=3.0)  # the paper is darker to the right


def test_a_weave_is_the_papers_own() -> None:
    """Linen, and the lines of laid paper, run through all of the sheet: they are no ruling."""
    tone = TONES["white"]
    y, x = np.mgrid[0:440, 0:620]
    weave = 4 * np.sin(2 * np.pi * x / 6.3) + 4 * np.sin(2 * np.pi * y / 5.7)
    noise = np.random.default_rng(9).normal(0, 1, (440, 620))
    canvas = canvas_with(np.clip(np.array(tone) - 12 + (weave + noise)[..., None], 0, 255).astype(np.uint8), tone)
    own = float(canvas[SHEET[1] + 20 : SHEET[3] - 20, SHEET[0] + 20 : SHEET[2] - 20, 1].std())
    continue_paper(canvas, SHEET, flat_of(tone))
    assert canvas[10:110, :, 1].std() == pytest.approx(own, rel=0.25)


def test_where_no_paper_is_bare_nothing_is_made_up() -> None:
    tone = TONES["white"]
    painted = np.random.default_rng(1).integers(0, 120, (440, 620, 3)).astype(np.uint8)
    canvas = canvas_with(painted, tone)
    before = canvas.copy()
    continue_paper(canvas, SHEET, flat_of(tone))
    assert np.array_equal(canvas, before)


def test_only_a_ground_of_paper_is_continued() -> None:
    tone = TONES["kraft"]
    sheet = paper(tone, 600, 450)
    frame = Frame(size_px=(900, 700), margin_percent=12.0)
    ground = tuple(value / 255 for value in tone)

    def made(continued: bool) -> Rendition:
        return rendered(sheet, frame, Look(ground=ground, continued=continued))  # type: ignore[arg-type]

    assert made(False).pixels[:60].std(axis=(0, 1)).max() == 0
    assert made(True).pixels[:60].std(axis=(0, 1)).min() > 1


def test_a_destination_asks_for_it_by_its_ground(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Through the whole job: the ground of the work's own paper goes on, another one does not."""
    table = (
        "[{0}]\nwidth_px = 600\nheight_px = 900\nmargin_percent = 12\nformat = 'png'\nmark = false\nground = '{0}'\n"
    )
    settings = with_table(studio, table.format("paper") + table.format("neutral"))
    places = {name: settings.folders.ready / name / "a.png" for name in ("paper", "neutral")}

    def shown(canvas: UInt8, *_rest: object) -> None:
        canvas[:5] = 7

    monkeypatch.setattr("autoprep.rendering.render.continue_paper", shown)
    assert done(replace(order_for(settings, photos.jpeg()), places=places)).record.outcome == "ready"
    tops = {name: int(np.asarray(Image.open(place))[:5].max()) for name, place in places.items()}
    assert tops == {"paper": 7, "neutral": 231}
