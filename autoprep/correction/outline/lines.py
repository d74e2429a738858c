"""Straight lines of a small copy of the photo: short segments, and what they join to."""

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64


def longest_lines(lab: Float32) -> list[Float64]:
    """(h, w, 3) float32 weighted L*a*b* -> (a, b, c) of lines, a x + b y + c = 0 with a unit normal, longest first."""
    return [line for _, line in merge_segments(segments(lab), (lab.shape[0], lab.shape[1]))]


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
