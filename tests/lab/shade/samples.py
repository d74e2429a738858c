"""Samples to learn from: a work as the correction sees it, and the truth about its shadows and its bare paper."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from autoprep.correction.camera import without_contrast
from autoprep.correction.fallen import DESK, WORK
from autoprep.correction.squaring import geometry_of
from autoprep.correction.view import MARGIN_PX, SIDE_PX, View, seen_squarely
from autoprep.domain import Geometry, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, Float64, UInt8
from autoprep.imaging.colour import LUMINANCE
from autoprep.pixels import in_photo
from autoprep.wishes.tables import CAMERA_CONTRAST

from ..light import SHADOWS
from ..measures import on_work
from ..scene import Shot, encode_jpeg, light_of, random_spec, render, rough_spec
from ..spec import SceneSpec, bent_spec, cut_spec
from ..works import KINDS

TRUTH_PX = SIDE_PX // 2
LONG_PX = 1000
_KINDS = (*KINDS, "journal", "watercolour", "ink", "pencil")  # what is drawn on paper, twice as often
# Gone with the true light all but a hair: the logarithm ends there.
_DEEPEST = -3.0


@dataclass(frozen=True)
class Sample:
    """codes and where: as in `View`; shade: (m, m) float16 natural log of what shadows leave of the light; bare: (m, m)
    uint8 share 0..255 of bare paper, 0 on the desk. m is half of n."""

    codes: UInt8
    where: UInt8
    shade: "np.typing.NDArray[np.float16]"
    bare: UInt8


def sample(seed: int) -> Sample:
    """One of endlessly many: the same seed gives the same sample."""
    rng = np.random.default_rng([seed, 77])
    shot = render(_spec(seed, rng), LONG_PX)
    geometry, view = as_seen(shot, rng)
    return Sample(view.codes, view.where, _true_shade(shot, geometry), bare_paper(shot, geometry, view.where))


def as_seen(shot: Shot, rng: np.random.Generator) -> tuple[Geometry, View]:
    """A shot as the correction sees it, any side up, and what an eye is shown of it."""
    photo = read_photo(encode_jpeg(shot, shot.spec.jpeg_quality))
    photo = without_contrast(photo, CAMERA_CONTRAST) if rng.random() < 0.8 else photo
    # No outline is found to the pixel.
    corners = shot.truth.corners_px + rng.normal(0, 0.002, (4, 2)) * max(shot.pixels.shape) * (rng.random() < 0.7)
    outline = Outline(corners_px=tuple(map(tuple, corners.tolist())), confidence=1.0)
    geometry = geometry_of(photo, outline, shot.truth.size_mm, int(rng.integers(4)) * 90)
    return geometry, seen_squarely(photo, geometry)


def _spec(seed: int, rng: np.random.Generator) -> SceneSpec:
    kind, luck, rough = str(rng.choice(_KINDS)), rng.random(), bool(rng.random() < 0.6)
    if luck < 0.12:
        spec = cut_spec(seed, kind, rough)
    elif luck < 0.24:
        spec = bent_spec(seed, kind, rough)
    else:
        spec = (rough_spec if rough else random_spec)(seed, kind)
    if rng.random() < 0.45:
        return replace(spec, shadow="none")
    return replace(
        spec, shadow=str(rng.choice(SHADOWS[1:])), shadow_strength=float(rng.uniform(0.25, 0.95)),
        shadow_at=(float(rng.uniform(-1, 1)), float(rng.uniform(-1, 1))), shadow_turn_deg=float(rng.uniform(0, 360)),
        shadow_softness_mm=float(np.exp(rng.uniform(np.log(0.7), np.log(50)))),
    )  # fmt: skip


def _true_shade(shot: Shot, geometry: Geometry) -> "np.typing.NDArray[np.float16]":
    mm = on_work(shot, in_photo(geometry, places()))
    light = light_of(shot.spec, shot.truth.size_mm)
    free = replace(light, caster=replace(light.caster, kind="none"))
    left = (light.at(mm) @ LUMINANCE) / np.maximum(free.at(mm) @ LUMINANCE, 1e-6)
    return np.maximum(np.log(np.maximum(left, 1e-6)), _DEEPEST).astype(np.float16)


def bare_paper(shot: Shot, geometry: Geometry, where: UInt8) -> UInt8:
    """(m, m) uint8 share 0..255 of bare paper over a view whose (n, n) pixels show that, 0 beside the work."""
    fine = on_work(shot, in_photo(geometry, places(2)))
    bare = _looked_up(shot, fine) * (where == WORK)
    small = cv2.resize(bare.astype(np.float32), (TRUTH_PX, TRUTH_PX), interpolation=cv2.INTER_AREA)
    return np.asarray(np.round(small * 255), np.uint8)


def places(times: int = 1) -> Float64:
    """(m, m, 2) places of the truth in the work's frame, 0..1 on the work, beyond that on the desk."""
    count = TRUTH_PX * times
    at = ((np.arange(count) + 0.5) * SIDE_PX / count - MARGIN_PX) / (SIDE_PX - 2 * MARGIN_PX)
    return np.stack(np.meshgrid(at, at), axis=-1)


def _looked_up(shot: Shot, mm: Float64) -> Float32:
    """(n, n) where there is bare paper that nothing hides, at places in mm of the work."""
    work, size = shot.truth.work, np.array(shot.truth.size_mm)
    share = (mm / size + 0.5).astype(np.float32)
    planes = (work.bare.astype(np.float32) * work.alpha, 1 - shot.truth.covered)
    seen = [
        cv2.remap(
            plane, share[..., 0] * plane.shape[1] - 0.5, share[..., 1] * plane.shape[0] - 0.5, cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=0.0,
        )
        for plane in (cv2.resize(p, None, fx=512 / max(p.shape), fy=512 / max(p.shape), interpolation=cv2.INTER_AREA)
                      for p in planes)
    ]  # fmt: skip
    return np.asarray(seen[0] * seen[1], np.float32)


__all__ = ["DESK", "LONG_PX", "TRUTH_PX", "Sample", "as_seen", "bare_paper", "places", "sample"]
