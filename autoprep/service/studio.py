"""The studio's files that stand around the work: the proof pages and the picture lists."""

import hashlib
import json
import time
from datetime import date
from pathlib import Path

from autoprep.files.storage import write_now
from autoprep.ledger import Overview
from autoprep.told import lists as listing
from autoprep.told.pages import Front, Place, index_html, month_html, page_name
from autoprep.wishes.settings import Settings

_MOST_SHOWN = 100  # questions, and photos of the newest day, on the first page


def write_pages(settings: Settings, overview: Overview, today: date, most_s: float = 0.5) -> bool:
    """Write the proof page, records/proof/index.html, and pages of months that are old; whether all are written now.

    Only the records that stand on these pages are read, however many there are. most_s: so long is spent on months.
    """
    page = settings.folders.records / "proof" / "index.html"
    place, artist = Place(settings.studio, page.parent), settings.artist.name
    limit, due = time.monotonic() + most_s, overview.due_pages()
    while due and time.monotonic() < limit:
        month, block = due.pop(0)
        records, leaf = overview.of_block(month, block), page.parent / page_name(month, block)
        if records:
            write_now(leaf, month_html(artist, place, month, records).encode("utf-8", "replace"), "page")
        else:
            leaf.unlink(missing_ok=True)
        overview.written("page", [(month, block)])
    day, counts = overview.latest_day(), overview.outcomes()
    front = Front(
        waiting=overview.waiting_for_answers(_MOST_SHOWN), questions=counts.get("needs a look", 0), day=day,
        today=day == today.isoformat(), latest=overview.of_day(day, _MOST_SHOWN), months=overview.blocks(),
        counts=counts,
    )  # fmt: skip
    write_now(page, index_html(artist, place, front).encode("utf-8", "replace"), "page")
    return not due


class ListWriter:
    """Writes the picture lists of the destinations that ask for one, in their folders, when they are old."""

    def __init__(self) -> None:
        self._seen: dict[str, int] = {}

    def write(self, settings: Settings, overview: Overview) -> None:
        """Write the lists of which something has changed: a file, words, or what lies in the folder.

        A list that somebody has changed, or laid there, is theirs: the service's own stands beside it.
        """
        ours, due = _Lists(settings), overview.due_lists()
        for name, preset in settings.destinations.items():
            folder = settings.folders.ready / name
            if not preset.listing or (name not in due and _changed_at(folder) == self._seen.get(name)):
                continue
            listed = listing.entries(overview.delivered(name), lambda path: (settings.studio / path).is_file())
            artist = settings.artist.name if preset.rights == "full" else ""
            csv = listing.as_csv(listed, artist, preset.prices).encode("utf-8-sig")
            page = listing.as_page(listed, artist, preset).encode("utf-8")
            for suffix, data in ((".csv", csv), (".html", page)):
                ours.keep(folder, suffix, data if listed else None)
            overview.written("list", [(name, 0)])
            self._seen[name] = _changed_at(folder)
        ours.remember()


def _changed_at(folder: Path) -> int:
    """When something in a folder came or went last, in nanoseconds; 0 where it is not there."""
    try:
        return folder.stat().st_mtime_ns
    except OSError:
        return 0


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
