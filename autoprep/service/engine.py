"""The service's one loop: look at the inbox, take what is whole, give it to workers, deliver what they made."""

import contextlib
import hashlib
import os
import shutil
import sqlite3
import time
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord, Outline, WorkFacts
from autoprep.errors import AutoprepError, ConfigError, DeliveryError
from autoprep.files.containers import is_whole, sniff
from autoprep.files.storage import clear_parts, publish
from autoprep.job import JobOrder, JobResult, set_aside
from autoprep.ledger import LOOK, Job, Ledger, SeenFile
from autoprep.logs import plain
from autoprep.service.alternates import among_takes, stand_back
from autoprep.service.handover import beside_foreign_files
from autoprep.service.inbox import Found, Hints, SettledFile, Settling, read_settled, scan
from autoprep.service.intake import facts_for, reserve, suffix_of, wanted
from autoprep.service.pool import Pool
from autoprep.service.questions import Questions, clear
from autoprep.service.studio import hold_lock, ledger_path, write_lists, write_page
from autoprep.service.worker import Failed, Finished, Staged
from autoprep.settings import Settings, load, stamp, worker_count
from autoprep.works import reference_shots

_LARGEST_FILE = 600 * 1024 * 1024
_GIVE_UP_WAITING_S = 600.0  # an incomplete file that has been still for so long is set aside
_STOP_S = 8.0  # running jobs may finish for this long after a stop is asked for
_PAGE_EVERY_S = 2.0
_RETRY_S, _RETRY_MOST_S = 30.0, 3600.0
_ABSENT_WAIT_S = 15.0  # a queued photo that is not there is looked for so often
_FAULT_WAIT_S = 300.0


