"""The steps on their way: worked out, given to workers, what came back delivered, what failed tried again."""

import sqlite3
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

from autoprep.domain import JobRecord
from autoprep.errors import DeliveryError, ReadyAway, in_plain_words
from autoprep.files.storage import answers, is_full
from autoprep.job.orders import JobOrder
from autoprep.job.stages import set_aside
from autoprep.ledger import Job, Ledger
from autoprep.service.hands import Hands
from autoprep.service.inbox import Found
from autoprep.service.knowledge import Knowledge
from autoprep.service.messages import Failed, Finished, Staged
from autoprep.service.rule import SAME_WORDS
from autoprep.service.space import Space
from autoprep.service.steps import GiveUp, Measure, Render, Restore, Step, TakeApart, Tell, Withdraw
from autoprep.service.workers import Workers
from autoprep.told.explanations import ABSENT, BY_FOLDER, HOLD, cant_be_read, sent_nowhere
from autoprep.wishes.tables import Settings

_RETRY_S, _RETRY_MOST_S = 30.0, 3600.0
_RETRY_DOUBLED = 10  # times, at most
_ABSENT_WAIT_S = 15.0  # a queued photo that is not there is looked for so often
_UNREAD_WAIT_S = 60.0
_FAULT_WAIT_S = 300.0
_NO_ROOM_WAIT_S = 30.0
_IN_TURN_S = 20.0  # so long a result with a new number waits for those of photos that came before
_AT_ONCE_S = 0.5  # so long is worked out what follows, before it is looked what else is due

_EVENTS: dict[type[Step], str] = {
    Withdraw: "withdrawn", Restore: "brought back", Tell: "told", TakeApart: "taken apart", GiveUp: "given up",
}  # fmt: skip


