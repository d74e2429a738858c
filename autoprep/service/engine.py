"""The service's one loop: look at the inbox, work out what follows, take the steps, wait for news."""

import sqlite3
import time
from collections import Counter
from collections.abc import Callable
from datetime import date
from functools import partial
from multiprocessing.connection import wait
from typing import Any

from autoprep.domain import JobRecord
from autoprep.errors import AutoprepError, StudioMoved, in_plain_words
from autoprep.files.storage import clear_parts
from autoprep.job.away import away_in_words, no_ready
from autoprep.ledger import TROUBLE, Ledger
from autoprep.logs import counted
from autoprep.service.arrivals import Arrivals, shown_name
from autoprep.service.cluster import Cluster
from autoprep.service.desk import Desk
from autoprep.service.glance import Glance
from autoprep.service.holds_first import HoldsFirst
from autoprep.service.housekeeping import Housekeeping
from autoprep.service.inbox import Found, Hints, Settling, scan
from autoprep.service.keeping import sweep
from autoprep.service.lock import StudioLock
from autoprep.service.pool import Pool
from autoprep.service.reload import Reload
from autoprep.service.said import words_folder
from autoprep.service.studio import ListWriter, PageWriter
from autoprep.service.workers import Workers
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import worker_count
from autoprep.wishes.tables import Settings

