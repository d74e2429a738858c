"""Numbers that tell a sheet's border from all other quads: one row of features per candidate."""

from functools import cached_property
from typing import cast

import numpy as np

from autoprep.correction.outline.candidates import Candidate, sample
from autoprep.correction.outline.evidence import Evidence
from autoprep.correction.perspective import off_square_degrees, usual_focal_px
from autoprep.imaging import quick
from autoprep.imaging.arrays import AnyArray, Bool, Float32, Float64, float32
from autoprep.imaging.geometry import homography, overlap, project, rectangle

NAMES = (
    "support_min", "support_mean", "support_second",
    "contrast_min", "contrast_mean", "step_min", "step_mean",
    "root_area", "off_centre", "outside_background", "inside_background", "background_gap",
    "not_parallel", "beyond_photo", "slant", "overrun_mean", "overrun_max",
    "rim_colour_spread", "rim_texture", "surround_texture", "same_sign",
    "lightness_step", "strength", "inner_rival", "outer_rival", "agreeing_sources",
    "is_edges", "is_background", "is_colour", "is_lines", "is_border", "is_whole", "border_sides",
    "off_square", "focal_known",
)  # fmt: skip
"""The features' names, in column order."""

_ALONG = 44
_SOURCES = ("edges", "background", "colour", "lines", "border", "whole")


class Described:
    """Candidates of one photo with their features: (N, len(NAMES)) float64 `rows`."""

    def __init__(self, evidence: Evidence, candidates: list[Candidate]) -> None:
        """Look at what lies along each candidate's sides."""
        self._evidence, self._candidates = evidence, candidates
        self._own = _own_features(evidence, np.array([c.quad for c in candidates]))

    @cached_property
    def rows(self) -> Float64:
        """Each candidate's features among all of them."""
        return _rows(self._candidates, self._own)

    def rows_of(self, shapes: list[Candidate]) -> Float64:
        """(M, len(NAMES)) features of other shapes, each among these candidates and the other shapes."""
        own = _own_features(self._evidence, np.array([c.quad for c in shapes]))
        together = {name: np.concatenate([own[name], values]) for name, values in self._own.items()}
        return _rows([*shapes, *self._candidates], together)[: len(shapes)]


def rows(evidence: Evidence, candidates: list[Candidate]) -> Float64:
    """(N, len(NAMES)) float64 features of N candidates of one photo."""
    return Described(evidence, candidates).rows


def _rows(candidates: list[Candidate], own: dict[str, Float64]) -> Float64:
    quads = np.array([c.quad for c in candidates])
    rivals = _rivals(quads, own["support_min"] + own["contrast_min"])
    agreeing = _agreeing(candidates)
    columns = {**own, **rivals, "agreeing_sources": agreeing}
    for source in _SOURCES:
        columns[f"is_{source}"] = np.array([float(c.source == source) for c in candidates])
    return np.stack([columns[name] for name in NAMES], axis=1)


def _own_features(evidence: Evidence, quads: Float64) -> dict[str, Float64]:
    """Features that need only the picture and the quad itself."""
    height, width = evidence.shape
    ends = np.roll(quads, -1, axis=1)
    lengths = np.linalg.norm(ends - quads, axis=-1) + 1e-9
    along = (ends - quads) / lengths[..., None]
    outward = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    t = np.linspace(0.04, 0.96, _ALONG)
    points = quads[:, :, None] + (ends - quads)[:, :, None] * t[:, None]
    inside = np.asarray(_within(points, (width, height), 1.5), np.float64)
    across, strength = _across(evidence, points, along, outward)
    support = ((across > 1.6 * evidence.noise) * inside).mean(-1)
    ordered = np.sort(support, axis=1)
    features = {
        "support_min": ordered[:, 0],
        "support_second": ordered[:, 1],
        "support_mean": support.mean(1),
        "strength": np.log1p(strength.mean((1, 2)) / evidence.noise) / 3,
        "beyond_photo": 1 - inside.mean((1, 2)),
        "border_sides": (inside.mean(-1) < 0.5).sum(1) / 4,
    }
    features |= _strips(evidence, points, outward, inside)
    features |= _shape(quads, lengths, along, width, height)
    features |= _in_space(evidence, quads)
    features |= _overrun(evidence, quads, along, outward, lengths)
    return features


