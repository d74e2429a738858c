"""Which finished pictures the artist has changed since they were made, or moved away: looked for when somebody asks for
all works."""

import os
from collections.abc import Container, Iterable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from autoprep.ledger import Overview, Sent, WorkRow
from autoprep.service.keeping import is_ours
from autoprep.told.explanations import MOVED_AWAY

_SLACK_S = 2.0  # some disks keep times so coarsely


def with_changed(rows: Iterable[WorkRow], overview: Overview, only: str = "") -> list[WorkRow]:
    """The works with the pictures of theirs that lie in ready/ and are not, or no longer, as they were made; what lies
    there no more counts as picked up, though nothing has told the service of that. ready/ itself is not away.

    only: the one work that they are rows of.
    """
    found: dict[str, dict[Path, str]] = {}
    gone: set[Path] = set()
    for work, name, place, size, sha256, made in overview.pictures(only):
        try:
            if _is_changed(place, size, sha256, made):
                found.setdefault(work, {})[place] = name
        except (FileNotFoundError, NotADirectoryError):
            gone.add(place)
    for work, name, place in overview.all_stayed(only):
        if os.path.lexists(place):
            found.setdefault(work, {}).setdefault(place, name)
    return [replace(row, sent=_sent(row, gone), changed=_listed(found.get(row.work, {}))) for row in rows]


def _sent(row: WorkRow, gone: Container[Path]) -> tuple[Sent, ...]:
    return tuple(
        replace(sent, state="picked up", reason=MOVED_AWAY, why="")
        if sent.state == "in place" and sent.path in gone else sent
        for sent in row.sent
    )  # fmt: skip


def _listed(places: dict[Path, str]) -> tuple[tuple[str, Path], ...]:
    return tuple(sorted((name, place) for place, name in places.items()))


def _is_changed(place: Path, size: int, sha256: str, made: str) -> bool:
    """Whether another file lies there. Only one of the same size that was written later is read for that.

    Raises FileNotFoundError, or NotADirectoryError, where none does.
    """
    try:
        now = place.lstat()
        if now.st_size != size:
            return True
        return not _is_older(now.st_mtime, made) and not is_ours(place, sha256)
    except (FileNotFoundError, NotADirectoryError):
        raise
    except OSError:  # it can't be read
        return False


def _is_older(written: float, made: str) -> bool:
    try:
        return written < datetime.fromisoformat(made).timestamp() + _SLACK_S
    except ValueError:  # since when is not known of files that an earlier version made
        return False
