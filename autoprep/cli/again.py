"""Commands that do something once more."""

import argparse
import json
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from autoprep.cli.found import (
    find_destination,
    find_job,
    find_photo,
    make_folders,
    open_ledger,
    ready_away,
    settings_of,
    settings_to_look_by,
    with_mistakes,
)
from autoprep.cli.work import process_all
from autoprep.domain import JobRecord, WorkFacts
from autoprep.errors import AlreadyRunning, ConfigError, UsageError
from autoprep.files.storage import write_now
from autoprep.ledger import MEASURED, Job, Ledger, View
from autoprep.logs import counted, plain
from autoprep.service.beside import of_the_work, said_elsewhere, sent_besides
from autoprep.service.lock import StudioLock
from autoprep.service.places import Others, plainly_named, reserve
from autoprep.service.rule import used
from autoprep.service.said import facts_about, sent_to, usual, words_place
from autoprep.told.explanations import NO_DESTINATION, NOT_SENT, not_given_out
from autoprep.wishes.holding import holds
from autoprep.wishes.lines import by_key, loose, word
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import knows_all_tables
from autoprep.wishes.tables import Settings


def retry(options: argparse.Namespace) -> int:
    """Work again on what was set aside; a photo that is named and waits for another try has it at once."""
    settings = settings_of(options)
    named = _set_aside(settings, options.photo) if options.photo else None
    if named is not None and named.state == "done" and named.problem:
        return _at_once(settings, named)
    ledger = Ledger(ledger_path(settings))
    aside: Sequence[View] = ledger.set_aside() if named is None else [named]
    there, files = [], ledger.overview.set_aside()
    for job in aside:
        place = _where(settings, files, job)
        if place is None:
            continue
        there.append(job)
        facts = facts_about(settings, job)
        names = plainly_named(settings, sent_to(settings, facts))
        places = reserve(settings, place[1], facts, names, Others(ledger.is_taken, ledger.stems))
        ledger.reopen(job.job, *place, places)
    ledger.close()
    print(f"{len(there)} of {counted(len(aside), 'photo')} will be worked on again by `watch` or `once`.")
    for job in aside:
        if job not in there:
            print(f"  {plain(job.shown)}: it is no longer in the inbox; put it back")
    return 0 if len(there) == len(aside) else 1


def _where(settings: Settings, files: Mapping[bytes, tuple[str, str]], job: View) -> tuple[bytes, str] | None:
    """The path of a photo below the inbox, and what it is called there: another file may hold the same bytes."""
    lies = {job.path: job.shown} | {path: shown for path, (shown, of) in files.items() if of == job.job}
    there = ((path, name) for path, name in lies.items() if (settings.folders.inbox / os.fsdecode(path)).is_file())
    return next(there, None)


def _at_once(settings: Settings, job: Job) -> int:
    """What is new of a finished photo, and failed, has its next try now; what there is of it stays until then."""
    ledger = Ledger(ledger_path(settings))
    ledger.postpone(job.job, 0)
    ledger.close()
    print(f"{plain(job.shown)}: what failed is tried again by `watch` or `once`.")
    return 0


_NOT_SET_ASIDE: dict[str | None, str] = {
    "ready": "it is ready; `autoprep redo` renders it again",
    "alternate": "another take of the same work is used; `autoprep redo` makes this one after all",
    "duplicate": "it is a copy of a photo that came in before",
    "reference": "it shows no work but tells the light of others",
    "no work seen": "no work is seen in it; if it shows one, move it into a folder such as “as painting”",
    "several works": "it shows several works, each of which is finished by itself",
    "replaced": "it was edited, or another photo has its place; put back into the inbox, it is asked about again",
    None: "it is still to be worked on",
}


def _set_aside(settings: Settings, photo: str) -> Job:
    """The photo that is named: one that was set aside, or waits for another try, also one that is finished, of which
    what is new failed; or a question, which is asked anew.

    Raises UsageError.
    """
    job = find_job(settings, photo)
    if (job.state == "queued" and job.attempts) or job.problem:
        return job
    if job.outcome in _NOT_SET_ASIDE:
        raise UsageError(f"{job.shown} was not set aside: {_NOT_SET_ASIDE[job.outcome]}")
    return job


