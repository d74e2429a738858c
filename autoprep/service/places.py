"""Where finished files go: the name that a work has in each destination, kept while the work is called the same."""

import contextlib
import os
import re
from collections.abc import Callable, Collection, Container, Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path, PurePosixPath

from autoprep.domain import WorkFacts
from autoprep.files.encoders import ENCODERS
from autoprep.files.storage import safe_stem
from autoprep.ledger import LOOK, Ledger, Rendition
from autoprep.service.depends import same_name
from autoprep.service.keeping import is_ours
from autoprep.service.rule import Known, is_shown, used
from autoprep.wishes.names import counts, file_stem, number_in, opening, shortened
from autoprep.wishes.tables import Settings

IsTaken = Callable[[Path], bool]
_TELL = ("photo", "title")  # the fields of a name that tell works apart
Reserved = Callable[[str], list[str]]
"""reserved(destination) -> the stems of the names that the ledger has given there."""


Kept = Callable[[str], list[Path]]
"""kept(destination) -> the names that are kept there for others."""


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
        suffix = suffix_of(settings, name)
        if (
            made is not None
            and made.path is not None
            and made.path.suffix == suffix
            and name not in known.misplaced
            and same_name(settings, name, dict(made.told), known.said, shown)
            and not (made.state != "in place" and ledger.is_taken(made.path, (job,)))
            and numbered_anew(settings, ledger, known, name, ours) is None
        ):
            kept[name] = made.path
        elif name in coming and _is_called(settings, name, known, coming[name][0]):
            kept[name] = coming[name][0]
        else:
            fresh.append(name)
    if may_ask and LOOK in coming:
        kept[LOOK] = coming[LOOK][0]
    asks = may_ask and LOOK not in coming
    handed = handed_over(known, takes)
    own = {
        made.path for made in known.made.values() if made.state == "in place" and counted(settings, made.destination)
    } | handed.keys()
    chosen = {} if not fresh and not asks else reserve(
        settings, shown, known.said, fresh, lambda place: ledger.is_taken(place, ours), ledger.stems, may_ask=asks,
        before={**lent(takes, handed), **{name: made for name, made in known.made.items() if made.path is not None}},
        own=own, kept=lambda name: ledger.kept_names(name, ours),
    )  # fmt: skip
    return {name: place for name, place in {**kept, **chosen}.items() if name in names or name == LOOK}


def lent(takes: Iterable[Known], handed: Container[Path] = ()) -> dict[str, Rendition]:
    """What other takes of a work have had in the destinations and have no longer, or hand over: its names are free."""
    found: dict[str, Rendition] = {}
    for take in takes:
        for name, made in take.made.items():
            if made.path is not None and (made.state != "in place" or made.path in handed):
                found.setdefault(name, made)
    return found


def handed_over(known: Known, takes: Iterable[Known]) -> dict[Path, tuple[str, Rendition]]:
    """The files of other takes that this one, if it is the best, replaces when its own are there: path -> (job, file).

    One that the artist has changed stays as it is, and so does its name.
    """
    takes = list(takes)
    best = used(take.view for take in (known, *takes))
    found: dict[Path, tuple[str, Rendition]] = {}
    for take in takes if known.view.job == best else ():
        for made in take.made.values() if not is_shown(take, best) else ():
            if made.state != "in place" or made.path is None or made.output is None:
                continue
            if is_ours(made.path, made.output.sha256) or not os.path.lexists(made.path):
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
        shown, said = known.view.shown, known.said
        number = _number_of(settings, name, shown, said, made.path.stem)
        place = _place(settings, name, shown, said, order, "")
        others = [*ledger.kept_names(name, (known.view.job,)), *_files_in(settings, name)]
        others = [other for other in others if other != made.path]
        if number in (None, order) or _is_given(settings, name, shown, said, order, others):
            continue
        if not ledger.is_taken(place) and not _exists(place):
            found.add(name)
    return frozenset(found)


def numbered_anew(settings: Settings, ledger: Ledger, known: Known, name: str, ours: Collection[str]) -> Path | None:
    """The place under another number of a file that is not in place, where another work has its number by now.

    ours: the photos of the work.
    """
    made, shown, said = known.made[name], known.view.shown, known.said
    if made.state == "in place" or made.path is None or not counted(settings, name):
        return None
    number = _number_of(settings, name, shown, said, made.path.stem)
    if number is None or not _is_given(settings, name, shown, said, number, ledger.kept_names(name, ours)):
        return None
    coming = ledger.coming(known.view.job)
    if name in coming and _is_called(settings, name, known, coming[name][0]):
        return coming[name][0]
    return _place(settings, name, shown, said, _next_number(settings, name, shown, said, ledger.stems(name)), "")


def _is_called(settings: Settings, name: str, known: Known, place: Path) -> bool:
    """Whether a name that is kept is, but for a number at its end, the one that the work should have."""
    if place.suffix != suffix_of(settings, name):
        return False
    number = _number_of(settings, name, known.view.shown, known.said, place.stem)
    expected = _place(settings, name, known.view.shown, known.said, number or 1, "").stem
    return place.stem == expected or re.fullmatch(re.escape(expected) + r"-\d+", place.stem) is not None


