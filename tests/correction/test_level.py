"""The level of bare paper, on sheets of any proportion."""

import numpy as np
import pytest

from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import judge
from autoprep.correction.paper import find_level
from autoprep.domain import Declined
from autoprep.imaging.arrays import Float32


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
