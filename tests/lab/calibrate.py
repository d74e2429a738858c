"""How honest the outline's confidence is: `python -m tests.lab calibrate --photos 400 --out calibration.png`."""

import multiprocessing
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from autoprep.correction.outline import find_outline
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float64, UInt8
from autoprep.pixels import quad_of
from tests.overlap import overlap_in_frame

from .scene import encode_jpeg, random_spec, render

CALIBRATION_SEEDS = 20400  # report seeds that the score does not use
_EDGES = (0.0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.975, 1.0)


def _one(seed: int) -> tuple[float, float]:
    cv2.setNumThreads(1)
    spec = random_spec(seed)
    shot = render(spec, 1400)
    found = find_outline(read_photo(encode_jpeg(shot, spec.jpeg_quality)))
    if isinstance(found, Declined):
        return 0.0, 0.0
    return found.confidence, overlap_in_frame(shot.truth.corners_px, quad_of(found))


def calibrate(photos: int, out: Path | None, processes: int = 2) -> Float64:
    """(photos, 2) confidence and overlap of report seeds; prints the table and draws the plot."""
    seeds = range(CALIBRATION_SEEDS, CALIBRATION_SEEDS + photos)
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        found = np.array(pool.map(_one, seeds, chunksize=2))
    print(f"{'confidence':<14} photos  mean confidence  share right")
    points = []
    for low, high in pairwise(_EDGES):
        part = found[(found[:, 0] >= low) & (found[:, 0] < high + (high == 1.0))]
        if len(part):
            right = float((part[:, 1] >= 0.95).mean())
            points.append((float(part[:, 0].mean()), right, len(part)))
            print(f"{low:.3f}-{high:<8.3f} {len(part):>6}  {part[:, 0].mean():>15.3f}  {right:>11.3f}")
    for level in (0.8, 0.85, 0.9, 0.95):
        kept = found[found[:, 0] >= level]
        wrong = (kept[:, 1] < 0.95).mean() * 100 if len(kept) else float("nan")
        print(f"at {level}: {100 * (1 - len(kept) / len(found)):.1f} % asked, {wrong:.2f} % of the rest wrong")
    print(f"mean overlap {found[:, 1].mean():.4f}, right {100 * (found[:, 1] >= 0.95).mean():.1f} %")
    if out is not None:
        cv2.imwrite(str(out), _plot(points))
    return found


def _plot(points: list[tuple[float, float, int]], size: int = 520) -> UInt8:
    """(H, W, 3) uint8: share right over confidence; on the diagonal the confidence is honest."""
    picture = np.full((size, size, 3), 255, np.uint8)
    pad, room = 50, size - 80

    def at(x: float, y: float) -> tuple[int, int]:
        return int(pad + x * room), int(size - pad - y * room)

    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        cv2.line(picture, at(tick, 0), at(tick, 1), (225, 225, 225), 1)
        cv2.line(picture, at(0, tick), at(1, tick), (225, 225, 225), 1)
        x, y = at(tick, 0)
        cv2.putText(picture, f"{tick:g}", (x - 8, y + 18), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (90, 90, 90), 1, cv2.LINE_AA)
        x, y = at(0, tick)
        cv2.putText(picture, f"{tick:g}", (x - 38, y + 4), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (90, 90, 90), 1, cv2.LINE_AA)
    cv2.line(picture, at(0, 0), at(1, 1), (170, 170, 170), 1, cv2.LINE_AA)
    for confidence, right, count in points:
        cv2.circle(picture, at(confidence, right), 3 + int(np.sqrt(count) / 2), (60, 90, 160), -1, cv2.LINE_AA)
    words = "confidence (across) and share right (up); size: photos"
    cv2.putText(picture, words, (pad, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (60, 60, 60), 1, cv2.LINE_AA)
    return picture