def rebuild(options: argparse.Namespace) -> int:
    """Make a new ledger from the records, or put a copy back."""
    from autoprep.service import rebuild as rebuilding

    settings = settings_of(options)
    if options.copy:
        day = rebuilding.put_back(settings, sound_too=options.anyway)
        print(f"The copy of {day} is the ledger now; what was there before lies beside it. What came in since then is")
        print("worked on anew, under new names; `autoprep rebuild --anyway` takes it from the records instead.")
        return 0
    done = rebuilding.rebuild(settings, sound_too=options.anyway)
    print(f"The ledger is made anew from the records: {counted(done.photos, 'photo')}, {counted(done.files, 'file')}.")
    if done.put_away is not None:
        print(f"The old one is kept as {done.put_away.name}.")
    for line in _unasked(done.unasked):
        print(line)
    for place in done.unreadable:
        print(f"  {plain(place)}: this record can't be read, so its photo will be looked at as if it were new")
    print("Photos without a record are looked at by `watch` or `once`; nothing that is known is made again.")
    return 1 if done.unreadable else 0


def _unasked(photos: tuple[str, ...] | None) -> list[str]:
    """What is said of a `redo` that no record holds; photos: those it was asked for, None where that is not known."""
    again = "when `watch` or `once` has looked through the inbox, ask once more by `autoprep redo`"
    if photos is None:
        return [f"Whether something was still to be made or measured again, as you asked, is not known: {again}."]
    if not photos:
        return []
    return [
        f"Asked for and not done yet, and not known any more: {counted(len(photos), 'photo')} to be made or measured",
        f"again; {again} (with --afresh to measure): {', '.join(map(plain, photos))}",
    ]


def say(options: argparse.Namespace) -> int:
    """Leave words on a photo's work; the service takes them up, now or when it runs next."""
    settings, mistaken = settings_to_look_by(options)
    job = find_photo(settings, options.photo)
    place = words_place(settings, job.job)
    said = _words_with(place, options.line)
    if said:
        write_now(place, "".join(f"{line}\n" for line in said.values()).encode("utf-8"), job.job)
    else:
        place.unlink(missing_ok=True)
    # Of tables with mistakes nobody knows here what they are called.
    unclear = [
        one for one in facts_about(settings, job).unclear if mistaken is None or not one.startswith(NO_DESTINATION)
    ]
    for line in unclear:
        print(f"  about your words: {plain(line)}")
    now = "; ".join(said.values()) or "nothing"
    print(f"{plain(job.shown)}: said here is now: {plain(now)}. `watch` or `once` makes what follows from it.")
    away = not (settings.folders.inbox / os.fsdecode(job.path)).is_file()
    if away:
        print("Its photo is not in the inbox: a hold, and where it goes no more, count at once; pictures are made anew")
        print("when it is back.")
    if mistaken is not None:
        print("A service that runs goes on with the settings of before these mistakes, and hears it:")
    return with_mistakes(mistaken, 1 if unclear or (away and said.keys() - {"hold"}) else 0)


def _words_with(place: Path, lines: list[str]) -> dict[str, str]:
    """The lines said before with these in their stead; `title:` without a value unsays the title, no line all.

    Raises UsageError where a line is none: what was said before stays then.
    """
    before = place.read_text(encoding="utf-8").splitlines() if lines and place.is_file() else []
    new = [part for line in lines for part in line.splitlines() if part.strip()]
    for line in new:
        if not (loose(line)[0] or word(line) or holds(line)):
            raise UsageError(
                f"“{line.strip()}” has no word and a colon before it, as in 'title: Thrift'; nothing was made of it, "
                "and what was said before stays"
            )
    return by_key((*before, *new))


