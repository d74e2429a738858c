"""Works beside the one that the eye is taken by, and works that lie so near that they are seen as one."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from autoprep.correction.chart import find_chart
from autoprep.correction.outline import Survey, eye, gate, others
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.drawn_on import is_drawn_on
from autoprep.correction.outline.evidence import FINDING_PX
from autoprep.correction.outline.side_by_side import is_square_beside, is_strip_along, leave_free
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import overlap_in_photo, project
from autoprep.pixels import Photo, quad_of
from tests import photos
from tests.lab import several
from tests.lab.scene import encode_jpeg, random_spec, render

_SIZE = (1200, 900)
_WHOLE = (False,) * 4


def rectangle(left: float, top: float, right: float, bottom: float) -> Float64:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def sight(works: list[Float64], drawn: list[Float64], size: tuple[int, int] = _SIZE) -> eye.Sight:
    """What the eye sees of a photo: these works, and the edges that are drawn on its map."""
    maps = np.zeros((2, 160, 160), np.float32)
    for quad in drawn:
        points = np.round(quad * 160 / np.array(size)).astype(np.int32)
        cv2.polylines(maps[1], [points], True, 0.6, 2)
    return eye.Sight(tuple(eye.Seen(work, _WHOLE, 1.0) for work in works), 1.0, 0.05, maps)


Look = Callable[..., eye.Sight]


def closer(shown: list[Float64], looks: list[tuple[float, ...]], cut: tuple[bool, ...] = _WHOLE) -> Look:
    """A closer look that shows those of the works that lie in the part that is looked at."""

    def look(part: object, at: tuple[float, float], size: tuple[float, float]) -> eye.Sight:
        looks.append((*at, *size))
        inside = [q for q in shown if (q.min(0) >= at).all() and (q.max(0) <= np.add(at, size)).all()]
        seen = tuple(eye.Seen(quad, cut, 1.0) for quad in inside)  # type: ignore[arg-type]
        return eye.Sight(seen, 1.0, 0.05, np.zeros((2, 8, 8), np.float32))

    return look


@cache
def copies() -> Copies:
    return Copies(read_photo(photos.jpeg()))


LARGE, SMALL = rectangle(100, 200, 600, 700), rectangle(750, 300, 950, 600)


def test_what_stands_out_beside_a_work_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer([LARGE, SMALL], looks))
    found = others.all_seen(copies(), sight([LARGE], [LARGE, SMALL]))
    assert [work.quad.tolist() for work in found] == [LARGE.tolist(), SMALL.tolist()]
    left, top, width, height = looks[0]
    assert 620 < left < 750
    assert left + width > 950
    assert top < 300
    assert top + height > 600


@pytest.mark.parametrize(
    ("shown", "cut"),
    [
        ([], _WHOLE),  # a mug, say
        ([SMALL], (False, True, False, False)),  # not whole
        ([rectangle(760, 400, 860, 500)], _WHOLE),  # small beside the work: a stamp
    ],
    ids=["nothing", "cut", "small"],
)
def test_what_is_no_work_at_the_closer_look_is_none(
    monkeypatch: pytest.MonkeyPatch, shown: list[Float64], cut: tuple[bool, ...]
) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer(shown, looks, cut))
    found = others.all_seen(copies(), sight([LARGE], [LARGE, SMALL]))
    assert [work.quad.tolist() for work in found] == [LARGE.tolist()]
    assert looks


@pytest.mark.parametrize("drawn", [[], [rectangle(1115, 400, 1145, 430)]], ids=["nothing beside", "a coin"])
def test_a_work_alone_costs_no_closer_look(monkeypatch: pytest.MonkeyPatch, drawn: list[Float64]) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer([], looks))
    work = rectangle(120, 90, 1090, 800)
    assert len(others.all_seen(copies(), sight([work], [work, *drawn]))) == 1
    assert looks == []


@pytest.mark.parametrize(
    ("shown", "chance", "works"),
    [
        (SMALL, 1.0, 2),
        (rectangle(750, 300, 870, 420), 1.0, 2),  # a card: .058 of the other's area
        (rectangle(750, 300, 860, 400), 1.0, 1),  # a label
        (SMALL, 0.8, 1),  # what is on a desk
    ],
    ids=["a work", "a card", "a label", "unlikely"],
)
def test_what_is_free_beside_a_work_is_looked_at_though_nothing_stands_out(
    monkeypatch: pytest.MonkeyPatch, shown: Float64, chance: float, works: int
) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(others, "is_drawn_on", lambda *_: True)
    monkeypatch.setattr(others, "_has_corners", lambda *_: True)
    show = closer([shown], looks)
    monkeypatch.setattr(eye, "look_closer", lambda *given: replace(show(*given), chance=chance))
    found = others.all_seen(copies(), sight([LARGE], [LARGE]))
    assert len(found) == works
    for left, top, width, height in looks[:3]:  # nothing of the work is in it, and the left side is too narrow
        assert left >= 600 or top >= 700 or top + height <= 200
        assert max(width, height) < 2.3 * 1.5 * min(width, height)


def test_what_is_not_square_on_the_desk_is_no_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts of sheets that lie over each other, and the rectangle around a round thing and its shadow, are not."""
    flat, wide = rectangle(0, 0, 5, 4), rectangle(9, 0, 12, 2)
    kite = np.array([[9.0, 1], [10.5, 0.1], [12, 1.1], [10.4, 3.8]])
    # Seen from aside: both become trapezia, and a turned card is no parallelogram any more.
    aside = np.array([[90.0, 8, 100], [3, 70, 90], [0.012, 0.03, 1]])
    turned = (wide - wide.mean(0)) @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + [11, 2]
    first, *seen = (project(aside, quad) for quad in (flat, wide, turned, kite))
    assert [is_square_beside(first, quad) for quad in seen] == [True, True, False]
    monkeypatch.setattr(others, "is_drawn_on", lambda *_: True)
    monkeypatch.setattr(others, "_has_corners", lambda *_: True)
    for shown, works in ((SMALL, 2), (SMALL + np.array([[0.0, 0], [0, 0], [0, 0], [150, 0]]), 1)):
        monkeypatch.setattr(eye, "look_closer", closer([shown], []))
        assert len(others.all_seen(copies(), sight([LARGE], [LARGE]))) == works


