"""Faults on purpose: whatever raises for one photo, once or always, the others come out, and so does it at last."""

import ast
import errno
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from autoprep.errors import DeliveryError
from autoprep.logs import open_log
from autoprep.service import engine as engine_module
from autoprep.service.engine import Engine
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

# What the loop calls on behalf of one photo: (module or class, function).
CALLED = (
    ("autoprep.service.arrivals.Arrivals", "_open"),
    ("autoprep.service.arrivals.Arrivals", "_places"),
    ("autoprep.service.arrivals.Arrivals", "is_on_hold"),
    ("autoprep.service.arrivals.Arrivals", "follow"),
    ("autoprep.service.arrivals", "sniff"),
    ("autoprep.service.arrivals", "is_whole"),
    ("autoprep.service.arrivals", "read_settled"),
    ("autoprep.service.arrivals", "reserve"),
    ("autoprep.service.arrivals", "facts_for"),
    ("autoprep.service.said", "facts_for"),
    ("autoprep.service.said.Said", "of"),
    ("autoprep.service.knowledge.Knowledge", "known"),
    ("autoprep.service.knowledge.Knowledge", "data"),
    ("autoprep.service.hands", "places_for"),
    ("autoprep.service.hands", "reference_shots"),
    ("autoprep.service.results", "told"),
    ("autoprep.service.hands", "merit"),
    ("autoprep.service.hands", "publish"),
    ("autoprep.service.hands", "write_now"),
    ("autoprep.service.late_light.LateLight", "ordered"),
    ("autoprep.service.late_light.LateLight", "heard"),
    ("autoprep.service.late_light.LateLight", "told"),
    ("autoprep.service.hands.Hands", "order"),
    ("autoprep.service.hands.Hands", "deliver"),
    ("autoprep.service.hands.Hands", "take"),
    ("autoprep.service.hands.Hands", "_change"),
    ("autoprep.service.hands.Hands", "finish"),
    ("autoprep.service.hands", "take_out"),
    ("autoprep.service.keeping", "_move"),
    ("autoprep.service.keeping", "is_ours"),
    ("autoprep.ledger.Ledger", "claim"),
    ("autoprep.ledger.Ledger", "reserve"),
    ("autoprep.ledger.Ledger", "announce"),
    ("autoprep.ledger.Ledger", "apply"),
    ("autoprep.ledger.Ledger", "remember"),
    ("tests.service.pretend", "pretend"),
)


# Called where files of a photo that is on hold are withdrawn.
_AWAY = ("take_out", "_move", "is_ours")
# These know of all photos.
_ALL = ("Settings", "Ledger", "Engine", "Knowledge", "Hands", "Arrivals", "Said", "Desk")
_DIGEST = hashlib.sha256(photo(5)).hexdigest()


def _speaks_of_bad(value: Any, depth: int = 3) -> bool:
    """Whether an argument is about the photo `bad.jpg`."""
    if isinstance(value, bytes):
        return b"work=5 " in value or value == b"bad.jpg"
    if isinstance(value, str):
        return value in ("bad.jpg", _DIGEST) or value.endswith(f"-{_DIGEST[:8]}")
    if isinstance(value, (list, tuple)):
        return any(_speaks_of_bad(each, depth) for each in value[:20])
    if isinstance(value, dict):
        return any(_speaks_of_bad(each, depth) for each in value.values())
    slots = [getattr(value, name) for name in getattr(type(value), "__slots__", ())]
    inner = [*getattr(value, "__dict__", {}).values(), *slots]
    if depth and inner and type(value).__module__.startswith(("autoprep", "tests")):
        return any(_speaks_of_bad(each, depth - 1) for each in inner)
    return getattr(value, "name", "") == "bad.jpg"


def _resolved(place: str) -> Any:
    import importlib

    try:
        return importlib.import_module(place)
    except ModuleNotFoundError:
        module, _, name = place.rpartition(".")
        return getattr(importlib.import_module(module), name)


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


# So many steps at rest, each with a look at every file, and no more is to be expected of the next ones.
_AT_REST = 3


def _work_for(wren: Studio, steps: int) -> None:
    """Let the service run for a while, whether or not it comes to rest; a service at rest has had its while."""
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    still = 0
    for _ in range(steps):
        engine._next_scan = 0.0
        if engine.idle:  # pages are due when all is done, as the service itself spaces them
            engine._next_page = 0.0
        engine.step(0.0)
        still = still + 1 if engine.idle and not (engine._page_due or engine._list_due) else 0
        if still == _AT_REST:
            break
    engine.stop()


FAULTS: dict[str, Exception] = {
    "ours": RuntimeError("planted"),
    "rights": PermissionError(errno.EACCES, "planted"),
    "reading": OSError(errno.EIO, "planted"),
    "room": OSError(errno.ENOSPC, "planted"),
    "delivery": DeliveryError("planted", full=True),
}
"""A mistake of the program; a file that may not be touched, or can't be read; no room, as the system and we say it."""


