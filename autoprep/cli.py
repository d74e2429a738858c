"""The command line: parses, prints, exits.

Exit codes: 0 done; 1 something needs attention (a photo was set aside or failed); 2 wrong use or wrong settings;
3 another Autoprep works in this studio; 130 stopped by Ctrl-C.
"""

import argparse
import json
import os
import re
import shutil
import signal
import sys
from collections.abc import Callable
from dataclasses import asdict
from importlib import resources
from pathlib import Path
from typing import Any

from tqdm import tqdm

from autoprep import __version__
from autoprep.domain import JobRecord
from autoprep.errors import AlreadyRunning, AutoprepError, ConfigError, UsageError
from autoprep.ledger import Job, Ledger
from autoprep.logs import open_log, plain
from autoprep.service.engine import Engine
from autoprep.service.outlook import outlook
from autoprep.service.places import reserve
from autoprep.service.said import facts_for, sent_to
from autoprep.service.studio import ledger_path, write_page
from autoprep.settings import (
    DESTINATIONS_FILE,
    SETTINGS_FILE,
    Settings,
    default_files,
    find_config,
    load,
    worker_count,
)
from autoprep.status import status_of
from autoprep.telling import preset_words, print_record, print_summary, warnings_of

_EPILOG = (
    "exit codes: 0 done; 1 something needs attention; 2 wrong use or settings; "
    "3 another Autoprep works in this studio; 130 stopped by Ctrl-C (watch ends with 0)"
)


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except AlreadyRunning as problem:
        return _complain(problem, 3)
    except AutoprepError as problem:
        return _complain(problem, 2)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _complain(problem: Exception, code: int) -> int:
    print(f"autoprep: {plain(str(problem))}", file=sys.stderr)
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="autoprep",
        description="Turns photos of flat artworks into faithful pictures, ready for where they go.",
        epilog=_EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"autoprep {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add(commands, _init, "init", "make a studio folder", studio=False).add_argument(
        "folder", type=Path, metavar="DIR", help="where; it may exist, nothing in it is overwritten"
    )
    demo = _add(commands, _demo, "demo", "make a studio, put the demo photos in, and process them", studio=False)
    demo.add_argument(
        "--dir",
        type=Path,
        default=Path("autoprep-demo"),
        metavar="DIR",
        help="the demo studio (default: autoprep-demo)",
    )
    demo.add_argument(
        "--photos", type=Path, metavar="DIR", help="the photos to use (default: demo_inbox of the project)"
    )
    watch = _add(commands, _watch, "watch", "run the service in the foreground until Ctrl-C")
    watch.add_argument("--quiet", action="store_true", help="log to the records only")
    _json(_add(commands, _once, "once", "process everything that waits in the inbox, then stop"))
    check = _json(_add(commands, _check, "check", "validate the settings and show what they come to"))
    check.add_argument("--ahead", action="store_true", help="show what would be done now and why, without doing it")
    _json(_add(commands, _jobs, "jobs", "list all jobs"))
    _json(_add(commands, _status, "status", "what waits, runs, asks and failed, and how much space is left"))
    retry = _add(commands, _retry, "retry", "work again on what was set aside")
    retry.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    show = _json(_add(commands, _show, "show", "tell one photo's story in plain words"))
    show.add_argument("photo", metavar="PHOTO", help="the photo's name, or a job")
    redo = _json(_add(commands, _redo, "redo", "render again from the stored plans, without measuring again"))
    redo.add_argument("photo", nargs="?", metavar="PHOTO", help="only this photo or job (default: all)")
    redo.add_argument("--destination", metavar="NAME", help="only this destination")
    return parser


def _add(
    commands: Any, run: Callable[[argparse.Namespace], int], name: str, help_text: str, *, studio: bool = True
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_text, description=help_text[0].upper() + help_text[1:] + ".", epilog=_EPILOG
    )
    parser.set_defaults(run=run)
    if studio:
        parser.add_argument(
            "--config",
            type=Path,
            metavar="FILE",
            help="settings file or studio folder (default: the studio that you stand in)",
        )
    return parser


