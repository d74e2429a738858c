"""A shine on a sheet hides strokes; more light on a part of it does not."""

import cv2
import numpy as np
import pytest

from autoprep.correction.assessment import glare_percent
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.shine import is_veil
from autoprep.domain import Declined
from autoprep.imaging.arrays import Float32

_SIZE = (840, 1180)


def _page(ruled: bool = True) -> Float32:
    rng = np.random.default_rng(2)
    page = np.full((*_SIZE, 3), 0.5, np.float32)
    for at in range(20, _SIZE[0], 24) if ruled else ():
        page[at : at + 2] *= 0.55
    for at in range(20, _SIZE[1], 24) if ruled else ():
        page[:, at : at + 2] *= 0.55
    return np.asarray(page * np.exp(rng.normal(0, 0.01, (*_SIZE, 1))), np.float32)


def _spot() -> Float32:
    """(H, W, 1) 0..1 a soft round spot to the right, where more light falls, or a lamp is reflected."""
    spot = np.zeros(_SIZE, np.float32)
    cv2.circle(spot, (860, 400), 120, 1.0, -1)
    return np.asarray(cv2.GaussianBlur(spot, (0, 0), 30), np.float32)[..., None]


def _glare(picture: Float32) -> float:
    paper, _ = find_paper(np.asarray(picture, np.float32))
    assert not isinstance(paper, Declined)
    assert paper.sheet is not None
    return glare_percent(np.asarray(picture, np.float32), paper)


def test_a_part_in_more_light_hides_nothing() -> None:
    """A window's light on a page that waves: as much as a tenth of real pages were not printed for it."""
    assert _glare(_page() * (1 + 0.5 * _spot())) == 0


def test_a_lamp_that_is_reflected_does() -> None:
    assert _glare(_page() + 0.25 * _spot()) > 2


@pytest.mark.parametrize(("strokes", "expected"), [(400, False), (30, True)])
def test_too_few_strokes_tell_nothing(strokes: int, expected: bool) -> None:
    up = np.zeros((100, 100), np.float32)
    up[:, 50:] = 0.3
    rest = np.zeros((100, 100), np.float32)
    rest[:8] = -1.0
    lifted = rest[:, 50:].copy()
    lifted[:] = 0
    lifted.flat[:strokes] = -1.0
    rest[:, 50:] = lifted
    assert is_veil(rest, up) is expected
    assert is_veil(rest[:, ::-1], up) is expected  # nor does it matter on which side they are missing
    rest[:, 50:] *= 0.4
    assert is_veil(rest, up)  # strokes are pale there
