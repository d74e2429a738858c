"""All that is known of the studio now: photos and where they lie, what is said, what was made, what was asked."""

import hashlib
import os
from collections.abc import Container, Iterator, Mapping
from dataclasses import replace
from typing import Any

from autoprep import __version__
from autoprep.domain import Outline, WorkFacts
from autoprep.ledger import LOOK, MEASURED, Ledger, Line, SeenFile, View
from autoprep.service.arrivals import shown_name
from autoprep.service.beside import of_the_work, with_complaints, yielding
from autoprep.service.depends import mended, table_digest
from autoprep.service.inbox import Found, bytes_of
from autoprep.service.left import LeftThere, as_they_lie
from autoprep.service.places import counted, misplaced
from autoprep.service.questions import EACH_ONE, LOST, NONE, SHOWS_NO_WORK, Questions
from autoprep.service.rule import Known, steps
from autoprep.service.said import Said, bare, noted_as, noted_names, words_left
from autoprep.service.steps import Step
from autoprep.service.takes import merit
from autoprep.service.unread import Unread
from autoprep.wishes.photo_notes import has_note
from autoprep.wishes.tables import Settings

_BASIS, _AWAY, _ROOT = "basis", "away", "folder of questions"
_AWAY_BUT = f"{_AWAY}: "  # before the key of what is said of a photo that is away


def _basis(settings: Settings) -> str:
    """What the rule stands on besides the photos: where this is another, all is worked out anew."""
    tables = (__version__, settings.artist.traces, list(settings.destinations), str(settings.folders.inbox))
    return hashlib.sha256(repr(tables).encode("utf-8", "backslashreplace")).hexdigest()[:16]


def _parts_of(lines: Mapping[str, Line]) -> dict[str, tuple[str, ...]]:
    """Photo -> the works that are, or were, made of it one by one."""
    found: dict[str, tuple[str, ...]] = {}
    for job, line in lines.items():
        if line.whole:
            found[line.whole] = (*found.get(line.whole, ()), job)
    return found


