"""Files that could not be taken out of their places, because a share was away, say, and that lie there again.

A file that is not there when it is to be withdrawn counts as picked up. Where just that one lies there later, it was
away, as its whole folder was: absence is not deletion, on this side either. Nor could files be put into a folder that
was closed, or full; as soon as it takes files, those are made that it stopped.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from autoprep.job.folders import takes_files
from autoprep.ledger import Ledger, Rendition
from autoprep.service.keeping import is_ours
from autoprep.told.explanations import BY_FOLDER, HOLD, NOT_SENT
from autoprep.wishes.tables import Settings


class LeftThere:
    """Says of which photos such files lie there; each is told once for as long as it lies there unchanged. And of which
    some can be made now, for the folder that they belong in is open."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._seen: dict[Path, int] = {}

    def news(self, settings: Settings) -> set[str]:
        """The jobs of those that lie there since this was asked last, and of those that can be made now."""
        stopped = self._ledger.overview.failed_by(BY_FOLDER)
        names = {name for _, name in stopped}
        opened = {name for name in names if takes_files(settings, settings.folders.ready / name)}
        return self._again() | {job for job, name in stopped if name in opened}

    def _again(self) -> set[str]:
        there: dict[Path, int] = {}
        found = set()
        for job, place, _ in self._ledger.overview.to_be_withdrawn():
            try:
                there[place] = place.lstat().st_mtime_ns
            except OSError:
                continue
            if self._seen.get(place) != there[place]:
                found.add(job)
        self._seen = there
        return found


def as_they_lie(made: Mapping[str, Rendition]) -> Mapping[str, Rendition]:
    """What is on record of each destination, with those files in place that lie there again. Raises OSError."""
    back = {name: replace(row, state="in place") for name, row in made.items() if _lies_again(row)}
    return {**made, **back} if back else made


def _lies_again(row: Rendition) -> bool:
    away = row.state == "picked up" and row.why in (HOLD.kind, NOT_SENT.kind)
    return away and row.path is not None and row.output is not None and is_ours(row.path, row.output.sha256)
