"""Straight lines of a small copy of the photo: short segments, and what they join to."""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.geometry import middle_and_way

# Two segments may be sides that meet where they lie so far aslant, and their ends so near each other, in lengths of the
# longer; of a crowd of segments so many, the longest, are looked at.
_ASLANT_DEG, _NEAR, _MOST = 35.0, 0.6, 200


def segments(lab: Float32) -> Float64:
    """(h, w, 3) -> (N, 4) float64 x0, y0, x1, y1 of segments in lightness, the two chroma axes and local contrast."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    light = lab[..., 0]
    around = cv2.GaussianBlur(light, (0, 0), 9)
    spread = np.sqrt(np.maximum(cv2.GaussianBlur((light - around) ** 2, (0, 0), 15), 0)) + 0.7
    planes = [
        light * 2.55,
        lab[..., 1] * 2.0 + 128,
        lab[..., 2] * 2.0 + 128,
        (light - around) / spread * 40 + 128,
    ]
    found = []
    for plane in planes:
        lines = detector.detect(np.clip(plane, 0, 255).astype(np.uint8))[0]
        if lines is not None:
            found.append(np.asarray(lines, np.float64).reshape(-1, 4) + 0.5)
    joined = np.concatenate(found) if found else np.empty((0, 4))
    length = np.hypot(joined[:, 2] - joined[:, 0], joined[:, 3] - joined[:, 1])
    return np.asarray(joined[length > 0.025 * max(lab.shape[:2])])


def corners_in(found: Float64, box: tuple[float, float, float, float]) -> int:
    """How many pairs of segments whose middles lie in a box (left, top, right, bottom) meet, as two sides do."""
    middle = (found[:, :2] + found[:, 2:]) / 2
    kept = found[(middle > box[:2]).all(1) & (middle < box[2:]).all(1)]
    length = np.hypot(*(kept[:, 2:] - kept[:, :2]).T)
    kept, length = kept[np.argsort(-length)[:_MOST]], np.sort(length)[::-1][:_MOST]
    way = (kept[:, 2:] - kept[:, :2]) / np.maximum(length, 1e-6)[:, None]
    ends = kept.reshape(-1, 2, 2)
    off = np.linalg.norm(ends[:, None, :, None] - ends[None, :, None, :], axis=-1).min((2, 3))
    aslant = np.abs(way @ way.T) < np.cos(np.radians(_ASLANT_DEG))
    near = off < _NEAR * np.maximum(length[:, None], length[None])
    return int(np.triu(aslant & near, 1).sum())


def merge_segments(found: Float64, shape: tuple[int, int]) -> list[tuple[float, Float64]]:
    """Segments on a common line are joined: [(total length, (a, b, c))], longest first."""
    if not len(found):
        return []
    length = np.hypot(found[:, 2] - found[:, 0], found[:, 3] - found[:, 1])
    order = np.argsort(-length, kind="stable")
    found, length = found[order], length[order]
    # Places as complex numbers, for the fit (see `middle_and_way`).
    starts, ends = found[:, 0] + 1j * found[:, 1], found[:, 2] + 1j * found[:, 3]
    used = np.zeros(len(found), bool)
    merged = []
    limit_px, least_px = 0.006 * max(shape), 0.05 * max(shape)
    for index in np.flatnonzero(length >= least_px):
        if used[index]:
            continue
        line = _fit(starts[[index]], ends[[index]], length[[index]])
        for _ in range(2):
            near = (np.abs(_off(starts, line)) < limit_px) & (np.abs(_off(ends, line)) < limit_px) & ~used
            if near.any():
                line = _fit(starts[near], ends[near], length[near])
        used |= near
        merged.append((float(length[near].sum()), np.array(line)))
    return sorted(merged, key=lambda pair: -pair[0])


_Line = tuple[float, float, float]


def _off(places: AnyArray, line: _Line) -> AnyArray:
    """How far complex places lie off a line (a, b, c)."""
    return cast(AnyArray, places.real * line[0] + places.imag * line[1] + line[2])


def _fit(starts: AnyArray, ends: AnyArray, weight: Float64) -> _Line:
    """The line of least squares through both ends of segments."""
    centre, along = middle_and_way(np.concatenate([starts, ends]), np.tile(weight / (2 * weight.sum()), 2))
    normal, at = complex(along) * 1j, complex(centre)
    return normal.real, normal.imag, -(normal.real * at.real + normal.imag * at.imag)
