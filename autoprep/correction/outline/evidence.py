"""What a small copy of the photo shows about edges and surroundings: the input of all outline finders."""

from dataclasses import dataclass
from functools import cached_property
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline.lines import merge_segments, segments
from autoprep.imaging import quick
from autoprep.imaging.arrays import AnyArray, Float32, Float64, float32
from autoprep.imaging.colour import lab_fast
from autoprep.imaging.planes import weighted

# Long side of the finding copy. Chosen: sheets fill most of a photo, so 1 px here is about 0.2 % of a side, well
# inside the reach of the refinement, and fine drawing is blurred away before it can pose as an edge.
FINDING_PX = 600
# Chroma edges count more than their size in L*a*b*: sheet and desk often differ in tint and not in lightness.
_CHANNEL_WEIGHT = float32([1.0, 1.6, 1.6])


@dataclass(frozen=True)
class Evidence:
    """Edge and background evidence of one finding copy of (height, width) pixels.

    lab: (h, w, 3) float32 weighted L*a*b*, slightly blurred; gx, gy: (h, w) float32 gradient of the channel that
    changes most, per pixel; noise: the gradient that counts as nothing; background: (h, w) float32 distance, in
    standard deviations, from the colours along the photo's border; focal_px: the lens's, where the file tells it.
    """

    lab: Float32
    gx: Float32
    gy: Float32
    noise: float
    background: Float32
    focal_px: float | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width)."""
        return int(self.lab.shape[0]), int(self.lab.shape[1])

    @cached_property
    def lines(self) -> list[Float64]:
        """(a, b, c) of the straight lines, a x + b y + c = 0 with a unit normal, longest first."""
        return [line for _, line in merge_segments(self.segments, self.shape)]

    @cached_property
    def segments(self) -> Float64:
        """(N, 4) x0, y0, x1, y1 of straight pieces of edges (see lines.segments)."""
        return segments(self.lab)

    @property
    def magnitude(self) -> Float32:
        """(h, w) float32 gradient magnitude."""
        return cast(Float32, cv2.magnitude(self.gx, self.gy))


def gather(linear: Float32, focal_px: float | None = None) -> Evidence:
    """(h, w, 3) float32 linear sRGB at finding size, and the focal length in its pixels -> Evidence."""
    lab = weighted(lab_fast(linear), _CHANNEL_WEIGHT)
    lab = cast(Float32, cv2.GaussianBlur(lab, (0, 0), 1.2))
    gx, gy = dominant_gradient(lab)
    noise = quick.median(cast(Float32, cv2.magnitude(gx, gy))) + 0.4
    return Evidence(lab, gx, gy, noise, _background_distance(lab), focal_px)


def dominant_gradient(lab: Float32) -> tuple[Float32, Float32]:
    """(h, w, 3) -> two (h, w) float32: the gradient of whichever channel changes most at each pixel."""
    found = []
    for plane in cv2.split(lab):
        ways = (cv2.Sobel(plane, cv2.CV_32F, *way, scale=0.25) for way in ((1, 0), (0, 1)))
        found.append([cast(Float32, way) for way in ways])
    (x, y), *others = found
    most = x**2 + y**2
    for one, other in others:
        size = one**2 + other**2
        more = size > most
        np.copyto(x, one, where=more)
        np.copyto(y, other, where=more)
        np.maximum(size, most, out=most)
    return x, y


def _background_distance(lab: Float32) -> Float32:
    """(h, w) float32 Mahalanobis-like distance to the nearest of the border's main colours."""
    height, width = lab.shape[:2]
    small = cast(Float32, cv2.resize(lab, (width // 4, height // 4), interpolation=cv2.INTER_AREA))
    band = max(2, min(height, width) // 160)
    border = np.concatenate(
        [part.reshape(-1, 3) for part in (small[:band], small[-band:], small[:, :band], small[:, -band:])]
    ).astype(np.float32)
    distance = np.full(small.shape[:2], 1e3, np.float32)
    for centre, spread, share in _clusters(border, 4):
        if share >= 0.04:  # a corner of clutter is no background
            scaled = (small - centre) / (spread + float32([5, 2.5, 2.5]))
            distance = np.minimum(distance, np.sqrt((scaled**2).sum(-1)))
    return cast(Float32, cv2.resize(distance, (width, height)))


def _clusters(samples: Float32, count: int) -> list[tuple[AnyArray, AnyArray, float]]:
    """k-means with a start that depends on the data only: centre, spread and share of each cluster."""
    order = np.argsort(samples[:, 0] + 0.3 * samples[:, 1])
    labels = np.empty((len(samples), 1), np.int32)
    labels[order, 0] = np.arange(len(samples)) * count // len(samples)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
    _, labels_out, centres = cv2.kmeans(samples, count, labels, criteria, 1, cv2.KMEANS_USE_INITIAL_LABELS)
    flat = np.asarray(labels_out).ravel()
    found = []
    for index in range(count):
        members = samples[flat == index]
        if len(members):
            found.append((np.asarray(centres)[index], members.std(axis=0), len(members) / len(samples)))
    return found
