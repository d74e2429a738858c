"""What commands work on: the studio that is meant, its folders and its jobs."""

import argparse
import contextlib
import difflib
import os
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path, PurePosixPath

from autoprep.errors import ConfigError, UsageError
from autoprep.job.away import no_inbox, no_ready, take_as_it_lies
from autoprep.ledger import Fitting, Job, Ledger, is_lost
from autoprep.logs import as_shown, composed, plain
from autoprep.told.explanations import NO_PHOTO, ends_too_early
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import find_config, for_looking, load
from autoprep.wishes.tables import Settings

_MOST_NAMED = 6  # photos of one name
_MOST_NEAR = 3


def settings_of(options: argparse.Namespace) -> Settings:
    """The settings of the studio that is meant; a damaged picture of the mark stops only what would carry it."""
    return load(find_config(options.config), unmarked=True)


def settings_to_look_by(options: argparse.Namespace) -> tuple[Settings, ConfigError | None]:
    """The settings; where they have mistakes what is known in spite of them, and the mistakes. Raises ConfigError."""
    place = find_config(options.config)
    try:
        return settings_of(options), None
    except ConfigError as problem:
        found = for_looking(place)
        if found is None:
            raise
        return found, problem


def with_mistakes(mistaken: ConfigError | None, code: int = 0) -> int:
    """The exit code, where the settings have no mistakes. Raises them, behind what was told in spite of them."""
    if mistaken is not None:
        sys.stdout.flush()  # before what is wrong
        raise mistaken
    return code


def make_folders(settings: Settings, *, anew: bool = False) -> None:
    """Make the folders of a studio that are missing. Raises ConfigError.

    One of a destination that can't be made (a share that it links to is away, say) is told, and holds up no other:
    what belongs there waits, as where it is closed later. Nor is an inbox made where photos came in before: it was
    renamed, or its disk is away, and an empty one in its place would look as if all were well. So with the folder of
    finished pictures; anew: the artist has asked for that one where it was away.
    """
    folders = settings.folders
    gone = _of_ledger(settings, take_as_it_lies) if anew else ready_away(settings)
    away = _of_ledger(settings, lambda ledger: no_inbox(settings, ledger))
    if away:
        print(f"autoprep: {away}", file=sys.stderr)
    if gone:
        print(f"autoprep: {gone}", file=sys.stderr)
    kept = {folders.inbox: away, folders.ready: gone}
    for place in (folders.inbox, folders.needs_a_look, folders.records, folders.ready):
        if kept.get(place):
            continue
        why = _not_made(place)
        if why:
            raise ConfigError(why)
    for place in () if gone else (folders.ready / name for name in settings.destinations):
        why = _not_made(place)
        if why:
            print(f"autoprep: {why}; pictures that belong there wait, all others are made", file=sys.stderr)


def ready_away(settings: Settings) -> str:
    """Why nothing can be put into the folder of finished pictures, nor looked for there; empty where it can."""
    return _of_ledger(settings, lambda ledger: no_ready(settings, ledger))


def inbox_away(settings: Settings) -> str:
    """Why nothing can come in; empty where it can."""
    if not ledger_path(settings).is_file():
        return no_inbox(settings, None)
    return _of_ledger(settings, lambda ledger: no_inbox(settings, ledger))


def _of_ledger(settings: Settings, ask: Callable[[Ledger], str | None]) -> str:
    """What is asked of the ledger; empty where there is none."""
    if not ledger_path(settings).is_file():
        return ""
    with contextlib.closing(Ledger(ledger_path(settings))) as ledger:
        return ask(ledger) or ""


def _not_made(place: Path) -> str:
    """Make a folder; why it can't be made, empty where it is there."""
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        reason = problem.strerror
        if isinstance(problem, FileExistsError):
            away = f"what it links to, {os.readlink(place)}, is not there" if place.is_symlink() else ""
            reason = away or "a file of that name stands in its place"
        return f"the folder {place} can't be made: {reason}"
    return ""


def refuse_own(settings: Settings, place: Path, what: str) -> None:
    """Raises UsageError for a place where the service looks for new photos, or keeps its own files."""
    folders = settings.folders
    ours = {
        folders.ready: "of finished pictures", folders.inbox: "that new photos come from",
        folders.needs_a_look: "of questions", folders.records: "of records",
    }  # fmt: skip
    for folder, called in ours.items():
        if place.resolve().is_relative_to(folder.resolve()):
            raise UsageError(f"a {what} does not belong into the folder {called}; name another folder")


def open_ledger(settings: Settings) -> Ledger | None:
    """The ledger of a studio; None where nothing came in yet. Raises LedgerDamaged where it is gone since."""
    place = ledger_path(settings)
    return Ledger(place) if place.is_file() or is_lost(place) else None


def find_destination(settings: Settings, wanted: str | None) -> str | None:
    """The destination that is meant, written as notes may write it; None for None. Raises UsageError."""
    from autoprep.service.meant import destination_called

    if wanted is None or wanted in settings.destinations:
        return wanted
    name = destination_called(settings, wanted)
    if not name:
        raise UsageError(f"no destination is called {wanted!r}; there are {', '.join(settings.destinations)}")
    return name


