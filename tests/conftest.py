"""Shared fixtures."""

import contextlib
import ctypes
import gc
import hashlib
import importlib
import os
import pickle
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import pytest

from autoprep.cli.studio import make_studio
from autoprep.correction import planning
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import Judged
from autoprep.correction.outline import answers as answers_module
from autoprep.correction.outline import eye, finder
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.others import all_seen
from autoprep.correction.planning import make_plan
from autoprep.domain import CorrectionPlan
from autoprep.job import story
from autoprep.pixels import Photo
from autoprep.wishes.tables import Settings
from tests import memory_folder

# The files that take longest, the longest first: no process is left with a long one alone at the end.
_LONGEST = (
    "correction/test_bars.py", "service/test_cluster.py", "service/test_week.py", "service/test_faults.py",
    "test_job.py", "service/test_watch.py", "test_cli.py", "correction/test_paper_eye.py", "files/test_mutations.py",
    "service/test_converge.py", "correction/test_sides.py", "correction/test_others.py", "lab/test_lab.py",
    "correction/test_inner.py", "faults/test_doses.py", "service/test_pool.py", "correction/test_seen_shade.py",
    "correction/test_truth.py", "correction/test_shadows.py", "correction/test_references.py", "correction/test_eye.py",
    "service/test_apart.py", "correction/test_chart.py", "service/test_references.py", "service/test_questions.py",
    "service/test_put_back.py", "correction/test_rough.py", "service/test_any_order.py", "correction/test_bend.py",
    "correction/test_contract.py", "correction/test_rim.py", "correction/test_washed_over.py", "lab/test_best_take.py",
    "correction/test_islands.py", "service/test_everyday.py", "test_repair.py", "test_one_place.py",
    "test_destinations.py", "service/test_notify.py", "correction/test_paper_class.py",
)  # fmt: skip


# The room that all tests with the files of those that fail may need in memory.
_ROOM_FOR_ALL_BYTES = 1 << 32


# mallopt's numbers (glibc, malloc.h), and how much free memory a process of tests keeps.
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3
_KEPT_FREE_BYTES = 1 << 28


def _keep_freed_memory() -> None:
    """Pictures come and go all the time: memory that is given back with each costs new pages for the next.

    Only of processes that run tests; what they start does as it always does.
    """
    if sys.platform.startswith("linux"):
        with contextlib.suppress(OSError, AttributeError):  # another library of C
            library = ctypes.CDLL(None)
            library.mallopt(_M_MMAP_THRESHOLD, 1 << 30)
            library.mallopt(_M_TRIM_THRESHOLD, _KEPT_FREE_BYTES)


def pytest_configure() -> None:
    """Temporary folders of tests lie in memory where there is plenty: a disk takes forty times as long for a rename.

    Another place is said as ever, by --basetemp or PYTEST_DEBUG_TEMPROOT.
    """
    cv2.setNumThreads(1)  # as tests/__init__.py does it for NumPy
    _keep_freed_memory()
    folder = memory_folder(_ROOM_FOR_ALL_BYTES)
    if folder is not None:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", folder)


def pytest_sessionstart(session: pytest.Session) -> None:
    """With -n, each process begins to load the tests at another place, so that the others find compiled what it loaded.

    All of them load all modules, and in the same order each would compile nearly every one of them itself.
    """
    told: dict[str, Any] = getattr(session.config, "workerinput", {})
    if not told or session.config.args != session.config.getini("testpaths"):
        return  # one process alone, or a few files
    root = Path(__file__).parent
    modules = sorted(root.rglob("test_*.py"))
    first = len(modules) * int(told["workerid"].removeprefix("gw")) // int(told["workercount"])
    for module in modules[first:] + modules[:first]:
        name = ".".join(module.relative_to(root.parent).with_suffix("").parts)
        with contextlib.suppress(Exception, pytest.skip.Exception):  # told where its tests are collected
            importlib.import_module(name)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first. A name of the list that is no file any more stops the run: it was moved."""
    places = {(Path(__file__).parent / name).resolve(strict=True): number for number, name in enumerate(_LONGEST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


def pytest_collection_finish() -> None:
    """What collected tests and all modules consist of stays: no search for garbage has to go through it."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With -n, a file's tests stay together, for what they share is made once, and files go out in their order."""
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False
    return LoadFileScheduling(config, log)


