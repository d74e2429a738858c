"""`python -m tests.lab.eye train ...` (also `python -m tests.lab train-eye`), `... look ...` and `... answer ...`."""

import argparse
from pathlib import Path

import cv2
import numpy as np

from .album import add_folder
from .dice import Dice


def look(first: int, count: int, path: Path) -> None:
    """Writes a contact sheet of scenes with the quads that count."""
    from .scenes import scene

    cells = []
    for seed in range(first, first + count):
        made = scene(Dice(seed))
        picture = made.picture.copy()
        for quad, tone in zip(made.works, ((255, 0, 0), (0, 255, 0), (0, 0, 255)), strict=False):
            points = np.round(np.clip(quad, -3000, 3000)).astype(np.int32)
            cv2.polylines(picture, [points], True, tone, 2, cv2.LINE_AA)
        cells.append(cv2.resize(picture, (208, 208), interpolation=cv2.INTER_AREA))
    while len(cells) % 8:
        cells.append(np.zeros_like(cells[0]))
    sheet = np.vstack([np.hstack(cells[k : k + 8]) for k in range(0, len(cells), 8)])
    cv2.imwrite(str(path), sheet[..., ::-1])


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The trainer's options."""
    parser.add_argument("--out", type=Path, required=True, help="folder for checkpoints, log, figures and eye.onnx")
    parser.add_argument("--total-s", type=float, default=1560, help="seconds of training over all pieces")
    parser.add_argument("--piece-s", type=float, default=540, help="seconds that this piece may take")
    parser.add_argument("--rate", type=float, default=4e-3, help="highest learning rate")
    parser.add_argument("--weights", type=Path, help="eye.onnx, or an earlier training's folder, to start from")
    parser.add_argument("--workers", type=int, default=15, help="processes that make scenes")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--pool", type=int, default=60_000, help="scenes kept on the GPU (0.5 MB each)")
    parser.add_argument("--keep", type=Path, help="folder on a memory disk that keeps the pool between pieces")
    parser.add_argument("--album", type=Path, help="folder with everyday photos, for scenes without a work")


def run(given: argparse.Namespace) -> None:
    """Trains one piece."""
    from .train import Course, train

    if given.album:
        add_folder(given.album)
    course = Course(given.total_s, given.piece_s, given.rate, given.weights)
    train(given.out, course, given.workers, given.seed, given.pool, given.keep)


def main() -> None:
    """Runs one command."""
    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(
        prog="python -m tests.lab.eye", description="The second eye's scenes and training."
    )
    commands = parser.add_subparsers(dest="command", required=True)
    add_arguments(commands.add_parser("train", help="train one piece"))
    sheet = commands.add_parser("look", help="a contact sheet of generated scenes")
    sheet.add_argument("--first", type=int, default=0)
    sheet.add_argument("--count", type=int, default=48)
    sheet.add_argument("--album", type=Path)
    sheet.add_argument("--out", type=Path, required=True)
    answer = commands.add_parser("answer", help="teach it what is no work, and nothing else (extra: train)")
    answer.add_argument("--start", type=Path, required=True, help="the eye.onnx whose answer learns on")
    answer.add_argument("--album", type=Path, required=True, help="folder with everyday photos")
    answer.add_argument("--out", type=Path, required=True, help="where the new network goes")
    answer.add_argument("--scenes", type=int, default=3600, help="scenes that keep it in place")
    answer.add_argument("--share", type=float, default=0.3, help="how much of what was learned is taken")
    given = parser.parse_args()
    if given.command == "train":
        run(given)
        return
    if given.command == "answer":
        from .answer import run as teach

        teach(given)
        return
    if given.album:
        add_folder(given.album)
    look(given.first, given.count, given.out)


if __name__ == "__main__":
    main()