@pytest.mark.parametrize(("laid", "looked"), [("card", True), ("ruler", False), (None, False)])
def test_a_closer_look_at_what_is_free_is_taken_where_edges_meet(
    monkeypatch: pytest.MonkeyPatch, laid: str | None, looked: bool
) -> None:
    """A bare desk, most of what is free, costs no look; a long thing has two sides in view that never meet."""
    picture = np.full((900, 1200, 3), 150, np.uint8)
    if laid == "card":
        cv2.fillPoly(picture, [np.array([[760, 320], [960, 300], [985, 590], [780, 610]])], (215, 220, 222))
    if laid == "ruler":
        cv2.fillPoly(picture, [np.array([[700, -20], [760, -20], [860, 920], [800, 920]])], (215, 220, 222))
    taken: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer([], taken))
    photo = read_photo(cv2.imencode(".png", picture)[1].tobytes())
    work = eye.Seen(rectangle(0, 0, 620, 900), _WHOLE, 1.0)
    others.all_seen(Copies(photo), eye.Sight((work,), 1.0, 0.05, sight([], []).maps))
    assert bool(taken) == looked


def test_a_long_band_is_looked_at_in_pieces_that_overlap() -> None:
    work = eye.Seen(rectangle(0, 0, 950, 900), _WHOLE, 1.0)
    boxes = others._free_beside([work], (1200, 900))
    assert [box[:1] + box[2:3] for box in boxes] == [(962.0, 1200.0)] * len(boxes)
    assert len(boxes) == 2
    assert boxes[0][1] == 0
    assert boxes[1][3] == 900
    assert boxes[1][1] < boxes[0][3] - 100
    assert others._free_beside([], (1200, 900)) == []


