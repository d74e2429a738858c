"""The fold of an open book: the shade in it is the page's own."""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import Float32

_FOLD_FROM, _FOLD_TO, _FOLD_DEPTH, _FOLD_STRETCHES = 0.41, 0.59, 0.02, 12


def fold_of(luma: Float32) -> Float32:
    """(h, w) natural log, 0 or less: what a fold across the middle of the longer side takes of the light.

    A fold darkens its columns over the whole length of the sheet; what a hand darkens, it darkens in some places. So
    each stretch along the fold tells its own valley, and the middle one of them holds.
    """
    upright = luma.shape[0] > luma.shape[1]
    plane = np.ascontiguousarray(luma.T) if upright else luma
    width = plane.shape[1]
    first, last = int(_FOLD_FROM * width), int(_FOLD_TO * width)
    if last - first < 8 or plane.shape[0] < _FOLD_STRETCHES:
        return np.zeros_like(luma)  # too small to tell a fold from a line
    columns = quick.quantile_of_stretches(plane[:, first:last], _FOLD_STRETCHES, 0.75)
    columns = cast(Float32, cv2.GaussianBlur(columns, (0, 0), sigmaX=1.0, sigmaY=0.01))
    end = max(2, columns.shape[1] // 8)
    left, right = columns[:, :end].mean(1, keepdims=True), columns[:, -end:].mean(1, keepdims=True)
    level = left + (right - left) * np.linspace(0, 1, columns.shape[1])
    drops = np.minimum(columns - level, 0)
    middle = slice(columns.shape[1] // 4, -columns.shape[1] // 4)
    deep_in = (drops[:, middle].min(axis=1) < -_FOLD_DEPTH).mean()
    drop = np.median(drops, axis=0).astype(np.float32)
    if drop[middle].min() > -_FOLD_DEPTH or deep_in < 0.75:
        return np.zeros_like(luma)
    whole = np.zeros(width, np.float32)
    whole[first:last] = drop
    spread = np.broadcast_to(whole, plane.shape)
    return np.ascontiguousarray(spread.T if upright else spread, np.float32)
