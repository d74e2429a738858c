"""Pictures that are made without a destination: the proof, a question's choices, what takes are told by."""

import numpy as np
import pytest

from autoprep.correction import planned as module
from autoprep.correction.planned import planned
from autoprep.correction.sharpening import for_size, sharpen
from autoprep.domain import CorrectionPlan, Declined, Geometry, LightField, PhotoFacts, Sharpening, Tone
from autoprep.imaging.arrays import Float32
from autoprep.pixels import Photo, light_nodes, packed_light


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


def test_a_fine_light_is_packed_and_comes_back_to_a_ten_thousandth() -> None:
    rng = np.random.default_rng(4)
    values = rng.uniform(-2.9, 2.9, (60, 80, 3)).astype(np.float32)
    packed = packed_light(values)
    assert packed.log_light == ()
    again = LightField.model_validate_json(packed.model_dump_json())
    assert light_nodes(again) == pytest.approx(values, abs=0.6e-4)
    small = packed_light(values[:5, :6])
    assert not small.packed
    assert light_nodes(small) == pytest.approx(values[:5, :6], abs=0.6e-4)
    with pytest.raises(ValueError, match="reshape"):
        light_nodes(LightField(rows=61, cols=80, packed=packed.packed))


def test_a_smooth_light_of_many_nodes_takes_less_room_than_one_of_a_quarter_did() -> None:
    """A record holds it: one with a shadow must not be larger than before there were so many nodes."""
    y, x = np.mgrid[0:120, 0:160] / 160
    light = np.where((np.hypot(x - 0.5, y - 0.4) < 0.2)[..., None], -0.8, 0.1 * x[..., None] + np.zeros(3))
    assert len(packed_light(light).model_dump_json()) < 100_000
