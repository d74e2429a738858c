"""Two or three works in one photo: what comes of them. `python -m tests.lab several --photos 60`.

Small sheets side by side, a row of cards, a drawing beside a painting: on one desk, in one light, a little askew.
"""

from __future__ import annotations

import io
import multiprocessing
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from PIL import Image as PILImage

from autoprep.correction.outline import Survey
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.geometry import homography, overlap_in_photo
from autoprep.pixels import Photo, quad_of

from .camera import Matrix, spread
from .colour import Array, Mask
from .fields import smoothstep
from .flatwork import FlatWork
from .scene import Picture, camera_of, inside, light_of
from .score import SURE
from .spec import SceneSpec, random_spec
from .works import make_work

SEVERAL_SEEDS = 21000
"""The first seed of the report; no tuning uses it and those that follow."""
_PX_PER_MM = 3.0
_RIGHT = 0.9
_DESKS = ("wood", "dark", "cloth", "mat", "white", "plaster")


@dataclass(frozen=True)
class Group:
    """Works on one canvas: the canvas as a flat work that is clear between them, and (4, 2) corners in mm of each."""

    canvas: FlatWork
    corners_mm: tuple[Matrix, ...]


def make_group(seed: int) -> Group:
    """Two or three works of any kind, scaled to much the same height, in a row or a column, 15-60 mm apart."""
    rng = np.random.default_rng([seed, 17])
    count = int(rng.choice([2, 3], p=[0.7, 0.3]))
    kinds = rng.choice(["pencil", "ink", "watercolour", "toned", "notebook", "painting"], count)
    works = [make_work(str(kind), seed * 4 + k, 500) for k, kind in enumerate(kinds)]
    heights = rng.uniform(130, 210) * rng.uniform(0.8, 1.2, count)
    sizes = [(h * w.size_mm[0] / w.size_mm[1], h) for h, w in zip(heights, works, strict=True)]
    in_a_row = bool(rng.random() < 0.75)
    gap, along, middles = float(rng.uniform(15, 60)), 0.0, []
    for width, height in sizes:
        reach = width if in_a_row else height
        middles.append(along + reach / 2)
        along += reach + gap
    across = max(s[1] if in_a_row else s[0] for s in sizes)
    margin = 12.0
    long, wide = along - gap + 2 * margin, across + 2 * margin
    total = (long, wide) if in_a_row else (wide, long)
    return _laid(works, sizes, [(m, across / 2) if in_a_row else (across / 2, m) for m in middles], margin, total, rng)


