"""An outline around two works that lie side by side is none: it is asked about."""

from typing import Any

import numpy as np
import pytest

from autoprep.correction.outline import finder, gate
from autoprep.correction.outline.answers import Answer
from autoprep.correction.outline.side_by_side import apart, in_reading_order, is_of_two
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float64
from tests.lab.fortnight_photos import Frame, photograph

_SIZE = (1800, 1350)
_AROUND = np.array([[200.0, 150], [1400, 150], [1400, 950], [200, 950]])


def answer(quad: Float64, confidence: float = 0.5) -> Any:
    return Answer(quad, confidence)


def column(start: float, end: float) -> Float64:
    """What lies in the outline between two shares of its width."""
    left, right = 200 + 1200 * start, 200 + 1200 * end
    return np.array([[left, 150.0], [right, 150], [right, 950], [left, 950]])


@pytest.mark.parametrize(
    ("parts", "likely", "two"),
    [
        (((0.0, 0.4), (0.5, 1.0)), (0.27, 0.9), True),
        (((0.0, 0.5), (0.5, 1.0)), (0.27, 0.9), False),  # the pages of an open book
        (((0.0, 0.2), (0.5, 1.0)), (0.27, 0.9), False),  # a drawing, and something small beside it
        (((0.0, 0.4), (0.5, 1.0)), (0.05, 0.9), False),  # the judge does not hold it for a work
        (((0.0, 0.4), (0.3, 0.8)), (0.27, 0.9), False),  # two guesses at one work
        (((-0.3, 0.1), (0.5, 1.0)), (0.27, 0.9), False),  # one lies outside
    ],
)
def test_two_works_with_desk_between_them_are_told_from_one(
    parts: tuple[tuple[float, float], ...], likely: tuple[float, ...], two: bool
) -> None:
    judged = [answer(_AROUND, 0.03), *(answer(column(*p), c) for p, c in zip(parts, likely, strict=True))]
    assert is_of_two(answer(_AROUND), judged, _SIZE) is two


def test_two_guesses_that_overlap_are_one_work() -> None:
    one = np.array([[200.0, 150], [900, 150], [900, 600], [200, 600]])
    other = np.array([[700.0, 450], [1400, 450], [1400, 950], [700, 950]])
    judged = [answer(_AROUND, 0.03), answer(one, 0.5), answer(other, 0.5)]
    assert not is_of_two(answer(_AROUND), judged, _SIZE)
    below = np.add(_AROUND, [[0, 0], [0, 0], [0, 200], [0, 200]])
    assert is_of_two(answer(below), [answer(one, 0.5), answer(np.add(other, (0, 160)), 0.5)], _SIZE)


def box(left: float, top: float, right: float, bottom: float) -> Answer:
    return answer(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("right", "likely", "seen"),
    [(900, 0.03, True), (900, 0.02, False), (1400, 0.1, True), (1400, 0.05, False), (625, 0.9, False)],
    ids=["as large", "as large and unlikely", "larger", "larger and not likely enough", "small"],
)
def test_a_finalist_beside_the_first_is_a_work_where_it_is_likely(right: float, likely: float, seen: bool) -> None:
    """The more so the larger it is, for the first one that the eye names is the largest."""
    first, other = box(100, 100, 500, 500), box(600, 100, right, 500)
    found = apart(first, [first, answer(other.quad, likely)], _SIZE)
    assert [entry.quad.tolist() for entry in found] == ([other.quad.tolist()] if seen else [])


@pytest.mark.parametrize("turned", [-15.0, 0.0, 15.0], ids=["one way", "level", "the other way"])
@pytest.mark.parametrize(
    "works",
    [
        (box(100, 100, 700, 1100), box(800, 110, 1400, 560), box(800, 620, 1400, 1090)),
        (box(100, 110, 700, 560), box(100, 620, 700, 1090), box(800, 100, 1400, 1100)),
        (box(100, 100, 700, 500), box(800, 110, 1400, 510), box(100, 600, 700, 1000), box(800, 610, 1400, 1010)),
        (
            box(50, 100, 500, 1100), box(600, 110, 950, 560), box(1050, 110, 1400, 560), box(600, 620, 950, 1090),
            box(1050, 620, 1400, 1090),
        ),
        (box(100, 100, 400, 300), box(500, 80, 900, 600), box(1000, 120, 1400, 420)),
    ],
    ids=["a tall one first", "a tall one last", "two rows", "two rows beside a tall one", "one row"],
)  # fmt: skip
def test_a_hair_s_turn_of_the_phone_leaves_the_order_of_works(works: tuple[Answer, ...], turned: float) -> None:
    """Their order makes their numbers, to which notes belong. Those above each other are read from the top, whatever
    stands beside them; turned: by how much those to the right lie lower, and the lower ones further left, px.
    """
    lie = [Answer(work.quad + work.quad[:, ::-1].mean(0) / 700 * (-turned, turned), 0.5) for work in works]
    found = in_reading_order(lie[::-1])
    assert [[entry is one for one in lie].index(True) for entry in found] == list(range(len(works)))


@pytest.mark.parametrize("degrees", [-14, -8, 8, 14])
@pytest.mark.parametrize(("rows", "columns"), [(2, 5), (3, 3), (3, 2)])
def test_rows_of_works_stay_rows_where_the_photo_is_askew(rows: int, columns: int, degrees: float) -> None:
    cells = [(x * 140.0, y * 140.0) for y in range(rows) for x in range(columns)]
    turn = np.deg2rad(degrees)
    askew = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    lie = [Answer((box(x, y, x + 120, y + 120).quad) @ askew + 400, 0.5) for x, y in cells]
    found = in_reading_order(lie[1::2] + lie[::2])
    assert [[entry is one for one in lie].index(True) for entry in found] == list(range(len(lie)))


def test_an_outline_around_two_works_is_a_question() -> None:
    """A clear eye is believed against the judge, but not where his finalists are two works in what it sees."""
    judged = [answer(column(0.5, 1.0), 0.9), answer(column(0.0, 0.4), 0.27), answer(_AROUND, 0.03)]
    witness = gate.Witness(
        agreement=0.5, support=1.0, views=0.998, undecided=0.05, chance=1.0, rail=False, all_cut=False,
        several=is_of_two(answer(_AROUND), judged, _SIZE),
    )  # fmt: skip
    assert gate.confidence(witness) == gate.DOUBTED


@pytest.mark.slow
def test_a_boat_on_brown_paper_beside_a_plant_on_white_is_asked_about() -> None:
    """The eye sees one sheet with all its mind there; both drawings and the desk between them were passed as one."""
    data, _ = photograph(Frame("IMG_5226.jpg", "several", 1, 7))
    found = finder.find_outline(read_photo(data))
    assert isinstance(found, Outline)
    assert found.confidence < gate.SURE
