"""Samples to learn from: a work as the correction sees it, and the light on it and on its desk."""

from dataclasses import dataclass, replace

import numpy as np

from autoprep.correction.view import MARGIN_PX, SIDE_PX
from autoprep.domain import Geometry
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.colour import LUMINANCE
from autoprep.pixels import in_photo

from ..eye.album import snippet
from ..eye.dice import Dice
from ..eye.pictures import picture
from ..light import SHADOWS
from ..measures import on_work
from ..scene import Shot, light_of, random_spec, render, rough_spec
from ..shade.samples import LONG_PX, as_seen, bare_paper, places
from ..spec import SceneSpec, bent_spec, cut_spec

PICTURE_PX = SIDE_PX - 2 * MARGIN_PX
_PHOTOS = 0.5
# On drawn sheets pictures are laid while it learns (see varied).
_KINDS = ("painting",) * 4 + ("watercolour", "watercolour", "coloured", "toned", "washed", "ink", "pencil", "journal")


@dataclass(frozen=True)
class LitSample:
    """codes and where: as in `View`; light: (m, m) float16 natural log of the light on the plane of the work, up to a
    constant; bare: (m, m) uint8 share 0..255 of bare paper, 0 on the desk; picture: (p, p, 3) uint8 sRGB codes of one
    that may be laid over any work. m is half of n, p the work's part of it."""

    codes: UInt8
    where: UInt8
    light: "np.typing.NDArray[np.float16]"
    bare: UInt8
    picture: UInt8


def sample(seed: int) -> LitSample:
    """One of endlessly many: the same seed gives the same sample."""
    rng = np.random.default_rng([seed, 78])
    shot = render(_spec(seed, rng), LONG_PX)
    geometry, view = as_seen(shot, rng)
    light = true_light(shot, geometry)
    bare = bare_paper(shot, geometry, view.where)
    return LitSample(view.codes, view.where, light.astype(np.float16), bare, _picture(Dice(seed)))


def _spec(seed: int, rng: np.random.Generator) -> SceneSpec:
    kind, luck, rough = str(rng.choice(_KINDS)), rng.random(), bool(rng.random() < 0.6)
    if luck < 0.08:
        spec = cut_spec(seed, kind, rough)
    elif luck < 0.16 and kind != "painting":
        spec = bent_spec(seed, kind, rough)
    else:
        spec = (rough_spec if rough else random_spec)(seed, kind)
    if rng.random() < 0.6:
        return replace(spec, shadow="none", glare=0.0)
    return replace(
        spec, shadow=str(rng.choice(SHADOWS[1:])), shadow_strength=float(rng.uniform(0.2, 0.95)), glare=0.0,
        shadow_at=(float(rng.uniform(-1, 1)), float(rng.uniform(-1, 1))), shadow_turn_deg=float(rng.uniform(0, 360)),
        shadow_softness_mm=float(np.exp(rng.uniform(np.log(0.7), np.log(80)))),
    )  # fmt: skip


def _picture(dice: Dice) -> UInt8:
    """What may be laid over a sheet: half of them are parts of photos, which hold more of light than any painting."""
    shown = (snippet if dice.chance(_PHOTOS) else picture)(dice, PICTURE_PX, PICTURE_PX)
    return np.asarray(np.round(np.clip(shown, 0, 1) * 255), np.uint8)


def true_light(shot: Shot, geometry: Geometry) -> "np.typing.NDArray[np.float32]":
    """(m, m) natural log of the luminance of the light over a view."""
    return np.log(np.clip(light_in_view(shot, geometry) @ LUMINANCE, 1e-3, 1e3)).astype(np.float32)


def light_in_view(shot: Shot, geometry: Geometry) -> "np.typing.NDArray[np.float64]":
    """(m, m, 3) the light over a view, linear, as the camera sees it: with what its lens takes at the corners."""
    px = in_photo(geometry, places())
    size = np.array(shot.pixels.shape[1::-1])
    from_middle = (px - size / 2) / (np.hypot(*size) / 2)
    light = light_of(shot.spec, shot.truth.size_mm).at(on_work(shot, px))
    return np.asarray(light * np.asarray(shot.vignette(from_middle))[..., None], np.float64)