def _across(evidence: Evidence, points: Float64, along: Float64, outward: Float64) -> tuple[Float64, Float64]:
    """(N, 4, K) gradient across each side, less what runs along it; the best of three small offsets."""
    count = len(points)
    best = np.full(points.shape[:3], -1.0)
    for offset in (-1.5, 0.0, 1.5):
        at = (points + outward[:, :, None] * offset).reshape(-1, _points_per(points), 2)
        gx = sample(evidence.gx, at).reshape(count, 4, -1)
        gy = sample(evidence.gy, at).reshape(count, 4, -1)
        normal = np.abs(gx * outward[..., None, 0] + gy * outward[..., None, 1])
        tangent = np.abs(gx * along[..., None, 0] + gy * along[..., None, 1])
        best = np.maximum(best, normal - 0.5 * tangent)
    return best, np.maximum(best, 0)


def _within(points: Float64, size: tuple[int, int], rim: float) -> Bool:
    """(..., 2) -> (...) whether points lie in a picture of (width, height) pixels, off its border."""
    x, y = points[..., 0], points[..., 1]
    return np.asarray((x > rim) & (x < size[0] - rim) & (y > rim) & (y < size[1] - rim))


def _points_per(points: Float64) -> int:
    return int(points.shape[2])


def _strips(evidence: Evidence, points: Float64, outward: Float64, inside: Float64) -> dict[str, Float64]:
    """Features of the strips just inside and just outside each side."""
    count, reach = len(points), 6.0

    def strip(offset: float) -> Float64:
        """(3, N, 4, K): each channel by itself, for along an axis of three everything takes several times as long."""
        at = (points + outward[:, :, None] * offset).reshape(-1, _points_per(points), 2)
        planes = np.moveaxis(sample(evidence.lab, at), -1, 0)
        return np.ascontiguousarray(planes, np.float64).reshape(3, count, 4, -1)

    def background(offset: float) -> Float64:
        at = (points + outward[:, :, None] * offset).reshape(-1, _points_per(points), 2)
        return np.minimum(sample(evidence.background, at), 6).reshape(count, 4, -1) / 6

    outer, inner = strip(reach), strip(-reach)
    near_out, near_in = strip(3.0), strip(-3.0)
    shown = inside.mean(-1)
    rim, around = inner.mean(-1), outer.mean(-1)
    contrast = np.minimum(_size(around - rim) / 25, 1) * shown
    step = np.minimum(_size(near_out - near_in) / 12, 1).mean(-1) * shown
    lighter = rim[0] - around[0]
    out_bg, in_bg = background(reach + 1).mean((1, 2)), background(-reach - 1).mean((1, 2))
    return {
        "contrast_min": contrast.min(1),
        "contrast_mean": contrast.mean(1),
        "step_min": step.min(1),
        "step_mean": step.mean(1),
        "rim_colour_spread": np.minimum(_size(rim.std(-1)) / 20, 1.5),
        "rim_texture": np.minimum(_size(inner.std(-1)).mean(1) / 15, 1.5),
        "surround_texture": np.minimum(_size(outer.std(-1)).mean(1) / 15, 1.5),
        "same_sign": np.abs(np.sign(lighter).mean(1)),
        "lightness_step": np.clip(lighter.mean(1) / 40, -1.5, 1.5),
        "outside_background": out_bg,
        "inside_background": in_bg,
        "background_gap": in_bg - out_bg,
    }


def _size(planes: Float64) -> Float64:
    """(3, ...) -> (...) the length of three coordinates."""
    return cast(Float64, np.sqrt(np.square(planes).sum(0)))


