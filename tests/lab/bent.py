"""What comes of sheets that do not lie flat: `python -m tests.lab bent --photos 60`.

Their sides bend in the photo. Told is how much of the work is lost at its edges and how much desk is left (px at 2000),
how far its straight lines bow, and the error of its proportion, with four lines and with sides that are followed.
"""

import multiprocessing
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.outline import find_outline
from autoprep.correction.squaring import geometry_of, rimmed, torn_edges
from autoprep.domain import Declined, Geometry
from autoprep.files.reading import read_photo

from .measures import measure_outline, ratio_error_percent, straightness_percent
from .scene import encode_jpeg, random_spec, render, rough_spec
from .score import SURE
from .spec import bent_spec

BENT_SEEDS = 22000
PAPER = ("pencil", "ink", "watercolour", "notebook", "toned")
_MEASURES = ("edge lost", "desk left", "bow of lines, %", "width to height, %")


@dataclass(frozen=True)
class Bent:
    """One photo: the measures of its passed outline with four lines and with followed sides; whether any bends."""

    seed: int
    kind: str
    relief: str
    passed: bool
    lines: tuple[float, ...] = ()
    sides: tuple[float, ...] = ()
    bends: bool = False


def score_one_bent(seed: int, kind: str, rough: bool, flat: bool, long_px: int) -> Bent:
    """Render one photo and look at it; flat: of a sheet that lies flat, which no side should be taken to bend of."""
    cv2.setNumThreads(1)
    spec = (rough_spec if rough else random_spec)(seed, kind) if flat else bent_spec(seed, kind, rough)
    shot = render(spec, long_px)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    found = find_outline(photo)
    if isinstance(found, Declined) or found.confidence < SURE:
        return Bent(seed, kind, spec.relief, passed=False)

    def measured(geometry: Geometry) -> tuple[float, ...]:
        edges = measure_outline(shot, found, geometry)
        bow, ratio = straightness_percent(shot, geometry), ratio_error_percent(shot, geometry)
        return edges.lost_px, edges.left_px, bow, ratio

    rim = rimmed(photo, found)
    torn, lines = torn_edges(rim), geometry_of(photo, found)
    sides = rim.geometry if torn is None else torn.frame
    return Bent(seed, kind, spec.relief, True, measured(lines), measured(sides), rim.geometry.sides is not None)


def _job(job: tuple[int, str, bool, bool, int]) -> Bent:
    return score_one_bent(*job)


def score_bent(
    photos: int, first: int = BENT_SEEDS, *, rough: bool = False, flat: bool = False, long_px: int = 2400,
    processes: int = 2,
) -> list[Bent]:  # fmt: skip
    """Score `photos` photos; prints each measure in the median, the 90th and 95th percentile and at most."""
    jobs = [(first + k, PAPER[k % len(PAPER)], rough, flat, long_px) for k in range(photos)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(_job, jobs, chunksize=1)
    passed = [row for row in rows if row.passed]
    print(f"photos {len(rows)}, passed {len(passed)}, with sides that are followed {sum(row.bends for row in passed)}")
    for k, name in enumerate(_MEASURES):
        told = []
        for values in ([row.lines[k] for row in passed], [row.sides[k] for row in passed]):
            told.append(" ".join(f"{v:6.2f}" for v in (*np.percentile(values, [50, 90, 95]), max(values))))
        print(f"  {name:<20} four lines {told[0]}   followed {told[1]}")
    return rows
