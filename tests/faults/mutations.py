"""`python -m tests.faults.mutations --files 100000 --processes 2`: damaged files of eight kinds, and how each ends.

Two thirds have lost a part, one third have other bytes (tests/files/test_mutations.py says how, and makes a dose). No
file may end a reader, and none that has lost a part may be taken for whole; that is told, and the exit code is 1.
"""

import argparse
import multiprocessing
import sys
from collections import Counter
from functools import cache

from tests.files.test_mutations import CHANGED, FORMATS, LOST, endings, whole_files

_PIECE = 120  # files that one call makes: enough to pay for handing them over
_FIRST_SEED = 1_000_000  # beyond the seeds of the tests
Ending = tuple[str, str, str]
"""Format, what was done to the file, and how it ended."""


def mutations(files: int, processes: int) -> Counter[Ending]:
    """How so many damaged files end, counted."""
    pieces = [(name, ways, k) for name in FORMATS for ways in (LOST, LOST, CHANGED) for k in range(_pieces(files))]
    orders = [(name, ways is LOST, _FIRST_SEED + seed) for seed, (name, ways, _) in enumerate(pieces)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return sum(pool.imap_unordered(_piece, orders), Counter[Ending]())


def _pieces(files: int) -> int:
    return -(-files // (3 * len(FORMATS) * _PIECE))


@cache
def _files() -> dict[str, bytes]:
    return whole_files()


def _piece(order: tuple[str, bool, int]) -> Counter[Ending]:
    name, lost, seed = order
    found = endings(_files()[name], LOST if lost else CHANGED, seed, _PIECE)
    return Counter({(name, way.removeprefix("_"), end): count for (way, end), count in found.items()})


def wrong(found: Counter[Ending]) -> dict[Ending, int]:
    """What has lost a part and was taken for whole."""
    lost = {way.__name__.removeprefix("_") for way in LOST}
    return {key: count for key, count in found.items() if key[1] in lost and key[2] == "unseen"}


def main() -> int:
    """Damage, read, print a table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    found = mutations(given.files, given.processes)
    ends = ("waits", "set aside", "asked", "whole", "unseen")
    print(f"{'':18}{'':20}" + "".join(f"{end:>11}" for end in ends))
    for name, way in sorted({key[:2] for key in found}):
        print(f"{name:18}{way:20}" + "".join(f"{found[name, way, end]:11}" for end in ends))
    print(f"{found.total()} files, {sum(wrong(found).values())} that have lost a part taken for whole")
    return 1 if wrong(found) else 0


if __name__ == "__main__":
    sys.exit(main())
