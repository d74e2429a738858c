"""What comes of paint laid in solid where a shadow lies: `python -m tests.lab laid --photos 60`.

A plain ellipse in a colour near grey, a quarter to four fifths as light as paper and hard all round, is laid into the
shadow of photos in everyday light. It is as even as a shadow and may be as dark. How much of its contrast to what the
same photo shows there without it does the picture keep? The true outline is given.
"""

import multiprocessing
from dataclasses import dataclass, replace

import cv2
import numpy as np

from autoprep.correction.camera import without_contrast
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.squaring import rectify
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import DARKEST, Bool, Float32
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import linear_to_srgb, srgb_to_linear
from autoprep.pixels import Photo
from autoprep.wishes.tables import CAMERA_CONTRAST

from .colour import Array
from .scene import Shot, encode_jpeg, render, rough_spec

LAID_SEEDS = 22200
KINDS_LAID = ("journal", "watercolour", "pencil", "ink")
_SIDE, _TRIES = 256, 300
_RADIUS, _ROUND = (0.05, 0.14), 0.8  # of the work's sides
_LIGHTNESS, _TURN = (0.25, 0.8), 0.06
_IN_SHADOW, _ON_PAPER, _WHOLE = 0.75, 0.6, 2048
_GONE = 0.5


@dataclass(frozen=True)
class Laid:
    """kept: the share of its contrast that paint laid into a shadow keeps, 1 is all."""

    seed: int
    kind: str
    shadow: str
    kept: float


def laid_one(seed: int, kind: str, long_px: int = 1400) -> Laid | None:
    """One photo with paint laid into its shadow; None where it has none, or no room for it there."""
    spec = rough_spec(seed, kind, None)
    if spec.shadow == "none":
        return None
    shot, rng = render(spec, long_px), np.random.default_rng(seed)
    cover = _place(shot, rng)
    if cover is None:
        return None
    lightness = np.exp(rng.uniform(*np.log(_LIGHTNESS)))
    paint = lightness * (1 + rng.uniform(-_TURN, _TURN, 3))
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    before, after = (_picture(each, shot) for each in (photo, _painted(photo, shot, cover, paint)))
    core = cv2.erode(cv2.resize(cover, before.shape[1::-1], interpolation=cv2.INTER_NEAREST), np.ones((9, 9))) > 0
    taken = (np.log(np.maximum(p @ LUMINANCE, DARKEST))[core] for p in (after, before))
    return Laid(seed, kind, spec.shadow, float(np.median(np.subtract(*taken)) / np.log(paint @ LUMINANCE)))


def _place(shot: Shot, rng: np.random.Generator) -> Array | None:
    """(n, n) uint8 over the work squeezed into a square: 1 in an ellipse on bare paper in the shadow."""
    side = (_SIDE, _SIDE)
    light = cv2.resize(shot.truth.light.astype(np.float32), side, interpolation=cv2.INTER_AREA) @ LUMINANCE
    bare = cv2.resize(shot.truth.work.bare.astype(np.float32), side, interpolation=cv2.INTER_AREA)
    dark = light < _IN_SHADOW * np.percentile(light, 95)
    for _ in range(_TRIES):
        radius = rng.uniform(*_RADIUS) * _SIDE
        middle = rng.uniform(radius + 12, _SIDE - radius - 12, 2).astype(int)
        cover = np.zeros(side, np.uint8)
        cv2.ellipse(cover, middle.tolist(), (int(radius), int(radius * _ROUND)), 0, 0, 360, (1,), -1)
        inside: Bool = cover > 0
        if np.median(dark[inside]) > 0 and bare[inside].mean() > _ON_PAPER:
            return cover
    return None


def _painted(photo: Photo, shot: Shot, cover: Array, paint: Array) -> Photo:
    corners = np.array([[0, 0], [_WHOLE, 0], [_WHOLE, _WHOLE], [0, _WHOLE]], np.float32)
    way = cv2.getPerspectiveTransform(corners, (shot.truth.corners_px - 0.5).astype(np.float32))
    whole = cv2.resize(cover.astype(np.float32), (_WHOLE, _WHOLE), interpolation=cv2.INTER_LINEAR) > 0.5
    size = photo.codes.shape[1::-1]
    share = cv2.GaussianBlur(cv2.warpPerspective(whole.astype(np.float32), way, size), (0, 0), 0.8)[..., None]
    linear = srgb_to_linear(photo.codes / 255.0) * (1 + share * (paint - 1))
    return replace(photo, codes=np.clip(linear_to_srgb(linear) * 255 + 0.5, 0, 255).astype(np.uint8))


def _picture(photo: Photo, shot: Shot) -> Float32:
    lit = without_contrast(photo, CAMERA_CONTRAST)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, _, _ = make_plan(lit, outline, Wishes(size_mm=shot.truth.size_mm))
    return corrected(rectify(lit, plan.geometry, 250_000).linear, plan)


def _job(job: tuple[int, str]) -> Laid | None:
    cv2.setNumThreads(1)
    return laid_one(*job)


def score_laid(photos: int, first: int = LAID_SEEDS, processes: int = 2) -> list[Laid]:
    """Lay paint into the shadows of so many photos; prints how many show one, and how often the paint is gone."""
    jobs = [(first + k, KINDS_LAID[k % len(KINDS_LAID)]) for k in range(photos)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = [row for row in pool.map(_job, jobs, chunksize=1) if row is not None]
    told(rows)
    return rows


def told(rows: list[Laid]) -> None:
    """Print what the picture kept of the paint, and each of which it lost half."""
    kept = [row.kept for row in rows]
    middle = float(np.median(kept)) if kept else float("nan")
    print(f"paint laid into {len(rows)} shadows: kept {middle:.2f} in the median")
    gone = [row for row in rows if row.kept < _GONE]
    print(f"gone by half or more: {len(gone)}, all but a quarter: {sum(row.kept < _GONE / 2 for row in rows)}")
    for row in gone:
        print(f"  {row.seed} {row.kind} under {row.shadow}: kept {row.kept:.2f}")
