"""`python -m tests.bench`: what the service costs, as ratios to what can't be done without, in one run.

All that is compared is measured in turns, round by round, and ratios are medians over the rounds: they can be compared
between machines and with a machine that is busy; seconds can't. One core, but for the row on several workers. What a
long history costs is measured by `python -m tests.bench.history`.
"""

import argparse
import json
import os
import platform
from pathlib import Path

from .figures import BARS, Figures, measure
from .memory import peaks
from .workers import several

DEMO = Path(__file__).parents[2] / "demo_inbox"


def main() -> None:
    """Measure, print the table, write JSON."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=Path, nargs="*", default=[DEMO / f"IMG_{n}.jpg" for n in (2041, 2058, 2066)])
    parser.add_argument("--rounds", type=int, default=5, help="so often everything is measured in turns")
    parser.add_argument("--skip", choices=("memory", "workers"), nargs="*", default=[])
    parser.add_argument("--out", type=Path, help="file for all figures as JSON")
    given = parser.parse_args()
    figures = measure(given.photos, given.rounds)
    if "memory" not in given.skip:
        figures.add({f"peak memory of a worker, {name}": value for name, value in peaks(given.photos[0]).items()})
    if "workers" not in given.skip and (os.cpu_count() or 1) >= 2:
        figures.add({"2 workers / one": several(2, sorted(DEMO.glob("*.jpg")), max(1, given.rounds // 2))})
    print_table(figures)
    if given.out is not None:
        given.out.write_text(json.dumps(figures.as_json(), indent=1), encoding="utf-8")


def print_table(figures: Figures) -> None:
    """One line a figure, with its bar and goal; then where the seconds of a job go."""
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}")
    print(f"{'figure':<58} {'measured':>9} {'bar':>6} {'goal':>6}")
    for name, value in figures.ratios.items():
        bar, goal = (f"{limit:g}" for limit in BARS[name]) if name in BARS else ("", "")
        print(f"{name:<58} {value:>9.3g} {bar:>6} {goal:>6}")
    print("\nseconds of a whole job on this machine, medians, mean of the photos")
    for name, seconds in figures.seconds.items():
        print(f"  {name:<24} {seconds:6.3f}")


if __name__ == "__main__":
    main()
