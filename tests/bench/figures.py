"""The figures of one job on one core, each measured in turns with what it is compared to."""

import hashlib
import shutil
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import mean, median
from typing import Any

import cv2

from autoprep.cli.studio import make_studio
from autoprep.correction.planned import Planned, planned
from autoprep.domain import CorrectionPlan
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray
from autoprep.job.orders import AgainOrder, JobOrder, JobResult
from autoprep.job.story import process
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings

from .floors import decoded, floor, pixels_of, plain

BARS: dict[str, tuple[float, float]] = {
    "job / floor": (1.6, 1.3),
    "job / floor, TIFF uncompressed in both": (4, 2.5),
    "outline + measure + references, per decoding": (8, 4),
    "render full size / one plain 8-bit cubic warp": (3, 2),
    "only square and site: job / their floor": (3, 2),
    "proof pictures, % of the job": (2, 1),
    "one destination again / first job": (0.25, 0.15),
    "peak memory of a worker, 12 MP, MiB": (400, 250),
    "peak memory of a worker, 48 MP, MiB": (700, 400),
    "peak memory of a worker, 108 MP, MiB": (1400, 700),
    "2 workers / one": (1.9, 1.97),
}
"""What is wanted of each figure, and what would be better still."""

_TAKEN = '[artist]\nname = "Wren Halloway"\n'


@dataclass
class Figures:
    """Ratios by name, the seconds of the stages of a whole job, and what each round measured."""

    ratios: dict[str, float] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    rounds: dict[str, dict[str, list[float]]] = field(default_factory=dict)

    def add(self, more: dict[str, float]) -> None:
        """Take further figures in."""
        self.ratios |= more

    def as_json(self) -> dict[str, Any]:
        """Plain values, with the bars."""
        return {"ratios": self.ratios, "bars": BARS, "seconds": self.seconds, "rounds": self.rounds}


def measure(photos: list[Path], rounds: int) -> Figures:
    """All figures of one core: per photo the medians of ratios within a round, and of all photos the mean."""
    cv2.setNumThreads(1)
    found, seconds, figures = defaultdict[str, list[float]](list), defaultdict[str, list[float]](list), Figures()
    with tempfile.TemporaryDirectory() as folder:
        for path in photos:
            bench = Bench(path, Path(folder))
            times = in_turns(bench.actions(), rounds)
            figures.rounds[path.name] = times
            for name, values in _ratios(times).items():
                found[name].append(values)
            for name, each in times.items():
                if name.startswith("stage "):
                    seconds[name.removeprefix("stage ")].append(median(each))
    figures.ratios = {name: mean(values) for name, values in found.items()}
    figures.seconds = {name: mean(values) for name, values in seconds.items()}
    return figures


def in_turns(actions: dict[str, Callable[[], dict[str, float] | None]], rounds: int) -> dict[str, list[float]]:
    """Seconds of each action in each round, one after the other; the first round only warms up.

    What an action gives back are seconds of its parts, kept under their names.
    """
    times = defaultdict[str, list[float]](list)
    for turn in range(rounds + 1):
        for name, act in actions.items():
            started = time.perf_counter()
            parts = act() or {}
            parts = {name: time.perf_counter() - started, **parts}
            for part, value in parts.items() if turn else ():
                times[part].append(value)
    return dict(times)


def _ratios(times: dict[str, list[float]]) -> dict[str, float]:
    def ratio(above: tuple[str, ...], below: str) -> float:
        sums = [sum(values) for values in zip(*(times[name] for name in above), strict=True)]
        return float(median(one / other for one, other in zip(sums, times[below], strict=True)))

    finding = ("stage outline", "stage measure")
    return {
        "job / floor": ratio(("job",), "floor"),
        "job / floor, TIFF uncompressed in both": ratio(("job, uncompressed",), "floor, uncompressed"),
        "outline + measure + references, per decoding": ratio(finding, "decode"),
        "outline, per decoding": ratio(finding[:1], "decode"),
        "render full size / one plain 8-bit cubic warp": ratio(("render full",), "warp full"),
        "only square and site: job / their floor": ratio(("job, two",), "floor, two"),
        "proof pictures, % of the job": 100 * ratio(("stage proof",), "job"),
        "one destination again / first job": ratio(("again",), "job"),
    }


