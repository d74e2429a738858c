"""Wren Halloway's studio in the fortnight: the running service, what can be seen of it, and the table of steps."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from autoprep.imaging.geometry import overlap_in_photo

Check = Callable[[], str]
"""What is wrong now, in words; empty where all is as expected."""

_CALM_S = 2.0  # the service looks at the inbox every second here: so long without any sign is the end of its work
_SETTINGS = (
    ('name = ""', 'name = "Wren Halloway"'),
    ("workers = 0", "workers = 2"),
    ("settle_s = 2.0", "settle_s = 0.5"),
    ("rescan_s = 30.0", "rescan_s = 1.0"),
)
_NOT_ALWAYS = ("banner", "print-a4", "master")


@dataclass
class Step:
    """One row of the table."""

    day: int
    did: str
    expected: str
    seen: str
    seconds: float

    @property
    def ok(self) -> bool:
        return not self.seen

    def line(self) -> str:
        """The step as it is told while the fortnight runs."""
        seen = "" if self.ok else f"\n        seen: {self.seen}"
        return f"{'ok    ' if self.ok else 'NOT OK'} {self.seconds:3.0f} s  day {self.day:2d}  {self.did}{seen}"


@dataclass
class Studio:
    """A studio folder with the real `watch` process on it."""

    folder: Path
    truth: dict[str, list[list[float]]]
    steps: list[Step] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    @property
    def inbox(self) -> Path:
        return self.folder / "inbox"

    def make(self) -> None:
        """`autoprep init`, and the few settings that this studio has of its own."""
        code, said = self.run("init", str(self.folder), config=False)
        assert code == 0, said
        for old, new in _SETTINGS:
            self.setting(old, new)
        place = self.folder / "config/destinations.toml"
        text = place.read_text("utf-8")
        for name in _NOT_ALWAYS:
            text = text.replace(f"[{name}]\n", f'[{name}]\nwhen = "asked"\n')
        # Which of the generated photos has glare is chance, and not what is tried here.
        text = text.replace("hold_for_glare = true", "hold_for_glare = false")
        place.write_text(text, "utf-8")

    def setting(self, old: str, new: str) -> None:
        """Change a line of the settings, which must be there."""
        place = self.folder / "config/autoprep.toml"
        text = place.read_text("utf-8")
        assert old in text, f"the settings hold no {old!r}"
        place.write_text(text.replace(old, new, 1), "utf-8")

    def run(self, *words: str, config: bool = True) -> tuple[int, str]:
        """One command: its exit code, and what it said."""
        command = [sys.executable, "-m", "autoprep", *words, *(["--config", str(self.folder)] if config else [])]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout + done.stderr

    def start(self) -> None:
        """Start the service."""
        command = [sys.executable, "-m", "autoprep", "watch", "--config", str(self.folder)]
        with (self.folder / "stderr.txt").open("ab") as stderr:
            self.process = subprocess.Popen(command, stderr=stderr)

    def stop(self) -> int:
        """Ask the service to end; its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=60)

    # --- what Wren does ---

    def put(self, data: Path, shown: str = "") -> None:
        """A photo arrives by sync: under another name first, then by a rename."""
        place = self.inbox / (shown or data.name)
        place.parent.mkdir(parents=True, exist_ok=True)
        coming = place.with_name(f".{place.name}.part")
        coming.write_bytes(data.read_bytes())
        os.replace(coming, place)
        self.hashes[place.name] = hashlib.sha256(data.read_bytes()).hexdigest()

    def note(self, shown: str, *lines: str) -> None:
        """Write a note of lines; without any it is deleted."""
        place = self.inbox / shown
        place.parent.mkdir(parents=True, exist_ok=True)
        if lines:
            place.write_text("\n".join(lines) + "\n", "utf-8")
        else:
            place.unlink()

    def move(self, old: str, new: str) -> None:
        (self.inbox / new).parent.mkdir(parents=True, exist_ok=True)
        (self.inbox / old).rename(self.inbox / new)

    # --- what can be seen ---

    def status(self) -> dict[str, Any]:
        return dict(json.loads(self.run("status", "--json")[1]))

    def works(self) -> list[dict[str, Any]]:
        return list(json.loads(self.run("works", "--json")[1]))

    def rows(self) -> dict[str, dict[str, str]]:
        """The works list as CSV, by the name of the photo that is used."""
        text = self.run("works", "--csv")[1]
        return {row["photo"].rsplit("/", 1)[-1]: row for row in csv.DictReader(io.StringIO(text))}

    def record(self, photo: str) -> dict[str, Any]:
        """The record of a photo as it lies on disk; empty where there is none."""
        found: list[dict[str, Any]] = []
        for place in (self.folder / "records/proof").glob("*/record.json"):
            record = json.loads(place.read_text("utf-8"))
            if record["photo"].rsplit("/", 1)[-1] == photo:
                found.append(record)
        return max(found, key=lambda record: str(record["finished_at"]), default={})

    def question(self, photo: str) -> Path | None:
        """The folder of the open question about a photo."""
        for why in (self.folder / "needs-a-look").glob("*/why.txt"):
            if why.read_text("utf-8").splitlines()[0].rsplit("/", 1)[-1] == photo:
                return why.parent
        return None

    def ready(self, destination: str) -> set[str]:
        """The pictures in a destination's folder, without its lists."""
        folder = self.folder / "ready" / destination
        return {p.name for p in folder.glob("*") if p.suffix in (".jpg", ".tif", ".png")}

    def rightness(self, photo: str, corners: Any) -> float:
        """How far an outline is the true one, 0..1."""
        true = np.array(self.truth[photo])
        size = tuple(int(v) for v in np.ceil(np.maximum(true.max(axis=0), np.array(corners).max(axis=0))) + 1)
        return overlap_in_photo(np.array(corners, np.float64), true, (size[0], size[1]))

    def outline(self, photo: str) -> Any:
        return (self.record(photo).get("outline") or {}).get("corners_px")

    # --- steps ---

    def step(
        self, day: int, did: str, expected: str, act: Callable[[], object], check: Check, limit_s: int = 90
    ) -> None:
        """Do something, let the service converge, and keep what is seen."""
        began = time.monotonic()
        try:
            act()
            seen = self._converged(check, began + limit_s)
        except Exception as problem:  # a step that can't be done is a row of the table, and the fortnight goes on
            seen = f"{type(problem).__name__}: {problem}"
        self.steps.append(Step(day, did, expected, seen, time.monotonic() - began))
        print(self.steps[-1].line(), flush=True)

    def _converged(self, check: Check, until: float) -> str:
        sign, since = self._signs(), time.monotonic()
        while True:
            assert self.process is not None
            assert self.process.poll() is None, "the service has ended"
            time.sleep(0.2)
            now = self._signs()
            if now != sign:
                sign, since = now, time.monotonic()
            calm, late = time.monotonic() - since > _CALM_S, time.monotonic() > until
            if calm or late:
                status = self.status()
                busy = status["waiting"] + status["running"]
                seen = check() if not busy or late else ""
                if not busy and not seen:
                    return ""
                if late:
                    return seen or f"{busy} photos still wait"
                if not busy and time.monotonic() - since > 4 * _CALM_S:
                    return seen
                time.sleep(1.0)

    def _signs(self) -> frozenset[tuple[str, int]]:
        """Names and times of all that the service has put on disk, but its log and its ledger's."""
        found = set()
        for name in ("ready", "needs-a-look", "records/proof", "records/withdrawn"):
            for folder, _, files in os.walk(self.folder / name):
                for file in files:
                    try:
                        found.add((f"{folder}/{file}", os.stat(f"{folder}/{file}").st_mtime_ns))
                    except OSError:
                        continue
        return frozenset(found)


def table(steps: list[Step]) -> str:
    """The steps as a table in Markdown."""
    rows = ["| day | done | expected | seen | ok | s |", "|---|---|---|---|---|---|"]
    for step in steps:
        cells = (str(step.day), step.did, step.expected, step.seen or "as expected", "ok" if step.ok else "NOT OK")
        plain = (cell.replace("|", "/").replace("\n", " ") for cell in cells)
        rows.append(f"| {' | '.join(plain)} | {step.seconds:.0f} |")
    return "\n".join(rows) + f"\n\n{sum(step.ok for step in steps)} of {len(steps)} ok\n"
