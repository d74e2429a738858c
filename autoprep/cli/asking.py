"""The command that asks what the settings come to, and what would be done."""

import argparse
import json
from dataclasses import asdict

from autoprep.cli.found import inbox_away, ready_away, settings_of
from autoprep.job.away import away_in_words
from autoprep.logs import plain
from autoprep.service.outlook import empty_folders, made_otherwise, outlook
from autoprep.told.summary import preset_words, warnings_of
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import find_config, load, worker_count
from autoprep.wishes.tables import Settings


def check(options: argparse.Namespace) -> int:
    """Validate the settings and show what they come to, or what would be done now."""
    if options.ahead:
        return _ahead(settings_of(options), as_json=options.json)
    settings = load(find_config(options.config))
    warnings = [*_away(settings), *warnings_of(settings), *made_otherwise(settings), *empty_folders(settings)]
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
    wide = max(13, *(len(name) for name in settings.destinations))
    for name, preset in settings.destinations.items():
        print(f"  {name:<{wide}} {preset_words(preset)}")
    for warning in warnings:
        print(f"Note: {warning}")
    return 0


def _away(settings: Settings) -> list[str]:
    """The folders that are not there yet, or not now: as `status` tells these."""
    told = {"inbox": inbox_away(settings) if ledger_path(settings).is_file() else "", "ready": ready_away(settings)}
    absent = [
        f"the {name.replace('_', ' ')} folder does not exist yet"
        for name, place in settings.folders
        if not place.is_dir() and not told.get(name)
    ]
    return [*away_in_words(told["inbox"], told["ready"]), *absent]


def _ahead(settings: Settings, *, as_json: bool) -> int:
    away, gone = inbox_away(settings), ready_away(settings)
    lines = [*away_in_words(away, gone), *([] if away else outlook(settings))]
    code = 1 if away or gone else 0  # as for `once` and `status`: nobody knows what waits, or it can't be made
    if as_json:
        print(json.dumps(lines, ensure_ascii=False, indent=2))
        return code
    for line in lines:
        print(plain(line))
    if not lines:
        print("All is as it should be; there is nothing to do.")
    for note in made_otherwise(settings):
        print(f"Note: {plain(note)}")
    return code


def service_check(options: argparse.Namespace) -> int:
    """Try whether this machine has what the service needs; exit code 1 where something is missing."""
    from autoprep.service.readiness import look_over

    findings = list(look_over(load(find_config(options.config))))
    missing = [finding for finding in findings if finding.grade == "missing"]
    if options.json:
        print(json.dumps([asdict(finding) for finding in findings], ensure_ascii=False, indent=2))
        return 1 if missing else 0
    signs = {"good": "ok", "note": "note", "missing": "MISSING"}
    for finding in findings:
        print(f"{signs[finding.grade]:<8} {finding.about:<15} {plain(finding.words)}")
    print("Something is missing: see above." if missing else "The service can run here.")
    return 1 if missing else 0
