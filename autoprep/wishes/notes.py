"""What the artist says of a work: by a note beside the photo, by a row of a list, by the photo's name, by its folders.

The note wins over the list, the list over the name, the name over the folders, those over a folder's note;
what contradicts itself is told.
"""

import contextlib
import os
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Any

from autoprep.domain import ReferenceShot, WorkFacts
from autoprep.logs import as_shown
from autoprep.wishes.captions import Doubt, from_folders, from_name, open_doubts, reference
from autoprep.wishes.corner_notes import of_corner_notes
from autoprep.wishes.names import part_name, whole_name
from autoprep.wishes.note_files import OF_THE_SIZE, WHATEVER_ELSE, has_rows, in_words, lay_over, place_of, said_by
from autoprep.wishes.photo_notes import (
    PICTURES,
    Given,
    from_folder_notes,
    from_note,
    from_sketchbook,
    has_note,
    notes_of,
    still_free,
    together,
)

_MOST_REFERENCES = 4


def facts_of(
    inbox: Path, shown: str, words: Path | None = None, was: Sequence[str] = (), held_as: str = ""
) -> tuple[WorkFacts, tuple[str, ...]]:
    """The facts of the work in a photo, and what was said that can't be used. Reads the notes beside it, if any.

    words: a note that was left by the command line; it wins over all others; was: what the photo was called before:
    where no note has its name now, one that was left behind speaks for it; held_as: by which of its names it was held
    until now: see WorkFacts.
    """
    warnings: list[str] = []
    sources = _sources(inbox, (shown, *still_free(inbox, was)), words, warnings)
    return _facts((_held_still(inbox, shown, held_as, sources, warnings), *sources), warnings)


def _held_still(
    inbox: Path, shown: str, held_as: str, sources: Sequence[dict[str, Any]], warnings: list[str]
) -> dict[str, Any]:
    """What is said of a photo by a hold that was heard under a name which another photo has now: its note, or row, is
    that one's by now, and the hold stays with the photo that it was meant of. Any word on a hold goes over it."""
    if held_as in ("", shown) or still_free(inbox, (held_as,)):
        return {}
    if not any("hold" in source for source in sources):
        warnings.append(
            f"it was held when it was called {held_as}, as another photo is called now; so it is held until a note of "
            f"its own, its row in a list or `autoprep say` says “hold: no”, or nothing holds {held_as} any more and no "
            "photo is called so"
        )
    return {"hold": True, "held_as": held_as}


# What is said of a photo of several works and holds for none of them by itself.
_OF_ALL_TOGETHER = (
    "outline", "corners_px", "not_a_work", "inventory", "order", "price", "description", "alt_text",
)  # fmt: skip


def facts_of_part(
    inbox: Path,
    shown: str,
    part: int,
    words: Path | None = None,
    of_photo: Path | None = None,
    was: Sequence[str] = (),
    held_as: str = "",
) -> tuple[WorkFacts, tuple[str, ...]]:
    """The facts of one of several works in a photo, and what was said that can't be used.

    What is said of the photo holds for each of its works, but for what can be true of one only; over it what a note of
    the work's own name says (`IMG_1-2.txt`). shown: the work's name; part: which one it is, from 1; words, of_photo:
    notes that were left by the command line, of the work and of the photo; was: what the photo was called before;
    held_as: as above.
    """
    warnings: list[str] = []
    shared: dict[str, Any] = {}
    names = (whole_name(shown, part), *still_free(inbox, was))
    for source in _sources(inbox, names, of_photo, warnings):
        lay_over(shared, source)
    shared = {key: value for key, value in shared.items() if key not in _OF_ALL_TOGETHER}
    if "title" in shared:
        shared["title"] = f"{shared['title']} {part}"
    called = [part_name(name, part) for name in names]
    free = still_free(inbox, called)
    if called[0] not in free and has_note(inbox, called[0], corners=False):
        warnings.append(
            f"the note of {PurePosixPath(called[0]).name} is that of the photo of this name, and not of work {part} in "
            f"{PurePosixPath(names[0]).name}; give that photo another name, or say by the command line what is meant"
        )
    called = list(free)
    note = from_note(inbox, called, warnings)
    if note.get("hold"):
        note["held_as"] = next(name for name in names if _holds_as(inbox, part_name(name, part)))
    sources = (shared, note, _from_corner_notes(inbox, called, warnings), _told(words, warnings))
    return _facts((_held_still(inbox, names[0], held_as, sources, warnings), *sources), warnings)


