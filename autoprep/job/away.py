"""Whether the folder of finished pictures, or the inbox, is away: a share that is not connected, a renamed folder."""

import os
from pathlib import Path

from autoprep.ledger import Ledger
from autoprep.wishes.tables import Settings

# In the ledger the folders that were seen on a disk of their own: others in their place need not be.
_APART = "finished pictures on a disk of their own"
_INBOX_APART = "the inbox on a disk of its own"
_NOT_CONNECTED = "no longer on the disk that it was on (one that is not connected?)"


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
            why = f"is {_NOT_CONNECTED}"
    except (FileNotFoundError, NotADirectoryError):
        if ledger.overview.has_had_files(ready):
            why = "is not there (a disk that is away?)"
    except OSError as problem:
        why = f"can't be read ({problem.strerror})"
    if not why:
        return ""
    anew = "if you took it away yourself, `autoprep init` with your studio's folder makes it anew"
    return f"the folder of finished pictures {ready} {why}; once it is back, all goes on by itself, and {anew}"


def no_inbox(settings: Settings, ledger: Ledger | None) -> str:
    """Why nothing can come in; empty where it can. ledger: None where there is none yet.

    A share that is not connected leaves an empty folder. One with something in it is used, whatever disk it is on.
    """
    inbox = settings.folders.inbox
    try:
        with os.scandir(inbox) as entries:
            empty = all(entry.name.startswith(".") for entry in entries)
    except FileNotFoundError:
        return f"the inbox {inbox} is not there (a disk that is away?); once it is back, all goes on by itself"
    except OSError as problem:
        return f"the inbox {inbox} can't be read ({problem.strerror})"
    if empty and ledger is not None and not is_apart(inbox) and ledger.kept(_INBOX_APART) == ascii(str(inbox)):
        return f"the inbox {inbox} is empty, and {_NOT_CONNECTED}; once it is back, all goes on by itself"
    return ""


def away_in_words(inbox: str, ready: str) -> list[str]:
    """What is told, a line each, wherever it is: why nothing can come in, and why nothing can be put into ready/.

    inbox, ready: what no_inbox and no_ready say.
    """
    told = {"Nothing comes in": inbox, "Nothing can be made": ready}
    return [f"{what}: {why}" for what, why in told.items() if why]


def note_disk(settings: Settings, ledger: Ledger) -> None:
    """Keep in mind that ready/, which is not away, is on a disk of its own: where it is not one day, that is away."""
    _note(ledger, _APART, settings.folders.ready)


def note_inbox_disk(settings: Settings, ledger: Ledger) -> None:
    """The same of the inbox."""
    _note(ledger, _INBOX_APART, settings.folders.inbox)


def _note(ledger: Ledger, what: str, folder: Path) -> None:
    called = ascii(str(folder)) if is_apart(folder) else ""  # a name need not be text
    if ledger.kept(what) != called:
        ledger.keep(what, called)


def take_as_it_lies(ledger: Ledger) -> None:
    """The artist has asked for the folders anew: they may lie on another disk than before."""
    ledger.keep(_APART, "")
    ledger.keep(_INBOX_APART, "")


def is_apart(folder: Path) -> bool:
    """Whether a folder is the top of a disk of its own, or of a share."""
    try:
        return os.stat(folder).st_dev != os.stat(folder.resolve().parent).st_dev
    except (OSError, RuntimeError):  # a link that leads to itself
        return False