def _laid(
    works: list[FlatWork], sizes: list[tuple[float, float]], middles: list[tuple[float, float]], margin: float,
    total: tuple[float, float], rng: np.random.Generator,
) -> Group:  # fmt: skip
    shape = (round(total[1] * _PX_PER_MM), round(total[0] * _PX_PER_MM))
    art, alpha = np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32)
    corners = []
    for work, (width, height), middle in zip(works, sizes, middles, strict=True):
        turn = np.radians(rng.normal(0, 1.5))
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        box = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
        placed = box @ spin.T + np.array(middle) + margin + rng.uniform(-4, 4, 2)
        rows, cols = work.alpha.shape
        source = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], np.float64) - 0.5
        matrix = homography(source, placed * _PX_PER_MM - 0.5)
        size = (shape[1], shape[0])
        cover = cv2.warpPerspective(work.alpha, matrix, size, flags=cv2.INTER_LINEAR)
        seen = cv2.warpPerspective(
            work.reflectance, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        art += (seen - art) * (cover > 0)[..., None]
        alpha = np.maximum(alpha, cover)
        corners.append(placed - np.array(total) / 2)
    canvas = FlatWork("ink", "several", art, alpha > 2, alpha, total, "none", thickness_mm=0.2)
    return Group(canvas, tuple(corners))


class _Several(Picture):
    """A picture whose shadows are those of the works, not of the canvas that carries them."""

    parts: tuple[Matrix, ...] = ()

    def _work_shadow(self) -> Array:
        step = max(2, self.step // 3)
        points = self.camera.onto_plane(self.camera.lattice(self.frame_px, step), self.depth_mm)
        factor = np.ones(points.shape[:2], np.float32)
        lift = float(np.random.default_rng([self.spec.seed, 8]).uniform(0.3, 2.0))
        soft, direct = 0.35 + 0.28 * lift, 1 - self.spec.ambient_share
        for corners in self.parts:
            side = corners[1] - corners[0]
            unit = side / np.linalg.norm(side)
            turn = np.array([unit, [-unit[1], unit[0]]])
            half = np.array([np.linalg.norm(side), np.linalg.norm(corners[3] - corners[0])]) / 2
            own = (points - corners.mean(axis=0)) @ turn.T
            moved = own - turn @ self.light.shadow_offset(lift)
            cast = smoothstep(-soft, soft, inside(moved, half)) * np.float32(0.85 * direct)
            near = np.clip(-inside(own, half), 0, None)
            factor *= (1 - cast) * (1 - 0.24 * np.exp(-near / (0.5 + 0.35 * lift)))
        return spread(factor, self.frame_px, step)


def render_group(spec: SceneSpec, group: Group, long_px: int) -> tuple[Mask, list[Matrix]]:
    """(H, W, 3) uint8 and (4, 2) corners in pixels of each work."""
    camera, light = camera_of(spec, group.canvas.size_mm), light_of(spec, group.canvas.size_mm)
    frame = camera.frame_px(long_px)
    picture = _Several(spec, group.canvas, camera, light, frame)
    picture.parts = group.corners_mm
    reflectance = picture.desk()
    picture.lay_work(reflectance)
    image, _ = picture.expose(reflectance)
    quads = [np.column_stack([corners, np.zeros(4)]) for corners in group.corners_mm]
    return image, [camera.to_pixels(camera.project(quad), frame) for quad in quads]


@lru_cache(maxsize=8)  # tests look at some of them twice
def jpeg_of(seed: int) -> tuple[bytes, list[Matrix]]:
    """A photo of several works as a JPEG file, and the corners of each in its pixels."""
    group = make_group(seed)
    spec = replace(random_spec(seed, "ink", _DESKS[seed % len(_DESKS)], over="none", glare=0.0), fill=0.8)
    image, quads = render_group(spec, group, 1400)
    return _jpeg(image), quads


def photo_of(seed: int) -> tuple[Photo, list[Matrix]]:
    """The same as it is read."""
    jpeg, quads = jpeg_of(seed)
    return read_photo(jpeg), quads


def _one(seed: int) -> tuple[int, bool, bool, bool]:
    """(number of works, all seen, asked, one passed alone) of one photo."""
    cv2.setNumThreads(1)
    photo, quads = photo_of(seed)
    survey = Survey(photo)
    found, best = survey.works(), survey.outline()
    size = photo.full_px
    seen = [max((overlap_in_photo(quad_of(w), quad, size) for w in found), default=0.0) > _RIGHT for quad in quads]
    passed = not isinstance(best, Declined) and best.confidence >= SURE
    return len(quads), all(seen) and len(found) == len(quads), not passed, passed


def _jpeg(image: Mask) -> bytes:
    out = io.BytesIO()
    PILImage.fromarray(image).save(out, "JPEG", quality=90)
    return out.getvalue()


def score_several(photos: int, first: int, processes: int = 2) -> list[tuple[int, bool, bool, bool]]:
    """Score `photos` photos of several works; prints how many came out whole, were asked, or lost a work silently."""
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(_one, range(first, first + photos), chunksize=1)
    print(f"photos of several works {len(rows)}: all works seen {np.mean([r[1] for r in rows]):.0%}", end=", ")
    print(f"asked {np.mean([r[2] for r in rows]):.0%}, one passed alone {sum(r[3] for r in rows)}")
    return rows
