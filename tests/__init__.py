"""Tests of all of Autoprep, and the lab that makes their photos.

They start hundreds of processes, and where Python is told to keep no bytecode each compiles all modules anew: a third
of a worker's start. It is kept here all the same, but for this run alone and outside of the checkout.
"""

import atexit
import os
import shutil
import sys
import tempfile

if sys.dont_write_bytecode and "PYTHONPYCACHEPREFIX" not in os.environ:
    sys.pycache_prefix = tempfile.mkdtemp(prefix="autoprep-bytecode-")
    sys.dont_write_bytecode = False
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix  # for the processes that this one starts
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    atexit.register(shutil.rmtree, sys.pycache_prefix, ignore_errors=True)
