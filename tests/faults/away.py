"""`python -m tests.faults.away --times 20`: the inbox goes away under the running service, and comes back.

In turn it is renamed, and an empty disk is mounted in its place, as where a share is not connected. One photo comes
before, one while it is away, one after it is back. Nothing may be made twice or withdrawn, and what is new must be
begun within two looks. Linux; without the right to mount it is only renamed (`--renamed`).
"""

import argparse
import itertools
import tempfile
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from tests.faults.mounts import in_own_mounts, mount_memory, unmount
from tests.faults.small import Trial, events, studio_in, until

_LOOK_S = 1.0
_AWAY_S = 1.5


@dataclass
class Away:
    """How often it was away, in seconds the longest until a photo after it was begun, photos, and what was wrong."""

    times: int = 0
    longest_s: float = 0.0
    photos: int = 0
    wrong: list[str] = field(default_factory=list)


def go_away(folder: Path, times: int, ways: tuple[str, ...]) -> Away:
    """Take the inbox away so often."""
    trial, found = Trial(studio_in(folder, f"rescan_s = {_LOOK_S}\n")), Away()
    inbox, elsewhere = trial.settings.folders.inbox, folder / "elsewhere"
    trial.start()
    until(trial.listens, 30)
    for way, _ in zip(itertools.cycle(ways), range(times), strict=False):
        trial.more(1)
        found.wrong += [] if until(lambda: _all_done(trial), 60) else ["a photo before it did not come out"]
        made = _made(trial)
        if way == "renamed":
            inbox.rename(elsewhere)
        else:
            mount_memory(inbox, 1)
        time.sleep(_AWAY_S)
        if way == "renamed":
            trial.more(1, elsewhere)
            elsewhere.rename(inbox)
        else:
            unmount(inbox)
        found.wrong += [] if until(lambda: _all_done(trial), 60) else ["a photo that came meanwhile did not come out"]
        before, began = len(events(trial.settings, "started")), time.monotonic()
        trial.more(1)
        begun = until(partial(_begun, trial, before), 30, 0.05)
        found.longest_s = max(found.longest_s, time.monotonic() - began)
        found.wrong += [] if begun else ["a photo after it was not begun"]
        now = _made(trial)
        found.wrong += [f"{name} was made again" for name, when in made.items() if now.get(name) != when]
        found.times += 1
    found.photos = len(trial.put)
    found.wrong += trial.finish(60)
    begun_at_all = len(events(trial.settings, "started"))
    found.wrong += [] if begun_at_all == found.photos else [f"{begun_at_all} jobs for {found.photos} photos"]
    return found


def _all_done(trial: Trial) -> bool:
    return trial.done() >= len(trial.put) or not trial.alive


def _begun(trial: Trial, before: int) -> bool:
    return len(events(trial.settings, "started")) > before


def _made(trial: Trial) -> dict[str, int]:
    """The finished pictures, and when each was written."""
    return {place.name: place.stat().st_mtime_ns for place in (trial.settings.folders.ready / "square").glob("*.jpg")}


def main() -> None:
    """Take it away and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--renamed", action="store_true")
    given = parser.parse_args()
    if not given.renamed:
        in_own_mounts("tests.faults.away")
    ways = ("renamed",) if given.renamed else ("renamed", "an empty disk")
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        found = go_away(Path(folder) / "studio", given.times, ways)
    print(
        f"{found.times} times away, {found.photos} photos; one after it was begun after at most {found.longest_s:.1f} s"
    )
    print(f"{len(found.wrong)} things wrong", *found.wrong, sep="\n")


if __name__ == "__main__":
    main()
