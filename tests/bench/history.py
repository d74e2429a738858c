"""`python -m tests.bench.history`: what a long history costs, in studios of 200, 2,000 and 20,000 photos.

One photo is really worked on; its record stands for all others, each under a name, a work and files of its own. All
figures are of processes of their own: seconds from the start of the command, and the most memory that it held.
"""

import argparse
import contextlib
import dataclasses
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest.mock
from datetime import date, timedelta
from pathlib import Path

from autoprep.cli.studio import make_studio
from autoprep.domain import JobRecord
from autoprep.ledger import COPIES, Change, Ledger, Rendition, SeenFile
from autoprep.ledger.copies import kept
from autoprep.service.engine import Engine
from autoprep.service.studio import ListWriter, PageWriter
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings

PHOTO = Path(__file__).parents[2] / "demo_inbox" / "IMG_2041.jpg"
_FIRST_DAY = date(2025, 12, 1)
_A_DAY = 55  # so many photos come in a day: 20,000 in a year
_SETTINGS = """
[artist]
name = "Wren Halloway"
[service]
settle_s = 0.1
workers = 1
"""


def template(folder: Path) -> JobRecord:
    """The record of one photo that was really worked on."""

    class Silent:
        def __getattr__(self, _name: str) -> object:
            return lambda *_args, **_facts: None

    settings = studio_in(folder)
    shutil.copyfile(PHOTO, settings.folders.inbox / PHOTO.name)
    records: list[JobRecord] = []
    engine = Engine(settings, Silent(), records.append, follow=False)
    engine.step(0.1)
    while not engine.idle:
        engine.step(0.2)
    engine.stop()
    assert records[0].outcome == "ready", records[0].reasons
    return records[0]


def studio_in(folder: Path) -> Settings:
    """An empty studio with quick settings and the destinations that come along."""
    (folder / "config").mkdir(parents=True, exist_ok=True)
    (folder / "config" / "autoprep.toml").write_text(_SETTINGS, encoding="utf-8")
    make_studio(folder)
    return load(folder / "config" / "autoprep.toml")


def fill(settings: Settings, record: JobRecord, count: int) -> None:
    """A history of so many photos: files in the inbox and in ready/, and a ledger that knows them all.

    Of a hundred photos five are questions, one was set aside, five show no work, four are alternates.
    """
    for name in settings.destinations:
        (settings.folders.ready / name).mkdir(parents=True, exist_ok=True)
    ledger = Ledger(ledger_path(settings))
    ledger._db.execute("PRAGMA synchronous = OFF")  # only this filling: what is measured opens the ledger anew
    ledger._db.execute("PRAGMA journal_mode = MEMORY")
    for number in range(count):
        _one(settings, ledger, record, number)
    _write_pages(settings, ledger)
    ledger.close()


def _write_pages(settings: Settings, ledger: Ledger) -> None:
    """All pages and lists, as after years: else what is measured as rest is the writing of thousands of pages."""
    with unittest.mock.patch("os.fsync"):
        assert PageWriter().write(settings, ledger.overview, date.today(), 1e9, last=True)
        assert ListWriter().write(settings, ledger.overview, last=True)


def _outcome(number: int) -> str:
    part = number % 100
    for most, outcome in ((5, "needs a look"), (6, "set aside"), (11, "no work seen")):
        if part < most:
            return outcome
    return "ready"


