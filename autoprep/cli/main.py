"""One command from its words to its exit code, and what becomes of errors."""

import argparse
import contextlib
import errno
import os
import sys
from collections.abc import Callable
from importlib import import_module

from autoprep.cli.arguments import parsed
from autoprep.errors import AlreadyRunning, AutoprepError, ConfigError, UsageError, no_way
from autoprep.logs import plain


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    with contextlib.suppress(AttributeError, ValueError, OSError):  # names from the disk need be no text
        sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    try:
        options = parsed(arguments)
        if any(getattr(options, form, False) for form in ("json", "csv")):
            _in_utf8()
        code = int(_function(options.run)(options))
        if sys.stdout is not None:
            sys.stdout.flush()  # here, where what comes of it can be told
        return code
    except AutoprepError as problem:
        return _complain(problem, 3 if isinstance(problem, AlreadyRunning) else 2)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has seen enough
        _hush()
        return 0
    except Exception as problem:
        said = _reason(problem)
        if not said:
            raise
        return _complain(UsageError(said), 1)


def _reason(problem: Exception) -> str:
    """Why a command could do no more, where that is no fault of its own; empty where it may be."""
    if no_way(problem):
        return no_way(problem)
    if _busy(problem):
        return f"the ledger can't be used just now ({problem}); try it again in a moment"
    told = isinstance(problem, OSError) and problem.errno in (errno.ENOSPC, errno.EBADF, errno.EIO)
    if not isinstance(problem, OSError) or not told or problem.filename is not None:
        return ""
    _hush()
    return f"what was to be said could not be written: {problem.strerror}"


def _in_utf8() -> None:
    """What goes into a file or to a program is UTF-8, whatever a terminal here is given: it is read back as that."""
    with contextlib.suppress(AttributeError, ValueError, OSError):
        if not sys.stdout.isatty():
            sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]


def _busy(problem: Exception) -> bool:
    """Whether the ledger could not be read or written to; what it needs is loaded only where there was one."""
    library = sys.modules.get("sqlite3")
    return library is not None and isinstance(problem, library.OperationalError)


def _hush() -> None:
    """Nothing more is written: else the end of the process would complain once more."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _function(run: str) -> Callable[[argparse.Namespace], int]:
    """The command's function by its module and name; what the other commands need is not loaded."""
    module, _, name = run.partition(".")
    found: Callable[[argparse.Namespace], int] = getattr(import_module(f"autoprep.cli.{module}"), name)
    return found


def _complain(problem: Exception, code: int) -> int:
    # Of the settings all mistakes are told at once, a line each; nothing else is told in more than one.
    lines = str(problem).split("\n") if isinstance(problem, ConfigError) else [str(problem)]
    print("autoprep: " + "\n".join(plain(line) for line in lines), file=sys.stderr)
    return code
