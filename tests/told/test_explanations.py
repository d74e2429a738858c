"""What the artist is told of a photo."""

import pytest

from autoprep.domain import CorrectionPlan, Declined, Geometry, Sharpening, Tone
from autoprep.told.explanations import advice


def plan_of(width: int, height: int) -> CorrectionPlan:
    corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    geometry = Geometry(photo_px=(width, height), corners_px=corners, ratio=width / height, ratio_from="corners")
    return CorrectionPlan(
        geometry=geometry, kind="ink", paper="white", light=Declined(reason="-"), neutral=Declined(reason="-"),
        tone=Tone(), sharpening=Sharpening(),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("size", "blur_px", "told"),
    [
        ((4032, 3024), 1.2, False),
        ((4032, 3024), 1.6, True),
        ((8064, 6048), 2.6, False),  # the same photo, from a sensor of 48 megapixels
        ((8064, 6048), 3.2, True),
        ((1600, 1200), 1.2, False),  # and a small copy of it: what it can't hold is not blurred
        ((1600, 1200), 1.6, True),
    ],
)
def test_blur_is_told_by_what_it_takes_of_the_work_and_not_by_pixels(
    size: tuple[int, int], blur_px: float, told: bool
) -> None:
    measures = {
        "blur_px": blur_px, "oblique_degrees": 2.0, "work_long_side_px": float(size[0]), "clipped_percent": 0.0,
    }  # fmt: skip
    assert any("blurred" in line for line in advice(plan_of(*size), measures)) == told
