"""Fits the trees that tell toned paper from light: `python -m tests.lab fit-paper --photos 2400`.

Each photo's paper is described (see correction.paper_signs) in its true outline; light are white, natural and cream.
Tuning seeds only; half of the photos are in everyday light, and three of eight show toned, grey or coloured sheets.
"""

import json
import multiprocessing
import pickle
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np

from autoprep.correction.camera import without_contrast
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.outline.scorer import Trees
from autoprep.correction.paper_class import measured, paper_class_of, proven
from autoprep.correction.paper_signs import NAMES, signs
from autoprep.correction.planning import surroundings
from autoprep.correction.shade_eye import look_for_shade
from autoprep.correction.squaring import rectify, rimmed
from autoprep.correction.view import seen_squarely
from autoprep.domain import Declined, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Bool, Float64
from autoprep.wishes.tables import CAMERA_CONTRAST
from tests.lab.fit_outline import boosted
from tests.lab.scene import encode_jpeg, random_spec, render, rough_spec

PAPER_SEEDS = 2_400_000
_LONG_PX = 1400
_KINDS = ("pencil", "toned", "ink", "coloured", "journal", "watercolour", "coloured", "notebook")
LIGHT = ("white", "natural", "cream")
_PARTS = 5


class Described(NamedTuple):
    """A photo's paper: what it is, what is proven about it without the trees (toned, light or nothing), its signs."""

    seed: int
    kind: str
    paper: str
    proven: str
    signs: Float64


def described(seed: int) -> Described | None:
    """The paper of one photo, or None where none is seen."""
    cv2.setNumThreads(1)
    kind, rough = _KINDS[seed // 2 % len(_KINDS)], bool(seed % 2)
    spec = (rough_spec if rough else random_spec)(seed, kind)
    shot = render(spec, _LONG_PX)
    photo = without_contrast(read_photo(encode_jpeg(shot, spec.jpeg_quality)), CAMERA_CONTRAST)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    geometry = rimmed(photo, outline, shot.truth.size_mm).geometry
    linear = rectify(photo, geometry).linear
    paper, _ = find_paper(linear, True, None, look_for_shade(seen_squarely(photo, geometry)))
    around = surroundings(photo, geometry)
    if isinstance(paper, Declined) or paper_class_of(linear, paper, around, False, {})[0] == "none":
        return None
    proof = proven(paper, measured(paper, around)) or ""
    return Described(seed, kind, shot.truth.work.paper, proof, signs(linear, paper, around))


_TREES = 200
# The lab's lamps and white balances are few, and none is green: each sheet is learned in so many other tints besides,
# as far off as these deviations say (natural log of red to blue, and of green to the mean of both).
_TINTS, _TINT = 4, (0.4, 0.08)


def in_other_light(table: Float64, red_to_blue: float | Float64, green: float | Float64) -> Float64:
    """(N, F) signs of the same photos in light, or by a white balance, of another tint: by a gain of all pixels."""
    made = table.copy()
    seen = table[:, NAMES.index("around")] > 0
    for what, by in (("red to blue", red_to_blue), ("green", green)):
        made[:, NAMES.index(what)] += by
        for which in ("lightest", "all"):
            made[:, NAMES.index(f"{which} around's {what}")] += by * seen
    return made


def _grown(table: Float64, toned: Bool) -> Trees:
    """Trees that have seen each sheet in several lights."""
    rng = np.random.default_rng(7)
    lights = [rng.normal(0, 1, (2, len(table))) * np.array(_TINT)[:, None] for _ in range(_TINTS)]
    tables = [table, *(in_other_light(table, *light) for light in lights)]
    return boosted(np.concatenate(tables), np.tile(toned.astype(np.float64), len(tables)), _TREES)


def cross_validated(table: Float64, toned: Bool, seeds: Float64) -> Float64:
    """(lights, N) logits by trees that have not seen the photo, in each of LIGHTS."""
    scores = np.empty((len(LIGHTS), len(toned)))
    for part in range(_PARTS):
        held = seeds % _PARTS == part
        trees = _grown(table[~held], toned[~held])
        for k, light in enumerate(LIGHTS.values()):
            scores[k, held] = trees(in_other_light(table[held], *light))
    return scores


LIGHTS = {
    "as it is": (0.0, 0.0), "bluer": (-0.4, 0.0), "much bluer": (-0.8, 0.0), "redder": (0.4, 0.0),
    "much redder": (0.8, 0.0), "greener": (0.0, 0.1), "pinker": (0.0, -0.1),
}  # fmt: skip


def tell(found: list[Described], scores: Float64) -> None:
    """Print how many are mistaken by what is proven, and by trees that have not seen the photo where nothing is."""
    toned = np.array([d.paper not in LIGHT for d in found])
    proof = np.array([d.proven for d in found])
    doubt = proof == ""
    print(f"{toned.sum()} toned, {(~toned).sum()} light; proven: {(proof == 'toned').sum()} toned, "
          f"{(~toned & (proof == 'toned')).sum()} of them light, {(proof == 'light').sum()} light, "
          f"{(toned & (proof == 'light')).sum()} of them toned; nothing proven: {(toned & doubt).sum()} toned, "
          f"{(~toned & doubt).sum()} light")  # fmt: skip
    for light, logits in zip(LIGHTS, scores, strict=True):
        told = [f"{cut}: {(toned & doubt & (logits > cut)).sum()}, {(~toned & doubt & (logits > cut)).sum()}"
                for cut in (-3.0, -2.0, -1.0, 0.0, 1.0, 1.5, 2.0, 3.0, 4.0)]  # fmt: skip
        print(f"{light}: toned and light with a logit over " + "; ".join(told))


def fit_paper(photos: int, first: int, place: Path, keep: Path | None, processes: int) -> None:
    """Describe the papers of photos of tuning seeds, fit the trees, print what they mistake, and write the weights.

    keep: a file for the described papers; where it is there already, it is read and not made again.
    """
    if keep is not None and keep.is_file():
        found = [Described(*entry) for entry in pickle.loads(keep.read_bytes())]
    else:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            found = [d for d in pool.imap(described, range(first, first + photos), chunksize=2) if d is not None]
        if keep is not None:
            keep.write_bytes(pickle.dumps([tuple(d) for d in found]))
    table = np.stack([d.signs for d in found])
    toned = np.array([d.paper not in LIGHT for d in found])
    tell(found, cross_validated(table, toned, np.array([d.seed for d in found])))
    trees = _grown(table, toned)
    note = f"Tuning seeds {found[0].seed} to {found[-1].seed}, {len(found)} sheets, {len(NAMES)} signs."
    lines = ['"""Fitted numbers of the paper\'s trees; made by `python -m tests.lab fit-paper`.', "", note, '"""', ""]
    lines += ["from typing import Any", "", "# fmt: off", f"PAPER: dict[str, Any] = {json.dumps(trees.packed())}"]
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")