def _json(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    parser.add_argument("--json", action="store_true", help="print JSON for other programs")
    return parser


def _settings(options: argparse.Namespace) -> Settings:
    return load(find_config(options.config))


# --- studio -------------------------------------------------------------------------------------------------


def _init(options: argparse.Namespace) -> int:
    settings = make_studio(options.folder)
    print(f"The studio is ready: {settings.studio}")
    print(f"  put photos in      {settings.folders.inbox}")
    print(f"  find pictures in   {settings.folders.ready}")
    print(f"  your name, rights  {settings.studio / 'config' / SETTINGS_FILE}")
    print(f"  sizes and places   {settings.studio / 'config' / DESTINATIONS_FILE}")
    print(f"Then run:  autoprep watch --config {settings.studio}")
    return 0


def make_studio(folder: Path) -> Settings:
    """Lay out a studio; files that are there stay as they are."""
    folder = folder.absolute()
    try:
        (folder / "config").mkdir(parents=True, exist_ok=True)
        for name, text in default_files().items():
            place = folder / "config" / name
            if not place.exists():
                place.write_text(text, encoding="utf-8")
        settings = load(folder / "config" / SETTINGS_FILE)
        _make_folders(settings)
    except OSError as problem:
        raise ConfigError(f"the studio can't be made in {folder}: {problem.strerror}") from problem
    return settings


def _make_folders(settings: Settings) -> None:
    folders = settings.folders
    wanted = [folders.inbox, folders.needs_a_look, folders.records]
    for place in [*wanted, *(folders.ready / name for name in settings.destinations)]:
        try:
            place.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            reason = "a file of that name stands in its place" if place.is_file() else problem.strerror
            raise ConfigError(f"the folder {place} can't be made: {reason}") from problem


def _demo(options: argparse.Namespace) -> int:
    photos = options.photos or _demo_photos()
    files = (
        sorted(path for path in photos.iterdir() if path.is_file() and not path.name.startswith("."))
        if photos.is_dir()
        else []
    )
    if not files:
        raise UsageError(f"there are no demo photos in {photos}")
    settings = make_studio(options.dir)
    config = settings.studio / "config" / SETTINGS_FILE
    _name_demo_artist(config)
    settings = load(config)
    for path in files:
        if not (settings.folders.inbox / path.name).exists():
            shutil.copyfile(path, settings.folders.inbox / path.name)
    print(f"Demo studio: {settings.studio}")
    print(f"{len(files)} photos of Wren Halloway's field journals lie in its inbox; processing them now.")
    records = _process_all(settings)
    print_summary(settings, records)
    return 1 if any(record.outcome == "set aside" for record in records) else 0


def _demo_photos() -> Path:
    beside = Path(str(resources.files("autoprep"))).parent / "demo_inbox"
    return beside if beside.is_dir() else Path("demo_inbox")


def _name_demo_artist(config: Path) -> None:
    text = config.read_text(encoding="utf-8")
    config.write_text(re.sub(r'^name = ""', 'name = "Wren Halloway"', text, count=1, flags=re.M), encoding="utf-8")


# --- work ---------------------------------------------------------------------------------------------------


def _watch(options: argparse.Namespace) -> int:
    settings = _settings(options)
    _make_folders(settings)
    log = open_log(settings.folders.records, None if options.quiet else sys.stderr)
    engine = Engine(settings, log)
    stopping: list[int] = []

    def stop(number: int, _frame: object) -> None:
        stopping.append(number)
        engine.hints.wake()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, stop)
    log.info("watching", inbox=str(settings.folders.inbox), workers=worker_count(settings.service), pid=os.getpid())
    try:
        while not stopping:
            engine.step()
    finally:
        log.info("stopping")
        engine.stop()
        log.info("stopped")
    return 0


def _once(options: argparse.Namespace) -> int:
    settings = _settings(options)
    _make_folders(settings)
    records = _process_all(settings, show=not options.json)
    if options.json:
        print(json.dumps([record.model_dump(mode="json") for record in records], ensure_ascii=False, indent=2))
    else:
        print_summary(settings, records)
    return 1 if any(record.outcome in ("set aside", "needs a look") or record.failed for record in records) else 0


def _process_all(settings: Settings, *, show: bool = True) -> list[JobRecord]:
    """Run the engine until nothing waits; a progress bar on the terminal."""
    records: list[JobRecord] = []
    engine = Engine(settings, open_log(settings.folders.records, None), records.append, follow=False)
    bar = tqdm(
        total=0,
        unit="photo",
        disable=not show,
        dynamic_ncols=True,
        bar_format="{l_bar}{bar}| {n_fmt}/{total_fmt} photos [{elapsed}]",
    )
    try:
        engine.step(0.05)
        while not engine.idle:
            engine.step(0.5)
            bar.total = max(bar.total or 0, len(records) + engine.pending)
            bar.update(len(records) - bar.n)
    finally:
        bar.total = max(len(records), 1 if not records else 0)
        bar.refresh()
        bar.close()
        hollow = engine.hollow
        # A take that was ready may have given way to a better one that came later.
        kept = [engine.ledger.get(record.job) for record in records]
        engine.stop()
    for name in hollow if show else ():
        print(f"  {name}: this file holds nothing yet; it is left alone until it does")
    return [
        job.record if job is not None and job.record is not None else record
        for job, record in zip(kept, records, strict=True)
    ]


# --- asking -------------------------------------------------------------------------------------------------


def _check(options: argparse.Namespace) -> int:
    settings = _settings(options)
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


