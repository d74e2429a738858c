"""The studio's files that stand around the work: its lock, its ledger, the proof page and the picture lists."""

import hashlib
import json
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
    """The picture lists of the destinations that ask for one, in their folders.

    A list that somebody has changed, or laid there, is theirs: the service's own stands beside it.
    """
    ours = _Lists(settings)
    for name, preset in settings.destinations.items():
        if not preset.listing:
            continue
        folder = settings.folders.ready / name
        listed = listing.entries(name, records, lambda path: (settings.studio / path).is_file())
        artist = settings.artist.name if preset.rights == "full" else ""
        csv = listing.as_csv(listed, artist, preset.prices).encode("utf-8-sig")
        page = listing.as_page(listed, artist, preset).encode("utf-8")
        for suffix, data in ((".csv", csv), (".html", page)):
            ours.keep(folder, suffix, data if listed else None)
    ours.remember()


class _Lists:
    """The lists that the service has written, by their hashes: records/lists.json."""

    def __init__(self, settings: Settings) -> None:
        self._studio, self._file = settings.studio, settings.folders.records / "lists.json"
        try:
            self._known: dict[str, str] = json.loads(self._file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            self._known = {}
        self._before = dict(self._known)

    def keep(self, folder: Path, suffix: str, data: bytes | None) -> None:
        """Write one list, or take it away where there is nothing to list."""
        names = (folder / f"image-list{'' if number == 1 else f'-{number}'}{suffix}" for number in range(1, 1000))
        place = next(place for place in names if not place.exists() or self._is_ours(place))
        key = place.as_posix()
        if data is None:
            if place.exists():
                place.unlink()
            self._known.pop(key, None)
        elif not place.exists() or place.read_bytes() != data:
            write_now(place, data, "list")
        if data is not None:
            self._known[key] = hashlib.sha256(data).hexdigest()

    def _is_ours(self, place: Path) -> bool:
        return hashlib.sha256(place.read_bytes()).hexdigest() == self._known.get(place.as_posix())

    def remember(self) -> None:
        """Keep the hashes for the next time."""
        if self._known != self._before:
            write_now(self._file, json.dumps(self._known, indent=1, sort_keys=True).encode("utf-8"), "lists")


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
