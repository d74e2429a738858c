"""The inbox: a scan that is the truth, events that only hurry it, and the rule for when a file is whole."""

import contextlib
import hashlib
import os
import socket
import stat
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from watchdog.events import (
    DirMovedEvent,
    FileClosedEvent,
    FileCreatedEvent,
    FileDeletedEvent,
    FileMovedEvent,
    FileSystemEvent,
    FileSystemEventHandler,
)
from watchdog.observers import Observer

from autoprep.files.ignored import IGNORED_ENDINGS, IGNORED_NAMES, is_ignored_folder
from autoprep.ledger import SeenFile
from autoprep.wishes.note_files import NOTE_ENDINGS, has_rows, is_work_list

Signature = tuple[int, int, int]
Note = tuple[str, int, int]
"""Name, mtime_ns and size of a note, or of a list of works."""

# The film that phones take along with a photo carries the photo's name.
_FILMS = (".mov", ".mp4", ".m4v")
_BESIDE = (".jpg", ".jpeg", ".heic", ".heif", ".avif", ".png", ".dng")
# Endings that pictures have, whether or not they can be read here: what bears one and holds none is told.
_PICTURES = frozenset((
    "jpg", "jpeg", "jpe", "jfif", "heic", "heif", "hif", "png", "tif", "tiff", "webp", "avif", "gif", "bmp", "jp2",
    "jxl", "psd", "raw", "dng", "nef", "nrw", "cr2", "cr3", "crw", "arw", "sr2", "raf", "rw2", "orf", "pef", "srw",
    "iiq", "3fr", "fff", "x3f",
))  # fmt: skip
_LONGEST_ENDING = 8  # what stands behind the last full stop of a name may be words
_NEVER_PHOTOS = IGNORED_ENDINGS + NOTE_ENDINGS
_WINDOWS_PLACEHOLDER = 0x1000 | 0x40000 | 0x400000  # offline, recall on open, recall on data access
_MACOS_DATALESS = 0x40000000


def is_ignored(name: str) -> bool:
    """Hidden, temporary and partial names, notes, what systems keep and what phones write beside an edited photo."""
    folded = name.casefold()
    never = folded in IGNORED_NAMES or folded.endswith(_NEVER_PHOTOS) or is_work_list(name)
    return never or folded.startswith((".", "~"))


def may_be_picture(name: str) -> bool:
    """Whether a file's name is one of a picture, or says nothing of what it is: it has no ending."""
    stem, dot, ending = name.rpartition("/")[2].rpartition(".")
    return not (stem and dot and 0 < len(ending) <= _LONGEST_ENDING and ending.isalnum()) or ending.lower() in _PICTURES


@dataclass(frozen=True, slots=True)
class Found:
    """A file of the inbox as a scan saw it: path below the inbox, signature, and whether it is a plain file."""

    path: bytes
    signature: Signature
    plain: bool
    filled: bool = True


def scan(inbox: Path, notes: dict[str, tuple[Note, ...]] | None = None) -> list[Found]:
    """Every file below the inbox that is not ignored, in a stable order; links are not followed.

    notes: filled with the notes of each folder, by its path below the inbox ("." for the inbox itself).
    An inbox that is not there gives nothing: absence is not deletion.
    """
    found: list[Found] = []
    pending = [os.fsencode(inbox)]
    root = pending[0].rstrip(os.sep.encode())
    while pending:
        folder = pending.pop()
        try:
            entries = list(os.scandir(folder))
        except OSError:
            continue
        if notes is not None:
            notes[os.fsdecode(os.path.relpath(folder, root))] = _notes_of(entries)
        photos = {_stem(entry.name) for entry in entries if entry.name.lower().endswith(_PHOTO_ENDINGS)}
        for entry in entries:
            with contextlib.suppress(OSError):
                if entry.is_dir(follow_symlinks=False):
                    pending += [] if is_ignored_folder(os.fsdecode(entry.name)) else [entry.path]
                    continue
                film = entry.name.lower().endswith(_FILM_ENDINGS) and _stem(entry.name) in photos
                if not film and not is_ignored(os.fsdecode(entry.name)):
                    found.append(_found(entry, len(root) + 1))
    return sorted(found, key=lambda item: item.path)


