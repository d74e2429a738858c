"""`python -m tests.faults.full --fills 60`: the disk is filled at random moments, and freed again.

The whole studio lies on a small disk. Photos arrive, and all but a few kilobytes are taken away while they are worked
on, for one to four seconds, again and again. No finished picture may be torn meanwhile; once there is room all must
come out by itself within a minute, with no try lost. `--ext4`: not in memory; `--min-free`: so many MB
must be free before anything begins. Linux, with the right to mount.
"""

import argparse
import errno
import os
import random
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.mounts import in_own_mounts, mount_ext4, mount_memory, unmount
from tests.faults.small import Trial, events, studio_in, until

_SIZE_MB = 48
_PHOTOS, _FILLS = 4, 5  # of one round
_LEFT_KB = (0, 0, 4, 16, 64, 256)  # free after a fill
_AGAIN_S = 60.0


@dataclass
class Full:
    """Fills, those in which a job ran, the longest time in seconds until all came out; what was wrong."""

    fills: int = 0
    in_mid_job: int = 0
    photos: int = 0
    longest_s: float = 0.0
    complaints: int = 0
    wrong: list[str] = field(default_factory=list)


def fill_often(folder: Path, fills: int, seed: int, min_free_mb: float) -> Full:
    """Fill the disk on which this folder lies so often, some times in each round."""
    trial = Trial(studio_in(folder, f"min_free_mb = {min_free_mb}\n"))
    rng, found, began = random.Random(seed), Full(), time.monotonic()
    trial.start()
    until(trial.listens, 30)
    while found.fills < fills and trial.alive and not found.wrong:
        trial.more(_PHOTOS)
        for _ in range(min(_FILLS, fills - found.fills)):
            time.sleep(rng.uniform(0, 1.5))
            before = len(events(trial.settings, "started"))
            _fill(folder, rng.choice(_LEFT_KB) * 1024)
            found.fills += 1
            found.in_mid_job += before > len(events(trial.settings, "finished"))
            time.sleep(rng.uniform(1, 4))
            found.wrong += trial.torn()
            (folder / "fill").unlink()
        freed = time.monotonic()
        if not until(lambda: trial.done() >= len(trial.put) or not trial.alive, _AGAIN_S):
            found.wrong.append(f"{len(trial.put) - trial.done()} photos did not come out {_AGAIN_S:.0f} s later")
        found.longest_s = max(found.longest_s, time.monotonic() - freed)
    found.photos = len(trial.put)
    found.wrong += trial.finish(90)
    # What a job met is told of each; what keeps anything from beginning, once a minute.
    told = [event for name in ("waiting", "waiting for space") for event in events(trial.settings, name)]
    found.complaints = sum("job" not in event for event in told)
    minutes = (time.monotonic() - began) / 60
    found.wrong += [f"{found.complaints} complaints in {minutes:.1f} minutes"] * (found.complaints > minutes + 1)
    found.wrong += [f"a try was lost: {event}" for event in events(trial.settings, "failed")]
    return found


def _fill(folder: Path, left: int) -> None:
    """Take all room but so many bytes, with whatever else is written meanwhile."""
    with (folder / "fill").open("wb", buffering=0) as file:
        for size in (1 << 20, 1 << 16, 1 << 12):
            try:
                while _free(folder) - left >= size:
                    file.write(bytes(size))
            except OSError as problem:
                if problem.errno != errno.ENOSPC:
                    raise


def _free(folder: Path) -> int:
    told = os.statvfs(folder)
    return told.f_bavail * told.f_frsize


def main() -> None:
    """Fill and print."""
    in_own_mounts("tests.faults.full")
    parser = argparse.ArgumentParser()
    parser.add_argument("--fills", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ext4", action="store_true")
    parser.add_argument("--min-free", type=float, default=0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        disk = Path(folder) / "disk"
        (mount_ext4 if given.ext4 else mount_memory)(disk, _SIZE_MB)
        try:
            found = fill_often(disk / "studio", given.fills, given.seed, given.min_free)
        finally:
            unmount(disk)
    print(f"{found.fills} fills, {found.in_mid_job} while a job ran; {found.photos} photos, all out at most "
          f"{found.longest_s:.0f} s after there was room; {found.complaints} complaints")  # fmt: skip
    print(f"{len(found.wrong)} things wrong", *found.wrong, sep="\n")


if __name__ == "__main__":
    main()
