"""Samples to learn from: a work as the correction sees it, where its paper is bare, and what paper that is."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from autoprep.correction.view import View
from autoprep.imaging.arrays import AnyArray, UInt8
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import srgb_to_linear

from ..light import SHADOWS
from ..lit.samples import light_in_view
from ..scene import random_spec, render, rough_spec
from ..shade.samples import as_seen, bare_paper
from ..spec import SceneSpec, bent_spec, cut_spec

LIGHT, TONED, NONE = 0, 1, 2
_LONG_PX = 760
_STROKE_PX = 5  # strokes and rulings as wide as that are none of the ground
_KINDS = (
    *("ink", "pencil", "journal", "notebook", "watercolour") * 2, *("toned", "coloured", "washed") * 3, "painting",
)  # fmt: skip
# Of these the lab bends sheets and lets the border cut them.
_SHEETS = ("ink", "pencil", "journal", "watercolour", "toned")


@dataclass(frozen=True)
class GroundSample:
    """codes: (n, n, 3) uint8 sRGB codes of a view, exposed for all that is seen; where: as in `View`; light: (3, m, m)
    float16 natural log of the light that they show; bare: (m, m) uint8 share 0..255 of bare paper, as if nothing were
    drawn on it, 0 on the desk; paper: (1,) uint8 LIGHT, TONED or NONE. m is half of n."""

    codes: UInt8
    where: UInt8
    light: "np.typing.NDArray[np.float16]"
    bare: UInt8
    paper: UInt8


def sample(seed: int) -> GroundSample:
    """One of endlessly many: the same seed gives the same sample."""
    rng = np.random.default_rng([seed, 79])
    shot = render(_spec(seed, rng), _LONG_PX)
    geometry, view = as_seen(shot, rng)
    said = shot.truth.work.paper
    paper = NONE if said == "none" else LIGHT if said in ("white", "natural", "cream") else TONED
    brush = np.ones((_STROKE_PX, _STROKE_PX), np.uint8)
    bare = cv2.morphologyEx(bare_paper(shot, geometry, view.where), cv2.MORPH_CLOSE, brush)
    light = light_in_view(shot, geometry) * shot.truth.gains * _exposure(view)
    light = np.log(np.maximum(light, 1e-3)).transpose(2, 0, 1)
    return GroundSample(
        view.all_codes, view.where, light.astype(np.float16), np.asarray(bare, np.uint8), np.array([paper], np.uint8)
    )


def _exposure(view: View) -> float:
    """What a photo's linear light was multiplied by for the codes of its view."""
    codes: AnyArray = view.all_codes
    clear = (view.where > 0) & (codes.min(-1) > 20) & (codes.max(-1) < 240)
    if not clear.any():
        return 1.0
    shown = srgb_to_linear(codes[clear] / np.float32(255)) @ LUMINANCE
    return float(np.median(shown / np.exp(view.luma[clear])))


def _spec(seed: int, rng: np.random.Generator) -> SceneSpec:
    kind, luck, rough = str(rng.choice(_KINDS)), rng.random(), bool(rng.random() < 0.7)
    if luck < 0.15 and kind in _SHEETS:
        spec = cut_spec(seed, kind, rough)
    elif luck < 0.25 and kind in _SHEETS:
        spec = bent_spec(seed, kind, rough)
    else:
        spec = (rough_spec if rough else random_spec)(seed, kind)
    if rng.random() < 0.6:
        return spec
    return replace(
        spec, shadow=str(rng.choice(SHADOWS)), shadow_strength=float(rng.uniform(0.2, 0.9)),
        shadow_at=(float(rng.uniform(-1, 1)), float(rng.uniform(-1, 1))), shadow_turn_deg=float(rng.uniform(0, 360)),
        shadow_softness_mm=float(np.exp(rng.uniform(np.log(0.7), np.log(80)))),
    )  # fmt: skip