def _notes_of(entries: list[os.DirEntry[bytes]]) -> tuple[Note, ...]:
    found = []
    for entry in entries:
        name = os.fsdecode(entry.name)
        if (name.casefold().endswith(NOTE_ENDINGS) or has_rows(name)) and not name.startswith("."):
            with contextlib.suppress(OSError):
                status = entry.stat(follow_symlinks=False)
                found.append((name, status.st_mtime_ns, status.st_size))
    return tuple(sorted(found))


_PHOTO_ENDINGS = tuple(os.fsencode(ending) for ending in _BESIDE)
_FILM_ENDINGS = tuple(os.fsencode(ending) for ending in _FILMS)


def _stem(name: bytes) -> bytes:
    return name.rpartition(b".")[0].lower()


def _found(entry: os.DirEntry[bytes], below: int) -> Found:
    status = entry.stat(follow_symlinks=False)
    placeholder = getattr(status, "st_file_attributes", 0) & _WINDOWS_PLACEHOLDER
    placeholder |= getattr(status, "st_flags", 0) & _MACOS_DATALESS
    blocks = getattr(status, "st_blocks", None)
    # Fewer blocks than bytes: space that a copy has announced and not yet filled. Small files live in the inode.
    hollow = blocks is not None and status.st_size > 65536 and blocks * 512 < status.st_size // 2
    signature = (status.st_size, status.st_mtime_ns, status.st_ino)
    path = entry.path[below:]
    plain = stat.S_ISREG(status.st_mode)
    return Found(path, signature, plain, not plain or not (placeholder or hollow or status.st_size == 0))


GIVE_UP_WAITING_S = 600.0  # an incomplete file that has been still for so long is set aside


