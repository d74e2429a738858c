"""The pool of scenes that training draws from: made by worker processes, kept on the GPU and in a folder if wanted."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch import Tensor
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from autoprep.imaging.arrays import Float32, UInt8

from . import SIDE_PX
from .dice import Dice
from .scenes import MOST_WORKS, scene
from .views import ABSENT

_BLOCK = 16


def packed(works: tuple[Float32, ...]) -> Float32:
    """(K, 4, 2) float32 with `ABSENT` where there is no further work."""
    quads = np.full((MOST_WORKS, 4, 2), ABSENT, np.float32)
    for k, quad in enumerate(works[:MOST_WORKS]):
        quads[k] = quad
    return quads


def block(dice: Dice, count: int) -> tuple[UInt8, Float32]:
    """(count, S, S, 3) pictures and (count, K, 4, 2) quads of fresh scenes; a scene that fails is drawn anew."""
    pictures, quads = [], []
    while len(pictures) < count:
        try:
            made = scene(dice)
        except (cv2.error, ValueError, IndexError, ZeroDivisionError):
            continue  # a few in a thousand are degenerate, for instance a frame without room for a picture
        pictures.append(made.picture)
        quads.append(packed(made.works))
    return np.stack(pictures), np.stack(quads)


class _Scenes(IterableDataset[tuple[Tensor, Tensor]]):
    """Blocks of scenes without end; every worker and every piece of the training has its own."""

    def __init__(self, seed: int, piece: int) -> None:
        self.seed, self.piece = seed, piece

    def __iter__(self) -> Iterator[tuple[Tensor, Tensor]]:
        cv2.setNumThreads(1)
        torch.set_num_threads(1)
        worker = get_worker_info()
        dice = Dice([self.seed, self.piece, worker.id if worker else 0])
        while True:
            pictures, quads = block(dice, _BLOCK)
            yield torch.from_numpy(pictures), torch.from_numpy(quads)


class Pool:
    """A ring of scenes that fills itself in the background.

    folder: scenes are kept there too (on a memory disk), so that a next piece starts with what the last one had.
    """

    def __init__(self, size: int, device: str, seed: int, piece: int, workers: int, folder: Path | None) -> None:
        self.size = size - size % _BLOCK
        self.device = device
        self.pictures = torch.zeros(self.size, SIDE_PX, SIDE_PX, 3, dtype=torch.uint8, device=device)
        self.quads = torch.full((self.size, MOST_WORKS, 4, 2), ABSENT, device=device)
        self.made = 0
        self._kept = _Kept(folder, self.size) if folder else None
        if self._kept:
            self.made = self._kept.load(self.pictures, self.quads)
        prefetch: dict[str, Any] = {"prefetch_factor": 4} if workers else {}
        loader = DataLoader(_Scenes(seed, piece), batch_size=None, num_workers=workers, **prefetch)
        self._blocks = iter(loader)
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._fill, daemon=True)
        self._thread.start()

    def _fill(self) -> None:
        for pictures, quads in self._blocks:
            if self._stopped.is_set():
                return
            at = self.made % self.size
            self.pictures[at : at + _BLOCK] = pictures.to(self.device)
            self.quads[at : at + _BLOCK] = quads.to(self.device)
            self.made += _BLOCK
            if self._kept:
                self._kept.store(at, pictures.numpy(), quads.numpy(), self.made)

    def stop(self) -> None:
        """Makes no more scenes."""
        self._stopped.set()
        self._thread.join(timeout=30)

    def draw(self, count: int) -> tuple[Tensor, Tensor]:
        """A random batch."""
        there = min(self.made, self.size)
        index = torch.randint(0, there, (count,), device=self.device)
        return self.pictures[index], self.quads[index]


class _Kept:
    """The pool's copy in a folder."""

    def __init__(self, folder: Path, size: int) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._count = folder / "made.txt"
        mode = "r+" if self._count.exists() else "w+"
        self._pictures = np.memmap(folder / "pictures", np.uint8, mode, shape=(size, SIDE_PX, SIDE_PX, 3))
        self._quads = np.memmap(folder / "quads", np.float32, mode, shape=(size, MOST_WORKS, 4, 2))

    def load(self, pictures: Tensor, quads: Tensor) -> int:
        made = int(self._count.read_text()) if self._count.exists() else 0
        there = min(made, len(pictures))
        for start in range(0, there, 4096):
            end = min(start + 4096, there)
            pictures[start:end] = torch.from_numpy(self._pictures[start:end]).to(pictures.device)
        quads[:there] = torch.from_numpy(self._quads[:there]).to(quads.device)
        return made

    def store(self, at: int, pictures: UInt8, quads: Float32, made: int) -> None:
        self._pictures[at : at + len(pictures)] = pictures
        self._quads[at : at + len(quads)] = quads
        self._count.write_text(str(made))
