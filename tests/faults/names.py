"""`python -m tests.faults.names --each 50`: other photos whose pictures would have the same name.

In pairs: names that differ in capitals alone, in how an accent is written (composed or not), and the same name in two
folders. One of each pair is there when the other comes. Each must have a picture of its own, under a name that is
another one on every file system, also on those that know no capitals. About a second a photo. Linux.
"""

import argparse
import tempfile
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from tests.faults.small import Trial, studio_in, until
from tests.service.test_watch import variants


def pairs(count: int) -> Iterator[tuple[str, str]]:
    """So many pairs of each kind, as paths below the inbox."""
    for number in range(count):
        yield f"Reed {number}.JPG", f"REED {number}.jpg"
        accented = f"Île aux roseaux, no. {number}é.jpg"
        yield unicodedata.normalize("NFC", accented), unicodedata.normalize("NFD", accented)
        yield f"spring/Boat {number}.jpg", f"autumn/Boat {number}.jpg"


def arrive(folder: Path, count: int) -> tuple[int, list[str]]:
    """So many pairs of each kind: photos, and what was wrong."""
    trial, all_of_them = Trial(studio_in(folder, "workers = 2\n")), list(pairs(count))
    photos = iter(variants(2 * len(all_of_them)))
    trial.start()
    until(trial.listens, 30)
    for side in (0, 1):
        for pair in all_of_them:
            trial.put[pair[side]] = next(photos)
            place = trial.settings.folders.inbox / pair[side]
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(trial.put[pair[side]])
        until(lambda: trial.done() >= len(trial.put) or not trial.alive, 60 + 4 * len(all_of_them))
    wrong = trial.finish(30)
    made = [place.name for place in (trial.settings.folders.ready / "square").iterdir()]
    own = {unicodedata.normalize("NFC", name).casefold() for name in made}
    wrong += [] if len(own) == len(trial.put) else [f"{len(own)} names for {len(trial.put)} pictures"]
    return len(trial.put), wrong


def main() -> None:
    """Let them arrive and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=50, help="so many pairs of each kind")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        photos, wrong = arrive(Path(folder) / "studio", given.each)
    print(f"{photos} photos, {len(wrong)} things wrong", *wrong, sep="\n")


if __name__ == "__main__":
    main()