QUICK = """
[artist]
name = "Wren Halloway"
[service]
workers = 2
settle_s = 0.4
rescan_s = 1.0
[correction]
sure_enough = 0.5
"""


@pytest.fixture
def in_memory() -> Iterator[Path]:
    """A temporary folder in the place that memory_folder() names."""
    with tempfile.TemporaryDirectory(prefix="autoprep-", dir=memory_folder()) as folder:
        yield Path(folder)


@contextlib.contextmanager
def within(seconds: int, otherwise: str) -> Iterator[None]:
    """Fails, saying so, where what is done takes longer: it waits for something that never comes."""

    def late(*_: object) -> None:
        raise AssertionError(otherwise)

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


_SEEN: dict[str, Any] = {}


@pytest.fixture
def looked_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What finders see in a photo is worked out once for all tests of a process that show the very same pixels.

    So is the plan of one with the same outline, wishes and references, and the paper of the same work whatever the
    wishes are. For tests of what comes after: finding and planning take most of a small photo's job, and each picture
    of a question wants a plan of its own.
    """
    look, answers, plan_of = eye.look, finder._answers, make_plan
    polish = answers_module._polish

    def kept(key: str, work: Callable[[], Any]) -> Any:
        if key not in _SEEN:
            _SEEN[key] = work()
        return _SEEN[key]

    def once(kind: str, photo: Photo, work: Callable[[], Any]) -> Any:
        parts = (photo.codes, photo.tables, photo.matrix)
        digest = hashlib.sha256(b"".join(b"-" if part is None else part.tobytes() for part in parts)).hexdigest()
        return kept(f"{kind} {digest} {photo.codes.shape} {photo.scale} {photo.facts}", work)

    def answered(copies: Copies, sight: Any, works: Any) -> Any:
        found, beside = once("answers", copies.photo, lambda: answers(copies, sight, works))
        return list(found), list(beside)

    def planned(photo: Photo, *given: Any) -> tuple[CorrectionPlan, Judged, dict[str, float]]:
        said = _digest(photo.scale_down, given)
        plan, judged, measures = once(f"plan {said}", photo, lambda: plan_of(photo, *given))
        return plan, judged, dict(measures)

    monkeypatch.setattr(story, "make_plan", planned)
    monkeypatch.setattr(eye, "look", lambda photo, copy: once("look", photo, lambda: look(photo, copy)))
    monkeypatch.setattr(finder, "_answers", answered)
    monkeypatch.setattr(
        finder, "all_seen",
        lambda copies, sight: once(f"all {_digest(sight)}", copies.photo, lambda: all_seen(copies, sight)),
    )  # fmt: skip
    monkeypatch.setattr(
        answers_module, "_polish",
        lambda copies, *given: once(f"sides {_digest(*given)}", copies.photo, lambda: polish(copies, *given)).copy(),
    )  # fmt: skip
    monkeypatch.setattr(
        planning, "find_paper", lambda *given: kept(f"paper {_digest(*given)}", lambda: find_paper(*given))
    )


def _digest(*given: object) -> str:
    return hashlib.sha256(pickle.dumps(given)).hexdigest()


@pytest.fixture
def studio(tmp_path: Path) -> Settings:
    """A studio of Wren Halloway's with quick settings and two small destinations."""
    return studio_in(tmp_path)


def studio_in(place: Path) -> Settings:
    """The same, in a folder of one's own."""
    folder = place / "studio"
    (folder / "config").mkdir(parents=True)
    (folder / "config" / "autoprep.toml").write_text(QUICK, encoding="utf-8")
    (folder / "config" / "destinations.toml").write_text(
        "[square]\nwidth_px = 400\nheight_px = 400\nmargin_percent = 5.0\n\n"
        '[master]\nfull_size = true\nformat = "tiff"\nbits = 16\nmark = false\n',
        encoding="utf-8",
    )
    return make_studio(folder)