class Settling:
    """Which files have been still for long enough, by looks compared with each other on the monotonic clock."""

    def __init__(self, settle_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._settle_s, self._clock = settle_s, clock
        self._still_since: dict[bytes, tuple[Signature, float]] = {}
        self._hollow: set[bytes] = set()
        self._not_before: dict[bytes, float] = {}
        self._refused: dict[bytes, str] = {}

    def look(self, found: list[Found], known: dict[bytes, SeenFile]) -> list[Found]:
        """The files that are new or changed and have settled; the rest is remembered for the next look."""
        now = self._clock()
        settled, still = [], {}
        for item in found:
            seen = known.get(item.path)
            if seen is not None and seen.signature == item.signature:
                continue
            before = self._still_since.get(item.path)
            since = before[1] if before is not None and before[0] == item.signature else now
            still[item.path] = (item.signature, since)
            if before is None or before[0] != item.signature:
                self._not_before.pop(item.path, None)
                self._refused.pop(item.path, None)
            ready = now - since >= self._settle_s and before is not None
            empty = item.plain and not item.signature[0] and now - since >= GIVE_UP_WAITING_S
            if ready and (item.filled or empty) and now >= self._not_before.get(item.path, 0):
                settled.append(item)
        self._still_since = still
        self._hollow = {item.path for item in found if not item.filled}
        return settled

    def hollow(self) -> list[bytes]:
        """Files of the last look that hold nothing yet: empty, reserved by a copy, or not fetched by a sync tool."""
        return sorted(self._hollow)

    def later(self, path: bytes, wait_s: float, why: str = "") -> None:
        """Do not offer this file before some time has passed, unless it changes; why: it could not be taken in."""
        self._not_before[path] = self._clock() + wait_s
        if why:
            self._refused[path] = why

    def refused(self, known: Mapping[bytes, SeenFile]) -> dict[bytes, str]:
        """The files of the last look that could not be taken in at their last try, and why."""
        lying = {path: self._still_since[path][0] for path in self._refused.keys() & self._still_since.keys()}
        self._refused = {path: self._refused[path] for path in sorted(lying) if self.waits(path, lying[path], known)}
        return dict(self._refused)

    def still_s(self, path: bytes) -> float:
        """For how long the file has not changed."""
        entry = self._still_since.get(path)
        return 0.0 if entry is None else self._clock() - entry[1]

    def waits(self, path: bytes, signature: Signature, known: Mapping[bytes, SeenFile]) -> bool:
        """Whether a file lay there at the last look, with this signature, and has not been taken since."""
        entry, seen = self._still_since.get(path), known.get(path)
        return entry is not None and entry[0] == signature and (seen is None or seen.signature != signature)

    def untaken(self, known: dict[bytes, SeenFile]) -> int:
        """How many files of the last look are new or changed and have not been taken since.

        Empty files and placeholders are not counted: nobody knows whether they will ever be filled; nor those that
        could not be taken in, until their next try.
        """
        now = self._clock()
        paused = {path for path in self._refused if now < self._not_before.get(path, 0)}
        return sum(
            not (path in self._hollow or path in paused) and (path not in known or known[path].signature != signature)
            for path, (signature, _) in self._still_since.items()
        )


@dataclass(frozen=True)
class SettledFile:
    """A file as read, once: its bytes and the signature that held before and after the reading."""

    path: bytes
    signature: Signature
    data: bytes


def read_settled(inbox: Path, item: Found, most: int = -1) -> SettledFile | None:
    """Read a file; None when it changed or went away meanwhile. Raises OSError where it may not, or can't, be read.

    most: so many bytes from its start; negative: all.
    """
    read = read_plain(inbox, item.path, most)
    return None if read is None or read.signature != item.signature else read


def read_plain(inbox: Path, path: bytes, most: int = -1) -> SettledFile | None:
    """Read a file of the inbox without following links or blocking on pipes; None where no plain file is there, or it
    changed while it was read. Raises OSError where one is there and can't be read. most: as for read_settled.
    """
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    place = os.path.join(os.fsencode(inbox), path)
    try:
        handle = os.open(place, flags)
    except OSError:
        if not os.path.isfile(place) or os.path.islink(place):
            return None
        raise
    with os.fdopen(handle, "rb") as file:
        before = os.fstat(file.fileno())
        if not stat.S_ISREG(before.st_mode):
            return None
        data = file.read(most)
        after = os.fstat(file.fileno())
    signature = (before.st_size, before.st_mtime_ns, before.st_ino)
    same = signature == (after.st_size, after.st_mtime_ns, after.st_ino)
    return SettledFile(path, signature, data) if same and len(data) in (before.st_size, most) else None


class Hints(FileSystemEventHandler):
    """File system events as hints: each wakes the service once, none carries work."""

    def __init__(self, inbox: Path) -> None:
        self._inbox = inbox
        self._reader, self._writer = socket.socketpair()
        self._writer.setblocking(False)
        self._reader.setblocking(False)
        self._observer: Any = None
        self._root: int | None = None

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Wake the service. An exception here would end the observer's thread for good."""
        self.wake()

    def wake(self) -> None:
        """Make the service look now; safe from any thread and from signal handlers."""
        with contextlib.suppress(OSError):
            self._writer.send(b"!")

    def fileno(self) -> int:
        """The descriptor that becomes readable with a hint."""
        return self._reader.fileno()

    def drain(self) -> bool:
        """Whether there were hints; they are forgotten."""
        heard = False
        with contextlib.suppress(OSError):
            while self._reader.recv(4096):
                heard = True
        return heard

    def arm(self) -> bool:
        """See to it that the inbox is watched; called at every scan. False when it can't be watched now."""
        try:
            root = self._inbox.stat().st_ino
        except OSError:
            self._disarm()
            return False
        if self._alive() and root == self._root:
            return True
        self._disarm()
        observer = Observer()
        try:
            kinds = [FileCreatedEvent, FileClosedEvent, FileMovedEvent, FileDeletedEvent, DirMovedEvent]
            observer.schedule(self, str(self._inbox), recursive=True, event_filter=kinds)
            observer.start()
        except OSError:
            return False  # no watches left, or the folder went away: the periodic scan does the work
        self._observer, self._root = observer, root
        return True

    def _alive(self) -> bool:
        observer = self._observer
        return observer is not None and observer.is_alive() and all(e.is_alive() for e in observer.emitters)

    def _disarm(self) -> None:
        if self._observer is not None:
            with contextlib.suppress(Exception):
                self._observer.stop()
                self._observer.join(2)
            self._observer = None

    def close(self) -> None:
        """Stop watching."""
        self._disarm()
        self._reader.close()
        self._writer.close()


def bytes_of(inbox: Path, paths: Iterable[bytes], sha256: str) -> bytes | None:
    """The bytes of this hash from the first of these files below the inbox that holds them; None where none does.

    Raises OSError where none does, and one of the files can't be read.
    """
    problem = None
    for path in paths:
        try:
            read = read_plain(inbox, path)
        except OSError as met:
            problem = met
            continue
        if read is not None and hashlib.sha256(read.data).hexdigest() == sha256:
            return read.data
    if problem is not None:
        raise problem
    return None
