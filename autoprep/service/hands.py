"""What takes the steps: orders for the workers, what they made into place, and the ledger told in one transaction."""

import contextlib
import os
from collections.abc import Callable, Collection, Container, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord, OutputRecord, WorkFacts, kind_of
from autoprep.errors import DeliveryError
from autoprep.files.storage import publish, write_now
from autoprep.job.folders import folders_there
from autoprep.job.orders import AgainOrder, JobOrder, JobResult, OutlinedOrder
from autoprep.ledger import LOOK, MEASURED, Change, Job, Ledger, Rendition, State, Take
from autoprep.service.apart import called, given_up, taken_apart
from autoprep.service.beside import of_the_work, sent_besides
from autoprep.service.depends import plan_digest
from autoprep.service.grouping import (
    among_takes,
    asked_before,
    displaced,
    edited,
    looks_before,
    shown_no_longer,
    without_place,
    work_of,
)
from autoprep.service.keeping import bring_back, keep_aside, left_behind, take_all_out, take_out, with_stayed
from autoprep.service.late_light import LateLight
from autoprep.service.naming import beside_foreign_files, named, unnumbered, with_unknown_files
from autoprep.service.outlines import outline_for, with_refused
from autoprep.service.places import counted, handed_over, numbered_anew, places_for, with_earlier_names
from autoprep.service.questions import clear
from autoprep.service.results import as_said_now, rows_of, with_renditions, with_those_of_before, with_times
from autoprep.service.rule import Known, is_shown, staying, untrue, used_of, wanted, words_only
from autoprep.service.said import hand_words_on, held_before, sent_to, usual
from autoprep.service.steps import GiveUp, Measure, Render, Restore, TakeApart, Tell, Withdraw
from autoprep.service.takes import merit, regarded
from autoprep.told.explanations import HOLD, MADE_LATER, NO_PLAN, NOT_SENT, OTHER_TAKE, left_there
from autoprep.wishes.notes import reference_shots
from autoprep.wishes.tables import Settings


