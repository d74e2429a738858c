"""What the service would do next, without doing it."""

from collections.abc import Iterator
from typing import Any

from autoprep.ledger import Ledger
from autoprep.service.arrivals import shown_name
from autoprep.service.inbox import scan
from autoprep.service.knowledge import Knowledge
from autoprep.service.rule import Measure, Render, Restore, Step, Withdraw
from autoprep.wishes.settings import Settings, ledger_path

_WORDS = {Measure: "looked at", Render: "made", Withdraw: "withdrawn", Restore: "brought back"}


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
    finally:
        ledger.close()


def words(step: Step) -> str:
    """A step in plain words."""
    names = ", ".join(getattr(step, "destinations", ()))
    done = _WORDS.get(type(step), "told in the record")
    return f"{names + ' ' if names else ''}{done}, because {step.why}"
