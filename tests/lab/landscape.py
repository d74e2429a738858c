"""Views of Saltmere in the unit height 0..1, width = aspect: shore, open sea, dunes, and a still life."""

from __future__ import annotations

import numpy as np

from .boats import boat
from .drawing import Points, ellipse, spline
from .plants import grass, plant
from .subject import Area, Line, Subject, blob, varied

Rng = np.random.Generator
Colour = tuple[int, int, int]


def _band(aspect: float, top: Points, bottom: float | Points) -> Points:
    """A strip between an upper edge (N heights) and a lower one."""
    n = len(top)
    x = np.linspace(-0.02, aspect + 0.02, n)
    low = np.full(n, bottom) if np.isscalar(bottom) else np.asarray(bottom)
    return np.vstack([np.stack([x, top], 1), np.stack([x, low], 1)[::-1]])


def _ridge(rng: Rng, level: float, height: float, n: int = 60, bumps: int = 5) -> Points:
    """(n,) heights of a hilly edge about `level`."""
    knots = level - height * np.abs(rng.normal(0, 1, bumps + 2))
    x = np.linspace(0, 1, bumps + 2)
    curve = spline(np.stack([x, knots], 1), 12)
    return np.interp(np.linspace(0, 1, n), curve[:, 0], curve[:, 1]) + rng.normal(0, 0.0012, n)


def _sky(s: Subject, rng: Rng, aspect: float, horizon: float) -> None:
    """Bands from the zenith to the horizon and a few clouds."""
    high, low = (((96, 140, 188), (214, 222, 220)), ((150, 164, 176), (226, 220, 206)), ((110, 120, 152),
        (238, 196, 150)),
                 ((128, 168, 190), (244, 226, 188)))[int(rng.integers(4))]  # fmt: skip
    steps = 9
    for i in range(steps):
        k = i / (steps - 1)
        colour = (
            round(high[0] + k * (low[0] - high[0])),
            round(high[1] + k * (low[1] - high[1])),
            round(high[2] + k * (low[2] - high[2])),
        )
        top = horizon * (i / steps) + (rng.normal(0, 0.006, 60) if i else -0.02)
        s.items.append(
            Area(
                _band(aspect, np.broadcast_to(top, (60,)), horizon * ((i + 1) / steps) + 0.012),
                colour,
                0.15,
                drawn=False,
            )
        )
    for _ in range(int(rng.integers(2, 7))):
        x, y, size = rng.uniform(0, aspect), horizon * rng.uniform(0.1, 0.8), rng.uniform(0.04, 0.14)
        for _ in range(5):
            spot = np.array([x + rng.normal(0, size), y + rng.normal(0, size * 0.16)])
            white = varied((232, 228, 220), rng, 9)
            s.items.append(
                Area(blob(spot, (size * rng.uniform(0.5, 1), size * 0.24), 0, 0.12, rng), white, 0.1, drawn=False)
            )


def _sea(s: Subject, rng: Rng, aspect: float, horizon: float, foot: float) -> None:
    """Water in bands, with lights and darks of waves that widen towards the viewer."""
    far, near = (((120, 150, 164), (46, 92, 104)), ((142, 158, 160), (70, 96, 96)), ((96, 132, 156), (36, 72, 102)))[
        int(rng.integers(3))
    ]
    steps = 8
    for i in range(steps):
        k = i / (steps - 1)
        colour = (
            round(far[0] + k * (near[0] - far[0])),
            round(far[1] + k * (near[1] - far[1])),
            round(far[2] + k * (near[2] - far[2])),
        )
        top = horizon + (foot - horizon) * (i / steps) ** 1.4
        s.items.append(
            Area(
                _band(aspect, top + rng.normal(0, 0.002 + 0.004 * k, 60) * (i > 0), foot + 0.02),
                colour,
                0.35,
                drawn=False,
            )
        )
    for _ in range(120):
        k = rng.random() ** 1.3
        y, x, long = horizon + (foot - horizon) * k, rng.uniform(0, aspect), 0.015 + 0.1 * k * rng.random()
        light = (206, 218, 214) if rng.random() < 0.35 else (38, 70, 84)
        wave = np.array(
            [[x - long, y], [x - long * 0.3, y - 0.002 - 0.006 * k], [x + long, y], [x, y + 0.002 + 0.004 * k]]
        )
        s.items.append(Area(spline(wave, 4, True), varied(light, rng), 0.3, drawn=False))


