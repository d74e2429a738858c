"""Questions that are answered by deleting: of the pictures of a question, the one that is left is the answer."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from autoprep.domain import JobRecord, Outline
from autoprep.job.question import choice_name

_MOST_CHOICES = 9


class Questions:
    """The open questions that offer choices, and the folders where their pictures lie."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[Path, JobRecord]] = {}

    def note(self, record: JobRecord, folder: Path | None) -> None:
        """Keep a question in mind, or forget one that is settled."""
        if record.outcome == "needs a look" and len(record.choices) > 1 and folder is not None:
            self._open[record.job] = (folder, record)
        else:
            self._open.pop(record.job, None)

    def forget(self, job: str) -> None:
        """A question that can't be answered now."""
        self._open.pop(job, None)

    def answers(self) -> Iterator[tuple[str, Path, Outline]]:
        """(job, folder, outline) of each question of whose choices one picture is left.

        None left is no answer: the folder was moved away or emptied.
        """
        for job, (folder, record) in list(self._open.items()):
            left = [k for k in range(len(record.choices)) if (folder / choice_name(k + 1)).is_file()]
            if len(left) == 1:
                yield job, folder, record.choices[left[0]]


def clear(folder: Path) -> None:
    """Remove what a settled question has put into its folder, and the folder if nothing else lies in it."""
    for name in ("where.jpg", "marked.jpg", "why.txt", *(choice_name(k + 1) for k in range(_MOST_CHOICES))):
        with contextlib.suppress(OSError):
            (folder / name).unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()
