"""What a camera does to a picture before it is a file: its contrast curve, mildly taken back."""

from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np

from autoprep.imaging.arrays import Float32, Float64, float32
from autoprep.pixels import Photo


def without_contrast(photo: Photo, steepness: float) -> Photo:
    """The photo with the usual contrast curve of a camera taken back: the same codes, other tables.

    Cameras render for the screen: over the plain transfer curve they bend the middle steeper, so that washes come out
    too dark and half-lights too light (common practice, no source). How much differs from camera to camera and is not
    in the file; steepness is what is taken back in the middle, 0.1 for a tenth, and is meant to be less than most
    cameras add. White, black and the middle stay; no code moves by more than steepness / 2 pi. Photos that no camera
    has rendered, linear ones and RAW, are left alone.
    """
    if steepness <= 0 or not photo.facts.camera or photo.facts.format == "raw" or photo.tables is None:
        return photo
    kept = _TAKEN_BACK.setdefault(photo, {})
    if steepness not in kept:
        kept[steepness] = _with_other_tables(photo, photo.tables, steepness)
    return kept[steepness]


# What was made of each photo, for as long as it is in use: with it go the reduced copies that were made of that.
_TAKEN_BACK: WeakKeyDictionary[Photo, dict[float, Photo]] = WeakKeyDictionary()


def _with_other_tables(photo: Photo, tables: Float32, steepness: float) -> Photo:
    levels = tables.shape[1]
    at = _straightened(np.linspace(0, 1, levels), steepness) * (levels - 1)
    return replace(photo, tables=float32([np.interp(at, np.arange(levels), table) for table in tables]))


def _straightened(code: Float64, steepness: float) -> Float64:
    """(N,) codes 0..1 -> what the curve v - steepness / 2 pi * sin(2 pi v) was given to make them."""
    given = np.linspace(0, 1, 4097)
    return np.interp(code, given - steepness / (2 * np.pi) * np.sin(2 * np.pi * given), given)
