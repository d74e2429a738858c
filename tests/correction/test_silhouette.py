"""Torn edges: found to the pixel, kept on their ground; cut edges stay straight."""

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from autoprep.correction import illumination
from autoprep.correction.edges import SAMPLES, trace
from autoprep.correction.edges import _edge as edge_of
from autoprep.correction.planning import Wishes, _changes, _focus, make_plan, plan_edges
from autoprep.correction.sheet_corners import Corners
from autoprep.correction.silhouette import _polygon, _touching, find_silhouette, whole_in_frame
from autoprep.correction.squaring import geometry_of, rectify
from autoprep.domain import Geometry, LightField, Outline, PhotoFacts, torn_sides
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32, Float64, float32
from autoprep.imaging.geometry import homography, rectangle
from autoprep.pixels import Photo, in_photo, light_nodes, packed_light, quad_of
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render
from tests.lab.scene import encode_jpeg, random_spec
from tests.lab.scene import render as photograph
from tests.lab.works import make_work

MARGIN = 24


def framed(torn: bool, seed: int = 3) -> tuple[Float32, Bool]:
    """A light sheet of 800 x 600 on a dark desk with MARGIN around it, torn at its lower side or not."""
    rng = np.random.default_rng(seed)
    depth = np.repeat(rng.uniform(0, 9, 100), 8) if torn else np.zeros(800)
    sheet = np.zeros((600 + 2 * MARGIN, 800 + 2 * MARGIN), bool)
    rows = np.arange(600)[:, None]
    sheet[MARGIN:-MARGIN, MARGIN:-MARGIN] = rows < 600 - depth[None]
    picture = np.where(sheet[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)
    cv2.line(picture, (200, 590), (300, 610), (0.05, 0.05, 0.05), 3)  # a drawing that comes near the edge
    return picture * (1 + rng.normal(0, 0.02, picture.shape).astype(np.float32)), sheet


def test_cut_edges_have_no_silhouette() -> None:
    assert find_silhouette(trace(framed(torn=False)[0], MARGIN)) is None


def test_a_torn_edge_is_followed() -> None:
    picture, sheet = framed(torn=True)
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    mask = np.zeros(sheet.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(found.points * [800, 600] + MARGIN).astype(np.int32)], 1)
    frame = slice(MARGIN, -MARGIN)
    inside, outside = sheet[frame, frame], ~sheet[frame, frame]
    assert outside.mean() > 0.005  # otherwise the lines below would prove nothing
    assert (outside & (mask[frame, frame] == 0)).sum() > 0.7 * outside.sum()
    assert (inside & (mask[frame, frame] == 0)).sum() < 0.002 * inside.sum()


