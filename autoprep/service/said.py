"""What is said of each photo's work now: read again when a note, a name or a folder has changed, and only then."""

import contextlib
import hashlib
import time
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from autoprep.domain import JobRecord, WorkFacts
from autoprep.files.storage import write_now
from autoprep.ledger import Line, View
from autoprep.logs import argument, as_shown
from autoprep.service.beside import OWN_WORDS, letters, own_words, with_copies
from autoprep.service.meant import destinations_meant
from autoprep.told.explanations import NO_DESTINATION
from autoprep.wishes.corner_notes import is_corner_note
from autoprep.wishes.lines import by_key
from autoprep.wishes.mistakes import nearest
from autoprep.wishes.note_files import has_rows, is_unread, said_by
from autoprep.wishes.notes import facts_left_behind, facts_of, facts_of_part, facts_since
from autoprep.wishes.photo_notes import is_folder_note
from autoprep.wishes.tables import Settings
from autoprep.wishes.work_lists import as_compared, endless, read_list

Notes = Mapping[str, tuple[tuple[str, int, int], ...]]
"""Folder below the inbox -> (name, mtime_ns, size) of its notes."""


def facts_for(
    settings: Settings, shown: str, words: Path | None = None, was: tuple[str, ...] = (), held_as: str = ""
) -> tuple[WorkFacts, tuple[str, ...]]:
    """What is said of the work in a photo, with the artist's destinations as the settings spell them.

    words: what was said of it by the command line, if anything was; was: what the photo was called before; held_as: by
    which of its names it was held until now.
    """
    return _with_destinations(settings, *facts_of(settings.folders.inbox, shown, words, was, held_as))


def facts_about(settings: Settings, view: View) -> WorkFacts:
    """What is said now of the work in a known photo, or of one of several in it, by all that may speak of it."""
    words = words_place(settings, view.job)
    if not view.part:
        return facts_for(settings, view.shown, words, view.was, view.said.held_as)[0]
    of_photo, before = words_place(settings, view.whole), (view.was, view.said.held_as)
    found = facts_of_part(settings.folders.inbox, view.shown, view.part, words, of_photo, *before)
    return _with_destinations(settings, *found)[0]


def facts_of_copy(settings: Settings, shown: str, of: str = "") -> WorkFacts:
    """What the place of a copy of a photo says of the work: a hold, and where it goes besides; and what is unclear.

    of: what the photo is called. Then with the words that its copy has beside it or in its name; what sync tools add to
    a name, and a folder's name, are none.
    """
    said, warnings = facts_of(settings.folders.inbox, shown)
    named = _with_destinations(settings, said, warnings)[0]
    unclear = tuple(
        line for line in named.unclear if line.startswith(NO_DESTINATION) or (said.hold and "is held until" in line)
    )
    also, never = tuple(dict.fromkeys((*named.destinations, *named.also))), named.not_for
    words = _words_of_copy(settings, shown, of, said) if of else {}
    hold = said.hold or bool(destinations_meant(settings, said.not_for)[1])
    return WorkFacts(**words, hold=hold, also=also, not_for=never, unclear=unclear)


def _words_of_copy(settings: Settings, shown: str, of: str, said: WorkFacts) -> dict[str, Any]:
    stem, folder = letters(PurePosixPath(shown).stem), shown.rpartition("/")[0]
    words = {name: getattr(said, name) for name in OWN_WORDS}
    if letters(said.title) == stem and letters(PurePosixPath(of).stem) in stem:
        words["title"] = ""
    of_folder, _ = facts_of(settings.folders.inbox, f"{folder}/IMG_0001.jpg" if folder else "IMG_0001.jpg")
    return {name: value for name, value in words.items() if value and value != getattr(of_folder, name)}


def facts_of_one_away(settings: Settings, view: View) -> WorkFacts:
    """What is said of the work in a photo that is away: what was said of it, for its notes may be away with it.

    Over that, what the command line says and a note that lies where its own did. One that was edited in its place has
    no note: that is the edited picture's.
    """
    inbox, words = settings.folders.inbox, words_place(settings, view.job)
    if view.gone:
        return _with_destinations(settings, *facts_left_behind(inbox, view.was, words))[0]
    before, of_photo = own_words(view.said), words_place(settings, view.whole) if view.whole else None
    found = facts_since(inbox, view.shown, before, words, of_photo, view.was)
    return before if found is None else _with_destinations(settings, *found)[0]


