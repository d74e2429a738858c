"""What comes of sheets on clipboards and boards, and in clear sleeves: `python -m tests.lab carried --photos 60`.

The sheet is the work, neither its board nor the film around it.
"""

import multiprocessing
from collections import Counter

from .carriers import CARRIERS
from .cut import Cut, looked_at, told
from .score import SURE
from .spec import carried_spec

CARRIED_SEEDS = 21600
PAPER = ("pencil", "ink", "watercolour", "toned", "coloured", "notebook")


def _job(job: tuple[int, str, str, bool]) -> Cut:
    return looked_at(carried_spec(*job))


def score_carried(photos: int, first: int = CARRIED_SEEDS, rough: bool = False, processes: int = 2) -> list[Cut]:
    """Score so many sheets, carried by each thing in turn; prints right, passed, wrong, and by what carries them."""
    jobs = [(first + k, PAPER[k // 3 % len(PAPER)], CARRIERS[k % len(CARRIERS)], rough) for k in range(photos)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(_job, jobs, chunksize=1)
    for carrier in CARRIERS:
        mine = [row for row, job in zip(rows, jobs, strict=True) if job[2] == carrier]
        said = Counter(
            ("passed" if row.confidence >= SURE else "asked") + (" right" if row.overlap > 0.95 else " wrong")
            for row in mine
        )
        print(f"{carrier}: {dict(said)}")
    told("sheets that something carries", rows)
    return rows
