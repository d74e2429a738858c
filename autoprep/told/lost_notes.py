"""Notes that ask to hold a work and are heard by none: renamed by a sync tool, say, or called for another photo."""

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path, PurePosixPath

from autoprep.logs import as_shown
from autoprep.wishes.note_files import NOTE_ENDINGS, said_in, text_of
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
    with contextlib.suppress(OSError):
        text = text_of(note)
        return text is not None and bool(said_in(text, note, []).get("hold"))
    return False
