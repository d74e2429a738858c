"""Plants each mistake in a copy of the project and runs the tests: `python -m tests.mutants [--sample N --seed S]`."""

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from .planted import PLANTED, Mistake

_ROOT = Path(__file__).resolve().parents[2]
_COPIED = ("autoprep", "tests", "config", "pyproject.toml", "README.md", "DEVELOPERS.md", "deploy", ".ci")
_LIMIT_S = 900


def survives(mistake: Mistake, thorough: bool) -> bool:
    """Whether the tests next to a planted mistake pass with it; thorough: then all quick tests too."""
    with tempfile.TemporaryDirectory() as kept:
        copy = Path(kept) / "project"
        copy.mkdir()
        for name in _COPIED:
            _copied(_ROOT / name, copy / name)
        file = copy / mistake.file
        text = file.read_text(encoding="utf-8")
        assert text.count(mistake.old) == 1, f"{mistake.name}: its place stands {text.count(mistake.old)} times"
        file.write_text(text.replace(mistake.old, mistake.new), encoding="utf-8")
        near = [name for name in mistake.tests if (copy / name).exists()]
        return _passes(copy, near) and (not thorough or _passes(copy, ["tests"]))


def _copied(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
    elif source.exists():
        shutil.copyfile(source, target)


def _passes(copy: Path, tests: list[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:randomly", "-m", "not slow", *tests]
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, timeout=_LIMIT_S, check=False)
    except subprocess.TimeoutExpired:
        return False  # a service that never comes to rest is noticed
    return done.returncode == 0


def main() -> int:
    """Runs all, or some; the exit code is 1 where one survives."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--sample", type=int, help="only so many, drawn at random")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", help="only those whose name or file holds this")
    parser.add_argument("--thorough", action="store_true", help="run all quick tests where those nearby pass")
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    chosen = [m for m in PLANTED if not given.only or given.only in m.name or given.only in m.file]
    if given.sample:
        chosen = random.Random(given.seed).sample(chosen, min(given.sample, len(chosen)))
    began = time.monotonic()
    with ThreadPoolExecutor(given.jobs) as pool:
        verdicts = list(pool.map(lambda mistake: survives(mistake, given.thorough), chosen))
    for mistake, alive in zip(chosen, verdicts, strict=True):
        print(f"{'SURVIVES' if alive else 'killed  '}  {mistake.file}: {mistake.name}")
    print(f"{verdicts.count(False)} of {len(chosen)} killed in {time.monotonic() - began:.0f} s")
    return int(any(verdicts))


if __name__ == "__main__":
    sys.exit(main())
