"""What comes in: a settled file is set aside, known already, not whole yet, or a new photo."""

import hashlib
import os
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord
from autoprep.files.containers import is_whole, sniff
from autoprep.job.stages import set_aside
from autoprep.ledger import GONE, Job, Ledger, SeenFile, View
from autoprep.logs import shown_as
from autoprep.service.inbox import GIVE_UP_WAITING_S, Found, SettledFile, Settling, may_be_picture, read_settled
from autoprep.service.places import Others, plainly_named, reserve
from autoprep.service.said import facts_for, facts_of_copy, hand_words_on, sent_to, take_over_words
from autoprep.service.takes import merit
from autoprep.told.explanations import NO_PHOTO, cant_be_read
from autoprep.wishes.names import part_name
from autoprep.wishes.notes import facts_of
from autoprep.wishes.tables import Settings

_LARGEST_FILE = 600 * 1024 * 1024
_TELLING_BYTES = 4096  # by so many of the first ones a format is known
_UNREADABLE_WAIT_S = 60.0
_NO_PICTURE = "not a photo that can be read (JPEG, HEIC, PNG, TIFF, WebP, AVIF or camera RAW)"


class Arrivals:
    """Takes settled files in. finished(record) is told of those that need no work; here(job, path) of all others.

    known: what the ledger knows of the inbox's paths; it is kept up to date.
    """

    def __init__(
        self,
        settings: Settings,
        ledger: Ledger,
        settling: Settling,
        log: Any,
        finished: Callable[[JobRecord], None],
        here: Callable[[str, bytes], None],
        *,
        patient: bool,
    ) -> None:
        self.settings = settings
        self.known = ledger.files()
        self._ledger, self._settling, self._log = ledger, settling, log
        self._finished, self._here, self._patient = finished, here, patient
        self._unfinished: dict[bytes, tuple[int, int, int]] = {}

    def take(self, item: Found) -> None:
        """Take one file in."""
        shown = shown_name(item.path)
        if not item.plain or item.signature[0] > _LARGEST_FILE:
            reason = "this is no plain file (a link or a device)" if not item.plain else "the file is too large"
            self._aside(item, shown, "", reason, by_name=item.plain)
            return
        if not item.signature[0]:
            self._aside(item, shown, "", "the file holds nothing; copy it again", by_name=True)
            return
        if self._unfinished.get(item.path) == item.signature and self._waits(item):
            return  # it has not changed since it was read last: it ends too early still
        try:
            file = self._read(item, shown)
        except OSError as problem:
            self._unreadable(item, shown, problem)
            return
        if file is None:
            return  # changed or gone; the next scan sees what it is now
        digest, kind = hashlib.sha256(file.data).hexdigest(), sniff(file.data)
        if kind is None:
            self._aside(item, shown, digest, _NO_PICTURE, by_name=True)
        elif kind == "heic" and not self.settings.service.heic:
            self._aside(item, shown, digest, "HEIC photos are switched off in the settings (service.heic)")
        elif not is_whole(file.data, kind):
            self._not_whole(item, shown, digest)
        else:
            self._open(file, shown, digest)

    def _read(self, item: Found, shown: str) -> SettledFile | None:
        """A file as it is; of what its name calls no picture, a film say, the start alone, if that tells the same."""
        inbox = self.settings.folders.inbox
        if not may_be_picture(shown):
            start = read_settled(inbox, item, _TELLING_BYTES)
            if start is None or sniff(start.data) is None:
                return start
        return read_settled(inbox, item)

    def _unreadable(self, item: Found, shown: str, problem: OSError) -> None:
        """It lies there and can't be read: another's file, or a disk at fault. That may end; until then it is told."""
        why = cant_be_read(problem)
        if self._settling.refused(self.known).get(item.path) != why:
            self._log.warning("not read", photo=shown, reason=why)
        self._settling.later(item.path, _UNREADABLE_WAIT_S, why)

    def unread(self) -> dict[str, str]:
        """Files that could not be taken in at their last try, by their names, and why."""
        return {shown_name(path): why for path, why in self._settling.refused(self.known).items()}

    def unfinished(self) -> dict[str, float]:
        """Files that may yet be finished by what copies them, by their names, and until when, as time.time has it."""
        still = {
            path: self._settling.still_s(path)
            for path, signature in self._unfinished.items() if self._settling.waits(path, signature, self.known)
        }  # fmt: skip
        self._unfinished = {path: self._unfinished[path] for path in still}
        now = time.time()
        return {shown_name(path): now + GIVE_UP_WAITING_S - since for path, since in still.items()}

    def _not_whole(self, item: Found, shown: str, digest: str) -> None:
        if self._waits(item):
            self._unfinished[item.path] = item.signature
        else:
            self._unfinished.pop(item.path, None)
            self._aside(item, shown, digest, "the file ends before the picture does; copy it again")

    def _waits(self, item: Found) -> bool:
        """Whether a file that ends too early may yet be finished by what copies it; it is looked at again then."""
        still = self._settling.still_s(item.path)
        if still >= GIVE_UP_WAITING_S or not self._patient:
            return False
        self._settling.later(item.path, min(60.0, max(1.0, still)))
        return True

    def _aside(self, item: Found, shown: str, digest: str, reason: str, *, by_name: bool = False) -> None:
        """by_name: nothing but its name speaks for a photo; where that does not either, the file is passed over."""
        if by_name and not may_be_picture(shown):
            self.known[item.path] = seen = SeenFile(item.signature, "")
            self._ledger.remember(item.path, seen, digest)
            self._log.info("passed over", photo=shown, reason=NO_PHOTO)
            return
        record = self._ledger.add_finished(set_aside("", shown, digest, reason), item.path, item.signature)
        self.known[item.path] = SeenFile(item.signature, record.job)
        self._finished(record)

    def _open(self, file: SettledFile, shown: str, digest: str) -> None:
        job = self._ledger.claim(digest, file.path, shown, lambda _: self._places(shown))
        take_over_words(self.settings, job.job, lambda other: self._ledger.view(other) is not None)
        seen = SeenFile(file.signature, job.job)
        if job.state == "done" and job.outcome == "set aside":
            # The same bytes are here again, copied anew or put back: what could not be done then is tried again.
            self._ledger.reopen(job.job, file.path, shown, self._places(shown))
            self._log.info("tried again", job=job.job, photo=shown)
        elif job.path != file.path:
            self._same_photo(job, file, shown, digest)
        elif job.gone:
            self._came_back(job, file.path)
        for part in self._ledger.parts(job.job) if job.parts else ():
            if part.gone:
                self._came_back(part, file.path)
        # Last: a file that was cut off before this is taken in once more, to the same end.
        self._ledger.remember(file.path, seen, digest)
        self.known[file.path] = seen
        self._here(job.job, file.path)

    def _places(self, shown: str) -> dict[str, Path]:
        facts, _ = facts_for(self.settings, shown)
        names = plainly_named(self.settings, sent_to(self.settings, facts))
        return reserve(self.settings, shown, facts, names, Others(self._ledger.is_taken, self._ledger.stems))

    def _same_photo(self, job: Job, file: SettledFile, shown: str, digest: str) -> None:
        """The bytes are known under another name: a copy is recorded, a renamed file is followed."""
        gone = not self._lies_there(job)
        put_back = job.gone and any(other.work == job.work for other in self._ledger.at_its_place(job.job, file.path))
        if job.gone and (gone or put_back):
            self._came_back(job, file.path)
        if gone or put_back or (self._leads_nowhere(job.shown) and not self._leads_nowhere(shown)):
            self.follow(job.job, job.shown, file.path)
            return
        if self._ledger.is_copy(file.path, digest):
            return
        record = JobRecord(
            job="",
            photo=shown,
            sha256=digest,
            outcome="duplicate",
            duplicate_of=job.job,
            reasons=(f"the same photo as {job.shown}; nothing was made twice{self._says_besides(shown)}",),
            finished_at=time.strftime("%Y-%m-%dT%H:%M:%S+00:00", time.gmtime()),
        )
        self._finished(self._ledger.add_finished(record, file.path, file.signature))

    def _says_besides(self, shown: str) -> str:
        copy = facts_of_copy(self.settings, shown)
        parts = ["it is on hold"] if copy.hold else []
        parts += [f"it goes to {', '.join(copy.also)} besides"] if copy.also else []
        parts += [f"it does not go to {', '.join(copy.not_for)}"] if copy.not_for else []
        return f". By where this copy lies {' and '.join(parts)}" if parts else ""

    def _lies_there(self, job: Job) -> bool:
        """Whether a photo's bytes lie where the ledger has it: two photos may have changed names, and a file be there.

        What the ledger knows as another photo is not read again; what it does not know as it is now is.
        """
        place = self.settings.folders.inbox / os.fsdecode(job.path)
        try:
            now = place.lstat()
        except OSError:
            return False
        signature, seen = (now.st_size, now.st_mtime_ns, now.st_ino), self.known.get(job.path)
        if seen is not None and seen.signature == signature:
            return seen.job == job.job
        plain = stat.S_ISREG(now.st_mode) and now.st_size <= _LARGEST_FILE
        try:
            file = read_settled(self.settings.folders.inbox, Found(job.path, signature, plain)) if plain else None
        except OSError:
            return False
        return file is not None and hashlib.sha256(file.data).hexdigest() == job.sha256

    def is_on_hold(self, path: bytes) -> bool:
        """Whether a photo that lies there is on hold by what is said of it there."""
        return facts_for(self.settings, shown_name(path))[0].hold

    def _leads_nowhere(self, shown: str) -> bool:
        """Whether a photo there is sent to a destination that is not known: held by that, and not by the artist."""
        return facts_for(self.settings, shown)[0].hold and not facts_of(self.settings.folders.inbox, shown)[0].hold

    def follow(self, job: str, was: str, path: bytes) -> None:
        """The work, or each of several works, follows its photo to another name or folder."""
        view = self._ledger.view(job)
        shown = part_name(shown_name(path), 0 if view is None else view.part)
        self._ledger.move(job, path, shown)
        self._ledger.postpone(job, 0)  # if it waited for its bytes: here they are
        self._log.info("renamed", job=job, photo=shown, was=was)
        for part in self._ledger.parts(job):
            self.follow(part.job, part.shown, path)
        self._here(job, path)

    def _came_back(self, view: View, path: bytes) -> None:
        """The bytes of a photo that was edited in its place are there again, in place of the edited ones or besides."""
        found = self._ledger.get(view.job)
        for other in self._ledger.at_its_place(view.job, path, view.part):
            if other.work == view.work:
                self._ledger.set_merit(other.job, GONE)
                edited = self._ledger.get(other.job)
                if found is not None and found.record is not None and edited is not None and edited.record is not None:
                    hand_words_on(self.settings, found.record, [edited.record])
        if found is not None and found.record is not None:
            self._ledger.set_merit(view.job, merit(found.record))


def shown_name(path: bytes) -> str:
    """A path below the inbox as text: forward slashes, nothing that breaks a line; its note is looked for by this."""
    return shown_as(path)
