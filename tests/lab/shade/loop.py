"""The loop in which a small network learns what it is to see on a work: on one card, while processes make samples.

It goes on from the weights in its folder where there are some, else from an exported file that is named. At each
minute a line in log.jsonl, a picture and the weights, which stand in the folder as they are to be shipped.
"""

import json
import math
import multiprocessing
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.queues import Queue
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch import Tensor, nn

from autoprep.correction.view import SIDE_PX

from ..eye.export import export

_BATCH, _WARM_STEPS, _MEAN, _CHECKPOINT_S, _FIRST = 96, 200, 0.998, 60.0, 600
_TESTS = 192
_WEIGHTS = "mean.pt"  # the running mean of the weights, with which training goes on


@dataclass(frozen=True)
class Task:
    """What is learned. sample: a seed -> a dataclass of arrays, each of the shape and type in `parts`; varied: these,
    many at a time, -> the net's input and all that the loss takes besides what the net says; figures: the net and the
    tests -> what it has learned; shown: the same -> rows of a picture; start: fills the net from a file, by an input.
    """

    name: str
    test_seed: int
    sample: Callable[[int], Any]
    parts: tuple[tuple[tuple[int, ...], torch.dtype], ...]
    net: Callable[[], nn.Module]
    varied: Callable[..., tuple[Tensor, ...]]
    loss: Callable[..., Tensor]
    figures: Callable[[nn.Module, list[Tensor]], dict[str, float]]
    shown: Callable[[nn.Module, list[Tensor]], "list[np.typing.NDArray[np.uint8]]"]
    start: Callable[[nn.Module, Path, Tensor], None]


@dataclass(frozen=True)
class Course:
    """A piece of the training: seconds, processes that make samples, samples kept on the card, the seed of those, the
    highest rate, and exported weights to start from where the folder has none."""

    train_s: float
    workers: int
    pool: int
    seed: int
    rate: float
    start: Path | None = None


def _make(task: Task, first: int, every: int, queue: "Queue[Any]", until: float) -> None:
    cv2.setNumThreads(1)
    seed, last = first, task.test_seed + _TESTS
    while time.time() < until:
        try:
            made = task.sample(seed)
        except Exception as error:  # one scene that can't be drawn is left out
            print(f"sample {seed}: {error!r}", flush=True)
            seed += every
            continue
        queue.put((seed >= task.test_seed, *(getattr(made, name) for name in made.__dataclass_fields__)))
        seed = seed + every if seed < task.test_seed or seed + every < last else first + 10_000_000


class Samples:
    """Samples on the card, as they come; the oldest give way."""

    def __init__(self, task: Task, size: int, device: str) -> None:
        self.parts = [torch.zeros((size, *shape), dtype=kind, device=device) for shape, kind in task.parts]
        self.size, self.made = size, 0

    def add(self, *made: Any) -> None:
        for part, values in zip(self.parts, made, strict=True):
            part[self.made % self.size] = torch.from_numpy(np.ascontiguousarray(values))
        self.made += 1

    def draw(self, count: int) -> list[Tensor]:
        pick = torch.randint(min(self.made, self.size), (count,), device=self.parts[0].device)
        return [part[pick] for part in self.parts]

    def all(self) -> list[Tensor]:
        return [part[: min(self.made, self.size)] for part in self.parts]


def learn(task: Task, out: Path, course: Course) -> None:
    """Trains for so many seconds after the first samples are there."""
    out.mkdir(parents=True, exist_ok=True)
    processes, queue = _started(task, course)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    samples, tests = Samples(task, course.pool, device), Samples(task, _TESTS, device)
    while samples.made < _FIRST:
        _take(queue, samples, tests, 64)
    net, mean = task.net(), task.net()
    if (out / _WEIGHTS).exists():
        net.load_state_dict(torch.load(out / _WEIGHTS, map_location="cpu"))
    elif course.start is not None:
        task.start(net, course.start, task.varied(*samples.draw(_BATCH))[0].cpu())
    mean.load_state_dict(net.state_dict())
    net, mean = net.to(device), mean.to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=course.rate, weight_decay=0.01, betas=(0.9, 0.98))
    _checkpoint(task, out, mean, tests, {"spent_s": 0, "steps": 0, "samples": samples.made})
    begun = last = time.time()
    steps = 0
    while (spent := time.time() - begun) < course.train_s:
        _take(queue, samples, tests, 24)
        falling = 0.5 + 0.5 * math.cos(math.pi * spent / course.train_s)
        for group in optimiser.param_groups:
            group["lr"] = course.rate * min(1, (steps + 1) / _WARM_STEPS) * falling + 1e-6
        for _ in range(8):
            _step(task, net, mean, optimiser, samples.draw(_BATCH if device == "cuda" else 4), steps)
            steps += 1
        if time.time() - last > _CHECKPOINT_S:
            last = time.time()
            _checkpoint(task, out, mean, tests, {"spent_s": round(spent), "steps": steps, "samples": samples.made})
    _checkpoint(task, out, mean, tests, {"spent_s": round(course.train_s), "steps": steps, "samples": samples.made})
    for process in processes:
        process.terminate()


