"""What may be typed on the command line: the commands, their words and their options."""

import argparse
import sys
from collections.abc import Sequence
from itertools import takewhile
from pathlib import Path
from typing import Any, NoReturn

from autoprep import __version__
from autoprep.logs import argument, as_text, plain

_EPILOG = (
    "exit codes: 0 done; 1 something needs attention; 2 wrong use or settings; "
    "3 another Autoprep works in this studio; 130 stopped by Ctrl-C (watch ends with 0)"
)


def parsed(arguments: list[str] | None) -> argparse.Namespace:
    """The command and its options. Words that stand behind an option belong to those before it."""
    options, rest = _parser().parse_known_args(arguments)
    end = rest.index("--") if "--" in rest else len(rest)
    words = [as_text(word) for word in rest[:end] + rest[end + 1 :]]
    if words and (options.words is None or any(word.startswith("-") for word in rest[:end])):
        options.command.error(f"unrecognized arguments: {' '.join(words)}")
    if words:
        setattr(options, options.words, [*getattr(options, options.words), *words])
    return options


def _folder(text: str) -> Path:
    if not text.strip():  # to a path that would be the folder that one stands in
        raise argparse.ArgumentTypeError("the folder has no name; . is the one that you stand in")
    return Path(text)


class _Parser(argparse.ArgumentParser):
    """One that does not keep to itself that its help could not be written, and says of a name that begins like an
    option how it is given. Raises OSError."""

    _typed: Sequence[str] = ()

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        self._typed = [*(sys.argv[1:] if args is None else args)]
        return super().parse_known_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        takes_names = any(not kind.option_strings and kind.nargs != argparse.PARSER for kind in self._actions)
        words = takewhile(lambda word: word != "--", self._typed if takes_names else ())
        name = next((word for word in words if self._may_be_a_name(word)), "")
        if name:
            self.exit(
                2,
                f"autoprep: {plain(name)} was taken for an option, and there is none of that name; if it is a photo or "
                f"a file, put -- before it, behind all options: {self.prog} {argument(name)}\n",
            )
        super().error(message)

    def _may_be_a_name(self, word: str) -> bool:
        """Whether a word begins like an option and is none, nor a slip of a long one."""
        options = self._option_string_actions
        known = any(option.startswith(word.partition("=")[0]) for option in options)
        return word[:1] == "-" and word != "-" and not known and (word[:2] != "--" or "." in word)

    def _print_message(self, message: str, file: Any = None) -> None:
        if file is None or file is not sys.stdout:  # of wrong use the exit code tells
            super()._print_message(message, file)
        else:
            print(message, end="", file=file, flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="autoprep",
        description="Turns photos of flat artworks into faithful pictures, ready for where they go.",
        epilog=_EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"autoprep {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for group in (_making, _working, _asking, _listing, _sheet, _bag, _on_photos, _repairing):
        group(commands)
    return parser


def _making(commands: Any) -> None:
    """Commands that make a studio."""
    init = _add(commands, "studio.init", "init", "make a studio folder", studio=False)
    init.add_argument("folder", type=_folder, metavar="DIR", help="where; it may exist, nothing in it is overwritten")
    demo_text = "make a studio, put the demo photos in, and process them"
    demo = _add(commands, "studio.demo", "demo", demo_text, studio=False)
    where, usual = "the demo studio (default: autoprep-demo)", Path("autoprep-demo")
    demo.add_argument("--dir", type=_folder, default=usual, metavar="DIR", help=where)
    photos = "the photos to use (default: demo_inbox of the project)"
    demo.add_argument("--photos", type=_folder, metavar="DIR", help=photos)


def _working(commands: Any) -> None:
    """Commands that let the service work."""
    watch = _add(commands, "work.watch", "watch", "run the service in the foreground until Ctrl-C")
    watch.add_argument("--quiet", action="store_true", help="log to the records only")
    _json(_add(commands, "work.once", "once", "process everything that waits in the inbox, then stop"))


def _asking(commands: Any) -> None:
    """Commands that try whether all is right."""
    check = _json(_add(commands, "asking.check", "check", "validate the settings and show what they come to"))
    check.add_argument("--ahead", action="store_true", help="show what would be done now and why, without doing it")
    ready_text = "try whether this machine has what the service needs"
    _json(_add(commands, "asking.service_check", "service-check", ready_text))


def _listing(commands: Any) -> None:
    """Commands that list photos and works."""
    jobs = _json(_add(commands, "history.jobs", "jobs", "list the photos, the newest page or all"))
    jobs.add_argument("--page", type=int, metavar="N", help="an older page (default: 1, the newest)")
    jobs.add_argument("--per-page", type=int, metavar="N", help="photos on a page (default: 50)")
    jobs.add_argument("--all", action="store_true", help="all photos; with --json the default")
    outcomes = "only those: ready, 'held back', 'needs a look', 'set aside', waiting, ..."
    jobs.add_argument("--outcome", metavar="WORD", help=outcomes)
    jobs.add_argument("--month", metavar="YYYY-MM", help="only those that came in then; also a day, YYYY-MM-DD")
    _json(_add(commands, "history.status", "status", "what waits, runs, asks and failed, and how much space is left"))
    works_text = "list all works: what each is, and where its pictures went"
    works = _json(_add(commands, "works.list_works", "works", works_text))
    works.add_argument("--csv", action="store_true", help="as a table for spreadsheets")
    goes = "what would go to this destination now, and what is missing"
    works.add_argument("--for", dest="destination", metavar="NAME", help=goes)


def _sheet(commands: Any) -> None:
    text = "make a PDF of pictures with their captions, to print or send along"
    paper = _add(commands, "sheet.make_sheet", "sheet", text, words="word")
    paper.add_argument("file", type=Path, metavar="FILE.pdf", help="where to")
    words = "only works that hold all these words (default: all)"
    paper.add_argument("word", nargs="*", type=as_text, default=[], metavar="WORD", help=words)
    paper.add_argument("--for", dest="destination", metavar="NAME", help="what goes to this destination, in its order")
    paper.add_argument("--month", metavar="YYYY-MM", help="only works that came in then")
    paper.add_argument("--title", type=as_text, metavar="TEXT", help="what stands above")
    paper.add_argument("--anyway", action="store_true", help="also where the file is there already")


def _bag(commands: Any) -> None:
    text = "pack a destination's pictures for an archive: a BagIt bag with check sums"
    bag = _add(commands, "bag.make_bag", "bag", text)
    bag.add_argument("destination", metavar="DESTINATION", help="whose pictures")
    bag.add_argument("folder", type=_folder, metavar="FOLDER", help="where the bags stand; each call makes a new one")
    bag.add_argument("--month", metavar="YYYY-MM", help="only pictures whose photos came in then")
    bag.add_argument("--all", action="store_true", help="also pictures that a bag in that folder holds already")
    bag.add_argument("--anyway", action="store_true", help="also pictures that were changed since they were made")


def _on_photos(commands: Any) -> None:
    """Commands on one photo."""
    retry = _add(commands, "again.retry", "retry", "work again on what was set aside")
    retry.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    show = _json(_add(commands, "history.show", "show", "tell one photo's story in plain words"))
    show.add_argument("photo", metavar="PHOTO", help="the photo's name, or a job")
    say_text = "say something about a photo's work, as a note would; without a line all of it is unsaid"
    say = _add(commands, "again.say", "say", say_text, words="line")
    say.add_argument("photo", metavar="PHOTO", help="the photo's name, or a job")
    lines = "such as 'turn: left', 'kind: painting', 'outline: ask'; 'turn:' alone takes back what was said of it"
    say.add_argument("line", nargs="*", type=as_text, default=[], metavar="LINE", help=lines)


def _repairing(commands: Any) -> None:
    """Commands that make something anew: a key, the ledger, pictures."""
    _add(commands, "studio.credentials", "credentials", "make the key that content credentials are signed with")
    rebuild_text = "make a new ledger from the records, when it is lost or damaged"
    rebuild = _add(commands, "again.rebuild", "rebuild", rebuild_text)
    rebuild.add_argument("--anyway", action="store_true", help="also where the ledger is sound; it is kept beside")
    rebuild.add_argument("--copy", action="store_true", help="put the newest daily copy back instead")
    redo = _json(_add(commands, "again.redo", "redo", "render again from the stored plans"))
    redo.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    redo.add_argument("--destination", metavar="NAME", help="only this destination")
    afresh_text = "measure light, colour and paper again first; the edges stay (outline: ask has them found again)"
    redo.add_argument("--afresh", action="store_true", help=afresh_text)


def _add(
    commands: Any, run: str, name: str, help_text: str, *, studio: bool = True, words: str | None = None
) -> argparse.ArgumentParser:
    """A command; run: the function that does it; words: the list that holds as many words as are typed, if any."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_text, description=help_text[0].upper() + help_text[1:] + ".", epilog=_EPILOG
    )
    parser.set_defaults(run=run, command=parser, words=words)
    if studio:
        text = "settings file or studio folder (default: the studio that you stand in)"
        parser.add_argument("--config", type=_folder, metavar="FILE", help=text)
    return parser


def _json(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    parser.add_argument("--json", action="store_true", help="print JSON for other programs")
    return parser
