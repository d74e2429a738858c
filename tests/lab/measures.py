"""What the lab measures on one photo: the outline against the true corners, the correction against the true art.

Sources of the measures: the Jaccard index in the work's own frame (page-outline contest of ICDAR 2015, SmartDoc
challenge 1); CIEDE2000 (CIE 142:2001); unevenness, L* and C* of white as in FADGI 2016 and Metamorfoze 1.0.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.planning import corrected
from autoprep.correction.squaring import rectify
from autoprep.domain import CorrectionPlan, Geometry, Outline, torn_sides
from autoprep.imaging.arrays import AnyArray, Bool, Float32, Float64
from autoprep.imaging.colour import LUMINANCE, ciede2000, lab_fast, luminance_of_lightness
from autoprep.imaging.geometry import homography, line_through, project, rectangle
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo, bow_of, in_photo, lens_of, quad_of
from tests.overlap import overlap_in_frame

from .scene import Shot, corners_mm

PAPER_Y = luminance_of_lightness(96.5)
_NO_PAPER = (np.nan, np.nan, np.nan, np.nan, np.nan)
_LONG_PX = 2000  # edge loss is told in pixels of a work of this long side


@dataclass(frozen=True)
class OutlineMeasures:
    """Overlap 0..1; corner error in % of the diagonal; edge lost and surroundings left in px at 2000 px."""

    jaccard: float
    corner_percent: float
    lost_px: float
    left_px: float


@dataclass(frozen=True)
class Ends:
    """(4, 25, 2) each, top, right, bottom and left, 0..1 of the plan's frame: how far the picture keeps the work, and
    from where on it shows the photo itself."""

    kept: Float64
    shown: Float64


@dataclass(frozen=True)
class ColourMeasures:
    """Of a corrected work against the truth; NaN where a measure does not apply."""

    paper_lightness: float
    paper_chroma: float
    paper_sd: float
    uneven_percent: float
    noise_lightness: float
    wash_percent: float
    new_top_percent: float
    delta_e: float
    delta_e_95: float
    delta_e_as_shot: float


def measure_outline(shot: Shot, outline: Outline, geometry: Geometry, ends: Ends | None = None) -> OutlineMeasures:
    """The found outline, with the plan's lens, against the true sheet in millimetres.

    ends: where the picture of the work ends (see `ends_of_picture`); the geometry's own sides where not given. The true
    sheet ends where its paper does, which on a torn side is further in than its size.
    """
    truth, ends = shot.truth, ends or Ends(lines_of_frame(), lines_of_frame())
    mm = on_work(shot, in_photo(geometry, rectangle(1.0, 1.0)))
    corner = np.linalg.norm(mm - corners_mm(truth.size_mm)[:, :2], axis=1).max() / np.hypot(*truth.size_mm) * 100
    # One in twenty points may lie on a tooth of a torn side, or on a rounded stretch.
    low = np.percentile(_outward(shot, geometry, ends.kept), 5)
    high = np.percentile(_outward(shot, geometry, ends.shown), 95)
    jaccard = overlap_in_frame(truth.corners_px, quad_of(outline))
    return OutlineMeasures(jaccard, float(corner), float(max(0.0, -low)), float(max(0.0, high)))


def _outward(shot: Shot, geometry: Geometry, ends: Float64) -> Float64:
    """(100,) how far outside of the true paper places at the sides lie, in pixels of a work of 2000."""
    beyond = []
    for k, places in enumerate(ends):
        points = in_photo(geometry, places)
        at = on_work(shot, points)
        outward = at[:, 1 - k % 2] * (-1 if k in (0, 3) else 1) - _true_edge(shot, k, at[:, k % 2])
        # What lies beyond the photo's border can't be lost.
        beyond.append(np.where(_on_border(shot, points), np.maximum(outward, 0), outward))
    return np.concatenate(beyond) / max(shot.truth.size_mm) * _LONG_PX


def lines_of_frame() -> Float64:
    """(4, 25, 2) places along the top, right, bottom and left of a frame, 0..1, away from its corners."""
    t, frame = np.linspace(0.03, 0.97, 25)[:, None], rectangle(1.0, 1.0)
    return np.array([frame[k] * (1 - t) + frame[(k + 1) % 4] * t for k in range(4)])


def ends_of_picture(plan: CorrectionPlan) -> Ends:
    """Where a plan's picture ends: at a torn side at its silhouette; at others the work is kept up to the outline, and
    the outermost hair of it repeats what lies further in, so that what lies there is not shown."""
    kept, torn, ratio = lines_of_frame(), torn_sides(plan.silhouette), plan.geometry.ratio
    shown = kept.copy()
    for k in range(4):
        down, far = 1 - k % 2, k in (1, 2)
        if plan.silhouette is not None:
            kept[k, :, down] = _crossing(np.array(plan.silhouette), down, kept[k, :, 1 - down], far)
        repeats = not torn[k] and plan.geometry.ratio_from != "whole photo"
        inset = plan.inset[k] * max(ratio, 1.0) / (1.0 if down else ratio) if repeats else -np.inf
        shown[k, :, down] = np.minimum(kept[k, :, down], 1 - inset) if far else np.maximum(kept[k, :, down], inset)
    return Ends(kept, shown)


def _crossing(polygon: Float64, axis: int, across: Float64, far: bool) -> Float64:
    """(N,) the nearest place along an axis at which lines at `across` meet a polygon; far: the furthest one."""
    start, end = polygon, np.roll(polygon, -1, axis=0)
    met = []
    for at in across:
        one, two = start[:, 1 - axis], end[:, 1 - axis]
        passed = np.flatnonzero((one <= at) != (two <= at))
        share = (at - one[passed]) / (two[passed] - one[passed])
        places = start[passed, axis] + share * (end[passed, axis] - start[passed, axis])
        met.append(places.max() if far else places.min())
    return np.array(met)


def _true_edge(shot: Shot, side: int, along_mm: Float64) -> Float64:
    """(N,) how far from its middle the paper reaches on a side, in millimetres, at places along it."""
    alpha, size = shot.truth.work.alpha, np.array(shot.truth.size_mm)
    sheet = np.asarray(alpha if side % 2 == 0 else alpha.T)
    sheet = sheet[::-1] if side in (1, 2) else sheet
    scale = sheet.shape[1] / size[side % 2]
    column = np.clip(((along_mm + size[side % 2] / 2) * scale).astype(int), 0, sheet.shape[1] - 1)
    missing_mm = (1 - sheet[: len(sheet) // 3, column]).sum(axis=0) / scale
    return np.asarray(size[1 - side % 2] / 2 - missing_mm, np.float64)


def _on_border(shot: Shot, points_px: AnyArray) -> Bool:
    """(N,) whether points lie on the photo's border, or beyond it."""
    size = np.array(shot.pixels.shape[1::-1])
    return np.asarray(((points_px < 1) | (points_px > size - 1)).any(axis=-1))


