"""The notes that speak of a photo, and of all in its folder: where they lie, and what they say together."""

import contextlib
import os
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

from autoprep.logs import as_shown
from autoprep.wishes.captions import from_folders, from_name, is_plain_folder
from autoprep.wishes.corner_notes import is_corner_note, of_corner_notes
from autoprep.wishes.note_files import (
    NOTE_ENDINGS,
    OF_THE_SIZE,
    WHATEVER_ELSE,
    as_called,
    folded,
    has_rows,
    held_unread,
    in_folder,
    in_words,
    is_rich,
    is_unread,
    lay_over,
    place_of,
    said_by,
    said_in,
    text_of,
)
from autoprep.wishes.work_lists import EMPTY, Row, copies_for, endless, lists_for, read_list

PICTURES = (
    ".jpg", ".jpeg", ".heic", ".heif", ".png", ".tif", ".tiff", ".webp", ".avif", ".dng", ".nef", ".cr2", ".arw",
)  # fmt: skip
FOLDER_NOTE = "note"  # this note, in any of the endings, speaks of all in its folder


def from_note(inbox: Path, names: Iterable[str], warnings: list[str]) -> dict[str, Any]:
    """What the note of the first of these names says that has one."""
    return together(notes_of(inbox, names, warnings), warnings)


class Given(NamedTuple):
    """A note, or a row of the folder's list: where it stands, what a sentence calls it, and what it says."""

    place: Path
    called: str
    said: dict[str, Any]


def notes_of(inbox: Path, names: Iterable[str], warnings: list[str]) -> list[Given]:
    """All notes of the first of these names that has any, the strongest first; behind them the rows of lists that name
    the photo, by the first of these names that any does: a row adds to a note that was left behind, and mutes none."""
    photos = {name: place_of(inbox, name) for name in names}
    notes = next((found for photo in photos.values() if (found := _read(_note_places(photo), warnings))), [])
    named = ((name, _rows_of(inbox, photo, warnings)) for name, photo in photos.items())
    then, rows = next(((name, found) for name, found in named if found), ("", []))
    if then and not any(said.get("hold") for _, _, said in notes):
        warnings += _still_held(next(iter(photos)), then, rows, warnings)
    copies = (_held_by_copies(inbox, photo, warnings) for photo in photos.values())
    return [*notes, *rows, *next(filter(None, copies), [])]


def _still_held(now: str, then: str, rows: list[Given], warnings: list[str]) -> list[str]:
    """That a row holds a photo that was taken out of a folder, or a name, that held it: there nobody would look."""
    held = [row.called for row in rows if row.said.get("hold")]
    if not held or _is_held_name(now) or not _is_held_name(then) or is_unread(tuple(warnings)):
        return []
    return [f"{held[0]} says that {then}, as the photo was called before, is held; to end that, write “no” there"]


def _is_held_name(shown: str) -> bool:
    """Whether a photo of this name is held by it, or by its folders."""
    return bool(from_folders(shown, [], []).get("hold") or from_name(shown)[0].get("hold"))


def _read(places: Iterable[Path], warnings: list[str]) -> list[Given]:
    found: list[Given] = []
    for place in sorted(places, key=is_rich):
        said = None if found and is_rich(place) else said_by(place, warnings)  # it was saved as plain text since
        found += [] if said is None else [Given(place, f"the note {as_shown(place.name)}", said)]
    return found


def _rows_of(inbox: Path, photo: Path, warnings: list[str]) -> list[Given]:
    """What the rows of lists that name a photo say of it; each is read like a note."""
    given = []
    for place, name in lists_for(inbox, photo):
        called = as_shown(place.relative_to(inbox).as_posix())  # lists of several folders may speak of one photo
        try:
            found = read_list(place)
        except OSError as problem:
            given.append(Given(place, f"the list {called}", held_unread(f"the list {called}", problem, warnings)))
            continue
        rows, before = [row for row in found.of(name) if row.text], len(given)
        for row in (
            rows if len(rows) < 2 else [row for row in rows if not _names_another(row.photo, name, place.parent, rows)]
        ):
            words = f"row {row.number} of {called}"
            given.append(Given(place, words, said_in(row.text, place, warnings, words)))
        if found.unread and not any("hold" in row.said for row in given[before:]):
            warnings.append(f"the list {called} {found.unread}{_UNTIL_READ}")
            given.append(Given(place, f"the list {called}", {"hold": True}))
    return given


def _held_by_copies(inbox: Path, photo: Path, warnings: list[str]) -> list[Given]:
    """What is called like a copy of a list is heard where it asks for a hold, or may: the rest of it may be old."""
    given = []
    for place, name in copies_for(inbox, photo):
        called = as_shown(place.relative_to(inbox).as_posix())
        try:
            found = read_list(place)
        except OSError as problem:
            given.append(Given(place, f"the list {called}", held_unread(f"the list {called}", problem, warnings)))
            continue
        says = {row.number: said_in(row.text, place, []).get("hold") for row in found.of(name) if row.text}
        held = [number for number, hold in says.items() if hold]
        if held:
            warnings.append(
                f"row {held[0]} of {called}, which seems to be a copy of a list, asks for a hold{_UNTIL_GONE}"
            )
            given.append(Given(place, f"row {held[0]} of {called}", {"hold": True}))
        elif found.unread not in ("", EMPTY) and False not in says.values():
            warnings.append(f"the list {called} {found.unread}{_UNTIL_READ}")
            given.append(Given(place, f"the list {called}", {"hold": True}))
    return given


_UNTIL_GONE = "; the work is held until “no” stands there, or that file is taken away"
_UNTIL_READ = "; a row there may ask for a hold, so the work is held until that is put right, or its row says no to it"


