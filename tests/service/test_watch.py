"""The real service process: photos arrive in every way that phones and sync tools have, each comes out once."""

import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image

from autoprep.ledger import Ledger
from autoprep.wishes.tables import Settings
from tests import photos

pytestmark = pytest.mark.slow


def variants(count: int, start: int = 0, size: tuple[int, int] = (400, 300)) -> list[bytes]:
    """Different small photos: one sheet, each with its own bytes."""
    with Image.open(io.BytesIO(photos.jpeg())) as image:
        small = image.resize(size)
    out = []
    for number in range(start, start + count):
        own = small.copy()
        own.putpixel((number % size[0], number // size[0]), (255, 0, 0))
        data = io.BytesIO()
        own.save(data, "JPEG", quality=85, comment=f"photo {number}".encode())
        out.append(data.getvalue())
    return out


class Running:
    """`autoprep watch` in a process of its own."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "autoprep", "watch", "--config", str(self.settings.studio)]
        # To a file: a pipe that nobody reads would stop the service when it is full.
        with (self.settings.studio / "stderr.txt").open("ab") as stderr:
            self.process = subprocess.Popen(command, stderr=stderr)

    def stop(self, number: int = signal.SIGTERM) -> tuple[int, float]:
        """Ask the service to stop: its exit code and how long it took."""
        assert self.process is not None
        began = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(timeout=20)
        return self.process.returncode, time.monotonic() - began

    def records(self) -> list[dict[str, object]]:
        ledger = Ledger(self.settings.folders.records / "ledger.sqlite3")
        try:
            return [job.record.model_dump() for job in ledger.jobs() if job.record is not None]
        finally:
            ledger.close()

    def outcomes(self, outcome: str) -> list[str]:
        return sorted(str(record["photo"]) for record in self.records() if record["outcome"] == outcome)

    def wait(self, done: Callable[[], bool], limit_s: float = 90) -> None:
        limit = time.monotonic() + limit_s
        while not done():
            assert self.process is not None
            assert self.process.poll() is None, (self.settings.studio / "stderr.txt").read_text()[-2000:]
            assert time.monotonic() < limit, self.records()
            time.sleep(0.2)


@pytest.fixture
def service(studio: Settings) -> Iterator[Running]:
    # Where the works lie is said, and that their colours are right: both is tried elsewhere and takes most of a job.
    (studio.folders.inbox / "note.txt").write_text("outline: whole photo\nas shot: yes", encoding="utf-8")
    running = Running(studio)
    yield running
    if running.process is not None and running.process.poll() is None:
        running.process.kill()
        running.process.wait()


def files(settings: Settings, destination: str) -> list[str]:
    return sorted(path.name for path in (settings.folders.ready / destination).iterdir())


def test_every_way_of_arriving(service: Running) -> None:
    """One by one, in a burst of 50, renamed, copied twice, half-written then finished: each exactly once."""
    settings, inbox = service.settings, service.settings.folders.inbox
    pictures = variants(56, size=(200, 150))  # what they show is nothing to how they come
    originals: dict[str, bytes] = {}

    def put(name: str, data: bytes) -> None:
        originals[name] = data
        (inbox / name).parent.mkdir(parents=True, exist_ok=True)
        (inbox / name).write_bytes(data)

    put("first.jpg", pictures[0])
    service.wait(lambda: len(service.outcomes("ready")) == 1)
    put("trip/deep/second.JPG", pictures[1])  # in a sub-folder that was not there
    service.wait(lambda: len(service.outcomes("ready")) == 2)

    half = inbox / "growing.jpg"
    half.write_bytes(pictures[2][: len(pictures[2]) // 2])
    for number, data in enumerate(pictures[3:53]):
        put(f"burst {number:02}.jpg", data)
    temporary = inbox / ".syncing.tmp"
    temporary.write_bytes(pictures[53])
    temporary.rename(inbox / "synced.jpg")  # the way of most sync tools
    originals["synced.jpg"] = pictures[53]
    (inbox / "notes.part").write_bytes(b"half")
    (inbox / "letter.pdf").write_bytes(b"not a picture")
    (inbox / "a note.txt").write_text("title: a note without a photo", encoding="utf-8")
    service.wait(lambda: len(service.outcomes("ready")) >= 53, 150)
    assert "growing.jpg" not in [record["photo"] for record in service.records()]
    half.write_bytes(pictures[2])
    originals["growing.jpg"] = pictures[2]
    service.wait(lambda: "growing.jpg" in service.outcomes("ready"))

    (inbox / "first.jpg").rename(inbox / "renamed.jpg")
    originals["renamed.jpg"] = originals.pop("first.jpg")
    put("copy one.jpg", pictures[1])
    put("copy two.jpg", pictures[1])
    put("second.jpg", pictures[54])  # another photo, the same name in another folder
    service.wait(lambda: len(service.outcomes("ready")) == 55 and len(service.outcomes("duplicate")) == 2)
    (inbox / "second.jpg").write_bytes(pictures[55])  # a new version of a file is used in the old one's stead
    service.wait(lambda: service.outcomes("alternate") == ["second.jpg"])
    originals["second.jpg"] = pictures[55]

    code, seconds = service.stop()
    assert code == 0
    assert seconds < 10
    assert service.outcomes("duplicate") == ["copy one.jpg", "copy two.jpg"]
    assert service.outcomes("set aside") == []  # the letter is no photo
    for destination in settings.destinations:
        names = files(settings, destination)
        assert len(names) == 55, names
        assert {re.sub(r"-\d+$", "", Path(name).stem) for name in names} >= {"renamed", "second", "growing", "synced"}
    ready = [record for record in service.records() if record["outcome"] == "ready"]
    assert len({record["sha256"] for record in ready}) == 55
    assert pictures[55] in [(inbox / str(record["photo"])).read_bytes() for record in ready]
    for record in ready:
        for out in record["outputs"]:  # type: ignore[attr-defined]
            assert (settings.studio / out["path"]).stat().st_size == out["bytes"]
    for name, data in originals.items():
        assert (inbox / name).read_bytes() == data, f"{name} was changed"
    assert [path.name for path in settings.studio.rglob("*.part")] == ["notes.part"]


def test_a_kill_in_the_middle_loses_and_doubles_nothing(service: Running) -> None:
    inbox = service.settings.folders.inbox
    for number, data in enumerate(variants(12)):
        (inbox / f"p{number:02}.jpg").write_bytes(data)
    for ready in (1, 4, 7):
        service.wait(lambda ready=ready: len(service.outcomes("ready")) >= ready)  # type: ignore[misc]
        assert service.process is not None
        service.process.kill()
        service.process.wait()
        service.start()
    service.wait(lambda: len(service.outcomes("ready")) == 12)
    assert service.stop()[0] == 0
    for destination in service.settings.destinations:
        assert len(files(service.settings, destination)) == 12
        for path in (service.settings.folders.ready / destination).glob("*.jpg"):
            with Image.open(path) as image:
                image.load()
    assert not list(service.settings.studio.rglob(".autoprep-*"))
    ledger = Ledger(service.settings.folders.records / "ledger.sqlite3")
    assert ledger.check() == "ok"
    ledger.close()


def test_a_second_service_in_the_studio_is_refused(service: Running) -> None:
    service.wait((service.settings.folders.records / "log.jsonl").exists)
    time.sleep(0.5)
    command = [sys.executable, "-m", "autoprep", "once", "--config", str(service.settings.studio)]
    second = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert second.returncode == 3
    assert "another Autoprep is at work" in second.stderr
    assert service.stop(signal.SIGINT)[0] == 0


def test_links_pipes_and_the_log(service: Running) -> None:
    """Nothing is read through a link, nothing blocks on a pipe, and no name can forge a log line."""
    inbox = service.settings.folders.inbox
    secret = service.settings.studio / "secret.jpg"
    secret.write_bytes(photos.jpeg())
    os.symlink(secret, inbox / "link.jpg")
    os.mkfifo(inbox / "pipe.jpg")
    forged = 'x\n{"event": "forged"}\x1b[31m.jpg'
    (inbox / forged).write_bytes(variants(1)[0])
    service.wait(lambda: len(service.records()) == 3)
    service.stop()
    assert len(service.outcomes("set aside")) == 2
    lines = (service.settings.folders.records / "log.jsonl").read_text(encoding="utf-8").split("\n")
    events = [json.loads(line)["event"] for line in lines if line]
    assert "forged" not in events
    assert all(ord(ch) >= 32 for line in lines for ch in line)
    finished = [json.loads(line) for line in lines if line and json.loads(line)["event"] == "finished"]
    assert any("\\x0a" in record["photo"] for record in finished)


def test_the_inbox_may_go_away_and_come_back(service: Running) -> None:
    inbox = service.settings.folders.inbox
    (inbox / "a.jpg").write_bytes(variants(1)[0])
    service.wait(lambda: len(service.outcomes("ready")) == 1)
    away = inbox.with_name("away")
    inbox.rename(away)
    time.sleep(1.5)
    shutil.copytree(away, inbox)
    (inbox / "b.jpg").write_bytes(variants(1, start=5)[0])
    service.wait(lambda: len(service.outcomes("ready")) == 2)
    service.stop()
    assert len(files(service.settings, "square")) == 2
