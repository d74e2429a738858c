"""Where finished files go: the name that a work has in each destination, kept while the work is called the same."""

import os
import re
from collections.abc import Callable, Collection, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, takewhile
from pathlib import Path, PurePosixPath

from autoprep.domain import WorkFacts
from autoprep.errors import DeliveryError
from autoprep.files.storage import safe_stem
from autoprep.ledger import LOOK, Ledger, Rendition, key_of
from autoprep.service.called import MOST_NUMBERS, Called, suffix_of
from autoprep.service.depends import same_name
from autoprep.service.keeping import is_ours
from autoprep.service.rule import Known, is_shown, used_of
from autoprep.wishes.names import counts
from autoprep.wishes.tables import Settings

IsTaken = Callable[[Path], bool]
_EARLIER_NAME = "earlier name, else "  # before the digest of settings that made a file
_TELL = ("photo", "title")  # the fields of a name that tell works apart


@dataclass(frozen=True)
class Others:
    """What is known of names that are given: who chooses one keeps clear of them.

    is_taken(place): whether a file of another work has it, or will; stems(destination): all that were given there;
    kept(destination): those that are kept there for other works. before: what the work itself has in the destinations
    now, whose numbers it keeps; own: where files of it lie now, which it may keep, or those that it replaces; alike:
    what its own files are called, as the ledger compares names: one that differs in capitals alone is no other's.
    """

    is_taken: IsTaken
    stems: Callable[[str], list[str]] = lambda destination: []
    kept: Callable[[str], list[Path]] = lambda destination: []
    before: Mapping[str, Rendition] = field(default_factory=dict)
    own: Container[Path | None] = ()
    alike: Container[str] = ()

    def taken(self, place: Path) -> bool:
        """Whether a place is another's, or what lies there is."""
        if place in self.own or key_of(place) in self.alike:
            return False
        return self.is_taken(place) or _exists(place)


def places_for(
    settings: Settings, ledger: Ledger, known: Known, names: list[str], takes: Sequence[Known] = (), *, may_ask: bool
) -> dict[str, Path]:
    """The place of each destination's file, and of the question if there may be one.

    A file that is still called the same stays where it is; a name that was kept for it before is used; else a free
    name is chosen, and kept. takes: other photos of the work, whose names are free for this one where their files are
    no longer in place, or leave it when this one's are there: a better take has the number and the name of the one
    that it replaces.
    """
    job, shown = known.view.job, known.view.shown
    coming, kept, fresh = ledger.coming(job), dict[str, Path](), list[str]()
    ours = {job, *(take.view.job for take in takes)}
    for name in names:
        made = known.made.get(name)
        if made is not None and made.path is not None and _stays(settings, ledger, known, name, ours):
            kept[name] = made.path
        elif name in coming and _is_called(settings, name, known, coming[name][0]):
            kept[name] = coming[name][0]
        else:
            fresh.append(name)
    if may_ask and LOOK in coming:
        kept[LOOK] = coming[LOOK][0]
    asks = may_ask and LOOK not in coming
    if not fresh and not asks:
        return {name: kept[name] for name in (*names, LOOK) if name in kept}
    chosen = reserve(settings, shown, known.said, fresh, _others(settings, ledger, known, takes), may_ask=asks)
    return {name: place for name, place in {**kept, **chosen}.items() if name in names or name == LOOK}


def _stays(settings: Settings, ledger: Ledger, known: Known, name: str, ours: Collection[str]) -> bool:
    """Whether the file that a work has, or had, in a destination is called as it should be now."""
    made = known.made[name]
    assert made.path is not None
    return (
        made.path.suffix == suffix_of(settings, name)
        and name not in known.misplaced
        and same_name(settings, name, dict(made.told), known.said, known.view.shown)
        and not (made.state != "in place" and ledger.is_taken(made.path, (known.view.job,)))
        and numbered_anew(settings, ledger, known, name, ours) is None
        and not _is_renamed_by_table(settings, known, made)
    )


def _is_renamed_by_table(settings: Settings, known: Known, made: Rendition) -> bool:
    """Whether the artist has asked for a file again, and its table calls it otherwise by now.

    Until then it keeps its name, as it keeps all else that other settings made.
    """
    asked = made.destination in known.redo or known.afresh
    return asked and made.path is not None and not _called(settings, made.destination, known).fits(made.path.stem)


def with_earlier_names(settings: Settings, known: Known, rows: dict[str, Rendition]) -> dict[str, Rendition]:
    """The same with those marked that keep a name which their table no longer gives, for nobody has asked for another:
    they are not yet as the settings have it, and `check` counts them.
    """
    kept = {
        name: replace(row, settings=_EARLIER_NAME + row.settings)
        for name, row in rows.items()
        if row.state == "in place" and row.path is not None and name in settings.destinations
        and (was := known.made.get(name)) and was.path == row.path
        and not _called(settings, name, known).fits(row.path.stem)
    }  # fmt: skip
    return rows | kept


