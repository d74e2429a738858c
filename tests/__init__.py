"""Tests of all of Autoprep, and the lab that makes their photos.

They start hundreds of processes, and where Python is told to keep no bytecode each compiles all modules anew: a third
of a worker's start. It is kept here all the same, but for this run alone and outside of the checkout.
"""

import atexit
import contextlib
import os
import shutil
import sys
import sysconfig
import tempfile
from pathlib import Path

# Where Linux keeps files in memory; the room that a small studio may need there, and a run's bytecode.
BYTECODE = "autoprep-bytecode-"
_MEMORY, _ROOM_BYTES, _ROOM_FOR_BYTECODE = "/dev/shm", 1 << 26, 1 << 28


def memory_folder(room_bytes: int = _ROOM_BYTES) -> str | None:
    """A place whose files no disk slows down, as tempfile takes it; None where the system has none, or little room.

    For tests that make and remove thousands of files and mean the order of the service's steps, not the disk's ways.
    """
    there = os.access(_MEMORY, os.W_OK) and shutil.disk_usage(_MEMORY).free >= room_bytes
    return _MEMORY if there else None


def _take_over(folder: Path) -> None:
    """Link what is compiled already, of the installed packages and of Python itself.

    Where bytecode has a place of its own, Python looks for all of it there, and each process of a run would compile
    some thousand modules at its start that lie compiled beside their source. A link to what is out of date is replaced
    like any other file.
    """
    for root in {sysconfig.get_path(name) for name in ("purelib", "platlib", "stdlib")}:
        for place, below, names in os.walk(root):
            # What lies within is another root, or tests that nobody imports.
            below[:] = [name for name in below if name not in ("site-packages", "test", "tests")]
            if os.path.basename(place) == "__pycache__":
                target = folder / Path(place).parent.relative_to("/")
                target.mkdir(parents=True, exist_ok=True)
                for name in names:
                    with contextlib.suppress(FileExistsError):  # compiled since: looking for places loads modules too
                        os.symlink(os.path.join(place, name), target / name)


def _clear(place: Path) -> None:
    """Remove what killed runs have left: a run's folder bears the number of its process, and none has that now."""
    if os.name != "posix":  # elsewhere asking for a process may end it
        return
    for folder in place.glob(f"{BYTECODE}*-*"):
        number = folder.name.removeprefix(BYTECODE).partition("-")[0]
        try:
            os.kill(int(number), 0)
        except ProcessLookupError:
            shutil.rmtree(folder, ignore_errors=True)
        except (OSError, ValueError, OverflowError):  # it is another user's, or no number
            continue


# As a worker of the service has it: where two or three processes run tests side by side, threads of their own would
# only wait for each other, and that takes a tenth of all CPU time. NumPy counts its threads when it is loaded.
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

if sys.dont_write_bytecode and "PYTHONPYCACHEPREFIX" not in os.environ:
    # Thousands of links: a disk takes seconds for them.
    _place = memory_folder(_ROOM_FOR_BYTECODE) or tempfile.gettempdir()
    _clear(Path(_place))
    sys.pycache_prefix = tempfile.mkdtemp(prefix=f"{BYTECODE}{os.getpid()}-", dir=_place)
    sys.dont_write_bytecode = False
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix  # for the processes that this one starts
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    atexit.register(shutil.rmtree, sys.pycache_prefix, ignore_errors=True)
    with contextlib.suppress(OSError, ValueError):  # a system without links, or with drives: all is compiled once
        _take_over(Path(sys.pycache_prefix))