class Desk:
    """Where steps wait, run and end. finished(record) is told of every photo that something was done for.

    space: whether there is a place for what is made; fault: what the last fault of `guarded` was; failed:
    finished photos of which something new failed, by their jobs, and why; acts: how often something was done for a
    photo that needed no worker, by what it was.
    """

    def __init__(
        self, settings: Settings, ledger: Ledger, pool: Workers, log: Any, finished: Callable[[JobRecord], None]
    ) -> None:
        self.settings, self._ledger, self._pool, self._log = settings, ledger, pool, log
        self._told = finished
        self._knowledge = Knowledge(settings, ledger, log)
        self._hands = Hands(settings, ledger)
        self._hands.clear_questions(())
        self._todo: dict[str, Measure | Render] = {}
        self._running: dict[str, JobOrder] = {}
        self._unnumbered: dict[str, frozenset[str]] = {}  # job -> destinations in which it gets a number yet
        self._waiting: dict[str, tuple[Finished, float]] = {}  # results that wait for their turn, and since when
        self._stumbling: dict[str, float] = {}
        self.space, self.fault = Space(ledger, log), ""
        self.failed: dict[str, str] = {}
        self.acts: Counter[str] = Counter()
        self._taken = False

    # --- news -----------------------------------------------------------------------------------------------

    def here(self, job: str, path: bytes) -> None:
        """A photo lies there, for the first time or again."""
        self._knowledge.here(job, path)

    def all_anew(self) -> None:
        """What follows is worked out for all photos again, from the ledger."""
        self._running = {job: order for job, order in self._running.items() if job in self._pool.running}
        self._waiting.clear()
        self._knowledge.all_anew()

    def arrived(self, record: JobRecord) -> None:
        """A file came in that needs no work."""
        self._finished(record)

    def look(self, found: list[Found], notes: dict[str, Any], files: Any) -> list[tuple[str, str, bytes]]:
        """After a look at the inbox: (job, where it was, where it is) of photos that lie elsewhere now."""
        moved = self._knowledge.look(found, notes, files)
        return [(job, self._knowledge.view(job).shown, self._knowledge.where(job)[0]) for job in moved]

    def settings_changed(self, settings: Settings) -> None:
        """Other settings hold from now on."""
        self.settings = self._hands.settings = settings
        self._knowledge.settings_changed(settings)

    # --- steps ----------------------------------------------------------------------------------------------

    def work_out(self) -> bool:
        """Find the steps that follow from what is new; those without a worker are taken. Whether any was."""
        self._knowledge.listen()
        now, self._taken = time.monotonic(), False
        for job in [job for job, when in self._stumbling.items() if when <= now]:
            del self._stumbling[job]
            self._knowledge.touch(job)
        for group in self._knowledge.news():
            wait_s = self.guarded(self._knowledge.view(group[0]).shown, partial(self._follow, group))
            if wait_s:
                self._stumbling |= dict.fromkeys(group, now + wait_s)
                self._note_problem(group, self.fault)
            if time.monotonic() - now > _AT_ONCE_S:
                break  # other things are due; the rest stays new
        self._knowledge.keep_settled()
        return self._taken

    def _follow(self, group: list[str]) -> None:
        for job in group:
            self._todo.pop(job, None)
        steps = self._knowledge.follows(group)
        self._forget_problems([job for job in group if not any(step.job == job for step in steps)])
        self._knowledge.settled(group, left=bool(steps))
        for step in steps:
            if isinstance(step, Measure | Render):
                self._todo[step.job] = step
            elif step.job not in self._running:  # what comes back is told of by itself
                self._take(step)

    def _forget_problems(self, jobs: list[str]) -> None:
        """What failed is no longer to be done: other words were said since, or it was done in another way."""
        over = [job for job in jobs if self._knowledge.view(job).problem and job not in self._running]
        self._note_problem(over, "")

    def _note_problem(self, jobs: list[str], why: str) -> None:
        if jobs:
            self._ledger.note_problem(jobs, why)
        for job in jobs:
            self._knowledge.reread(job)

    def _take(self, step: Step) -> None:
        """A step that needs no worker. What follows from it is worked out in turn."""
        assert isinstance(step, Withdraw | Restore | Tell | TakeApart | GiveUp)
        known = self._knowledge.known(step.job)
        self.space.refuse(step)
        if isinstance(step, Tell) and (known.redo or known.afresh):
            unknown = self._knowledge.unknown_redos().get(step.job)
            self._warn(step.job, "redo not possible", _no_such(unknown) if unknown else step.why)
            self._ledger.drop_redo(step.job)
        work = known.view.work
        record = self._hands.take(step, known, self._knowledge.takes(work) if work else [known])
        names = getattr(step, "destinations", ())
        event = _EVENTS[type(step)]
        why = sent_nowhere(known.said) if step.why == HOLD else ""  # by which alone it is held
        facts = {"reason": why or step.why, "destinations": ",".join(names) or None}
        self._log.info(event, job=step.job, photo=record.photo, **facts)
        self._taken = True
        # Not that a copy is on record, nor that a record keeps where words stand.
        if not isinstance(step, Tell) or (known.view.outcome in ("ready", "alternate") and step.why != SAME_WORDS):
            self.acts[event] += 1
        if isinstance(step, TakeApart | GiveUp):
            self._hands.clear_questions(self._running)
        self._touch(step.job)

    def _touch(self, job: str) -> None:
        """After a step something is new of a photo, works that wait for its number, and others that it is news for."""
        self._knowledge.touch(job)
        if self._hands.freed:
            self._hands.freed = False
            self._knowledge.numbers_are_free()
        for other in self._hands.news():
            self._knowledge.touch(other)

    def _warn(self, job: str, event: str, reason: str) -> None:
        self._log.warning(event, job=job, photo=self._knowledge.view(job).shown, reason=reason)

    def waiting(self) -> list[Measure | Render]:
        """Steps that a worker can begin now, oldest photo first."""
        steps = [step for job, step in self._todo.items() if job not in self._running and self._is_due(job)]
        return sorted(steps, key=lambda step: self._knowledge.view(step.job).number)

    def _is_due(self, job: str) -> bool:
        # A time beyond any wait that is ever set means that the clock was put back meanwhile.
        now, not_before = time.time(), self._knowledge.view(job).not_before
        return not_before <= now or not_before > now + 2 * _RETRY_MOST_S

    def begin(self, step: Measure | Render) -> None:
        """Give a step to a worker."""
        wait_s = self.guarded(self._knowledge.view(step.job).shown, partial(self._begin, step))
        if wait_s:
            self._put_off(step.job, wait_s, self.fault, attempt=wait_s >= _FAULT_WAIT_S)

    def _begin(self, step: Measure | Render) -> None:
        view = self._knowledge.view(step.job)
        try:
            data = self._knowledge.data(step.job)
        except OSError as problem:
            self._put_off(step.job, _UNREAD_WAIT_S, cant_be_read(problem))
            self._warn(step.job, "not read", cant_be_read(problem))
            return
        if data is None:
            # Absence is not deletion: a share may be away, a phone may move its photos. The job waits for its bytes.
            self._put_off(step.job, _ABSENT_WAIT_S, ABSENT)
            return
        takes = self._knowledge.takes(view.work) if view.work else []
        order = self._hands.order(step, self._knowledge.known(step.job), data, takes)
        if view.state == "queued":
            self._ledger.start(step.job)
        self._log.info("started", job=step.job, photo=view.shown, why=step.why)
        self._todo.pop(step.job, None)
        self._running[step.job] = order
        self._unnumbered[step.job] = self._hands.open_numbers(order)
        self._pool.submit(step.job, order)

    def make_room(self) -> None:
        """Long jobs that hold the last worker wait again; that is no failed try."""
        for job in self._pool.make_room():
            self._running.pop(job, None)
            view = self._ledger.view(job)
            if view is not None and view.state == "running":
                self._ledger.give_back(job, failed=False)
            self._knowledge.touch(job)
            self._log.info("put back", job=job, reason="it takes long, and others wait; it goes on when one is free")

    def _put_off(self, job: str, wait_s: float, why: str, *, attempt: bool = False) -> int:
        attempts = self._ledger.postpone(job, time.time() + wait_s, attempt=attempt, why=why)
        self._knowledge.touch(job)
        return attempts

    def guarded(self, shown: str, act: Callable[[], None]) -> float:
        """No fault of one photo ends the loop: it is told with its traceback. For how many seconds that photo is left
        alone then; 0 where there was none. What is wrong with the whole disk or the ledger is raised: see Engine.step.
        """
        try:
            act()
        except sqlite3.OperationalError:
            raise
        except ReadyAway as problem:
            self.fault = str(problem)
            return _ABSENT_WAIT_S
        except Exception as problem:
            self.fault = in_plain_words(problem)
            if is_full(problem):
                if not self.space.full:  # else it is told already
                    self._log.warning("waiting for space", photo=shown, reason=self.fault)
                return _NO_ROOM_WAIT_S
            folders = self.settings.folders
            if isinstance(problem, OSError) and not (answers(folders.records) and answers(folders.ready)):
                raise
            self._log.error("fault", photo=shown, reason=self.fault, exc_info=True)
            return _FAULT_WAIT_S
        return 0.0

    def room(self, complain: Callable[..., None]) -> bool:
        """Whether there is a place for what would be made now."""
        return self.space.look(self.settings, complain)

    # --- results --------------------------------------------------------------------------------------------

    def collect(self) -> None:
        """Everything that workers have said since."""
        for message in self._pool.collect():
            if isinstance(message, Staged):
                self._log.info("stage", job=message.job, stage=message.stage, seconds=message.seconds, **message.facts)
            elif isinstance(message, Finished):
                self._waiting[message.job] = message, time.monotonic()
            else:
                self._failed(message)
        self._deliver_in_turn()

    def _deliver_in_turn(self, *, all_now: bool = False) -> None:
        """Deliver what was made, oldest photo first; all_now: whether or not it is its turn."""
        for job in sorted(self._waiting, key=lambda job: self._knowledge.view(job).number):
            message, since = self._waiting[job]
            if not all_now and time.monotonic() - since < _IN_TURN_S and self._is_behind(job):
                continue
            del self._waiting[job]
            wait_s = self.guarded(message.result.record.photo, partial(self._deliver, message))
            if wait_s:
                self._running.pop(job, None)
                self._again(job, wait_s, self.fault, failed=wait_s >= _FAULT_WAIT_S)

    def _is_behind(self, job: str) -> bool:
        """Whether a photo that came before is on its way to a number in the same destination: it has that first."""
        number, open_here = self._knowledge.view(job).number, self._unnumbered.get(job, frozenset())
        return any(
            self._knowledge.view(other).number < number and self._unnumbered.get(other, frozenset()) & open_here
            for other in self._running
        )

    def _deliver(self, message: Finished) -> None:
        order = self._running[message.job]
        try:
            self.space.refuse_result(self.settings, message.result)
            said = self._knowledge.known(message.job).said  # which may be other words than when it was begun
            record = self._hands.deliver(order, message.result, said, self._knowledge.takes)
        except DeliveryError as problem:
            self._failed(Failed(message.job, str(problem), retry=True, full=problem.full))
            return
        del self._running[message.job]
        self._hands.clear_questions(self._running)
        if BY_FOLDER in record.held_kinds.values():  # where it seems to take files then, it is not tried at once
            self._put_off(message.job, _FAULT_WAIT_S, "a folder of ready/ can't be written to")
        self._touch(message.job)
        self._finished(record)

    def _again(self, job: str, wait_s: float, why: str, *, failed: bool = True) -> int:
        """A step that came to nothing comes up again later; failed: it counts as a try. Returns the tries so far."""
        view = self._ledger.view(job)
        if view is not None and view.state != "done":
            attempts = self._ledger.give_back(job, failed=failed, not_before=time.time() + wait_s, why=why)
            self._knowledge.touch(job)
            return attempts
        return self._put_off(job, wait_s, why, attempt=failed)

    def _failed(self, failure: Failed) -> None:
        self._running.pop(failure.job, None)
        job = self._ledger.get(failure.job)
        if job is None:
            return
        if failure.trace:
            self._log.error("fault", job=job.job, photo=job.shown, reason=failure.reason, traceback=failure.trace)
        if failure.full:
            self._without_room(job.job, failure.reason)
            return
        if away := self.space.gone_since(self.settings):
            self._again(job.job, _ABSENT_WAIT_S, away, failed=False)
            return
        # A finished photo has no last try: the tries are bounded before the power grows beyond what a float holds.
        wait_s = min(_RETRY_S * 2 ** min(job.attempts, _RETRY_DOUBLED), _RETRY_MOST_S)
        attempts = self._again(job.job, wait_s, failure.reason)
        if job.state == "done":  # a redo, an answer, other words: what was there before stays
            self._ledger.drop_redo(job.job)
            self.failed[job.job] = failure.reason
            self._knowledge.forget_answer(job.job)
            self._log.warning("redo failed", job=job.job, photo=job.shown, reason=failure.reason)
            return
        final = not failure.retry or attempts >= self.settings.service.attempts
        self._log.warning("failed", job=job.job, photo=job.shown, reason=failure.reason, attempt=attempts, final=final)
        if final:
            reason = f"{failure.reason} (tried {attempts} times)" if attempts > 1 else failure.reason
            wait_s = self.guarded(job.shown, partial(self._set_aside, job, reason))
            if wait_s:
                self._put_off(job.job, wait_s, self.fault)

    def _set_aside(self, job: Job, reason: str) -> None:
        record = set_aside(job.job, job.shown, job.sha256, reason, job.part)
        self._hands.finish(record)
        self._knowledge.touch(job.job)
        self._finished(record)

    def _without_room(self, job: str, reason: str) -> None:
        """A full disk is no failed try: the step comes up again until there is room."""
        self._again(job, _NO_ROOM_WAIT_S, reason, failed=False)
        self._log.warning("waiting for space", job=job, reason=reason)

    def _finished(self, record: JobRecord) -> None:
        self._log.info(
            "finished",
            job=record.job,
            photo=record.photo,
            outcome=record.outcome,
            kind=record.kind,
            reason=record.reasons[0] if record.reasons and record.outcome != "ready" else None,
            outputs=len(record.outputs),
        )
        self._knowledge.touch(record.job)
        self._told(record)

    # --- standing -------------------------------------------------------------------------------------------

    @property
    def busy(self) -> bool:
        """Whether a step runs or could begin now, or something is new."""
        return bool(self._running or self.waiting() or self._knowledge.unsettled or self._ledger.redos())

    @property
    def unsettled(self) -> bool:
        """Whether a note may still be on its way."""
        return self._knowledge.unsettled

    @property
    def pending(self) -> int:
        """Photos that a step waits or runs for."""
        return len(self._todo.keys() | self._running.keys())

    @property
    def later(self) -> dict[str, str]:
        """Photos that wait for another try after one that failed, by their names, and what that came to."""
        view = self._knowledge.view
        waits = [job for job in self._todo if job not in self._running and not self._is_due(job)]
        failed = (view(job) for job in (*waits, *self._stumbling))
        return {each.shown: each.problem for each in failed if each.problem not in ("", ABSENT)}

    def give_back(self) -> None:
        """Jobs that are still running wait again; what a worker makes of them now is lost."""
        self._deliver_in_turn(all_now=True)
        for job in self._pool.running:
            view = self._ledger.view(job)
            if view is not None and view.state == "running":
                self._ledger.give_back(job, failed=False)
            self._log.info("given back", job=job)


def _no_such(names: list[str]) -> str:
    return f"no destination is called {', '.join(names)}"
