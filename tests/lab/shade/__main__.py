"""`python -m tests.lab train-shade --out DIR`, `train-light`, `train-paper`: the eyes that look at a work learn."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The trainer's options."""
    parser.add_argument("--out", type=Path, required=True, help="folder for weights, log and a picture")
    parser.add_argument("--train-s", type=float, default=480, help="seconds of training")
    parser.add_argument("--workers", type=int, default=15, help="processes that make samples")
    parser.add_argument("--pool", type=int, default=20_000, help="samples kept on the card (0.5 MB each)")
    parser.add_argument("--seed", type=int, default=1, help="another one for each piece, so that no sample comes twice")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest learning rate")
    parser.add_argument("--start", type=Path, help="exported weights to start from, where the folder has none yet")
    parser.add_argument(
        "--mean-of", type=Path, nargs="+", help="train nothing: the mean of the weights in these folders"
    )
    parser.add_argument("--album", type=Path, help="folder with photos, for pictures of any kind (eye for light)")


def run(given: argparse.Namespace) -> None:
    """Trains, going on from the weights in the folder; or takes the mean of what was trained before."""
    from .loop import Course, average, learn

    if given.command == "train-light":
        from ..lit.train import TASK
    elif given.command == "train-paper":
        from ..ground.train import TASK
    else:
        from .train import TASK
    if given.album:
        from ..eye.album import add_folder

        add_folder(given.album)
    if given.mean_of:
        average(TASK, given.mean_of, given.out)
        return
    learn(TASK, given.out, Course(given.train_s, given.workers, given.pool, given.seed, given.rate, given.start))
