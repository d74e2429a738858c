"""Notes that ask to hold a work and are heard by none: renamed by a sync tool, say, or called for another photo."""

import contextlib
import os
from pathlib import Path, PurePosixPath

from autoprep.ledger import Ledger
from autoprep.logs import as_shown
from autoprep.told.work_lists import known_names
from autoprep.wishes.note_files import NOTE_ENDINGS, said_in, text_of
from autoprep.wishes.photo_notes import without_photo
from autoprep.wishes.work_lists import as_compared


def holds_unheard(inbox: Path, ledger: Ledger | None) -> tuple[str, ...]:
    """The notes below the inbox, by their names, that ask to hold and are called like no photo beside them.

    One that is called like a photo that lay there speaks for it still, and is heard.
    """
    known: set[str] | None = None
    found: list[str] = []
    for at, folders, files in os.walk(inbox):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        own = sorted(name for name in files if name.casefold().endswith(NOTE_ENDINGS) and not name.startswith("."))
        for name in without_photo(own, {*files} - {*own}):
            if not _holds(Path(at, name)):
                continue
            known = _known(ledger) if known is None else known
            shown = PurePosixPath(as_shown(os.path.relpath(at, inbox).replace(os.sep, "/"))) / as_shown(name)
            found += [] if as_compared(str(shown.with_suffix(""))) in known else [str(shown)]
    return tuple(found)


def _known(ledger: Ledger | None) -> set[str]:
    return set() if ledger is None else known_names(ledger)


def _holds(note: Path) -> bool:
    with contextlib.suppress(OSError):
        text = text_of(note)
        return text is not None and bool(said_in(text, note, []).get("hold"))
    return False
