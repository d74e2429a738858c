"""`python -m tests.faults.deaths`: workers of the running service die, or are stopped, while they start, wait and work.

By SIGKILL and SIGSEGV, `--times` in each state: every photo must come out, the service must stay the same process, and
where a worker starts or waits its death must cost no photo a try. `--stops 40`: by SIGSTOP instead, while the only
worker works and while it waits; it must be gone a second after its photo's time is over. `--poison`: one photo of which
each worker dies, among good ones, for each signal: it alone is set aside, after three tries, with the signal's name.
Linux.
"""

import argparse
import contextlib
import os
import random
import signal
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from PIL import Image

from tests import photos
from tests.bench.history import memory_of
from tests.faults.bombs import is_worker, workers_of
from tests.faults.small import Trial, events, studio_in, until

# Those first that cost no photo a try: what failed once is tried again at any moment after.
MEETINGS = tuple(
    (state, how) for state in ("starting", "waiting", "working") for how in (signal.SIGKILL, signal.SIGSEGV)
)
_LIMIT_S = 4.0  # of a job whose worker is stopped; a small one takes one second
_LARGE_MB = 400  # a worker that has the large photo holds more; one with a small photo about half


@dataclass
class Deaths:
    """How often a worker was met in which state by which signal; how late stopped ones were killed; what was wrong."""

    met: Counter[str] = field(default_factory=Counter)
    late_s: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def die_often(folder: Path, times: int, seed: int) -> Deaths:
    """So many deaths of each kind, in one life of a service."""
    trial, rng, found = Trial(studio_in(folder, "workers = 2\nattempts = 20\n")), random.Random(seed), Deaths()
    trial.start()
    until(trial.listens, 30)
    for state, how in [meeting for meeting in MEETINGS for _ in range(times)]:
        if trial.alive and not found.wrong:
            _meet(trial, state, how, rng, found)
    found.wrong += _end(trial, 120 + 10 * times)
    return found


def _end(trial: Trial, limit_s: float) -> list[str]:
    """Let the same service end, and another finish, for which what was tried once need not wait half a minute."""
    if not trial.alive:
        return [f"the service ended by itself: {trial.said()}"]
    trial.kill(signal.SIGTERM)
    trial.wait_no_longer()
    return trial.finish(limit_s)


def stop_often(folder: Path, times: int) -> Deaths:
    """Stop the only worker so often, in turn while it works and while it waits."""
    trial = Trial(studio_in(folder, f"workers = 1\nattempts = 20\njob_limit_s = {_LIMIT_S}\n"))
    found = Deaths()
    trial.start()
    assert trial.process is not None
    service = trial.process.pid
    until(trial.listens, 30)
    for number in range(times):
        if not trial.alive or found.wrong:
            break
        if number % 2:
            _one_waits(trial, service)
        else:
            begun = len(events(trial.settings, "stage"))
            trial.more(1)
            until(partial(_more_than, trial, "stage", begun), 60, 0.02)
        workers, started = workers_of(service), len(events(trial.settings, "started"))
        for worker in workers:
            _send(worker, signal.SIGSTOP)
        trial.more(1)  # what comes now is given to one that waits
        if number % 2:
            until(partial(_more_than, trial, "started", started), 20, 0.02)
        sent = time.monotonic()
        gone = until(partial(_gone, workers), _LIMIT_S + 20, 0.02)
        found.late_s.append(time.monotonic() - sent - _LIMIT_S)
        found.wrong += [] if gone else [f"stop {number}: a stopped worker is there still"]
        found.wrong += [] if until(lambda: not _open(trial), 90) else [f"stop {number}: {sorted(_open(trial))} waits"]
        found.met["waiting" if number % 2 else "working"] += len(workers)
    # At the end a job may take longer, as on a busy machine it does.
    own = trial.settings.config_file
    own.write_text(own.read_text(encoding="utf-8").replace(f"{_LIMIT_S}", "60"), encoding="utf-8")
    found.wrong += _end(trial, 120 + 10 * times)
    return found


def _one_waits(trial: Trial, service: int) -> None:
    """A photo has come out, and its worker is there."""
    until(lambda: not _open(trial), 60)
    while trial.alive and not workers_of(service):
        trial.more(1)
        until(lambda: not _open(trial), 60)


def _more_than(trial: Trial, event: str, before: int) -> bool:
    return len(events(trial.settings, event)) > before


def _gone(workers: list[int]) -> bool:
    return not any(map(is_worker, workers))


