"""Notes that ask to hold a work and are heard by none: renamed by a sync tool, called for another photo."""

import contextlib
import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path, PurePosixPath

from autoprep.logs import as_shown
from autoprep.wishes.holding import holds
from autoprep.wishes.note_files import NOTE_ENDINGS, is_rich, said_in, text_of
from autoprep.wishes.photo_notes import without_photo
from autoprep.wishes.work_lists import as_compared


def unheard_among(inbox: Path, at: Path, files: Iterable[str], known: Callable[[], set[str]]) -> Iterator[str]:
    """The notes of a folder, by their names below the inbox, that ask to hold and are called like no photo beside them.

    One that is called like a photo that lay there speaks for it still, and is heard. files: all of the folder; known:
    asked for the names that photos have or had only where there is such a note.
    """
    own = sorted(name for name in files if name.casefold().endswith(NOTE_ENDINGS) and not name.startswith("."))
    for name in without_photo(own, {*files} - {*own}) if own else ():
        if _holds(Path(at, name)):
            shown = PurePosixPath(as_shown(os.path.relpath(at, inbox).replace(os.sep, "/"))) / as_shown(name)
            yield from () if as_compared(str(shown.with_suffix(""))) in known() else (str(shown),)


def _holds(note: Path) -> bool:
    if is_rich(note) and not note.is_symlink():
        return _holds_richly(note)
    with contextlib.suppress(OSError):
        text = text_of(note)
        return text is not None and bool(said_in(text, note, []).get("hold"))
    return False


# What begins another line in rich text, and what else stands between marks: of a font, say.
_NEXT_LINE = re.compile(r"\\(?:par|line)\b|[\r\n]+")
_MARK = re.compile(r"\\[a-z]+-?\d* ?|[{}]")
_NO_HOLD = re.compile(r"hold\s*:\s*no\b", re.IGNORECASE)
_LOOKED_AT = 1 << 16


def _holds_richly(note: Path) -> bool:
    """Whether a line of a note in rich text, which is not read, seems to ask for it."""
    with contextlib.suppress(OSError), note.open("rb") as file:
        lines = _NEXT_LINE.split(file.read(_LOOKED_AT).decode("utf-8", "replace"))
        bare = (_MARK.sub("", line).strip() for line in lines)
        return any(holds(line) and not _NO_HOLD.match(line) for line in bare)
    return False