class Engine:
    """The service without its surroundings. One thread; `step` does what is due and waits for the next thing."""

    def __init__(
        self,
        settings: Settings,
        log: Any,
        on_record: Callable[[JobRecord], None] | None = None,
        *,
        follow: bool = True,
    ) -> None:
        self.settings, self._log = settings, log
        self._on_record = on_record or (lambda record: None)
        self._stamp = stamp(settings)
        self._inbox = settings.folders.inbox
        self._lock = hold_lock(settings.folders.records)
        self.ledger = Ledger(ledger_path(settings))
        self._known = self.ledger.files()
        self._settling = Settling(settings.service.settle_s)
        self._ready: dict[bytes, Found] = {}
        self._pool = Pool(
            worker_count(settings.service), settings.service.worker_memory_mb, settings.service.job_limit_s
        )
        self.hints = Hints(self._inbox)
        self._questions = Questions()
        for job in self.ledger.jobs():
            self._note_question(job.record)
        self._follow = follow
        self._next_scan = 0.0
        self._next_page, self._page_due = 0.0, True
        self._complained = -1e9
        self._stumbled = False
        self._recover()

    def _recover(self) -> None:
        interrupted = self.ledger.recover()
        folders = self.settings.folders
        parts = clear_parts([folders.ready, folders.needs_a_look, folders.records])
        if interrupted or parts:
            self._log.info("recovered", interrupted_jobs=interrupted, unfinished_files=parts)

    # --- the loop -------------------------------------------------------------------------------------------

    def step(self, most_s: float = 1.0) -> None:
        """Do everything that is due, then wait for news, at most this long."""
        try:
            self._take_up_again()
            self._collect()
            if time.monotonic() >= self._next_scan:
                self._look()
            self._dispatch()
            self._write_page()
        except (OSError, sqlite3.OperationalError) as problem:
            # A full disk, a share that went away: what is running is kept, and work goes on by itself when it is back.
            self._complain("waiting", reason=str(problem))
            self._stumbled = True
            time.sleep(min(most_s, 0.5))
        pause = max(0.0, min(most_s, self._next_scan - time.monotonic()))
        deadline = self._pool.next_deadline()
        if deadline is not None:
            pause = max(0.0, min(pause, deadline - time.monotonic()))
        wait([*self._pool.waitables(), self.hints.fileno()], pause)
        if self.hints.drain():
            self._next_scan = min(self._next_scan, time.monotonic() + 0.2)

    def _take_up_again(self) -> None:
        """After a fault of disk or ledger a job may count as running that no worker has any more: it waits again."""
        if self._stumbled and not self._pool.running:
            self.ledger.recover()
            self._stumbled = False

    @property
    def idle(self) -> bool:
        """Whether nothing is running, queued for now, or settling."""
        return not (
            self._pool.running
            or self._stumbled
            or self._ready
            or self._settling.untaken(self._known)
            or self.ledger.queued(time.time())
            or self.ledger.redos()
        )

    @property
    def pending(self) -> int:
        """Photos that are known to wait or run."""
        return self._settling.untaken(self._known) + self.ledger.unfinished() + len(self.ledger.redos())

    @property
    def hollow(self) -> list[str]:
        """Files in the inbox that hold nothing yet."""
        return [shown_name(path) for path in self._settling.hollow()]

    def stop(self) -> None:
        """Let running jobs finish for a while, give the rest back, and end the workers."""
        limit = time.monotonic() + _STOP_S
        while self._pool.running and time.monotonic() < limit:
            wait(self._pool.waitables(), 0.2)
            self._collect()
        for job in self._pool.running:
            self.ledger.give_back(job, failed=False)
            self._log.info("given back", job=job)
        self._pool.stop()
        self._next_page = 0.0
        self._write_page()
        self.hints.close()
        self.ledger.close()
        self._lock.close()

    # --- looking --------------------------------------------------------------------------------------------

    def _reread_settings(self) -> None:
        """Changed settings hold from the next photo on; mistakes are told, and what held before goes on holding."""
        found = stamp(self.settings)
        if found == self._stamp:
            return
        self._stamp = found
        try:
            fresh = load(self.settings.config_file)
        except ConfigError as problem:
            self._log.warning("settings not taken over", reason=str(problem))
            return
        if fresh.sha256 == self.settings.sha256:
            return
        if fresh.folders != self.settings.folders or fresh.service != self.settings.service:
            self._log.warning("settings not taken over", reason="folders and [service] hold after the next start")
            fresh = fresh.model_copy(update={"folders": self.settings.folders, "service": self.settings.service})
        self.settings = fresh
        self._log.info("settings taken over", destinations=len(fresh.destinations))

    def _look(self) -> None:
        if self._follow:
            self._reread_settings()
        service = self.settings.service
        if self._follow and not self.hints.arm():
            self._complain("inbox not watched", reason="it is not there, or the system has no watches left")
        found = scan(self._inbox)
        for item in self._settling.look(found, self._known):
            self._ready[item.path] = item
        present = {item.path for item in found}
        self._ready = {path: item for path, item in self._ready.items() if path in present}
        self._next_scan = time.monotonic() + service.rescan_s
        if self._settling.untaken(self._known):
            # Something is new: the next looks come soon, and are spaced so that a burst costs a few scans only.
            self._next_scan = time.monotonic() + max(0.1, min(service.settle_s / 2, 1.0, service.rescan_s))

    def _complain(self, event: str, **facts: object) -> None:
        if time.monotonic() - self._complained >= 60:
            self._complained = time.monotonic()
            self._log.warning(event, **facts)

    # --- taking ---------------------------------------------------------------------------------------------

    def _dispatch(self) -> None:
        if not self._room():
            return
        self._dispatch_redos()
        self._dispatch_answers()
        queued = [job for job in self.ledger.queued(time.time()) if job.job not in self._pool.running]
        # One waiting job, one new photo, in turn: neither a backlog of retries nor a burst starves the other.
        while self._pool.free and (queued or self._ready):
            if queued:
                job = queued.pop(0)
                self._guarded(job.shown, partial(self._start_queued, job), job)
            if self._ready and self._pool.free:
                item = self._ready.pop(next(iter(self._ready)))
                self._guarded(shown_name(item.path), partial(self._take, item), item)

    def _guarded(self, shown: str, act: Callable[[], None], about: Job | Found) -> None:
        """No fault of one photo ends the loop: it is told with its traceback, and that photo waits."""
        try:
            act()
        except (OSError, sqlite3.OperationalError):
            raise  # the disk or the ledger, not the photo: see step
        except Exception as problem:
            self._log.error("fault", photo=shown, reason=str(problem), exc_info=True)
            if isinstance(about, Job) and about.state != "done":
                self.ledger.give_back(about.job, failed=True, not_before=time.time() + _FAULT_WAIT_S)
            elif isinstance(about, Found):
                self._settling.later(about.path, _FAULT_WAIT_S)

    def _room(self) -> bool:
        try:
            free = shutil.disk_usage(self.settings.folders.records).free / 1e6
        except OSError:
            return True
        if free >= self.settings.service.min_free_mb:
            return True
        self._complain("waiting for space", free_mb=round(free), needed_mb=self.settings.service.min_free_mb)
        return False

    def _take(self, item: Found) -> None:
        """A settled file: set aside, known already, not whole yet, or a new job."""
        shown = shown_name(item.path)
        if not item.plain or item.signature[0] > _LARGEST_FILE:
            reason = "this is no plain file (a link or a device)" if not item.plain else "the file is too large"
            self._record_aside(item, shown, "", reason)
            return
        file = read_settled(self._inbox, item)
        if file is None:
            return  # changed or gone; the next scan sees what it is now
        digest = hashlib.sha256(file.data).hexdigest()
        kind = sniff(file.data)
        if kind is None:
            self._record_aside(
                item,
                shown,
                digest,
                "not a photo that can be read (JPEG, HEIC, PNG, TIFF, WebP, AVIF or camera RAW)",
            )
        elif kind == "heic" and not self.settings.service.heic:
            self._record_aside(item, shown, digest, "HEIC photos are switched off in the settings (service.heic)")
        elif not is_whole(file.data, kind):
            self._not_whole(item, shown, digest)
        else:
            self._open_job(file, shown, digest)

    def _not_whole(self, item: Found, shown: str, digest: str) -> None:
        still = self._settling.still_s(item.path)
        if still >= _GIVE_UP_WAITING_S or not self._follow:
            self._record_aside(item, shown, digest, "the file ends before the picture does; copy it again")
        else:
            self._settling.later(item.path, min(60.0, max(1.0, still)))

    def _record_aside(self, item: Found, shown: str, digest: str, reason: str) -> None:
        record = self.ledger.add_finished(set_aside("", shown, digest, reason), item.path, item.signature)
        self._known[item.path] = SeenFile(item.signature, digest, record.job)
        self._finished(record)

    def _open_job(self, file: SettledFile, shown: str, digest: str) -> None:
        settings = self.settings
        facts, _ = facts_for(settings, shown)
        names = wanted(settings, facts)
        job = self.ledger.claim(
            digest,
            file.path,
            shown,
            file.signature,
            lambda _: reserve(settings, shown, facts, names, self.ledger.is_taken, self.ledger.stems),
        )
        self._known[file.path] = SeenFile(file.signature, digest, job.job)
        if job.path == file.path and job.state == "queued":
            self._submit(job, file.data)
        elif job.state == "done" and job.outcome == "set aside":
            self._reopen(job, file, shown, facts, names)
        elif job.path != file.path:
            self._same_photo(job, file, shown, digest)

    def _reopen(self, job: Job, file: SettledFile, shown: str, facts: WorkFacts, names: list[str]) -> None:
        """The same bytes are here again, copied anew or put back: what could not be done then is tried again."""
        ledger = self.ledger
        places = reserve(self.settings, shown, facts, names, ledger.is_taken, ledger.stems)
        ledger.reopen(job.job, file.path, shown, places)
        self._log.info("tried again", job=job.job, photo=shown)
        again = ledger.get(job.job)
        if again is not None:
            self._submit(again, file.data)

    def _same_photo(self, job: Job, file: SettledFile, shown: str, digest: str) -> None:
        """The bytes are known under another name: a copy is recorded, a renamed file is followed."""
        original = Path(os.fsdecode(os.path.join(os.fsencode(self._inbox), job.path)))
        if not original.exists():
            self.ledger.move(job.job, file.path, shown)
            self.ledger.postpone(job.job, 0)  # if it waited for its bytes: here they are
            self._log.info("renamed", job=job.job, photo=shown, was=job.shown)
            self._a_work_after_all(job.job)
            return
        record = JobRecord(
            job="",
            photo=shown,
            sha256=digest,
            outcome="duplicate",
            duplicate_of=job.job,
            reasons=(f"the same photo as {job.shown}; nothing was made twice",),
            finished_at=time.strftime("%Y-%m-%dT%H:%M:%S+00:00", time.gmtime()),
        )
        self._finished(self.ledger.add_finished(record, file.path, file.signature))

    def _a_work_after_all(self, name: str) -> None:
        """A photo that showed no work, by its name or to the eye, and whose name or folder says now that it does."""
        job = self.ledger.get(name)
        if job is None or job.outcome not in ("reference", "no work seen"):
            return
        facts, _ = facts_for(self.settings, job.shown)
        if facts.reference is None and (job.outcome == "reference" or facts.says_work):
            self._make_places(job, wanted(self.settings, facts))
            self.ledger.give_back(name, failed=False)

    # --- giving work ----------------------------------------------------------------------------------------

    def _start_queued(self, job: Job) -> None:
        """A job from the ledger: interrupted by a stop, or due for another try."""
        data = self._reread(job)
        if data is not None:
            self._submit(job, data)

    def _reread(self, job: Job) -> bytes | None:
        path = Path(os.fsdecode(os.path.join(os.fsencode(self._inbox), job.path)))
        try:
            data = path.read_bytes()
        except OSError:
            data = b""
        if hashlib.sha256(data).hexdigest() == job.sha256:
            return data
        elsewhere = self._photo_for_redo(job)
        if elsewhere is None:
            # Absence is not deletion: a share may be away, a phone may move its photos. The job waits for its bytes.
            self.ledger.postpone(job.job, time.time() + _ABSENT_WAIT_S)
        return elsewhere

    def _note_question(self, record: JobRecord | None) -> None:
        if record is not None:
            self._questions.note(record, self.ledger.places(record.job).get(LOOK))

    def _dispatch_answers(self) -> None:
        """Questions of whose choices one is left are finished by it."""
        for name, _, outline in self._questions.answers():
            job = self.ledger.get(name)
            if not self._pool.free or name in self._pool.running:
                continue
            data = None if job is None else self._photo_for_redo(job)
            if job is None or data is None:
                self._log.warning("answer not used", job=name, reason="the photo is no longer in the inbox")
                self._questions.forget(name)
                continue
            facts, _ = facts_for(self.settings, job.shown)
            self._make_places(job, wanted(self.settings, facts))
            self._log.info("answered", job=name, photo=job.shown)
            self._submit(job, data, answer=outline)

    def _submit(
        self,
        job: Job,
        data: bytes,
        earlier: JobRecord | None = None,
        only: list[str] | None = None,
        answer: Outline | None = None,
    ) -> None:
        places = self.ledger.places(job.job)
        look = places.pop(LOOK, self.settings.folders.needs_a_look / job.job)
        ordered = {name: places[name] for name in self.settings.destinations if name in places}
        facts, warnings = facts_for(self.settings, job.shown)
        order = JobOrder(
            job=job.job,
            photo=job.shown,
            sha256=job.sha256,
            data=data,
            settings=self.settings,
            places=ordered if only is None else {name: place for name, place in ordered.items() if name in only},
            look_folder=look,
            proof_folder=self.settings.folders.records / "proof" / job.job,
            facts=facts,
            references=tuple(reference_shots(self._inbox, job.shown)) if earlier is None else (),
            warnings=warnings,
            earlier=earlier,
            answer=answer,
        )
        if earlier is None and answer is None:
            self.ledger.start(job.job)
        self._log.info("started", job=job.job, photo=job.shown)
        self._pool.submit(job.job, order)

    def _dispatch_redos(self) -> None:
        asked = self.ledger.redos()
        if self._follow and any(d not in self.settings.destinations for names in asked.values() for d in names):
            self._reread_settings()  # a table that was added a moment ago
        for name, wished in asked.items():
            job = self.ledger.get(name)
            destinations = [d for d in wished if d in self.settings.destinations]
            if wished and not destinations:
                self._log.warning("redo not possible", job=name, reason=f"no destination is called {', '.join(wished)}")
                self.ledger.drop_redo(name)
                continue
            if not self._pool.free or name in self._pool.running:
                continue
            if job is None or job.record is None or job.record.plan is None:
                self.ledger.drop_redo(name)
                continue
            data = self._photo_for_redo(job)
            if data is None:
                self._log.warning(
                    "redo not possible",
                    job=name,
                    photo=job.shown,
                    reason="the photo is no longer in the inbox",
                )
                self.ledger.drop_redo(name)
                continue
            self._make_places(job, destinations)
            self._submit(job, data, earlier=job.record, only=destinations)

    def _photo_for_redo(self, job: Job) -> bytes | None:
        """The photo's bytes from wherever in the inbox they lie now."""
        paths = [job.path, *(path for path, seen in self._known.items() if seen.sha256 == job.sha256)]
        for path in paths:
            with contextlib.suppress(OSError):
                data = Path(os.fsdecode(os.path.join(os.fsencode(self._inbox), path))).read_bytes()
                if hashlib.sha256(data).hexdigest() == job.sha256:
                    return data
        return None

    def _make_places(self, job: Job, destinations: list[str]) -> None:
        """Places for destinations that were added since, or whose file format has changed."""
        taken = self.ledger.places(job.job)
        stale = [n for n in destinations if n not in taken or taken[n].suffix != suffix_of(self.settings, n)]
        if stale:
            facts, _ = facts_for(self.settings, job.shown)
            ledger = self.ledger
            fresh = reserve(self.settings, job.shown, facts, stale, ledger.is_taken, ledger.stems, may_ask=False)
            self.ledger.replace_places(job.job, fresh)

    # --- results --------------------------------------------------------------------------------------------

    def _collect(self) -> None:
        for message in self._pool.collect():
            if isinstance(message, Staged):
                self._log.info("stage", job=message.job, stage=message.stage, seconds=message.seconds, **message.facts)
            elif isinstance(message, Finished):
                job = self.ledger.get(message.job)
                deliver = partial(self._deliver, message.job, message.result)
                self._guarded(message.result.record.photo, deliver, job) if job is not None else deliver()
            else:
                self._failed(message)

    def _deliver(self, name: str, result: JobResult) -> None:
        """Give every part its final name, then write the record: in this order, a crash in between is repeatable."""
        job = self.ledger.get(name)
        fresh = job is not None and job.state == "running"
        best = fresh and self.settings.correction.takes == "best"
        loser = among_takes(self.ledger, self.settings.studio, result) if best else None
        earlier = None if job is None else job.record
        result, places = beside_foreign_files(result, earlier, self.settings.studio, self.ledger.is_taken)
        if places:
            self.ledger.replace_places(name, places)
        try:
            for part, final in result.parts:
                publish(part, final)
        except DeliveryError as problem:
            self._failed(Failed(name, str(problem), retry=True))
            return
        look = self.ledger.places(name).get(LOOK)
        self.ledger.finish(result.record)
        self._finished(result.record)
        if look is not None and job is not None and job.outcome == "needs a look" != result.record.outcome:
            clear(look, len(job.record.choices) if job.record else 0)
        if loser is not None:
            stand_back(self.ledger, self.settings.studio, loser, result.record)
            self._log.info("alternate", job=loser.job, photo=loser.photo, take_of=result.record.job)
            self._page_due = True

    def _failed(self, failure: Failed) -> None:
        job = self.ledger.get(failure.job)
        if job is None:
            return
        if job.state == "done":  # a redo or an answer: what was there before stays
            self.ledger.drop_redo(job.job)
            self._questions.forget(job.job)
            self._log.warning("redo failed", job=job.job, photo=job.shown, reason=failure.reason)
            return
        wait_s = min(_RETRY_S * 2**job.attempts, _RETRY_MOST_S)
        attempts = self.ledger.give_back(job.job, failed=True, not_before=time.time() + wait_s)
        final = not failure.retry or attempts >= self.settings.service.attempts
        self._log.warning("failed", job=job.job, photo=job.shown, reason=failure.reason, attempt=attempts, final=final)
        if final:
            self._finish_without_files(
                job, f"{failure.reason} (tried {attempts} times)" if attempts > 1 else failure.reason
            )

    def _finish_without_files(self, job: Job, reason: str) -> None:
        record = set_aside(job.job, job.shown, job.sha256, reason)
        self.ledger.finish(record)
        self._finished(record)

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
        self._page_due = True
        self._note_question(record)
        self._on_record(record)

    def _write_page(self) -> None:
        if not self._page_due or time.monotonic() < self._next_page:
            return
        self._next_page = time.monotonic() + _PAGE_EVERY_S
        self._page_due = False
        try:
            records = [job.record for job in self.ledger.jobs() if job.record is not None]
            write_page(self.settings, records)
            write_lists(self.settings, records)
        except (OSError, AutoprepError) as problem:
            self._complain("proof page not written", reason=str(problem))


def shown_name(path: bytes) -> str:
    """A path below the inbox as text for people: forward slashes, nothing that a terminal could obey."""
    return plain(path.replace(os.sep.encode(), b"/").decode("utf-8", "backslashreplace"))