_ASTRAY = "the folder of the photo is not there"


def _of_one_astray(settings: Settings, view: View) -> WorkFacts:
    """What is said of the work in a photo whose folder is away; where it is held by that, how to release it now."""
    said = facts_of_one_away(settings, view)
    unclear = [line for line in said.unclear if not line.startswith(_ASTRAY)]
    if said.hold:
        how = f"autoprep say {argument(view.shown)} 'hold: no'"
        unclear.append(f"{_ASTRAY}; what was said in it holds until it is back. To release the work now: {how}")
    return said.model_copy(update={"unclear": tuple(unclear)})


def _with_destinations(
    settings: Settings, facts: WorkFacts, warnings: tuple[str, ...]
) -> tuple[WorkFacts, tuple[str, ...]]:
    named, unknown = destinations_meant(settings, facts.destinations)
    also, unknown_too = destinations_meant(settings, facts.also)
    never, unknown_never = destinations_meant(settings, facts.not_for)
    for word in (*unknown, *unknown_too, *unknown_never):
        near, known = nearest(word, settings.destinations), ", ".join(settings.destinations)
        there = f"the nearest is “{near}”, there are {known}" if near else f"there are {known}"
        warnings = (*warnings, f"{NO_DESTINATION} {word}; {there}")
    both = ", ".join(name for name in never if name in (*named, *also))
    warnings = (*warnings, *([f"it is said to be for {both}, and not to be; it does not go there"] if both else ()))
    # Sent somewhere that is not known, or kept from there: better nothing is given out than everything.
    lost = bool((facts.destinations and not named) or unknown_never)
    update = {
        "destinations": named,
        "also": also,
        "not_for": never,
        "hold": facts.hold or lost,
        "unclear": tuple(warnings),
    }
    return facts.model_copy(update=update), warnings


def words_place(settings: Settings, job: str) -> Path:
    """Where the command line leaves what is said of a photo: the inbox is the artist's, and never written to."""
    return words_folder(settings) / f"{job}.txt"


def words_folder(settings: Settings) -> Path:
    """Where all that the command line was told lies, a file for each photo."""
    return settings.folders.records / "words"


def take_over_words(settings: Settings, job: str, is_known: Callable[[str], bool]) -> None:
    """Words that were left under another number of the same photo, which a ledger gave that is lost, are this one's.

    is_known: whether the ledger has a job. Where several numbers are left, the first was the photo's, and the others
    perhaps those of works in it: of these a hold is heard.
    """
    place, folder = words_place(settings, job), words_folder(settings)
    if place.exists() or not folder.is_dir():
        return
    found = sorted(folder.glob(f"*-{job.partition('-')[2]}.txt"))
    first, *others = [each for each in found if not is_known(each.stem)] or (None,)
    if first is not None:
        if any((said_by(each, []) or {}).get("hold") for each in others):
            write_now(first, first.read_bytes() + b"hold: yes\n", job)
        first.replace(place)


def hand_words_on(settings: Settings, edited: JobRecord, earlier: Sequence[JobRecord]) -> tuple[str, ...]:
    """Words that were left on photos, the newest first, of which another is the edited picture are said of that one.

    Its own go over them; corners, which are pixels, are left out where it has another size. The jobs of the earlier.
    """
    said: dict[str, str] = {}
    left = [(one, place) for one in reversed(earlier) if (place := words_place(settings, one.job)).is_file()]
    own = words_place(settings, edited.job)
    for one, place in (*left, *([(edited, own)] if left and own.is_file() else ())):
        said |= by_key(place.read_text(encoding="utf-8").splitlines())
        if _pixels(one) != _pixels(edited) and any(map(str.isdigit, said.get("outline", ""))):
            del said["outline"]
    if said:
        write_now(own, "".join(f"{line}\n" for line in said.values()).encode("utf-8"), edited.job)
    for _, place in left:
        place.unlink()
    return tuple(one.job for one in earlier)


def held_before(settings: Settings, record: JobRecord, left: Iterable[JobRecord], asked: Sequence[JobRecord]) -> bool:
    """Whether what lay in a photo's place before it was edited was held: works that it shows no longer (see below), or
    questions, by words that were left on them. These are said of the edited one now."""
    hand_words_on(settings, record, asked)
    held = bool(asked) and bool((said_by(words_place(settings, record.job), []) or {}).get("hold"))
    return hold_handed_on(settings, record, left) or held


