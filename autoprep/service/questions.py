"""Questions that are answered by deleting: of the pictures of a question, the one that is left is the answer."""

import contextlib
import os
import re
import time
from collections import deque
from collections.abc import Callable, Container, Iterator
from dataclasses import replace
from pathlib import Path, PurePosixPath

from autoprep.files.storage import safe_stem
from autoprep.job.away import is_apart
from autoprep.job.orders import EACH, LOOSE_FILES, NO_WORK, NONE_OF_THESE, WHY, choice_name
from autoprep.ledger import OpenQuestion

NONE = -1
"""The answer that none of the choices is right."""
EACH_ONE = -2
"""The answer that each of several works is to be finished by itself."""

SHOWS_NO_WORK = -4
"""The answer that the photo shows no work."""

LOST = -3
"""No answer: the question's folder was deleted whole, so that it is to be asked again."""

_SHARE = 2000  # looking for answers takes at most one part in so many of the time: many open questions cost nothing
_MOST_WAIT_S, _FREE_S = 15.0, 0.0005
_LONGEST_NAME = 4096  # letters of the line that says of which photo a question is
_TAKEN_BY = 3  # what a look costs is told by the quickest of so many
_FRESH_S = 2.0  # a folder that changed so lately may change again within the same tick of its clock


class Questions:
    """The open questions, and the folders where their pictures lie.

    settle_s: an answer counts when its folder has been as it is for so long: pictures are deleted one after another.
    root: by which number the file system knew the folder of all questions when one was seen in it last, and whether
    it was part of the studio's own disk; empty where none was.
    """

    def __init__(self, settle_s: float, clock: Callable[[], float] = time.monotonic, root: str = "") -> None:
        self._settle_s, self._clock, self.root = settle_s, clock, root
        self._open: dict[str, OpenQuestion] = {}
        self._looked: dict[str, int] = {}
        self._pending: dict[str, tuple[int, float]] = {}
        self._next = -1e9
        self._took: deque[float] = deque(maxlen=_TAKEN_BY)

    def note(self, question: OpenQuestion) -> None:
        """Keep a question in mind."""
        self.forget(question.job)
        self._next = -1e9
        self._open[question.job] = question

    def forget(self, job: str) -> None:
        """A question that is settled, or can't be answered now."""
        for kept in (self._open, self._looked, self._pending):
            kept.pop(job, None)

    def answers(self) -> Iterator[tuple[str, int]]:
        """(job, choice) of each question that was answered since it was told last.

        A choice is counted from 0, or one of the answers above.

        A folder that was deleted, or moved away, is no answer but LOST. One that has not changed is not looked into.
        The longer looks take, the longer until the next, unless an answer is on its way; one that a busy machine held
        up is no measure.
        """
        if self._clock() < self._next and not self._pending:
            return
        began = self._clock()
        found = list(self._look())
        self._took.append(self._clock() - began)
        took = min(self._took) if len(self._took) == _TAKEN_BY else 0.0
        self._next = self._clock() + (min(_MOST_WAIT_S, _SHARE * took) if took > _FREE_S else 0.0)
        yield from found

    def _look(self) -> Iterator[tuple[str, int]]:
        for job, asked in list(self._open.items()):
            question = asked
            try:
                question, changed = _where_it_lies(question)
            except OSError as problem:
                if not self._is_deleted(question, problem):
                    self._pending.pop(job, None)
                elif self._has_settled(job, LOST):
                    self.forget(job)  # it is told once; what is asked then is noted anew
                    yield job, LOST
                continue
            if self._looked.get(job) == changed:
                continue
            self._note_root(question)
            answer = _answer(question)
            if answer is not None and not self._has_settled(job, changed):
                continue
            self._pending.pop(job, None)
            if abs(time.time() - changed / 1e9) > _FRESH_S:
                self._looked[job] = changed
            if answer is not None:
                yield job, answer

    def _note_root(self, question: OpenQuestion) -> None:
        with contextlib.suppress(OSError):
            self.root = _known_by(question.folder.parent)

    def _is_deleted(self, question: OpenQuestion, problem: OSError) -> bool:
        """Whether a folder that can't be looked at is no more. Where the folder of all questions is another one than
        before, or is not there, a disk or a share may be away that it was on, and nobody has deleted anything."""
        place = question.folder.parent
        try:
            root = _known_by(place)
        except FileNotFoundError:
            root = _HERE if place.parent.is_dir() and not place.is_symlink() else ""
        except OSError:
            return False
        same = root == self.root or (root.endswith(_HERE) and self.root.endswith(_HERE))
        return isinstance(problem, FileNotFoundError) and same

    def _has_settled(self, job: str, changed: int) -> bool:
        now = self._clock()
        if job not in self._pending or self._pending[job][0] != changed:
            self._pending[job] = (changed, now)
        return now - self._pending[job][1] >= self._settle_s

    @property
    def unsettled(self) -> bool:
        """Whether an answer may still be on its way."""
        return bool(self._pending)


