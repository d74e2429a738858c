"""`python -m tests.faults.races --races 300`: photos are replaced, cut or deleted while they are read.

Each race waits until the running service opens a photo, when it arrives or when its job begins, and changes the file
within the next few milliseconds. The two pictures that change places differ in colour, so that what was decoded can be
told from the finished picture: it must be that of the hash on record. At the end what lies there has come out, and
nothing else lies in ready/. About half a second a race. Linux.
"""

import argparse
import hashlib
import io
import os
import random
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image
from watchdog.events import FileOpenedEvent, FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from autoprep.domain import JobRecord
from autoprep.imaging.arrays import float32
from tests import photos
from tests.faults.small import Trial, studio_in, until

_BATCH = 20
_SIZE = 8_000_000  # bytes that a reader needs some milliseconds for
_WITHIN_S = 0.004
_TINTS = {"red": (1.0, 0.55, 0.55), "blue": (0.55, 0.55, 1.0)}
WAYS = ("renamed over", "rewritten", "cut and completed", "deleted", "deleted and put back")


def tinted(number: int, colour: str) -> bytes:
    """A small photo in a tint, unlike all others in its bytes, with much behind its end as phones put it there."""
    with Image.open(io.BytesIO(photos.jpeg())) as image:
        pixels = np.asarray(image.resize((400, 300)).convert("RGB"), np.float32) * float32(_TINTS[colour])
    out = io.BytesIO()
    Image.fromarray(pixels.astype(np.uint8)).save(out, "JPEG", quality=85, comment=f"{colour} {number}".encode())
    return out.getvalue() + random.Random(number).randbytes(_SIZE - len(out.getvalue()))


