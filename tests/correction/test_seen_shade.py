"""The eye for shade: hard shadows are evened where it sees them, washes stay, a surface it does not know is left."""

from dataclasses import replace
from typing import cast

import cv2
import numpy as np
import pytest

from autoprep.correction import hypotheses, planning, seen_shade, shade_eye
from autoprep.correction.fallen import BEYOND, DESK, WORK
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.illumination import light_field
from autoprep.correction.paper import Paper, find_level
from autoprep.correction.paper_class import measured, proven
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.seen_shade import is_shaded, light_by_sight
from autoprep.correction.shade_eye import Sight
from autoprep.correction.sheet import Sheet
from autoprep.correction.squaring import geometry_of
from autoprep.correction.view import seen_squarely
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float32, float32
from tests import photos
from tests.correction.test_sheet import _drawn, _paper, _squared
from tests.lab.measures import measure_colour
from tests.lab.scene import encode_jpeg, random_spec, render

SIZE = (420, 560)
COLOUR = np.array([0.25, 0.40, 0.62], np.float32)  # a warm lamp is hidden, and a cold window lights what it lit
WASH = 0.88  # in all channels: neutral, and pale


def hand() -> Bool:
    cover = np.zeros(SIZE, np.uint8)
    cv2.rectangle(cover, (330, 150), (560, 330), 1, -1)
    for top in (150, 200, 250, 300):
        cv2.rectangle(cover, (210, top), (340, top + 28), 1, -1)
    return cover > 0


def wash() -> Bool:
    """One in the palm's shade, and one beside the hand."""
    cover = np.zeros(SIZE, np.uint8)
    cv2.ellipse(cover, (450, 240), (60, 50), 20, 0, 360, 1, -1)
    cv2.ellipse(cover, (100, 300), (60, 60), 20, 0, 360, 1, -1)
    return cover > 0


def page(washed: bool = False) -> tuple[Float32, Float32]:
    """(H, W, 3) a sheet with strokes under a hand's hard shadow, and the light on it."""
    rng = np.random.default_rng(3)
    light = np.full((*SIZE, 3), 0.5, np.float32) * np.linspace(1, 0.85, SIZE[1], dtype=np.float32)[None, :, None]
    light = np.where(cv2.GaussianBlur(hand().astype(np.float32), (0, 0), 0.8)[..., None] > 0.5, light * COLOUR, light)
    sheet = np.ones((*SIZE, 3), np.float32)
    if washed:
        sheet[wash()] = WASH
    for _ in range(5):
        points = rng.uniform([60, 50], [500, 370], (5, 2)).round().astype(np.int32)
        cv2.polylines(sheet, [points], False, (0.06, 0.06, 0.06), 2, cv2.LINE_AA)
    grain = 1 + rng.normal(0, 0.004, (*SIZE, 1)).astype(np.float32)
    return (sheet * light * grain).astype(np.float32), light


def sight(depth: float = 0.9, washed: bool = False) -> Sight:
    """What the eye might see: the shadow a tenth too light, and a wash as a little more of it."""
    shade = np.log(float(COLOUR @ [0.2126, 0.7152, 0.0722])) * depth * hand().astype(np.float32)
    bare = np.full(SIZE, 0.95, np.float32)
    if washed:
        shade, bare[wash()] = shade - 0.1 * wash(), 0.1
    small = [cv2.resize(plane, (128, 128), interpolation=cv2.INTER_AREA) for plane in (shade, bare)]
    return Sight(*(np.asarray(plane, np.float32) for plane in small))


def log_light(paper: Paper) -> Float32:
    return paper.log_field(*SIZE)


def off(paper: Paper, light: Float32, where: Bool) -> float:
    """By how much the found light is off there, in the median, natural log."""
    return float(np.median(np.abs(log_light(paper) - np.log(light)).max(axis=-1)[where]))


