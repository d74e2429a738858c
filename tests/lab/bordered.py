"""What comes of drawings with a line ruled around them, near the edges of the sheet: `python -m tests.lab bordered`.

The line is drawn; the sheet ends further out. Lines of a pen, a pencil and a coloured pen, two side by side, and bands
of paint, some up to the very edges, at any distance that artists leave (common practice, no source).
"""

import multiprocessing
from dataclasses import replace

import numpy as np

from .colour import Array, Mask, linear_from_lab
from .cut import Cut, looked_at, told
from .drawing import Grid, Points, stroke
from .flatwork import FlatWork
from .scene import DESKS, random_spec, rough_spec
from .works import make_work

BORDERED_SEEDS = 22200
PAPER = ("pencil", "ink", "toned", "coloured", "watercolour", "notebook")
BORDERS = ("pen", "pencil", "coloured pen", "two lines", "band")
# How far the line lies from the edges, in shorter sides of the sheet; below it lies deeper by up to half.
_INSET, _DEEPER_BELOW = (0.015, 0.09), 1.5
_WORK_PX = 1360


def with_border(work: FlatWork, border: str, seed: int) -> FlatWork:
    """A flat work with a line of such a kind drawn around it."""
    rng = np.random.default_rng([seed, 79])
    reflectance = work.reflectance.copy()
    height, width = reflectance.shape[:2]
    grid = Grid(work.size_mm, max(width, height) / max(work.size_mm))
    inset = min(work.size_mm) * rng.uniform(*_INSET)
    below = inset * rng.uniform(1.0, _DEEPER_BELOW)
    wide_mm, strength, colour = _pen(border, rng)
    apart = rng.uniform(1.5, 4.0) if border == "two lines" else 0.0
    mask: Mask = np.zeros((height, width), np.uint8)
    for more in (0.0, apart) if apart else (0.0,):
        _ruled(grid, mask, inset + more, below + more, wide_mm, rng)
    drawn = (mask[:height, :width].astype(np.float32) * (strength / 255))[..., None]
    reflectance += (reflectance * colour - reflectance) * drawn
    return replace(work, reflectance=reflectance, bare=work.bare & (mask[:height, :width] == 0), margin_drawn=True)


def _pen(border: str, rng: np.random.Generator) -> tuple[float, float, Array]:
    """Its width in mm, how much it covers, 0..1, and what it leaves of the paper's light, (3,)."""
    if border == "band":
        hue, chroma = rng.uniform(0, 2 * np.pi), rng.uniform(10, 50)
        colour = linear_from_lab(rng.uniform(35, 75), chroma * np.cos(hue), chroma * np.sin(hue))
        return float(rng.uniform(3, 9)), float(rng.uniform(0.5, 0.95)), colour
    if border == "coloured pen":
        hue = rng.uniform(0, 2 * np.pi)
        return float(rng.uniform(0.4, 1.2)), 0.85, linear_from_lab(45, 45 * np.cos(hue), 45 * np.sin(hue))
    if border == "pencil":
        return float(rng.uniform(0.4, 0.9)), float(rng.uniform(0.4, 0.7)), linear_from_lab(30, 0, 0)
    return float(rng.uniform(0.25, 1.0)), 0.92, linear_from_lab(14, 0, 0)


def _ruled(grid: Grid, mask: Mask, inset: float, below: float, wide_mm: float, rng: np.random.Generator) -> None:
    """Four lines, ruled by hand: corners that cross a little or do not quite meet."""
    width, height = grid.size_mm
    left, top, right, bottom = inset, inset, width - inset, height - below
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    for k, (a, b) in enumerate(zip(corners, (*corners[1:], corners[0]), strict=True)):
        start, end = np.array(a), np.array(b)
        along = (end - start) / np.hypot(*(end - start))
        over = rng.normal(0.3, 0.8, 2) if k else np.zeros(2)
        points: Points = np.linspace(start - along * over[0], end + along * over[1], 24)
        stroke(grid, mask, points + np.cumsum(rng.normal(0, 0.03, (24, 2)), axis=0), wide_mm)


def _job(job: tuple[int, str, str, bool]) -> Cut:
    seed, kind, border, rough = job
    desk = DESKS[seed // 2 % len(DESKS)] if seed % 2 else None
    spec = (rough_spec if rough else random_spec)(seed, kind, desk)
    return looked_at(spec, with_border(make_work(kind, spec.work_seed, _WORK_PX), border, seed))


def score_bordered(photos: int, first: int = BORDERED_SEEDS, rough: bool = False, processes: int = 2) -> list[Cut]:
    """Score so many drawings, with each kind of border in turn, every second on any desk; prints what came of them."""
    jobs = [(first + k, PAPER[k // 5 % len(PAPER)], BORDERS[k % len(BORDERS)], rough) for k in range(photos)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(_job, jobs, chunksize=1)
    told("drawings with a line around them", rows)
    return rows
