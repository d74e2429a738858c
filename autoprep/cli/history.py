"""Commands that tell of the photos that came in: they read what they show, however long the history is."""

import argparse
import json
import re
import time
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date
from itertools import islice
from typing import get_args

from autoprep.cli.found import find_job, open_ledger, ready_away, settings_to_look_by, with_mistakes
from autoprep.domain import Outcome
from autoprep.errors import UsageError
from autoprep.job.away import no_inbox, no_ready
from autoprep.ledger import HELD_BACK, TROUBLE, Listed, Overview
from autoprep.logs import counted, plain
from autoprep.told.in_inbox import look_through
from autoprep.told.standing import status_of
from autoprep.told.works import held_by

_A_PAGE = 50
_FARTHEST = 2**62  # a ledger counts no further
_PART = 100  # records that are read at once


def jobs(options: argparse.Namespace) -> int:
    """List the photos: a page of the newest, or all."""
    (settings, mistaken), (outcome, month) = settings_to_look_by(options), _wanted(options)
    ledger = open_ledger(settings)
    if ledger is None:
        print("[]" if options.json else "No photo has come in yet.")
        return with_mistakes(mistaken)
    try:
        rows, total = _asked_for(options, ledger.overview, outcome, month)
        if options.json:
            _print_records(ledger.overview, rows)
        else:
            _print_rows(ledger.overview, rows, total, options)
    finally:
        ledger.close()
    return with_mistakes(mistaken)


def _wanted(options: argparse.Namespace) -> tuple[str | None, str]:
    """The outcome and the month that are asked for. Raises UsageError where a word, or the page, is none."""
    if min(_page_of(options)) < 1:
        raise UsageError("pages are counted from 1, and hold at least 1 photo")
    return _outcome(options.outcome), month_of(options.month)


def _asked_for(
    options: argparse.Namespace, overview: Overview, outcome: str | None, month: str
) -> tuple[Iterator[Listed], int]:
    """The rows that are meant, oldest first, and how many there would be on all pages."""
    # Programs get all unless they ask for a page.
    paged = options.page is not None or options.per_page is not None
    if options.all or (options.json and not paged):
        return overview.listed(outcome, month), 0
    page, size = _page_of(options)
    most, skip = min(size, _FARTHEST), min((page - 1) * size, _FARTHEST)
    return iter(overview.newest(most, skip, outcome, month)), overview.count(outcome, month)


def _page_of(options: argparse.Namespace) -> tuple[int, int]:
    """The page that is asked for, and how many photos it holds."""
    page, size = options.page, options.per_page
    return 1 if page is None else page, _A_PAGE if size is None else size


def _outcome(word: str | None) -> str | None:
    known: tuple[str, ...] = (*get_args(Outcome), HELD_BACK)
    if word is None:
        return None
    found = {"waiting": "queued", "running": "running", **{name: name for name in known}}.get(word.replace("-", " "))
    if found is None:
        raise UsageError(f"no photo is ever {word!r}; there are: {', '.join((*known, 'waiting', 'running'))}")
    return found


def month_of(word: str | None) -> str:
    """The month or day that was asked for, empty where none was. Raises UsageError."""
    if word is None:
        return ""
    try:
        if re.fullmatch(r"\d{4}-\d\d(-\d\d)?", word) is None:
            raise ValueError  # a date written in another way, such as 20261126, would be that of no photo
        date.fromisoformat(f"{word}-01" if word.count("-") == 1 else word)
    except ValueError:
        raise UsageError(f"a month is written as 2026-11, a day as 2026-11-26, not {word!r}") from None
    return word


def _print_rows(overview: Overview, rows: Iterator[Listed], total: int, options: argparse.Namespace) -> None:
    shown = 0
    for shown, row in enumerate(rows, 1):  # noqa: B007
        held = row.outcome == "ready" and row.held and not row.files
        outcome = HELD_BACK if held else row.outcome or row.state
        files = f"{row.files} file{'' if row.files == 1 else 's'}" if row.files else ""
        why = f"  ({HELD_BACK}: {plain(held_by(overview.row_of(row)))})" if held else ""
        print(f"{row.job}  {outcome:<12}  {row.kind:<11}  {files:<8}  {plain(row.shown)}{why}")
    if not shown and not total:
        print("No photo has come in yet." if not (options.outcome or options.month) else "There is none.")
    elif total > shown:
        page, size = _page_of(options)
        print(_which_page(page, -(-total // size), total))


def _which_page(page: int, pages: int, total: int) -> str:
    """What a page says of itself and the others."""
    if page > pages:
        return f"There is no page {page}: there {'is' if pages == 1 else 'are'} {counted(pages, 'page')}, of " + (
            f"{counted(total, 'photo')} in all."
        )
    older = f"`--page {page + 1}` shows older ones, `--all` all." if page < pages else "`--all` shows all."
    return f"Page {page} of {pages}, the newest last; {counted(total, 'photo')} in all. {older}"


def _print_records(overview: Overview, rows: Iterator[Listed]) -> None:
    """The records as one JSON list, a part at a time."""
    print("[", end="")
    before = "\n"
    while part := list(islice(rows, _PART)):
        for record in overview.records_of([row.number for row in part]):
            print(before, record, sep="", end="")
            before = ",\n"
    print("\n]" if before != "\n" else "]")


def show(options: argparse.Namespace) -> int:
    """Tell one photo's story in plain words."""
    from autoprep.told.summary import print_record

    settings, mistaken = settings_to_look_by(options)
    job = find_job(settings, options.photo)
    if job.record is None and options.json:
        unfinished = {"job": job.job, "photo": job.shown, "state": job.state, "failed_tries": job.attempts}
        unfinished |= {"problem": job.problem} if job.problem else {}
        print(json.dumps(unfinished, ensure_ascii=False, indent=2))
    elif job.record is None:
        print(f"{plain(job.shown)}: {job.state}, {job.attempts} failed tries so far{_why(job.problem)}")
    elif options.json:
        print(job.record.model_dump_json(indent=2))
    else:
        away = ready_away(settings)  # then nobody knows what was picked up
        print_record(job.record, None if away else settings.studio)
        if away and job.record.outputs:
            print(f"  where its files are is not known: {plain(away)}")
        if job.problem:
            print(f"  what was said or asked since is not done yet{_why(job.problem)}")
    return with_mistakes(mistaken)


def _why(problem: str) -> str:
    return f": {plain(problem)}" if problem else ""


def status(options: argparse.Namespace) -> int:
    """Say what waits, runs, asks and failed, how much space is left, and which mistakes the settings have."""
    settings, mistaken = settings_to_look_by(options)
    ledger = open_ledger(settings)
    try:
        if ledger is None:
            there, away = look_through(settings.folders.inbox, None), no_inbox(settings, None)
            found = status_of(settings, None, there=there, no_inbox=away)
        else:
            unfinished, unread = ledger.unfinished(time.time()), ledger.unread()
            there = look_through(settings.folders.inbox, ledger, (*unfinished, *unread))
            trouble, gone, away = ledger.kept(TROUBLE), no_ready(settings, ledger), no_inbox(settings, ledger)
            found = status_of(settings, ledger.overview, trouble, unfinished, unread, there, gone, away)
    finally:
        if ledger is not None:
            ledger.close()
    if options.json:
        print(json.dumps(asdict(found), ensure_ascii=False, indent=2))
    else:
        for line in found.lines():
            print(line)
    return with_mistakes(mistaken) or int(found.needs_attention)