def _meet(trial: Trial, state: str, how: signal.Signals, rng: random.Random, found: Deaths) -> None:
    """Send one signal to the workers in this state, and see what follows."""
    workers = _workers_in(trial, state, rng)
    before = len(events(trial.settings, "failed"))
    for worker in workers:
        _send(worker, how)
    if state == "waiting":
        trial.more(2)
    if not until(lambda: not _open(trial), 60):
        found.wrong.append(f"{state}, {how.name}: {sorted(_open(trial))} neither came out nor failed")
    if len(events(trial.settings, "failed")) > before and state != "working":
        told = [event["reason"] for event in events(trial.settings, "failed")[before:]]
        found.wrong.append(f"{state}, {how.name}: tries were charged to photos that no worker had: {told}")
    found.met[f"{state}, {how.name}"] += len(workers)


def _workers_in(trial: Trial, state: str, rng: random.Random) -> list[int]:
    """The workers that are in a state now: of all that wait one or both, those that were started just now, or work."""
    assert trial.process is not None
    service, started = trial.process.pid, len(events(trial.settings, "started"))
    if state == "starting":
        for worker in workers_of(service):
            _send(worker, signal.SIGKILL)
        until(lambda: not workers_of(service), 10, 0.01)
    if state != "waiting" or not workers_of(service):
        trial.more(2)
    if state == "starting":
        until(lambda: bool(workers_of(service)), 20, 0.002)
        time.sleep(rng.uniform(0, 0.2))
    elif state == "working":
        until(lambda: len(events(trial.settings, "started")) > started, 20, 0.02)
        time.sleep(rng.uniform(0, 0.4))
    else:
        until(lambda: not _open(trial), 60)
    return workers_of(service)


def _open(trial: Trial) -> set[str]:
    """The photos that have neither an outcome nor a failed try."""
    told = [event["photo"] for name in ("finished", "failed") for event in events(trial.settings, name)]
    return set(trial.put) - set(told)


def _send(worker: int, how: signal.Signals) -> None:
    with contextlib.suppress(ProcessLookupError):  # it has just ended by itself
        os.kill(worker, how)


@dataclass
class Poisoned:
    """Seconds until the poison was set aside, tries, how many good photos came out meanwhile, and what was wrong."""

    seconds: float
    tries: int
    good: int
    wrong: list[str]


def poison(folder: Path, good: int, how: signal.Signals) -> Poisoned:
    """One large photo among good ones; whichever worker has it is killed as the system would for want of memory."""
    trial = Trial(studio_in(folder, "workers = 2\n"))
    trial.more(good // 2)
    large = Image.fromarray(photos.sheet()).resize((8000, 6000))
    large.save(trial.settings.folders.inbox / "page 00000 poison.jpg", "JPEG", quality=85)
    trial.start()
    assert trial.process is not None
    service, began = trial.process.pid, time.monotonic()
    trial.more(good - len(trial.put))

    def over() -> bool:
        for worker in workers_of(service):
            if _holds(worker) > _LARGE_MB:
                _send(worker, how)
        return trial.done() > good or not trial.alive

    ended = until(over, 240 + 2 * good, 0.02)
    seconds = time.monotonic() - began
    wrong = [] if ended and trial.alive else [f"{trial.done()} of {good + 1} came out: {trial.said()}"]
    failed = events(trial.settings, "failed")
    wrong += [f"a try was charged to {event['photo']}" for event in failed if "poison" not in event["photo"]]
    aside = [record for record in trial.records() if record.outcome == "set aside"]
    wrong += [] if [record.photo for record in aside] == ["page 00000 poison.jpg"] else [f"set aside: {aside}"]
    wrong += [f"it says {record.reasons}" for record in aside if how.name not in record.reasons[0]]
    came_out = sum(record.outcome == "ready" for record in trial.records())
    wrong += [] if came_out == good else [f"{came_out} of {good} good photos"]
    trial.kill()
    return Poisoned(seconds, len(failed), came_out, wrong)


def _holds(worker: int) -> float:
    try:
        return memory_of(worker, "VmRSS")
    except OSError:  # it has just ended
        return 0.0


def main() -> None:
    """Let them die and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--good", type=int, default=199)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--stops", type=int, default=0, help="stop the only worker so often")
    parser.add_argument("--poison", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        if given.poison:
            for how in (signal.SIGKILL, signal.SIGSEGV, signal.SIGBUS):
                print(how.name, poison(Path(folder) / how.name, given.good, how), flush=True)
            return
        place = Path(folder) / "studio"
        found = stop_often(place, given.stops) if given.stops else die_often(place, given.times, given.seed)
    print(dict(found.met), f"stopped ones were killed at most {max(found.late_s, default=0):.1f} s late")
    print(f"{len(found.wrong)} things wrong", *found.wrong, sep="\n")


if __name__ == "__main__":
    main()