def on_work(shot: Shot, points_px: AnyArray) -> Float64:
    """(..., 2) photo pixels -> the place of the work that is seen there, in mm from its middle."""
    height, width = shot.pixels.shape[:2]
    centred = (np.asarray(points_px) - np.array([width / 2, height / 2])) / (np.hypot(width, height) / 2)
    return np.asarray(shot.truth.relief.seen_at(shot.truth.camera, centred), np.float64)


def ratio_error_percent(shot: Shot, geometry: Geometry) -> float:
    """Error of width : height in percent."""
    return abs(geometry.ratio / (shot.truth.size_mm[0] / shot.truth.size_mm[1]) - 1) * 100


def straightness_percent(shot: Shot, geometry: Geometry) -> float:
    """Largest bow of a straight line of the work after rectifying, in % of the side's length."""
    truth = shot.truth
    w, h = truth.size_mm
    t, worst = np.linspace(-0.5, 0.5, 41), 0.0
    for across in (True, False):
        for at in (-0.5, -0.25, 0.0, 0.25, 0.5):
            x, y = (t * w, np.full(41, at * h)) if across else (np.full(41, at * w), t * h)
            seen = truth.camera.project(truth.relief.raised(np.stack([x, y], axis=-1)))
            px = truth.camera.to_pixels(seen, (shot.pixels.shape[0], shot.pixels.shape[1]))
            flat = _on_frame(geometry, px) * [geometry.ratio, 1.0]
            line = line_through(flat[0], flat[-1])
            bow = np.abs(flat @ line[:2] + line[2]).max() / np.linalg.norm(flat[-1] - flat[0])
            worst = max(worst, float(bow))
    return worst * 100


def _on_frame(geometry: Geometry, px: Float64) -> Float64:
    """(N, 2) photo pixels -> places of the work, 0..1: the inverse of `Geometry.in_photo`, by fixed point."""
    lens = lens_of(geometry)
    back = homography(lens.ideal(quad_of(geometry)), rectangle(1.0, 1.0))
    flat = project(back, lens.ideal(px))
    bow = bow_of(geometry, (0.0, 0.0, 1.0, 1.0))
    if bow is None:
        return flat
    straight = flat
    for _ in range(12):  # sides bend by a percent or two
        straight = straight + flat - bow.moved(straight)
    return straight