def test_the_photo_of_a_work_that_fills_it_is_not_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer([SMALL], looks))
    whole = eye.Seen(rectangle(0, 0, *_SIZE), (True,) * 4, 1.0)
    seen = eye.Sight((whole,), 1.0, 0.05, sight([], [SMALL, rectangle(600, -30, 1300, 930)]).maps)
    assert others.all_seen(copies(), seen) == (whole,)
    assert looks == []


@pytest.mark.parametrize(("gap", "works"), [(60.0, 2), (0.0, 1)], ids=["two cards", "an open book"])
def test_a_line_through_a_work_parts_it_where_desk_lies_between(
    monkeypatch: pytest.MonkeyPatch, gap: float, works: int
) -> None:
    around = rectangle(100, 90, 1100, 810)
    parts = [rectangle(100, 90, 600 - gap / 2, 810), rectangle(600 + gap / 2, 90, 1100, 810)]
    looks: list[tuple[float, ...]] = []
    # Seen as one at every look at both together, each for itself where one is looked at alone.
    show = closer(parts, looks)
    monkeypatch.setattr(
        eye, "look_closer",
        lambda part, at, size: show(part, at, size) if size[0] < 900 else closer([around], looks)(part, at, size),
    )  # fmt: skip
    found = others.all_seen(copies(), sight([around], [around, *parts]))
    assert len(found) == works
    assert len(looks) == 3


