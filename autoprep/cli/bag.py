"""The command that packs a destination's pictures for an archive, or for a call that wants a proof of wholeness."""

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from autoprep import __version__
from autoprep.cli.found import find_destination, open_ledger, ready_away, refuse_own, settings_of
from autoprep.cli.history import month_of
from autoprep.errors import DeliveryError
from autoprep.files.bag import Item, held_in, sha256_of, write_bag
from autoprep.logs import counted, plain
from autoprep.service.studio import listed_in
from autoprep.told import lists as listing
from autoprep.told.lists import Entry
from autoprep.wishes.tables import Settings

LIST_NAME = "works.csv"


def make_bag(options: argparse.Namespace) -> int:
    """Make the bag; 1 where there are no pictures at all, or one is not what it was."""
    settings, folder = settings_of(options), options.folder
    name = find_destination(settings, options.destination) or ""
    refuse_own(settings, folder, "bag")
    month = month_of(options.month)
    away = ready_away(settings)
    if away:
        print(f"No bag was made: {plain(away)}")
        return 1
    ledger = open_ledger(settings)
    try:
        listed = [] if ledger is None else listed_in(settings, ledger.overview, name, month)
    finally:
        if ledger is not None:
            ledger.close()
    held = set() if options.all else held_in(folder)
    new = [entry for entry in listed if entry.output.sha256 not in held]
    known = f"; {len(listed) - len(new)} lie in a bag there already" if len(new) < len(listed) else ""
    new, changed = _sound(settings, new, anyway=options.anyway)
    for entry in changed:
        print(f"Left out: {entry.file} is not what it was when it was made (--anyway takes it as it is)")
    if not new:
        print(f"There is nothing to put into a bag{known}.")
        return 0 if known and not changed else 1
    today = datetime.now(UTC).date().isoformat()
    items, info = _items(settings, name, new), _info(settings, name, len(new))
    try:
        place = write_bag(folder, f"{name}-{month or today}", items, info, today)
    except DeliveryError as problem:
        print(f"No bag was made: {problem}")
        return 1
    print(f"{counted(len(new), 'picture')} in a bag, ready to hand over: {place}{known}")
    return 1 if changed else 0


def _sound(settings: Settings, entries: list[Entry], *, anyway: bool) -> tuple[list[Entry], list[Entry]]:
    """The files that are what they were when they were made, and those that are not; anyway: all, as they are."""
    sound, changed = [], []
    for entry in entries:
        found = sha256_of(settings.studio / Path(entry.output.path))
        if found == entry.output.sha256:
            sound.append(entry)
        elif anyway:
            sound.append(replace(entry, output=entry.output.model_copy(update={"sha256": found})))
        else:
            changed.append(entry)
    return sound, changed


def _items(settings: Settings, name: str, entries: list[Entry]) -> list[Item]:
    """The pictures, and a list of them with what is said of each work."""
    preset, ready = settings.destinations[name], settings.folders.ready / name
    artist = settings.artist.name if preset.rights == "full" else ""
    items = []
    for entry in entries:
        source = settings.studio / Path(entry.output.path)
        inside = source.relative_to(ready) if source.is_relative_to(ready) else Path(source.name)
        items.append(Item(inside.as_posix(), source, entry.output.sha256))
    table = listing.as_csv(entries, artist, preset.prices).encode("utf-8-sig")
    taken = {item.path for item in items}
    name_free = next(n for n in (LIST_NAME, *(f"works-{k}.csv" for k in range(2, 10_000))) if n not in taken)
    return [*items, Item(name_free, table)]


def _info(settings: Settings, name: str, count: int) -> list[tuple[str, str]]:
    """What bag-info.txt says (reserved names of RFC 8493, 2.2.2); of a blind destination nothing about the artist."""
    blind = settings.destinations[name].rights == "none"
    artist = settings.artist
    whose = [("Contact-Name", artist.name), ("Contact-Email", artist.email)]
    return [
        *([] if blind else whose),
        ("External-Description", f"{counted(count, 'picture')} of works, {LIST_NAME} lists them"),
        ("Bag-Group-Identifier", name),
        ("Bag-Software-Agent", f"autoprep {__version__}"),
    ]
