"""What is told of the inbox as a whole: found in one walk through its folders, however many things are asked."""

import contextlib
import os
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from autoprep.files.ignored import is_ignored_folder
from autoprep.ledger import Ledger, Overview, WorkRow
from autoprep.logs import as_shown
from autoprep.told.lost_notes import unheard_among
from autoprep.told.work_lists import known_names, told_of_lists
from autoprep.wishes.note_files import has_rows
from autoprep.wishes.photo_notes import PICTURES


@dataclass(frozen=True)
class InInbox:
    """lists: what is wrong with lists of works, a line each; unheard: notes that ask to hold and speak of no photo;
    not_begun: how many photos, by their names, are not taken in yet.
    """

    lists: tuple[str, ...] = ()
    unheard: tuple[str, ...] = ()
    not_begun: int = 0


def look_through(inbox: Path, ledger: Ledger | None, told: Container[str] = ()) -> InInbox:
    """Walk through the folders in which photos are looked for.

    told: photos that are told of by their names; they and empty ones are not counted among those not taken in.
    """
    known, lists, unheard, count = _Known(ledger), list[str](), list[str](), 0
    for at, folders, files in _folders_of(inbox):
        lists += told_of_lists(inbox, at, [*files, *filter(has_rows, folders)], known.of_names)
        unheard += unheard_among(inbox, at, files, known.of_names)
        count += sum(path not in known.paths and _waits(inbox, path, told) for path in _photos(inbox, at, files))
    return InInbox(tuple(lists), tuple(unheard), count)


class _Known:
    """What the ledger knows, read when it is asked for: most inboxes have neither lists nor such notes."""

    def __init__(self, ledger: Ledger | None) -> None:
        self._ledger = ledger

    @cached_property
    def paths(self) -> set[bytes]:
        return set() if self._ledger is None else self._ledger.known_paths()

    @cached_property
    def _names(self) -> set[str]:
        return set() if self._ledger is None else known_names(self._ledger)

    def of_names(self) -> set[str]:
        return self._names


def _folders_of(inbox: Path) -> Iterator[tuple[Path, list[str], list[str]]]:
    for at, folders, files in os.walk(inbox):
        folders[:] = sorted(name for name in folders if not is_ignored_folder(name))
        yield Path(at), folders, files


def _photos(inbox: Path, at: Path, files: list[str]) -> Iterator[bytes]:
    """The paths of a folder's photos below the inbox."""
    within = os.fsencode(os.path.join(os.path.relpath(at, inbox), "")) if at != inbox else b""
    yield from (within + os.fsencode(name) for name in files if _is_photo(name))


def _is_photo(name: str) -> bool:
    return name.lower().endswith(PICTURES) and not name.startswith((".", "~"))


def _waits(inbox: Path, path: bytes, told: Container[str]) -> bool:
    with contextlib.suppress(OSError):
        there = os.lstat(os.path.join(os.fsencode(inbox), path)).st_size > 0
        return there and as_shown(os.fsdecode(path)) not in told
    return False


def asked_of_none(inbox: Path, overview: Overview, *, away: bool) -> dict[str, str]:
    """Job -> photo of the questions whose photos are no longer in the inbox, or were edited there, or others lie in
    their places: they count when these are back.

    away: whether the inbox is away; then nobody knows.
    """
    photos = () if away else overview.questions()
    replaced = overview.asked_of_replaced() if photos else set()
    return {job: shown for job, shown, path in photos if job in replaced or not _lies(inbox, path)}


def still_asked(rows: Iterable[WorkRow], gone: Container[str]) -> list[WorkRow]:
    """The list of works without the questions about photos that are gone: `asked_of_none` says which."""
    return [row for row in rows if not (row.asks and row.job in gone)]


def set_aside_there(inbox: Path, overview: Overview, *, away: bool) -> tuple[str, ...]:
    """The photos that were set aside and lie in the inbox yet: who has thrown one away is not to look at it for ever.

    away: as above.
    """
    return tuple(shown for path, (shown, _) in overview.set_aside().items() if away or _lies(inbox, path))


def _lies(inbox: Path, path: bytes) -> bool:
    return os.path.lexists(os.path.join(os.fsencode(inbox), path))


NOT_LOOKED_AT = InInbox()
