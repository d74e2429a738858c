"""How a studio stands: what waits, runs, asks and failed, and whether there is room."""

import contextlib
import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from pathlib import Path

from autoprep.errors import NO_LEDGER
from autoprep.job.away import away_in_words
from autoprep.ledger import Overview
from autoprep.logs import counted, plain
from autoprep.told.explanations import (
    ABSENT,
    BY_FOLDER,
    NO_DESTINATION,
    OTHERS_THERE,
    ends_too_early,
    is_told_there,
    not_used,
    sent_nowhere,
)
from autoprep.told.in_inbox import NOT_LOOKED_AT, InInbox, asked_of_none, set_aside_there
from autoprep.told.list_letters import lacking
from autoprep.wishes.note_files import is_work_list
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings

_MOST_NAMED, _MOST_UNCLEAR = 6, 3


@dataclass(frozen=True)
class Status:
    """Counts of photos by state and outcome; last_finished as the record has it; free_mb where the records lie.

    not_given_out: with a destination that could not be made, or sent to none that there is; the latter are named in
    no_such_destination. tried: of those that wait, how many have had a try that failed. trouble: why the service gets
    no workers; empty where it does. unclear: photos with words that can't be used, or that do not
    agree; unfinished: files that are waited for because they end too early, and until when;
    not_photos: files in the inbox that are none, and are left alone; photos_set_aside, not_made: what the photos are
    called that were set aside and lie there yet, and those with a destination that could not be made; failing: photos
    that are tried again, words on them that were not carried out and files that could not be read, and why; absent:
    photos that wait because they are no longer in the inbox; left_in_place: pictures that the artist has changed,
    below ready/, which lie there still though their works are held, or not sent there; no_inbox: why nothing can come
    in;
    displaced: photos, and the job of another work that lay at the same place, of which there are pictures yet;
    held_back: photos with a destination that waits for a better photo, or for a word on its size, say; there_again:
    pictures that were away, with their folder, when they were to be taken out of ready/, and lie there again;
    unknown_there: files below ready/ that no record knows, under the names of works that are held, or not sent there;
    asked_afresh: finished photos that wait to be measured again, as the artist has asked;
    letters: what is told of letters in lists that no font holds; lists: what is wrong with lists of works in the inbox;
    not_begun: photos in the inbox that are not taken in yet, for photos are read when it is nearly their turn;
    closed: destinations whose folder can't be written to, though pictures wait for it; no_records: why the ledger
    can't be written to; no_ready: why nothing can be put into ready/; asked_of_none: photos with a question that are no
    longer in the inbox, which questions does not count: who has thrown one away is not to be asked for ever; unheard:
    notes that ask to hold and speak of no photo.
    """

    waiting: int
    running: int
    questions: int
    set_aside: int
    not_given_out: int
    finished: int
    last_finished: str
    free_mb: int
    needed_mb: int
    trouble: str = ""
    no_such_destination: tuple[str, ...] = ()
    tried: int = 0
    unclear: tuple[str, ...] = ()
    unfinished: Mapping[str, float] = field(default_factory=dict)
    not_photos: int = 0
    photos_set_aside: tuple[str, ...] = ()
    not_made: tuple[str, ...] = ()
    failing: Mapping[str, str] = field(default_factory=dict)
    absent: tuple[str, ...] = ()
    left_in_place: tuple[str, ...] = ()
    no_inbox: str = ""
    displaced: tuple[tuple[str, str], ...] = ()
    held_back: tuple[str, ...] = ()
    there_again: tuple[str, ...] = ()
    unknown_there: tuple[str, ...] = ()
    asked_afresh: tuple[str, ...] = ()
    letters: tuple[str, ...] = ()
    lists: tuple[str, ...] = ()
    not_begun: int = 0
    closed: tuple[str, ...] = ()
    no_records: str = ""
    no_ready: str = ""
    asked_of_none: tuple[str, ...] = ()
    unheard: tuple[str, ...] = ()

    @property
    def needs_attention(self) -> bool:
        """Whether somebody should look: questions, photos set aside, what failed, no room, no inbox, or no workers."""
        short = self.free_mb < self.needed_mb
        asks = self.questions or self.set_aside or self.not_given_out
        there = self.left_in_place or self.there_again or self.unknown_there
        away = self.no_inbox or self.no_ready or self.no_records
        return bool(asks or there or self.failing or short or self.trouble or away)

    def lines(self) -> list[str]:
        """The same in words."""
        last = f", the last on {_when(self.last_finished)}" if self.last_finished else ""
        said = [f"Finished: {counted(self.finished, 'photo')}{last}"]
        again = f" ({self.tried} of them once more, after a try that failed)" if self.tried else ""
        said.append(f"Waiting: {self.waiting}{again}, being worked on: {self.running}")
        said += [f"In the inbox, not read yet: {counted(self.not_begun, 'photo')}"] if self.not_begun else []
        said += away_in_words(self.no_inbox, self.no_ready)
        said += [f"Nothing can be done: {self.no_records}"] if self.no_records else []
        said += self._waits()
        if self.trouble:
            said.append(f"Nothing is worked on: {self.trouble}")
        if self.questions:
            said.append(f"Questions for you: {self.questions} (in the folder needs-a-look)")
        if self.asked_of_none:
            named = _named(self.asked_of_none, _MOST_NAMED)
            said.append(
                f"Questions about photos that are no longer in the inbox: {named}; they count when these are back"
            )
        if self.set_aside:
            said.append(f"Set aside: {_named(self.photos_set_aside, _MOST_NAMED)}; `autoprep retry` starts them over")
        lost = self.no_such_destination
        if self.not_made:
            named = _named(self.not_made, _MOST_NAMED)
            said.append(f"Photos with a destination that could not be made: {named}; `autoprep show PHOTO` says why")
        if lost:
            said.append(f"Given out nowhere, for there is no such destination: {_named(lost, _MOST_NAMED)}")
        said += self._lies_there()
        said += [
            f"Another photo lay where {plain(shown)} lies now, and its pictures are still given out: if it is the same "
            f"work, `autoprep say {job} hold` takes them out"
            for shown, job in self.displaced[:_MOST_NAMED]
        ]
        if self.unclear:
            words = "Photos with words that are not understood, or do not agree"
            said.append(f"{words}: {_named(self.unclear, _MOST_UNCLEAR)}; `autoprep show PHOTO` says which")
        if self.unheard:
            words = "Notes that ask to hold, and are called like no photo beside them"
            said.append(f"{words}: {_named(self.unheard, _MOST_NAMED)}; one for a whole folder is called note.txt")
        said += [f"In a list, {line}" for line in map(plain, self.letters[:_MOST_NAMED])]
        said += [f"List of works: {line}" for line in map(plain, self.lists[:_MOST_NAMED])]
        if self.not_photos:
            said.append(f"Files in the inbox that are not photos, and are left alone: {self.not_photos}")
        room = f"Free space: {_size(self.free_mb)}"
        short = "" if self.free_mb >= self.needed_mb else f"; work waits until there are {_size(self.needed_mb)}"
        return [*said, room + short]

    def _lies_there(self) -> list[str]:
        """What lies in ready/ though it should not."""
        said = []
        if self.left_in_place:
            words = "Changed by you, so left in ready/ though their works are held, or not sent there"
            said.append(f"{words}: {_named(self.left_in_place, _MOST_NAMED)}; take them out yourself")
        if self.there_again:
            words = "In ready/ again, though their works are held, or not sent there"
            said.append(f"{words}: {_named(self.there_again, _MOST_NAMED)}; `watch` or `once` takes them out")
        if self.unknown_there:
            words = "Not as they were made, so left in ready/, though their works seem to be held, or not sent there"
            said.append(f"{words}: {_named(self.unknown_there, _MOST_NAMED)}; take them out if they show these")
        return said

    def _failing(self) -> list[str]:
        """What is tried again, by why: where a disk is away one reason holds for all."""
        groups = list(by_reason(self.failing).items())
        said = [f"Tried again later: {for_whom(names)}: {plain(why)}" for why, names in groups[:_MOST_NAMED]]
        more = sum(len(names) for _, names in groups[_MOST_NAMED:])
        return [*said, f"Tried again later: {more} more; `autoprep status --json` names all"] if more else said

    def _waits(self) -> list[str]:
        """What waits for another reason than that it is new, and for what."""
        afresh = f"To be measured again, as you asked: {_named(self.asked_afresh, _MOST_NAMED)}"
        said = [afresh] if self.asked_afresh else []
        said += [f"Not whole yet: {plain(name)}: {ends_too_early(until)}" for name, until in self.unfinished.items()]
        said += self._failing()
        if self.absent:
            said.append(f"Waiting for their photos, which are not in the inbox: {_named(self.absent, _MOST_NAMED)}")
        if self.closed:
            said.append(f"Can't be written to, so pictures wait for it: {', '.join(f'ready/{n}' for n in self.closed)}")
        if self.held_back:
            words = "Photos with a picture that waits for a better photo or a word of yours"
            said.append(f"{words}: {_named(self.held_back, _MOST_NAMED)}; `autoprep show PHOTO` says for what")
        return said


