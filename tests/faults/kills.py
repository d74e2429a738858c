"""`python -m tests.faults.kills --kills 300`: the real service is killed at random moments, and started anew.

At the end every photo must have one outcome and one picture, and nothing may be left lying about. About 2 s a kill.
"""

import argparse
import random
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.small import Trial, events, studio_in

_WAITING = 3  # so many photos wait at each start: there is always something to be cut off


@dataclass
class Kills:
    """What was done and what came of it. in_mid_job: kills after which the next start found a job cut off."""

    kills: int = 0
    in_mid_job: int = 0
    parts_cleared: int = 0
    photos: int = 0
    wrong: list[str] = field(default_factory=list)


def kill_often(folder: Path, kills: int, seed: int, limit_s: float = 1e9) -> Kills:
    """Kill the service of a new studio so often, or for so long; then let it finish."""
    trial, rng, found, began = Trial(studio_in(folder)), random.Random(seed), Kills(), time.monotonic()
    while found.kills < kills and time.monotonic() - began < limit_s:
        trial.more(max(0, _WAITING - (len(trial.put) - trial.done())))
        trial.start()
        time.sleep(rng.uniform(0.1, 3.5))
        if not trial.alive:
            found.wrong.append(f"the service ended by itself: {trial.said()}")
            break
        trial.kill()
        found.kills += 1
    found.photos = len(trial.put)
    found.wrong += trial.finish(60 + 5 * _WAITING)
    for event in events(trial.settings, "recovered"):
        found.in_mid_job += bool(event["interrupted_jobs"])
        found.parts_cleared += bool(event["unfinished_files"])
    return found


def main() -> None:
    """Kill, check and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60, help="no more kills after so long")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = kill_often(Path(folder) / "studio", given.kills, given.seed, given.minutes * 60)
    print(f"{found.kills} kills, {found.in_mid_job} in mid-job, {found.parts_cleared} with parts to clear away")
    print(f"{found.photos} photos, {len(found.wrong)} things wrong")
    print("\n".join(found.wrong))


if __name__ == "__main__":
    main()
