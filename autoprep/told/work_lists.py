"""What is wrong with the lists of works in the inbox: told of each as a whole, for it is no photo's fault."""

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path, PurePosixPath

from autoprep.ledger import Ledger
from autoprep.logs import as_shown
from autoprep.wishes.note_files import NOTE_ENDINGS, WORK_LIST, folded, is_list_copy, is_work_list, said_in, short
from autoprep.wishes.work_lists import EMPTY, Row, as_compared, endless, names_of, numbered, read_list

_MOST_NAMED = 6


def told_of_lists(inbox: Path, at: Path, files: Iterable[str], known: Callable[[], set[str]]) -> Iterator[str]:
    """A line for each thing that is wrong with a list of a folder of the inbox.

    A row of a photo that the ledger knows is no mistake, though it was deleted, or renamed, since. files: all of the
    folder; known: asked for the names that photos have or had only where there is a list.
    """
    for name in sorted(files):
        if is_work_list(name) or is_list_copy(name):
            place = PurePosixPath(as_shown(os.path.relpath(at, inbox).replace(os.sep, "/")))
            shown = str(place / as_shown(name))
            copy = is_list_copy(name)
            yield from (
                told_of_copy(at / name, shown)
                if copy
                else told_of(at / name, shown, _is_one_of(at, str(place), known()))
            )


def known_names(ledger: Ledger) -> set[str]:
    """All names, with folders, that photos and works in them have or had, by which rows and notes may call them."""
    earlier = [name for view in ledger.renamed() for name in view.was]
    return {as_compared(each) for name in (*ledger.overview.names(), *earlier) for each in (name, endless(name))}


def _is_one_of(at: Path, folder: str, known: set[str]) -> Callable[[Row], bool]:
    """Whether a row names a photo that lies in the list's folder or below, or that the ledger knows there."""
    there: dict[str, set[str]] = {}

    def is_named(photo: str) -> bool:
        place = PurePosixPath(photo)
        if place.is_absolute() or ".." in place.parts:
            return False
        below = str(place.parent)
        if below not in there:
            there[below] = names_of(_could_be_photos(at / below, "" if below == "." else f"{below}/"))
        return as_compared(str(PurePosixPath(folder) / photo)) in known or as_compared(photo) in there[below]

    return lambda row: is_named(row.photo) or is_named(row.photo.strip())


def _could_be_photos(folder: Path, before: str) -> Iterator[str]:
    """The names of a folder's files that are no notes and no lists, each behind these letters."""
    with contextlib.suppress(OSError, ValueError):  # a folder that is none, or that no disk can have
        files = (entry.name for entry in folder.iterdir() if entry.is_file())
        yield from (f"{before}{name}" for name in files if not folded(name).endswith((*NOTE_ENDINGS, WORK_LIST)))


def told_of_copy(place: Path, shown: str) -> Iterator[str]:
    """What is told of a file that is called like a copy of a list: where it holds works, or may."""
    try:
        found = read_list(place)
    except OSError as problem:
        yield f"{shown} {_UNREAD.format(problem.strerror or problem)}"
        return
    if found.unread not in ("", EMPTY):
        yield f"{shown} {found.unread}{_HELD}"
    rows = [row.number for row in found.rows if said_in(row.text, place, []).get("hold")]
    if rows:
        yield (
            f"{shown} seems to be a copy of a list, so nothing that it says counts but a hold, in {numbered(rows)}; "
            "once that is meant no longer, take the file away"
        )


_HELD = "; works of its folder and below are held until that is put right, but those whose rows say “no” to a hold"
_UNREAD = "can't be read now ({}); the works in its folder and below are held until it can be"


def told_of(place: Path, shown: str, is_there: Callable[[Row], bool]) -> Iterator[str]:
    """What is wrong with a list, and which photos of its rows are not there, each thing in a line."""
    try:
        found = read_list(place)
    except OSError as problem:
        yield f"{shown} {_UNREAD.format(problem.strerror or problem)}"
        return
    yield from (f"{shown} {fault}{_HELD if fault == found.unread else ''}" for fault in found.faults)
    lost = [f"{as_shown(short(row.photo.strip()))} (row {row.number})" for row in found.rows if not is_there(row)]
    if lost:
        more = f" and {len(lost) - _MOST_NAMED} more" if len(lost) > _MOST_NAMED else ""
        named = ", ".join(lost[:_MOST_NAMED]) + more
        yield f"{shown} names {'a photo that is' if len(lost) == 1 else 'photos that are'} not beside it: {named}"