def _one(settings: Settings, ledger: Ledger, record: JobRecord, number: int) -> None:
    day = _FIRST_DAY + timedelta(days=number // _A_DAY)
    shown = f"{day:%Y-%m}/IMG_{number:05d}.jpg"
    place = settings.folders.inbox / shown
    place.parent.mkdir(exist_ok=True)
    place.write_bytes(b"%d" % number)
    path, status = os.fsencode(shown), place.stat()
    sha256 = f"{number:064x}"
    job = ledger.claim(sha256, path, shown, lambda _: {}).job
    ledger.remember(path, SeenFile((status.st_size, status.st_mtime_ns, status.st_ino), job), sha256)
    outcome = _outcome(number)
    mine = record.model_copy(update={
        "job": job, "photo": shown, "sha256": sha256, "outcome": outcome, "finished_at": f"{day}T10:00:00+00:00",
        "outputs": (), "plan": record.plan if outcome == "ready" else None,
        "choices": (record.outline,) * 3 if outcome == "needs a look" else (),
    })  # fmt: skip
    if outcome == "needs a look":
        ledger.reserve(job, {"needs-a-look": settings.folders.needs_a_look / job})
    if outcome != "ready":
        ledger.apply([Change(mine)])
        return
    rows = []
    for output in record.outputs:
        final = settings.folders.ready / output.destination / f"{number:05d}{Path(output.path).suffix}"
        final.write_bytes(b"x")
        there = output.model_copy(update={"path": str(final.relative_to(settings.studio))})
        words = {"photo": Path(shown).stem, "hold": False}
        rows.append(Rendition(there.destination, "in place", final, words, "p", output=there))
    mine = mine.model_copy(update={"outputs": tuple(row.output for row in rows if row.output)})
    usual = tuple(row.destination for row in rows)
    ledger.apply([Change(mine, tuple(rows), {"work": job, "usual": usual, "merit": 5.0, "plan": "p"})])


@dataclasses.dataclass(frozen=True)
class Cost:
    """What one command cost; memory in MiB."""

    seconds: float
    memory_mb: float
    code: int


def cost(command: list[str]) -> Cost:
    """Run a command to its end; the most memory by looking every hundredth of a second."""
    started, most = time.perf_counter(), 0.0
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None:
        with contextlib.suppress(OSError):
            most = max(most, memory_of(process.pid, "VmHWM"))
        time.sleep(0.01)
    return Cost(time.perf_counter() - started, most, process.returncode)


def memory_of(pid: int, name: str) -> float:
    """A figure of /proc/PID/status in MiB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(name):
            return int(line.split()[1]) / 1024
    return 0.0


def cpu_of(pid: int) -> float:
    """Seconds of processor time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def events(settings: Settings) -> list[dict[str, object]]:
    """The service's log."""
    place = settings.folders.records / "log.jsonl"
    lines = place.read_text(encoding="utf-8").splitlines() if place.is_file() else []
    found = []
    for line in lines:
        with contextlib.suppress(ValueError):  # a line that is being written
            found.append(json.loads(line))
    return found


def service(settings: Settings, label: str) -> dict[str, float]:
    """Start the service with one new file in the inbox: seconds until it was told of, until all pages were written."""
    new = settings.folders.inbox / f"new-{label}.jpg"
    new.write_text(f"no photo, {label}")
    page = settings.folders.records / "proof" / "index.html"
    before = page.stat().st_mtime_ns if page.exists() else 0
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "autoprep", "watch", "--quiet", "--config", str(settings.studio)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    found: dict[str, float] = {}
    try:
        while time.perf_counter() - started < 120 and process.poll() is None:
            time.sleep(0.05)
            now = time.perf_counter() - started
            if "told" not in found and any(event.get("photo") == new.name for event in events(settings)):
                found["told"] = now
            if "told" in found and page.exists() and page.stat().st_mtime_ns > before:
                found.setdefault("page", now)
                break
        time.sleep(40)  # what else is done at the start ends, the day's copy of the ledger and a second look with it
        found["MiB"], found["peak MiB"] = memory_of(process.pid, "VmRSS"), memory_of(process.pid, "VmHWM")
        began, cpu = time.perf_counter(), cpu_of(process.pid)
        time.sleep(62)  # two looks at the inbox at least
        found["at rest, % of a core"] = (cpu_of(process.pid) - cpu) / (time.perf_counter() - began) * 100
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--photos", type=int, nargs="*", default=[200, 2000, 20000])
    parser.add_argument("--keep", type=Path, help="make the studios there, and use those that are there")
    parser.add_argument("--no-service", action="store_true")
    options = parser.parse_args()
    with contextlib.ExitStack() as stack:
        root = options.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        for count in options.photos:
            measure(root, count, with_service=not options.no_service)


def measure(root: Path, count: int, *, with_service: bool) -> None:
    """All figures of one studio."""
    folder = root / f"studio-{count}"
    settings = studio_in(folder)
    if not ledger_path(settings).exists():
        started = time.perf_counter()
        fill(settings, _template(root), count)
        print(f"{count} photos made in {time.perf_counter() - started:.0f} s", flush=True)
    print(f"{count}: ledger {ledger_path(settings).stat().st_size / 1e6:.0f} MB")
    print(f"{count}: bars of the service at rest: 0.2 % of a core, 120 MiB")
    autoprep = [sys.executable, "-m", "autoprep"]
    at = ["--config", str(folder)]
    photo = f"IMG_{count // 2 + 50:05d}.jpg"
    commands = (["--help"], ["status", *at], ["jobs", *at], ["jobs", "--json", *at], ["show", photo, *at])
    for command in commands:
        found = cost([*autoprep, *command])
        name = " ".join(word for word in command if word not in at)
        print(f"{count}: {name}: {found.seconds:.2f} s, {found.memory_mb:.0f} MiB, exit {found.code}", flush=True)
    if with_service:
        for label in ("first", "second"):
            figures = service(settings, f"{label}-{time.time_ns()}")
            copies = (place.stat().st_size for place in kept(settings.folders.records / COPIES, ""))
            figures["daily copy MB"] = max(copies, default=0) / 1e6
            said = ", ".join(f"{name} {value:.2f}" for name, value in figures.items())
            print(f"{count}: service, {label} start: {said}", flush=True)


def _template(root: Path) -> JobRecord:
    kept = root / "template.json"
    if not kept.exists():
        root.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            kept.write_text(template(Path(folder)).model_dump_json(), encoding="utf-8")
    return JobRecord.model_validate_json(kept.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
