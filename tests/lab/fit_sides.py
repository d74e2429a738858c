"""Fits the trees that weigh the edges along a side: `python -m tests.lab fit-sides --photos 3000`.

For each side of an outline as the second eye sees it, the edges along it are described (see outline/rivals); right is
what lies within _RIGHT_PX of the true side at both of its ends. Tuning seeds only. Half of the photos are of the kinds
in which edges lie side by side: sheets on sheets, clutter, pale and patterned tables, canvases on walls.
"""

import json
import multiprocessing
import pickle
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np

from autoprep.correction.outline import eye
from autoprep.correction.outline.contest import REFINING_PX
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.evidence import FINDING_PX
from autoprep.correction.outline.finder import fitted_to_edges
from autoprep.correction.outline.rivals import depths, rivals, squared
from autoprep.correction.outline.sides import among
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float64
from tests.lab.cut import PAPER
from tests.lab.fit_outline import boosted
from tests.lab.scene import encode_jpeg, random_spec, render, rough_spec
from tests.lab.spec import SceneSpec, cut_spec
from tests.lab.works import KINDS

SIDES_SEEDS = 50_000
_LONG_PX = 1600
_RIGHT_PX = 2.5  # of the squared view: 7 px of a work of 2000
_FAR_PX = 4.0
_SHOWN, _CUT = (*KINDS, "notebook"), (*PAPER, "notebook", "notebook")
_HARD = {"painting": ("plaster", "clutter", "wood"), "other": ("sheets", "clutter", "white", "cloth", "sheets")}


class Side(NamedTuple):
    """The edges along one side: (N, 2) depths, (N, F) features, (2,) the true depths; and what photo it was."""

    ends_px: Float64
    features: Float64
    true_px: Float64
    seed: int
    about: str


def spec_of(seed: int) -> SceneSpec:
    """Every third photo shows a page that its border cuts, of the others every second is a hard one; half of all are in
    everyday light, a quarter shows ruled paper."""
    kind, rough = _SHOWN[seed // 2 % len(_SHOWN)], bool(seed % 2)
    if seed % 3 == 2:
        return cut_spec(seed, _CUT[seed // 3 % len(_CUT)], rough)
    hard = _HARD["painting" if kind == "painting" else "other"]
    desk = hard[seed // 4 % len(hard)] if seed // 2 % 2 == 0 or kind == "painting" else None
    return (rough_spec if rough else random_spec)(seed, kind, desk)


def described(seed: int) -> list[Side]:
    """The sides of one photo's outline, those that the photo shows."""
    cv2.setNumThreads(1)
    spec = spec_of(seed)
    shot = render(spec, _LONG_PX)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    copies = Copies(photo)
    sight = eye.look(photo, copies.at(FINDING_PX))
    if sight is None or not sight.works or all(sight.works[0].cut):
        return []
    seen, lab = sight.works[0], copies.lab(REFINING_PX)
    scale = lab.shape[1] / photo.full_px[0]
    view = squared(lab, sight.maps, fitted_to_edges(photo, lab, seen) * scale)
    sides = []
    for side in (k for k in range(4) if not seen.cut[k]):
        found = rivals(view, side, depths(view, seen.quad * scale, side))
        true = depths(view, np.asarray(shot.truth.corners_px) * scale, side)
        sides.append(Side(found.ends_px, found.features, true, seed, f"{spec.kind} {spec.desk} {side}"))
    return [side for side in sides if np.isfinite(side.true_px).all() and np.isfinite(side.features).all()]


def _off(side: Side) -> Float64:
    """(N,) how far each edge is from the true side, at its worse end."""
    return np.asarray(np.abs(side.ends_px - side.true_px).max(axis=1))


def cross_validated(sides: list[Side], parts: int = 5) -> list[Float64]:
    """The scores of each side's edges by trees that have not seen the photo."""
    tables, right = [among(s.features) for s in sides], [_off(s) <= _RIGHT_PX for s in sides]
    part = np.array([s.seed % parts for s in sides])
    scores: list[Float64] = [np.empty(0)] * len(sides)
    for k in range(parts):
        learnt = np.flatnonzero(part != k)
        trees = boosted(np.concatenate([tables[i] for i in learnt]), np.concatenate([right[i] for i in learnt]), 200)
        for i in np.flatnonzero(part == k):
            scores[i] = trees(tables[i])
    return scores


def tell(sides: list[Side], scores: list[Float64]) -> None:
    """Print what choosing by the scores mends and harms, by the margin asked for."""
    off = [_off(s) for s in sides]
    now = np.array([o[0] for o in off])
    mendable = sum(o[0] > _FAR_PX and o.min() <= _RIGHT_PX for o in off)
    print(f"{len(sides)} sides, {(now > _FAR_PX).sum()} off, for {mendable} of them a right edge is among the rivals")
    for margin in (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0):
        best = [int(s.argmax()) if s.max() > s[0] + margin else 0 for s in scores]
        then = np.array([o[k] for o, k in zip(off, best, strict=True)])
        mended = ((now > _FAR_PX) & (then <= _RIGHT_PX + 1)).sum()
        harmed = ((now <= _FAR_PX) & (then > _FAR_PX)).sum()
        print(f"margin {margin}: moved {np.count_nonzero(best)}, mended {mended}, harmed {harmed}, "
              f"off {(now > _FAR_PX).sum()} -> {(then > _FAR_PX).sum()}")  # fmt: skip


def fit_sides(photos: int, first: int, place: Path, keep: Path | None, processes: int) -> None:
    """Describe the sides of photos of tuning seeds, fit the trees, print what they mend, and write the weights.

    keep: a file for the described sides; where it is there already, it is read and not made again.
    """
    if keep is not None and keep.is_file():
        sides = [Side(*entry) for entry in pickle.loads(keep.read_bytes())]
    else:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            sides = [s for found in pool.imap(described, range(first, first + photos), chunksize=2) for s in found]
        if keep is not None:
            keep.write_bytes(pickle.dumps([tuple(side) for side in sides]))
    tell(sides, cross_validated(sides))
    trees = boosted(
        np.concatenate([among(s.features) for s in sides]), np.concatenate([_off(s) <= _RIGHT_PX for s in sides]), 200
    )
    note = f"Tuning seeds {sides[0].seed} to {sides[-1].seed}, {len(sides)} sides."
    lines = ['"""Fitted numbers of the sides\' trees; made by `python -m tests.lab fit-sides`.', "", note, '"""', ""]
    lines += ["from typing import Any", "", "# fmt: off", f"SIDE: dict[str, Any] = {json.dumps(trees.packed())}"]
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")
