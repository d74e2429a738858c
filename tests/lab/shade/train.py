"""Training: `python -m tests.lab train-shade --out DIR --train-s 480`, on one card, while processes make samples.

It goes on from the weights in DIR where there are some, else from an exported file that is named. At each minute a
line in log.jsonl and a picture; at the end shade_eye.onnx.
"""

import json
import math
import multiprocessing
import time
from multiprocessing.queues import Queue
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor

from autoprep.correction.shade_eye import SIDE_PX

from ..eye.export import export
from ..eye.shipped import load_shipped
from .net import ShadeNet
from .samples import TRUTH_PX, sample
from .varied import plain, relative, varied

_BATCH, _RATE, _WARM_STEPS, _MEAN, _CHECKPOINT_S = 96, 3e-3, 200, 0.998, 60.0
_TEST_SEED, _TESTS, _FIRST = 66_000_000, 192, 600


def _make(first: int, every: int, queue: "Queue[Any]", until: float) -> None:
    cv2.setNumThreads(1)
    seed = first
    while time.time() < until:
        try:
            made = sample(seed)
        except Exception as error:  # one scene that can't be drawn is left out
            print(f"sample {seed}: {error!r}", flush=True)
            seed += every
            continue
        queue.put((seed >= _TEST_SEED, made.codes, made.where, made.shade, made.bare))
        seed = seed + every if seed < _TEST_SEED or seed + every < _TEST_SEED + _TESTS else first + 10_000_000


class _Samples:
    """Samples on the card, as they come; the oldest give way."""

    def __init__(self, size: int, device: str) -> None:
        self.parts = [
            torch.zeros((size, SIDE_PX, SIDE_PX, 3), dtype=torch.uint8, device=device),
            torch.zeros((size, SIDE_PX, SIDE_PX), dtype=torch.uint8, device=device),
            torch.zeros((size, TRUTH_PX, TRUTH_PX), dtype=torch.float16, device=device),
            torch.zeros((size, TRUTH_PX, TRUTH_PX), dtype=torch.uint8, device=device),
        ]
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