def redo(options: argparse.Namespace) -> int:
    """Render again from the stored plans; measure again as well where that is asked for."""
    settings, mistaken = settings_to_look_by(options)
    if options.afresh and options.destination:
        raise UsageError("a work that is measured again is made again wherever it goes: leave --destination out")
    if mistaken is not None:
        _only_of_the_service(settings, mistaken)
    options.destination = find_destination(settings, options.destination)
    able = _able(settings, options.photo, options.destination)
    _ask(settings, able, options.destination, options.afresh)
    if mistaken is not None:
        print(f"{_noted(able, options.afresh)} It goes on with the settings of before these mistakes:")
        return with_mistakes(mistaken)
    make_folders(settings)
    try:
        failed: dict[str, str] = {}
        records = process_all(settings, show=not options.json, failed=failed)
    except AlreadyRunning:
        print(_noted(able, options.afresh), file=sys.stderr if options.json else sys.stdout)
        if options.json:
            print("[]")  # nothing was made here
        return 0
    made = [record for record in records if record.job in {job.job for job in able}]
    if options.json:
        print(json.dumps([record.model_dump(mode="json") for record in made], ensure_ascii=False, indent=2))
    else:
        done = sum(_came_out(record, options.destination) for record in made)
        how, count = ("Measured", len(made)) if options.afresh else ("Rendered", done)
        print(f"{how} again: {count} of {counted(len(able), 'photo')}.")
        for line in _only_asked(settings, able, made, options.destination) if options.photo else ():
            print(f"  {line}")
    missed = _missed(settings, able, made, options.destination, failed)
    for line in missed if not options.json else ():
        print(f"  {line}")
    others = {record.job for record in records} - {job.job for job in able}
    if others and not options.json:
        print(f"What else waited in the inbox was worked on too: {counted(len(others), 'photo')}; see `autoprep jobs`.")
    return 1 if missed else 0


def _noted(able: Sequence[View], afresh: bool) -> str:
    are, them = ("is", "it") if len(able) == 1 else ("are", "them")
    do = "measure" if afresh else "render"
    return f"{counted(len(able), 'photo')} {are} noted; the service that is running will {do} {them} again."


def _only_of_the_service(settings: Settings, mistaken: ConfigError) -> None:
    """Raises the mistakes of the settings where no service runs that goes on with those of before, or the destinations
    are not all known: nothing is made by settings that nobody has written so."""
    try:
        StudioLock(settings.folders.records).close()
    except AlreadyRunning:
        if knows_all_tables(settings):
            return
        print("Nothing was asked for: not all tables in destinations.toml are known.", file=sys.stderr)
        raise mistaken from None
    print(
        "Nothing was asked for: no service runs that goes on with the settings of before these mistakes.",
        file=sys.stderr,
    )
    raise mistaken


def _able(settings: Settings, photo: str | None, destination: str | None) -> list[View]:
    """The photos that are meant and can be rendered again. Raises UsageError where there is none."""
    able: list[View] = []
    if photo:
        able = [view for view in _meant(settings, photo) if view.plan]
    else:  # alternates are made when they are named, never by the way
        ledger = open_ledger(settings)
        if ledger is not None:
            able = [job for job in ledger.finished() if not destination or _goes_to(settings, ledger, job, destination)]
            ledger.close()
    if not able and destination and not photo:
        raise UsageError(
            f"no finished photo is sent to {destination!r}; name the photo, or send its work there in a note"
        )
    if not able:
        raise UsageError("there is no finished photo to render again")
    return able


def _meant(settings: Settings, photo: str) -> list[View]:
    """The photo that is named; of one that shows several works, each of these."""
    job = find_photo(settings, photo)
    ledger = Ledger(ledger_path(settings))
    try:
        return list(ledger.parts(job.job)) if job.parts else [job]
    finally:
        ledger.close()


def _goes_to(settings: Settings, ledger: Ledger, job: View, destination: str) -> bool:
    """Whether a work is sent to a destination now, or its file there was asked for by name.

    A file that has left the place, since the work is sent elsewhere alone, does not come back by the way.
    """
    said, made = _said_of(settings, job), ledger.renditions(job.job).get(destination)
    if destination in (*sent_to(settings, said), *said.goes_to(job.usual)):
        return True
    return made is not None and made.asked and destination not in said.not_for


