"""What several workers do in the time that one takes.

`python -m tests.bench.workers --workers 1 2 16` says how many photos a second so many workers make, beside one. With
`--bare` so many processes do the same jobs besides, each by itself and without a service: no service can do better on
that machine.
"""

import argparse
import multiprocessing
import struct
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import Any

import cv2

from autoprep.cli.studio import make_studio
from autoprep.cli.work import process_all
from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load

from .figures import Bench

DEMO = Path(__file__).parents[2] / "demo_inbox"


def several(workers: int, photos: list[Path], rounds: int) -> float:
    """How many times faster the whole inbox is done, in turns with one worker; medians."""
    ratios = []
    for turn in range(rounds):
        one, many = (_seconds(count, photos, turn) for count in (1, workers))
        ratios.append(one / many)
    return median(ratios)


def rates(workers: list[int], most: int, each: int, photos: list[Path]) -> Iterator[tuple[int, int, float]]:
    """(workers, photos, photos a second) for each number of workers: so many photos each, and at most so many."""
    for count in workers:
        number = min(most, each * count)
        yield count, number, number / _seconds(count, photos, 0, number)


def bare_rate(count: int, each: int, photos: list[Path]) -> float:
    """Photos a second of so many processes that only do jobs, side by side, so many each."""
    spawn = multiprocessing.get_context("spawn")
    ready = spawn.Barrier(count + 1)
    processes = [spawn.Process(target=_jobs, args=(photos, k, each, ready)) for k in range(count)]
    for process in processes:
        process.start()
    ready.wait()
    started = time.perf_counter()
    for process in processes:
        process.join()
    assert all(process.exitcode == 0 for process in processes)
    return count * each / (time.perf_counter() - started)


def _jobs(photos: list[Path], first: int, each: int, ready: Any) -> None:
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        benches = [Bench(photo, Path(folder) / photo.stem, compared=False) for photo in photos]
        ready.wait()
        for k in range(each):
            benches[(first + k) % len(benches)].job()


def _seconds(workers: int, photos: list[Path], turn: int, number: int | None = None) -> float:
    """From the start of the service to its end, for an inbox of these photos, over and over until there are enough."""
    with tempfile.TemporaryDirectory() as folder:
        studio = Path(folder)
        (studio / "config").mkdir()
        text = f'[artist]\nname = "Wren Halloway"\n[service]\nsettle_s = 0.1\nworkers = {workers}\n'
        (studio / "config" / "autoprep.toml").write_text(text, encoding="utf-8")
        make_studio(studio)
        settings = load(studio / "config" / "autoprep.toml")
        for k in range(number or len(photos)):
            photo, again = photos[k % len(photos)], k // len(photos)
            named = settings.folders.inbox / f"{photo.stem}{f' {again}' if again else ''}{photo.suffix}"
            named.write_bytes(_other_bytes(photo.read_bytes(), turn + again))
        started = time.perf_counter()
        process_all(settings, show=False)
        seconds = time.perf_counter() - started
        ledger = Ledger(ledger_path(settings))
        made = ledger.overview.outcomes().get("ready", 0)
        ledger.close()
        # Two in ten of the demo photos are takes of the same work, and one in ten may be asked about.
        assert made >= 0.7 * (number or len(photos)), f"only {made} photos were made"
        return seconds


def _other_bytes(jpeg: bytes, number: int) -> bytes:
    """The same picture as another file, of another year: else it would be another take of the same work."""
    jpeg = jpeg[:4096].replace(b"2026:", b"%04d:" % (2026 - number)) + jpeg[4096:]
    words = f"copy {number}".encode()
    return jpeg[:2] + b"\xff\xfe" + struct.pack(">H", len(words) + 2) + words + jpeg[2:]


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.workers", description=__doc__)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--each", type=int, default=20, help="photos for each worker")
    parser.add_argument("--photos", type=int, default=200, help="at most so many")
    parser.add_argument("--bare", action="store_true", help="the same without a service")
    given = parser.parse_args()
    if given.bare:
        # Three of which none is a question.
        photos = [DEMO / f"IMG_{number}.jpg" for number in (2041, 2058, 2066)]
        alone = [bare_rate(count, given.each, photos) for count in given.workers]
        for count, rate in zip(given.workers, alone, strict=True):
            print(f"{count:3} processes by themselves: {rate:.2f} a second, {rate / alone[0]:.2f} times the first")
    one = 0.0
    for count, number, rate in rates(given.workers, given.photos, given.each, sorted(DEMO.glob("*.jpg"))):
        one = one or rate
        print(f"{count:3} workers, {number} photos: {rate:.2f} a second, {rate / one:.2f} times the first")


if __name__ == "__main__":
    main()
