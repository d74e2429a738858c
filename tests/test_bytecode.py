"""Where Python is told to keep no bytecode, a run of tests keeps it outside of the checkout, until the run ends."""

import os
import subprocess
import sys
from pathlib import Path

_RUN = """
import subprocess, sys, tests
subprocess.run([sys.executable, "-c", "import autoprep.errors"], check=True)
print(sys.pycache_prefix)
print(sum("errors" in path.name for path in __import__("pathlib").Path(sys.pycache_prefix).rglob("*.pyc")))
"""


def test_processes_of_a_run_share_compiled_modules() -> None:
    bare = {name: value for name, value in os.environ.items() if name != "PYTHONPYCACHEPREFIX"}
    bare |= {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": "."}
    said = subprocess.run(
        [sys.executable, "-c", _RUN],
        cwd=Path(__file__).parents[1],
        env=bare,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    folder, compiled = Path(said[0]), int(said[1])
    assert compiled == 1  # by the process that was started: the first one never imports it
    assert not folder.exists()
