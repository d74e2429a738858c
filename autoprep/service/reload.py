"""Settings that change while the service runs."""

import math
import time
from collections.abc import Callable
from typing import Any

from autoprep.errors import ConfigError, in_plain_words
from autoprep.wishes.settings import load, says_nothing, stamp
from autoprep.wishes.tables import Settings

_OF_FILES = 4  # numbers of a stamp that are those of the files; the others are of the mark's picture and font


class Reload:
    """Looks whether the settings files, or the mark's picture or font, have changed. Mistakes are told, and what held
    before goes on holding.

    A change counts when the files have been still for the settling time: editors and sync tools empty a file, and write
    it in parts, and what is made meanwhile would have no name and no rights. Settings with a mistake are read again
    from time to time: a font or a profile that they name may come later than they, and no stamp tells of that.

    refused: why the newest are not taken over, or not all of them, in lines; empty where nothing is left of them.
    """

    def __init__(self, settings: Settings, log: Any, clock: Callable[[], float] = time.monotonic) -> None:
        self._settings, self._log, self._stamp, self._clock = settings, log, stamp(settings), clock
        self._seen, self._since, self._again = self._stamp, clock(), math.inf
        self.refused = ""

    @property
    def changing(self) -> bool:
        """Whether a change was seen that is not old enough to count."""
        return self._seen != self._stamp

    def fresh(self) -> Settings | None:
        """The settings where they are others than before, else None; they hold from the next photo on."""
        found = stamp(self._settings)
        if found != self._seen:
            self._seen, self._since = found, self._clock()
        service, same = self._settings.service, found == self._stamp and self._clock() < self._again
        if same or self._clock() - self._since < service.settle_s:
            return None
        known = self.refused if found == self._stamp else ""
        picture, self._stamp, self.refused, self._again = self._stamp[_OF_FILES:], found, "", math.inf
        try:
            fresh = self._read()
            if self._settings.artist.name and says_nothing(self._settings.config_file):
                raise ConfigError("this file says nothing any more", self._settings.config_file)
        except ConfigError as problem:
            self.refused, self._again = str(problem), self._clock() + service.rescan_s
            if self.refused != known:  # told once, not at every look
                self._log.warning("settings not taken over", reason=self.refused)
            return None
        except Exception as problem:  # a mistake of ours in reading them is no reason to stop
            self.refused = in_plain_words(problem)
            self._log.error("settings not taken over", reason=str(problem), exc_info=True)
            return None
        # What failed for the mark's picture or font alone is tried again when that is another.
        if fresh.sha256 == self._settings.sha256 and found[_OF_FILES:] == picture:
            return None
        if fresh.folders != self._settings.folders or fresh.service != self._settings.service:
            self.refused = "what [folders] and [service] say now holds after the next start"
            self._log.warning("settings not taken over", reason=self.refused)
            fresh = fresh.model_copy(update={"folders": self._settings.folders, "service": self._settings.service})
        self._settings, self._stamp = fresh, (*found[:_OF_FILES], *stamp(fresh)[_OF_FILES:])
        self._log.info("settings taken over", destinations=len(fresh.destinations))
        return fresh

    def _read(self) -> Settings:
        """The settings as they are written. That the mark's picture, the one there was, can't be read is a mistake of
        them only where nothing else in them is new: what carries no mark goes on as it is said now.
        """
        try:
            return load(self._settings.config_file)
        except ConfigError:
            found = load(self._settings.config_file, unmarked=True)
            if found.mark.picture != self._settings.mark.picture or found.sha256 == self._settings.sha256:
                raise
            return found
