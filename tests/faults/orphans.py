"""`python -m tests.faults.orphans --times 50`: the service is killed at random moments; its workers must go with it.

A second service is started beside it each time, and must end with a clear message. Two seconds after the kill no worker
may be left, in whatever state it was, one in three stopped by SIGSTOP; and the next service must get the lock. Linux.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from tests.faults.bombs import is_worker, workers_of
from tests.faults.small import Trial, studio_in, until

_GONE_S = 2.0
_ANOTHER = 3  # the exit code


@dataclass
class Orphans:
    """Kills; workers that were there then, and how many of them had been stopped; what was wrong."""

    kills: int = 0
    workers: int = 0
    stopped: int = 0
    refused: int = 0
    wrong: list[str] = field(default_factory=list)


def kill_services(folder: Path, times: int, seed: int) -> Orphans:
    """Kill the service of a new studio so often; then let it finish."""
    trial, rng, found = Trial(studio_in(folder, "workers = 2\n")), random.Random(seed), Orphans()
    for number in range(times):
        trial.more(max(0, 4 - (len(trial.put) - trial.done())))
        trial.start()
        assert trial.process is not None
        if not until(trial.listens, 30, 0.02):
            found.wrong.append(f"start {number} did not get so far: {trial.said()}")
            break
        found.wrong += _second(trial)
        found.refused += 1
        time.sleep(rng.uniform(0, 1.5))
        workers = workers_of(trial.process.pid)
        if number % 3 == 0:
            for worker in workers:
                os.kill(worker, signal.SIGSTOP)
                found.stopped += 1
        trial.kill()
        found.kills += 1
        found.workers += len(workers)
        until(partial(_none_left, workers), _GONE_S, 0.02)
        left = [worker for worker in workers if is_worker(worker)]
        found.wrong += [f"a worker is left after {_GONE_S:.0f} s"] * len(left)
    found.wrong += trial.finish(90)
    return found


def _none_left(workers: list[int]) -> bool:
    return not any(map(is_worker, workers))


def _second(trial: Trial) -> list[str]:
    command = [sys.executable, "-m", "autoprep", "watch", "--quiet", "--config", str(trial.settings.studio)]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    told = "another Autoprep is at work" in ended.stderr and "Traceback" not in ended.stderr
    clear = ended.returncode == _ANOTHER and told
    return [] if clear else [f"a second service ended with {ended.returncode}: {ended.stderr}"]


def main() -> None:
    """Kill and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        found = kill_services(Path(folder) / "studio", given.times, given.seed)
    print(f"{found.kills} kills with {found.workers} workers, {found.stopped} of them stopped; "
          f"{found.refused} second services")  # fmt: skip
    print(f"{len(found.wrong)} things wrong", *found.wrong, sep="\n")


if __name__ == "__main__":
    main()
