"""The studio's files that stand around the work: its lock, its ledger, the proof page and the picture lists."""

import os
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord
from autoprep.errors import AlreadyRunning
from autoprep.files.storage import write_now
from autoprep.told import lists as listing
from autoprep.told.pages import Place, index_html
from autoprep.wishes.settings import Settings


def write_page(settings: Settings, records: list[JobRecord]) -> Path:
    """Write the proof page, records/proof/index.html; returns its path."""
    page = settings.folders.records / "proof" / "index.html"
    text = index_html(settings.artist.name, Place(settings.studio, page.parent), records)
    write_now(page, text.encode("utf-8", "replace"), "page")
    return page


def write_lists(settings: Settings, records: list[JobRecord]) -> None:
    """The picture lists of the destinations that ask for one, in their folders."""
    for name, preset in settings.destinations.items():
        if not preset.listing:
            continue
        folder = settings.folders.ready / name
        listed = listing.entries(name, records)
        if not listed:  # a list without pictures would name what was taken back
            for old in ("image-list.csv", "image-list.html"):
                (folder / old).unlink(missing_ok=True)
            continue
        artist = settings.artist.name if preset.rights == "full" else ""
        write_now(folder / "image-list.csv", listing.as_csv(listed, artist, preset.prices).encode("utf-8-sig"), "list")
        write_now(folder / "image-list.html", listing.as_page(listed, artist, preset).encode("utf-8"), "list")


def ledger_path(settings: Settings) -> Path:
    """Where the ledger lies."""
    return settings.folders.records / "ledger.sqlite3"


def hold_lock(records: Path) -> Any:
    """Hold the studio's lock; the system gives it back when the process ends, however it ends."""
    records.mkdir(parents=True, exist_ok=True)
    handle = (records / ".lock").open("a+")
    try:
        import fcntl
    except ImportError:
        return handle
    # The folder itself is locked too: somebody may delete the file, and the next service would make a new one.
    folder = os.open(records, os.O_RDONLY)
    held = _Held(handle, folder)
    try:
        for one in (handle.fileno(), folder):
            fcntl.flock(one, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        held.close()
        raise AlreadyRunning(
            f"another Autoprep is at work in this studio ({records.parent}); stop it first, or let it do the work"
        ) from None
    return held


class _Held:
    """An open lock file and the folder that it lies in."""

    def __init__(self, file: Any, folder: int) -> None:
        self._file, self._folder = file, folder

    def close(self) -> None:
        """Give the studio back."""
        self._file.close()
        os.close(self._folder)
