"""Training in pieces: `python -m tests.lab train-eye --out DIR --total-s 1560 --piece-s 520`, again until it is done.

Each piece goes on where the last one stopped: weights, their running mean, the optimiser's moments and the learning
rate's place on its curve are in DIR. Every checkpoint adds a line to log.jsonl, and a picture of what the network sees.
"""

import json
import math
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch import Tensor, nn

from autoprep.imaging.arrays import Float32, UInt8

from .cards import Cards
from .dice import Dice
from .export import export
from .net import OutlineNet
from .pool import Pool, block
from .shipped import load_shipped
from .views import loss, plain, present, targets, varied

# Sides of the network's input and how often each is used: it must read photos at any of them. Chosen around 320.
_SIDES = ((0.50, 320), (0.12, 288), (0.12, 352), (0.13, 256), (0.13, 384))
_BATCH_AT_320 = 128
_RATE, _DECAY, _WARM_STEPS, _MEAN = 4e-3, 0.01, 300, 0.999
_CHECKPOINT_S = 60.0
# Steps between two looks at the clock: several cards must look together.
_STEPS_BETWEEN = 16
_TEST_SEED, _TEST_SCENES = 77_000_000, 512
# Scenes that show what each layer's numbers spread by, where a shipped network is taken up again.
_SHOWN = 96


@dataclass
class _State:
    """What a piece hands to the next."""

    net: OutlineNet
    mean: OutlineNet
    optimiser: torch.optim.AdamW
    spent_s: float = 0.0
    steps: int = 0
    piece: int = 0


@dataclass(frozen=True)
class Course:
    """How a training goes: seconds in all and in this piece, the highest learning rate, and weights to start from
    (an exported file, or the folder of an earlier training)."""

    total_s: float
    piece_s: float
    rate: float = _RATE
    start: Path | None = None


