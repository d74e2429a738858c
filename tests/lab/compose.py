"""Pages: which subjects stand where on a sheet."""

from __future__ import annotations

import numpy as np

from .boats import boat
from .plants import plant
from .subject import Subject

Rng = np.random.Generator


def page(size_mm: tuple[float, float], rng: Rng, margin: float = 0.1) -> tuple[str, list[Subject], float]:
    """Title, subjects in mm and the height in mm at which the caption may stand."""
    w, h = size_mm
    x0, y0, x1, y1 = w * margin, h * margin, w * (1 - margin), h * (0.97 - margin) - h * 0.05
    across = w > h * 1.1
    style = rng.random()
    if style < (0.25 if across else 0.5):
        main = plant(rng)
        subjects = [main.moved(1, (0, 0), rng.normal(0, 0.08), rng.random() < 0.5).fitted((x0, y0, x1, y1))]
    elif style < 0.72:
        main = boat(rng)
        subjects = [main.moved(1, (0, 0), 0.0, rng.random() < 0.5).fitted((x0, y0, x1, y1))]
    elif across:
        main, other = plant(rng), (plant(rng) if rng.random() < 0.5 else boat(rng))
        split = x0 + (x1 - x0) * rng.uniform(0.4, 0.6)
        subjects = [main.fitted((x0, y0, split - w * 0.02, y1)), other.fitted((split + w * 0.02, y0 + h * 0.1, x1, y1))]
    else:
        main, other = boat(rng), plant(rng)
        split = y0 + (y1 - y0) * rng.uniform(0.42, 0.58)
        subjects = [main.fitted((x0, y0, x1, split - h * 0.02)), other.fitted((x0 + w * 0.1, split + h * 0.02, x1, y1))]
    return main.name, subjects, y1 + h * 0.055


def caption(name: str, rng: Rng) -> str:
    """A written caption for a subject."""
    from .kinds.draft import MONTHS, PLACES

    place, month = PLACES[int(rng.integers(len(PLACES)))], MONTHS[int(rng.integers(len(MONTHS)))]
    day = int(rng.integers(1, 29))
    return (f"{name}, {place}", f"{name} - {day} {month}", f"{place}, {day} {month}")[int(rng.integers(3))]
