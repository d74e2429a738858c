"""An outline around two works that lie side by side is none: it is asked about."""

from typing import Any

import numpy as np
import pytest

from autoprep.correction.outline import finder, gate
from autoprep.correction.outline.answers import Answer
from autoprep.correction.outline.side_by_side import is_of_two
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
