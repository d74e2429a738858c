"""The service manager hears that the service is ready, alive by its own turns, and stopping."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from autoprep.service.notify import Notifier
from autoprep.wishes.tables import Settings

pytestmark = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="the system has no such sockets")


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listening.bind(str(tmp_path / "notify"))
    listening.settimeout(0.2)
    yield listening
    listening.close()


def heard(manager: socket.socket) -> list[str]:
    found = []
    try:
        while True:
            found.append(manager.recv(4096).decode())
    except TimeoutError:
        return found


def test_each_word_is_one_datagram(manager: socket.socket) -> None:
    now = [100.0]
    notifier = Notifier({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "10000000"}, lambda: now[0])
    notifier.ready()
    notifier.alive("2 photos to work on")
    notifier.alive("2 photos to work on")
    now[0] += 3.9
    notifier.alive()
    now[0] += 0.2
    notifier.alive()
    notifier.stopping()
    assert heard(manager) == ["READY=1", "WATCHDOG=1", "STATUS=2 photos to work on", "WATCHDOG=1", "STOPPING=1"]


@pytest.mark.parametrize("more", [{}, {"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}, {"WATCHDOG_USEC": "soon"}])
def test_nobody_is_fed_who_did_not_ask(manager: socket.socket, more: dict[str, str]) -> None:
    Notifier({"NOTIFY_SOCKET": manager.getsockname(), **more}).alive()
    assert heard(manager) == []


def test_a_name_without_a_file_is_spoken_to() -> None:
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    name = f"autoprep-test-{os.getpid()}"
    try:
        listening.bind(f"\0{name}")
    except OSError:
        pytest.skip("the system has no names without files")
    listening.settimeout(0.2)
    Notifier({"NOTIFY_SOCKET": f"@{name}"}).ready()
    assert heard(listening) == ["READY=1"]
    listening.close()


def test_without_a_manager_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[object] = []
    real = socket.socket

    def opens(*given: int) -> socket.socket:
        opened.append(given)
        return real(*given)

    monkeypatch.setattr("autoprep.service.notify.socket.socket", opens)
    notifier = Notifier({})
    notifier.ready()
    notifier.alive("all is done")
    assert opened == []
    # One that is not there is tried, and costs nothing else.
    Notifier({"NOTIFY_SOCKET": "/nowhere/notify", "WATCHDOG_USEC": "1000"}).alive("x")
    assert len(opened) == 2


@pytest.mark.slow
def test_a_service_that_hangs_falls_silent(studio: Settings, manager: socket.socket) -> None:
    environment = {**os.environ, "NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "1000000"}
    command = [sys.executable, "-m", "autoprep", "watch", "--quiet", "--config", str(studio.studio)]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        limit, words = time.monotonic() + 30, list[str]()
        while words.count("WATCHDOG=1") < 3 and time.monotonic() < limit:
            words += heard(manager)
        assert words[0] == "READY=1"
        assert words.count("WATCHDOG=1") >= 3
        assert "STATUS=All is done; waits for photos" in words
        process.send_signal(signal.SIGSTOP)
        heard(manager)
        time.sleep(1.5)
        assert heard(manager) == []
        process.send_signal(signal.SIGCONT)
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
        assert "STOPPING=1" in heard(manager)
    finally:
        process.kill()
        process.wait()


def test_a_turn_that_never_ends_is_not_hidden(
    studio: Settings, manager: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No thread speaks for the loop: while a look at the inbox hangs, nothing is said."""
    import threading

    from autoprep.cli import work
    from autoprep.service.engine import Engine

    hanging, go_on = threading.Event(), threading.Event()

    def hang(self: Engine) -> None:
        hanging.set()
        go_on.wait(20)
        raise KeyboardInterrupt

    turns = [0]
    real = Engine._look

    def look(self: Engine) -> None:
        turns[0] += 1
        (real if turns[0] < 3 else hang)(self)

    monkeypatch.setattr(Engine, "_look", look)
    monkeypatch.setenv("NOTIFY_SOCKET", manager.getsockname())
    monkeypatch.setenv("WATCHDOG_USEC", "500000")
    monkeypatch.setattr("autoprep.cli.work.signal.signal", lambda *_: None)
    options = type("Options", (), {"config": studio.config_file, "quiet": True})()

    def run() -> None:
        with pytest.raises(KeyboardInterrupt):
            work.watch(options)

    loop = threading.Thread(target=run)
    loop.start()
    assert hanging.wait(20)
    assert "WATCHDOG=1" in heard(manager)
    time.sleep(1.0)
    assert heard(manager) == []
    go_on.set()
    loop.join(20)
    assert "STOPPING=1" in heard(manager)