class Knowledge:
    """Keeps what is known up to date, and says which steps follow for the works that something is new of.

    Of a photo that nothing is new of only a line is kept, whatever the ledger holds: a long history costs nothing.
    """

    def __init__(self, settings: Settings, ledger: Ledger, log: Any = None) -> None:
        self.settings, self._ledger = settings, ledger
        for job in ledger.without_merit():  # a ledger of an earlier version
            found = ledger.get(job)
            ledger.set_merit(job, merit(found.record) if found is not None and found.record is not None else 0.0)
        if ledger.kept(_BASIS) != _basis(settings):
            self._stand_anew()
        self._views: dict[str, View] = {}
        self._lines = ledger.lines()
        self._parts = _parts_of(self._lines)
        self._renamed = {job for job, line in self._lines.items() if line.was}
        keys = {job: line.settled for job, line in self._lines.items() if line.settled not in ("", _AWAY)}
        self._said = Said(settings.service.settle_s, {job: key.removeprefix(_AWAY_BUT) for job, key in keys.items()})
        self._spoken_of: frozenset[str] = frozenset()
        self._noted_then: tuple[Any, Any] = (None, None)  # what was found of notes and photos when this was found:
        self._noted_away: list[str] = []
        self._here: dict[str, tuple[bytes, ...]] = {}
        self._was_here: Container[str] = frozenset(job for job, key in keys.items() if not key.startswith(_AWAY_BUT))
        self._root = ledger.kept(_ROOT)
        self._questions = Questions(settings.service.settle_s, root=self._root)
        for question in ledger.open_questions():
            self._questions.note(question)
        self._unread = Unread(log)
        self._chosen: dict[str, int] = {}
        self._answers: dict[str, Outline] = {}
        self._each: dict[str, tuple[Outline, ...]] = {}
        self._settled: dict[str, str] = {}
        self._redos, self._others, self._left = ledger.redos(), ledger.others(), LeftThere(ledger)
        self._new: set[str] = {job for job, line in self._lines.items() if not line.settled}
        self._new |= self._redos.keys() & self._lines.keys()
        self._new.update(ledger.held_by_table({name: table_digest(settings, name) for name in settings.destinations}))
        self._new.update(ledger.with_failures())  # other settings may have come while nobody watched

    def _stand_anew(self) -> None:
        self._ledger.unsettle_all()
        self._ledger.keep(_BASIS, _basis(self.settings))

    def touch(self, job: str) -> None:
        """Something is new of a photo: it is read from the ledger again, and what follows is worked out."""
        view = self._ledger.view(job)
        if view is None:
            return
        before, line = self._views.get(job), self._lines.get(job)
        self._views[job], self._lines[job] = view, Line.of(view)
        (self._renamed.add if view.was else self._renamed.discard)(job)
        self._note_parts(view)
        self._redos = self._ledger.redos()
        self._note_question(view)
        moved = line is None or line.path != view.path
        renamed = before is not None and before.shown != view.shown
        other = line is not None and (line.was != view.was or line.work != view.work or renamed)
        if line is not None and (moved or other):
            self._said.forget(job)
        if moved:
            for namesake in [one for one in self._renamed if view.shown in self._lines[one].was]:
                self.touch(namesake)  # its earlier name, and what is said under it, is this photo's now
        works = {view.work, line.work if line is not None else ""} - {""}
        others = {other for work in works for other in self._ledger.takes(work)} - {job}
        for take in others:
            self._views.pop(take, None)  # what it is worth may have changed along with this one
        self._new |= {job, *others, *self._ledger.questions_at(view.path)}  # which may be over, if it lies there now

    def reread(self, job: str) -> None:
        """The ledger has other words on a photo's tries, from which nothing follows."""
        self._views.pop(job, None)

    def _note_parts(self, view: View) -> None:
        """The works in a photo lie where it does, and what becomes of it is news for them."""
        if not view.parts and view.job not in self._parts:
            return
        parts = self._ledger.parts(view.job)
        self._parts[view.job] = tuple(part.job for part in parts)
        for part in parts:
            self._lines.setdefault(part.job, Line.of(part))
            if view.job in self._here:
                self._here[part.job] = self._here[view.job]
        self._new.update(self._parts[view.job])

    def numbers_are_free(self) -> None:
        """Files have left their places in destinations that number them: works with a number may want theirs."""
        self._new.update(self._ledger.ordered([n for n in self.settings.destinations if counted(self.settings, n)]))

    def _of(self, work: str) -> list[str]:
        return self._ledger.takes(work) if work else []

    def _note_question(self, view: View) -> None:
        self._questions.forget(view.job)
        if self._chosen.get(view.job) in (NONE, LOST, SHOWS_NO_WORK):
            del self._chosen[view.job]  # it is seen again where it still holds
        if view.outcome == "needs a look":
            for question in self._ledger.open_questions(view.job):
                self._questions.note(question)
        else:
            self._drop_answer(view.job)  # an answer settles the question that it was given to, and no other

    def _drop_answer(self, job: str) -> None:
        self._answers.pop(job, None)
        self._each.pop(job, None)
        self._chosen.pop(job, None)

    def forget_answer(self, job: str) -> None:
        """An answer that could not be used is no longer one."""
        self._drop_answer(job)
        self.touch(job)

    # --- looking --------------------------------------------------------------------------------------------

    def look(self, found: list[Found], notes: Mapping[str, Any], files: Mapping[bytes, SeenFile]) -> list[str]:
        """After a look at the inbox; the photos that lie elsewhere now than the ledger says."""
        here: dict[str, tuple[bytes, ...]] = {}
        there: dict[bytes, str] = {}  # what lies in the inbox, and the photo that is known to be there
        self._unread.look(found, files)
        for item in found:
            seen = files.get(item.path)
            known = seen is not None and seen.signature == item.signature and seen.job in self._lines
            there[item.path] = job = seen.job if seen is not None and known else ""
            if job and not self._unread.may_be(self._lines[job].path, item):
                here[job] = (*here.get(job, ()), item.path)
        for whole in self._parts.keys() & here.keys():
            here |= dict.fromkeys(self._parts[whole], here[whole])
        self._new.update(self._left.news(self.settings) & self._lines.keys())
        self._new.update(job for job in here if job not in self._was_here)
        self._here, self._was_here = here, here.keys()
        names = {bare(shown_name(path)) for path in there} if self._renamed else ()
        self._note_spoken_of(notes)
        # Where its own place holds something else now, a copy speaks on: what it holds must not come back for a moment.
        copies = {job: copies for job in here if (copies := self._copies(job))}
        self._said.lie_besides(copies, {job for job in here if self._is_astray(job, there, notes)})
        places = ((job, self._lines[job]) for job in (*here, *self._spoken_of))
        self._new.update(self._said.notice(self.settings, notes, places, names))
        return [job for job in here if self._has_left(job, there) and not self._said.is_astray(job)]

    def _note_spoken_of(self, notes: Mapping[str, Any]) -> None:
        """Photos that are away and of which something is said: by the command line, or in a note where theirs was."""
        told = [job for left in words_left(self.settings) for job in (left, *self._parts.get(left, ()))]
        if self._noted_then != (notes, self._here.keys()):
            self._noted_then = (dict(notes), frozenset(self._here))
            self._noted_away = self._noted(noted_names(self.settings.folders.inbox, notes))
        spoken = (*told, *self._noted_away)
        self._spoken_of = frozenset(job for job in spoken if job in self._lines and job not in self._here)

    def _noted(self, orphans: set[str]) -> list[str]:
        """Photos that are away and have one of these names of notes, where no photo that is there has it."""
        if orphans:
            orphans = orphans - {noted_as(shown_name(self._lines[job].path)) for job in self._here}
        lines = self._lines.items() if orphans else ()
        return [job for job, line in lines if job not in self._here and noted_as(shown_name(line.path)) in orphans]

    def _copies(self, job: str) -> tuple[str, ...]:
        """Where else than at its own place a photo lies now."""
        return tuple(shown_name(path) for path in self._here[job] if path != self._lines[job].path)

    def _is_astray(self, job: str, there: Container[bytes], folders: Container[str]) -> bool:
        """Whether the folder of a photo is away, or can't be looked through, and a copy of it lies elsewhere.

        It may come back, and its notes with it: a finished photo keeps its place and its words, on hold in any case,
        otherwise until a note beside the copy speaks.
        """
        path = self._lines[job].path
        if path in there or (os.path.dirname(os.fsdecode(path)) or ".") in folders or self.view(job).state != "done":
            return False
        held, inbox = self.view(job).said.hold, self.settings.folders.inbox
        return held or not any(has_note(inbox, copy, corners=False) for copy in self._copies(job))

    def _has_left(self, job: str, there: Mapping[bytes, str]) -> bool:
        """Whether a photo lies no longer where the ledger has it: nothing is there, or what is known as another.

        A new photo there may turn out to be the edited picture: until that is known, the place is that of both.
        """
        line = self._lines[job]
        other = there.get(line.path, "another")
        return other not in ("", job, line.whole) and not (other in self._lines and self._is_open(other))

    def _is_open(self, job: str) -> bool:
        """Whether it is not known yet what a photo shows."""
        view = self.view(job)
        return not view.work and (view.state != "done" or view.outcome == "needs a look")

    def listen(self) -> None:
        """Questions of whose choices one is left are answered by it; what was asked for again is asked for."""
        others = self._ledger.others()
        if others != self._others:  # `retry`, say, beside the running service
            self._others = others
            unsettled = [job for job in self._ledger.unsettled() if job in self._lines]
            self._new.update(unsettled)
            for job in unsettled:
                self.reread(job)  # how long it waits may be another now
        redos, before = self._ledger.redos(), self._redos
        self._new |= {job for job in {*redos, *before} if redos.get(job) != before.get(job)}
        self._redos = redos
        for job, choice in self._questions.answers():
            if self._chosen.get(job) != choice:
                self._take_answer(job, choice)
        if self._questions.root != self._root:
            self._root = self._questions.root
            self._ledger.keep(_ROOT, self._root)

    def _take_answer(self, job: str, choice: int) -> None:
        asked = self._ledger.get(job)
        if choice in (NONE, LOST, SHOWS_NO_WORK):
            self._chosen[job] = choice
            self._new.add(job)
        elif choice == EACH_ONE and asked is not None and asked.record is not None and asked.record.several:
            self._chosen[job], self._each[job] = choice, asked.record.several
            self._new.add(job)
        elif asked is not None and asked.record is not None and 0 <= choice < len(asked.record.choices):
            self._chosen[job], self._answers[job] = choice, asked.record.choices[choice]
            self._new.add(job)

    def settings_changed(self, settings: Settings) -> None:
        """What follows from other settings is worked out for all."""
        self.settings = settings
        self._stand_anew()
        self.all_anew()

    def all_anew(self) -> None:
        """What follows is worked out for all photos again, from the ledger."""
        self._views.clear()
        self._said.forget_all()
        self._lines = self._ledger.lines()
        self._parts = _parts_of(self._lines)
        self._renamed = {job for job, line in self._lines.items() if line.was}
        self._new |= self._lines.keys()

    def here(self, job: str, path: bytes) -> None:
        """A photo was found there since the last look at the inbox."""
        self._here[job] = (*self._here.get(job, ()), path)
        self._here |= dict.fromkeys(self._parts.get(job, ()), self._here[job])
        self.touch(job)
        for each in (job, *self._parts.get(job, ())) if len(set(self._here[job])) > 1 else ():
            self._said.lies_besides(each, self._copies(each))

    def where(self, job: str) -> tuple[bytes, ...]:
        """Where a photo's bytes lie now, below the inbox; nowhere, at one or several places."""
        return self._here.get(job, ())

    def data(self, job: str) -> bytes | None:
        """The photo's bytes from wherever they lie now; None where they lie nowhere. Raises OSError where one of the
        files that may hold them can't be read.
        """
        view = self.view(job)
        return bytes_of(self.settings.folders.inbox, dict.fromkeys([view.path, *self.where(job)]), view.sha256)

    @property
    def unsettled(self) -> bool:
        """Whether something new has not been worked out, or a note may still be on its way."""
        return bool(self._new) or self._said.unsettled or self._questions.unsettled

    def away_but_spoken_of(self) -> list[str]:
        """The names of the photos that are away and of which a note where theirs was speaks, or the command line."""
        return sorted(self.view(job).shown for job in self._spoken_of)

    # --- working out ----------------------------------------------------------------------------------------

    def view(self, job: str) -> View:
        """A photo as the ledger has it."""
        view = self._views.get(job)
        if view is None:
            view = self._ledger.view(job)
            assert view is not None
            self._views[job] = view
        return view

    def known(self, job: str) -> Known:
        """All that is known of a photo now."""
        view, here = self.view(job), job in self._here
        takes = [other for other in self._of(view.work) if other != job]
        others = {other: self._said_beside(other) for other in takes}  # an edited photo has the name of the one before
        own = self._said_beside(job)
        if not here:  # its words may be of long ago: what is said beside photos that are there wins
            own = yielding(own, [others[other] for other in takes if other in self._here])
        beside = [(self.view(other).shown, told) for other, told in others.items()]
        said = with_complaints(of_the_work(own, tuple(others.values())), beside)
        made, asked = as_they_lie(self._ledger.renditions(job)), frozenset(self._redos.get(job, ()))
        asks, chosen = view.outcome == "needs a look", self._chosen.get(job)
        lost = asks and (chosen == LOST or LOOK not in self._ledger.places(job))
        no_work = asks and chosen == SHOWS_NO_WORK and not said.says_work
        refused = asks and chosen in (NONE, SHOWS_NO_WORK) and not no_work
        each, answer = (self._each.get(job, ()), self._answers.get(job)) if asks else ((), None)
        redo, artist, again = asked - {MEASURED}, self.settings.artist.traces, mended(self.settings, made.values())
        known = Known(view, said, here, made, redo, answer, artist, lost, refused, each=each, mended=again)
        coming = bool(asked) and not here and self._unread.comes(view)
        replaced = asks and not here and self._ledger.is_replaced(job)
        known = replace(known, no_work=no_work, afresh=MEASURED in asked, coming=coming, replaced=replaced)
        known = replace(known, apart=self._is_apart(view)) if view.whole else known
        return replace(known, misplaced=misplaced(self.settings, self._ledger, known)) if said.order else known

    def _is_apart(self, part: View) -> bool:
        """Whether its photo still shows this one of several works."""
        return part.part <= self.view(part.whole).parts

    def _said_beside(self, job: str) -> WorkFacts:
        """A photo that is away keeps what was said of it: its notes may be away with it."""
        view = self.view(job)
        if job in self._here or view.state != "done":
            return self._unread.heard(self.settings, view, self._said.of(self.settings, view), self._here.get(job, ()))
        return self._said.of_one_away(self.settings, view)

    def takes(self, work: str) -> list[Known]:
        """All photos of a work."""
        return [self.known(job) for job in self._of(work)]

    def news(self) -> Iterator[list[str]]:
        """The photos that something is new of, work by work; they are no longer new then. May be left early."""
        done: set[str] = set()
        self._new |= self._unread.over()
        for job in sorted(self._new & self._lines.keys()):
            if job in done:
                continue
            if self._ledger.view(job) is None:
                del self._lines[job]  # a copy whose place is the photo's own since
                continue
            group = self._of(self._lines[job].work) or [job]
            done.update(group)
            self._new.difference_update(group)
            yield group
        self._new &= self._lines.keys()

    def settled(self, group: list[str], *, left: bool) -> None:
        """Whether anything is left to do for the photos of a work, as far as is known now."""
        for job in group:
            away = f"{_AWAY_BUT}{self._said.key_of(job)}" if job in self._spoken_of else _AWAY
            key = "" if left else self._said.key_of(job) if job in self._here else away
            if key != self._lines[job].settled:
                self._settled[job] = key
            if not left:
                self._views.pop(job, None)
                self._said.release(job)

    def keep_settled(self) -> None:
        """The ledger learns what is settled, so that the next start need not work it out."""
        if not self._settled:
            return
        self._ledger.settle(self._settled)
        for job, key in self._settled.items():
            self._lines[job] = replace(self._lines[job], settled=key)
        self._settled.clear()

    def follows(self, group: list[str]) -> list[Step]:
        """The steps that follow for the photos of one work."""
        return steps([self.known(job) for job in group], tuple(self.settings.destinations))

    def unknown_redos(self) -> dict[str, list[str]]:
        """What was asked for again under names of no destination."""
        asked = {job: sorted({*names} - {*self.settings.destinations, MEASURED}) for job, names in self._redos.items()}
        return {job: names for job, names in asked.items() if names and job in self._lines}
