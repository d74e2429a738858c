"""Where Python is told to keep no bytecode, a run of tests keeps it outside of the checkout, until the run ends."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import structlog

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


def test_processes_of_a_run_share_compiled_modules() -> None:
    bare = {name: value for name, value in os.environ.items() if name != "PYTHONPYCACHEPREFIX"}
    bare |= {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": "."}
    installed = Path(structlog.__file__)
    said = subprocess.run(
        [sys.executable, "-c", _RUN, str(installed)],
        cwd=Path(__file__).parents[1],
        env=bare,
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