def hold_handed_on(settings: Settings, record: JobRecord, before: Iterable[JobRecord]) -> bool:
    """Whether a work is held that lay in a photo before it was edited, and that it shows no longer as it was.

    Of several it shows one now, and nobody knows which, or it shows several now and showed one. That is said of what it
    shows then, as by the command line, until something else is. One of several numbers stands for itself.
    """
    if not any(one.work.hold and not (record.part and one.part) for one in before):
        return False
    place = words_place(settings, record.job)
    own = by_key(place.read_text(encoding="utf-8").splitlines()) if place.is_file() else {}
    if "hold" not in own:
        write_now(place, "".join(f"{line}\n" for line in (*own.values(), "hold: yes")).encode("utf-8"), record.job)
    return "hold" not in own


def _pixels(record: JobRecord) -> tuple[int, int] | None:
    return None if record.plan is None else record.plan.geometry.photo_px


def words_left(settings: Settings) -> dict[str, tuple[int, int]]:
    """The jobs of the photos of which the command line was told something: when that was written, and its size."""
    found = {}
    folder = words_folder(settings)
    for place in folder.glob("*.txt") if folder.is_dir() else ():
        with contextlib.suppress(OSError):
            status = place.stat()
            found[place.stem] = (status.st_mtime_ns, status.st_size)
    return found


def usual(settings: Settings) -> list[str]:
    """The destinations that take every photo."""
    return [name for name, preset in settings.destinations.items() if preset.when == "always"]


def sent_to(settings: Settings, facts: WorkFacts) -> list[str]:
    """The destinations of a new work."""
    return list(facts.goes_to(usual(settings)))


def bare(shown: str) -> str:
    """A photo's name with its folders and without its ending, by which notes know it."""
    folder, slash, name = shown.rpartition("/")
    return f"{folder}{slash}{PurePosixPath(name).stem}"


def noted_as(shown: str) -> str:
    """A photo's name as it is compared with those of `noted_names`."""
    return as_compared(bare(shown))


def noted_names(inbox: Path, notes: Notes) -> set[str]:
    """The names, with folders and without ending and as they are compared, of the photos that these notes speak of, and
    the rows of these lists."""
    return {
        as_compared(f"{'' if folder == '.' else as_shown(folder) + '/'}{name}")
        for folder, own in notes.items() for note in own
        if not is_folder_note(note[0]) and not is_corner_note(note[0])
        for name in _names_in(inbox / folder / note[0])
    }  # fmt: skip


def _names_in(note: Path) -> Iterable[str]:
    """The names, without ending, of the photos that a note speaks of, or the rows of a list."""
    if not has_rows(note.name):
        return (PurePosixPath(as_shown(note.name)).stem,)
    with contextlib.suppress(OSError):
        return [name for row in read_list(note).rows for name in (row.photo, endless(row.photo))]
    return ()


