"""What several workers do in the time that one takes."""

import struct
import tempfile
import time
from pathlib import Path
from statistics import median

from autoprep.cli.studio import make_studio
from autoprep.cli.work import process_all
from autoprep.wishes.settings import load


def several(workers: int, photos: list[Path], rounds: int) -> float:
    """How many times faster the whole inbox is done, in turns with one worker; medians."""
    ratios = []
    for turn in range(rounds):
        one, many = (_seconds(count, photos, turn) for count in (1, workers))
        ratios.append(one / many)
    return median(ratios)


def _seconds(workers: int, photos: list[Path], turn: int) -> float:
    """From the start of the service to its end, for an inbox of these photos."""
    with tempfile.TemporaryDirectory() as folder:
        studio = Path(folder)
        (studio / "config").mkdir()
        text = f'[artist]\nname = "Wren Halloway"\n[service]\nsettle_s = 0.1\nworkers = {workers}\n'
        (studio / "config" / "autoprep.toml").write_text(text, encoding="utf-8")
        make_studio(studio)
        settings = load(studio / "config" / "autoprep.toml")
        for photo in photos:
            (settings.folders.inbox / photo.name).write_bytes(_other_bytes(photo.read_bytes(), turn))
        started = time.perf_counter()
        process_all(settings, show=False)
        return time.perf_counter() - started


def _other_bytes(jpeg: bytes, number: int) -> bytes:
    """The same picture as another file: with a comment."""
    words = f"copy {number}".encode()
    return jpeg[:2] + b"\xff\xfe" + struct.pack(">H", len(words) + 2) + words + jpeg[2:]
