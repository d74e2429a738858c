"""Straight lines of a small copy of the photo: short segments, and what they join to."""

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64

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
    starts, ends = found[:, :2], found[:, 2:]
    used = np.zeros(len(found), bool)
    merged = []
    limit_px = 0.006 * max(shape)
    for index in range(len(found)):
        if used[index] or length[index] < 0.05 * max(shape):
            continue
        line = _fit(np.stack([starts[index], ends[index]]), length[[index]])
        for _ in range(2):
            near = (np.abs(starts @ line[:2] + line[2]) < limit_px) & (np.abs(ends @ line[:2] + line[2]) < limit_px)
            near &= ~used
            if near.any():
                line = _fit(np.concatenate([starts[near], ends[near]]), np.tile(length[near], 2))
        used |= near
        merged.append((float(length[near].sum()), line))
    return sorted(merged, key=lambda pair: -pair[0])


def _fit(points: AnyArray, weight: AnyArray) -> Float64:
    weight = np.resize(weight, len(points))
    centre = np.average(points, axis=0, weights=weight)
    offset = points - centre
    _, vectors = np.linalg.eigh((offset * weight[:, None]).T @ offset)
    normal = vectors[:, 0]
    return np.array([normal[0], normal[1], -normal @ centre])