def shore(rng: Rng, aspect: float) -> tuple[str, Subject]:
    """Title and view: sky, headland, water with boats, and dunes or shingle in front."""
    s = Subject("view")
    horizon = rng.uniform(0.36, 0.56)
    _sky(s, rng, aspect, horizon)
    hill: Colour = ((128, 134, 146), (110, 124, 118), (150, 142, 130))[int(rng.integers(3))]
    for depth in range(int(rng.integers(1, 3))):
        ridge = np.minimum(_ridge(rng, horizon, 0.05 + 0.03 * depth), horizon)
        ridge = np.where(
            np.linspace(0, 1, 60) * (1 if rng.random() < 0.5 else -1) > rng.uniform(-0.8, 0.5), ridge, horizon
        )
        s.items.append(Area(_band(aspect, ridge, horizon + 0.004), varied(hill, rng, 16), 0.4, drawn=False))
    foot = rng.uniform(0.76, 0.95)
    _sea(s, rng, aspect, horizon, foot)
    for index in range(int(rng.integers(1, 4))):
        k = (0.75, 0.25, 0.1)[index]
        size = (0.14 + 0.42 * k) * min(1.0, aspect)
        vessel = boat(rng, afloat=True)
        s.add(
            vessel.moved(
                size, (aspect * rng.uniform(0.2, 0.8), horizon + (foot - horizon) * k * 0.8), 0, rng.random() < 0.5
            )
        )
    beach = _ridge(rng, foot + 0.04, 0.03)
    s.items.append(Area(_band(aspect, beach, 1.03), varied((204, 184, 146), rng), 0.25, drawn=False))
    for _ in range(70):
        spot = np.array([rng.uniform(0, aspect), rng.uniform(foot + 0.03, 1.0)])
        s.items.append(
            Area(
                blob(spot, (rng.uniform(0.004, 0.02), 0.006), 0, 0.2, rng),
                varied((160, 142, 116), rng, 22),
                0.4,
                drawn=False,
            )
        )
    for _ in range(int(rng.integers(1, 4))):
        tuft = grass(rng) if rng.random() < 0.7 else plant(rng)
        s.add(tuft.moved(rng.uniform(0.16, 0.34), (aspect * rng.uniform(0.02, 0.98), rng.uniform(0.95, 1.04))))
    return "The shore at low water", s


def still_life(rng: Rng, aspect: float) -> tuple[str, Subject]:
    """Title and view: a jug with plants, fruit and a cloth on a table."""
    s = Subject("still life")
    wall: Colour = ((112, 122, 116), (150, 128, 104), (88, 92, 112), (174, 164, 140))[int(rng.integers(4))]
    table = rng.uniform(0.64, 0.74)
    for i in range(7):
        k = i / 6
        shade = tuple(int(c * (0.72 + 0.4 * k)) for c in wall)
        x = aspect * (1 - k)
        s.items.append(
            Area(
                np.array([[-0.02, -0.02], [x + 0.2, -0.02], [x, 1], [-0.02, 1]]),
                varied((shade[0], shade[1], shade[2]), rng, 3),
                0.4,
                drawn=False,
            )
        )
    board: Colour = ((142, 98, 62), (188, 170, 140), (96, 74, 58))[int(rng.integers(3))]
    s.items.append(Area(_band(aspect, np.full(60, table), 1.03), board, 0.4, drawn=False))
    cx = aspect * rng.uniform(0.35, 0.6)
    s.add(plant(rng).moved(0.62, (cx, table - 0.12), rng.normal(0, 0.05)))
    _jug(s, rng, cx, table + 0.1)
    for _ in range(int(rng.integers(3, 6))):
        x, y, size = cx + rng.normal(0, 0.26) * aspect, rng.uniform(table + 0.08, 0.92), rng.uniform(0.045, 0.07)
        _fruit(s, rng, float(np.clip(x, 0.1, aspect - 0.1)), y, size)
    return "Jug and quinces", s


