"""Commands that ask and change nothing."""

import argparse
import json
from dataclasses import asdict

from autoprep.cli.found import all_jobs, find_job, settings_of
from autoprep.logs import plain
from autoprep.service.outlook import outlook
from autoprep.told.standing import status_of
from autoprep.told.summary import preset_words, print_record, warnings_of
from autoprep.wishes.settings import Settings, worker_count


def check(options: argparse.Namespace) -> int:
    """Validate the settings and show what they come to, or what would be done now."""
    settings = settings_of(options)
    warnings = warnings_of(settings)
    if options.ahead:
        return _ahead(settings, as_json=options.json)
    if options.json:
        print(
            json.dumps(
                {"settings": settings.model_dump(mode="json"), "warnings": warnings},
                ensure_ascii=False,
                indent=2,
            )
        )
        return 0
    print(f"The settings of {settings.studio} are valid.")
    for name, place in settings.folders:
        print(f"  {name.replace('_', ' '):<13} {place}")
    print(f"  {'artist':<13} {settings.artist.name or '(no name: no mark, no rights in the files)'}")
    print(f"  {'workers':<13} {worker_count(settings.service)}")
    print("Destinations:")
    for name, preset in settings.destinations.items():
        print(f"  {name:<13} {preset_words(preset)}")
    for warning in warnings:
        print(f"Note: {warning}")
    return 0


def _ahead(settings: Settings, *, as_json: bool) -> int:
    lines = list(outlook(settings))
    if as_json:
        print(json.dumps(lines, ensure_ascii=False, indent=2))
        return 0
    for line in lines:
        print(plain(line))
    if not lines:
        print("All is as it should be; there is nothing to do.")
    return 0


def jobs(options: argparse.Namespace) -> int:
    """List all jobs."""
    jobs = all_jobs(settings_of(options))
    if options.json:
        print(
            json.dumps(
                [job.record.model_dump(mode="json") for job in jobs if job.record],
                ensure_ascii=False,
                indent=2,
            )
        )
        return 0
    for job in jobs:
        held = job.outcome == "ready" and job.record is not None and job.record.held and not job.record.outputs
        outcome = "on hold" if held else job.outcome or job.state
        kind = job.record.kind if job.record and job.record.kind else ""
        outputs = f"{len(job.record.outputs)} files" if job.record and job.record.outputs else ""
        print(f"{job.job}  {outcome:<12}  {kind:<10}  {outputs:<8}  {plain(job.shown)}")
    if not jobs:
        print("No photo has come in yet.")
    return 0


def show(options: argparse.Namespace) -> int:
    """Tell one photo's story in plain words."""
    settings = settings_of(options)
    job = find_job(settings, options.photo)
    if job.record is None:
        print(f"{plain(job.shown)}: {job.state}, {job.attempts} failed tries so far")
        return 0
    if options.json:
        print(job.record.model_dump_json(indent=2))
        return 0
    print_record(job.record, settings.studio)
    return 0


def status(options: argparse.Namespace) -> int:
    """Say what waits, runs, asks and failed, and how much space is left."""
    settings = settings_of(options)
    found = status_of(settings, all_jobs(settings))
    if options.json:
        print(json.dumps(asdict(found), ensure_ascii=False, indent=2))
    else:
        for line in found.lines():
            print(line)
    return 1 if found.needs_attention else 0
