"""Whether there is a place for what is made: space on the disk, and the folder of finished pictures."""

import contextlib
import shutil
from collections.abc import Callable
from typing import Any

from autoprep.domain import kind_of
from autoprep.errors import DeliveryError, ReadyAway
from autoprep.job.away import away_in_words, no_inbox, no_ready, note_disk, note_inbox_disk
from autoprep.job.orders import JobResult
from autoprep.ledger import Ledger
from autoprep.service.steps import GiveUp, Restore, Step, Withdraw
from autoprep.told.explanations import HOLD, NOT_SENT
from autoprep.wishes.tables import Settings


class Space:
    """full: there was no room to begin anything at the last look; away: why nothing can be put into ready/, for it was
    away then; back: it was away at the look before; no_inbox: why nothing could come in.
    """

    def __init__(self, ledger: Ledger, log: Any) -> None:
        self._ledger, self._log = ledger, log
        self.full, self.away, self.back, self.no_inbox = False, "", False, ""

    def look(self, settings: Settings, complain: Callable[..., None]) -> bool:
        """Whether anything can be begun."""
        before, self.away = self.away, no_ready(settings, self._ledger)
        self.back = bool(before) and not self.away
        if self.back:
            self._log.info("ready/ is back")
        self._look_at_disk(settings, complain)
        if self.away:
            complain("waiting for ready/", reason=self.away)
        else:
            note_disk(settings, self._ledger)
        self.no_inbox = no_inbox(settings, self._ledger)
        if self.no_inbox:
            complain("waiting for the inbox", reason=self.no_inbox)
        else:
            note_inbox_disk(settings, self._ledger)
        return not (self.full or self.away)

    def told(self) -> list[str]:
        """What was away at the last look, in words."""
        return away_in_words(self.no_inbox, self.away)

    def _look_at_disk(self, settings: Settings, complain: Callable[..., None]) -> None:
        try:
            free = shutil.disk_usage(settings.folders.records).free / 1e6
        except OSError:
            return
        needed = settings.service.min_free_mb
        self.full = free < needed
        if self.full:
            complain("waiting for space", free_mb=round(free), needed_mb=needed)

    def refuse(self, step: Step) -> None:
        """Raises ReadyAway for a step that needs ready/ while it is away.

        A hold does not: what is held then is taken out as soon as it lies there again (service/left.py).
        """
        held = isinstance(step, Withdraw) and kind_of(step.why) in (HOLD.kind, NOT_SENT.kind)
        if self.away and isinstance(step, Withdraw | Restore | GiveUp) and not held:
            raise ReadyAway(self.away)

    def refuse_result(self, settings: Settings, result: JobResult) -> None:
        """Raises DeliveryError where ready/ is away since a job was begun. What was written for it goes: it may lie in
        what a share has left in its place.
        """
        why = self.gone_since(settings)
        if why:
            for part, _ in result.parts:
                with contextlib.suppress(OSError):
                    part.unlink(missing_ok=True)
            raise DeliveryError(why)

    def gone_since(self, settings: Settings) -> str:
        """Why ready/ can't be written to now, where it is away since something was begun."""
        return no_ready(settings, self._ledger)
