"""Whether the folder of finished pictures is away: a share that is not connected, a folder that was renamed."""

import os
from pathlib import Path

from autoprep.ledger import Ledger
from autoprep.wishes.tables import Settings

# In the ledger the folder of finished pictures that was seen on a disk of its own: another one need not be.
_APART = "finished pictures on a disk of their own"


def no_ready(settings: Settings, ledger: Ledger) -> str:
    """Why nothing can be put into ready/, nor looked for there; empty where it can.

    Absence is not deletion: what is put into a new folder, or into the empty one that a share leaves in its place,
    would lie below the share when that is back, and what was there before would seem to have been picked up.
    """
    ready, why = settings.folders.ready, ""
    try:
        with os.scandir(ready) as entries:
            next(entries, None)
        if not is_apart(ready) and ledger.kept(_APART) == ascii(str(ready)):
            why = "is no longer on the disk that it was on (one that is not connected?)"
    except (FileNotFoundError, NotADirectoryError):
        if ledger.overview.has_had_files(ready):
            why = "is not there (a disk that is away?)"
    except OSError as problem:
        why = f"can't be read ({problem.strerror})"
    if not why:
        return ""
    anew = "if you took it away yourself, `autoprep init` with your studio's folder makes it anew"
    return f"the folder of finished pictures {ready} {why}; once it is back, all goes on by itself, and {anew}"


def note_disk(settings: Settings, ledger: Ledger) -> None:
    """Keep in mind that ready/ is on a disk of its own: where it is not one day, that disk is away."""
    called = ascii(str(settings.folders.ready))  # a name need not be text
    if is_apart(settings.folders.ready) and ledger.kept(_APART) != called:
        ledger.keep(_APART, called)


def take_as_it_lies(ledger: Ledger) -> None:
    """The artist has asked for ready/ anew: it may lie on another disk than before."""
    ledger.keep(_APART, "")


def is_apart(ready: Path) -> bool:
    """Whether a folder is the top of a disk of its own, or of a share."""
    try:
        return os.stat(ready).st_dev != os.stat(ready.resolve().parent).st_dev
    except (OSError, RuntimeError):  # a link that leads to itself
        return False
