"""Where Python is told to keep no bytecode, a run of tests keeps it outside of the checkout, until the run ends."""

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import structlog

import tests

_RUN = """
import subprocess, sys, tests
subprocess.run([sys.executable, "-c", "import autoprep.errors, structlog"], check=True)
from importlib.util import cache_from_source
from pathlib import Path
place = Path(sys.argv[1])
print(sys.pycache_prefix)
print(sum(path.parent.name == "autoprep" and "errors" in path.name for path in Path(sys.pycache_prefix).rglob("*.pyc")))
print(Path(cache_from_source(place)).is_symlink())
"""


_BARE = {name: value for name, value in os.environ.items() if name != "PYTHONPYCACHEPREFIX"} | {
    "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": ".",
}  # fmt: skip
_ROOT = Path(__file__).parents[1]


def test_what_a_killed_run_has_left_goes_with_the_next(tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    command = [sys.executable, "-c", "import sys, tests; print(sys.pycache_prefix)"]

    def run() -> Path:
        said = subprocess.run(command, cwd=_ROOT, env=_BARE, capture_output=True, text=True, check=True).stdout
        return Path(said.strip()).parent

    place = run()
    left = {place / f"{tests.BYTECODE}{number}-{tmp_path.name}": number for number in (ended.pid, os.getpid())}
    try:
        for folder in left:
            (folder / "work").mkdir(parents=True)
        run()
        assert [number for folder, number in left.items() if folder.exists()] == [os.getpid()]
    finally:
        for folder in left:
            shutil.rmtree(folder, ignore_errors=True)


def test_processes_of_a_run_share_compiled_modules() -> None:
    installed = Path(structlog.__file__)
    said = subprocess.run(
        [sys.executable, "-c", _RUN, str(installed)],
        cwd=_ROOT,
        env=_BARE,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    folder, compiled, taken_over = Path(said[0]), int(said[1]), said[2] == "True"
    assert compiled == 1  # by the process that was started: the first one never imports it
    # What was compiled when it was installed is not compiled again: a new file would stand in the link's place.
    beside = Path(importlib.util.cache_from_source(str(installed))).name
    assert taken_over == (installed.parent / "__pycache__" / beside).exists()
    assert not folder.exists()