def by_reason(reasons: Mapping[str, str]) -> dict[str, list[str]]:
    """Reason -> what has it, in the order in which they are first met."""
    found: dict[str, list[str]] = {}
    for name, reason in reasons.items():
        found.setdefault(reason, []).append(name)
    return found


def for_whom(photos: Sequence[str]) -> str:
    """The photo that has a reason; where many have it, how many, and what the first are called."""
    return plain(photos[0]) if len(photos) == 1 else _named(photos, _MOST_NAMED)


def _named(photos: Sequence[str], most: int) -> str:
    """How many photos, and what the first of them are called."""
    more = f" and {len(photos) - most} more" if len(photos) > most else ""
    return f"{len(photos)} ({', '.join(plain(photo) for photo in photos[:most])}{more})"


def _when(moment: str) -> str:
    """A moment as the record has it, in words and by the clock of this machine: 26 November 2026, 15:53."""
    at = datetime.fromisoformat(moment).astimezone()
    return f"{at.day} {at:%B %Y, %H:%M}"


def _size(megabytes: int) -> str:
    return f"{megabytes} MB" if megabytes < 1000 else f"{megabytes / 1000:.0f} GB"


def _sent_nowhere(overview: Overview) -> tuple[str, ...]:
    """The photos of which nothing is given out because they are sent to a destination that there is not."""
    return tuple(shown for shown, said in overview.given_out_nowhere(NO_DESTINATION) if sent_nowhere(said))


