"""Where a photo's outputs will go: which destinations want it, and a free name in each."""

import contextlib
import re
from collections.abc import Callable
from pathlib import Path, PurePosixPath

from autoprep.domain import WorkFacts
from autoprep.files.encoders import ENCODERS
from autoprep.files.storage import safe_stem
from autoprep.ledger import LOOK
from autoprep.naming import counts, file_stem, opening, shortened
from autoprep.settings import Settings
from autoprep.works import facts_of

IsTaken = Callable[[Path], bool]
Reserved = Callable[[str], list[str]]
"""reserved(destination) -> the stems of the names that the ledger has given there."""


def facts_for(settings: Settings, shown: str) -> tuple[WorkFacts, tuple[str, ...]]:
    """What is said of the work in a photo, with the artist's destinations as the settings spell them."""
    facts, warnings = facts_of(settings.folders.inbox, shown)
    known = {_folded(name): name for name in settings.destinations}
    named = tuple(known[_folded(word)] for word in facts.destinations if _folded(word) in known)
    unknown = [word for word in facts.destinations if _folded(word) not in known]
    if unknown:
        said = f"no destination is called {', '.join(unknown)}; there are {', '.join(settings.destinations)}"
        warnings = (*warnings, said)
    # Sent somewhere that is not known: better nothing is given out than everything.
    hold = facts.hold or bool(facts.destinations and not named)
    return facts.model_copy(update={"destinations": named, "hold": hold}), warnings


def _folded(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())


def wanted(settings: Settings, facts: WorkFacts) -> list[str]:
    """The destinations of a work: those that it was sent to, else all that take every photo."""
    if facts.destinations:
        return list(facts.destinations)
    return [name for name, preset in settings.destinations.items() if preset.when == "always"]


def reserve(
    settings: Settings,
    shown: str,
    facts: WorkFacts,
    names: list[str],
    is_taken: IsTaken,
    reserved: Reserved = lambda destination: [],
    *,
    may_ask: bool = True,
) -> dict[str, Path]:
    """Free places for a photo's outputs and, if it may become a question, for that one's folder.

    Names that meet one that is taken all get the same number at the end, so that a photo's outputs stay alike;
    destinations that number their files go on counting instead. reserved names the stems that a destination has
    given already.
    """

    def taken(place: Path) -> bool:
        return is_taken(place) or _exists(place)

    places: dict[str, Path] = {}
    for name in names:
        if counts(settings.destinations[name]):
            number = _next_number(settings, name, shown, facts, reserved(name))
            numbered = (_place(settings, name, shown, facts, n, "") for n in range(number, 100_000))
            places[name] = next(place for place in numbered if not taken(place))
    plain = [name for name in names if name not in places]
    for number in range(1, 100_000):
        ending = "" if number == 1 else f"-{number}"
        group = {name: _place(settings, name, shown, facts, number, ending) for name in plain}
        if may_ask:
            group[LOOK] = settings.folders.needs_a_look / f"{safe_stem(PurePosixPath(shown).stem)}{ending}"
        if not any(taken(place) for place in group.values()):
            return {name: (group | places)[name] for name in (*names, LOOK) if name in group | places}
    raise RuntimeError("no free name")


def _next_number(settings: Settings, name: str, shown: str, facts: WorkFacts, stems: list[str]) -> int:
    """The first number after all that a destination has given, whatever their titles are."""
    folder = settings.folders.ready / name
    with contextlib.suppress(OSError):
        stems = [*stems, *(path.stem for path in folder.iterdir())]
    preset, number = settings.destinations[name], 1
    while True:
        start = opening(preset, name, facts, settings.artist.name, shown, number)
        if not any(stem.startswith(start) and not stem[len(start) : len(start) + 1].isdigit() for stem in stems):
            return number
        number += 1


def _place(settings: Settings, name: str, shown: str, facts: WorkFacts, number: int, ending: str) -> Path:
    preset = settings.destinations[name]
    stem = file_stem(preset, name, facts, settings.artist.name, shown, number)
    return settings.folders.ready / name / f"{shortened(stem, ending, preset.name_max)}{suffix_of(settings, name)}"


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