def _names_another(written: str, name: str, folder: Path, rows: list[Row]) -> bool:
    """Whether a row in other capitals than a photo's own, which is there too, is that of a photo in these capitals.

    folder: the list's own.
    """
    exact = (name, endless(name))
    if written in exact or not any(row.photo in exact for row in rows):
        return False
    return any(place.is_file() for place in _called_alike(folder / written))


def together(notes: list[Given], warnings: list[str]) -> dict[str, Any]:
    """What several notes of one photo, or of one folder, say: where they differ the first holds, and a hold in any."""
    all_of_them: dict[str, Any] = {}
    for _, _, said in reversed(notes):
        lay_over(all_of_them, said)
    for (_, first, was), (_, other, said) in ((notes[0], each) for each in notes[1:]):
        both = f"{first} and {other} do not agree on"
        for key in was.keys() & said.keys() - {*WHATEVER_ELSE, "keywords", "hold", *OF_THE_SIZE}:
            warnings += [f"{both} {in_words(key)}; the first holds"] if was[key] != said[key] else []
    holds = {said["hold"] for _, _, said in notes if "hold" in said}
    if len(holds) > 1:
        warnings.append(f"{', '.join(called for _, called, _ in notes)} do not agree on a hold; it is held")
    return all_of_them | ({"hold": True} if True in holds else {})


def _note_places(photo: Path) -> tuple[Path, ...]:
    places = (*(photo.with_suffix(end) for end in NOTE_ENDINGS), *(Path(f"{photo}{end}") for end in NOTE_ENDINGS))
    beside = in_folder(photo.parent)
    called = ((one, place) for place in places for one in as_called(place, beside))
    return tuple(dict.fromkeys(one for one, place in called if not _is_of_another(one, place)))


def _is_of_another(note: Path, place: Path) -> bool:
    """Whether a note in other capitals than a photo's own, which is there too, is that of a photo in these capitals."""
    if note.name == place.name or not os.path.lexists(place):
        return False
    return any(photo.is_file() for photo in _called_alike(note.with_suffix("")))


def has_note(inbox: Path, name: str, *, corners: bool, is_row: bool | None = None) -> bool:
    """Whether a photo of this name has a note, or one of the corner page. is_row: whether a row of a list counts alone,
    or a note alone; where it is None, either does."""
    if corners:
        return bool(of_corner_notes(inbox, name, []))
    photo = place_of(inbox, name)
    has_own = is_row is not True and bool(_read(_note_places(photo), []))
    return has_own or (is_row is not False and bool(_rows_of(inbox, photo, [])))


def still_free(inbox: Path, names: Iterable[str]) -> tuple[str, ...]:
    """Those of a photo's earlier names that no photo has now: one that has it would be meant by its note."""
    return tuple(name for name in names if not any(place.is_file() for place in _called_alike(place_of(inbox, name))))


def _called_alike(photo: Path) -> tuple[Path, ...]:
    return (photo, *(photo.with_suffix(end) for known in PICTURES for end in (known, known.upper())))


def without_photo(notes: Iterable[str], others: Iterable[str]) -> list[str]:
    """Of the notes of one folder those that speak of no photo in it: left behind by one that was renamed, say.

    others: the names of the folder's other files. Notes for the whole folder, and those of the corner page, which name
    their photo, are not among them.
    """
    called = {folded(name) for other in others for name in (other, PurePosixPath(other).stem)}
    own = (note for note in notes if not (is_corner_note(note) or is_folder_note(note) or has_rows(note)))
    return [note for note in own if folded(PurePosixPath(note).stem) not in called]


def is_folder_note(name: str) -> bool:
    """Whether a note speaks of all in its folder."""
    return folded(os.path.splitext(name)[0]) == FOLDER_NOTE


def from_folder_notes(inbox: Path, shown: str, warnings: list[str]) -> dict[str, Any]:
    """What a note that is called `note` says of all in its folder and below; the nearest one wins."""
    said: dict[str, Any] = {}
    for folder in reversed(PurePosixPath(shown).parents):
        lies = place_of(inbox, str(folder))
        notes = in_folder(lies)
        places = [one for end in NOTE_ENDINGS for one in as_called(lies / f"{FOLDER_NOTE}{end}", notes)]
        said |= together(_read(reversed(places), warnings), warnings)
    return said


def from_sketchbook(inbox: Path, shown: str) -> dict[str, Any]:
    """A sketchbook has one paper: what a note says of the paper of one page holds for all in that folder.

    Only folders that the artist named are sketchbooks; of several notes that speak of the paper the newest holds.
    """
    folder = PurePosixPath(shown).parent
    if is_plain_folder(folder.name):
        return {}
    return dict(_paper_of(str(place_of(inbox, str(folder)))))


def _paper_of(folder: str) -> tuple[tuple[str, Any], ...]:
    """What the newest note of a folder that speaks of its paper says. Each is read once for all photos there."""
    notes: list[tuple[str, int, int]] = []
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.lower().endswith(NOTE_ENDINGS) and not is_folder_note(entry.name):
                status = entry.stat(follow_symlinks=False)
                notes.append((entry.name, status.st_mtime_ns, status.st_size))
    newest: tuple[int, tuple[tuple[str, Any], ...]] = (0, ())
    for name, when, size in sorted(notes):
        paper: tuple[tuple[str, Any], ...] = ()
        with contextlib.suppress(OSError):
            paper = _paper_in(os.path.join(folder, name), when, size)
        newest = (when, paper) if paper and when >= newest[0] else newest
    return newest[1]


@lru_cache(maxsize=4096)
def _paper_in(note: str, _when: int, _size: int) -> tuple[tuple[str, Any], ...]:
    said = said_in(text_of(Path(note)) or "", Path(note), [])
    return tuple((key, said[key]) for key in ("paper", "keep_paper") if key in said)
