"""The notes that the corner page saves: how they are called, and of which photo they speak."""

import contextlib
import re
from pathlib import Path, PurePosixPath
from typing import Any

from autoprep.logs import composed
from autoprep.wishes.note_files import as_it_lies, folded, in_folder, lay_over, place_of, said_by

CORNER_NOTE = ".corners"  # what the corner page adds to the name of the photo for the note that it saves
# What browsers replace in the names of files that they save, as some system allows none of it.
_REPLACED = re.compile(r'[\x00-\x1f\x7f"*/:<>?\\|~]')
# Beside which stands, before the ending, what phones, browsers and computers add to a file that they save once more.


def saved_as(stem: str) -> str:
    """What stands before `.corners` in the name of a photo's note: that of the photo, without what browsers replace in
    the names of files that they save."""
    return re.sub(r"^\.+", "_", " ".join(_REPLACED.sub("_", stem).split()))


def of_corner_notes(inbox: Path, shown: str, warnings: list[str], newest: list[Path] | None = None) -> dict[str, Any]:
    """What notes of the corner page say: beside the photo, or in the inbox itself for the photo that they name.

    The newest wins; a phone that saves one twice calls the second `IMG_1.corners (1).txt`. newest: it is put there.
    """
    found: list[tuple[int, str, dict[str, Any], Path]] = []
    folder = place_of(inbox, shown).parent
    for place in dict.fromkeys((folder, inbox)):
        for note in _called_for(place, shown):
            unclear: list[str] = []
            said = said_by(note, unclear, keep_photo=True)
            if said is not None and is_meant(inbox, shown, str(said.pop("photo", "")), beside=place == folder):
                warnings += unclear
                with contextlib.suppress(OSError):
                    found.append((note.stat().st_mtime_ns, note.name, said, note))
    said = {}
    for _, _, newer, note in sorted(found, key=lambda one: one[:2]):
        lay_over(said, newer)
        if newest is not None:
            newest[:] = [note]
    return said


def _called_for(place: Path, shown: str) -> list[Path]:
    """A photo's notes of the corner page in a folder, however often and in whatever letters they were saved."""
    stem = PurePosixPath(shown).stem
    stems = {folded(each) for each in (stem, as_it_lies(stem), saved_as(stem))}
    notes = in_folder(place)
    fit = [key for key in notes if is_corner_note(key) and key.partition(CORNER_NOTE)[0] in stems]
    return [place / name for key in sorted(fit) for name in notes[key]]


def is_called_for(note: str, shown: str) -> bool:
    """Whether a note of the corner page has the name that a photo's would have."""
    stem = PurePosixPath(shown).stem
    return folded(note).partition(CORNER_NOTE)[0] in (folded(stem), folded(saved_as(stem)))


def is_meant(inbox: Path, shown: str, named: str, *, beside: bool) -> bool:
    """Whether a corner page's note is for a photo: for the one that it names, or for that beside it, with which it was
    moved or renamed. Not where the named photo lies elsewhere: two folders may hold photos of one name."""
    if composed(named) == composed(shown):
        return True
    with contextlib.suppress(OSError, ValueError):
        return beside and not (named and place_of(inbox, named).is_file())
    return beside


def named_in(place: Path) -> str:
    """The photo that a note of the corner page names; empty where it names none."""
    return str((said_by(place, [], keep_photo=True) or {}).get("photo", ""))


def is_corner_note(name: str) -> bool:
    """Whether a file is called like the notes that the corner page saves."""
    return CORNER_NOTE in name.casefold() and name.casefold().endswith(".txt")
