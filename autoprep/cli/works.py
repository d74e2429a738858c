"""The command that lists all works, and what a destination still lacks before a deadline."""

import argparse
import sys

from autoprep.cli.found import find_destination, inbox_away, open_ledger, ready_away, settings_to_look_by, with_mistakes
from autoprep.errors import ConfigError, UsageError
from autoprep.ledger import Overview, WorkRow
from autoprep.logs import plain
from autoprep.service.changed import with_changed
from autoprep.service.studio import listed_in
from autoprep.told import lists, works
from autoprep.told.in_inbox import asked_of_none, still_asked
from autoprep.wishes.tables import Settings


def list_works(options: argparse.Namespace) -> int:
    """List all works, or say what would go to a destination and what is missing."""
    settings, mistaken = settings_to_look_by(options)
    wanted = _wanted(settings, options.destination, mistaken)
    if options.csv and (options.json or wanted is not None):
        raise UsageError(f"--csv does not go with {'--json' if options.json else '--for'}; give one of them")
    away = ready_away(settings)
    if wanted is not None and away:
        print(f"What would go to {wanted} is not known now: {plain(away)}", file=sys.stderr)
        return 1
    ledger = open_ledger(settings)
    try:
        rows = [] if ledger is None else _works_of(settings, ledger.overview)
        if ledger is not None and wanted is None and not away:
            rows = with_changed(rows, ledger.overview)
        if wanted is not None:
            overview = None if ledger is None else ledger.overview
            return with_mistakes(mistaken, _call(settings, wanted, rows, overview, as_json=options.json))
    finally:
        if ledger is not None:
            ledger.close()
    _print(settings, rows, options, away)
    return with_mistakes(mistaken)


def _wanted(settings: Settings, name: str | None, mistaken: ConfigError | None) -> str | None:
    """The destination that is meant. Raises the mistakes of the settings where they may be in its very table."""
    if mistaken is not None and name not in (None, *settings.destinations):
        raise mistaken
    return find_destination(settings, name)


def _print(settings: Settings, rows: list[WorkRow], options: argparse.Namespace, away: str) -> None:
    if away:
        print(
            f"Where the pictures are, and which of them you have changed, is not known now: {plain(away)}",
            file=sys.stderr,
        )
    presets = settings.destinations
    if options.json:
        print(works.as_json(rows, presets))
    elif options.csv:
        text = works.as_csv(rows, presets)
        print(text, end="")
        if long := works.too_long(text, len(rows)):
            print(long, file=sys.stderr)
    else:
        for line in works.lines(rows, presets) or ["No work has come in yet."]:
            print(plain(line))


def _works_of(settings: Settings, overview: Overview) -> list[WorkRow]:
    gone = asked_of_none(settings.folders.inbox, overview, away=bool(inbox_away(settings)))
    return still_asked(overview.works_and_questions(), gone)


def _call(settings: Settings, name: str, rows: list[WorkRow], overview: Overview | None, *, as_json: bool) -> int:
    preset = settings.destinations[name]
    listed = [] if overview is None else listed_in(settings, overview, name)
    left = works.left_behind(name, preset, rows)
    if as_json:
        print(works.call_json(name, preset, listed, left))
    else:
        for line in works.call_lines(name, preset, listed, left):
            print(plain(line))
    return 1 if lists.missing(listed, preset) or left or not listed else 0