def _shape(quads: Float64, lengths: Float64, along: Float64, width: int, height: int) -> dict[str, Float64]:
    x, y = quads[..., 0], quads[..., 1]
    areas = np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(1)) / 2
    uneven = np.abs(np.log(lengths[:, 0] / lengths[:, 2])) + np.abs(np.log(lengths[:, 1] / lengths[:, 3]))
    corner_cosine = np.abs((along * np.roll(along, 1, axis=1)).sum(-1))
    centre = (quads.mean(1) - np.array([width, height]) / 2) / [width, height]
    return {
        "root_area": np.sqrt(areas / (width * height)),
        "off_centre": np.linalg.norm(centre, axis=-1),
        "not_parallel": np.minimum(uneven, 2),
        "slant": corner_cosine.max(1),
    }


def _in_space(evidence: Evidence, quads: Float64) -> dict[str, Float64]:
    """What the lens tells: lines of two sheets make no rectangle in space."""
    height, width = evidence.shape
    focal = evidence.focal_px or usual_focal_px((width, height))
    off = off_square_degrees(quads, (width, height), focal)
    return {
        "off_square": np.log1p(np.minimum(off, 20.0)) / 3,
        "focal_known": np.full(len(quads), float(evidence.focal_px is not None)),
    }


def _overrun(
    evidence: Evidence, quads: Float64, along: Float64, outward: Float64, lengths: Float64
) -> dict[str, Float64]:
    """Edges that run on beyond the corners: planks, grids and rulers do, sheets do not."""
    t = np.linspace(0.04, 0.16, 10)[None, None, :, None] * lengths[..., None, None]
    starts = quads[:, :, None] - along[:, :, None] * t
    ends = np.roll(quads, -1, axis=1)[:, :, None] + along[:, :, None] * t
    height, width = evidence.shape
    shares = []
    for points in (starts, ends):
        across, _ = _across(evidence, points, along, outward)
        shown = _within(points, (width, height), 1.5)
        shares.append(((across > 2 * evidence.noise) & shown).mean(-1))
    both = np.concatenate(shares, axis=1)
    return {"overrun_mean": both.mean(1), "overrun_max": both.max(1)}


def _rivals(quads: Float64, worth: Float64) -> dict[str, Float64]:
    """How good the best candidate is that lies inside, and the best that lies around, each one."""
    x, y = quads[..., 0], quads[..., 1]
    areas = np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(1)) / 2
    slack = 4.0
    around = areas[:, None] > 1.06 * areas[None]
    for way in (x, y):  # one after the other: along an axis of two all takes many times as long
        low, high = way.min(1), way.max(1)
        around &= (low[:, None] < low[None] + slack) & (high[:, None] > high[None] - slack)
    inner = np.where(around, worth[None], 0).max(1)
    outer = np.where(around.T, worth[None], 0).max(1)
    return {"inner_rival": inner - worth, "outer_rival": outer - worth}


BESIDE_NAMES = (
    "inner_line_min", "inner_line_mean", "outer_line_min", "outer_line_mean", "content_off_centre",
    "border_spread", "border_light", "border_unlike",
)  # fmt: skip
"""Features of the few quads that come before the judge: what lies along their sides and around them."""

# Parallel lines are looked for at these shares of the quad's extent across the side: mats, frames, drawn borders.
_SHIFTS = np.linspace(0.015, 0.14, 22)


def beside(evidence: Evidence, quads: Float64) -> Float64:
    """(N, len(BESIDE_NAMES)) float64 for (N, 4, 2) quads."""
    inner, outer = _parallel_lines(evidence, quads, inwards=True), _parallel_lines(evidence, quads, inwards=False)
    columns = [inner.min(1), inner.mean(1), outer.min(1), outer.mean(1), _content_off_centre(evidence, quads)]
    columns += [np.full(len(quads), value) for value in _border(evidence)]
    return np.stack(columns, axis=1)


def inner_line_min(evidence: Evidence, quads: Float64) -> Float64:
    """(N,) the first of these features alone, for (N, 4, 2) quads."""
    return cast(Float64, _parallel_lines(evidence, quads, inwards=True).min(1))


