"""All that is known of the studio now: photos and where they lie, what is said, what was made, what was asked."""

import hashlib
import os
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from autoprep.domain import Outline
from autoprep.ledger import LOOK, Ledger, SeenFile, View
from autoprep.service.inbox import Found
from autoprep.service.questions import Questions
from autoprep.service.rule import Known, Step, steps
from autoprep.service.said import Said
from autoprep.service.takes import merit
from autoprep.wishes.settings import Settings


class Knowledge:
    """Keeps what is known up to date, and says which steps follow for the works that something is new of."""

    def __init__(self, settings: Settings, ledger: Ledger) -> None:
        self.settings, self._ledger = settings, ledger
        self._views = {view.job: view for view in ledger.views()}
        self._works: dict[str, set[str]] = {}
        self._present: dict[str, list[bytes]] = {}
        self._said = Said(settings.service.settle_s)
        self._questions = Questions()
        self._answers: dict[str, Outline] = {}
        self._redos = ledger.redos()
        self._new: set[str] = self._redos.keys() & self._views.keys()
        for view in self._views.values():
            self._file(view)
            self._note_question(view)

    def _file(self, view: View) -> None:
        if view.work:
            self._works.setdefault(view.work, set()).add(view.job)
        if view.plan and view.merit is None:  # a ledger of an earlier version
            job = self._ledger.get(view.job)
            worth = merit(job.record) if job is not None and job.record is not None else 0.0
            self._views[view.job] = replace(view, merit=worth)

    def touch(self, job: str) -> None:
        """Something is new of a photo: it is read from the ledger again, and what follows is worked out."""
        view = self._ledger.view(job)
        if view is None:
            return
        before = self._views.get(job)
        if before is not None and before.work != view.work:
            self._works.get(before.work, set()).discard(job)
        self._views[job] = view
        self._redos = self._ledger.redos()
        self._file(view)
        self._note_question(view)
        if before is not None and before.shown != view.shown:
            self._said.forget(job)
        self._new |= {job, *(other for work in {view.work, before.work if before else ""} for other in self._of(work))}

    def _of(self, work: str) -> set[str]:
        return self._works.get(work, set()) if work else set()

    def _note_question(self, view: View) -> None:
        if view.outcome != "needs a look":
            self._questions.forget(view.job)
            self._answers.pop(view.job, None)  # an answer settles the question that it was given to, and no other
            return
        job = self._ledger.get(view.job)
        if job is not None and job.record is not None:
            self._questions.note(job.record, self._ledger.places(view.job).get(LOOK))

    def forget_answer(self, job: str) -> None:
        """An answer that could not be used is no longer one."""
        self._questions.forget(job)
        self._answers.pop(job, None)
        self.touch(job)

    # --- looking --------------------------------------------------------------------------------------------

    def look(self, found: list[Found], notes: Mapping[str, Any], files: Mapping[bytes, SeenFile]) -> list[str]:
        """After a look at the inbox; the photos that lie elsewhere now than the ledger says."""
        present: dict[str, list[bytes]] = {}
        for item in found:
            seen = files.get(item.path)
            if seen is not None and seen.signature == item.signature:
                present.setdefault(seen.job, []).append(item.path)
        back = present.keys() - self._present.keys()
        self._present = present
        here = [self._views[job] for job in present if job in self._views]
        self._new |= {*back, *self._said.notice(self.settings, notes, here)} & self._views.keys()
        there = {item.path for item in found}
        return [view.job for view in here if view.path not in there]

    def listen(self) -> None:
        """Questions of whose choices one is left are answered by it; what was asked for again is asked for."""
        redos = self._ledger.redos()
        self._new |= {job for job in {*redos, *self._redos} if redos.get(job) != self._redos.get(job)}
        self._redos = redos
        for job, _, outline in self._questions.answers():
            if self._answers.get(job) != outline:
                self._answers[job] = outline
                self._new.add(job)

    def settings_changed(self, settings: Settings) -> None:
        """What follows from other settings is worked out for all."""
        self.settings = settings
        self._new |= self._views.keys()

    def here(self, job: str, path: bytes) -> None:
        """A photo was found there since the last look at the inbox."""
        self._present.setdefault(job, []).append(path)
        self.touch(job)

    def where(self, job: str) -> list[bytes]:
        """Where a photo's bytes lie now, below the inbox; nowhere, at one or several places."""
        return self._present.get(job, [])

    def data(self, job: str) -> bytes | None:
        """The photo's bytes from wherever they lie now; None where they can't be read."""
        view = self._views[job]
        for path in dict.fromkeys([view.path, *self.where(job)]):
            try:
                data = (self.settings.folders.inbox / os.fsdecode(path)).read_bytes()
            except OSError:
                continue
            if hashlib.sha256(data).hexdigest() == view.sha256:
                return data
        return None

    @property
    def unsettled(self) -> bool:
        """Whether something is new that has not been worked out, or a note may still be on its way."""
        return bool(self._new) or self._said.unsettled

    # --- working out ----------------------------------------------------------------------------------------

    def view(self, job: str) -> View:
        """A photo as the ledger has it."""
        return self._views[job]

    def known(self, job: str) -> Known:
        """All that is known of a photo now."""
        view = self._views[job]
        here = job in self._present
        # A photo that is away keeps what was said of it: its notes may be away with it.
        said = self._said.of(self.settings, view) if here or view.state != "done" else view.said
        made, redo = self._ledger.renditions(job), frozenset(self._redos.get(job, ()))
        lost = view.outcome == "needs a look" and LOOK not in self._ledger.places(job)
        return Known(view, said, here, made, redo, self._answer(view), self.settings.artist.name, lost)

    def _answer(self, view: View) -> Outline | None:
        return self._answers.get(view.job) if view.outcome == "needs a look" else None

    def takes(self, work: str) -> list[Known]:
        """All photos of a work."""
        return [self.known(job) for job in sorted(self._of(work))]

    def news(self) -> list[list[str]]:
        """The photos that something is new of, work by work; they are no longer new then."""
        done: set[str] = set()
        groups = []
        for job in sorted(self._new & self._views.keys()):
            if job not in done:
                group = sorted(self._of(self._views[job].work) or {job})
                groups.append(group)
                done.update(group)
        self._new.clear()
        return groups

    def follows(self, group: list[str]) -> list[Step]:
        """The steps that follow for the photos of one work."""
        return steps([self.known(job) for job in group], tuple(self.settings.destinations))

    def unknown_redos(self) -> dict[str, list[str]]:
        """What was asked for again under names of no destination."""
        known = self.settings.destinations
        asked = {job: [name for name in names if name not in known] for job, names in self._redos.items()}
        return {job: names for job, names in asked.items() if names and job in self._views}
