"""Folders of ready/ that take no files: one that is closed, or on a full disk of its own, costs its own files alone."""

import contextlib
import math
import os
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from autoprep.domain import Reason
from autoprep.errors import DeliveryError
from autoprep.files.storage import answers
from autoprep.told.explanations import folder_closed
from autoprep.wishes.tables import Settings

_SHARE = 0.05  # of a small disk; of a large one, as much room is wanted as where the records lie


def by_its_folder(settings: Settings, place: Path, problem: DeliveryError) -> Reason | None:
    """Why there is no file in this place, where its folder alone is the reason; None where all of the photo waits."""
    apart = problem.full and _is_apart(settings, place.parent)
    if not (problem.closed or apart) or not answers(settings.folders.ready):
        return None
    return folder_closed(str(problem), _wanted_mb(settings, place.parent) if apart else 0)


def takes_files(settings: Settings, folder: Path) -> bool:
    """Whether a folder can be written to; one on a disk of its own is not tried again and again for a few bytes."""
    if _is_apart(settings, folder) and _room_mb(folder)[1] < _wanted_mb(settings, folder):
        return False
    return answers(folder)


def folders_there(settings: Settings, places: Iterable[Path]) -> Iterator[Path]:
    """The folders of these places, made where they are missing; those that can't be made are left out.

    Who writes into them later makes none anew: what they lie on may be away by then.
    """
    for folder in dict.fromkeys(place.parent for place in places):
        with contextlib.suppress(OSError):
            if folder.is_relative_to(settings.folders.ready):
                folder.mkdir(parents=True, exist_ok=True)
                yield folder


def _is_apart(settings: Settings, folder: Path) -> bool:
    """Whether a folder lies on another disk than ready/ and the records."""
    disk = _disk(folder)
    return disk is not None and disk not in (_disk(settings.folders.ready), _disk(settings.folders.records))


def _disk(folder: Path) -> int | None:
    try:
        return os.stat(folder).st_dev
    except OSError:
        return None


def _wanted_mb(settings: Settings, folder: Path) -> float:
    return min(settings.service.min_free_mb, _room_mb(folder)[0] * _SHARE)


def _room_mb(folder: Path) -> tuple[float, float]:
    """In all, and free; one that has gone away meanwhile counts as large and full."""
    try:
        room = shutil.disk_usage(folder)
    except OSError:
        return math.inf, 0.0
    return room.total / 1e6, room.free / 1e6
