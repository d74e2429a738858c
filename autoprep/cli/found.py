"""What commands work on: the studio that is meant, its folders and its jobs."""

import argparse

from autoprep.errors import ConfigError, UsageError
from autoprep.ledger import Job, Ledger
from autoprep.wishes.settings import Settings, find_config, ledger_path, load


def settings_of(options: argparse.Namespace) -> Settings:
    """The settings of the studio that is meant."""
    return load(find_config(options.config))


def make_folders(settings: Settings) -> None:
    """Make the folders of a studio that are missing. Raises ConfigError."""
    folders = settings.folders
    wanted = [folders.inbox, folders.needs_a_look, folders.records]
    for place in [*wanted, *(folders.ready / name for name in settings.destinations)]:
        try:
            place.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            reason = "a file of that name stands in its place" if place.is_file() else problem.strerror
            raise ConfigError(f"the folder {place} can't be made: {reason}") from problem


def open_ledger(settings: Settings) -> Ledger | None:
    """The ledger of a studio; None where nothing came in yet."""
    return Ledger(ledger_path(settings)) if ledger_path(settings).is_file() else None


def find_job(settings: Settings, wanted: str) -> Job:
    """The newest job of that id, photo name (with or without folders) or title. Raises UsageError."""
    ledger = open_ledger(settings)
    try:
        found = None if ledger is None else ledger.overview.find(wanted)
        job = None if ledger is None or found is None else ledger.get(found)
    finally:
        if ledger is not None:
            ledger.close()
    if job is None:
        raise UsageError(f"no job and no photo is called {wanted!r}; `autoprep jobs --all` lists them")
    return job