class Bench:
    """One photo and all that is done with it."""

    def __init__(self, path: Path, root: Path, *, compared: bool = True) -> None:
        self._data, self._root, self._path = path.read_bytes(), root, path
        self._usual = self._settings("usual")
        self._bare = self._settings("bare", {"print-a4": {"compression": "none"}, "master": {"compression": "none"}})
        self._pixels: dict[str, AnyArray] = {}
        self._first = self._job(self._usual, keep=compared).record
        assert self._first.plan is not None, f"{path.name} is a question: {self._first.reasons}"
        self._plan: CorrectionPlan = self._first.plan
        if compared:
            self._photo = read_photo(self._data)

    def actions(self) -> dict[str, Callable[[], dict[str, float] | None]]:
        """What is measured in turns."""
        usual = self._usual.destinations
        every = {name: plain(usual[name], self._plan, pixels) for name, pixels in self._pixels.items()}
        bare = [plain(usual[name], self._plan, pixels, "none") for name, pixels in self._pixels.items()]
        codes = decoded(self._data)
        return {
            "decode": lambda: _nothing(decoded(self._data)),
            "floor": lambda: floor(self._data, every.values()),
            "job": lambda: self._staged(self._usual),
            "floor, uncompressed": lambda: floor(self._data, bare),
            "job, uncompressed": lambda: _nothing(self._job(self._bare)),
            "floor, two": lambda: floor(self._data, (every["square"], every["site"])),
            "job, two": lambda: _nothing(self._job(self._usual, ("square", "site"))),
            "again": lambda: _nothing(self._again("site")),
            "warp full": lambda: _nothing(every["master"].warped(codes)),
            "render full": lambda: render_full(planned(self._photo, self._plan)),
        }

    def job(self) -> None:
        """All of it once, as a worker does it."""
        self._job(self._usual)

    def _settings(self, name: str, changes: dict[str, dict[str, object]] | None = None) -> Settings:
        studio = self._root / name
        (studio / "config").mkdir(parents=True, exist_ok=True)
        (studio / "config" / "autoprep.toml").write_text(_TAKEN, encoding="utf-8")
        make_studio(studio)
        settings = load(studio / "config" / "autoprep.toml")
        taken = {
            key: preset.model_copy(update=(changes or {}).get(key, {}))
            for key, preset in settings.destinations.items()
            if preset.when == "always"
        }
        return settings.model_copy(update={"destinations": taken})

    def _job(self, settings: Settings, only: tuple[str, ...] = (), keep: bool = False) -> JobResult:
        return self._done(settings, only or tuple(settings.destinations), keep=keep)

    def _staged(self, settings: Settings) -> dict[str, float]:
        record = self._job(settings).record
        return {f"stage {name}": seconds for name, seconds in record.seconds.items()}

    def _again(self, name: str) -> JobResult:
        return self._done(self._usual, (name,), AgainOrder, earlier=self._first)

    def _done(
        self,
        settings: Settings,
        names: tuple[str, ...],
        kind: type[JobOrder] = JobOrder,
        keep: bool = False,
        **more: Any,
    ) -> JobResult:
        folder = self._root / "made"
        order = kind(
            job="bench", photo=self._path.name, sha256=hashlib.sha256(self._data).hexdigest(), data=self._data,
            settings=settings, places={name: folder / name / "picture" for name in names},
            look_folder=folder / "look", proof_folder=folder / "proof", **more,
        )  # fmt: skip
        result = process(order, lambda *_: None)
        for part, place in result.parts if keep else ():
            if place.parent.name in names:
                self._pixels[place.parent.name] = pixels_of(part)
        shutil.rmtree(folder, ignore_errors=True)
        return result


def render_full(made: Planned) -> None:
    """The work at its full size in 8 bits, not encoded."""
    layout = lay_out(Frame(), made.plan)
    render(made.photo, made.plan, layout, Look(), made.strips(layout.work[2:]), made.finish)


def _nothing(_result: object) -> None:
    """What was made is not looked at."""