_STOP_S = 8.0  # running jobs may finish for this long after a stop is asked for
_AT_ONCE_S = 0.5  # so long files are taken in before it is looked what else is due
_COPY_S = 60.0  # a run that ends by itself waits so long for the day's copy of the ledger
# Looks through all files take up to a sixth of the time.
_LOOKS_APART = 5
_PAGE_EVERY_S, _PAGE_AGAIN_S = 2.0, 30.0
_PAGES = "pages and lists"  # as `status` calls them
_TROUBLE_S = 60.0  # who asked for one run and waits for it is told so long after workers can't be had


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
        self.settings, self._log, self._follow = settings, log, follow
        self._on_record = on_record or (lambda record: None)
        self._lock = StudioLock(settings.folders.records)
        try:
            self.ledger = Ledger(ledger_path(settings))
        except BaseException:
            self._lock.close()
            raise
        self._recover()
        self._settling = Settling(settings.service.settle_s)
        service = settings.service
        self._pool = self._workers()
        self._desk = Desk(settings, self.ledger, self._pool, log, self._finished)
        self._arrivals = Arrivals(
            settings, self.ledger, self._settling, log, self._desk.arrived, self._desk.here, patient=follow
        )
        self._reload, self._pages, self._lists = Reload(settings, log), PageWriter(), ListWriter()
        self._ready: dict[bytes, Found] = {}
        self.hints = Hints(settings.folders.inbox)
        self._housekeeping = Housekeeping(self.ledger, log)
        self._glance = Glance(words_folder(settings), service.rescan_s)
        self._holds_first = HoldsFirst(words_folder(settings))
        self._next_scan = self._next_page = 0.0
        self._stirred = True  # something happened since the last look through all files
        self._cut_short = False  # there was more to begin than is done at once
        self._look_s, self._there = 0.0, 0  # how long the last one took, and how many files lay there
        self._page_due, self._list_due = True, False
        self._stumbled, self._complained = False, -1e9
        self._told_away: list[str] = []  # of which folders, on the first page
        self._away = False  # the studio was moved while it was worked in: nothing is made anew at the old place
        self._trouble, self._troubled_at = "", 0.0
        self._keep_trouble("")  # of an earlier run that was cut off
        self._unfinished: set[str] = set()
        self._unread: dict[str, str] = {}
        self._not_written = ""  # why pages and lists could not be written
        self.ledger.keep_unfinished({})
        self.ledger.keep_unread({})

    def _workers(self) -> Workers:
        service = self.settings.service
        if service.cluster:
            return Cluster(self.settings, self._log)
        return Pool(worker_count(service), service.worker_memory_mb, service.job_limit_s)

    def _recover(self) -> None:
        was = self.ledger.follow(self.settings.studio)
        if was:
            self._log.info("the studio lies elsewhere now", studio=str(self.settings.studio), was=was)
        interrupted, folders = self.ledger.recover(), self.settings.folders
        parts = clear_parts([folders.ready, folders.needs_a_look])
        # Of the records' folders, one a photo, only those can hold parts of which something was left to do.
        own = [folders.records / "proof" / job for job in self.ledger.unsettled()]
        parts += clear_parts([folders.records, folders.records / "proof", folders.records / "words", *own], below=False)
        parts += clear_parts([folders.records / "withdrawn"])
        back = 0 if no_ready(self.settings, self.ledger) else sweep(self.settings, self.ledger)
        if interrupted or parts or back:
            self._log.info("recovered", interrupted_jobs=interrupted, unfinished_files=parts, brought_back=back)

    def step(self, most_s: float = 1.0) -> None:
        """Do everything that is due, then wait for news, at most this long."""
        try:
            self._act()
        except (OSError, sqlite3.OperationalError) as problem:
            # A full disk, a share that went away: what is running is kept, and work goes on by itself when it is back.
            self._complain("waiting", reason=in_plain_words(problem))
            self._stumbled = self._stirred = True
            time.sleep(min(most_s, 0.5))
        pause = 0.0 if self._cut_short else max(0.0, min(most_s, self._next_scan - time.monotonic()))
        deadline = self._pool.next_deadline()
        if deadline is not None:
            pause = max(0.0, min(pause, deadline - time.monotonic()))
        wait([*self._pool.waitables(), self.hints.fileno()], pause)
        if self.hints.drain():
            self._stirred = True
            self._next_scan = min(self._next_scan, self._soon(0.2))

    def _act(self) -> None:
        self._cut_short = False
        if self._stumbled and not self._pool.running:
            # After a fault of disk or ledger a job may count as running that no worker has any more.
            self.ledger.recover()
            self._desk.all_anew()
            self._stumbled = False
        self._desk.collect()
        self._tell_trouble()
        if time.monotonic() >= self._next_scan:
            self._look()
        room = self._desk.room(self._complain)
        if self._desk.space.back:  # held pictures may lie there again
            self._stirred, self._next_scan = True, 0.0
        if self._told_away != (told := self._desk.space.told()):
            self._told_away, self._page_due = told, True
        self._page_due |= self._desk.work_out()  # what is withdrawn needs no room, and must not wait for it
        if room:
            self._begin()
        if not (room and self._pool.free):
            self._take_held()
        self._keep_unfinished()
        self._write_page()

    def _tell_trouble(self) -> None:
        """Say once that no worker can be had, and once that it is over."""
        words = self._pool.trouble
        if words == self._trouble:
            return
        if words:
            self._log.warning("waiting for workers", reason=words)
            self._troubled_at = self._troubled_at if self._trouble else time.monotonic()
        else:
            self._log.info("workers are back")
        self._trouble = words
        self._keep_trouble(words)

    def _keep_trouble(self, words: str) -> None:
        if self.ledger.kept(TROUBLE) != words:
            self.ledger.keep(TROUBLE, words)

    def _keep_unfinished(self) -> None:
        """Who asks meanwhile is told of files that are waited for, and of those that can't be taken in."""
        unread = self._arrivals.unread() | ({_PAGES: self._not_written} if self._not_written else {})
        if unread != self._unread:
            self._unread = unread
            self.ledger.keep_unread(unread)
        now = self._arrivals.unfinished()
        if now.keys() != self._unfinished:
            self._unfinished = set(now)
            self.ledger.keep_unfinished(now)

    def _look(self) -> None:
        try:
            self._lock.look()
        except StudioMoved:
            self._away = True
            raise
        self._page_due |= self._housekeeping.once_a_day(self.settings, date.today())
        if self._housekeeping.lost_pages(self.settings):
            self._page_due = True
            self._desk.all_anew()
        if self._follow:
            refused = self._reload.refused
            self._take_over(self._reload.fresh())
            self._page_due |= self._reload.refused != refused
            if not self.hints.arm():
                self._complain("inbox not watched", reason="it is not there, or the system has no watches left")
                self._stirred = True
        if self._stirred or self._unsettled or not self._glance.same():
            self._look_through()
        service = self.settings.service
        self._next_scan = time.monotonic() + service.rescan_s
        if self._unsettled or self._reload.changing:
            # Something is new: the next looks come soon, and are spaced so that a burst costs a few scans only.
            self._next_scan = self._soon(max(0.1, min(service.settle_s / 2, 1.0, service.rescan_s)))

    def _soon(self, pause_s: float) -> float:
        """When to look again: a large inbox takes long to look through, and that must not be what is mostly done."""
        return time.monotonic() + max(pause_s, _LOOKS_APART * self._look_s)

    @property
    def _unsettled(self) -> bool:
        return bool(self._settling.untaken(self._arrivals.known)) or self._desk.unsettled

    def _look_through(self) -> None:
        """Look at every file of the inbox."""
        notes: dict[str, Any] = {}
        began = time.monotonic()
        found = scan(self.settings.folders.inbox, notes)
        for item in self._settling.look(found, self._arrivals.known):
            self._ready[item.path] = item
        present = {item.path for item in found}
        self._ready = {path: item for path, item in self._ready.items() if path in present}
        self._holds_first.look(notes, self._arrivals.known)
        for job, was, path in self._desk.look(found, notes, self._arrivals.known):
            self._arrivals.follow(job, was, path)
        self._glance.looked(self.settings.folders.inbox, began, found, notes, self._arrivals.known)
        self._stirred = not self._follow
        self._look_s = time.monotonic() - began
        if self._there != len(found):  # the first page tells of what lies there alone
            self._there, self._page_due = len(found), True

    def _take_over(self, fresh: Settings | None) -> None:
        if fresh is not None:
            self.settings = self._arrivals.settings = fresh
            self._desk.settings_changed(fresh)
            self._holds_first.forget()
            self._page_due = True

    def _begin(self) -> None:
        """One waiting photo, one new one, in turn: neither starves the other.

        Files that need no worker never fill the pool: after a while it is looked what else is due.
        """
        waiting = self._desk.waiting()
        if not self._pool.free and (waiting or self._ready):
            self._desk.make_room()
        limit, begun = time.monotonic() + _AT_ONCE_S, 0
        while self._pool.free and (waiting or self._ready):
            if begun and time.monotonic() > limit:
                self._cut_short = True
                break
            begun += 1
            able = next((step for step in waiting if self._pool.takes(step.job)), None)
            if able is not None:
                waiting.remove(able)
                self._desk.begin(able)
            elif not self._ready:
                break
            if self._ready and self._pool.free and self._take(next(iter(self._ready))):
                waiting = self._desk.waiting()

    def _take_held(self) -> None:
        """Take in the photos that are known and were moved, or copied, to where they are on hold: what is given out of
        them must not stay so until all that is new is made.
        """
        limit = time.monotonic() + _AT_ONCE_S
        for path in self._holds_first.due(self._ready):
            if self._may_be_on_hold(path):
                self._take(path)
            if time.monotonic() > limit:
                break

    def _may_be_on_hold(self, path: bytes) -> bool:
        """Whether a photo is on hold where it lies now, or nobody knows: what keeps that from being known is told."""
        held: list[bool] = []
        fault = self._desk.guarded(shown_name(path), lambda: held.append(self._arrivals.is_on_hold(path)))
        return bool(fault) or held[0]

    def _take(self, path: bytes) -> bool:
        """Take one file in, and do what follows from it before the next. False where it is put off."""
        item = self._ready.pop(path)
        wait_s = self._desk.guarded(shown_name(item.path), partial(self._arrivals.take, item))
        if wait_s:
            self._settling.later(item.path, wait_s, self._desk.fault)
            self._holds_first.put_off(item)
            return False
        self._holds_first.taken(item)
        self._page_due |= self._desk.work_out()
        return True

    def _finished(self, record: JobRecord) -> None:
        self._page_due = self._stirred = True
        self._on_record(record)

    def _write_page(self, *, last: bool = False) -> None:
        if not (self._page_due or self._list_due) or time.monotonic() < self._next_page:
            return
        due, self._page_due, self._list_due = self._page_due, False, False
        self._next_page = time.monotonic() + _PAGE_EVERY_S
        what = "proof page"
        try:
            if due:
                self._page_due = not self._pages.write(
                    self.settings, self.ledger.overview, date.today(), last=last, away=self._told_away,
                    no_inbox=bool(self._desk.space.no_inbox), no_ready=bool(self._desk.space.away),
                    refused=self._reload.refused,
                )  # fmt: skip
            what = "list of works"
            self._list_due = not self._lists.write(self.settings, self.ledger.overview, last=last)
            self._page_due |= self._lists.news
            self._lists.news, self._not_written = False, ""
        except (OSError, AutoprepError) as problem:
            self._not_written = in_plain_words(problem)
            self._complain(f"{what} not written", reason=self._not_written)
            self._page_due = self._list_due = True
            self._next_page = time.monotonic() + _PAGE_AGAIN_S

    def _complain(self, event: str, **facts: object) -> None:
        if time.monotonic() - self._complained >= 60:
            self._complained = time.monotonic()
            self._log.warning(event, **facts)

    @property
    def idle(self) -> bool:
        """Whether nothing is running, queued for now, or settling."""
        busy = self._pool.running or self._stumbled or self._ready or self._desk.busy
        return not (busy or self._settling.untaken(self._arrivals.known))

    @property
    def acts(self) -> Counter[str]:
        """How often something was done for a photo without looking at it, by what it was ("withdrawn")."""
        return self._desk.acts

    @property
    def failed(self) -> dict[str, str]:
        """Finished photos of which something new failed, by their jobs, and why."""
        return self._desk.failed

    @property
    def standing(self) -> str:
        """How things stand, in one line."""
        if self._desk.space.full:
            return "Waits for free space"
        if self._desk.space.away:
            return "Waits for the folder of finished pictures; `autoprep status` says why"
        if self._trouble:
            return "Waits for workers; `autoprep status` says why"
        return f"{counted(self.pending, 'photo')} to work on" if self.pending else "All is done; waits for photos"

    @property
    def stuck(self) -> str:
        """Why nothing runs and nothing can begin by itself soon, in words; empty while it can."""
        if self._desk.space.full and not self._pool.running:
            return "There is not enough free space to go on"
        if self._desk.space.away and not self._pool.running:
            return away_in_words("", self._desk.space.away)[0]
        if self._trouble and time.monotonic() - self._troubled_at > _TROUBLE_S:
            return f"Nothing is worked on: {self._trouble}"
        return ""

    @property
    def pending(self) -> int:
        """Photos that are known to wait or run."""
        return self._settling.untaken(self._arrivals.known) + self._desk.pending

    @property
    def later(self) -> dict[str, str]:
        """Photos that are tried again after a pause, and why."""
        return {**self._desk.later, **self._arrivals.unread()}

    @property
    def hollow(self) -> list[str]:
        """Files in the inbox that hold nothing yet."""
        return [shown_name(path) for path in self._settling.hollow()]

    def stop(self) -> None:
        """Let running jobs finish for a while, give the rest back, and end the workers."""
        limit = time.monotonic() + _STOP_S
        while self._pool.running and not (self._pool.trouble or self._away) and time.monotonic() < limit:
            wait(self._pool.waitables(), 0.2)
            self._desk.collect()
        if not self._away:  # a ledger that was moved takes no more words; its next start knows what was cut off
            self._desk.give_back()
        self._pool.stop()
        if not self._away:
            for _ in range(2):  # what is told of the lists that are written now stands on the first page too
                self._next_page = 0.0
                self._write_page(last=True)
            self._keep_unfinished()
        self._housekeeping.finish(1.0 if self._follow else _COPY_S)
        self.hints.close()
        if not self._away:
            self._keep_trouble("")
            self.ledger.keep_unfinished({})
        self.ledger.close()
        self._lock.close()
