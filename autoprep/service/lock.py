"""The studio's lock: one service at a time, on every system, also where somebody deletes the lock's file."""

import contextlib
import os
from pathlib import Path

from filelock import FileLock, Timeout

from autoprep.errors import AlreadyRunning, StudioMoved

try:
    import fcntl
except ImportError:  # Windows: there a file that is open can't be deleted, so its lock alone is enough
    fcntl = None  # type: ignore[assignment]


class StudioLock:
    """Holds a studio, from construction to close(); the system gives it back when the process ends, however it ends.

    Two things are locked: the file `.lock` in the records, and where the system can, the folder itself, for somebody
    may delete the file, and the next service would make a new one. Raises AlreadyRunning.
    """

    def __init__(self, records: Path) -> None:
        records.mkdir(parents=True, exist_ok=True)
        self._records, self._folder = records, -1
        self._file = FileLock(records / ".lock", timeout=0)
        try:
            self._file.acquire()
            self._lock_folder()
        except (Timeout, BlockingIOError):
            self.close()
            raise AlreadyRunning(
                f"another Autoprep is at work in this studio ({records.parent}); stop it first, or let it do the work"
            ) from None

    def _lock_folder(self) -> None:
        if fcntl is not None:
            self._folder = os.open(self._records, os.O_RDONLY)
            try:
                fcntl.flock(self._folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise
            except OSError:  # some network shares lock files but no folders: then the file alone has to do
                os.close(self._folder)
                self._folder = -1

    def look(self) -> None:
        """See to it that the lock still holds what the next service would ask for; called now and then.

        A file that was deleted is made and locked again. Raises StudioMoved where the records are another folder now.
        """
        if self._folder < 0:
            return
        try:
            there = os.stat(self._records)
        except OSError as problem:
            raise self._moved() from problem
        held = os.fstat(self._folder)
        if (there.st_dev, there.st_ino) != (held.st_dev, held.st_ino):
            raise self._moved()
        if not (self._records / ".lock").exists():
            self._file.release(force=True)
            with contextlib.suppress(Timeout):  # the folder is ours: whoever asks in this moment is refused there
                self._file.acquire()

    def _moved(self) -> StudioMoved:
        return StudioMoved(
            f"the folder {self._records} was moved or replaced while Autoprep worked in it; nothing is lost. "
            "Put it back, or start Autoprep again where the studio lies now"
        )

    def close(self) -> None:
        """Give the studio back."""
        self._file.release(force=True)
        if self._folder >= 0:
            os.close(self._folder)
            self._folder = -1