def measure_colour(
    photo: Photo,
    plan: CorrectionPlan,
    shot: Shot,
    sheet: list[Float32] | None = None,
    as_shot: Photo | None = None,
) -> ColourMeasures:
    """The corrected work against the truth: media-relative (paper at L* 96.5) on white, natural and cream paper;
    absolute, at the best single exposure, for paintings and toned paper. as_shot: the photo as it came, where the plan
    was made on it through a chart or without the camera's contrast."""
    after = corrected(rectify(photo, plan.geometry, 250_000).linear, plan)
    work = rectify(as_shot or photo, plan.geometry, 250_000)
    art, bare, inner = flat_truth(shot, after.shape[:2])
    relative = shot.truth.work.paper in ("white", "natural", "cream") and bare_share(shot) >= LEAST_BARE
    truth = np.asarray(art / np.median(art[bare], axis=0) * PAPER_Y if relative else art, np.float32)
    if sheet is not None:
        sheet += [work.linear, after, truth]
    calm = [np.asarray(cv2.GaussianBlur(p, (0, 0), 1.5), np.float32) for p in (after, work.linear, truth)]
    if not relative:
        calm[1] = best_exposure(calm[1], calm[2], inner)
        if plan.chart is None:  # a chart tells the exposure too
            calm[0] = best_exposure(calm[0], calm[2], inner)
    lab, lab_true = lab_fast(calm[0]), lab_fast(calm[2])
    difference = ciede2000(lab, lab_true)[inner]
    shot_difference = ciede2000(lab_fast(calm[1]), lab_true)[inner].mean()
    top = (quantise8(encode_fast(after)).max(-1) >= 250) & (quantise8(encode_fast(work.linear)).max(-1) < 250)
    paper = _paper(lab, lab_true, bare & inner, lab_fast(after)) if relative else _NO_PAPER
    return ColourMeasures(
        *paper,
        _wash_percent(lab, lab_true, bare, inner) if relative and shot.spec.kind == "watercolour" else np.nan,
        float(top[inner].mean() * 100),
        float(difference.mean()),
        float(np.percentile(difference, 95)),
        float(shot_difference),
    )


LEAST_BARE = 0.01
"""With less bare paper than this a work counts as a painting: there is no paper to be relative to."""


def bare_share(shot: Shot) -> float:
    """Share of the work that is bare paper, 0..1."""
    return float(shot.truth.work.bare.mean())


def flat_truth(shot: Shot, shape: tuple[int, ...]) -> tuple[Float32, Bool, Bool]:
    """The flat art (h, w, 3), where it is bare paper, and the work without its outermost 4 % and what lies on it."""
    size = (shape[1], shape[0])
    art = np.asarray(cv2.resize(shot.truth.work.reflectance, size, interpolation=cv2.INTER_AREA), np.float32)
    clear = cv2.resize(shot.truth.work.bare.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    inner = np.zeros(shape[:2], bool)
    inner[shape[0] // 25 : -shape[0] // 25, shape[1] // 25 : -shape[1] // 25] = True
    # What a pencil or a finger hides, and the shadow at its foot, is neither paper nor the correction's business.
    hidden = np.asarray(cv2.resize(shot.truth.covered, size, interpolation=cv2.INTER_LINEAR)) > 0.01
    inner &= cv2.dilate(hidden.astype(np.uint8), np.ones((15, 15), np.uint8)) == 0
    return art, np.asarray(clear) > 0.99, inner


def _paper(lab: Float32, lab_true: Float32, bare: Bool, fine: Float32) -> tuple[float, float, float, float, float]:
    """L*, C*, standard deviation of L* without the paper's own grain, unevenness in %, noise in L*."""
    lightness, a, b = lab[bare].mean(axis=0)
    rest = (lab - lab_true)[..., 0]
    weight = np.asarray(cv2.GaussianBlur(bare.astype(np.float32), (0, 0), 8))
    smooth = np.asarray(cv2.GaussianBlur(rest * bare, (0, 0), 8)) / np.maximum(weight, 1e-3)
    light = ((smooth[bare & (weight > 0.3)] + 96.5 + 16) / 116) ** 3
    low, high = np.percentile(light, [1, 99]) if len(light) else (np.nan, np.nan)
    middle = float(light.mean()) if len(light) else np.nan
    noise = (fine - cv2.GaussianBlur(fine, (0, 0), 1.5))[..., 0][bare].std()
    return (
        float(lightness), float(np.hypot(a, b)), float(rest[bare].std()), float((high - low) / middle * 100),
        float(noise),
    )  # fmt: skip


def _wash_percent(lab: Float32, lab_true: Float32, bare: Bool, inner: Bool) -> float:
    """Share of the contrast to the bare paper around that washes of 1.5 to 6 L* keep."""
    paper = bare & inner
    weight = np.maximum(np.asarray(cv2.GaussianBlur(paper.astype(np.float32), (0, 0), 25)), 1e-6)
    depth = [np.asarray(cv2.GaussianBlur(p[..., 0] * paper, (0, 0), 25)) / weight - p[..., 0] for p in (lab, lab_true)]
    wash = inner & ~bare & (weight > 0.03) & (depth[1] > 1.5) & (depth[1] < 6)
    if wash.sum() < 100:  # too few to speak of
        return float("nan")
    return float(depth[0][wash].mean() / depth[1][wash].mean() * 100)


def best_exposure(picture: Float32, truth: Float32, inner: Bool) -> Float32:
    """The picture times the one factor that brings its mean luminance to the truth's: exposure is not in question."""
    return np.asarray(
        picture * np.float32((truth[inner] @ LUMINANCE).mean() / max((picture[inner] @ LUMINANCE).mean(), 1e-6))
    )