def test_works_that_are_not_seen_at_first_are_found_by_what_stands_out(monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[tuple[float, ...]] = []
    monkeypatch.setattr(eye, "look_closer", closer([LARGE, SMALL], looks))
    assert len(others.all_seen(copies(), sight([], [LARGE, SMALL]))) == 2


def _beside_work(seed: int, kind: str, reference: str) -> Photo:
    spec = random_spec(seed, kind, fill=0.62, offset=(-0.9, -0.9), over="none", reference=reference)
    return read_photo(encode_jpeg(render(spec, 1600), 90))


def test_a_chart_a_grey_card_and_a_blank_sheet_are_no_works() -> None:
    """Each would make a question of every photo with a reference beside the work."""
    photo = _beside_work(300_100, "watercolour", "grey card")
    found = eye.look(photo, Copies(photo).at(FINDING_PX))
    assert found is not None
    boxes = others._free_beside(found.works[:1], photo.full_px)
    cards = [work for box in boxes for work in others._looked_at(Copies(photo), box, 0.0, others._SURELY)]
    assert cards  # the eye takes it for a work
    assert not any(is_drawn_on(Copies(photo), card.quad) for card in cards)
    photo = _beside_work(300_102, "painting", "chart")
    chart = find_chart(photo)
    assert chart is not None
    corners = chart.centres_px[[0, 5, 23, 18]]
    around = corners.mean(axis=0) + (corners - corners.mean(axis=0)) * [1.3, 1.4]
    assert not is_drawn_on(Copies(photo), around)
    assert is_drawn_on(Copies(photo), around * 0.8)  # not all of it: it is something else
    photo, quads = several.photo_of(95_004)
    assert all(is_drawn_on(Copies(photo), np.asarray(quad, np.float64)) for quad in quads)


def test_one_work_that_is_not_seen_at_first_is_found_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(eye, "look_closer", closer([SMALL], []))
    assert len(others.all_seen(copies(), sight([], [SMALL]))) == 1


def test_a_work_that_spans_a_quarter_of_the_photo_is_asked_about() -> None:
    """Of 16 such photos (seeds 123000-123007, spans of .22 and .25) 13 were left alone as no work, without a word."""
    shot = render(random_spec(123000, "pencil", fill=0.25, over="none"), 1600)
    size = (shot.pixels.shape[1], shot.pixels.shape[0])
    survey = Survey(read_photo(encode_jpeg(shot, 90)))
    assert survey._sight is not None
    assert survey._sight.works == ()
    assert survey.shows_work()[0] == gate.NO_WORK
    found = survey.outline()
    assert not isinstance(found, Declined)
    assert found.confidence < gate.SURE
    assert overlap_in_photo(quad_of(found), np.asarray(shot.truth.corners_px), size) > 0.97
    best = survey.outlines(4)
    assert [overlap_in_photo(quad_of(other), quad_of(found), size) < 0.985 for other in best[1:]]


def test_without_the_weights_nothing_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(eye, "_net", lambda: None)
    assert eye.look_closer(np.zeros((9, 9, 3), np.float32), (0, 0), (9, 9)) is None
    assert len(others.all_seen(copies(), sight([LARGE], [LARGE, SMALL]))) == 1


def test_a_closer_look_is_in_the_photo_s_own_pixels() -> None:
    photo = read_photo(photos.jpeg())
    part = photo.linear()[50:, 40:]
    height, width = part.shape[:2]
    seen = eye.look_closer(part, (40.0, 50.0), (float(width), float(height)))
    assert seen is not None
    assert overlap_in_photo(seen.works[0].quad, photos.corners(), photo.full_px) > 0.95


def test_pages_of_a_book_leave_nothing_free() -> None:
    left, right = rectangle(0, 0, 50, 80), rectangle(50, 1, 100, 80)
    assert not leave_free([left, right])
    assert leave_free([left, np.add(right, (6, 0))])
    assert leave_free([left, rectangle(50, 0, 80, 60)])


# Photos of seeds that nothing was chosen by. At first the eye saw one of two or three, or two as one.
@pytest.mark.parametrize("seed", [95004, 95007, 95021, 95033])
def test_all_works_are_seen(seed: int) -> None:
    photo, quads = several.photo_of(seed)
    survey = Survey(photo)
    works = survey.works()
    assert len(works) == len(quads)
    for quad in quads:
        assert max(overlap_in_photo(quad_of(work), quad, photo.full_px) for work in works) > 0.95


_SHEET = rectangle(300, 200, 700, 800)


@pytest.mark.parametrize(
    ("strip", "along"),
    [
        (rectangle(280, 810, 720, 890), True),  # the rim of a board below its sheet
        (rectangle(380, 150, 620, 215), True),  # a clip that lies over the sheet's edge
        (rectangle(712, 250, 790, 700), True),  # a label at the right
        (rectangle(280, 830, 720, 910), False),  # as far away as a work would lie
        (rectangle(300, 810, 480, 890), False),  # no strip
        (rectangle(450, 810, 890, 890), False),  # it goes on beyond the sheet
        (rectangle(280, 805, 720, 960), False),  # too large a share of the sheet
        (rectangle(350, 500, 650, 580), False),  # in the sheet
    ],
)
def test_a_strip_along_a_side_of_a_work_is_what_carries_it(strip: Float64, along: bool) -> None:
    lens = np.array([[0.9, 0.1, 30], [-0.1, 0.95, 40], [0.0001, -0.00005, 1]])  # seen aslant as well
    assert is_strip_along(_SHEET, strip) is along
    assert is_strip_along(project(lens, _SHEET), project(lens, strip)) is along


@pytest.mark.parametrize(("below", "seen"), [(4, 1), (40, 2)])
def test_the_rim_of_a_board_is_no_work_of_its_own(monkeypatch: pytest.MonkeyPatch, below: int, seen: int) -> None:
    strip = rectangle(300, 660 + below, 740, 750 + below)
    sheet = rectangle(300, 110, 740, 660)
    monkeypatch.setattr(eye, "look_closer", closer([strip], []))
    found = others.all_seen(copies(), sight([sheet], [strip]))
    assert len(found) == seen
