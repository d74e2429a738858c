"""The parser of the command line, and what becomes of errors."""

import argparse
import contextlib
import errno
import os
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from autoprep import __version__
from autoprep.errors import AlreadyRunning, AutoprepError, ConfigError, UsageError
from autoprep.logs import plain

_EPILOG = (
    "exit codes: 0 done; 1 something needs attention; 2 wrong use or settings; "
    "3 another Autoprep works in this studio; 130 stopped by Ctrl-C (watch ends with 0)"
)


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = _parser().parse_args(arguments)
    try:
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
        if _busy(problem):
            said = f"the ledger can't be used just now ({problem}); try it again in a moment"
            return _complain(UsageError(said), 1)
        if not isinstance(problem, OSError):
            raise
        if problem.errno not in (errno.ENOSPC, errno.EBADF, errno.EIO) or problem.filename is not None:
            raise
        _hush()
        return _complain(UsageError(f"what was to be said could not be written: {problem.strerror}"), 1)


def _busy(problem: Exception) -> bool:
    """Whether the ledger could not be read or written to; what it needs is loaded only where there was one."""
    library = sys.modules.get("sqlite3")
    return library is not None and isinstance(problem, library.OperationalError)


def _hush() -> None:
    """Nothing more is written: else the end of the process would complain once more."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _folder(text: str) -> Path:
    if not text.strip():  # to a path that would be the folder that one stands in
        raise argparse.ArgumentTypeError("the folder has no name; . is the one that you stand in")
    return Path(text)


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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="autoprep",
        description="Turns photos of flat artworks into faithful pictures, ready for where they go.",
        epilog=_EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"autoprep {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add(commands, "studio.init", "init", "make a studio folder", studio=False).add_argument(
        "folder", type=_folder, metavar="DIR", help="where; it may exist, nothing in it is overwritten"
    )
    demo = _add(
        commands, "studio.demo", "demo", "make a studio, put the demo photos in, and process them", studio=False
    )
    demo.add_argument(
        "--dir",
        type=Path,
        default=Path("autoprep-demo"),
        metavar="DIR",
        help="the demo studio (default: autoprep-demo)",
    )
    demo.add_argument(
        "--photos", type=Path, metavar="DIR", help="the photos to use (default: demo_inbox of the project)"
    )
    watch = _add(commands, "work.watch", "watch", "run the service in the foreground until Ctrl-C")
    watch.add_argument("--quiet", action="store_true", help="log to the records only")
    _json(_add(commands, "work.once", "once", "process everything that waits in the inbox, then stop"))
    check = _json(_add(commands, "asking.check", "check", "validate the settings and show what they come to"))
    check.add_argument("--ahead", action="store_true", help="show what would be done now and why, without doing it")
    ready_text = "try whether this machine has what the service needs"
    _json(_add(commands, "asking.service_check", "service-check", ready_text))
    _list_of_photos(_json(_add(commands, "history.jobs", "jobs", "list the photos, the newest page or all")))
    _json(_add(commands, "history.status", "status", "what waits, runs, asks and failed, and how much space is left"))
    works = _json(
        _add(commands, "works.list_works", "works", "list all works: what each is, and where its pictures went")
    )
    works.add_argument("--csv", action="store_true", help="as a table for spreadsheets")
    works.add_argument(
        "--for", dest="destination", metavar="NAME", help="what would go to this destination now, and what is missing"
    )
    paper = _add(
        commands, "sheet.make_sheet", "sheet", "make a PDF of pictures with their captions, to print or send along"
    )
    paper.add_argument("file", type=Path, metavar="FILE.pdf", help="where to")
    paper.add_argument(
        "word", nargs="*", default=[], metavar="WORD", help="only works that hold all these words (default: all)"
    )
    paper.add_argument("--for", dest="destination", metavar="NAME", help="what goes to this destination, in its order")
    paper.add_argument("--month", metavar="YYYY-MM", help="only works that came in then")
    paper.add_argument("--title", metavar="TEXT", help="what stands above")
    paper.add_argument("--anyway", action="store_true", help="also where the file is there already")
    bag = _add(
        commands, "bag.make_bag", "bag", "pack a destination's pictures for an archive: a BagIt bag with check sums"
    )
    bag.add_argument("destination", metavar="DESTINATION", help="whose pictures")
    bag.add_argument("folder", type=Path, metavar="FOLDER", help="where the bags stand; each call makes a new one")
    bag.add_argument("--month", metavar="YYYY-MM", help="only pictures whose photos came in then")
    bag.add_argument("--all", action="store_true", help="also pictures that a bag in that folder holds already")
    bag.add_argument("--anyway", action="store_true", help="also pictures that were changed since they were made")
    retry = _add(commands, "again.retry", "retry", "work again on what was set aside")
    retry.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    show = _json(_add(commands, "history.show", "show", "tell one photo's story in plain words"))
    show.add_argument("photo", metavar="PHOTO", help="the photo's name, or a job")
    say = _add(
        commands, "again.say", "say", "say something about a photo's work, as a note would; empty words unsay it"
    )
    say.add_argument("photo", metavar="PHOTO", help="the photo's name, or a job")
    say.add_argument(
        "line", nargs="*", default=[], metavar="LINE", help="such as 'turn: left', 'kind: painting', 'outline: ask'"
    )
    _add(commands, "studio.credentials", "credentials", "make the key that content credentials are signed with")
    rebuild = _add(
        commands, "again.rebuild", "rebuild", "make a new ledger from the records, when it is lost or damaged"
    )
    rebuild.add_argument("--anyway", action="store_true", help="also where the ledger is sound; it is kept beside")
    rebuild.add_argument("--copy", action="store_true", help="put the newest daily copy back instead")
    redo = _json(_add(commands, "again.redo", "redo", "render again from the stored plans, without measuring again"))
    redo.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    redo.add_argument("--destination", metavar="NAME", help="only this destination")
    return parser


def _add(commands: Any, run: str, name: str, help_text: str, *, studio: bool = True) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_text, description=help_text[0].upper() + help_text[1:] + ".", epilog=_EPILOG
    )
    parser.set_defaults(run=run)
    if studio:
        parser.add_argument(
            "--config",
            type=Path,
            metavar="FILE",
            help="settings file or studio folder (default: the studio that you stand in)",
        )
    return parser


def _list_of_photos(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--page", type=int, metavar="N", help="an older page (default: 1, the newest)")
    parser.add_argument("--per-page", type=int, metavar="N", help="photos on a page (default: 50)")
    parser.add_argument("--all", action="store_true", help="all photos; with --json the default")
    parser.add_argument(
        "--outcome", metavar="WORD", help="only those: ready, 'held back', 'needs a look', 'set aside', waiting, ..."
    )
    parser.add_argument("--month", metavar="YYYY-MM", help="only those that came in then; also a day, YYYY-MM-DD")


def _json(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    parser.add_argument("--json", action="store_true", help="print JSON for other programs")
    return parser
