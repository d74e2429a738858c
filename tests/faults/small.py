"""A small studio for trials of the real service: quick settings, one destination, photos that cost little, and the
check at the end that everything is as if nothing had happened."""

import hashlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PIL import Image

from autoprep.cli.studio import make_studio
from autoprep.domain import JobRecord
from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.test_watch import variants

_SETTINGS = """
[artist]
name = "Wren Halloway"
[correction]
sure_enough = 0.5
[service]
workers = 1
settle_s = 0.1
rescan_s = 0.5
"""


def studio_in(folder: Path, service: str = "") -> Settings:
    """An empty studio with one small destination. service: lines of that table, in place of those of the same name."""
    (folder / "config").mkdir(parents=True)
    (folder / "config" / "autoprep.toml").write_text(_settings(service), encoding="utf-8")
    (folder / "config" / "destinations.toml").write_text(
        "[square]\nwidth_px = 300\nheight_px = 300\n", encoding="utf-8"
    )
    make_studio(folder)
    return load(folder / "config" / "autoprep.toml")


def _settings(service: str) -> str:
    """The settings without those lines of which another is given."""
    names = {line.partition("=")[0].strip() for line in service.splitlines()}
    kept = [line for line in _SETTINGS.splitlines() if line.partition("=")[0].strip() not in names]
    return "\n".join([*kept, service])


def until(done: Callable[[], bool], limit_s: float, every_s: float = 0.1) -> bool:
    """Wait until something is so; whether it was so in time."""
    limit = time.monotonic() + limit_s
    while not done():
        if time.monotonic() > limit:
            return False
        time.sleep(every_s)
    return True


@dataclass
class Trial:
    """A studio, what was put into its inbox, and its service."""

    settings: Settings
    put: dict[str, bytes] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None
    environment: dict[str, str] = field(default_factory=dict)
    before: tuple[str, ...] = ()
    """What starts the service, and leaves it its process: strace -D."""

    def more(self, count: int, folder: Path | None = None) -> None:
        """So many further photos arrive; folder: where the inbox lies now."""
        for number, data in enumerate(variants(count, len(self.put)), len(self.put)):
            name = f"page {number:05}.jpg"
            self.put[name] = data
            ((folder or self.settings.folders.inbox) / name).write_bytes(data)

    def start(self) -> None:
        """Start the real service."""
        watch = (sys.executable, "-m", "autoprep", "watch", "--quiet", "--config", str(self.settings.studio))
        command = [*self.before, *watch]
        with (self.settings.studio / "stderr.txt").open("ab") as stderr:
            self.process = subprocess.Popen(
                command, stderr=stderr, stdout=subprocess.DEVNULL, env={**os.environ, **self.environment}
            )

    @property
    def alive(self) -> bool:
        """Whether the service still runs."""
        return self.process is not None and self.process.poll() is None

    def kill(self, how: signal.Signals = signal.SIGKILL, limit_s: float = 30) -> int:
        """End the service; its exit code."""
        assert self.process is not None
        self.process.send_signal(how)
        return self.process.wait(limit_s)

    def said(self) -> str:
        """The end of what the service has written to its terminal."""
        return (self.settings.studio / "stderr.txt").read_text(encoding="utf-8", errors="replace")[-1500:]

    def done(self) -> int:
        """How many photos have an outcome, read beside the running service."""
        try:
            with sqlite3.connect(f"file:{ledger_path(self.settings)}?mode=ro", uri=True, timeout=20) as db:
                found = int(db.execute("SELECT count(*) FROM jobs WHERE state = 'done'").fetchone()[0])
            db.close()
        except sqlite3.OperationalError:  # it is not there yet
            return 0
        return found

    def torn(self) -> list[str]:
        """What of the finished pictures can't be decoded, as it lies there now."""
        wrong = []
        for place in (self.settings.folders.ready / "square").glob("[!.]*"):
            try:
                with Image.open(place) as image:
                    image.load()
            except OSError as problem:
                wrong.append(f"half a picture: {place.name}: {problem}")
        return wrong

    def records(self) -> list[JobRecord]:
        """What is on record, read beside the running service."""
        ledger = Ledger(ledger_path(self.settings))
        try:
            return [job.record for job in ledger.jobs() if job.record is not None]
        finally:
            ledger.close()

    def wait_no_longer(self) -> None:
        """A failed try waits half a minute for the next; where the service does not run, it need not."""
        ledger = Ledger(ledger_path(self.settings))
        for job in ledger.lines():
            ledger.postpone(job, 0)
        ledger.close()

    def finish(self, limit_s: float) -> list[str]:
        """Let the service end its work, stop it, and say what is not as it should be."""
        if not self.alive:
            self.start()
        limit = time.monotonic() + limit_s
        while not (self.listens() and self.done() >= len(self.put)) and self.alive and time.monotonic() < limit:
            time.sleep(0.3)
        time.sleep(1.5)
        if not self.alive:
            return [f"the service ended by itself: {self.said()}"]
        code = self.kill(signal.SIGTERM)
        return [*([f"the service stopped with {code}"] if code else []), *self.wrong()]

    def listens(self) -> bool:
        """Whether the service has come so far that it can be asked to stop."""
        assert self.process is not None
        return any(event.get("pid") == self.process.pid for event in events(self.settings, "watching"))

    def wrong(self) -> list[str]:
        """What is not as it should be; nothing may have happened, as far as anybody can see."""
        ledger, settings = Ledger(ledger_path(self.settings)), self.settings
        try:
            found = [] if ledger.check() == "ok" else ["the ledger is damaged"]
            records = [job.record for job in ledger.jobs() if job.record is not None]
            states = ledger.overview.states()
        finally:
            ledger.close()
        counts = Counter(record.photo for record in records)
        found += [f"{name}: {counts[name]} records" for name in self.put if counts[name] != 1]
        found += [
            f"{record.photo}: {record.outcome} {record.reasons}" for record in records if record.outcome != "ready"
        ]
        found += [f"left in the ledger: {states}"] if set(states) - {"done"} else []
        outputs = {str(settings.studio / out.path): out for record in records for out in record.outputs}
        for place, out in outputs.items():
            found += _picture(Path(place), out.sha256)
        there = {str(path) for path in settings.folders.ready.rglob("*") if path.is_file()}
        found += [f"not on record: {place}" for place in sorted(there - outputs.keys())]
        found += [] if len(outputs) == len(self.put) else [f"{len(outputs)} pictures of {len(self.put)} photos"]
        left = [str(path) for path in settings.studio.rglob("*") if ".part" in path.name or "-journal" in path.name]
        found += [f"left over: {place}" for place in left]
        changed = [name for name, data in self.put.items() if (settings.folders.inbox / name).read_bytes() != data]
        return found + [f"{name}: the original is another" for name in changed]


def events(settings: Settings, name: str) -> list[dict[str, Any]]:
    """What the service has logged under this name."""
    found = []
    for file in sorted(settings.folders.records.glob("log.jsonl*")):
        for line in file.read_text(encoding="utf-8").splitlines():
            try:
                event = json.loads(line)
            except ValueError:  # a line that a kill has cut off
                continue
            found += [event] if event.get("event") == name else []
    return found


def _picture(place: Path, sha256: str) -> list[str]:
    try:
        if hashlib.sha256(place.read_bytes()).hexdigest() != sha256:
            return [f"{place}: other bytes than on record"]
        with Image.open(place) as image:
            image.load()
    except OSError as problem:
        return [f"{place}: {problem}"]
    return []