class Hands:
    """Takes steps in one studio. Every step can be cut short at any moment and taken again.

    freed: a file has left its place in a destination that numbers its files, since that was looked at last.
    """

    def __init__(self, settings: Settings, ledger: Ledger) -> None:
        self.settings, self._ledger = settings, ledger
        self.freed = False
        self.late = LateLight(ledger)
        self._left: set[str] = set()
        self._vain: dict[str, Any] = {}  # what was made again last, and not used: other words held by then

    # --- orders ---------------------------------------------------------------------------------------------

    def order(self, step: Measure | Render, known: Known, data: bytes, takes: Sequence[Known] = ()) -> JobOrder:
        """The order for a step; the names of its files are kept from now on, but for numbers that are still open.

        takes: all photos of the work.
        """
        job = self._ledger.get(known.view.job)
        assert job is not None
        names = list(step.destinations) if isinstance(step, Render) else self._measured_for(known)
        asks = isinstance(step, Measure)
        self._clear_orphans(known)
        others = [take for take in takes if take.view.job != job.job]
        places = places_for(self.settings, self._ledger, known, names, others, may_ask=asks)
        open_places = {
            name: places[name] for name in unnumbered(self.settings, self._ledger, known.view.job, known.made, places)
        }
        kept = {name: place for name, place in places.items() if name not in open_places}
        self._ledger.reserve(job.job, kept, [take.view.job for take in others])
        look = places.pop(LOOK, self.settings.folders.needs_a_look / job.job)
        proof = self.settings.folders.records / "proof" / job.job
        base = JobOrder(
            job.job, job.shown, job.sha256, data, self.settings, places, look, proof, known.said, part=job.part,
            came=self._ledger.overview.came(job.job), there=tuple(folders_there(self.settings, places.values())),
        )  # fmt: skip
        if isinstance(step, Render):
            assert job.record is not None
            return AgainOrder(**vars(base), earlier=job.record)
        self.late.ordered(job)
        base = replace(base, references=tuple(reference_shots(self.settings.folders.inbox, job.shown)))
        base = with_refused(base, step, job)
        if not job.work and self.settings.correction.takes == "best":
            base = replace(base, before=looks_before(self._ledger, job))
        seen = None if base.refused or not job.whole else self._record(job.whole).several[job.part - 1]
        outline, chosen = outline_for(step, job, known.said, seen)
        return base if outline is None else OutlinedOrder(**vars(base), outline=outline, chosen=chosen)

    def open_numbers(self, order: JobOrder) -> frozenset[str]:
        """The destinations in which the files of an order get their number when they are there, and not before.

        A photo that turns out to be a take of another has none of its own, so nothing is left out.
        """
        made = self._ledger.renditions(order.job)
        return unnumbered(self.settings, self._ledger, order.job, made, order.places)

    def _measured_for(self, known: Known) -> list[str]:
        """The destinations of a photo that is looked at; one that is on hold learns here why it has none."""
        asked = [name for name, made in known.made.items() if made.asked]
        names = {*known.said.goes_to(known.view.usual or usual(self.settings)), *asked, *known.redo}.difference(
            known.said.not_for
        )
        return [name for name in self.settings.destinations if name in names]

    def _clear_orphans(self, known: Known) -> None:
        """Files that got a name just before a crash, and would now be made under another one."""
        for name, (place, sha256) in self._ledger.coming(known.view.job).items():
            made = known.made.get(name)
            if made is not None and made.path == place:
                continue
            for each in sha256:
                output = OutputRecord(destination=name, path=str(place), width_px=0, height_px=0, bytes=0, sha256=each)
                take_out(self.settings, known.view.job, Rendition(name, "in place", place, output=output))

    # --- results --------------------------------------------------------------------------------------------

    def deliver(
        self, order: JobOrder, result: JobResult, said: WorkFacts, takes_of: Callable[[str], list[Known]]
    ) -> JobRecord:
        """Give every part its final name, then tell the ledger: in this order, a crash in between is repeatable.

        said: what is said of the photo's work now; takes_of(work): all photos of a work as they are known now. Raises
        DeliveryError.
        """
        job = self._ledger.get(order.job)
        assert job is not None
        before = self._ledger.renditions(job.job)
        asked = {*self._ledger.redos().get(job.job, ())} - {MEASURED}
        record = result.record
        replaced = edited(self._ledger, job, record)
        left = () if isinstance(order, AgainOrder) else shown_no_longer(self._ledger, job, record)
        if held_before(self.settings, record, map(self._record, left), asked_before(self._ledger, job, record)):
            said = said.model_copy(update={"hold": True})
        fields = self._fields(job, order, record, replaced, wished=bool(asked)) | self.late.heard(order, job)
        view = replace(job, state="done", outcome=record.outcome, **fields)
        others = [without_place(take, replaced) for take in takes_of(view.work) if take.view.job != job.job]
        told = of_the_work(order.facts, [take.said for take in others]) == order.facts
        now = of_the_work(said, [take.said for take in others])
        bound = {name for name in order.places if name in asked or (name in before and before[name].asked)}
        order, record, unwanted = as_said_now(order, record, now, view.usual, bound)
        known = Known(view, order.facts, True, before, frozenset(asked), artist=self.settings.artist.traces)
        takes = [known, *others]
        best = used_of(takes, tuple(self.settings.destinations))
        # What is said beside other takes reaches this one now that it is known for one: it is made again by that.
        if isinstance(order, AgainOrder):
            self._note_vain(order, result, in_vain=not (told or order.facts.hold))
        shown = record.outcome in ("ready", "alternate") and is_shown(known, best) and (told or order.facts.hold)
        sent = sent_to(self.settings, order.facts)
        own = sent if best == job.job else sent_besides(order.facts, usual(self.settings))
        plan, unsaid = fields.get("plan", job.plan), asked - set(own)
        rows = rows_of(self.settings, order, record, plan, unsaid, before) if shown else {}
        handed = handed_over(known, takes[1:], tuple(self.settings.destinations)) if shown else {}
        parts = self._without(result.parts, unwanted if shown else {*unwanted, *order.places.values()})
        rows, parts = named(self.settings, self._ledger, job, known, takes[1:], rows, parts)
        rows, parts = beside_foreign_files(self.settings, self._ledger, job, rows, parts, before, handed)
        rows = with_those_of_before(with_earlier_names(self.settings, known, rows), before)
        rows = with_unknown_files(self.settings, self._ledger, known, rows)
        self._put_in_place(order, rows, parts, before, handed)
        if record.outcome == "needs a look":  # what it asked before, and asks no longer, is no answer any more
            clear(order.look_folder, {final.name for _, final in parts})
        self._note_freed([*before.items(), *((name, made) for take in takes[1:] for name, made in take.made.items())])
        if record.plan is None:
            rows = self._taken_out(known, tuple(before), NO_PLAN)
        known = replace(known, made={**before, **rows})
        change = self._change(known, best, record, rows, fields)
        change = replace(change, lends=record.plan is None and any(t.view.job != job.job for t in takes_of(job.work)))
        change = replace(change, replaces=hand_words_on(self.settings, record, [self._record(t.job) for t in replaced]))
        change, self._left = replace(change, replaces=(*change.replaces, *left)), {*self._left, *left}
        change = self.late.told(change, job, self.settings.folders.inbox)
        takes = [known, *takes[1:]]
        losers = [self._stood_back(take, best, record, takes) for take in takes[1:]]
        self._write([*(loser for loser in losers if loser is not None), change])  # names are free, then taken
        if not isinstance(order, AgainOrder):
            self._ledger.drop_redo(job.job)
        return change.record

    def _note_vain(self, order: JobOrder, result: JobResult, *, in_vain: bool) -> None:
        """Raises DeliveryError where the very same was made in vain before: else it would be made without an end."""
        made = (order.facts, order.places.keys()) if in_vain else None
        if made is not None and self._vain.get(order.job) == made:
            self._without(result.parts, set(order.places.values()))
            raise DeliveryError("it was made twice by words that do not hold for it")
        self._vain.pop(order.job, None)
        self._vain |= {order.job: made} if made else {}

    def news(self) -> set[str]:
        """The photos, and works in photos, of which what was delivered was news, since this was asked last."""
        found, self._left = self.late.news() | self._left, set()
        return found

    def clear_questions(self, running: Container[str]) -> None:
        """Questions that are settled leave their folders; a photo that is being looked at may yet become one."""
        for job, folder in self._ledger.settled_questions().items():
            if job in running:
                continue
            clear(folder)
            boundary("cleared")
            self._ledger.settle_question(job)

    def _fields(
        self, job: Job, order: JobOrder, record: JobRecord, replaced: Sequence[Take], *, wished: bool
    ) -> dict[str, Any]:
        """The job's columns after this result; replaced: takes of which it is an edited picture; wished: asked for."""
        if isinstance(order, AgainOrder):
            names = dict.fromkeys((*job.usual, *(name for name in order.places if name in usual(self.settings))))
            fields: dict[str, Any] = {"usual": tuple(names)}
            # An alternate that is asked for again is the one that the artist wants; others stand in for the best.
            return fields | ({"chosen": True} if job.outcome == "alternate" and wished else {})
        if record.outcome != "ready":
            return {"plan": "", "work": "", "answered": False, "parts": 0}
        return {
            "plan": plan_digest(record.plan),
            "merit": merit(record),
            "work": self._work(job, record, replaced),
            "chosen": job.chosen or any(take.chosen for take in replaced),
            "usual": job.usual or tuple(usual(self.settings)),
            "answered": isinstance(order, OutlinedOrder) and order.chosen,
            "parts": 0,
        }

    def _work(self, job: Job, record: JobRecord, replaced: Sequence[Take]) -> str:
        if replaced:
            return replaced[0].work
        return (job.work or work_of(self._ledger, record)) if self.settings.correction.takes == "best" else job.job

    def _put_in_place(
        self,
        order: JobOrder,
        rows: Mapping[str, Rendition],
        parts: list[tuple[Path, Path]],
        before: Mapping[str, Rendition],
        handed: Mapping[Path, tuple[str, Rendition]],
    ) -> None:
        """Announce files, keep those aside that they replace, give them their names, and take out what is over.

        before: what the photo has in the destinations; handed: files of other takes that these replace.
        """
        self._ledger.announce(order.job, {name: row.output.sha256 for name, row in rows.items() if row.output})
        for row in rows.values():
            if row.path is not None and row.path in handed:
                boundary("keep aside")
                keep_aside(self.settings, *handed[row.path])
        left = left_behind(rows, before)
        take_all_out(self.settings, self._ledger, order.job, left[True])
        for part, final in parts:
            boundary("publish")
            publish(part, final)
        take_all_out(self.settings, self._ledger, order.job, left[False])

    @staticmethod
    def _without(parts: list[tuple[Path, Path]], finals: Container[Path]) -> list[tuple[Path, Path]]:
        """The parts without those for these places: files of a take that is not given out, or not there."""
        for part, final in parts:
            if final in finals:
                with contextlib.suppress(OSError):
                    part.unlink()
        return [(part, final) for part, final in parts if final not in finals]

    def _stood_back(self, take: Known, best: str, newest: JobRecord, takes: Sequence[Known]) -> Change | None:
        """What becomes of an earlier take when another is used: None where nothing does (yet)."""
        view = take.view
        if view.outcome not in ("ready", "alternate") or is_shown(take, best):
            return None
        if staying(take, takes, tuple(self.settings.destinations)):
            return None
        record = self._record(view.job)
        if record.take_of == best and not any(made.state == "in place" for made in take.made.values()):
            return None
        rows = self._taken_out(take, tuple(take.made), OTHER_TAKE)
        return self._change(replace(take, made={**take.made, **rows}), best, record, rows, {}, newest)

    # --- steps without a worker -----------------------------------------------------------------------------

    def take(self, step: Withdraw | Restore | Tell | TakeApart | GiveUp, known: Known, takes: list[Known]) -> JobRecord:
        """Withdraw, bring back, take apart, give up, or only tell; the record as it is then."""
        if isinstance(step, TakeApart | GiveUp):
            return self._apart(step, known, takes)
        best, job = used_of(takes, tuple(self.settings.destinations)), known.view.job
        rows, closed = dict[str, Rendition](), None
        others = [take.view.job for take in takes]
        for name in step.destinations if isinstance(step, Withdraw | Restore) else ():
            try:
                back = isinstance(step, Restore)
                rows |= self._brought_back(known, name, others) if back else self._taken_out(known, (name,), step.why)
            except OSError as problem:  # one closed folder keeps nothing in the others, and a full one nothing out
                closed = problem
        self._note_freed(rows.items())
        known = replace(known, made={**known.made, **rows})
        change = self._change(known, best, self._record(job), rows, {})
        self._write([change])
        if closed is not None:
            raise closed
        return change.record

    def _apart(self, step: TakeApart | GiveUp, known: Known, takes: Sequence[Known]) -> JobRecord:
        view = known.view
        if isinstance(step, TakeApart):
            change = taken_apart(view, self._record(view.job), words_only(known), step.outlines)
        else:
            rows = self._taken_out(known, tuple(known.made), NO_PLAN)
            self._note_freed(rows.items())
            change = given_up(view, known.said, rows, step, lends=any(t.view.job != view.job for t in takes))
        self._write([change])
        return change.record

    def _note_freed(self, made: Iterable[tuple[str, Rendition]]) -> None:
        self.freed |= any(row.path is not None and counted(self.settings, name) for name, row in made)

    def _taken_out(self, known: Known, names: tuple[str, ...], why: str) -> dict[str, Rendition]:
        rows = {}
        for name in names:
            made = known.made[name]
            if made.state == "in place":
                boundary("withdraw")
                away = take_out(self.settings, known.view.job, made)
                left = not away and made.path is not None and os.path.lexists(made.path)
                if left:
                    self._ledger.keep_stayed(known.view.job, made)
                said = left_there(why) if left and kind_of(why) in (HOLD.kind, NOT_SENT.kind) else why
                plan = "" if made.why in MADE_LATER else made.plan  # it is that of before, and would come back as such
                state: State = "withdrawn" if away else "picked up"
                rows[name] = replace(made, state=state, plan=plan, reason=said, why=kind_of(why))
        return with_unknown_files(self.settings, self._ledger, known, rows)

    def _brought_back(self, known: Known, name: str, takes: Collection[str]) -> dict[str, Rendition]:
        boundary("restore")
        instead = numbered_anew(self.settings, self._ledger, known, name, {known.view.job, *takes})
        if instead is not None:  # first, so that a file that was moved there just before a crash is known
            self._ledger.reserve(known.view.job, {name: instead})
        back = bring_back(self.settings, known.view.job, known.made[name], self._ledger, takes, instead)
        if back is not None and back.path is not None:
            self._ledger.reserve(known.view.job, {name: back.path}, takes)
        # Where somebody has emptied the folder of withdrawn files, there is none of this plan: it is made again.
        lost = replace(known.made[name], plan="")
        if lost.path is not None and self._ledger.is_taken(lost.path, (known.view.job, *takes)):
            lost = replace(lost, path=None, output=None)  # a better take has the name now
        return {name: replace(back or lost, state="in place", reason="", why="")}

    def finish(self, record: JobRecord) -> None:
        """The job is done and led to no files."""
        view = self._ledger.view(record.job)
        self._write([Change(record if view is None else record.model_copy(update={"was": view.was}))])

    # --- records --------------------------------------------------------------------------------------------

    def _record(self, job: str) -> JobRecord:
        found = self._ledger.get(job)
        assert found is not None
        assert found.record is not None
        return found.record

    def _change(
        self,
        known: Known,
        best: str,
        record: JobRecord,
        rows: Mapping[str, Rendition],
        fields: Mapping[str, object],
        newest: JobRecord | None = None,
    ) -> Change:
        """The record as it follows from what is known, with the rows that changed.

        newest: the record of a take that the ledger does not have yet.
        """
        said = {} if fields.get("plan") is not None else {"work": words_only(known), "photo": known.view.shown}
        record = record.model_copy(update={**said, "was": known.view.was, **among_takes(known.view)})
        record = called(record, known.view.shown) if record.outcome == "several works" else record
        if record.outcome in ("ready", "alternate"):
            truer = untrue(known, best, tuple(self.settings.destinations))
            now = {name: replace(known.made[name], reason=said, why=said.kind) for name, said in truer.items()}
            rows, known = {**rows, **now}, replace(known, made={**known.made, **now})
            other = newest if newest is not None and newest.job == best else None
            record = regarded(known, best, record, lambda: other or self._record(best))
            goal = wanted(known, best, tuple(self.settings.destinations))
            record = with_renditions(record, known.made, goal, tuple(self.settings.destinations))
        record = with_times(record, known.made, self._ledger.renditions(record.job))
        return Change(displaced(self._ledger, known.view, record), tuple(rows.values()), fields)

    def _write(self, changes: list[Change]) -> None:
        """The records' files, then the ledger: all in one transaction."""
        changes = [replace(each, record=with_stayed(self.settings, self._ledger, each.record)) for each in changes]
        for change in changes:
            boundary("record")
            place = self.settings.folders.records / "proof" / change.record.job / "record.json"
            write_now(place, change.record.model_dump_json(indent=2).encode("utf-8"), change.record.job)
        boundary("ledger")
        self._ledger.apply(changes)
        boundary("done")


def boundary(name: str) -> None:
    """Called between any two acts of a step: tests cut the service off here."""