def _not_photos(settings: Settings, overview: Overview) -> int:
    """How many files that are no photos lie in the inbox now."""
    inbox = os.fsencode(settings.folders.inbox)
    paths = [path for path in overview.passed_over() if not is_work_list(os.path.basename(os.fsdecode(path)))]
    return sum(os.path.lexists(os.path.join(inbox, path)) for path in paths)


def _asked(settings: Settings, overview: Overview, no_inbox: str) -> tuple[int, tuple[str, ...]]:
    """How many questions wait, and the photos of others that are no longer in the inbox."""
    gone = asked_of_none(settings.folders.inbox, overview, away=bool(no_inbox))
    return len(overview.questions()) - len(gone), tuple(gone.values())


def _no_records(settings: Settings) -> str:
    """Why nothing can be put on record by who asks, and so by a service of the same user; empty where it can."""
    place = ledger_path(settings)
    there = [path for path in (place, place.parent) if path.exists()]
    return "" if all(os.access(path, os.W_OK) for path in there) else NO_LEDGER


def _closed(settings: Settings, overview: Overview) -> tuple[str, ...]:
    """Destinations that pictures wait for because their folders can't be written to."""
    names = dict.fromkeys(name for _, name in overview.failed_by(BY_FOLDER))
    return tuple(name for name in settings.destinations if name in names)


