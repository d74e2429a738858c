"""What a picture shows, as outlines and lines in a unit space that every medium can draw its own way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .drawing import Points, ellipse, spline


@dataclass(frozen=True)
class Area:
    """A closed outline with its local colour (sRGB 0..255) and darkness 0..1 for media without colour."""

    outline: Points
    colour: tuple[int, int, int]
    tone: float = 0.4
    drawn: bool = True  # whether a drawing follows its outline with a line


@dataclass(frozen=True)
class Line:
    """An open line; `weight` 1 is a normal line, 0.4 a faint vein, 2 a stem."""

    points: Points
    weight: float = 1.0
    colour: tuple[int, int, int] = (52, 48, 42)


@dataclass
class Subject:
    """Areas and lines from back to front; y down, the ground at y = 0, the top near y = -1."""

    name: str
    items: list[Area | Line] = field(default_factory=list)

    def moved(self, scale: float, offset: tuple[float, float], turn_rad: float = 0.0, flip: bool = False) -> Subject:
        """The subject scaled, turned about its root and set down at `offset` (unit of the target space)."""
        c, s = np.cos(turn_rad) * scale, np.sin(turn_rad) * scale
        matrix = np.array([[c, s], [-s, c]])
        if flip:
            matrix = np.array([[-1.0, 0], [0, 1.0]]) @ matrix
        return self.mapped(lambda p: np.asarray(p) @ matrix + np.asarray(offset))

    def mapped(self, change: Callable[[Points], Points]) -> Subject:
        """The subject with every point sent through `change`."""
        moved: list[Area | Line] = []
        for item in self.items:
            if isinstance(item, Area):
                moved.append(Area(change(item.outline), item.colour, item.tone, item.drawn))
            else:
                moved.append(Line(change(item.points), item.weight, item.colour))
        return Subject(self.name, moved)

    def fitted(self, box: tuple[float, float, float, float]) -> Subject:
        """The subject scaled and centred into the box x0, y0, x1, y1."""
        low, high = self.bounds()
        x0, y0, x1, y1 = box
        scale = float(min((x1 - x0) / max(high[0] - low[0], 1e-6), (y1 - y0) / max(high[1] - low[1], 1e-6)))
        centre = (low + high) / 2
        return self.moved(scale, ((x0 + x1) / 2 - scale * centre[0], (y0 + y1) / 2 - scale * centre[1]))

    def bounds(self) -> tuple[Points, Points]:
        """Lowest and highest corner of everything in it."""
        points = np.vstack([x.outline if isinstance(x, Area) else x.points for x in self.items])
        return points.min(axis=0), points.max(axis=0)

    def add(self, other: Subject) -> None:
        """Put another subject in front of this one."""
        self.items += other.items


def bent(base: Points, angle: float, length: float, bend: float, n: int = 12) -> Points:
    """(n, 2) points of an arc from `base`; angle 0 is up, positive to the right; `bend` turns it on the way."""
    t = np.linspace(0, 1, n)
    direction = angle + bend * t
    step = length / (n - 1)
    way = np.stack([np.sin(direction), -np.cos(direction)], axis=1) * step
    return np.asarray(base + np.vstack([[0.0, 0.0], np.cumsum((way[:-1] + way[1:]) / 2, axis=0)]))


def normals(path: Points) -> Points:
    """(N, 2) path -> (N, 2) unit vectors to its right hand (y down)."""
    along = np.gradient(path, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    return np.stack([-along[:, 1], along[:, 0]], axis=1)


def ribbon(path: Points, half_width: Points) -> Points:
    """(N, 2) path and (N,) half widths -> (2N, 2) closed outline around it."""
    side = normals(path) * np.asarray(half_width)[:, None]
    return np.vstack([path + side, (path - side)[::-1]])


def blob(centre: Points, radii: tuple[float, float], angle: float, rough: float, rng: np.random.Generator) -> Points:
    """(N, 2) an uneven oval: petals, fruits, stones."""
    knots = ellipse((0.0, 0.0), radii, 0.0, 9) * (1 + rng.normal(0, rough, (9, 1)))
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(centre + spline(knots, 4, closed=True) @ np.array([[c, s], [-s, c]]))


def varied(colour: tuple[int, int, int], rng: np.random.Generator, amount: float = 10.0) -> tuple[int, int, int]:
    """A colour a little lighter or darker, warmer or cooler."""
    shift = rng.normal(0, amount) + rng.normal(0, amount * 0.4, 3)
    r, g, b = (int(np.clip(c + d, 4, 251)) for c, d in zip(colour, shift, strict=True))
    return r, g, b
