"""Scenes from the lab itself: photos rendered in linear light, the sheet often cut by the photo's border."""

from dataclasses import replace

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32, UInt8, float32
from tests.lab.bordered import BORDERS, with_border
from tests.lab.carriers import CARRIERS
from tests.lab.flatwork import FlatWork
from tests.lab.scene import render
from tests.lab.spec import SceneSpec, carried_spec, random_spec, rough_spec
from tests.lab.works import KINDS, make_work

from . import SIDE_PX
from .dice import Dice

# Seeds of their own: the lab's reports and tuning use seeds below a million.
_FIRST_SEED = 400_000_000
_RENDERED_PX = 640
# A photo taken close: the sheet spans so much of it. Chosen: from a hair's breadth of desk to half of the sheet.
_CLOSE = (0.9, 1.7)
# A photo that a painting fills looks like the scene in it: these are shown with their surroundings only.
_PAINTED = ("painting", "watercolour")
# Half are on the desks where edges lie side by side, and the finders err most.
_HARD_SHARE = 0.5
_HARD = {"painting": ("plaster", "clutter", "wood", "white"), "other": ("sheets", "sheets", "clutter", "white")}
# How often a clipboard, a board or a sleeve carries a sheet of these kinds.
_CARRIED = 0.22
_ON_PAPER = ("pencil", "ink", "watercolour", "toned", "coloured", "notebook")
# How often a line is drawn around the work, near the edges of its sheet.
_BORDERED = 0.35
# What is seen of a sheet must be this much of the photo, or nobody would call it the work.
_LEAST_SEEN = 0.4


def lab_photo(dice: Dice) -> tuple[UInt8, Float32]:
    """(S, S, 3) uint8 RGB and the (4, 2) outline of the sheet in scene pixels, parts of it beyond the border or not."""
    while True:
        spec = _spec(dice)
        shot = render(spec, _RENDERED_PX, _bordered(dice, spec) if dice.chance(_BORDERED) else None)
        height, width = shot.pixels.shape[:2]
        quad = float32(shot.truth.corners_px * [SIDE_PX / width, SIDE_PX / height])
        if spec.fill < _CLOSE[0] or _seen(quad) >= _LEAST_SEEN:
            picture = cv2.resize(shot.pixels, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA)
            return np.asarray(picture, np.uint8), quad


def _bordered(dice: Dice, spec: SceneSpec) -> FlatWork | None:
    """The work of a spec with a line drawn around it; None where it is framed, or fills its pages."""
    if spec.kind in ("painting", "journal"):
        return None
    work = make_work(spec.kind, spec.work_seed, round(0.85 * _RENDERED_PX))
    return with_border(work, dice.of(BORDERS), spec.work_seed)


def _spec(dice: Dice) -> SceneSpec:
    rough = dice.chance(0.6)
    draw = rough_spec if rough else random_spec
    kind = "notebook" if dice.chance(0.2) else dice.of(KINDS)
    if kind in _ON_PAPER and dice.chance(_CARRIED):
        return carried_spec(_FIRST_SEED + dice.whole(0, 100_000_000), dice.of(_ON_PAPER), dice.of(CARRIERS), rough)
    hard = _HARD["painting" if kind == "painting" else "other"]
    desk = dice.of(hard) if dice.chance(_HARD_SHARE) else None
    spec = draw(_FIRST_SEED + dice.whole(0, 100_000_000), kind, desk)
    if kind in _PAINTED or dice.chance(0.5):
        return spec
    return replace(
        spec, fill=dice.between(*_CLOSE), offset=(dice.between(-1, 1), dice.between(-1, 1)), over="none",
        roll_deg=spec.roll_deg * 0.4,
    )  # fmt: skip


def _seen(quad: Float32) -> float:
    frame = float32([[0, 0], [SIDE_PX, 0], [SIDE_PX, SIDE_PX], [0, SIDE_PX]])
    return float(cv2.intersectConvexConvex(quad, frame)[0]) / SIDE_PX**2