def test_the_pattern_of_a_cloth_is_no_torn_edge() -> None:
    """A sheet that is cut straight, on a cloth whose light squares look like the sheet."""
    picture, _ = framed(torn=False)
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    squares = ((y // 8 + x // 24) % 3 == 0)[..., None]
    cloth = np.where(squares, np.float32(0.4), np.float32(0.07)) * np.ones(3, np.float32)
    sheet = np.zeros((height, width, 1), bool)
    sheet[MARGIN:-MARGIN, MARGIN:-MARGIN] = True
    on_cloth = cv2.GaussianBlur(np.where(sheet, np.float32(0.6), cloth), (0, 0), 0.8)
    assert find_silhouette(trace(np.asarray(on_cloth, np.float32), MARGIN)) is None


@pytest.mark.parametrize(("threads", "is_edge"), [(0.02, True), (0.3, False)])
def test_an_edge_behind_which_desk_comes_back_is_a_pattern(threads: float, is_edge: bool) -> None:
    """Light threads stand before the sheet here and there: few are specks, many are the cloth that it lies on."""
    rng = np.random.default_rng(4)
    seen = np.full((SAMPLES, 70, 3), 0.1, np.float32)
    seen[:, 40:] = 0.6
    for sample in np.flatnonzero(rng.random(SAMPLES) < threads):
        first = int(rng.integers(32, 36))
        seen[sample, first : first + 2] = 0.6
    assert (edge_of(seen, 40, 1200) is not None) == is_edge


def deckled(depth_px: float, sides: int) -> Float32:
    """A sheet whose edges wander by so many pixels at so many of its sides, on a dark desk."""
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[0:600, 0:800] + 0.5

    def wanders(length: int) -> Float32:
        steps = np.repeat(rng.uniform(0, depth_px, length // 10), 10)
        return np.asarray(cv2.GaussianBlur(steps.reshape(1, -1), (0, 0), 2.0).ravel(), np.float32)

    from_edge = (rows - wanders(800)[None], 800 - columns - wanders(600)[:, None],
                 600 - rows - wanders(800)[None], columns - wanders(600)[:, None])  # fmt: skip
    sheet = np.all([distance > 0 for distance in from_edge[:sides]], axis=0)
    picture = np.where(np.pad(sheet, MARGIN)[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)


def test_a_sheet_that_wanders_a_little_at_every_side_is_deckled() -> None:
    """What is too little for one torn side is enough where three or more show it."""
    little = 3.0
    found = find_silhouette(trace(deckled(little, 4), MARGIN))
    assert found is not None
    assert torn_sides(tuple((float(x), float(y)) for x, y in found.points)) == (True,) * 4
    assert find_silhouette(trace(deckled(little, 1), MARGIN)) is None


def test_the_edge_of_a_small_photo_is_taken_further_in() -> None:
    """Where a pixel of the copy is one of the photo, the lens mixes more of the desk into it."""
    picture, _ = framed(torn=True)
    fine, coarse = (find_silhouette(trace(picture, MARGIN), photo_px) for photo_px in (2.0, 1.0))
    assert fine is not None
    assert coarse is not None
    further = [np.interp(np.linspace(0.1, 0.9, 99), *lower_edge(found.points)) for found in (fine, coarse)]
    assert np.median(further[0] - further[1]) * 600 == pytest.approx(0.5, abs=0.05)


def lower_edge(points: Float64) -> tuple[Float64, Float64]:
    """Places along a sheet's lower edge, from the left, and how far down it lies there."""
    along = points[(points[:, 1] > 0.9) & (points[:, 0] > 0.05) & (points[:, 0] < 0.95)]
    return along[::-1, 0], along[::-1, 1]


def within(points: Float64) -> Bool:
    """Where the silhouette says that there is sheet: (600 + 2 MARGIN, 800 + 2 MARGIN)."""
    mask = np.zeros((600 + 2 * MARGIN, 800 + 2 * MARGIN), np.uint8)
    cv2.fillPoly(mask, [np.round((points * [800, 600] + MARGIN) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def beyond_the_line(fleck: bool = False, slant: float = 0.0) -> tuple[Float32, Bool]:
    """A sheet whose lower edge wanders 7 px to both sides of the outline's line, which slants by so many pixels against
    it from end to end; a fleck of light lies further out."""
    rng = np.random.default_rng(8)
    steps = np.repeat(rng.uniform(-7, 7, 40), 20)
    depth = cv2.GaussianBlur(steps.reshape(1, -1), (0, 0), 3.0).ravel() + np.linspace(-slant / 2, slant / 2, 800)
    sheet = np.zeros((600 + 2 * MARGIN, 800 + 2 * MARGIN), bool)
    rows = np.arange(600 + MARGIN)[:, None]
    sheet[MARGIN:, MARGIN:-MARGIN] = rows < 600 - depth[None]
    light = np.where(sheet[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    if fleck:
        light[600 + MARGIN + 10 : 600 + MARGIN + 14, 400:408] = 0.6
    return np.asarray(cv2.GaussianBlur(light, (0, 0), 0.8), np.float32), sheet


@pytest.mark.parametrize("fleck", [False, True])
def test_the_frame_holds_all_of_a_torn_sheet_and_no_more(fleck: bool) -> None:
    """The outline's line runs through the middle of a torn edge; where the picture ends at the work, no peak is cut."""
    picture, sheet = beyond_the_line(fleck)
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    assert found.around[:2] == pytest.approx(np.array([[0, 0], [1, 0]]))  # sides that are cut stay where they are
    beneath = sheet[MARGIN + 600 :, MARGIN:-MARGIN].any(axis=0).mean()
    assert beneath > 0.3  # otherwise nothing would lie beyond the line
    lower = found.around[3, 1] + (found.around[2, 1] - found.around[3, 1]) * (np.arange(800) + 0.5) / 800
    lowest = sheet[MARGIN:, MARGIN:-MARGIN].sum(axis=0) / 600
    room = (lower - lowest) * 600
    assert room.min() > (-3.0 if fleck else -1.5)  # as deep as the lens mixes sheet and desk
    assert room.mean() < 7  # as much as the edge wanders to one side
    corners = ((100.0, 80.0), (900.0, 80.0), (900.0, 680.0), (100.0, 680.0))
    asked = Geometry(photo_px=(1000, 800), corners_px=corners, ratio=4 / 3, ratio_from="corners")
    frame, points = whole_in_frame(asked, found)
    assert frame.corners_px[:2] == pytest.approx(np.array(corners[:2]))
    assert frame.corners_px[2][1] == pytest.approx(80 + 600 * found.around[2, 1])
    assert frame.ratio == pytest.approx(4 / 3 / found.around[2:, 1].mean(), rel=2e-4)  # the lower side slants a little
    assert points[:, 1].max() == pytest.approx(1.0, abs=0.002)
    told = asked.model_copy(update={"ratio_from": "known size"})
    assert whole_in_frame(told, found)[0].ratio == told.ratio


def steep(down: Float64) -> Float64:
    """Natural log of light at places down a sheet, 0..1: the border of a hard shadow lies at .55."""
    return np.where(down < 0.55, 0.0, -0.8)


def smooth(down: Float64) -> Float64:
    """The same where the light falls off."""
    return -0.5 * down


@pytest.mark.parametrize("falls", [steep, smooth])
def test_light_and_focus_of_a_torn_sheet_stay_where_they_were_measured(
    falls: Callable[[Float64], Float64], monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are measured in the outline's frame; the plan has the one that holds all of the sheet."""
    picture, _ = beyond_the_line(slant=8.0)
    cv2.circle(picture, (260, 420), 40, (0.05, 0.05, 0.05), 3)
    nodes = 160
    measured = falls((np.arange(nodes) + 0.5) / nodes)[:, None, None] * np.ones((1, nodes, 3))
    monkeypatch.setattr(illumination, "light_field", lambda *_: packed_light(measured))
    x, y = (float(MARGIN + side) for side in (800, 600))
    outline = Outline(corners_px=((MARGIN, MARGIN), (x, MARGIN), (x, y), (MARGIN, y)), confidence=1.0)
    photo = Photo(picture, PhotoFacts("raw", picture.shape[1], picture.shape[0]))
    plan, _, _ = make_plan(photo, outline, Wishes())
    assert plan.silhouette is not None
    assert isinstance(plan.light, LightField)
    alone = plan_edges(photo, outline, Wishes())
    assert (alone.geometry, alone.silhouette, alone.inset) == (plan.geometry, plan.silhouette, plan.inset)
    assert np.abs(quad_of(plan.geometry) - quad_of(outline)).max() > 6  # otherwise it would lie right by itself
    places = (np.stack(np.meshgrid(np.arange(nodes), np.arange(nodes)), axis=-1) + 0.5) / nodes
    down = (in_photo(plan.geometry, places)[..., 1] - MARGIN) / 600
    clear = (np.abs(down - 0.55) > 1.5 / nodes) & (down < 1)
    assert np.abs(light_nodes(plan.light)[..., 1] - falls(down))[clear].max() < 0.003
    own = geometry_of(photo, outline)
    seen_at = in_photo(own, np.array(_focus(_changes(rectify(photo, own).linear))))
    assert in_photo(plan.geometry, np.array(plan.focus)) == pytest.approx(seen_at, abs=0.7)


def test_a_slant_of_the_outline_against_a_torn_edge_is_taken_out() -> None:
    straight, slanted = (find_silhouette(trace(beyond_the_line(slant=slant)[0], MARGIN)) for slant in (0.0, 8.0))
    assert straight is not None
    assert slanted is not None
    tilts = [(found.around[3, 1] - found.around[2, 1]) * 600 for found in (straight, slanted)]
    assert tilts[1] - tilts[0] == pytest.approx(8.0, abs=1.5)
    assert abs(tilts[0]) < 3.0


def test_the_peaks_of_an_edge_tell_its_line_and_not_how_deep_it_is_torn() -> None:
    side = np.zeros(360)
    side[5::10] = np.linspace(0, 20, 36)
    assert _touching(side, 1000) == pytest.approx((0.0, 0.0))


def test_no_desk_stands_in_the_corner_of_two_torn_edges() -> None:
    """Where the other side is torn, the places at the end of a side lie on the desk."""
    rng = np.random.default_rng(11)
    rows, columns = np.mgrid[0:600, 0:800] + 0.5
    torn = [np.repeat(rng.uniform(3, 12, length // 20), 20) for length in (800, 600, 800, 600)]
    sheet = (rows > torn[0][None]) & (800 - columns > torn[1][:, None])
    sheet &= (600 - rows > torn[2][None]) & (columns > torn[3][:, None])
    sheet = np.pad(sheet, MARGIN)
    picture = np.where(sheet[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
    found = find_silhouette(trace(np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32), MARGIN))
    assert found is not None
    desk = within(found.points) & ~sheet
    at_corner = np.zeros_like(desk)
    for y in (MARGIN, 600 + MARGIN - 20):
        for x in (MARGIN, 800 + MARGIN - 20):
            at_corner[y : y + 20, x : x + 20] = True
    assert (desk & at_corner).sum() <= 0.02 * at_corner.sum()
    assert (within(found.points) & sheet).sum() > 0.985 * sheet.sum()


def worn(paint: tuple[float, float, float] | None = None, torn: bool = True) -> tuple[Float32, Bool]:
    """A sheet that is torn below, or not, its lower right corner worn off, on a warm desk on which its shadow falls; or
    painted up to where that corner would be."""
    picture, sheet = framed(torn)
    ys, xs = np.mgrid[0 : sheet.shape[0], 0 : sheet.shape[1]]
    right, below = 800 + MARGIN, 600 + MARGIN
    corner = (right - xs) + (below - ys) < 22
    desk = float32([0.12, 0.07, 0.03])
    picture[~sheet] *= desk / 0.07
    if paint is None:
        shade = np.float32(0.4)
        picture[corner & sheet] = desk * shade
        picture[corner & ~sheet] *= shade
        return picture, sheet & ~corner
    picture[corner & sheet] = paint
    return picture, sheet


def at_the_corner(mask: Bool) -> int:
    return int(mask[600 + MARGIN - 24 : 600 + MARGIN, 800 + MARGIN - 24 : 800 + MARGIN].sum())


def test_a_worn_corner_of_a_torn_sheet_is_followed() -> None:
    picture, sheet = worn()
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    assert at_the_corner(within(found.points) & ~sheet) <= 25  # 150 where the two edges are carried on straight
    assert at_the_corner(~within(found.points) & sheet) <= 60


@pytest.mark.parametrize("colour", [(0.02, 0.025, 0.12), (0.02, 0.12, 0.02), (0.15, 0.01, 0.01), (0.4, 0.22, 0.09)])
def test_paint_at_the_corner_of_a_sheet_is_no_desk(colour: tuple[float, float, float]) -> None:
    """Between two edges that run straight up to it, the corner is looked at by itself."""
    before, after = np.array([1.0, 575 / 600]), np.array([775 / 800, 1.0])
    painted = Corners(trace(worn(colour, torn=False)[0], MARGIN), 0.5).between(2, before, after)
    assert np.array_equal(painted, [[1.0, 1.0]])
    desk = Corners(trace(worn(torn=False)[0], MARGIN), 0.5).between(2, before, after)
    assert len(desk) > 5
    assert np.abs(((1 - desk) * [800, 600]).sum(axis=1).max() - 22) < 3


def test_dust_on_the_desk_is_no_corner_and_the_fringe_is_left_out_there_too() -> None:
    before, after = np.array([1.0, 575 / 600]), np.array([775 / 800, 1.0])
    picture, _ = worn(torn=False)
    dusty = picture.copy()
    dusty[600 + MARGIN - 18 : 600 + MARGIN : 4, 800 + MARGIN - 18 : 800 + MARGIN : 4] = 0.6
    traced = trace(picture, MARGIN)
    plain, dust = (Corners(one, 0.5).between(2, before, after) for one in (traced, replace(traced, picture=dusty)))
    assert np.abs((dust - plain) * [800, 600]).max() < 2.5
    further = Corners(traced, 3.5).between(2, before, after)
    assert np.linalg.norm((further - plain) * [800, 600], axis=1).max() == pytest.approx(3, abs=0.1)


def test_an_edge_ends_where_the_other_one_cuts_in() -> None:
    """Beyond the left side's edge the upper one seems to come down to where that side is less deeply torn."""
    sides = [np.full(360, 3.0), np.zeros(360), np.zeros(360), np.full(360, 12.0)]
    sides[0][:6] = np.linspace(14, 4, 6)
    sheet = within(_polygon(sides, (800, 600), [0.0] * 4))
    assert not sheet[:, : MARGIN + 11].any()
    assert sheet[MARGIN + 5 : MARGIN + 600, MARGIN + 14].all()


def test_what_can_not_be_told_from_its_surroundings_stays_as_it_is() -> None:
    picture, _ = framed(torn=True)
    assert find_silhouette(trace(np.full_like(picture, 0.4), MARGIN)) is None


def rounded(radius: float, corners: tuple[int, ...] = (0, 1, 2, 3), desk: float = 0.07) -> tuple[Float32, Bool]:
    """The same sheet with rounded corners; 0 is the upper left one, clockwise."""
    ys, xs = np.mgrid[0:600, 0:800] + 0.5
    sheet = np.ones((600, 800), bool)
    for corner in corners:
        x, y = (xs if corner in (0, 3) else 800 - xs), (ys if corner < 2 else 600 - ys)
        sheet &= (x > radius) | (y > radius) | ((x - radius) ** 2 + (y - radius) ** 2 < radius**2)
    whole = np.pad(sheet, MARGIN)
    picture = np.where(whole[..., None], np.float32(0.6), np.float32(desk)) * np.ones(3, np.float32)
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)
    return picture * (1 + np.random.default_rng(3).normal(0, 0.02, picture.shape).astype(np.float32)), sheet


@pytest.mark.parametrize("corners", [(0, 1, 2, 3), (1, 2)], ids=["all", "the outer ones of a page"])
@pytest.mark.parametrize("radius", [10.0, 20.0, 34.0, 56.0])
def test_rounded_corners_are_followed(radius: float, corners: tuple[int, ...]) -> None:
    """No wedge of desk is left, and no paper lost; the sides between stay straight."""
    picture, sheet = rounded(radius, corners)
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    mask = np.zeros(sheet.shape, np.uint8)
    cv2.fillPoly(mask, [np.round((found.points * [800, 600] - 0.5) * 16).astype(np.int32)], 1, shift=4)
    assert ((mask == 1) & ~sheet).sum() < 0.15 * (~sheet).sum()
    assert ((mask == 0) & sheet).sum() < 0.0012 * sheet.sum()
    assert torn_sides(tuple((float(x), float(y)) for x, y in found.points)) == (False,) * 4


def test_corners_that_the_photo_shows_in_part_are_as_round_as_the_others() -> None:
    """Above the page the photo ends a little below the page's own edge; what is beyond repeats the photo's border."""
    picture, sheet = rounded(20)
    picture[: MARGIN + 5] = picture[MARGIN + 5]
    beyond = np.zeros(picture.shape[:2], np.float32)
    assert find_silhouette(trace(picture, MARGIN, beyond)) is not None
    beyond[: MARGIN + 5] = 1
    found = find_silhouette(trace(picture, MARGIN, beyond))
    assert found is not None
    desk = within(found.points)[MARGIN:-MARGIN, MARGIN:-MARGIN] & ~sheet
    assert [int(desk[:20, :20].sum()), int(desk[:20, -20:].sum())] == pytest.approx([0, 0], abs=12)  # 80 each in all


def test_a_sharp_corner_beside_round_ones_stays_sharp() -> None:
    """As where the outer corners of a page are rounded, and those at the spine are not."""
    picture, _ = rounded(20, corners=(1, 2))
    picture[MARGIN:-MARGIN, MARGIN : MARGIN + 30] *= np.linspace(0.3, 1, 30, dtype=np.float32)[:, None]  # a gutter
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    kept = within(found.points)[MARGIN:-MARGIN, MARGIN:-MARGIN]
    assert kept[1:20, 1:20].all()
    assert kept[-20:-1, 1:20].all()


def test_a_corner_that_is_bent_or_written_on_is_not_rounded() -> None:
    bent, _ = framed(torn=False)
    cv2.fillPoly(bent, [np.array([[MARGIN, MARGIN], [MARGIN + 34, MARGIN], [MARGIN, MARGIN + 12]])], (0.07, 0.07, 0.07))
    assert find_silhouette(trace(bent, MARGIN)) is None
    written, _ = framed(torn=False)
    cv2.circle(written, (MARGIN + 14, MARGIN + 14), 6, (0.05, 0.05, 0.05), -1)
    assert find_silhouette(trace(written, MARGIN)) is None
    assert find_silhouette(trace(rounded(20, desk=0.6)[0], MARGIN)) is None  # nothing of it can be seen


def test_a_white_page_on_a_white_desk_shows_its_corner_by_its_shadow() -> None:
    picture, sheet = rounded(20, corners=(2,), desk=0.57)
    whole = np.pad(sheet, MARGIN).astype(np.float32)
    shadow = cv2.GaussianBlur(
        cv2.warpAffine(whole, np.array([[1, 0, 3], [0, 1, 3]], np.float32), whole.shape[::-1]), (0, 0), 3
    )
    picture = picture * np.where(whole > 0, 1, 1 - 0.5 * shadow)[..., None]
    found = find_silhouette(trace(np.asarray(picture, np.float32), MARGIN))
    assert found is not None
    gaps = [np.abs(found.points - corner).sum(axis=1).min() for corner in ((0, 0), (1, 0), (1, 1), (0, 1))]
    assert gaps[2] > 0.01 > max(gaps[0], gaps[1], gaps[3])


@pytest.mark.slow
def test_the_desk_is_gone_from_a_torn_sheet_of_the_lab() -> None:
    specs = (random_spec(seed, "watercolour", "dark", shadow="none", over="none") for seed in range(30080, 30099))
    torn = next(spec for spec in specs if make_work(spec.kind, spec.work_seed, 160).alpha.mean() < 0.997)
    shot = photograph(torn, 1400)
    assert shot.truth.work.alpha.mean() < 0.997
    photo = read_photo(encode_jpeg(shot))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    plan, _, _ = make_plan(photo, Outline(corners_px=corners, confidence=1.0), Wishes(size_mm=shot.truth.size_mm))  # type: ignore[arg-type]
    assert plan.silhouette is not None
    layout = lay_out(Frame(long_side_px=700), plan)
    out = render(photo, plan, layout, Look(ground=(0, 1, 0)), lambda strip, x, y: strip, lambda strip: strip)
    height, width = out.pixels.shape[:2]
    sheet = shot.truth.work.alpha
    into_photo = homography(rectangle(sheet.shape[1], sheet.shape[0]), np.array(shot.truth.corners_px))
    into_frame = homography(quad_of(plan.geometry), rectangle(width, height))
    alpha = cv2.warpPerspective(sheet, into_frame @ into_photo, (width, height), flags=cv2.INTER_AREA)
    ground = out.pixels[..., 1].astype(int) - out.pixels[..., 0] > 60
    outside, inside = alpha < 0.05, alpha > 0.95
    assert (ground & outside).sum() > 0.5 * outside.sum()
    assert (ground & inside).sum() < 0.004 * inside.sum()  # half a pixel along its edges


def on_white(depths: Float64, over: Float32 | None = None) -> tuple[Float32, Bool]:
    """A white sheet on a desk as white, its lower edge so deep at 100 places; its shadow lies beside it and in gaps.

    over: the colour of what is painted in those gaps, up to the edge of a sheet that is cut straight.
    """
    depth = np.repeat(depths, 8)
    within = np.arange(600)[:, None] < 600 - depth[None]
    sheet, edge = np.pad(np.ones((600, 800), bool), MARGIN), np.pad(within, MARGIN)
    sheet = edge if over is None else sheet
    shade = cv2.GaussianBlur(cv2.dilate(sheet.astype(np.float32), np.ones((25, 25), np.uint8)), (0, 0), 3)
    desk = 0.57 * (1 - 0.45 * shade)[..., None] * np.ones(3, np.float32)
    picture = np.where(sheet[..., None], np.float32(0.6), desk)
    if over is not None:
        picture[sheet & ~edge] = over
    picture = np.asarray(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.8), np.float32)
    return picture * (1 + np.random.default_rng(3).normal(0, 0.02, picture.shape).astype(np.float32)), edge


def test_a_torn_white_sheet_on_a_white_desk_shows_its_edge_by_its_shadow() -> None:
    """Far from it sheet and desk are alike, and its shadow would stand in its tears."""
    picture, sheet = on_white(np.random.default_rng(3).uniform(0, 14, 100))
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    outside = ~sheet[MARGIN:-MARGIN, MARGIN:-MARGIN]
    assert (outside & ~within(found.points)[MARGIN:-MARGIN, MARGIN:-MARGIN]).sum() > 0.8 * outside.sum()
    assert (sheet & ~within(found.points)).sum() < 0.002 * sheet.sum()


def test_what_lies_over_the_edge_on_a_white_desk_is_no_tear() -> None:
    finger, pen = np.zeros(100), np.zeros(100)
    finger[40:55] = 13
    pen[[15, 20, 70]] = 13
    for depths in (finger, pen, np.random.default_rng(3).uniform(0, 2.5, 100)):
        assert find_silhouette(trace(on_white(depths)[0], MARGIN)) is None


@pytest.mark.parametrize(
    "colour", [(0.25, 0.3, 0.5), (0.42, 0.42, 0.42)], ids=["a blue wash", "lighter than the shadow"]
)
def test_what_is_painted_up_to_the_edge_of_a_white_sheet_is_no_shadow_in_its_tears(colour: tuple[float, ...]) -> None:
    depths = np.random.default_rng(3).uniform(0, 14, 100)
    assert find_silhouette(trace(on_white(depths, np.array(colour, np.float32))[0], MARGIN)) is None


def test_a_deep_tear_is_followed_and_a_finger_as_deep_is_not() -> None:
    def of(depths: Float64) -> tuple[Float32, Bool]:
        sheet = np.pad(np.arange(600)[:, None] < 600 - np.repeat(depths, 8)[None], MARGIN)
        picture = np.where(sheet[..., None], np.float32(0.6), np.float32(0.07)) * np.ones(3, np.float32)
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32), sheet

    rng = np.random.default_rng(3)
    slow = np.interp(np.arange(100), np.arange(0, 101, 5), rng.uniform(4, 28, 21)) + rng.uniform(-2, 2, 100)
    picture, sheet = of(slow)
    found = find_silhouette(trace(picture, MARGIN))
    assert found is not None
    assert (~sheet[:, MARGIN:-MARGIN] & within(found.points)[:, MARGIN:-MARGIN])[:-MARGIN].sum() < 0.003 * sheet.sum()
    assert (sheet & ~within(found.points)).sum() < 0.002 * sheet.sum()
    finger = np.zeros(100)
    finger[40:55] = 26
    assert find_silhouette(trace(of(finger)[0], MARGIN)) is None
