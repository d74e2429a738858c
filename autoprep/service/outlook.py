"""What the service would do next, without doing it."""

import os
from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath
from typing import Any

from autoprep.ledger import Ledger
from autoprep.service.arrivals import shown_name
from autoprep.service.inbox import Found, scan
from autoprep.service.knowledge import Knowledge
from autoprep.service.rule import GiveUp, Measure, Render, Restore, Step, TakeApart, Withdraw
from autoprep.wishes.notes import without_photo
from autoprep.wishes.settings import Settings, ledger_path

_WORDS = {
    Measure: "looked at", Render: "made", Withdraw: "withdrawn", Restore: "brought back", TakeApart: "taken apart",
    GiveUp: "given up",
}  # fmt: skip


def outlook(settings: Settings) -> Iterator[str]:
    """One line for each thing that would be done now, and why, in plain words."""
    notes: dict[str, Any] = {}
    found = scan(settings.folders.inbox, notes)
    if not ledger_path(settings).is_file():
        yield from (f"{shown_name(item.path)}: looked at, because it is new" for item in found)
        return
    ledger = Ledger(ledger_path(settings))
    try:
        files = ledger.files()
        knowledge = Knowledge(settings, ledger)
        moved = knowledge.look(found, notes, files)
        knowledge.listen()
        yield from (f"{knowledge.view(job).shown}: followed to {shown_name(knowledge.where(job)[0])}" for job in moved)
        for group in knowledge.news():
            yield from (f"{knowledge.view(step.job).shown}: {words(step)}" for step in knowledge.follows(group))
        new = [item for item in found if item.path not in files or files[item.path].signature != item.signature]
        yield from (f"{shown_name(item.path)}: looked at, because it is new or has changed" for item in new)
        yield from (
            f"{note}: speaks of no photo, because none beside it is called so"
            for note in _alone(found, notes, ledger.part_names())
        )
    finally:
        ledger.close()


def _alone(found: list[Found], notes: Mapping[str, Any], parts: list[str]) -> Iterator[str]:
    """The notes, by their paths below the inbox, that lie beside no photo of their name; parts: works in photos."""
    names: dict[str, list[str]] = {}
    for shown in (*(os.fsdecode(item.path).replace(os.sep, "/") for item in found), *parts):
        place = PurePosixPath(shown)
        names.setdefault(str(place.parent), []).append(place.name)
    for folder, own in notes.items():
        place = PurePosixPath(folder.replace(os.sep, "/"))
        called = [note[0] for note in own]
        others = set(names.get(str(place), ())) - set(called)
        yield from (shown_name(os.fsencode(str(place / note))) for note in without_photo(called, others))


def words(step: Step) -> str:
    """A step in plain words."""
    names = ", ".join(getattr(step, "destinations", ()))
    done = _WORDS.get(type(step), "told in the record")
    return f"{names + ' ' if names else ''}{done}, because {step.why}"