def facts_left_behind(inbox: Path, was: Sequence[str], words: Path) -> tuple[WorkFacts, tuple[str, ...]]:
    """What speaks for a photo whose own place another picture has taken: notes of its earlier names, and the words that
    were left by the command line; and what of that can't be used."""
    warnings: list[str] = []
    names = still_free(inbox, was)
    return _facts((_noted(from_note(inbox, names, warnings)), _noted(_told(words, warnings))), warnings)


def facts_since(
    inbox: Path, shown: str, before: WorkFacts, words: Path, of_photo: Path | None, was: Sequence[str] = ()
) -> tuple[WorkFacts, tuple[str, ...]] | None:
    """The facts of the work in a photo that is away, and what was said that can't be used; None where nothing is said
    of it by a note where its own was, or by the command line. before: what was said of it; the others: as above."""
    warnings: list[str] = []
    note = _noted(from_note(inbox, (shown, *still_free(inbox, was)), warnings))
    shared = {key: value for key, value in _told(of_photo, warnings).items() if key not in (*_OF_ALL_TOGETHER, "title")}
    told = _noted(_told(words, warnings))
    if not (note or shared or told or warnings):
        return None
    own = before.model_dump(exclude_defaults=True, exclude={"unclear", "released"})
    own |= {"hold": False} if before.released else {}
    return _facts((own, note, shared, told), warnings)


def _sources(inbox: Path, names: Sequence[str], words: Path | None, warnings: list[str]) -> tuple[dict[str, Any], ...]:
    """What is said of a photo, the strongest word last; names: what it is called, and was called before."""
    shown = names[0]
    of_folders: list[Doubt] = []
    folders, (name, doubts) = from_folders(shown, warnings, of_folders), from_name(shown)
    notes = notes_of(inbox, names, warnings)
    note = together(notes, warnings)
    folder_notes = from_folder_notes(inbox, shown, warnings)
    page: list[Path] = []
    corner_notes = _from_corner_notes(inbox, names, warnings, page)
    told = _told(words, warnings)
    warnings += _outdone(
        notes[0] if notes else None,
        note,
        (page[0], corner_notes) if page else None,
        (words, told) if words else None,
    )
    warnings += open_doubts(doubts, folder_notes | note | corner_notes | told, "the photo's name")
    warnings += open_doubts(of_folders, name | note | corner_notes | told, "the photo's folder")
    # A name that gives a title and nothing else is no more than the file's name: a note is there to say another.
    spoken = {} if list(name) == ["title"] else name
    warnings += _contradictions((("folder", folders), ("name", spoken), (_whose(notes), note)))
    if note.get("hold"):
        note["held_as"] = next(name for name in names if _holds_as(inbox, name))
    return from_sketchbook(inbox, shown), folder_notes, folders, name, _noted(note), corner_notes, _noted(told)


def _holds_as(inbox: Path, name: str) -> bool:
    """Whether a note of a photo of this name, or its row in a list, asks to hold it."""
    return bool(from_note(inbox, (name,), []).get("hold"))


def _outdone(
    own: Given | None,
    note: dict[str, Any],
    page: tuple[Path, dict[str, Any]] | None,
    command: tuple[Path, dict[str, Any]] | None,
) -> list[str]:
    """Where a note says otherwise, and later, than what wins over it: the corner page's note, and the command line."""
    found = []
    if own is not None and page is not None and _is_newer(own.place, page[0]):
        outlines = [{key: said.get(key) for key in _OUTLINE} for said in (note, page[1])]
        if any(outlines[0].values()) and any(outlines[1].values()) and outlines[0] != outlines[1]:
            file = as_shown(page[0].name)
            found.append(
                f"{own.called} gives another outline than {file}, which the corner page has saved and "
                f"which holds; to have the {_whose([own])}'s, delete {file}"
            )
    if own is not None and command is not None and _is_newer(own.place, command[0]):
        found += [
            f"the photo's {_whose([own])} and what you said by the command line do not agree on {in_words(key)}; the "
            f"command line holds, until it is unsaid with “{key.replace('_', ' ')}:”"
            for key in note if key not in (*_OUTLINE, *WHATEVER_ELSE, "keywords", *OF_THE_SIZE)
            and key in command[1] and note[key] != command[1][key]
        ]  # fmt: skip
    return found


_OUTLINE = ("outline", "corners_px")


def _whose(notes: Sequence[Given]) -> str:
    """What a sentence calls the strongest of a photo's notes, or its row in a list where it has none."""
    return "list" if notes and has_rows(notes[0].place.name) else "note"


def _is_newer(note: Path, other: Path) -> bool:
    try:
        return note.stat().st_mtime_ns > other.stat().st_mtime_ns
    except OSError:
        return False


