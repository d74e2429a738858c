"""Everyday photos of the lab: dim rooms, lamp and window, hard shadows, bent sheets; white pages come out white."""

import numpy as np
import pytest

from autoprep.correction.camera import without_contrast
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.squaring import rectify
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.wishes.tables import CAMERA_CONTRAST
from tests.lab.real_pages import tiles
from tests.lab.scene import encode_jpeg, render, rough_spec


# Quick seeds: no tuning uses them.
@pytest.mark.slow
@pytest.mark.parametrize("seed", [30040, 30041, 30042, 30043, 30044, 30045])
def test_notebook_pages_come_out_white(seed: int) -> None:
    shot = render(rough_spec(seed, "notebook"), 1200)
    photo = read_photo(encode_jpeg(shot, shot.spec.jpeg_quality))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    lit = without_contrast(photo, CAMERA_CONTRAST)
    plan, judged, _ = make_plan(lit, Outline(corners_px=corners, confidence=1.0), Wishes())  # type: ignore[arg-type]
    assert judged.paper in ("white", "tinted")
    after = tiles(quantise8(encode_fast(corrected(rectify(lit, plan.geometry).linear, plan))))
    assert np.median(after[:, 0]) > 94
    assert np.hypot(*np.median(after[:, 1:], axis=0)) < 2