def middle(cover: Bool) -> Bool:
    return np.asarray(cv2.erode(cover.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0)


def test_a_hard_shadow_is_evened_to_what_the_paper_shows_not_to_what_is_seen() -> None:
    picture, light = page()
    found = light_by_sight(picture, sight())
    assert not isinstance(found, Declined)
    paper, shadow = found
    assert off(paper, light, middle(hand())) < 0.02
    assert off(paper, light, ~cv2.dilate(hand().astype(np.uint8), np.ones((15, 15), np.uint8)).astype(bool)) < 0.02
    assert shadow.share == pytest.approx(float(hand().mean()), abs=0.04)
    assert paper.coverage > 0.8


def test_washes_in_the_shade_and_beside_it_stay() -> None:
    """Though they are seen as a little more shade."""
    picture, _ = page(washed=True)
    found = light_by_sight(picture, sight(washed=True))
    assert not isinstance(found, Declined)
    rest = np.log(picture) - log_light(found[0])
    for where in (middle(wash()) & hand(), middle(wash()) & ~hand()):
        assert float(np.median(rest[where])) == pytest.approx(np.log(WASH), abs=0.04)


@pytest.mark.parametrize("paint", [(0.5, 0.5, 0.5), (0.86, 1.0, 1.0)], ids=["a dark one", "a coloured one"])
def test_a_wash_that_the_eye_takes_for_paper_stays(paint: tuple[float, float, float]) -> None:
    picture, _ = page()
    picture = np.where(wash()[..., None], picture * np.array(paint, np.float32), picture)
    found = light_by_sight(picture, sight())
    assert not isinstance(found, Declined)
    rest = (np.log(picture) - log_light(found[0]))[middle(wash()) & ~hand()]
    assert np.median(rest, axis=0) == pytest.approx(np.log(paint), abs=0.05)


def test_the_shade_of_bends_stays_where_it_is_to_stay() -> None:
    picture, _ = page()
    picture = picture * (1 + 0.05 * np.sin(np.arange(SIZE[1]) / 14)).astype(np.float32)[None, :, None]
    lit = np.s_[20:120, 20:180]
    left = {}
    for flat in (True, False):
        found = light_by_sight(picture, sight(), flat)
        assert not isinstance(found, Declined)
        left[flat] = float((np.log(picture) - log_light(found[0]))[lit].mean(axis=-1).std())
    assert left[False] > 2 * left[True]


def test_what_is_seen_is_believed_only_on_paper_that_the_eye_knows() -> None:
    picture, light = page()
    known = np.full((128, 128), 0.2, np.float32)
    known[:38] = known[44:50] = 0.95  # a third of the work
    seen, unseen = sight(), replace(sight(), bare=known)
    paper, _ = find_paper(picture, sight=seen)
    assert isinstance(paper, Paper)
    assert off(paper, light, middle(hand())) < 0.02
    told = find_paper(picture)[0]
    assert isinstance(told, Paper)
    assert off(told, light, middle(hand())) > 0.5
    for nothing in (unseen, replace(seen, shade=np.zeros((128, 128), np.float32))):
        paper, _ = find_paper(picture, sight=nothing)
        assert isinstance(paper, Paper)
        assert np.array_equal(log_light(paper), log_light(told))


def test_what_is_said_of_washes_moves_what_is_taken_for_bare_paper() -> None:
    """In the shade the eye is often half sure: between a solid wash and bare paper."""
    picture, light = page()
    for chance, washes, evened in ((0.5, None, True), (0.5, True, False), (0.3, None, False), (0.3, False, True)):
        bare = np.where(sight().shade < -0.05, chance, 0.95).astype(np.float32)
        found = light_by_sight(picture, replace(sight(), bare=bare), washes=washes)
        assert not isinstance(found, Declined)
        assert (off(found[0], light, middle(hand())) < 0.02) == evened, (chance, washes)


def test_a_colour_that_no_hidden_light_has_is_not_evened() -> None:
    """Where the eye takes a red hand for a shadow."""
    picture, light = page()
    red = np.where(hand()[..., None], light / COLOUR * np.array([0.9, 0.3, 0.12], np.float32), light)
    found = light_by_sight((picture / light * red).astype(np.float32), sight())
    assert isinstance(found, Declined) or off(found[0], light / COLOUR, middle(hand())) < 0.1


def test_where_more_of_a_light_is_hidden_its_colour_counts_for_less() -> None:
    """Two lights, one hidden by the hand; the other, of another colour, is near, so that of it less falls farther off.

    By the sum of lights: what is left is 1 / (1 + q b), b the hidden one's colour in the light of the other, q how much
    stronger it is. Its tint grows ever more slowly with the depth.
    """
    picture, light = page()
    open_light = np.where(hand()[..., None], light / COLOUR, light)
    stronger = np.where(np.arange(SIZE[1]) < 400, 0.5, 4.0)[None, :, None].astype(np.float32)
    left = 1 / (1 + stronger * float32([0.55, 1.05, 1.9]))
    shaded = np.where(hand()[..., None], open_light * left, open_light).astype(np.float32)
    depth = np.where(hand(), np.log(left @ float32([0.2126, 0.7152, 0.0722])), 0).astype(np.float32)
    small = cv2.resize(depth * np.float32(0.95), (128, 128), interpolation=cv2.INTER_AREA)
    seen = replace(sight(), shade=np.asarray(small, np.float32))
    found = light_by_sight((picture / light * shaded).astype(np.float32), seen)
    assert not isinstance(found, Declined)
    for part in (slice(0, 390), slice(410, None)):
        where = np.zeros(SIZE, bool)
        where[:, part] = middle(hand())[:, part]
        assert off(found[0], shaded, where) < 0.03


@pytest.mark.parametrize(("share", "evened"), [(0.45, True), (1.5, False)], ids=["light", "paint"])
def test_a_part_of_a_shadow_may_have_less_of_its_tint_and_not_more(share: float, evened: bool) -> None:
    """Over the fingers a window lights the shadow too; or they lie on a wash that is as warm as the lamp."""
    picture, light = page()
    hidden = float32([0.55, 1.05, 1.9])
    palm = np.arange(SIZE[1])[None, :, None] > 335
    left = 1 / (1 + np.float32(1.2) * np.where(palm, hidden, 1 + share * (hidden - 1)))
    open_light = np.where(hand()[..., None], light / COLOUR, light)
    shaded = np.where(hand()[..., None], open_light * left, open_light).astype(np.float32)
    depth = np.where(hand(), np.log(left @ float32([0.2126, 0.7152, 0.0722])), 0).astype(np.float32)
    small = cv2.resize(depth * np.float32(0.95), (128, 128), interpolation=cv2.INTER_AREA)
    found = light_by_sight(
        (picture / light * shaded).astype(np.float32), replace(sight(), shade=small.astype(np.float32))
    )
    assert not isinstance(found, Declined)
    fingers = middle(hand()) & ~palm[..., 0]
    assert (off(found[0], shaded, fingers) < 0.04) == evened


def test_a_solid_part_in_the_place_of_a_shadow_stays() -> None:
    """What could be paper there is far darker than the eye says."""
    picture, light = page()
    black = np.where(hand()[..., None], light / COLOUR * np.float32(0.1), light)
    found = light_by_sight((picture / light * black).astype(np.float32), sight(depth=0.6))
    assert not isinstance(found, Declined)
    assert off(found[0], light / COLOUR, middle(hand())) < 0.1


def test_a_shine_is_not_the_level_of_the_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the level of the lit part holds hardly any of what is seen as bare paper, that of all the paper is used."""
    picture, light = page()

    def dazzled(linear: Float32, lit: Bool | None = None) -> Paper | Declined:
        found = find_level(linear)
        assert not isinstance(found, Declined)
        brighter = replace(found, coefficients=found.coefficients + 0.0, coverage=0.02)
        brighter.coefficients[0] += np.log(1.8)
        return found if lit is None else brighter

    monkeypatch.setattr(seen_shade, "find_level", dazzled)
    found = light_by_sight(picture, sight())
    assert not isinstance(found, Declined)
    lit = light[~hand()].mean(axis=0)
    assert found[0].mean_linear() == pytest.approx(lit, rel=0.1)


def test_the_border_of_a_shadow_has_more_nodes_than_the_light_of_a_sheet() -> None:
    picture, _ = page()
    paper, _ = find_paper(picture, sight=sight())
    assert isinstance(paper, Paper)
    shadowed = light_field(paper, "white", SIZE[1] / SIZE[0])
    by_sheet = light_field(replace(paper, sheet=cast(Sheet, object())), "white", SIZE[1] / SIZE[0])
    assert not isinstance(shadowed, Declined)
    assert not isinstance(by_sheet, Declined)
    assert (shadowed.cols, by_sheet.cols) == (160, 80)


def test_marks_are_lighter_than_the_paper_in_both_lights(monkeypatch: pytest.MonkeyPatch) -> None:
    """In that of the lit part alone chalk in the shade is none; to one that knows no hard shadow what is lit beside it
    seems some."""
    plain, _ = page()
    chalked = plain.copy()
    for y in range(165, 320, 14):
        chalked[y : y + 4, 380:540] *= 1.5
    told = find_paper(plain)[0]
    assert isinstance(told, Paper)
    lighter = {}
    for name, picture, share in (("none", plain, 0.02), ("chalk", chalked, 0.02), ("not told", chalked, 0.001)):
        known = replace(told, lighter=share)
        monkeypatch.setattr(hypotheses, "_without_eye", lambda *_, known=known: ((known, Declined(reason="-")), known))
        alone, seen = light_by_sight(picture, sight()), find_paper(picture, sight=sight())[0]
        assert isinstance(seen, Paper)
        assert not isinstance(alone, Declined)
        assert np.array_equal(seen.mask, alone[0].mask)  # it is the eye's light
        lighter[name] = seen.lighter, alone[0].lighter
    assert lighter["none"][0] < 0.012 < lighter["chalk"][0]  # the share that proves toned paper
    assert lighter["chalk"][1] < 0.012
    assert lighter["not told"][0] == 0.001


def test_a_hard_shadow_on_a_ruled_page_is_the_eyes_and_the_ruling_still_proves_white_paper() -> None:
    sheet = _drawn(_squared(_paper()))
    cover = cv2.resize(hand().astype(np.uint8), sheet.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    light = np.where(cover[..., None], float32([0.16, 0.18, 0.2]), np.float32(0.6))
    shade = cv2.resize((-1.0 * cover).astype(np.float32), (128, 128), interpolation=cv2.INTER_AREA)
    wrong = {}
    for seen in (None, Sight(np.asarray(shade, np.float32), np.full((128, 128), 0.95, np.float32))):
        paper, _ = find_paper(sheet * light, sight=seen)
        assert isinstance(paper, Paper)
        assert paper.ruled
        assert proven(paper, measured(paper, None)) == "light"
        off_by = np.abs(paper.log_field(*light.shape[:2]) - np.log(light * np.float32(0.88))).max(axis=-1)
        wrong[seen is None] = float(np.percentile(off_by, 95))
    assert wrong[False] < 0.08 < wrong[True]


def test_a_hundredth_of_the_work_in_the_shade_is_worth_a_look() -> None:
    shade = np.zeros((100, 100), np.float32)
    shade[:10, :9] = -0.5
    assert not is_shaded(Sight(shade, shade))
    shade[:10, :11] = -0.5
    assert is_shaded(Sight(shade, shade))


def test_the_eye_is_shown_the_work_with_its_desk_and_what_lies_beyond_the_photo_is_marked() -> None:
    photo = read_photo(photos.jpeg())
    width, height = photo.full_px
    corners = ((0.0, 0.0), (width * 0.5, 0.0), (width * 0.5, height * 0.5), (0.0, height * 0.5))
    view = seen_squarely(photo, geometry_of(photo, Outline(corners_px=corners, confidence=1.0)))
    middle_px = view.where.shape[0] // 2
    assert view.codes.shape == (2 * middle_px, 2 * middle_px, 3)
    assert view.where[0, middle_px] == view.where[middle_px, 0] == BEYOND
    assert view.where[-1, middle_px] == view.where[middle_px, -1] == DESK
    assert view.where[middle_px, middle_px] == WORK
    assert view.codes[0].max() == 0


def test_without_its_weights_the_light_is_found_as_before(monkeypatch: pytest.MonkeyPatch) -> None:
    assert shade_eye._net() is not None
    monkeypatch.setattr(shade_eye, "_net", lambda: None)
    photo = read_photo(photos.jpeg())
    width, height = photo.full_px
    corners = ((10.0, 10.0), (width - 10.0, 10.0), (width - 10.0, height - 10.0), (10.0, height - 10.0))
    outline = Outline(corners_px=corners, confidence=1.0)
    assert shade_eye.look_for_shade(seen_squarely(photo, geometry_of(photo, outline))) is None
    assert make_plan(photo, outline, Wishes())[0].geometry.ratio > 0


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "seed"), [("journal", 731), ("pencil", 732)])
def test_the_hard_shadow_of_a_hand_is_gone_in_a_photo(kind: str, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rendered by the lab; what is left of it without the eye is several times as much."""
    spec = random_spec(
        seed, kind, "wood", shadow="hand", shadow_softness_mm=1.5, shadow_strength=0.75, shadow_at=(0.1, 0.2),
        shadow_turn_deg=40.0, over="none", glare=0.0, fill=0.8,
    )  # fmt: skip
    shot = render(spec, 900)
    photo = read_photo(encode_jpeg(shot, 90))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    uneven = {}
    for eye in (True, False):
        if not eye:
            monkeypatch.setattr(planning, "look_for_shade", lambda view: None)
        plan, _, _ = make_plan(photo, outline, Wishes(size_mm=shot.truth.size_mm))
        uneven[eye] = measure_colour(photo, plan, shot).uneven_percent
    assert uneven[True] < 20
    assert uneven[True] < 0.5 * uneven[False]
