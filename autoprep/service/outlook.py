"""What the service would do next, without doing it."""

import contextlib
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any

from autoprep.ledger import Ledger, SeenFile, View
from autoprep.logs import argument, as_shown, counted
from autoprep.service.arrivals import shown_name
from autoprep.service.depends import settings_digests
from autoprep.service.inbox import Found, scan
from autoprep.service.knowledge import Knowledge
from autoprep.service.said import bare
from autoprep.service.steps import GiveUp, Measure, Render, Restore, Step, TakeApart, Withdraw
from autoprep.told.explanations import ends_too_early
from autoprep.told.in_inbox import look_through
from autoprep.told.work_lists import told_of, told_of_copy
from autoprep.wishes.corner_notes import CORNER_NOTE, is_called_for, is_corner_note, is_meant, named_in, saved_as
from autoprep.wishes.names import part_name
from autoprep.wishes.note_files import folded, is_list_copy, is_work_list, place_of
from autoprep.wishes.photo_notes import has_note, still_free, without_photo
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from autoprep.wishes.work_lists import Row, as_compared, names_of

_WORDS = {
    Measure: "looked at", Render: "made", Withdraw: "withdrawn", Restore: "brought back", TakeApart: "taken apart",
    GiveUp: "given up",
}  # fmt: skip


def outlook(settings: Settings) -> Iterator[str]:
    """One line for each thing that would be done now, and why, in plain words."""
    notes: dict[str, Any] = {}
    found = scan(settings.folders.inbox, notes)
    if not ledger_path(settings).is_file():
        yield from (f"{shown_name(item.path)}: {_coming(item, 'it is new')}" for item in found)
        yield from look_through(settings.folders.inbox, None).lists
        return
    ledger = Ledger(ledger_path(settings))
    try:
        files = ledger.files()
        # One look tells all: whoever waits for what may still be on its way must look twice.
        at_once = settings.service.model_copy(update={"settle_s": 0.0})
        knowledge = Knowledge(settings.model_copy(update={"service": at_once}), ledger)
        moved = knowledge.look(found, notes, files)
        knowledge.listen()
        yield from (f"{knowledge.view(job).shown}: followed to {shown_name(knowledge.where(job)[0])}" for job in moved)
        for group in knowledge.news():
            yield from (f"{knowledge.view(step.job).shown}: {words(step)}" for step in knowledge.follows(group))
        called = _called_otherwise(found, files, ledger)
        yield from (f"{view.was[0]}: followed to {view.shown}" for view in called.values())
        new = [item for item in found if item.path not in files or files[item.path].signature != item.signature]
        new = [item for item in new if item.path not in called]
        waits = ledger.unfinished(time.time())
        yield from (f"{shown_name(item.path)}: {_coming(item, 'it is new or has changed', waits)}" for item in new)
        away = knowledge.away_but_spoken_of()
        yield from _alone(settings.folders.inbox, found, notes, ledger, list(called.values()), away)
    finally:
        ledger.close()


def _called_otherwise(found: list[Found], files: Mapping[bytes, SeenFile], ledger: Ledger) -> dict[bytes, View]:
    """Photos that have got another name or folder while nobody watched, as they will be: where they lie now -> photo.

    Nothing is read for it: a file with the size, time and number in the file system of one that is gone is that one.
    """
    there = {item.path: item.signature for item in found}
    gone = {seen.signature: seen.job for path, seen in files.items() if seen.job and there.get(path) != seen.signature}
    moved = {
        item.path: view
        for item in found
        if item.path not in files and (view := ledger.view(gone.get(item.signature, ""))) is not None
    }
    return {path: replace(view, shown=shown_name(path), was=(view.shown, *view.was)) for path, view in moved.items()}


