"""Pictures that are made without a destination: the proof, a question's choices, what takes are told by."""

import numpy as np
import pytest

from autoprep.correction import planned as module
from autoprep.correction.planned import planned
from autoprep.correction.sharpening import for_size, sharpen
from autoprep.domain import CorrectionPlan, Declined, Geometry, Photo, PhotoFacts, Sharpening, Tone
from autoprep.imaging.arrays import Float32


@pytest.mark.parametrize("reduced", [1, 2])
def test_a_reduced_picture_is_sharpened_as_a_delivery_of_that_size(
    monkeypatch: pytest.MonkeyPatch, reduced: int
) -> None:
    photo = Photo(np.full((200, 300, 3), 0.5, np.float32), PhotoFacts("raw", 300, 200))
    corners = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=(300, 200), corners_px=corners, ratio=1.5, ratio_from="corners"),
        kind="ink", paper="white", light=Declined(reason="-"), neutral=Declined(reason="-"), tone=Tone(),
        sharpening=Sharpening(amount=0.4),
    )  # fmt: skip
    amounts = []

    def noted(code: Float32, how: Sharpening) -> Float32:
        amounts.append(how.amount)
        return sharpen(code, how)

    monkeypatch.setattr(module, "sharpen", noted)
    planned(photo, plan).picture(60_000 // reduced**2)
    assert amounts == [pytest.approx(for_size(plan.sharpening, reduced).amount, rel=0.02)]