def _noted(said: dict[str, Any]) -> dict[str, Any]:
    """The same, marked where anything in it is said of a work."""
    return said | ({"noted": True} if said.keys() - _OF_ANY_PHOTO else {})


# What may be said of a photo that shows no work.
_OF_ANY_PHOTO = frozenset(("hold", "held_as", "not_for", "not_a_work", "reference"))


def _told(words: Path | None, warnings: list[str]) -> dict[str, Any]:
    return {} if words is None else said_by(words, warnings, "what you said") or {}


def _facts(sources: Iterable[dict[str, Any]], warnings: list[str]) -> tuple[WorkFacts, tuple[str, ...]]:
    said: dict[str, Any] = {}
    for source in sources:
        lay_over(said, source)
    if "size_mm" in said and not all(5 <= side <= 20_000 for side in said["size_mm"]):
        warnings.append("the size that is given is no size of a work; it was not used")
        del said["size_mm"], said["size_free"]
    said["released"] = said.get("hold") is False
    if not said.get("hold"):
        said.pop("held_as", None)
    return WorkFacts(**_shortened(said, warnings)), tuple(dict.fromkeys(warnings))


def _contradictions(sources: tuple[tuple[str, dict[str, Any]], ...]) -> list[str]:
    """Where folder, name and note of one photo do not agree, and which of them holds.

    A folder's title is that of a group; a name of its own beside it is none.
    """
    found = []
    keys = dict.fromkeys(
        key for _, said in sources for key in said if key not in (*WHATEVER_ELSE, "keywords", *OF_THE_SIZE)
    )
    for key in keys:
        given = [(called, said[key]) for called, said in sources if key in said]
        given = [one for one in given if (key, one[0]) != ("title", "folder")]
        for (first, was), (last, holds) in pairwise(given):
            if was != holds:
                found.append(f"the photo's {first} and its {last} do not agree on {in_words(key)}; the {last} holds")
    return found


# What a file's rights can hold (XMP of a JPEG: 65,502 bytes, XMP specification part 3) shared among the words.
_MOST_LETTERS = {"title": 300, "medium": 200, "inventory": 60, "price": 60, "description": 4000, "alt_text": 2000}
_MOST_KEYWORDS, _MOST_KEYWORD = 60, 60


def _shortened(said: dict[str, Any], warnings: list[str]) -> dict[str, Any]:
    """The same with words cut to what a file can hold; that is told."""
    kept = dict(said)
    for name, most in _MOST_LETTERS.items():
        if len(kept.get(name, "")) > most:
            kept[name] = kept[name][: most - 1].rstrip() + "…"
            warnings.append(f"the {name.replace('_', ' ')} is longer than {most} letters; the rest was left out")
    words = kept.get("keywords", ())
    if len(words) > _MOST_KEYWORDS or any(len(word) > _MOST_KEYWORD for word in words):
        kept["keywords"] = tuple(word[:_MOST_KEYWORD] for word in words[:_MOST_KEYWORDS])
        warnings.append(f"only {_MOST_KEYWORDS} keywords of {_MOST_KEYWORD} letters each are used")
    return kept


def reference_shots(inbox: Path, shown: str) -> list[tuple[Path, ReferenceShot]]:
    """The reference shots for a photo: those of its own folder, else of the next folder above that has some."""
    folder = PurePosixPath(shown).parent
    for place in (folder, *folder.parents):
        found = sorted(_references_in(place_of(inbox, str(place))))
        if found:
            return found[:_MOST_REFERENCES]
    return []


def _references_in(folder: Path) -> Iterator[tuple[Path, ReferenceShot]]:
    """By names alone first: an inbox may hold ten thousand photos, and this is asked for each of them."""
    try:
        names = [(name, said) for name in os.listdir(folder) if (said := reference(os.path.splitext(name)[0]))]
    except OSError:
        return
    for name, said in sorted(names):
        entry = folder / name
        if entry.is_symlink():
            continue
        if entry.is_dir():
            with contextlib.suppress(OSError):
                yield from (
                    (file, reference(file.stem) or said) for file in sorted(entry.iterdir()) if _is_picture(file)
                )
        elif _is_picture(entry):
            yield entry, said


def _is_picture(file: Path) -> bool:
    return file.suffix.lower() in PICTURES and file.is_file() and not file.is_symlink()


def _from_corner_notes(
    inbox: Path, names: Iterable[str], warnings: list[str], newest: list[Path] | None = None
) -> dict[str, Any]:
    """The same of the notes of the corner page; newest: the newest of them is put there."""
    return next((said for name in names if (said := of_corner_notes(inbox, name, warnings, newest))), {})
