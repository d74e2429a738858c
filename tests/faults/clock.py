"""`python -m tests.faults.clock`: the clock jumps under the running service, by a day and by ten years, to and fro.

Every jump comes while a job runs, and a photo arrives after it. The clock of the wall alone is moved, as somebody who
sets the time moves it; what the system tells of files stays as it is. Linux, with libfaketime from the test extra.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from tests.faults.small import Trial, events, studio_in

DAY = 86_400
JUMPS = (DAY, -DAY, 3650 * DAY, -3650 * DAY, 3600, -3600)
"""Seconds, each from the true time."""


def library() -> Path | None:
    """The library that stands before the system's clock; None where there is none."""
    try:
        import libfaketime
    except ImportError:
        return None
    return next(Path(libfaketime.__file__).parent.rglob("libfaketime.so*"), None)


def moved_by(clock: Path) -> dict[str, str]:
    """The environment of a process whose wall clock is off by the seconds that this file says."""
    return {
        "LD_PRELOAD": str(library()), "FAKETIME_TIMESTAMP_FILE": str(clock), "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1", "NO_FAKE_STAT": "1",
    }  # fmt: skip


def jump(folder: Path, jumps: tuple[int, ...]) -> tuple[int, list[str]]:
    """One life of the service under so many jumps: photos, and what was wrong."""
    trial, clock = Trial(studio_in(folder)), folder / "clock"
    clock.write_text("+0\n", encoding="ascii")
    trial.environment = moved_by(clock)
    trial.start()
    wrong: list[str] = []
    for number, seconds in enumerate(jumps):
        trial.more(1)
        if not _until(partial(_begun, trial, 2 * number)):
            wrong.append(f"the jump by {seconds} s came when nothing was begun")
        clock.write_text(f"{seconds:+d}\n", encoding="ascii")
        trial.more(1)
        if not _until(lambda: trial.done() == len(trial.put)):
            wrong.append(f"after a jump by {seconds} s a photo did not come out within 45 s")
    wrong += trial.finish(60)
    started = len(events(trial.settings, "started"))
    wrong += [] if started == len(trial.put) else [f"{started} jobs for {len(trial.put)} photos"]
    days = {event["timestamp"][:10] for name in ("started", "finished") for event in events(trial.settings, name)}
    wrong += [] if len(days) > 1 or max(map(abs, jumps)) < DAY else ["the clock did not move"]
    return len(trial.put), wrong


def _begun(trial: Trial, before: int) -> bool:
    return len(events(trial.settings, "started")) > before


def _until(done: Callable[[], bool], limit_s: float = 45) -> bool:
    limit = time.monotonic() + limit_s
    while time.monotonic() < limit:
        if done():
            return True
        time.sleep(0.1)
    return False


def main() -> None:
    """Jump and print."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    with tempfile.TemporaryDirectory() as folder:
        photos, wrong = jump(Path(folder) / "studio", JUMPS)
    print(f"{len(JUMPS)} jumps, {photos} photos, {wrong or 'nothing wrong'}")


if __name__ == "__main__":
    main()
