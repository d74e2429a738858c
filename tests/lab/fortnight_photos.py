"""The photos of Wren Halloway's fortnight: what stands on each, when it was taken, and where its work truly lies."""

from __future__ import annotations

import io
import json
import multiprocessing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image as PILImage

from .colour import Array, Mask
from .demo import BASE
from .exif import encode_jpeg
from .flatwork import FlatWork
from .scene import Shot, render
from .several import make_group, render_group
from .spec import random_spec
from .works import make_work

SEEDS = 52000
LONG_PX = 1800
A5, INCHES = (148.0, 210.0), (11.75 * 25.4, 16.5 * 25.4)
_POSES = ((-6, 2, -2.0), (5, -4, 1.5), (-9, -3, 3.0), (3, 5, -3.5), (-4, 0, 1.0))
_DESKS = ("wood", "dark", "cloth", "mat")


@dataclass(frozen=True)
class Frame:
    """One photo: its file, the work on it (kind and seed; kind "several", "desk" or "screen": none), day and minute.

    size_mm is the true size where the work has one of a fixed proportion; extra holds changes to the scene.
    """

    file: str
    kind: str
    work: int
    day: int
    minute: int = 0
    size_mm: tuple[float, float] | None = None
    cropped: bool = False
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def taken(self) -> str:
        """The time as Exif has it: the fortnight begins on 1 May 2026."""
        return f"2026:05:{self.day:02d} {10 + self.minute // 60:02d}:{self.minute % 60:02d}:{self.work % 60:02d}"


def takes(first: int, kind: str, work: int, day: int, count: int = 3, **given: Any) -> list[Frame]:
    """Several photos of one work, minutes apart; the second is shaken, the third lies in better light."""
    extra = given.pop("extra", {})
    worse: tuple[dict[str, Any], ...] = ({"falloff": 0.24}, {"motion_px": 24.0}, {"falloff": 0.08, "fill": 0.86})
    return [
        Frame(f"IMG_{first + k}.jpg", kind, work, day, 3 * k, extra={**worse[k % 3], **extra}, **given)
        for k in range(count)
    ]


def _spec(frame: Frame) -> Any:
    number = int("".join(c for c in frame.file if c.isdigit()) or 0)
    tilt, pan, roll = _POSES[number % len(_POSES)]
    given: dict[str, Any] = {
        "seed": SEEDS + number % 1000, "kind": frame.kind, "work_seed": SEEDS + frame.work,
        "desk": _DESKS[frame.work % len(_DESKS)], "tilt_deg": tilt, "pan_deg": pan, "roll_deg": roll,
    }  # fmt: skip
    return replace(BASE, **{**given, **frame.extra})


def photograph(frame: Frame) -> tuple[bytes, list[list[float]]]:
    """The file's bytes, and the work's corners in its pixels; none where it shows no work or several."""
    if frame.kind == "screen":
        return _png(_screenshot(SEEDS + frame.work)), []
    if frame.kind == "several":
        return _several(frame), []
    if frame.kind == "desk":
        return _desk(frame), []
    work = make_work(frame.kind, SEEDS + frame.work, 1500)
    work = work if frame.size_mm is None else replace(work, size_mm=frame.size_mm)
    spec = _spec(frame)
    aspect = 4 / 3 if work.size_mm[0] > work.size_mm[1] else 3 / 4
    shot = render(replace(spec, aspect=aspect), LONG_PX, work)
    if frame.cropped:
        shot = _cropped(shot)
    return encode_jpeg(shot, taken=frame.taken), [[float(x), float(y)] for x, y in shot.truth.corners_px]


def _cropped(shot: Shot) -> Shot:
    """The photo cut to what lies within the work on every side; its corners are then the photo's."""
    corners = shot.truth.corners_px
    (left, top), (right, bottom) = np.sort(corners, axis=0)[1], np.sort(corners, axis=0)[2]
    box = [int(np.ceil(left)) + 4, int(np.ceil(top)) + 4, int(right) - 4, int(bottom) - 4]
    pixels = np.ascontiguousarray(shot.pixels[box[1] : box[3], box[0] : box[2]])
    height, width = pixels.shape[:2]
    whole = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    return replace(shot, pixels=pixels, truth=replace(shot.truth, corners_px=whole))


def _desk(frame: Frame) -> bytes:
    """A table with things on it and no work."""
    made = make_work("ink", SEEDS, 200)
    clear: Array = np.zeros(made.alpha.shape, np.float32)
    nothing: FlatWork = replace(made, alpha=clear, bare=clear > 0, thickness_mm=0.0)
    return encode_jpeg(render(replace(_spec(frame), desk="clutter"), LONG_PX, nothing), taken=frame.taken)


def _several(frame: Frame) -> bytes:
    """Two or three works on one table."""
    group = make_group(SEEDS + frame.work)
    spec = replace(random_spec(SEEDS + frame.work, "ink", "wood", over="none", glare=0.0), fill=0.8)
    pixels, _ = render_group(spec, group, LONG_PX)
    out = io.BytesIO()
    PILImage.fromarray(pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


def _screenshot(seed: int) -> Mask:
    """A talk on a telephone's screen: bars, bubbles, lines of grey for words."""
    rng = np.random.default_rng(seed)
    screen = np.full((1600, 740, 3), 246, np.uint8)
    cv2.rectangle(screen, (0, 0), (740, 110), (32, 96, 120), -1)
    cv2.putText(screen, "Saltmere ferry", (40, 75), cv2.FONT_HERSHEY_SIMPLEX, 1.3, (255, 255, 255), 2, cv2.LINE_AA)
    y = 150
    while y < 1420:
        height, mine = int(rng.integers(70, 180)), bool(rng.random() < 0.5)
        left = 260 if mine else 30
        colour = (208, 236, 208) if mine else (255, 255, 255)
        cv2.rectangle(screen, (left, y), (left + 440, y + height), colour, -1)
        for line in range(y + 28, y + height - 16, 34):
            cv2.line(screen, (left + 24, line), (left + int(rng.integers(200, 410)), line), (90, 90, 90), 5)
        y += height + 26
    cv2.rectangle(screen, (0, 1490), (740, 1600), (228, 228, 228), -1)
    return screen


def _png(pixels: Mask) -> bytes:
    out = io.BytesIO()
    PILImage.fromarray(pixels).save(out, "PNG")
    return out.getvalue()


def _write(given: tuple[Frame, Path]) -> tuple[str, list[list[float]]]:
    frame, folder = given
    cv2.setNumThreads(1)
    truth = folder / f"{frame.file}.json"
    if not truth.is_file():
        data, corners = photograph(frame)
        (folder / frame.file).write_bytes(data)
        truth.write_text(json.dumps(corners))
    return frame.file, json.loads(truth.read_text())


def photograph_all(frames: list[Frame], folder: Path) -> dict[str, list[list[float]]]:
    """Write all photos that are not there yet; file -> the work's true corners."""
    folder.mkdir(parents=True, exist_ok=True)
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        return dict(pool.map(_write, [(frame, folder) for frame in frames], chunksize=2))
