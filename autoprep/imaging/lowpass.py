"""The low-pass filter that goes before a reduction, so that hatching finer than the output does not come out as moiré.

It has the response of a Lanczos kernel of three lobes, as wide as the reduction at that place (Duchon, "Lanczos
filtering in one and two dimensions", Journal of Applied Meteorology 18, 1979), and makes good what halving the photo
before it, and the cubic interpolation after it, take from the frequencies that are left.
"""

from functools import lru_cache

import numpy as np

from autoprep.imaging.arrays import Float32, Float64

_LOBES = 3
_GRID = 512  # frequencies at which the response is worked out
# From no reduction at all to this one the filter comes in step by step: a picture at its own size stays as it is.
_FULL_FROM = 1.12
# Towards the horizon of a plane a pixel shows ever more of it, and nothing of that can be told any more.
_WIDEST = 32.0


def halving_response(frequency: Float64, halvings: int) -> Float64:
    """What is left of each frequency (cycles per pixel of the halved copy) after so many halvings by 1-4-6-4-1."""
    left = np.ones_like(frequency)
    for k in range(1, halvings + 1):
        left = left * np.cos(np.pi * frequency / 2**k) ** 4
    return left


@lru_cache(maxsize=4096)  # a slant photo asks for a hundred, most of which the next one wants too
def lowpass(shrink: float, halvings: int) -> Float32 | None:
    """(taps,) float32 symmetric kernel for a reduction by `shrink` pixels per output pixel; None where none is needed.

    halvings: how often the copy that it is applied to was halved.
    """
    shrink = shrink if shrink < _WIDEST else _WIDEST  # which is so for no number too
    share = min(max((shrink - 1) / (_FULL_FROM - 1), 0.0), 1.0)
    if share == 0 and halvings == 0:
        return None
    wide = max(shrink, 1.0)
    reach = int(np.ceil(_LOBES * wide))
    frequency = np.arange(_GRID + 1) / (2 * _GRID)
    # Only what the output can show is made good.
    finest = 0.5 / wide
    made_good = np.where(frequency < finest, _cubic_on_grid(), cubic_response(np.array([finest])))
    wanted = (1 - share) + share * _lanczos_response(frequency, wide, reach) / made_good
    kernel = np.fft.irfft(wanted / np.maximum(halving_response(frequency, halvings), 0.1))
    taps = np.concatenate([kernel[-reach - 1 :], kernel[: reach + 2]])
    return np.asarray(taps / taps.sum(), np.float32)


@lru_cache(maxsize=1)
def _cubic_on_grid() -> Float64:
    return cubic_response(np.arange(_GRID + 1) / (2 * _GRID))


def cubic_response(frequency: Float64) -> Float64:
    """What cubic interpolation (`cv2.INTER_CUBIC`, a = -0.75) leaves of each frequency, in cycles per pixel."""
    at = (np.arange(-256, 256) + 0.5) / 128
    x, a = np.abs(at), -0.75
    near = (a + 2) * x**3 - (a + 3) * x**2 + 1
    far = a * x**3 - 5 * a * x**2 + 8 * a * x - 4 * a
    kernel = np.where(x < 1, near, far)
    return np.asarray((np.cos(2 * np.pi * frequency[:, None] * at) @ kernel) / kernel.sum(), np.float64)


def _lanczos_response(frequency: Float64, wide: float, reach: int) -> Float64:
    at = np.arange(-reach, reach + 1)
    kernel = np.sinc(at / wide) * np.sinc(at / wide / _LOBES) * (np.abs(at) < _LOBES * wide)
    return np.asarray((np.cos(2 * np.pi * frequency[:, None] * at) @ kernel) / kernel.sum(), np.float64)
