"""Questions that are answered by deleting: of the pictures of a question, the one that is left is the answer."""

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from autoprep.job.orders import choice_name

_MOST_CHOICES = 9


_FRESH_S = 2.0  # a folder that changed so lately may change again within the same tick of its clock


class Questions:
    """The open questions that offer choices, and the folders where their pictures lie."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[Path, int]] = {}
        self._looked: dict[str, int] = {}

    def note(self, job: str, choices: int, folder: Path | None) -> None:
        """Keep a question with so many choices in mind."""
        self.forget(job)
        if choices > 1 and folder is not None:
            self._open[job] = (folder, choices)

    def forget(self, job: str) -> None:
        """A question that is settled, or can't be answered now."""
        self._open.pop(job, None)
        self._looked.pop(job, None)

    def answers(self) -> Iterator[tuple[str, int]]:
        """(job, choice, counted from 0) of each question of whose choices one picture is left since it was told last.

        None left is no answer: the folder was moved away or emptied. A folder that has not changed is not looked into.
        """
        for job, (folder, choices) in list(self._open.items()):
            try:
                changed = os.stat(folder).st_mtime_ns
            except OSError:
                continue
            if self._looked.get(job) == changed:
                continue
            if abs(time.time() - changed / 1e9) > _FRESH_S:
                self._looked[job] = changed
            left = [k for k in range(choices) if (folder / choice_name(k + 1)).is_file()]
            if len(left) == 1:
                yield job, left[0]


def clear(folder: Path) -> None:
    """Remove what a settled question has put into its folder, and the folder if nothing else lies in it."""
    for name in ("where.jpg", "marked.jpg", "why.txt", *(choice_name(k + 1) for k in range(_MOST_CHOICES))):
        with contextlib.suppress(OSError):
            (folder / name).unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()