def average(task: Task, folders: list[Path], out: Path) -> None:
    """Writes the mean of the weights that pieces of a training left in folders, as it is to be shipped."""
    states = [torch.load(folder / _WEIGHTS, map_location="cpu") for folder in folders]
    net = task.net()
    net.load_state_dict({name: _mean([state[name] for state in states]) for name in states[0]})
    out.mkdir(parents=True, exist_ok=True)
    _save(task, net, out)


def _mean(values: list[Tensor]) -> Tensor:
    return torch.stack(values).mean(0) if values[0].dtype.is_floating_point else values[-1]


def _save(task: Task, net: nn.Module, out: Path) -> None:
    torch.save(net.state_dict(), out / _WEIGHTS)
    export(net, out / f"{task.name}.onnx", torch.zeros(1, 4, SIDE_PX, SIDE_PX), ["view"], ["maps"])


def _started(task: Task, course: Course) -> "tuple[list[Any], Queue[Any]]":
    queue: Queue[Any] = multiprocessing.get_context("fork").Queue(256)
    until, half = time.time() + course.train_s + 120, course.workers // 2
    # The first of the workers make the tests, and then go on with samples.
    firsts = [task.test_seed + k if k < half else course.seed * 1_000_000 + k for k in range(course.workers)]
    made = [(first, half if first >= task.test_seed else course.workers) for first in firsts]
    processes = [
        multiprocessing.get_context("fork").Process(target=_make, args=(task, *one, queue, until), daemon=True)
        for one in made
    ]
    for process in processes:
        process.start()
    return processes, queue


def _take(queue: "Queue[Any]", samples: Samples, tests: Samples, most: int) -> None:
    for _ in range(most):
        if queue.empty():
            return
        is_test, *made = queue.get()
        (tests if is_test and tests.made < _TESTS else samples).add(*made)


def _step(task: Task, net: nn.Module, mean: nn.Module, optimiser: Any, drawn: list[Tensor], steps: int) -> None:
    picture, *truth = task.varied(*drawn)
    with torch.autocast(picture.device.type, torch.bfloat16):
        maps = net(picture)
    paid = task.loss(maps.float(), *truth)
    optimiser.zero_grad(set_to_none=True)
    paid.backward()
    torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
    optimiser.step()
    keep = min(_MEAN, steps / (steps + 20))
    with torch.no_grad():
        for a, b in zip(mean.state_dict().values(), net.state_dict().values(), strict=True):
            if a.dtype.is_floating_point:
                a.lerp_(b, 1 - keep)
            else:
                a.copy_(b)


@torch.no_grad()
def _checkpoint(task: Task, out: Path, mean: nn.Module, tests: Samples, line: dict[str, float]) -> None:
    mean.eval()
    with torch.random.fork_rng():
        torch.manual_seed(66)  # the same each time
        line |= {"tests": min(tests.made, tests.size)} | task.figures(mean, tests.all())
        rows = task.shown(mean, [part[:24] for part in tests.all()])
    print(json.dumps(line), flush=True)
    with (out / "log.jsonl").open("a") as log:
        log.write(json.dumps(line) + "\n")
    sheet = np.vstack([np.hstack(rows[k : k + 3]) for k in range(0, len(rows) - 2, 3)])
    cv2.imwrite(str(out / "seen.jpg"), sheet)
    _save(task, mean, out)
    mean.train()


def in_pieces(net: nn.Module, given: Tensor) -> Tensor:
    """What a net says of many inputs."""
    return torch.cat([net(given[k : k + 32]).float() for k in range(0, len(given), 32)])


def as_row(codes: Tensor, planes: list[Tensor]) -> "np.typing.NDArray[np.uint8]":
    """A view, and beside it planes of values 0..1."""
    grey = [cv2.resize((plane.clamp(0, 1).cpu().numpy() * 255).astype(np.uint8), (160, 160)) for plane in planes]
    shown = cv2.resize(codes.cpu().numpy()[..., ::-1], (160, 160), interpolation=cv2.INTER_AREA)
    return np.asarray(np.hstack([shown, *(cv2.cvtColor(plane, cv2.COLOR_GRAY2BGR) for plane in grey)]), np.uint8)