def _others(settings: Settings, ledger: Ledger, known: Known, takes: Sequence[Known]) -> Others:
    ours = {known.view.job, *(take.view.job for take in takes)}
    handed = handed_over(known, takes, tuple(settings.destinations))
    lies = [made for made in known.made.values() if made.state == "in place"]
    own = {made.path for made in lies if counted(settings, made.destination)}
    alike = {key_of(made.path) for made in lies if made.path is not None and _is_untouched(made)}
    return Others(
        lambda place: ledger.is_taken(place, ours), ledger.stems, lambda name: ledger.kept_names(name, ours),
        {**lent(takes, handed), **{name: made for name, made in known.made.items() if made.path is not None}},
        own | handed.keys(), alike,
    )  # fmt: skip


def _is_untouched(made: Rendition) -> bool:
    """Whether a file is as it was made, or was picked up: nothing of the artist's has its name."""
    if made.path is None or made.output is None:
        return False
    return is_ours(made.path, made.output.sha256) or not os.path.lexists(made.path)


def lent(takes: Iterable[Known], handed: Container[Path] = ()) -> dict[str, Rendition]:
    """What other takes of a work have had in the destinations and have no longer, or hand over: its names are free."""
    found: dict[str, Rendition] = {}
    for take in takes:
        for name, made in take.made.items():
            if made.path is not None and (made.state != "in place" or made.path in handed):
                found.setdefault(name, made)
    return found


def handed_over(known: Known, takes: Iterable[Known], destinations: Sequence[str]) -> dict[Path, tuple[str, Rendition]]:
    """The files of other takes that this one, if it is the best, replaces when its own are there: path -> (job, file).

    One that the artist has changed stays as it is, and so does its name.
    """
    takes = list(takes)
    best = used_of((known, *takes), destinations)
    found: dict[Path, tuple[str, Rendition]] = {}
    for take in takes if known.view.job == best else ():
        for made in take.made.values() if not is_shown(take, best) else ():
            if made.state == "in place" and made.path is not None and _is_untouched(made):
                found[made.path] = (take.view.job, made)
    return found


def counted(settings: Settings, name: str) -> bool:
    """Whether a destination numbers its files."""
    return name in settings.destinations and counts(settings.destinations[name])


def plainly_named(settings: Settings, names: Container[str]) -> list[str]:
    """Those of these destinations that have no numbers: names can be kept there before anything is known of a work."""
    return [name for name in settings.destinations if name in names and not counted(settings, name)]


def misplaced(settings: Settings, ledger: Ledger, known: Known) -> frozenset[str]:
    """The destinations whose file bears another number than the artist gave the work, which is free by now."""
    order, found = known.said.order, set[str]()
    for name, made in known.made.items():
        if not order or made.state != "in place" or made.path is None or not counted(settings, name):
            continue
        called = _called(settings, name, known)
        number, place = called.number_of(made.path.stem), called.place(order)
        others = [*ledger.kept_names(name, (known.view.job,)), *called.files()]
        others = [other for other in others if other != made.path]
        if number in (None, order) or called.is_given(order, others):
            continue
        if order in called.of_earlier_names(ledger.stems(name)):
            continue
        if not ledger.is_taken(place) and not _exists(place):
            found.add(name)
    return frozenset(found)


def numbered_anew(settings: Settings, ledger: Ledger, known: Known, name: str, ours: Collection[str]) -> Path | None:
    """The place under another number of a file that is not in place, where another work has its number by now.

    ours: the photos of the work.
    """
    made, called = known.made[name], _called(settings, name, known)
    if made.state == "in place" or made.path is None or not counted(settings, name):
        return None
    number = called.number_of(made.path.stem)
    if number is None or not called.is_given(number, ledger.kept_names(name, ours)):
        return None
    coming = ledger.coming(known.view.job)
    if name in coming and _is_called(settings, name, known, coming[name][0]):
        return coming[name][0]
    return called.place(called.next_number(ledger.stems(name)))


def _is_called(settings: Settings, name: str, known: Known, place: Path) -> bool:
    """Whether a name that is kept is, but for a number at its end, the one that the work should have."""
    if place.suffix != suffix_of(settings, name):
        return False
    called = _called(settings, name, known)
    expected = called.place(called.number_of(place.stem) or 1).stem
    return place.stem == expected or re.fullmatch(re.escape(expected) + r"-\d+", place.stem) is not None


