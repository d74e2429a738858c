"""What is said of each photo's work now: read again when a note, a name or a folder has changed, and only then."""

import contextlib
import re
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from autoprep.domain import WorkFacts
from autoprep.ledger import View
from autoprep.wishes.notes import FOLDER_NOTE, facts_of
from autoprep.wishes.settings import Settings

Notes = Mapping[str, tuple[tuple[str, int, int], ...]]
"""Folder below the inbox -> (name, mtime_ns, size) of its notes."""


def facts_for(settings: Settings, shown: str, words: Path | None = None) -> tuple[WorkFacts, tuple[str, ...]]:
    """What is said of the work in a photo, with the artist's destinations as the settings spell them.

    words: what was said of it by the command line, if anything was.
    """
    facts, warnings = facts_of(settings.folders.inbox, shown, words)
    known = {_folded(name): name for name in settings.destinations}
    named = tuple(known[_folded(word)] for word in facts.destinations if _folded(word) in known)
    unknown = [word for word in facts.destinations if _folded(word) not in known]
    if unknown:
        said = f"no destination is called {', '.join(unknown)}; there are {', '.join(settings.destinations)}"
        warnings = (*warnings, said)
    # Sent somewhere that is not known: better nothing is given out than everything.
    hold = facts.hold or bool(facts.destinations and not named)
    return facts.model_copy(update={"destinations": named, "hold": hold, "unclear": tuple(warnings)}), warnings


def words_place(settings: Settings, job: str) -> Path:
    """Where the command line leaves what is said of a photo: the inbox is the artist's, and never written to."""
    return settings.folders.records / "words" / f"{job}.txt"


def _words_left(settings: Settings) -> dict[str, tuple[int, int]]:
    found = {}
    folder = settings.folders.records / "words"
    for place in folder.glob("*.txt") if folder.is_dir() else ():
        with contextlib.suppress(OSError):
            status = place.stat()
            found[place.stem] = (status.st_mtime_ns, status.st_size)
    return found


def _folded(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())


def usual(settings: Settings) -> list[str]:
    """The destinations that take every photo."""
    return [name for name, preset in settings.destinations.items() if preset.when == "always"]


def sent_to(settings: Settings, facts: WorkFacts) -> list[str]:
    """The destinations of a new work: those that it was sent to, else the usual ones."""
    return list(facts.destinations) or usual(settings)


class Said:
    """The facts of all photos.

    A note counts when it has not changed for the settling time: sync tools write in parts.
    """

    def __init__(self, settle_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._settle_s, self._clock = settle_s, clock
        self._notes: Notes = {}
        self._words: dict[str, tuple[int, int]] = {}
        self._known: dict[str, tuple[Any, WorkFacts]] = {}
        self._pending: dict[str, tuple[Any, float]] = {}

    def of(self, settings: Settings, view: View) -> WorkFacts:
        """The facts of a photo that lies in the inbox."""
        known = self._known.get(view.job)
        if known is None:
            key = self._key(settings, view)
            words = words_place(settings, view.job)
            known = self._known[view.job] = (key, facts_for(settings, view.shown, words)[0])
        return known[1]

    def forget(self, job: str) -> None:
        """Read again what is said when it is asked for next."""
        self._known.pop(job, None)

    def notice(self, settings: Settings, notes: Notes, views: Iterable[View]) -> list[str]:
        """The photos of which other things are said than before, after a look at the inbox; views: those present."""
        self._notes, now, changed = notes, self._clock(), []
        self._words = _words_left(settings)
        for view in views:
            key, known = self._key(settings, view), self._known.get(view.job)
            if known is None or known[0] == key:
                self._pending.pop(view.job, None)
                if known is None:
                    changed.append(view.job)
                continue
            waiting = self._pending.get(view.job)
            if waiting is None or waiting[0] != key:
                waiting = self._pending[view.job] = (key, now)
            # Another name is another name at once; what a note says may still be on its way.
            if key[0] != known[0][0] or now - waiting[1] >= self._settle_s:
                del self._pending[view.job]
                self.forget(view.job)
                changed.append(view.job)
        return changed

    @property
    def unsettled(self) -> bool:
        """Whether some notes have changed so lately that they are not read yet."""
        return bool(self._pending)

    def _key(self, settings: Settings, view: View) -> Any:
        folder = PurePosixPath(view.shown).parent
        own = self._notes.get(str(folder), ())
        above = [
            note for parent in folder.parents for note in self._notes.get(str(parent), ())
            if note[0].rpartition(".")[0] == FOLDER_NOTE
        ]  # fmt: skip
        return view.shown, own, tuple(above), self._words.get(view.job), tuple(settings.destinations)
