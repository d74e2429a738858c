"""Settings that change while the service runs."""

from typing import Any

from autoprep.errors import ConfigError
from autoprep.wishes.settings import load, stamp
from autoprep.wishes.tables import Settings


class Reload:
    """Looks whether the settings files have changed. Mistakes are told, and what held before goes on holding."""

    def __init__(self, settings: Settings, log: Any) -> None:
        self._settings, self._log, self._stamp = settings, log, stamp(settings)

    def fresh(self) -> Settings | None:
        """The settings where they are others than before, else None; they hold from the next photo on."""
        found = stamp(self._settings)
        if found == self._stamp:
            return None
        self._stamp = found
        try:
            fresh = load(self._settings.config_file)
        except ConfigError as problem:
            self._log.warning("settings not taken over", reason=str(problem))
            return None
        except Exception as problem:  # a mistake of ours in reading them is no reason to stop
            self._log.error("settings not taken over", reason=str(problem), exc_info=True)
            return None
        if fresh.sha256 == self._settings.sha256:
            return None
        if fresh.folders != self._settings.folders or fresh.service != self._settings.service:
            self._log.warning("settings not taken over", reason="folders and [service] hold after the next start")
            fresh = fresh.model_copy(update={"folders": self._settings.folders, "service": self._settings.service})
        self._settings = fresh
        self._log.info("settings taken over", destinations=len(fresh.destinations))
        return fresh
