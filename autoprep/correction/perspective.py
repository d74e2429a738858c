"""The true proportion of the work from its four corners in the photo."""

from typing import Literal, NamedTuple, cast

import numpy as np

from autoprep.imaging.arrays import AnyArray, Float64

# A 36 x 24 mm frame has this diagonal; the equivalent focal length is defined on it (CIPA DCG-001).
_FRAME_DIAGONAL_MM = float(np.hypot(36, 24))

# Most photos whose file tells no focal length come from phones, through something that has taken it out; their main
# cameras lie near the first (common practice, no source), and no lens that a work is photographed with far from these.
_USUAL_FOCAL_MM, _FOCAL_RANGE_MM = 27.0, (22.0, 36.0)

RatioSource = Literal[
    "known size", "corners and focal length", "corners", "corners and a usual focal length", "side lengths",
    "whole photo",
]  # fmt: skip
"""Side lengths are in the records of 0.14.0 and before, where a usual focal length is taken now."""


class Proportion(NamedTuple):
    """width : height of the work, where it comes from, and the focal length in pixels if known or found."""

    ratio: float
    source: RatioSource
    focal_px: float | None


def focal_length_px(photo_px: tuple[int, int], focal_mm35: float | None) -> float | None:
    """Focal length in pixels of the full-size photo, from the 35-mm equivalent in mm."""
    if not focal_mm35:
        return None
    return float(np.hypot(*photo_px)) * focal_mm35 / _FRAME_DIAGONAL_MM


def usual_focal_px(photo_px: tuple[int, int]) -> float:
    """Focal length in pixels to reckon with where the file tells none."""
    return float(np.hypot(*photo_px)) * _USUAL_FOCAL_MM / _FRAME_DIAGONAL_MM


def proportion(
    corners_px: AnyArray,
    photo_px: tuple[int, int],
    focal_px: float | None = None,
    size_mm: tuple[float, float] | None = None,
) -> Proportion:
    """width : height of a flat rectangle seen at (4, 2) corners TL, TR, BR, BL.

    A known size (width, height) wins; then corners with the camera's focal length; then both from the corners
    alone (Zhang & He, "Whiteboard scanning and image enhancement", MSR-TR-2003-39, eq. 20) where the view is
    oblique enough; else with a usual focal length, good to a few percent. The principal point is taken at the photo's
    centre.
    """
    if size_mm is not None:
        return Proportion(size_mm[0] / size_mm[1], "known size", focal_px)
    n2, n3, oblique = _edge_directions(np.asarray(corners_px, np.float64), photo_px)
    if focal_px is not None:
        return Proportion(_ratio(n2, n3, focal_px), "corners and focal length", focal_px)
    found = _focal_from_directions(n2, n3, photo_px) if oblique else None
    if found is not None:
        return Proportion(_ratio(n2, n3, found), "corners", found)
    return Proportion(_ratio(n2, n3, usual_focal_px(photo_px)), "corners and a usual focal length", None)


def ratio_range(corners_px: AnyArray, photo_px: tuple[int, int], focal_px: float | None = None) -> tuple[float, float]:
    """The least and the most width : height that a rectangle at these corners has; alike where the lens is known.

    Otherwise they are those of the lenses that works are photographed with.
    """
    told = proportion(corners_px, photo_px, focal_px)
    if told.source != "corners and a usual focal length":
        return told.ratio, told.ratio
    n2, n3, _ = _edge_directions(np.asarray(corners_px, np.float64), photo_px)
    ratios = [_ratio(n2, n3, cast(float, focal_length_px(photo_px, mm))) for mm in _FOCAL_RANGE_MM]
    return min(ratios), max(ratios)


def tilt_degrees(corners_px: AnyArray, photo_px: tuple[int, int], focal_px: float) -> float:
    """How far from square-on the camera stood to a flat rectangle seen at (4, 2) corners TL, TR, BR, BL, in degrees:
    between the rectangle's normal and the optical axis."""
    n2, n3, _ = _edge_directions(np.asarray(corners_px, np.float64), photo_px)
    into_space = np.array([1 / focal_px, 1 / focal_px, 1.0])
    normal = np.cross(n2 * into_space, n3 * into_space)
    return float(np.degrees(np.arccos(min(1.0, abs(normal[2]) / max(float(np.linalg.norm(normal)), 1e-12)))))


def off_square_degrees(quads: AnyArray, photo_px: tuple[int, int], focal_px: float) -> Float64:
    """(N, 4, 2) corners TL, TR, BR, BL -> (N,) how far the corner of each is from a right angle in space, degrees.

    A rectangle stays one from wherever it is photographed; four lines that belong to two sheets do not make one.
    """
    centred = (np.asarray(quads, np.float64) - np.array(photo_px, np.float64) / 2) / focal_px
    rays = np.concatenate([centred, np.ones((*centred.shape[:2], 1))], axis=-1)
    m1, m2, m4, m3 = (rays[:, k] for k in range(4))
    diagonal = np.cross(m1, m4)
    k2 = (diagonal * m3).sum(-1) / _nonzero((np.cross(m2, m4) * m3).sum(-1))
    k3 = (diagonal * m2).sum(-1) / _nonzero((np.cross(m3, m4) * m2).sum(-1))
    n2, n3 = k2[:, None] * m2 - m1, k3[:, None] * m3 - m1
    lengths = np.linalg.norm(n2, axis=-1) * np.linalg.norm(n3, axis=-1)
    cosine = np.abs((n2 * n3).sum(-1)) / np.maximum(lengths, 1e-12)
    return cast(Float64, np.degrees(np.arcsin(np.minimum(cosine, 1.0))))


def _nonzero(values: Float64) -> Float64:
    return np.where(np.abs(values) < 1e-12, 1e-12, values)


def _edge_directions(corners: Float64, photo_px: tuple[int, int]) -> tuple[Float64, Float64, bool]:
    """The directions n2 (width) and n3 (height) in camera space up to the focal length, and whether both converge."""
    centred = corners - np.array(photo_px, np.float64) / 2
    m1, m2, m4, m3 = (np.array([x, y, 1.0]) for x, y in centred)  # paper: 1 TL, 2 TR, 3 BL, 4 BR
    k2 = np.cross(m1, m4) @ m3 / (np.cross(m2, m4) @ m3)
    k3 = np.cross(m1, m4) @ m2 / (np.cross(m3, m4) @ m2)
    n2, n3 = k2 * m2 - m1, k3 * m3 - m1
    # Within 2 % of parallel, one pixel of corner noise moves the focal length by tens of percent.
    return n2, n3, bool(abs(k2 - 1) > 0.02 and abs(k3 - 1) > 0.02)


def _focal_from_directions(n2: Float64, n3: Float64, photo_px: tuple[int, int]) -> float | None:
    square = -(n2[0] * n3[0] + n2[1] * n3[1]) / (n2[2] * n3[2])
    diagonal = float(np.hypot(*photo_px))
    # 15 to 200 mm equivalent: outside, the corners contradict a flat rectangle.
    low, high = (diagonal * mm / _FRAME_DIAGONAL_MM for mm in (15, 200))
    return float(np.sqrt(square)) if low**2 < square < high**2 else None


def _ratio(n2: Float64, n3: Float64, focal_px: float) -> float:
    width = (n2[0] ** 2 + n2[1] ** 2) / focal_px**2 + n2[2] ** 2
    height = (n3[0] ** 2 + n3[1] ** 2) / focal_px**2 + n3[2] ** 2
    return float(np.sqrt(width / height))