def _jug(s: Subject, rng: Rng, cx: float, foot: float) -> None:
    """A glazed jug with its shadow, light and handle."""
    glaze: Colour = ((62, 98, 128), (206, 196, 172), (120, 66, 48), (74, 104, 90))[int(rng.integers(4))]
    half = np.array([[0.075, 0.0], [0.115, -0.1], [0.11, -0.18], [0.06, -0.26], [0.07, -0.31]])
    right = spline(half, 8) + np.array([cx, foot])
    left = spline(half * [-1, 1], 8)[::-1] + np.array([cx, foot])
    s.items.append(Area(blob(np.array([cx + 0.09, foot]), (0.2, 0.03), 0, 0.05, rng), (64, 50, 42), 0.7, drawn=False))
    handle = spline(
        np.array(
            [[cx + 0.06, foot - 0.27], [cx + 0.17, foot - 0.25], [cx + 0.16, foot - 0.13], [cx + 0.1, foot - 0.1]]
        ),
        8,
    )
    s.items.append(Line(handle, 6.0, (glaze[0] // 2, glaze[1] // 2, glaze[2] // 2)))
    s.items.append(Area(np.vstack([right, left]), glaze, 0.5))
    dark: Colour = (glaze[0] * 3 // 5, glaze[1] * 3 // 5, glaze[2] * 3 // 5)
    s.items.append(Area(np.vstack([right, right[::-1] - [0.05, 0]]), dark, 0.65, drawn=False))
    s.items.append(
        Area(
            blob(np.array([cx - 0.055, foot - 0.15]), (0.012, 0.05), 0.05, 0.08, rng),
            varied((232, 232, 226), rng),
            0.05,
            drawn=False,
        )
    )
    s.items.append(Area(ellipse((cx, foot - 0.305), (0.068, 0.016)), (50, 44, 40), 0.7))


def _fruit(s: Subject, rng: Rng, x: float, y: float, size: float) -> None:
    """A quince, plum or lemon with shadow and light."""
    colour: Colour = ((214, 178, 62), (120, 62, 84), (196, 96, 54), (150, 156, 70))[int(rng.integers(4))]
    dark: Colour = (colour[0] * 3 // 5, colour[1] * 3 // 5, colour[2] * 3 // 5)
    s.items.append(
        Area(
            blob(np.array([x + size * 0.5, y + size * 0.8]), (size * 1.3, size * 0.3), 0, 0.05, rng),
            (58, 46, 40),
            0.7,
            drawn=False,
        )
    )
    s.items.append(Area(blob(np.array([x, y]), (size, size * 0.92), rng.uniform(0, 3), 0.03, rng), dark, 0.5))
    s.items.append(
        Area(
            blob(np.array([x - size * 0.12, y - size * 0.1]), (size * 0.8, size * 0.75), 0, 0.03, rng),
            colour,
            0.3,
            drawn=False,
        )
    )
    s.items.append(
        Area(
            blob(np.array([x - size * 0.34, y - size * 0.36]), (size * 0.2, size * 0.14), 0.6, 0.1, rng),
            varied((246, 232, 190), rng),
            0.1,
            drawn=False,
        )
    )


def moored(rng: Rng, aspect: float) -> tuple[str, Subject]:
    """Title and view: one boat large on still water."""
    s = Subject("moored")
    horizon = rng.uniform(0.3, 0.45)
    _sky(s, rng, aspect, horizon)
    ridge = np.minimum(_ridge(rng, horizon, 0.06), horizon)
    s.items.append(Area(_band(aspect, ridge, horizon + 0.004), varied((104, 118, 110), rng, 14), 0.4, drawn=False))
    _sea(s, rng, aspect, horizon, 1.0)
    vessel = boat(rng, afloat=True)
    size = rng.uniform(0.6, 0.72) * min(1.0, aspect)
    s.add(vessel.moved(size, (aspect * rng.uniform(0.42, 0.58), 0.72), 0, rng.random() < 0.5))
    return vessel.name, s


def dunes(rng: Rng, aspect: float) -> tuple[str, Subject]:
    """Title and view: dunes with grasses before a strip of sea."""
    s = Subject("dunes")
    horizon = rng.uniform(0.34, 0.48)
    _sky(s, rng, aspect, horizon)
    _sea(s, rng, aspect, horizon, horizon + 0.1)
    sand: Colour = ((214, 192, 150), (196, 172, 132), (220, 204, 172))[int(rng.integers(3))]
    for k in range(4):
        top = _ridge(rng, horizon + 0.1 + 0.14 * k, 0.06 + 0.02 * k)
        shade: Colour = (sand[0] - 14 * k, sand[1] - 15 * k, sand[2] - 16 * k)
        s.items.append(Area(_band(aspect, top, 1.03), varied(shade, rng, 8), 0.25, drawn=False))
        for _ in range(5 + 3 * k):
            x = rng.uniform(0, aspect)
            y = float(np.interp(x / aspect, np.linspace(0, 1, 60), top)) + rng.uniform(0, 0.08)
            s.add(grass(rng).moved(0.06 + 0.075 * k, (x, y), rng.normal(0.1, 0.1)))
    return "Dunes above Wend Sands", s


VIEWS = (shore, still_life, moored, dunes)