@dataclass
class Race:
    """One photo that is changed once; after: what lies there at the end, None where nothing does."""

    place: Path
    first: bytes
    second: bytes
    way: str
    opening: int  # at which opening by the service
    delay_s: float
    opened: int = 0
    happened: bool = False

    @property
    def after(self) -> bytes | None:
        if not self.happened or self.way == "deleted and put back":
            return self.first
        return None if self.way == "deleted" else self.second

    def change(self) -> None:
        """Do it."""
        self.happened = True
        time.sleep(self.delay_s)
        if self.way == "renamed over":
            aside = self.place.parents[1] / f"coming {self.place.name}"
            aside.write_bytes(self.second)
            os.replace(aside, self.place)
        elif self.way == "rewritten":
            with self.place.open("r+b") as file:
                file.write(self.second)
        elif self.way == "cut and completed":
            with self.place.open("r+b") as file:
                file.truncate(len(self.second) // 3)
                time.sleep(0.02)
                file.seek(0)
                file.write(self.second)
        else:
            self.place.unlink()
            if self.way == "deleted and put back":
                time.sleep(0.5)
                self.place.write_bytes(self.first)


class _Openings(FileSystemEventHandler):
    """Starts a photo's change when the service opens it; what the race itself opens comes after that."""

    def __init__(self, races: list[Race]) -> None:
        self._races = {str(race.place): race for race in races}
        self.threads: list[threading.Thread] = []

    def on_opened(self, event: FileSystemEvent) -> None:
        """Told by the system."""
        race = self._races.get(str(event.src_path))
        if race is not None and not race.happened:
            race.opened += 1
            if race.opened >= race.opening:
                race.happened = True
                self.threads.append(threading.Thread(target=race.change))
                self.threads[-1].start()


@dataclass
class Races:
    """How many photos were changed, by the way; how often the first bytes came out, too; what was wrong."""

    happened: Counter[str] = field(default_factory=Counter)
    first_recorded: int = 0
    wrong: list[str] = field(default_factory=list)


def race(folder: Path, count: int, seed: int, batch: int = _BATCH) -> Races:
    """So many races in one studio, some at a time."""
    trial, rng, found = Trial(studio_in(folder)), random.Random(seed), Races()
    trial.start()
    for start in range(0, count, batch):
        races = [_race(trial, number, rng) for number in range(start, min(count, start + batch))]
        _run(trial, races)
        _judge(trial, races, found)
        if not trial.alive:
            found.wrong.append(f"the service ended by itself: {trial.said()}")
            break
        for each in races:
            each.place.unlink(missing_ok=True)
    if trial.alive:
        trial.kill()
    return found


def _race(trial: Trial, number: int, rng: random.Random) -> Race:
    place = trial.settings.folders.inbox / f"page {number:05}.jpg"
    return Race(
        place, tinted(number, "red"), tinted(number, "blue"), WAYS[number % len(WAYS)], rng.choice((1, 1, 2)),
        rng.uniform(0, _WITHIN_S),
    )  # fmt: skip


def _run(trial: Trial, races: list[Race]) -> None:
    """Put the photos there, and wait until what lies there at the end has come out."""
    inbox, openings = trial.settings.folders.inbox, _Openings(races)
    for each in races:
        note = "as shot\noutline: whole photo\n"
        (inbox / f"{each.place.stem}.txt").write_text(note, encoding="utf-8")
        aside = inbox.parent / f"coming {each.place.name}"
        aside.write_bytes(each.first)
        os.replace(aside, each.place)
    observer = Observer()
    observer.schedule(openings, str(inbox), event_filter=[FileOpenedEvent])
    observer.start()
    try:
        for each in races:  # the service may have opened some before they were watched
            os.utime(each.place)
        until(lambda: trial.alive and all(each.happened for each in races), 10 + 2 * len(races))
        for thread in openings.threads:
            thread.join()
        until(lambda: not trial.alive or not _missing(trial, races), 20 + 3 * len(races))
    finally:
        observer.stop()
        observer.join()


def _missing(trial: Trial, races: list[Race]) -> list[str]:
    """The photos that lie there and have not come out."""
    ready = {record.sha256 for record in trial.records() if record.outcome == "ready"}
    lying = {each.place.name: each.after for each in races}
    return [name for name, data in lying.items() if data is not None and _sha(data) not in ready]


def _judge(trial: Trial, races: list[Race], found: Races) -> None:
    colours = {_sha(data): name for race in races for name, data in (("red", race.first), ("blue", race.second))}
    found.happened.update(race.way for race in races if race.happened)
    found.wrong += [f"{race.place.name} was never opened" for race in races if not race.happened]
    found.wrong += [f"{name}: did not come out" for name in _missing(trial, races)]
    mine = {race.place.name for race in races}
    overtaken = {_sha(race.first) for race in races if race.after == race.second}
    for record in [record for record in trial.records() if record.photo in mine]:
        came_out = record.outcome == "ready" or (record.outcome == "alternate" and record.sha256 in overtaken)
        if not came_out:
            found.wrong.append(f"{record.photo}: {record.outcome} {record.reasons}")
        elif record.sha256 not in colours:
            found.wrong.append(f"{record.photo}: its hash is of no bytes that ever lay there")
        else:
            found.wrong += _too_much(trial, record)
            found.first_recorded += record.sha256 in overtaken
            found.wrong += _other_colour(trial, record, colours[record.sha256])


def _other_colour(trial: Trial, record: JobRecord, colour: str) -> list[str]:
    """What is wrong with a record's pictures: they have another colour than the recorded bytes."""
    wrong = []
    for out in record.outputs:
        place = trial.settings.studio / out.path
        if place.is_file():
            data = place.read_bytes()
            with Image.open(io.BytesIO(data)) as image:
                red, _, blue = np.asarray(image.convert("RGB"), np.float32).mean(axis=(0, 1))
            if ("red" if red > blue else "blue") != colour:
                wrong.append(f"{record.photo}: the hash is that of {colour}, the picture is another")
            if _sha(data) != out.sha256:
                wrong.append(f"{out.path}: other bytes than on record")
    return wrong


def _too_much(trial: Trial, record: JobRecord) -> list[str]:
    """Pictures in ready/ of a photo that another one has taken the place of."""
    places = [trial.settings.studio / out.path for out in record.outputs if record.outcome == "alternate"]
    return [
        f"{place}: still there"
        for place in places
        if place.is_relative_to(trial.settings.folders.ready) and place.exists()
    ]


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def main() -> None:
    """Race and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--races", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        found = race(Path(folder) / "studio", given.races, given.seed)
    print(f"{sum(found.happened.values())} races: {dict(found.happened)}")
    print(
        f"{found.first_recorded} times the first bytes came out, and then the others; {len(found.wrong)} things wrong"
    )
    print("\n".join(found.wrong))


if __name__ == "__main__":
    main()