_HERE = " here"  # so ends what is known of a folder that no disk or share of its own holds


def _known_by(place: Path) -> str:
    """By what the folder of all questions is known again. Raises OSError."""
    return f"{os.stat(place).st_ino}{'' if is_apart(place) or place.is_symlink() else _HERE}"


def _answer(question: OpenQuestion) -> int | None:
    """The choice that is left, EACH_ONE or SHOWS_NO_WORK where that is, NONE where none is; None where more than one
    is left: then nothing was answered yet."""
    if not (question.choices > 1 or (question.choices and question.offers_none)):
        return None
    folder, first = question.folder, question.first
    left = [k for k in range(question.choices) if (folder / choice_name(first + k)).is_file()]
    none_left, no_work_left = (folder / NONE_OF_THESE).is_file(), (folder / NO_WORK).is_file()
    if question.offers_each and (folder / EACH).is_file():
        return None if left or none_left or no_work_left else EACH_ONE
    if not left:
        return SHOWS_NO_WORK if no_work_left and not none_left else NONE
    # Of a single choice the picture that says "none" has gone, else nothing was deleted at all.
    return left[0] if len(left) == 1 and (question.choices > 1 or not none_left) else None


def _where_it_lies(question: OpenQuestion) -> tuple[OpenQuestion, int]:
    """The question with the folder that it has now, and when that was changed last. Raises OSError."""
    try:
        return question, os.stat(question.folder).st_mtime_ns
    except FileNotFoundError:
        if (other := renamed(question.folder)) is None:
            raise
        return replace(question, folder=other), os.stat(other).st_mtime_ns


def renamed(folder: Path) -> Path | None:
    """What the artist has called the folder of a question, where it is not there any more under its own name: what is
    answered in it counts. None where no folder beside it, or more than one, says that it is of that photo."""
    with contextlib.suppress(OSError):
        found = [one for one in folder.parent.iterdir() if _is_renamed(one, folder.name)]
        return found[0] if len(found) == 1 else None
    return None


def _is_renamed(folder: Path, name: str) -> bool:
    """Whether the question in a folder is about a photo by which folders are called so, and this one no longer is."""
    try:
        with (folder / WHY).open(encoding="utf-8") as file:
            stem = safe_stem(PurePosixPath(file.readline(_LONGEST_NAME).strip()).stem)
    except (OSError, UnicodeError):
        return False
    called = re.compile(rf"{re.escape(stem)}(-\d+)?")
    return called.fullmatch(name) is not None and called.fullmatch(folder.name) is None


def clear(folder: Path, but: Container[str] = ()) -> None:
    """Remove what a question has put into its folder, and the folder if nothing else lies in it.

    but: the names of what belongs to the question as it is asked now; for one that is settled nothing does. A folder
    that was renamed holds what was asked before.
    """
    if (other := renamed(folder)) is not None:
        _clear(other)
    _clear(folder, but)


def _clear(folder: Path, but: Container[str] = ()) -> None:
    with contextlib.suppress(OSError):
        for place in folder.iterdir():
            if place.name not in but and (place.name in LOOSE_FILES or _is_choice(place.name)):
                with contextlib.suppress(OSError):
                    place.unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()


def _is_choice(name: str) -> bool:
    number = name.removeprefix("choice-").removesuffix(".jpg")
    return number.isdigit() and name == choice_name(int(number))
