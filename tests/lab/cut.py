"""What comes of pages that the photo's border cuts: `python -m tests.lab cut --photos 48`.

Such a page has one, two or three edges in the photo; its outline ends at the photo's border elsewhere. Overlap is
measured within the photo.
"""

import multiprocessing
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.outline.finder import Survey
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.pixels import quad_of

from .flatwork import FlatWork
from .scene import encode_jpeg, render
from .score import SURE
from .spec import SceneSpec, cut_spec

CUT_SEEDS = 21200
PAPER = ("pencil", "ink", "watercolour", "journal", "notebook", "toned")
_RIGHT = 0.95


@dataclass(frozen=True)
class Cut:
    """One photo: what it shows, the overlap of the likeliest outline, its confidence, and the best overlap offered."""

    seed: int
    kind: str
    desk: str
    overlap: float
    confidence: float
    offered: float
    evidence: dict[str, float]


def looked_at(spec: SceneSpec, work: FlatWork | None = None) -> Cut:
    """Render one photo, of the spec's own work or of another, and look at it."""
    cv2.setNumThreads(1)
    shot = render(spec, 1600, work)
    photo = read_photo(encode_jpeg(shot, shot.spec.jpeg_quality))
    survey = Survey(photo)
    found, likeliest = survey.outlines(5), survey.outline()
    overlaps = [overlap_in_photo(quad_of(o), shot.truth.corners_px, photo.full_px) for o in found] or [0.0]
    # What is passed is the likeliest, and not where several works are seen.
    first = 0.0 if isinstance(likeliest, Declined) else likeliest.confidence
    evidence = dict(found[0].evidence) if found else {}
    return Cut(spec.seed, spec.kind, spec.desk, overlaps[0], first, max(overlaps), evidence)


def _job(job: tuple[int, str, bool]) -> Cut:
    return looked_at(cut_spec(*job))


def score_cut(photos: int, first: int = CUT_SEEDS, rough: bool = False, processes: int = 2) -> list[Cut]:
    """Score `photos` cut pages; prints how many are right, passed, wrong among those passed, and offered at all."""
    jobs = [(first + k, PAPER[k % len(PAPER)], rough) for k in range(photos)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(_job, jobs, chunksize=1)
    told("pages cut by the photo's border", rows)
    return rows


def told(what: str, rows: list[Cut]) -> None:
    """Prints how many are right, passed, wrong among those passed, and offered at all, and a line for each miss."""
    passed = [row for row in rows if row.confidence >= SURE]
    wrong = [row for row in passed if row.overlap < _RIGHT]
    print(f"{what} {len(rows)}: right {np.mean([r.overlap > _RIGHT for r in rows]):.1%}", end="")
    print(f", passed {len(passed) / len(rows):.1%}, wrong among them {len(wrong)}", end="")
    print(f", offered {np.mean([r.offered > _RIGHT for r in rows]):.1%}")
    for row in rows:
        if row.overlap < _RIGHT:
            print(
                f"  {row.seed} {row.kind} on {row.desk}: {row.overlap:.3f} at {row.confidence:.2f}, {row.offered:.3f}"
            )
