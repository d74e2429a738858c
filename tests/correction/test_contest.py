"""Which candidates come before the judge, and how far each of them is refined for that."""

from typing import Any

import numpy as np
import pytest

from autoprep.correction.outline import contest as module
from autoprep.correction.outline import refinement
from autoprep.correction.outline.contest import Finalist, contest
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.side_fits import Side, fit_sides
from autoprep.files.reading import read_photo
from tests.lab.scene import encode_jpeg, random_spec, render


def photographed(seed: int) -> Copies:
    return Copies(read_photo(encode_jpeg(render(random_spec(seed), 1200), 90)))


def finalists(copies: Copies) -> list[Finalist]:
    evidence, scale = copies.evidence
    return contest(copies.photo, evidence, scale, copies=copies)


@pytest.mark.parametrize("seed", [77_000_411, 77_000_422, 77_000_432])
def test_who_is_refined_no_further_would_have_ended_the_same(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    copies, rounds = photographed(seed), []

    def counted(*given: Any) -> list[Side | None]:
        rounds.append(1)
        return fit_sides(*given)

    monkeypatch.setattr(refinement, "fit_sides", counted)
    short, count = finalists(copies), len(rounds)
    monkeypatch.setattr(module, "_SURELY_SAME", 2.0)
    monkeypatch.setattr(module, "_SURELY_OTHER", -1.0)
    long = finalists(copies)
    assert len(rounds) - count > 1.1 * count
    assert [one.source for one in short] == [one.source for one in long]
    for one, other in zip(short, long, strict=True):
        assert np.array_equal(one.quad, other.quad)
        assert np.allclose(one.features, other.features)  # also how many came to the same