@pytest.mark.parametrize(
    ("fault", "always"),
    [("ours", False), ("ours", True), ("rights", True), ("reading", False), ("room", False), ("delivery", True)],
)
@pytest.mark.parametrize(
    ("place", "name"), CALLED, ids=[f"{place.rpartition('.')[2]}.{name}" for place, name in CALLED]
)
def test_one_fault_costs_no_other_photo(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, place: str, name: str, fault: str, always: bool
) -> None:
    names = ["p3.jpg", "p4.jpg", "bad.jpg", "p6.jpg", "p7.jpg"]  # by their names all others come after it
    for number, shown in enumerate(names, 3):
        wren.put(shown, photo(number, answer="broken" if shown == "bad.jpg" and name == "finish" else "found"))
    finished = "bad.jpg"
    if name in ("follow", "take", *_AWAY):  # called for what was made before
        _work_for(wren, 40)
    elif name == "is_on_hold":  # asked of one that is as large as a known one, and has to wait for the worker
        (wren.inbox / "bad.jpg").unlink()
        _work_for(wren, 40)
        wren.put("a.jpg", photo(8))
        wren.put("bad.jpg", photo(5))
    if name == "follow":
        (wren.inbox / "bad.jpg").rename(wren.inbox / "moved.jpg")
        finished = "moved.jpg"
    elif name == "take":
        wren.put("bad.txt", "price: 5")
    elif name in _AWAY:
        wren.put("bad.txt", "hold: yes")
    owner, count = _resolved(place), [0]
    real: Callable[..., Any] = getattr(owner, name)

    def faulty(*given: Any, **named: Any) -> Any:
        about = [value for value in given if type(value).__name__ not in _ALL]
        if (always or count[0] == 0) and any(_speaks_of_bad(value) for value in (*about, *named.values())):
            count[0] += 1
            raise FAULTS[fault]
        return real(*given, **named)

    monkeypatch.setattr(owner, name, faulty)
    _work_for(wren, 40)
    others = {f"square/{shown}" for shown in names if shown != "bad.jpg"}
    assert others <= wren.files().keys()
    monkeypatch.setattr(owner, name, real)
    _comes_out(wren, name, finished)
    assert count[0]
    log = "".join(p.read_text(encoding="utf-8") for p in wren.settings.folders.records.glob("log.jsonl*"))
    assert "planted" in log or (fault == "room" and "no free space on the disk" in log)


def _comes_out(wren: Studio, name: str, shown: str) -> None:
    """With the fault gone it comes out by itself, whatever had to wait; what was set aside, when it is started over."""
    wren.wait_over()
    _work_for(wren, 20)
    record = wren.records().get(shown)
    if name == "finish":
        assert record is not None
        assert record.outcome == "set aside"
        return
    if name in _AWAY:
        assert "square/bad.jpg" not in wren.files()
        (wren.inbox / "bad.txt").unlink()
        _work_for(wren, 20)
    elif record is not None and record.outcome == "set aside":
        wren.put("bad.jpg", photo(5))
        _work_for(wren, 20)
    assert f"square/{shown}" in wren.files()


def _log_of(wren: Studio) -> list[dict[str, Any]]:
    files = wren.settings.folders.records.glob("log.jsonl*")
    return [json.loads(line) for file in files for line in file.read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize(
    ("place", "name"),
    [("autoprep.service.arrivals", "facts_for"), ("autoprep.service.unread", "facts_of_copy")],
    ids=["a photo may be held where it lies", "a copy may hold"],
)
def test_a_fault_met_where_only_a_hold_is_looked_for_is_told_and_holds(
    wren: Studio, monkeypatch: pytest.MonkeyPatch, place: str, name: str
) -> None:
    """Both are asked before the photo is taken in; what raises there must be heard of, and give nothing out."""
    wren.put("p5.jpg", photo(5))
    wren.put("p6.jpg", photo(6))
    _work_for(wren, 40)
    if name == "facts_of_copy":
        wren.put("p5.txt", "hold: yes")
        _work_for(wren, 40)
    wren.put("hold/bad.jpg", photo(5))
    wren.put("a7.jpg", photo(7))  # by its name before that: it has the one worker
    (wren.inbox / "p5.txt").unlink(missing_ok=True)
    owner, count = _resolved(place), [0]
    real: Callable[..., Any] = getattr(owner, name)

    def faulty(settings: Settings, shown: str, *given: Any, **named: Any) -> Any:
        if shown == "hold/bad.jpg" and (not count[0] or name == "facts_of_copy"):
            count[0] += 1
            raise RuntimeError("planted")
        return real(settings, shown, *given, **named)

    monkeypatch.setattr(owner, name, faulty)
    _work_for(wren, 40)
    log = _log_of(wren)
    told = [line for line in log if line["event"] == "fault"]
    assert [line["photo"] for line in told] == ["hold/bad.jpg"]
    assert told[0]["reason"] == "Autoprep itself made a mistake (RuntimeError); the log tells where"
    assert "RuntimeError: planted" in str(told[0])
    assert "brought back" not in {line["event"] for line in log}
    assert {name for name in wren.files() if name.startswith("square/")} == {"square/p6.jpg", "square/a7.jpg"}


def test_the_service_swallows_no_fault_without_a_word() -> None:
    """Who catches whatever may be raised says what it was, or raises it on."""
    silent = [
        f"{path.name}:{handler.lineno}"
        for path in sorted(Path(engine_module.__file__).parent.glob("*.py"))
        for handler in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(handler, ast.ExceptHandler) and _catches_all(handler) and not _is_heard(handler)
    ]
    assert silent == []


def _catches_all(handler: ast.ExceptHandler) -> bool:
    named = () if handler.type is None else ast.walk(handler.type)
    caught = {node.id for node in named if isinstance(node, ast.Name)}
    return handler.type is None or bool(caught & {"Exception", "BaseException"})


def _is_heard(handler: ast.ExceptHandler) -> bool:
    inside = [node for line in handler.body for node in ast.walk(line)]
    used = {node.id for node in inside if isinstance(node, ast.Name)}
    return handler.name in used or any(isinstance(node, ast.Raise) for node in inside)