def made_otherwise(settings: Settings) -> list[str]:
    """A line for each destination with finished files that were made by other settings than those of today, or that is
    in the settings no more.

    Settings hold for the next photo; a name that was written wrongly, say, stays in files that were made before.
    """
    if not ledger_path(settings).is_file():
        return []
    ledger = Ledger(ledger_path(settings))
    try:
        found = {
            name: ledger.overview.made_otherwise(name, settings_digests(settings, name))
            for name in settings.destinations
        }
        gone = ledger.overview.in_gone_tables(settings.destinations)
        outside = ledger.overview.outside(settings.folders.ready)
    finally:
        ledger.close()
    left = [line for name, places in gone.items() if (line := _left_of_table(name, places))]
    older = [
        f"{name}: {counted(count, 'file')} in its folder {'was' if count == 1 else 'were'} made before the name, "
        f"rights, mark or this destination were changed in the settings, or by an earlier version; `autoprep redo "
        f"--destination {argument(name)}` makes {'it' if count == 1 else 'them'} by those of today"
        for name, count in found.items()
        if count
    ]
    return [*_left_outside(settings.folders.ready, outside), *left, *older]


def empty_folders(settings: Settings) -> list[str]:
    """A line for the folders in ready/ that no destination has and that hold nothing at all, if there are any.

    They stay: that the service made them is likely, and not known.
    """
    ready, known = settings.folders.ready, {name.casefold() for name in settings.destinations}
    found = []
    with contextlib.suppress(OSError):
        for place in sorted(ready.iterdir()):
            with contextlib.suppress(OSError):
                plain_folder = place.is_dir() and not place.is_symlink() and not place.name.startswith(".")
                if plain_folder and place.name.casefold() not in known and not any(place.iterdir()):
                    found.append(as_shown(place.name))
    if not found:
        return []
    whose = "an empty folder" if len(found) == 1 else "empty folders"
    return [f"{ready}: {whose} of no destination that there is: {', '.join(found)}; delete what you don't want"]


def _left_of_table(name: str, places: Iterable[Path]) -> str:
    """That there are pictures yet of a destination that is gone; empty where the artist has taken them out."""
    there = [place for place in places if os.path.lexists(place)]
    if not there:
        return ""
    lie, them = ("lies", "it") if len(there) == 1 else ("lie", "them")
    return (
        f"{there[0].parent}: there is no destination {name} any more, and {counted(len(there), 'picture')} of it {lie} "
        f"there still; no new words reach {them}: take {them} out yourself"
    )


def _left_outside(ready: Path, places: Iterable[Path]) -> list[str]:
    """A line for the pictures that lie in another folder than the one of today, where they are yet."""
    there = [place for place in places if os.path.lexists(place)]
    if not there:
        return []
    lie, they, their = ("lies", "it stays", "its work") if len(there) == 1 else ("lie", "they stay", "their works")
    return [
        f"{there[0].parent.parent}: {counted(len(there), 'finished picture')} {lie} there, from when `ready` was that "
        f"folder; {they} there, and what is made again of {their} too, while new works go to {ready}"
    ]


def _coming(item: Found, why: str, waits: Mapping[str, float] = MappingProxyType({})) -> str:
    """What is said of a file that was not taken in as it is now; waits: those that end too early, and until when."""
    if shown_name(item.path) in waits:
        return ends_too_early(waits[shown_name(item.path)])
    return f"looked at, because {why}" if item.filled else "holds nothing yet; it is left alone until it does"


def _alone(
    inbox: Path, found: list[Found], notes: Mapping[str, Any], ledger: Ledger, moved: list[View], away: list[str]
) -> Iterator[str]:
    """A line for each note that lies beside no photo of its name, and for those of the corner page that fit none.

    moved: photos that have another name since they were seen; away: those that are away and that notes speak of. The
    same of the rows of lists, and what is wrong with a list as a whole.
    """
    now = {view.job for view in moved}
    renamed = [*moved, *(view for view in ledger.renamed() if view.job not in now)]
    photos = [shown_name(item.path) for item in found]
    names: dict[str, list[str]] = {}
    for shown in (*photos, *ledger.part_names()):
        names.setdefault(str(PurePosixPath(shown).parent), []).append(PurePosixPath(shown).name)
    for folder, own in notes.items():
        place = PurePosixPath(as_shown(folder.replace(os.sep, "/")))
        called = [as_shown(note[0]) for note in own]
        corners = [note for note in called if is_corner_note(note) and not _fits(inbox, place / note, names)]
        others = set(names.get(str(place), ())) - set(called)
        for note in (*without_photo(called, others), *corners):
            yield f"{place / note}: {_spoken_of_or_lost(inbox, place / note, renamed, away)}"
        for listed in filter(is_work_list, called):
            speaks = partial(_spoken_of_or_lost, inbox, renamed=renamed, away=away, is_row=True)
            below = (shown for shown in (*photos, *ledger.part_names()) if PurePosixPath(shown).is_relative_to(place))
            beside = names_of(str(PurePosixPath(shown).relative_to(place)) for shown in below)
            yield from _of_list(inbox, place / listed, beside, speaks)
        for copy in filter(is_list_copy, called):
            yield from told_of_copy(place_of(inbox, str(place / copy)), str(place / copy))