def train(out: Path, course: Course, workers: int, seed: int, pool_size: int, keep: Path | None) -> None:
    """Trains for one piece and writes what the next one needs."""
    started = time.monotonic()
    out.mkdir(parents=True, exist_ok=True)
    cards = Cards()
    device = cards.device
    _prepare_backend(seed + cards.rank)
    state = _resumed(out, device, course.start)
    keep = keep / str(cards.rank) if keep else None
    pool = Pool(pool_size, device, seed + 1000 * cards.rank, state.piece, workers, keep)
    count = min(_TEST_SCENES, pool_size // 4)
    tests = [torch.from_numpy(part).to(device) for part in _tests(keep or out, count)] if cards.first else []
    while pool.made < min(8 * _BATCH_AT_320, pool_size // 2):
        time.sleep(0.2)
    before_s, last = state.spent_s, time.monotonic()
    begun, over = last, False
    while not over:
        now = time.monotonic()
        past_piece = now - started >= course.piece_s
        state.spent_s, over = cards.agree(before_s + now - begun, past_piece)
        over = over or state.spent_s >= course.total_s
        if cards.first and (over or now - last > _CHECKPOINT_S):
            last = now
            _checkpoint(out, state, tests, pool.made * cards.count)
        for _ in range(0 if over else _STEPS_BETWEEN):
            _step(state, pool, cards, course.rate, state.spent_s / course.total_s)
    pool.stop()
    state.piece += 1
    if cards.first:
        _save(out, state)
        export(state.mean, out / "eye.onnx", torch.zeros(1, 3, 320, 320), ["photo"], ["maps", "work"])
    cards.leave()


def _tests(folder: Path, count: int) -> tuple[UInt8, Float32]:
    """Scenes that are never trained on, made once."""
    path = folder / f"tests-{count}.npz"
    if not path.exists():
        pictures, quads = block(Dice(_TEST_SEED), count)
        np.savez(path, pictures=pictures, quads=quads)
    stored = np.load(path)
    return stored["pictures"], stored["quads"]


def _prepare_backend(seed: int) -> None:
    torch.manual_seed(seed + int(time.time()))
    np.random.seed(seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True


def _step(state: _State, pool: Pool, cards: Cards, highest: float, progress: float) -> None:
    device = cards.device
    rate = highest * min(1, (state.steps + 1) / _WARM_STEPS) * (0.5 + 0.5 * math.cos(math.pi * min(1, progress))) + 1e-6
    for group in state.optimiser.param_groups:
        group["lr"] = rate
    side = Dice(state.steps * 7 + state.piece).weighted(_SIDES)
    count = max(8, int(_BATCH_AT_320 * (320 / side) ** 2) // 8 * 8)
    with torch.no_grad():
        picture, quads = varied(*pool.draw(count if device.startswith("cuda") else 8), side)
    picture = picture.to(memory_format=torch.channels_last)
    with torch.autocast(device.partition(":")[0], torch.bfloat16):
        maps, work = state.net(picture)
    paid = loss(maps, work, quads, side)
    state.optimiser.zero_grad(set_to_none=True)
    paid.backward()  # type: ignore[no-untyped-call]
    cards.average_gradients(state.net)
    nn.utils.clip_grad_norm_(state.net.parameters(), 2.0)
    state.optimiser.step()
    state.steps += 1
    _follow(state)


@torch.no_grad()
def _follow(state: _State) -> None:
    """The running mean of the weights, short at the start and long later."""
    keep = min(_MEAN, state.steps / (state.steps + 20))
    torch._foreach_lerp_(list(state.mean.parameters()), list(state.net.parameters()), 1 - keep)
    for mean, now in zip(state.mean.buffers(), state.net.buffers(), strict=True):
        if mean.dtype == torch.long:
            mean.copy_(now)
        else:
            mean.lerp_(now, 1 - keep)


# --- checkpoints ----------------------------------------------------------------------------------------------


def _resumed(out: Path, device: str, start: Path | None) -> _State:
    net, mean = (OutlineNet().to(device).to(memory_format=torch.channels_last) for _ in range(2))
    mean.load_state_dict(net.state_dict())
    state = _State(net, mean, torch.optim.AdamW(net.parameters(), lr=_RATE, weight_decay=_DECAY, betas=(0.9, 0.98)))
    if (out / "progress.json").exists():
        net.load_state_dict(torch.load(out / "net.pt", map_location=device))
        mean.load_state_dict(torch.load(out / "mean.pt", map_location=device))
        _load_moments(state.optimiser, torch.load(out / "moments.pt", map_location=device))
        progress = json.loads((out / "progress.json").read_text())
        state.spent_s, state.steps, state.piece = progress["spent_s"], progress["steps"], progress["piece"]
    elif start is not None and start.suffix == ".onnx":
        shown = varied(*(torch.from_numpy(part) for part in block(Dice(_TEST_SEED + 1), _SHOWN)), 320)[0]
        for part in (net, mean):
            load_shipped(part.cpu(), start, shown)
            part.to(device).to(memory_format=torch.channels_last)
    elif start is not None:
        for part in (net, mean):
            part.load_state_dict(torch.load(start / "mean.pt", map_location=device))
    return state


def _save(out: Path, state: _State) -> None:
    torch.save(state.net.state_dict(), out / "net.pt")
    torch.save(state.mean.state_dict(), out / "mean.pt")
    torch.save(_moments(state.optimiser), out / "moments.pt")
    progress = {"spent_s": state.spent_s, "steps": state.steps, "piece": state.piece}
    (out / "progress.json").write_text(json.dumps(progress))


def _moments(optimiser: torch.optim.AdamW) -> dict[str, Any]:
    """The optimiser's moments as bfloat16: half the size, and it forgets the difference within a few steps."""
    full = optimiser.state_dict()
    short = {key: {name: value.to(torch.bfloat16) if name != "step" else value for name, value in values.items()}
             for key, values in full["state"].items()}  # fmt: skip
    return {"state": short, "param_groups": full["param_groups"]}


def _load_moments(optimiser: torch.optim.AdamW, stored: dict[str, Any]) -> None:
    for values in stored["state"].values():
        for key in ("exp_avg", "exp_avg_sq"):
            values[key] = values[key].float()
    optimiser.load_state_dict(stored)


def _checkpoint(out: Path, state: _State, tests: list[Tensor], made: int) -> None:
    line = {"piece": state.piece, "spent_s": round(state.spent_s, 1), "steps": state.steps, "scenes": made}
    masks, works = _seen(state.mean, tests)
    line |= _measured(masks, works, tests)
    print(json.dumps(line), flush=True)
    with (out / "log.jsonl").open("a") as log:
        log.write(json.dumps(line) + "\n")
    _save(out, state)
    _figure(out / f"seen-{int(state.spent_s):05d}.jpg", tests, masks, works)


@torch.no_grad()
def _seen(net: OutlineNet, tests: list[Tensor]) -> tuple[Tensor, Tensor]:
    net.eval()
    masks, works = [], []
    for start in range(0, len(tests[0]), 64):
        picture, _ = plain(tests[0][start : start + 64], tests[1][start : start + 64], 320)
        maps, work = net(picture)
        masks.append(maps[:, 0].float())
        works.append(work[:, 0].float())
    return torch.cat(masks), torch.cat(works)


def _measured(masks: Tensor, works: Tensor, tests: list[Tensor]) -> dict[str, float]:
    """Overlap of the masks with the truth on scenes that are never trained on, and right answers of the other head."""
    there = present(tests[1]).any(1)
    overlaps = []
    for start in range(0, len(masks), 64):
        _, quads = plain(tests[0][start : start + 64], tests[1][start : start + 64], 320)
        truth = targets(quads / 2, masks.shape[-1])[:, 0] > 0.5
        mask = masks[start : start + 64] > 0
        overlaps.append((mask & truth).sum((1, 2)).float() / (mask | truth).sum((1, 2)).clamp_min(1))
    overlap = torch.cat(overlaps)[there]
    return {
        "overlap": round(overlap.mean().item(), 4),
        "over_95": round((overlap > 0.95).float().mean().item(), 4),
        "over_97": round((overlap > 0.97).float().mean().item(), 4),
        "works_seen": round((works[there] > 0).float().mean().item(), 4),
        "empty_seen": round((works[~there] < 0).float().mean().item(), 4) if bool((~there).any()) else 1.0,
    }


def _figure(path: Path, tests: list[Tensor], masks: Tensor, works: Tensor) -> None:
    """Twenty-four scenes with the mask in red and the answer of the single head."""
    cells = []
    for k in range(min(24, len(masks))):
        picture = cv2.resize(tests[0][k].cpu().numpy(), (208, 208), interpolation=cv2.INTER_AREA)
        share = cv2.resize(torch.sigmoid(masks[k]).cpu().numpy(), (208, 208))[..., None]
        shown = picture * (1 - 0.4 * share) + np.array([255, 0, 0]) * 0.4 * share
        shown = np.ascontiguousarray(shown.astype(np.uint8))
        text = f"{torch.sigmoid(works[k]).item():.2f}"
        cv2.putText(shown, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (0, 255, 0), 1, cv2.LINE_AA)
        cells.append(shown)
    while len(cells) % 8:
        cells.append(np.zeros_like(cells[0]))
    sheet = np.vstack([np.hstack(cells[k : k + 8]) for k in range(0, len(cells), 8)])
    cv2.imwrite(str(path), sheet[..., ::-1])