def _left_in_place(settings: Settings, overview: Overview, *, ours: bool) -> tuple[str, ...]:
    """Pictures below ready/ that should not lie there, as long as they do: the artist's, or those that were away."""
    ready = settings.folders.ready
    there = {place: sha256 for _, place, sha256 in overview.to_be_withdrawn() if os.path.lexists(place)}
    there = {place: sha256 for place, sha256 in there.items() if _is_ours(place, sha256) == ours}
    return tuple((place.relative_to(ready) if place.is_relative_to(ready) else place).as_posix() for place in there)


def _unknown_there(settings: Settings, overview: Overview) -> tuple[str, ...]:
    """Files below ready/ that no record knows, and of which works that are not given out there tell, if they lie there
    yet.
    """
    lies: dict[str, list[str]] = {}
    told = overview.lie_beside(OTHERS_THERE)
    for name in {name for name, _ in told}:
        with contextlib.suppress(OSError):
            lies[name] = sorted(os.listdir(settings.folders.ready / name))
    found = ((name, file) for name, reason in told for file in lies.get(name, ()) if is_told_there(reason, file))
    return tuple(dict.fromkeys(f"{name}/{file}" for name, file in found))


def _is_ours(place: Path, sha256: str) -> bool:
    from autoprep.service.keeping import is_ours  # costs a while, and is needed here alone

    with contextlib.suppress(OSError):
        return is_ours(place, sha256)
    return False


def status_of(
    settings: Settings,
    overview: Overview | None,
    trouble: str = "",
    unfinished: Mapping[str, float] | None = None,
    unread: Mapping[str, str] | None = None,
    there: InInbox = NOT_LOOKED_AT,
    no_ready: str = "",
    no_inbox: str = "",
) -> Status:
    """The standing of a studio from its ledger, None where there is none yet; trouble, unfinished: as in Status.

    unread: files that could not be taken in, and why; there: what lies in the inbox; no_ready, no_inbox: as in Status.
    """
    place = settings.folders.records
    folder = next(folder for folder in chain([place], place.parents) if folder.is_dir())
    states = {} if overview is None else overview.states()
    outcomes = {} if overview is None else overview.outcomes()
    nowhere = () if overview is None else _sent_nowhere(overview)
    asks, gone = (0, ()) if overview is None else _asked(settings, overview, no_inbox)
    aside = () if overview is None else set_aside_there(settings.folders.inbox, overview, away=bool(no_inbox))
    not_made = () if overview is None else tuple(overview.with_failures())
    problems = [] if overview is None else overview.with_problems()
    failing = {shown: why for shown, why in problems if why != ABSENT}
    return Status(
        waiting=states.get("queued", 0),
        running=states.get("running", 0),
        questions=asks,
        asked_of_none=gone,
        set_aside=len(aside),
        not_given_out=len(nowhere) + len(not_made),
        finished=outcomes.get("ready", 0) + outcomes.get("alternate", 0),
        last_finished="" if overview is None else overview.last_finished(),
        free_mb=int(shutil.disk_usage(folder).free / 1e6),
        needed_mb=int(settings.service.min_free_mb),
        trouble=trouble,
        unfinished=unfinished or {},
        not_photos=0 if overview is None else _not_photos(settings, overview),
        no_such_destination=nowhere,
        photos_set_aside=aside,
        not_made=not_made,
        failing={**failing, **(unread or {})},
        no_inbox=no_inbox,
        unheard=there.unheard,
        displaced=() if overview is None else tuple(overview.displaced()),
        left_in_place=() if overview is None else _left_in_place(settings, overview, ours=False),
        there_again=() if overview is None else _left_in_place(settings, overview, ours=True),
        unknown_there=() if overview is None else _unknown_there(settings, overview),
        held_back=() if overview is None else tuple(overview.held_back()),
        asked_afresh=() if overview is None else tuple(overview.asked_afresh()),
        letters=lacking(settings.folders.records),
        lists=there.lists,
        not_begun=there.not_begun,
        closed=() if overview is None else _closed(settings, overview),
        no_records=_no_records(settings),
        no_ready=no_ready,
        absent=tuple(shown for shown, why in problems if why == ABSENT),
        tried=0 if overview is None else overview.tried(),
        unclear=() if overview is None else tuple(row.shown for row in overview.not_understood() if not_used(row.said)),
    )
