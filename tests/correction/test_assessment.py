"""What is measured on the corrected work, against what was put in."""

import numpy as np
import pytest

from autoprep.correction.assessment import finished_look
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import lab_fast, lightness_of, luminance


def page(noise: float, strokes: int = 40) -> Float32:
    """(600, 800, 3) linear: paper with drawn lines, and white noise of so many L* in its lightness."""
    lightness = np.full((600, 800), 90.0)
    for k in range(strokes):
        lightness[10 + 14 * k : 12 + 14 * k, 40:760] = 25.0
    lightness += np.random.default_rng(3).normal(0, noise, lightness.shape)
    y = ((lightness + 16) / 116) ** 3
    return np.asarray(np.repeat(y[..., None], 3, axis=-1), np.float32)


@pytest.mark.parametrize("noise", [0.3, 1.0, 3.0])
def test_grain_is_the_noise_that_was_put_in_and_no_drawing(noise: float) -> None:
    assert finished_look(page(noise))["grain"] == pytest.approx(noise, rel=0.12)
    assert finished_look(page(0.0))["grain"] < 0.01


def test_lightness_is_that_of_the_whole_work() -> None:
    assert finished_look(page(0.0, strokes=0))["lightness"] == pytest.approx(90.0, abs=0.01)
    dark = page(0.0, strokes=0) * np.float32(0.004)  # below where L* is a straight line
    assert finished_look(dark)["lightness"] == pytest.approx(float(lab_fast(dark)[..., 0].mean()), abs=0.05)
    assert lightness_of(luminance(dark)).dtype == np.float32