def train(
    out: Path, train_s: float, workers: int, pool: int, seed: int, rate: float = _RATE, shipped: Path | None = None
) -> None:
    """Trains for so many seconds after the first samples are there; shipped: an exported file to start from."""
    out.mkdir(parents=True, exist_ok=True)
    queue: Queue[Any] = multiprocessing.get_context("fork").Queue(256)
    until = time.time() + train_s + 120
    # The first of the workers make the tests, and then go on with samples.
    starts = [_TEST_SEED + k if k < workers // 2 else seed * 1_000_000 + k for k in range(workers)]
    processes = [
        multiprocessing.get_context("fork").Process(
            target=_make, args=(start, workers // 2 if start >= _TEST_SEED else workers, queue, until), daemon=True
        )
        for start in starts
    ]
    for process in processes:
        process.start()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    samples, tests = _Samples(pool, device), _Samples(_TESTS, device)
    net, mean = (ShadeNet() for _ in range(2))
    while samples.made < _FIRST:
        _take(queue, samples, tests, 64)
    if (out / "mean.pt").exists():
        net.load_state_dict(torch.load(out / "mean.pt", map_location="cpu"))
    elif shipped is not None:
        load_shipped(net, shipped, varied(*samples.draw(_BATCH))[0].cpu())
    mean.load_state_dict(net.state_dict())
    net, mean = net.to(device), mean.to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=0.01, betas=(0.9, 0.98))
    _checkpoint(out, mean, tests, {"spent_s": 0, "steps": 0, "samples": samples.made})
    begun = last = time.time()
    steps = 0
    while (spent := time.time() - begun) < train_s:
        _take(queue, samples, tests, 24)
        now = rate * min(1, (steps + 1) / _WARM_STEPS) * (0.5 + 0.5 * math.cos(math.pi * spent / train_s)) + 1e-6
        for group in optimiser.param_groups:
            group["lr"] = now
        for _ in range(8):
            _step(net, mean, optimiser, samples, steps, device)
            steps += 1
        if time.time() - last > _CHECKPOINT_S:
            last = time.time()
            _checkpoint(out, mean, tests, {"spent_s": round(spent), "steps": steps, "samples": samples.made})
    _checkpoint(out, mean, tests, {"spent_s": round(train_s), "steps": steps, "samples": samples.made})
    for process in processes:
        process.terminate()


def _take(queue: "Queue[Any]", samples: _Samples, tests: _Samples, most: int) -> None:
    for _ in range(most):
        if queue.empty():
            return
        is_test, *made = queue.get()
        (tests if is_test and tests.made < _TESTS else samples).add(*made)


def _step(net: ShadeNet, mean: ShadeNet, optimiser: Any, samples: _Samples, steps: int, device: str) -> None:
    picture, shade, bare, weight = varied(*samples.draw(_BATCH if device == "cuda" else 4))
    with torch.autocast(device, torch.bfloat16):
        maps = net(picture)
    paid = loss(maps.float(), shade, bare, weight)
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


def loss(maps: Tensor, shade: Tensor, bare: Tensor, weight: Tensor) -> Tensor:
    """Of the shade everywhere, more in shadows; of bare paper on the work."""
    said = -F.softplus(maps[:, 0])
    on_work, seen = (weight > 0.75).float(), (weight > 0.25).float()
    how_much = (0.3 * seen + 0.7 * on_work) * (1 + 2 * (shade < -0.05).float())
    off = F.smooth_l1_loss(said, shade, reduction="none", beta=0.05)
    paper = F.binary_cross_entropy_with_logits(maps[:, 1], bare, reduction="none")
    return (off * how_much).sum() / how_much.sum() * 3 + (paper * on_work).sum() / on_work.sum() * 0.5


@torch.no_grad()
def _on_paint(mean: ShadeNet, tests: _Samples) -> dict[str, float]:
    """The share of painted places out of any shadow on which one is seen, on tests with more laid over them, the same
    each time."""
    mean.eval()
    with torch.random.fork_rng():
        torch.manual_seed(66)
        picture, shade, bare, weight = varied(*(part[:48] for part in tests.all()))
    shadow = -F.softplus(mean(picture).float()[:, 0])
    mean.train()
    paint = (shade > -0.02) & (bare < 0.1) & (weight > 0.75)
    return {"seen_on_paint": round((shadow[paint] < -0.1).float().mean().item(), 4)}


@torch.no_grad()
def _checkpoint(out: Path, mean: ShadeNet, tests: _Samples, line: dict[str, float]) -> None:
    mean.eval()
    codes, where, shade, bare = tests.all()
    said = torch.cat([mean(plain(codes[k : k + 32], where[k : k + 32])).float() for k in range(0, len(codes), 32)])
    mean.train()
    shadow, work = -F.softplus(said[:, 0]), where[:, ::2, ::2] == 2
    shade = relative(shade.float(), where[:, ::2, ::2].float() / 2)
    off = (shadow - shade).abs()
    dark = (shade < -0.05) & work
    free = (shade > -0.01) & work
    paper, true = (said[:, 1] > 0) & work, (bare > 127) & work
    line |= _on_paint(mean, tests) | {
        "tests": len(codes),
        "off_in_shadow": round(off[dark].mean().item(), 4),
        "off_free": round(off[free].mean().item(), 4),
        "seen_where_none": round((shadow[free] < -0.08).float().mean().item(), 4),
        "missed": round((shadow[dark & (shade < -0.15)] > -0.05).float().mean().item(), 4),
        "paper_overlap": round(((paper & true).sum() / (paper | true).sum().clamp(min=1)).item(), 4),
    }
    print(json.dumps(line), flush=True)
    with (out / "log.jsonl").open("a") as log:
        log.write(json.dumps(line) + "\n")
    torch.save(mean.state_dict(), out / "mean.pt")
    rows = []
    for k in range(min(24, len(codes))):
        maps = [(1 + m / 1.5).clamp(0, 1) for m in (shade[k].float(), shadow[k])] + [torch.sigmoid(said[k, 1])]
        planes = [cv2.resize((m.cpu().numpy() * 255).astype(np.uint8), (160, 160)) for m in maps]
        shown = cv2.resize(codes[k].cpu().numpy()[..., ::-1], (160, 160), interpolation=cv2.INTER_AREA)
        rows.append(np.hstack([shown, *(cv2.cvtColor(p, cv2.COLOR_GRAY2BGR) for p in planes)]))
    sheet = np.vstack([np.hstack(rows[k : k + 3]) for k in range(0, len(rows) - 2, 3)])
    cv2.imwrite(str(out / "seen.jpg"), sheet)
    export(mean, out / "shade_eye.onnx", torch.zeros(1, 4, SIDE_PX, SIDE_PX), ["view"], ["maps"])
