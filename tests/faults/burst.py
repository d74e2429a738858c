"""`python -m tests.faults.burst --files 5000`: so many small files at once, and no event of any of them.

One in a hundred is a photo, the others hold no picture: what is measured is finding and telling, not the pictures.
"""

import argparse
import os
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from autoprep.logs import open_log
from autoprep.service.engine import Engine
from tests.bench.history import memory_of
from tests.faults.small import Trial, studio_in

_PHOTOS = 100  # one file in so many is a photo


@dataclass(frozen=True)
class Burst:
    """Seconds until all files were found and until all had an outcome; memory before and at most; what was wrong."""

    found_s: float
    done_s: float
    before_mb: float
    most_mb: float
    outcomes: dict[str, int]
    wrong: list[str]


def burst(folder: Path, files: int, limit_s: float) -> Burst:
    """Put so many files into the inbox of a service at rest that hears of none of them, and let it work."""
    trial = Trial(studio_in(folder))
    engine = Engine(trial.settings, open_log(trial.settings.folders.records, None))
    engine.hints.arm = lambda: True  # type: ignore[method-assign]  # nothing is watched
    try:
        for _ in range(10):
            engine.step(0.2)
        before = memory_of(os.getpid(), "VmRSS")
        trial.more(max(1, files // _PHOTOS))
        words = {
            f"words {number:05}.jpg": b"no picture, but words: %d" % number for number in range(files - len(trial.put))
        }
        for name, data in words.items():
            (trial.settings.folders.inbox / name).write_bytes(data)
        began, found = time.monotonic(), 0.0
        while time.monotonic() - began < limit_s and (not found or not engine.idle):
            engine.step(0.2)
            known = engine.pending + sum(engine.ledger.overview.outcomes().values())
            found = found or (time.monotonic() - began if known >= files else 0.0)
        outcomes, done = engine.ledger.overview.outcomes(), time.monotonic() - began
    finally:
        engine.stop()
    expected = {"ready": len(trial.put), "set aside": len(words)}
    wrong = [] if outcomes == expected else [f"{outcomes} in place of {expected}"]
    return Burst(found, done, before, memory_of(os.getpid(), "VmHWM"), outcomes, wrong)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--files", type=int, default=5000)
    parser.add_argument("--minutes", type=float, default=10)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(burst(Path(folder) / "studio", given.files, limit_s=given.minutes * 60))


if __name__ == "__main__":
    main()
