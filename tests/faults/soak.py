"""`python -m tests.faults.soak --photos 2000`: small photos for as long as one likes, and whether anything grows.

The real service does them a few hundred at a time. After each tenth its memory, its workers' memory, its open files and
what a photo costs on the disk are noted: in the second half none of it may be more than it was in the first.
`--a-day 40`: the clock goes on by a day after so many photos, as in a studio; else all come in one day, whose page and
list grow with them. (Linux, with libfaketime from the test extra.)
"""

import argparse
import os
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from autoprep.wishes.places import ledger_path
from tests.bench.history import memory_of
from tests.faults.clock import DAY, moved_by
from tests.faults.small import Trial, studio_in
from tests.service.test_watch import variants

_WAITING, _PARTS = 200, 10
# What may differ between two halves of a soak: allocators keep what they once needed.
_MORE_MB, _MORE_FILES, _MORE_KB = 12.0, 3, 2.0


@dataclass(frozen=True)
class Moment:
    """After so many photos: MiB of the service and of its largest worker, open files, kB on the disk for each photo."""

    photos: int
    seconds: float
    service_mb: float
    worker_mb: float
    files: int
    ledger_kb: float
    records_kb: float


def soak(folder: Path, photos: int, workers: int, limit_s: float, a_day: int = 0) -> tuple[list[Moment], list[str]]:
    """Let the service do so many photos, in one day or so many a day; what was noted, and what grew or went wrong."""
    trial, clock = Trial(studio_in(folder)), folder / "clock"
    if a_day:
        clock.write_text("+0\n", encoding="ascii")
        trial.environment = moved_by(clock)
    config = trial.settings.config_file
    config.write_text(config.read_text(encoding="utf-8").replace("workers = 1", f"workers = {workers}"), "utf-8")
    (trial.settings.folders.inbox / "note.txt").write_text("outline: whole photo", encoding="utf-8")
    trial.start()
    moments: list[Moment] = []
    put, began = 0, time.monotonic()
    while (done := trial.done()) < photos and trial.alive and time.monotonic() - began < limit_s:
        count = min(_WAITING, photos - put) if put - done < _WAITING else 0
        for number, data in enumerate(variants(count, put), put):
            (trial.settings.folders.inbox / f"page {number:06}.jpg").write_bytes(data)
        put += count
        if a_day:
            clock.write_text(f"{done // a_day * DAY:+d}\n", encoding="ascii")
        if done >= (len(moments) + 1) * photos // _PARTS:
            moments.append(_now(trial, done, time.monotonic() - began))
        time.sleep(0.5)
    if not trial.alive:
        return moments, [f"the service ended by itself: {trial.said()}"]
    moments.append(_now(trial, trial.done(), time.monotonic() - began))
    trial.kill(limit_s=30) if time.monotonic() - began >= limit_s else trial.finish(60)
    ready = len(list((trial.settings.folders.ready / "square").glob("*.jpg")))
    wrong = [] if ready >= min(put, moments[-1].photos) else [f"{ready} pictures of {moments[-1].photos} photos"]
    return moments, wrong + grown(moments)


def grown(moments: list[Moment]) -> list[str]:
    """What was more in the second half than it had been by the end of the first; the first part only warms up."""
    middle = len(moments) // 2
    first, second = moments[1 : middle + 1], moments[middle + 1 :]
    if not first or not second:
        return ["too few photos to tell"]
    limits = {"service_mb": _MORE_MB, "worker_mb": _MORE_MB, "files": _MORE_FILES, "ledger_kb": _MORE_KB}
    limits["records_kb"] = _MORE_KB
    found = []
    for name, more in limits.items():
        before, after = (max(getattr(m, name) for m in part) for part in (first, second))
        found += [f"{name} grew from {before:.1f} to {after:.1f}"] if after > before + more else []
    return found


def _now(trial: Trial, photos: int, seconds: float) -> Moment:
    assert trial.process is not None
    pid = trial.process.pid
    own = [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()]
    records = trial.settings.folders.records
    ledger = sum(path.stat().st_size for path in records.glob(f"{ledger_path(trial.settings).name}*"))
    kept = sum(path.stat().st_size for path in records.rglob("*") if path.is_file()) - ledger
    return Moment(
        photos,
        seconds,
        memory_of(pid, "VmRSS"),
        max((memory_of(child, "VmRSS") for child in own), default=0.0),
        len(os.listdir(f"/proc/{pid}/fd")),
        ledger / 1000 / photos,
        kept / 1000 / photos,
    )


def main() -> None:
    """Soak and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--photos", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--a-day", type=int, default=0, help="photos until the clock goes on by a day")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        moments, wrong = soak(Path(folder) / "studio", given.photos, given.workers, given.minutes * 60, given.a_day)
    for m in moments:
        print(
            f"{m.photos:7} photos, {m.seconds:6.0f} s: service {m.service_mb:.0f} MiB, largest worker "
            f"{m.worker_mb:.0f} MiB, {m.files} files open, "
            f"ledger {m.ledger_kb:.1f} kB and records {m.records_kb:.1f} kB a photo"
        )
    print(f"{len(wrong)} things wrong")
    print("\n".join(wrong))


if __name__ == "__main__":
    main()
