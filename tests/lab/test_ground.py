"""What the eye for paper learns from: the paper that it is told is there, and the light that it is told lies on it."""

import numpy as np
import pytest

from autoprep.correction.fallen import WORK
from autoprep.imaging.arrays import AnyArray
from autoprep.imaging.transfer import srgb_to_linear

from .ground import samples
from .ground.samples import LIGHT, NONE, TONED, GroundSample, sample
from .spec import SceneSpec, random_spec


def _of(kind: str, seed: int, monkeypatch: pytest.MonkeyPatch) -> GroundSample:
    def spec(seed: int, rng: np.random.Generator) -> SceneSpec:
        return random_spec(seed, kind, None)

    monkeypatch.setattr(samples, "_spec", spec)
    return sample(seed)


@pytest.mark.parametrize(
    ("kind", "paper", "bare"),
    [("pencil", LIGHT, 0.85), ("toned", TONED, 0.7), ("coloured", TONED, 0.7), ("painting", NONE, 0.0)],
)
def test_the_paper_is_told_and_where_it_is_bare(
    kind: str, paper: int, bare: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = _of(kind, 30_051, monkeypatch)
    assert made.paper == paper
    on_work = made.where[::2, ::2] == WORK
    share = float(made.bare[on_work].mean()) / 255
    assert share >= bare if bare else share == 0
    assert made.bare[~on_work].mean() < 3  # the work's rim lies half on a place


def test_lines_of_a_ruled_page_count_as_the_paper_that_they_lie_on(monkeypatch: pytest.MonkeyPatch) -> None:
    made = _of("notebook", 30_054, monkeypatch)
    on_work = made.where[::2, ::2] == WORK
    assert float((made.bare[on_work] > 128).mean()) > 0.6


@pytest.mark.parametrize("seed", [30_051, 30_055])
def test_what_is_left_without_the_light_is_the_paper(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """White, natural and cream drawing paper reflects .8 to .93 of the light (common practice, no source)."""
    made = _of("pencil", seed, monkeypatch)
    codes: AnyArray = made.codes.reshape(160, 2, 160, 2, 3).mean(axis=(1, 3)) / 255
    left = srgb_to_linear(codes) / np.exp(made.light.astype(np.float32).transpose(1, 2, 0))
    ground = (made.bare > 250) & (codes.max(-1) < 0.95)
    level = np.median(left[ground], axis=0)
    assert level.min() > 0.78
    assert level.max() < 0.95
    assert float(np.log(left[ground]).std()) < 0.14