def reserve(
    settings: Settings, shown: str, facts: WorkFacts, names: list[str], others: Others, *, may_ask: bool = True
) -> dict[str, Path]:
    """Free places for a photo's outputs and, if it may become a question, for that one's folder.

    Names that meet one that is taken all get the same number at the end, so that a photo's outputs stay alike, but for
    those that say nothing of the work. Destinations that number their files go on counting instead, or take the place
    that the artist gives the work.
    """
    numbering = [name for name in names if counts(settings.destinations[name])]
    places = {name: _numbered(Called(settings, name, shown, facts), others) for name in numbering}
    plain = [name for name in names if name not in places]
    # Where all works would be called the same, that is no reason to number their files elsewhere.
    apart = [name for name in plain if not any(f"{{{field}" in settings.destinations[name].name for field in _TELL)]
    alike = [name for name in plain if name not in apart]
    for group, asks in ((alike, may_ask), *(([name], False) for name in apart)):
        places |= _free_together(settings, shown, facts, group, others.taken, asks)
    return {name: places[name] for name in (*names, LOOK) if name in places}


def _numbered(called: Called, others: Others) -> Path:
    """The place under the number that the artist gives the work, that it has, or else the next one.

    Raises DeliveryError where there is none: a name may be too short to hold a number.
    """
    made, order = others.before.get(called.destination), called.facts.order
    stems = others.stems(called.destination)
    had, earlier = _had(called, made), called.of_earlier_names(stems)
    given = [place for place in others.kept(called.destination) if place not in others.own]
    given += [] if order in (0, had) else [place for place in called.files() if place not in others.own]
    after = range(called.next_number(stems), MOST_NUMBERS)
    # Up from the number that the artist gives, where that is not free: so works that change numbers get by.
    tried = range(order, MOST_NUMBERS) if order else chain((had,) if had else (), after)
    free = (number for number in tried if number == had or number not in earlier)
    able = (number for number in free if not called.is_given(number, given))
    place = next((place for place in map(called.place, able) if not others.taken(place)), None)
    if place is None:
        raise DeliveryError(f"no number is free in {called.destination}: make its `name` shorter, or `name_max` larger")
    return place


def _had(called: Called, made: Rendition | None) -> int | None:
    """The number that a work has, or had; also by an earlier pattern of the table."""
    if made is None or made.path is None:
        return None
    words = " ".join(map(str, made.told.values()))
    return called.number_of(made.path.stem) or called.earlier_number(made.path.stem, words)


def _free_together(
    settings: Settings, shown: str, facts: WorkFacts, names: list[str], taken: IsTaken, may_ask: bool
) -> dict[str, Path]:
    """Free places with one number at the end of all of them, and a question's folder with one of its own: the folder
    of an edited photo's old question is there until that of the new one is, and is no reason to number its files."""

    def files(number: int) -> dict[str, Path]:
        return {name: Called(settings, name, shown, facts).place(number, _ending(number)) for name in names}

    def folder(number: int) -> dict[str, Path]:
        stem = safe_stem(PurePosixPath(shown).stem)
        return {LOOK: settings.folders.needs_a_look / f"{stem}{_ending(number)}"}

    places: dict[str, Path] = {}
    for group in (files, folder) if may_ask else (files,):
        numbered = map(group, range(1, MOST_NUMBERS))
        free = next((group for group in numbered if not any(taken(place) for place in group.values())), None)
        if free is None:
            raise RuntimeError("no free name")
        places |= free
    return places


def _ending(number: int) -> str:
    return "" if number == 1 else f"-{number}"


def plain_place(settings: Settings, name: str, known: Known) -> Path:
    """Where a work's file would go if nothing were there."""
    return _called(settings, name, known).place()


def files_called_so(settings: Settings, name: str, known: Known) -> list[Path]:
    """Files of a destination that have a work's name there, whoever has put them there."""
    return _called(settings, name, known).alike() if name in settings.destinations else []


def other_names(settings: Settings, name: str, known: Known, place: Path, size: int) -> list[Path]:
    """Files of so many bytes under the names that a work's file would have had in place of this one: other numbers."""
    if name not in settings.destinations:
        return []
    called = _called(settings, name, known)
    if counted(settings, name):
        # Only few are of just that size: the folder may hold all the files of years.
        fits = [other for other in called.files() if _size(other) == size]
        numbers = {number for other in fits if (number := called.number_of(other.stem)) is not None}
        places: Iterable[Path] = map(called.place, sorted(numbers - {called.number_of(place.stem)}))
    else:
        endings = chain(("",), (f"-{number}" for number in range(2, MOST_NUMBERS)))
        places = takewhile(
            lambda other: other != place and _exists(other), (called.place(ending=ending) for ending in endings)
        )
    return [other for other in places if _size(other) == size]


def _called(settings: Settings, name: str, known: Known) -> Called:
    return Called(settings, name, known.view.shown, known.said)


def _size(place: Path) -> int:
    """In bytes; -1 where nothing lies there, or it can't be asked."""
    try:
        return place.lstat().st_size
    except OSError:
        return -1


def _exists(place: Path) -> bool:
    try:
        place.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False  # what stands in the way of the folder is told when the picture is delivered
    except OSError:
        return True
    return True
