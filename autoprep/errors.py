"""The error tree. Each class says what happens next with the photo or the command.

AutoprepError
├── ConfigError          the settings are wrong: nothing starts; names file, line and the nearest known name
├── UsageError           the command asks for what is not there
├── PhotoError           about one photo
│   ├── NotYetWhole      retry: the bytes end before the picture does; sync may still be writing
│   ├── Unreadable       set aside: no reader understands these bytes
│   ├── TooLarge         set aside: larger than the limits say
│   └── Unsupported      set aside: not a kind of file that this service reads
├── MarkUnreadable       what carries the mark waits until its picture or font can be read; others are delivered
├── CannotMeet           a destination's rules can't be met by this picture; the others are delivered
├── DeliveryError        retry: an output could not be written (disk full, folder gone)
├── ReadyAway            wait: the folder of finished pictures is away; no try is lost
├── LedgerDamaged        the ledger can't be read: nothing starts; says where its copies lie
├── StudioMoved          the records were moved while the service worked in them: it ends, and may be started again
└── AlreadyRunning       another service works in this studio
"""

import errno
import os
from pathlib import Path

from autoprep.logs import as_shown


class AutoprepError(Exception):
    """Base of all errors whose message is meant for the artist."""


class ConfigError(AutoprepError):
    """The settings can't be used; the message names the file and, where known, the line."""

    def __init__(self, message: str, file: Path | None = None, line: int | None = None) -> None:
        where = "" if file is None else f"{file}" + ("" if line is None else f", line {line}") + ": "
        super().__init__(where + message)
        self.file, self.line = file, line

    @classmethod
    def together(cls, problems: "list[ConfigError]") -> "ConfigError":
        """One error that tells all of them, a line each; the first one's place is its own."""
        first = min(problems, key=lambda one: (str(one.file), one.line or 0))
        ordered = sorted(problems, key=lambda one: (one.file != first.file, str(one.file), one.line or 0))
        if len(ordered) == 1:
            return first
        said = f"{len(ordered)} mistakes in the settings:" + "".join(f"\n  {one}" for one in ordered)
        found = cls(said)
        found.file, found.line = first.file, first.line
        return found


class UsageError(AutoprepError):
    """A command names something that does not exist."""


class PhotoError(AutoprepError):
    """Something about one photo; `retry` tells whether waiting can help."""

    retry = False


class NotYetWhole(PhotoError):
    """The file stops before the picture does."""

    retry = True


class Unreadable(PhotoError):
    """The bytes are no picture that can be decoded."""


class TooLarge(PhotoError):
    """More pixels or bytes than the limits allow."""


class Unsupported(PhotoError):
    """Not a kind of file that is read."""


class CannotMeet(AutoprepError):
    """A destination's rules and this picture don't go together; the message says why, kind in a word (domain.Why)."""

    def __init__(self, message: str, kind: str = "") -> None:
        super().__init__(message)
        self.kind = kind


class MarkUnreadable(AutoprepError):
    """The picture or the font that the visible mark is made of is away, damaged, or not whole."""


class DeliveryError(AutoprepError):
    """An output could not be written; the job is tried again later.

    full: for want of room, which is no fault of it; closed: its folder may not be written to, or is none.
    """

    retry = True

    def __init__(self, message: str, *, full: bool = False, closed: bool = False) -> None:
        super().__init__(message)
        self.full, self.closed = full, closed


class ReadyAway(AutoprepError):
    """The folder of finished pictures is away, and nothing is put anywhere else."""


class AlreadyRunning(AutoprepError):
    """A second service in the same studio."""


class StudioMoved(AutoprepError):
    """The records are no longer the folder that the service holds."""


class LedgerDamaged(AutoprepError):
    """The ledger is no database any more, or one with broken pages."""


NO_ROOM = (errno.ENOSPC, errno.EDQUOT) if hasattr(errno, "EDQUOT") else (errno.ENOSPC,)
_FULL = "there is no free space on the disk"
_CLOSED = (errno.EACCES, errno.EPERM, errno.EROFS)


def is_closed(problem: Exception) -> bool:
    """Whether a file or folder may not be used by this computer's user."""
    return isinstance(problem, OSError) and problem.errno in _CLOSED


def who_may(problem: Exception) -> str:
    """What to see to where something may not be written, to stand behind what is said of it; else empty."""
    return "; see that this computer's user may write there" if is_closed(problem) else ""


NO_LEDGER = "the ledger can't be written to; see that this computer's user may write in the folder records"


def no_way(problem: Exception) -> str:
    """What is said where a studio's files or its ledger may not be written to, or a disk is full; else empty.

    The ledger's library has words of its own for a closed folder.
    """
    if "readonly database" in str(problem):
        return NO_LEDGER
    if not isinstance(problem, OSError) or problem.filename is None:
        return ""
    name = as_shown(os.fsdecode(problem.filename))
    if is_closed(problem):
        return f"{name} can't be opened or written to ({problem.strerror}){who_may(problem)}"
    return f"{_FULL}, so {name} can't be written" if problem.errno in NO_ROOM else ""


def in_plain_words(problem: Exception) -> str:
    """What went wrong, for the artist: with files, with the ledger, or by a mistake of ours."""
    if no_way(problem):
        return no_way(problem)
    if isinstance(problem, OSError):
        return _of_files(problem)
    if isinstance(problem, AutoprepError) or type(problem).__module__ == "sqlite3":
        return str(problem)
    return f"{our_mistake(problem)}; the log tells where"


def _of_files(problem: OSError) -> str:
    """What the system says, without its number."""
    if problem.errno in NO_ROOM:
        return _FULL
    why = problem.strerror or str(problem)
    return f"{as_shown(os.fsdecode(problem.filename))}: {why}" if problem.filename is not None else why


_NO_MEMORY = -4  # OpenCV's StsNoMem (opencv2/core/base.hpp)


def lacks_memory(problem: BaseException) -> bool:
    """Whether there was too little memory, as Python or OpenCV says it."""
    return isinstance(problem, MemoryError) or getattr(problem, "code", None) == _NO_MEMORY


def our_mistake(problem: Exception) -> str:
    """A fault that no code has foreseen: its own words would tell the artist nothing."""
    return f"Autoprep itself made a mistake ({type(problem).__name__})"