def _said_of(settings: Settings, job: View) -> WorkFacts:
    """What is said of a photo's work now, with what was said of it beside other takes."""
    return of_the_work(facts_about(settings, job), [said_elsewhere(job.said)])


def _ask(settings: Settings, able: list[View], destination: str | None, afresh: bool) -> None:
    """Leave word of what is to be made again. Raises UsageError where the take that is meant goes nowhere by itself."""
    ledger = Ledger(ledger_path(settings))
    try:
        if afresh:
            for job in able:
                ledger.ask_redo(job.job, [MEASURED])
            return
        names = {job.job: [destination] if destination else _goes(settings, ledger, job) for job in able}
        if len(able) == 1 and not names[able[0].job]:
            raise UsageError(_goes_nowhere(able[0].shown, _said_of(settings, able[0]).destinations))
        for job in able:
            ledger.ask_redo(job.job, names[job.job])
    finally:
        ledger.close()


def _goes_nowhere(shown: str, only: Sequence[str]) -> str:
    """What is said where a photo goes nowhere unless a place is named; only: where its work is sent, and only there."""
    if not only:
        return f"{shown} is sent nowhere; name a place with --destination, or say “for: …” in a note"
    return (
        f"{shown} is another take of a work that you send to {', '.join(only)} alone, and is not sent there besides; "
        "to have this take there too, name the place with --destination"
    )


def _goes(settings: Settings, ledger: Ledger, job: View) -> list[str]:
    """Where a photo that is made again goes, unless a place is named."""
    said = _said_of(settings, job)
    takes = [view for take in ledger.takes(job.work) if (view := ledger.view(take)) is not None] if job.work else []
    best = used(takes) in ("", job.job)
    return sent_to(settings, said) if best else list(sent_besides(said, usual(settings)))


def _came_out(record: JobRecord, destination: str | None) -> bool:
    """Whether something of what was asked for was made."""
    refused = not_given_out(record)
    return any(out.destination not in refused and destination in (None, out.destination) for out in record.outputs)


def _only_asked(settings: Settings, able: list[View], made: list[JobRecord], destination: str | None) -> Iterator[str]:
    """That a file was made where its work is not sent, because the artist named the photo and the place."""
    came_out = {record.job for record in made if _came_out(record, destination)}
    for job in able if destination else ():
        said = _said_of(settings, job)
        if job.job in came_out and destination not in (*sent_to(settings, said), *said.goes_to(job.usual)):
            yield f"{plain(job.shown)} is not sent to {destination}; it is there now because you named both, and stays"


def _missed(
    settings: Settings, able: list[View], made: list[JobRecord], destination: str | None, failed: Mapping[str, str]
) -> list[str]:
    """What was asked for and not made, and why; that a work goes to some places no more is as the artist wants it.

    failed: by their jobs, what came to nothing in this run, and why."""
    refused = [
        f"{plain(record.photo)}: {name} was not made: {plain(reason)}"
        for record in made
        for name, reason in not_given_out(record).items()
        if destination == name or (destination is None and record.held_kinds.get(name) != NOT_SENT.kind)
    ]
    done = {record.job for record in made}
    left = [job for job in able if job.job not in done]
    return [
        *refused,
        *(f"{plain(job.shown)}: {plain(failed.get(job.job) or _why_left(settings, job))}" for job in left),
    ]


def _why_left(settings: Settings, job: View) -> str:
    """Why nothing was made again of a photo."""
    if not (settings.folders.inbox / os.fsdecode(job.path)).is_file():
        return "its photo is no longer in the inbox; put it back first"
    if ready_away(settings):
        return "that is noted, and done as soon as the folder of finished pictures is back"
    return "it is on hold" if facts_about(settings, job).hold else "nothing was made; `autoprep show` tells why"