def _parallel_lines(evidence: Evidence, quads: Float64, inwards: bool) -> Float64:
    """(N, 4) support of the best line parallel to each side, inside it or outside."""
    ends, before, after = np.roll(quads, -1, axis=1), np.roll(quads, 1, axis=1), np.roll(quads, -2, axis=1)
    t = np.linspace(0.12, 0.88, 36)
    along = (ends - quads) / (np.linalg.norm(ends - quads, axis=-1, keepdims=True) + 1e-9)
    outward = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    height, width = evidence.shape
    # All shifts of all quads in one pass, as if they were so many quads.
    shifts = (_SHIFTS if inwards else -_SHIFTS)[:, None, None, None]
    a, b = quads + shifts * (before - quads), ends + shifts * (after - ends)
    points = (a[..., None, :] + (b - a)[..., None, :] * t[:, None]).reshape(-1, 4, len(t), 2)
    inside = _within(points, (width, height), 2)
    ways = (np.tile(way, (len(_SHIFTS), 1, 1)) for way in (along, outward))
    across, _ = _across(evidence, points, *ways)
    support = ((across > 1.6 * evidence.noise) & inside).mean(-1)
    return cast(Float64, support.reshape(len(_SHIFTS), -1, 4).max(0))


def _content_off_centre(evidence: Evidence, quads: Float64) -> Float64:
    """(N,) how far the middle of what is drawn lies from the quad's own middle, 0..1 of its half extent."""
    ys, xs = np.nonzero(evidence.magnitude > 4 * evidence.noise)
    step = max(1, len(xs) // 4000)
    points = np.stack([xs[::step], ys[::step]], axis=-1) + 0.5
    off = np.zeros(len(quads))
    for k, quad in enumerate(quads):
        unit = project(homography(quad, rectangle(2.0, 2.0)), points) - 1
        held = unit[(np.abs(unit) < 0.94).all(-1)]
        off[k] = float(np.abs(held.mean(0)).max()) if len(held) > 20 else 0.0
    return off


def _border(evidence: Evidence) -> tuple[float, float, float]:
    """Of the photo's border: colour spread, lightness, and difference from the middle of the photo."""
    lab, band = evidence.lab, 6
    border = np.concatenate([p.reshape(-1, 3) for p in (lab[:band], lab[-band:], lab[:, :band], lab[:, -band:])])
    height, width = evidence.shape
    middle = _median_of_each(lab[height // 4 : -height // 4, width // 4 : -width // 4])
    unlike = float(np.linalg.norm(_median_of_each(border) - middle)) / 30
    return min(float(np.linalg.norm(border.std(0))) / 20, 2.0), float(border[:, 0].mean()) / 100, min(unlike, 2.0)


def _median_of_each(lab: AnyArray) -> Float32:
    """(..., 3) -> (3,) the median of each channel."""
    return float32([quick.median(lab[..., channel]) for channel in range(3)])


def _agreeing(candidates: list[Candidate]) -> Float64:
    """For each candidate, the share of generators with a quad that overlaps it by 0.95 or more."""
    quads = np.array([c.quad for c in candidates])
    names = sorted({c.source for c in candidates})
    # Corners within 3 % of the diagonal are a cheap necessary condition for such an overlap.
    diagonal = np.linalg.norm(quads[:, 0] - quads[:, 2], axis=-1)
    near = np.ones((len(quads), len(quads)), bool)
    for at in quads.reshape(len(quads), 8).T:
        near &= np.abs(at[:, None] - at[None]) < 0.04 * diagonal[:, None]
    agreeing = np.zeros(len(candidates))
    for index, candidate in enumerate(candidates):
        sources = {candidate.source}
        for other in np.flatnonzero(near[index]):
            name = candidates[other].source
            if name not in sources and overlap(candidate.quad, candidates[other].quad) > 0.95:
                sources.add(name)
        agreeing[index] = (len(sources) - 1) / max(len(names) - 2, 1)
    return agreeing