def reserve(
    settings: Settings,
    shown: str,
    facts: WorkFacts,
    names: list[str],
    is_taken: IsTaken,
    reserved: Reserved = lambda destination: [],
    *,
    may_ask: bool = True,
    before: Mapping[str, Rendition] | None = None,
    own: Container[Path | None] = (),
    kept: Kept = lambda destination: [],
) -> dict[str, Path]:
    """Free places for a photo's outputs and, if it may become a question, for that one's folder.

    Names that meet one that is taken all get the same number at the end, so that a photo's outputs stay alike, but for
    those that say nothing of the work. Destinations that number their files go on counting instead, or take the place
    that the artist gives the work. reserved names the stems that a destination has given already; before: what the
    work has in the destinations now, whose numbers it keeps; own: where files of it lie now, which it may keep, or
    those that it replaces; kept: the names of other works.
    """

    def taken(place: Path) -> bool:
        return place not in own and (is_taken(place) or _exists(place))

    places: dict[str, Path] = {}
    for name in names:
        if counts(settings.destinations[name]):
            made = (before or {}).get(name)
            stem = made.path.stem if made is not None and made.path is not None else ""
            had = _number_of(settings, name, shown, facts, stem) if stem else None
            others = [place for place in kept(name) if place not in own]
            others += [] if facts.order in (0, had) else [p for p in _files_in(settings, name) if p not in own]
            after = range(_next_number(settings, name, shown, facts, reserved(name)), 100_000)
            # Up from the number that the artist gives, where that is not free: so works that change numbers get by.
            tried = range(facts.order, 100_000) if facts.order else chain((had,) if had else (), after)
            able = (n for n in tried if not _is_given(settings, name, shown, facts, n, others))
            numbered = (_place(settings, name, shown, facts, n, "") for n in able)
            places[name] = next(place for place in numbered if not taken(place))
    plain = [name for name in names if name not in places]
    # Where all works would be called the same, that is no reason to number their files elsewhere.
    apart = [name for name in plain if not any(f"{{{field}" in settings.destinations[name].name for field in _TELL)]
    alike = [name for name in plain if name not in apart]
    for group, asks in ((alike, may_ask), *(([name], False) for name in apart)):
        places |= _free_together(settings, shown, facts, group, taken, asks)
    return {name: places[name] for name in (*names, LOOK) if name in places}


def _free_together(
    settings: Settings, shown: str, facts: WorkFacts, names: list[str], taken: IsTaken, may_ask: bool
) -> dict[str, Path]:
    """Free places with one number at the end of all of them."""
    for number in range(1, 100_000):
        ending = "" if number == 1 else f"-{number}"
        group = {name: _place(settings, name, shown, facts, number, ending) for name in names}
        if may_ask:
            group[LOOK] = settings.folders.needs_a_look / f"{safe_stem(PurePosixPath(shown).stem)}{ending}"
        if not any(taken(place) for place in group.values()):
            return group
    raise RuntimeError("no free name")


def _next_number(settings: Settings, name: str, shown: str, facts: WorkFacts, stems: list[str]) -> int:
    """The first number after all that a destination has given, whatever their titles are."""
    places = [*map(Path, stems), *_files_in(settings, name)]
    return next(n for n in range(1, 100_000) if not _is_given(settings, name, shown, facts, n, places))


def _is_given(settings: Settings, name: str, shown: str, facts: WorkFacts, number: int, places: Iterable[Path]) -> bool:
    """Whether one of these names in a destination bears a number already, whatever comes after it."""
    start = opening(settings.destinations[name], name, facts, settings.artist.name, shown, number)
    stems = (place.stem for place in places)
    return any(stem.startswith(start) and not stem[len(start) : len(start) + 1].isdigit() for stem in stems)


def _files_in(settings: Settings, name: str) -> list[Path]:
    """All that lies in a destination, whoever has put it there."""
    with contextlib.suppress(OSError):
        return list((settings.folders.ready / name).iterdir())
    return []


def _number_of(settings: Settings, name: str, shown: str, facts: WorkFacts, stem: str) -> int | None:
    """The number that a file of a numbering destination bears; None where it has none, or begins in another way."""
    return number_in(settings.destinations[name], name, facts, settings.artist.name, shown, stem)


def _place(settings: Settings, name: str, shown: str, facts: WorkFacts, number: int, ending: str) -> Path:
    preset = settings.destinations[name]
    stem = file_stem(preset, name, facts, settings.artist.name, shown, number)
    return settings.folders.ready / name / f"{shortened(stem, ending, preset.name_max)}{suffix_of(settings, name)}"


def plain_place(settings: Settings, name: str, known: Known) -> Path:
    """Where a work's file would go if nothing were there."""
    return _place(settings, name, known.view.shown, known.said, 1, "")


def suffix_of(settings: Settings, destination: str) -> str:
    """The ending of a destination's files."""
    return ENCODERS[settings.destinations[destination].format].suffix


def _exists(place: Path) -> bool:
    try:
        place.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False  # what stands in the way of the folder is told when the picture is delivered
    except OSError:
        return True
    return True