def _jobs(options: argparse.Namespace) -> int:
    jobs = _all_jobs(_settings(options))
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
        outcome = job.outcome or job.state
        kind = job.record.kind if job.record and job.record.kind else ""
        outputs = f"{len(job.record.outputs)} files" if job.record and job.record.outputs else ""
        print(f"{job.job}  {outcome:<12}  {kind:<10}  {outputs:<8}  {plain(job.shown)}")
    if not jobs:
        print("No photo has come in yet.")
    return 0


def _all_jobs(settings: Settings) -> list[Job]:
    if not ledger_path(settings).is_file():
        return []
    ledger = Ledger(ledger_path(settings))
    try:
        return ledger.jobs()
    finally:
        ledger.close()


def _find_job(settings: Settings, wanted: str) -> Job:
    """The newest job of that id or photo name; the name may be given with or without folders."""
    jobs = _all_jobs(settings)
    matches = [job for job in jobs if wanted in (job.job, job.shown)]
    matches = matches or [job for job in jobs if Path(job.shown).name == Path(wanted).name]
    matches = matches or [job for job in jobs if Path(job.shown).stem == wanted]
    matches = matches or [job for job in jobs if job.record and job.record.work.title == wanted != ""]
    if not matches:
        raise UsageError(f"no job and no photo is called {wanted!r}; `autoprep jobs` lists them")
    own = [job for job in matches if job.outcome != "duplicate"]
    return (own or matches)[-1]


def _show(options: argparse.Namespace) -> int:
    settings = _settings(options)
    job = _find_job(settings, options.photo)
    if job.record is None:
        print(f"{plain(job.shown)}: {job.state}, {job.attempts} failed tries so far")
        return 0
    if options.json:
        print(job.record.model_dump_json(indent=2))
        return 0
    print_record(job.record)
    return 0


def _status(options: argparse.Namespace) -> int:
    settings = _settings(options)
    found = status_of(settings, _all_jobs(settings))
    if options.json:
        print(json.dumps(asdict(found), ensure_ascii=False, indent=2))
    else:
        for line in found.lines():
            print(line)
    return 1 if found.needs_attention else 0


def _retry(options: argparse.Namespace) -> int:
    settings = _settings(options)
    jobs = [_find_job(settings, options.photo)] if options.photo else _all_jobs(settings)
    aside = [job for job in jobs if job.outcome == "set aside"]
    there = [job for job in aside if (settings.folders.inbox / os.fsdecode(job.path)).is_file()]
    ledger = Ledger(ledger_path(settings))
    for job in there:
        facts = facts_for(settings, job.shown)[0]
        places = reserve(settings, job.shown, facts, sent_to(settings, facts), ledger.is_taken, ledger.stems)
        ledger.reopen(job.job, job.path, job.shown, places)
    ledger.close()
    print(f"{len(there)} of {len(aside)} photos that were set aside will be worked on again by `watch` or `once`.")
    for job in aside:
        if job not in there:
            print(f"  {plain(job.shown)}: it is no longer in the inbox; put it back")
    return 0 if len(there) == len(aside) else 1


def _redo(options: argparse.Namespace) -> int:
    settings = _settings(options)
    if options.destination and options.destination not in settings.destinations:
        known = ", ".join(settings.destinations)
        raise UsageError(f"there is no destination {options.destination!r}; there are {known}")
    jobs = [_find_job(settings, options.photo)] if options.photo else _all_jobs(settings)
    able = [job for job in jobs if job.record is not None and job.record.plan is not None]
    if not options.photo:  # alternates are made when they are named, never by the way
        able = [job for job in able if job.outcome == "ready"]
    if not able:
        raise UsageError("there is no finished photo to render again")
    ledger = Ledger(ledger_path(settings))
    for job in able:
        usual = sent_to(settings, facts_for(settings, job.shown)[0])
        ledger.ask_redo(job.job, [options.destination] if options.destination else usual)
    ledger.close()
    _make_folders(settings)
    try:
        records = _process_all(settings, show=not options.json)
    except AlreadyRunning:
        print(f"{len(able)} photos are noted; the service that is running will render them again.")
        return 0
    made = [record for record in records if record.job in {job.job for job in able}]
    write_page(settings, [job.record for job in _all_jobs(settings) if job.record])
    refused = [
        f"{record.photo}: {name} was not made: {plain(reason)}"
        for record in made
        for name, reason in record.not_given_out.items()
        if options.destination in (None, name)
    ]
    gone = [job.shown for job in able if job.job not in {record.job for record in made}]
    if options.json:
        print(json.dumps([record.model_dump(mode="json") for record in made], ensure_ascii=False, indent=2))
    else:
        print(f"Rendered again: {len(made)} of {len(able)} photos.")
        for line in [
            *refused,
            *(f"{plain(name)}: its photo is no longer in the inbox; put it back first" for name in gone),
        ]:
            print(f"  {line}")
    return 1 if gone or refused else 0


if __name__ == "__main__":
    sys.exit(main())