def find_job(settings: Settings, wanted: str) -> Job:
    """The newest job of that id, photo name (with or without folders) or title.

    Raises UsageError where there is none, and where several photos are called so: nothing is done to the wrong one.
    """
    ledger = open_ledger(settings)
    if ledger is None:
        why = _not_begun(settings, wanted)
        raise UsageError(why or f"no photo has come in yet, so none is called {wanted!r}")
    try:
        called = _below_the_inbox(settings, wanted)
        fits = ledger.overview.find(called) or _other_file_of(ledger, called)
        if len(fits) > 1:
            one_name = len({fit.shown for fit in fits}) == 1  # a photo, and a work in another photo
            raise UsageError(_several(wanted, [fit.job if one_name else fit.shown for fit in fits], one_name))
        job = ledger.get(fits[0].job) if fits else None
        if job is None:
            raise UsageError(_why_none(settings, wanted, ledger))
    finally:
        ledger.close()
    return job


def _other_file_of(ledger: Ledger, called: str) -> list[Fitting]:
    """The photo that was set aside and of which another file of this name holds the same bytes."""
    aside = [(shown, job) for shown, job in ledger.overview.set_aside().values() if called in (shown, *_parts(shown))]
    return [fit for job in dict.fromkeys(job for _, job in aside) for fit in ledger.overview.find(job)]


def find_photo(settings: Settings, wanted: str) -> Job:
    """The same, and of a copy the photo that it is a copy of, for its words and pictures are that one's; it is told."""
    job = find_job(settings, wanted)
    if job.outcome != "duplicate" or job.record is None or job.record.duplicate_of is None:
        return job
    photo = find_job(settings, job.record.duplicate_of)
    print(f"{plain(job.shown)} is a copy of {plain(photo.shown)}, which is meant.", file=sys.stderr)
    return photo


def _below_the_inbox(settings: Settings, wanted: str) -> str:
    """The path of a photo below the inbox, where it was named as the shell finds it; all as the ledger has names."""
    inbox = settings.folders.inbox.resolve()
    with contextlib.suppress(OSError, RuntimeError, ValueError):  # a text that can be no path is no less a title
        place = Path(wanted).resolve()
        if place.is_relative_to(inbox) and place.is_file():
            return as_shown(place.relative_to(inbox).as_posix())
    return as_shown(wanted)


def _several(wanted: str, shown: list[str], by_id: bool) -> str:
    more = f" and {len(shown) - _MOST_NAMED} more" if len(shown) > _MOST_NAMED else ""
    listed = ", ".join(f"“{name}”" for name in shown[:_MOST_NAMED])
    how = "by its id" if by_id else "with its folders and ending"
    return f"{wanted!r} fits {len(shown)} photos: {listed}{more}; name one {how}, as it stands here"


def _not_begun(settings: Settings, wanted: str) -> str:
    """What is said of a photo that lies in the inbox, and whose turn has not come; empty where none is called so."""
    with contextlib.suppress(OSError, ValueError):
        place = settings.folders.inbox / _below_the_inbox(settings, wanted)
        if wanted and place.resolve().is_relative_to(settings.folders.inbox.resolve()) and place.is_file():
            return (
                f"{wanted} lies in the inbox and is not read yet: `watch` or `once` reads it when its turn comes. What "
                "a note beside it says (“hold”, for example) counts at once"
            )
    return ""


def _why_none(settings: Settings, wanted: str, ledger: Ledger) -> str:
    """What is said of a name that no photo has."""
    from autoprep.service.arrivals import shown_name  # costs a while, and is needed here alone

    until = _waited_for(wanted, ledger.unfinished(time.time()))
    if until:
        return f"{wanted}: {ends_too_early(until)}"
    if composed(wanted) in (composed(shown_name(path)) for path in ledger.overview.passed_over()):
        return f"{wanted}: {NO_PHOTO}"
    why = _not_begun(settings, wanted)
    if why:
        return why
    return _none(wanted, ledger.overview.names())


def _waited_for(wanted: str, unfinished: Mapping[str, float]) -> float:
    """Until when a file that is called so is waited for; 0 where it is not."""
    asked = composed(wanted)
    return next((until for name, until in unfinished.items() if asked in map(composed, (name, *_parts(name)))), 0.0)


def _none(wanted: str, names: set[str]) -> str:
    folded = {_folded(key): name for name in sorted(names) for key in (name, *_parts(name))}
    begin = [key for key in folded if wanted and key.startswith(_folded(wanted))]
    near = [*begin, *difflib.get_close_matches(_folded(wanted), folded, _MOST_NEAR)]
    listed = ", ".join(f"“{name}”" for name in list(dict.fromkeys(folded[key] for key in near))[:_MOST_NEAR])
    nearest = f"; near to that: {listed}" if near else ""
    return f"no job and no photo is called {wanted!r}{nearest}; `autoprep jobs --all` lists them"


def _folded(name: str) -> str:
    return composed(composed(name).casefold())


def _parts(name: str) -> tuple[str, str]:
    place = PurePosixPath(name)
    return place.name, place.stem