class Said:
    """The facts of all photos. Of each a key is kept, of what its facts were read from; facts only for a while.

    A note counts when it has not changed for the settling time: sync tools write in parts.
    keys: what the facts were read from when nothing was left to do, as the ledger keeps it.
    """

    def __init__(
        self, settle_s: float, keys: Mapping[str, str] | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._settle_s, self._clock = settle_s, clock
        self._notes: Notes = {}
        self._words: dict[str, tuple[int, int]] = {}
        self._of_folder: dict[str, str] = {}
        self._keys: dict[str, str] = dict(keys or {})
        self._known: dict[str, WorkFacts] = {}
        self._pending: dict[str, tuple[str, float]] = {}
        self._names: Container[str] = frozenset()
        self._copies: dict[str, tuple[str, ...]] = {}
        self._astray: set[str] = set()

    def of(self, settings: Settings, view: View) -> WorkFacts:
        """The facts of a photo that lies in the inbox."""
        known = self._known.get(view.job)
        if known is None:
            self._keys[view.job] = self._key(view.job, view.shown.rpartition("/")[0], view.whole, view.was)
            copies = {shown: facts_of_copy(settings, shown, view.shown) for shown in self._copies.get(view.job, ())}
            own = _of_one_astray(settings, view) if view.job in self._astray else facts_about(settings, view)
            known = self._known[view.job] = with_copies(own, copies)
            self._try_again(view.job, known)
        return known

    def of_one_away(self, settings: Settings, view: View) -> WorkFacts:
        """The facts of a photo that does not lie there."""
        self._keys[view.job] = self._key(view.job, view.shown.rpartition("/")[0], view.whole, view.was)
        facts = facts_of_one_away(settings, view)
        self._try_again(view.job, facts)
        return facts

    def _try_again(self, job: str, facts: WorkFacts) -> None:
        """A note that could not be read is tried again at each look through the inbox: that it can be shows nowhere."""
        if is_unread(facts.unclear):
            self._keys.pop(job, None)

    def key_of(self, job: str) -> str:
        """What the facts of a photo were read from last; empty where they never were."""
        return self._keys.get(job, "")

    def release(self, job: str) -> None:
        """Facts that nobody needs now are read again when somebody does."""
        self._known.pop(job, None)

    def forget(self, job: str) -> None:
        """Read again what is said when it is asked for next, and say so at the next look."""
        self._known.pop(job, None)
        self._keys.pop(job, None)

    def forget_all(self) -> None:
        """The same of all photos."""
        self._known.clear()
        self._keys.clear()

    def lie_besides(self, copies: dict[str, tuple[str, ...]], astray: set[str]) -> None:
        """Photos that lie at other places too, after a look at the inbox: what these say of them counts besides.

        astray: those of which the own folder is away.
        """
        self._copies, self._astray = copies, astray

    def lies_besides(self, job: str, copies: tuple[str, ...]) -> None:
        """The same of one that was found since."""
        self._copies[job] = copies
        self._astray.discard(job)
        self.forget(job)

    def is_astray(self, job: str) -> bool:
        """Whether a photo's own folder is away, and it lies at other places."""
        return job in self._astray

    def notice(
        self, settings: Settings, notes: Notes, places: Iterable[tuple[str, Line]], names: Container[str] = frozenset()
    ) -> list[str]:
        """The photos of which other things are said than before, after a look at the inbox.

        places: (job, what is kept of it) of each photo that lies there; names: what all files there are called, without
        their endings, where any of these photos was called otherwise before.
        """
        self._of_folder, now, changed = {}, self._clock(), []
        self._notes = {as_shown(folder): own for folder, own in notes.items()}
        self._words, self._names = words_left(settings), names
        for job, line in places:
            key, known = self._key(job, line.folder, line.whole, line.was), self._keys.get(job)
            if known is None or known == key:
                self._pending.pop(job, None)
                if known is None:
                    self._known.pop(job, None)
                    changed.append(job)
                continue
            waiting = self._pending.get(job)
            if waiting is None or waiting[0] != key:
                waiting = self._pending[job] = (key, now)
            if now - waiting[1] >= self._settle_s:  # what a note says may still be on its way
                del self._pending[job]
                self.forget(job)
                changed.append(job)
        return changed

    @property
    def unsettled(self) -> bool:
        """Whether some notes have changed so lately that they are not read yet."""
        return bool(self._pending)

    def _key(self, job: str, folder: str, whole: str, was: tuple[str, ...]) -> str:
        """What the facts of a photo are read from: the same text for as long as that is the same."""
        shared = self._shared(folder)
        left = (self._words[one] for one in (job, whole) if one in self._words)
        # Notes that it has left behind speak for it where no photo has that name now.
        behind = [f"was {self._at(name)}" for name in was if bare(name) not in self._names]
        kind = "instead" if job in self._astray else "copy"  # which may lie at an earlier name
        besides = [f"{kind} {self._at(copy)}" for copy in self._copies.get(job, ())]
        return " ".join([shared, *(f"{when} {size}" for when, size in left), *behind, *besides])

    def _at(self, name: str) -> str:
        return f"{self._shared(name.rpartition('/')[0])} {name}"

    def _shared(self, folder: str) -> str:
        found = self._of_folder.get(folder)
        if found is None:
            found = self._of_folder[folder] = self._notes_for(folder)
        return found

    def _notes_for(self, folder: str) -> str:
        place = PurePosixPath(folder)
        own = self._notes.get(str(place), ())
        above = [
            note for parent in place.parents for note in self._notes.get(str(parent), ())
            if is_folder_note(note[0]) or is_corner_note(note[0]) or has_rows(note[0])
        ]  # fmt: skip
        return hashlib.sha256(repr((own, above)).encode("utf-8", "backslashreplace")).hexdigest()[:16]
