"""What the outline finder's scorers are fitted on: each half, and each part that is told figures of, has of all."""

from collections import Counter

import pytest

from tests.lab.fit_outline import HARD_DESKS, HARD_WALLS, _block, _is_bare, _is_cut, _spec

PHOTOS = 1800


def shown(seed: int) -> str:
    """What is special about the photo of a seed."""
    spec = _spec(seed)
    if _is_bare(seed):
        return "bare"
    if _is_cut(seed):
        return "cut"
    if spec.carrier != "none":
        return "carried"
    if seed % 20 == 4 and spec.desk in HARD_DESKS:
        return "edges side by side"
    if seed % 20 == 16 and spec.desk in HARD_WALLS:
        return "on a wall"
    return "any"


@pytest.mark.parametrize("parts", [2, 5])
def test_every_part_of_the_photos_shows_everything_as_often(parts: int) -> None:
    """A scorer that weighs photos of a kind that it was never shown tells nothing of the one that is shipped."""
    kinds = {seed: shown(seed) for seed in range(PHOTOS)}
    counts = [Counter(kinds[s] for s in kinds if _block(s) % parts == k) for k in range(parts)]
    assert set(counts[0]) == {"bare", "cut", "carried", "edges side by side", "on a wall", "any"}
    for kind in counts[0]:
        found = [count[kind] for count in counts]
        assert min(found) >= 0.8 * max(found) > 0, kind
