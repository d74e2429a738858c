"""What commands work on: the studio that is meant, its folders and its jobs."""

import argparse
from pathlib import Path

from autoprep.errors import ConfigError, UsageError
from autoprep.ledger import Job, Ledger
from autoprep.service.studio import ledger_path
from autoprep.wishes.settings import Settings, find_config, load


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


def all_jobs(settings: Settings) -> list[Job]:
    """All jobs of a studio, oldest first; none where nothing came in yet."""
    if not ledger_path(settings).is_file():
        return []
    ledger = Ledger(ledger_path(settings))
    try:
        return ledger.jobs()
    finally:
        ledger.close()


def find_job(settings: Settings, wanted: str) -> Job:
    """The newest job of that id or photo name; the name may be given with or without folders."""
    jobs = all_jobs(settings)
    matches = [job for job in jobs if wanted in (job.job, job.shown)]
    matches = matches or [job for job in jobs if Path(job.shown).name == Path(wanted).name]
    matches = matches or [job for job in jobs if Path(job.shown).stem == wanted]
    matches = matches or [job for job in jobs if job.record and job.record.work.title == wanted != ""]
    if not matches:
        raise UsageError(f"no job and no photo is called {wanted!r}; `autoprep jobs` lists them")
    own = [job for job in matches if job.outcome != "duplicate"]
    return (own or matches)[-1]
