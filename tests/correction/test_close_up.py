"""A photo close up is what all of it would be."""

import numpy as np
import pytest

from autoprep.correction.outline.candidates import sample
from autoprep.correction.outline.close_up import CloseUp, smooth_lab
from autoprep.domain import PhotoFacts
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import AnyArray
from autoprep.pixels import Photo


def grid(start: tuple[float, float], end: tuple[float, float], reach: float) -> AnyArray:
    """(60, 21, 2) points along a line and to both its sides."""
    a, b = np.array(start), np.array(end)
    across = np.array([(b - a)[1], -(b - a)[0]]) / np.linalg.norm(b - a)
    offsets = np.linspace(-reach, reach, 21)[None, :, None]
    return np.asarray(a + (b - a) * np.linspace(0, 1, 60)[:, None, None] + across * offsets)


@pytest.mark.parametrize("factor", [1, 2])
@pytest.mark.parametrize("line", [((20, 30), (280, 50)), ((290, 8), (270, 180)), ((5, 195), (295, 199))])
def test_the_pieces_are_those_of_the_whole(factor: int, line: AnyArray) -> None:
    codes = np.random.default_rng(1).integers(0, 256, (200 * factor, 300 * factor, 3), dtype=np.uint8)
    photo = Photo(codes, PhotoFacts("jpeg", 300 * factor, 200 * factor), srgb_tables(256))
    close = CloseUp(photo, 300)
    assert close.shape == (200, 300)
    assert close.scale == 1 / factor
    points = grid(line[0], line[1], 6.0)
    whole = sample(smooth_lab(photo.reduced(factor).linear()), points)
    # Beyond the photo's border its edge goes on; the smoothing mirrors it, so only what lies within is the same.
    inside = ((points > 1) & (points < np.array([299, 199]))).all(-1)
    assert np.abs(close.sample(points[..., 0], points[..., 1]) - whole)[inside].max() < 0.02