def _of_list(inbox: Path, shown: PurePosixPath, others: set[str], speaks: Callable[[PurePosixPath], str]) -> list[str]:
    """What is told of a list; others: how rows may call the photos beside it and below; speaks: says of whom a note
    speaks."""
    told: dict[str, str] = {}

    def is_there(row: Row) -> bool:
        words = (
            "" if as_compared(row.photo) in others else speaks(shown.parent / f"{row.photo.strip().lstrip('/')}.txt")
        )
        if words and not words.startswith(_OF_NONE):
            told[row.photo] = f"{shown}: row {row.number} {words}"
        return not words or row.photo in told

    return [*told_of(place_of(inbox, str(shown)), str(shown), is_there), *told.values()]


def _spoken_of_or_lost(
    inbox: Path, note: PurePosixPath, renamed: Iterable[View], away: Iterable[str], *, is_row: bool = False
) -> str:
    lost = next((shown for shown in away if folded(bare(shown)) == folded(bare(str(note)))), "")
    speaks = _spoken_of(inbox, note, renamed, is_row)
    if lost and speaks.startswith(_OF_NONE):
        speaks = f"speaks of {lost}, which is not in the inbox now"
    return speaks


_OF_NONE = "speaks of no photo"


def _fits(inbox: Path, note: PurePosixPath, names: Mapping[str, list[str]]) -> bool:
    """Whether a note of the corner page is for a photo that is there; names: of photos, by their folders."""
    named = named_in(place_of(inbox, str(note)))
    if named and is_called_for(note.name, named) and str(note.parent) == ".":
        at = PurePosixPath(named)
        if at.name in names.get(str(at.parent), ()):
            return True
    alike = [name for name in names.get(str(note.parent), ()) if is_called_for(note.name, name)]
    return any(is_meant(inbox, str(note.parent / name), named, beside=True) for name in alike)


def _spoken_of(inbox: Path, note: PurePosixPath, renamed: Iterable[View], is_row: bool) -> str:
    """What a note, or a row as if it were one, speaks of that has no photo of its name: one that was called so, or
    nothing."""
    corners = is_corner_note(note.name)
    named = named_in(place_of(inbox, str(note))) if corners else ""
    there = bool(named) and os.path.isfile(place_of(inbox, named))  # a line too long for a name is none either
    called = {note.stem, PurePosixPath(note.stem).stem}
    for view in renamed:
        names = [view.shown, *(part_name(old, view.part) for old in still_free(inbox, view.was))]
        for was, name in pairwise(names):
            if has_note(inbox, was, corners=corners, is_row=is_row):
                break  # which speaks for it, and none of an earlier name does
            at = PurePosixPath(name)
            beside = at.parent == note.parent and not there
            fits = is_called_for(note.name, name) if corners else at.stem in called
            if fits and (named == name or beside):
                return f"speaks of {view.shown}, which was called {name}"
    if there:
        own = f"{saved_as(PurePosixPath(named).stem)}{CORNER_NOTE}.txt"
        return f"is not read for {named}, because it is not called {own} at the top of the inbox or beside the photo"
    return f"{_OF_NONE}, because " + (f"none is called {named}" if named else "none beside it is called so")


def words(step: Step) -> str:
    """A step in plain words."""
    names = ", ".join(getattr(step, "destinations", ()))
    done = _WORDS.get(type(step), "told in the record")
    return f"{names + ' ' if names else ''}{done}, because {step.why}"
