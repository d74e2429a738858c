"""Are takes of one work told from other works? `python -m tests.lab takes --works 60`: pairs found, merged and split.

Three takes of every work, all on one occasion: from other sides, one nearer, one shaken, in other light. Works of one
kind look alike; every pair of photos is asked whether it shows one work.
"""

import itertools
import multiprocessing
from dataclasses import replace

import cv2
import numpy as np

from autoprep.correction.outline import find_outline
from autoprep.correction.planned import planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import Declined, JobRecord
from autoprep.files.reading import read_photo
from autoprep.imaging.likeness import likeness
from autoprep.job.takes import look_of, same_work

from .scene import encode_jpeg, random_spec, render
from .score import SURE

TAKES_SEEDS = 21400
_KINDS = ("pencil", "ink", "watercolour", "journal")
_TAKES = 3
_LONG_PX = 1400


def _record(job: tuple[int, str, int]) -> JobRecord | None:
    """The record of one take as the service would make it; None where its outline would be asked about."""
    cv2.setNumThreads(1)
    seed, kind, take = job
    rng = np.random.default_rng([seed, take])
    spec = replace(
        random_spec(seed, kind, over="none", glare=0.0),
        seed=seed * _TAKES + take, work_seed=seed, tilt_deg=float(rng.normal(-5, 6)), pan_deg=float(rng.normal(0, 5)),
        roll_deg=float(rng.normal(0, 3)), fill=float(rng.uniform(0.6, 0.9)), falloff=float(rng.uniform(0.05, 0.3)),
        motion_px=float(rng.uniform(4, 16)) if take == 1 else 0.0,
    )  # fmt: skip
    photo = read_photo(encode_jpeg(render(spec, _LONG_PX), spec.jpeg_quality))
    outline = find_outline(photo)
    if isinstance(outline, Declined) or outline.confidence < SURE:
        return None
    plan, _, _ = make_plan(photo, outline, Wishes())
    return JobRecord(
        job=f"{seed}-{take}", photo=f"{seed}.jpg", sha256="", outcome="ready", plan=plan,
        likeness=likeness(planned(photo, plan).whole), taken_at=f"2026-05-01T10:{take:02d}:00",
    )  # fmt: skip


def score_takes(works: int, first: int = TAKES_SEEDS, processes: int = 2) -> tuple[int, int, int]:
    """Photograph `works` works three times; prints and returns pairs rightly found, works merged, takes split."""
    jobs = [(first + k, _KINDS[k % len(_KINDS)], take) for k in range(works) for take in range(_TAKES)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        records = [record for record in pool.map(_record, jobs, chunksize=1) if record is not None]
    found = merged = split = 0
    for one, two in itertools.combinations(records, 2):
        said, true = same_work(look_of(one), look_of(two)), one.photo == two.photo
        found += said and true
        merged += said and not true
        split += true and not said
        if said != true:
            print(f"  {one.job} and {two.job}: {'merged' if said else 'split'}")
    score = 2 * found / max(2 * found + merged + split, 1)
    print(f"{len(records)} of {len(jobs)} takes passed: {found} pairs found", end="")
    print(f", {merged} merged, {split} split, F1 {score:.3f}")
    return found, merged, split
