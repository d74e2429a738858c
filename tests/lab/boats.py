"""The boats of Saltmere: hull, sheer line, planks, masts, sails and rigging, and their reflection."""

from __future__ import annotations

import numpy as np

from .drawing import Points, spline
from .subject import Area, Line, Subject, varied

Rng = np.random.Generator
Colour = tuple[int, int, int]
HULLS: tuple[Colour, ...] = ((54, 78, 104), (150, 60, 48), (62, 92, 80), (226, 220, 204), (44, 46, 52), (178, 132, 62))
SAILS: tuple[Colour, ...] = ((160, 84, 52), (222, 208, 176), (232, 226, 212), (124, 62, 48), (206, 168, 96))
NAMES = ("Curlew May", "Oystermaid", "Little Ferrant", "Grey Wend", "Annis Rook", "Cormer Lass")
ROPE: Colour = (64, 56, 48)


def _sheer(x0: float, x1: float, bow: float, stern: float, sag: float, n: int = 24) -> Points:
    """(n, 2) the upper edge of a hull seen from the side, bow to the right."""
    t = np.linspace(0, 1, n)
    y = -(stern * (1 - t) ** 2 + sag * 2 * t * (1 - t) + bow * t**2)
    return np.stack([x0 + (x1 - x0) * t, y], axis=1)


def hull(s: Subject, length: float, depth: float, colour: Colour, rng: Rng) -> Points:
    """Add a clinker hull with its keel at y = 0; returns the sheer line."""
    half = length / 2
    sheer = _sheer(-half, half, depth * 1.45, depth * 1.05, depth * 0.72)
    rake, stern = 0.16 * length, 0.05 * length
    keel = np.array([[half - 0.04 * length, -depth * 0.75], [half - rake * 0.55, -depth * 0.25], [half - rake, 0.0],
                     [-half + stern * 2, 0.0], [-half + stern, -depth * 0.1]])  # fmt: skip
    outline = np.vstack([sheer, spline(keel, 6)])
    s.items.append(Area(outline, colour, 0.62))
    dark: Colour = (colour[0] // 2, colour[1] // 2, colour[2] // 2)
    for k in (0.22, 0.42, 0.62, 0.8):  # strakes follow the sheer and close up towards the keel
        plank = sheer * (1.0, 1 - k)
        plank[:, 0] = plank[:, 0] * (1 - 0.26 * k**1.5)
        s.items.append(Line(plank[1:-1], 0.5, dark))
    rail = np.vstack([sheer, (sheer + np.array([0, depth * 0.13]))[::-1]])
    s.items.append(Area(rail, varied((214, 190, 140), rng), 0.2))
    s.items.append(Line(sheer, 1.6, dark))
    return sheer


def _sail(s: Subject, corners: list[tuple[float, float]], belly: float, colour: Colour, rng: Rng) -> None:
    """Add a sail of three or four corners with a curved leech and its seams."""
    p = np.array(corners)
    n = len(p)
    edges = []
    for i in range(n):
        a, b = p[i], p[(i + 1) % n]
        out = np.array([(b - a)[1], -(b - a)[0]])
        amount = belly * (0.14 if i == n - 2 else 0.05)
        edges.append(spline(np.vstack([a, (a + b) / 2 + out * amount, b]), 7)[:-1])
    outline = np.vstack(edges)
    s.items.append(Area(outline, colour, 0.3 if sum(colour) < 520 else 0.12))
    dark: Colour = (colour[0] * 2 // 3, colour[1] * 2 // 3, colour[2] * 2 // 3)
    for k in (0.2, 0.4, 0.6, 0.8):
        a = p[0] * (1 - k) + p[1] * k
        b = p[-1] * (1 - k) + p[-2] * k
        s.items.append(Line(spline(np.vstack([a, (a + b) / 2 + [0, 0.012], b]), 5), 0.35, dark))
    if n == 4 and rng.random() < 0.7:
        row = p[0] * 0.78 + p[1] * 0.22
        end = p[-1] * 0.78 + p[-2] * 0.22
        for k in np.linspace(0.1, 0.9, 8):
            spot = row * (1 - k) + end * k
            s.items.append(Line(np.vstack([spot, spot + np.array([0.003, 0.022])]), 0.5, dark))


def _spar(s: Subject, a: tuple[float, float], b: tuple[float, float], width: float) -> None:
    """Add a mast, boom or gaff."""
    p, q = np.array(a), np.array(b)
    side = np.array([(q - p)[1], -(q - p)[0]])
    side = side / np.linalg.norm(side) * width / 2
    s.items.append(Area(np.vstack([p + side, q + side * 0.6, q - side * 0.6, p - side]), (122, 92, 58), 0.5))


def _rope(s: Subject, a: tuple[float, float], b: tuple[float, float], sag: float = 0.004) -> None:
    """Add a stay or sheet."""
    middle = (np.array(a) + np.array(b)) / 2 + [0, sag]
    s.items.append(Line(spline(np.vstack([a, middle, b]), 6), 0.45, ROPE))


def gaff_cutter(rng: Rng) -> Subject:
    """A cutter with gaff mainsail, topsail in some, and two headsails."""
    s = Subject(NAMES[int(rng.integers(len(NAMES)))])
    cloth = SAILS[int(rng.integers(len(SAILS)))]
    sheer = hull(s, 0.86, 0.115, HULLS[int(rng.integers(len(HULLS)))], rng)
    deck, bow = float(sheer[12, 1]), (float(sheer[-1, 0]), float(sheer[-1, 1]))
    mast, top, peak = 0.1, -0.95, (-0.24, -0.9)
    _spar(s, (bow[0] - 0.1, bow[1] + 0.015), (bow[0] + 0.2, bow[1] - 0.035), 0.014)
    _sail(s, [(mast - 0.02, deck - 0.09), (mast - 0.01, -0.7), peak, (-0.44, deck - 0.08)], 1.0, cloth, rng)
    _sail(
        s,
        [(mast + 0.03, deck - 0.05), (mast + 0.02, -0.74), (bow[0] - 0.02, bow[1] - 0.02)],
        0.8,
        varied(cloth, rng, 8),
        rng,
    )
    _sail(
        s,
        [(mast + 0.14, deck - 0.05), (mast + 0.02, -0.86), (bow[0] + 0.19, bow[1] - 0.04)],
        0.8,
        varied(cloth, rng, 8),
        rng,
    )
    if rng.random() < 0.5:
        _sail(
            s,
            [(mast - 0.01, -0.72), (mast, top + 0.01), (peak[0] + 0.02, peak[1] + 0.01)],
            0.3,
            varied(cloth, rng, 8),
            rng,
        )
    _spar(s, (mast, deck), (mast, top), 0.02)
    _spar(s, (mast, deck - 0.075), (-0.47, deck - 0.07), 0.014)
    _spar(s, (mast, -0.69), (peak[0] - 0.01, peak[1] - 0.012), 0.012)
    for end in ((bow[0] + 0.2, bow[1] - 0.035), (0.02, deck), (0.18, deck)):
        _rope(s, (mast, top + 0.03), end)
    _rope(s, (-0.46, deck - 0.07), (-0.4, deck))
    _flag(s, (mast, top), rng)
    return s


def lugger(rng: Rng) -> Subject:
    """A two-masted lugger with tanned four-cornered sails."""
    s = Subject(NAMES[int(rng.integers(len(NAMES)))])
    cloth = SAILS[int(rng.integers(len(SAILS)))]
    sheer = hull(s, 0.92, 0.12, HULLS[int(rng.integers(len(HULLS)))], rng)
    deck = float(sheer[12, 1])
    for mast, tall, wide in ((0.24, 0.86, 0.44), (-0.3, 0.6, 0.28)):
        x = mast
        _sail(s, [(x + wide * 0.32, deck - 0.05), (x + wide * 0.25, deck - tall * 0.72),
            (x - wide * 0.5, deck - tall * 0.92),
                  (x - wide * 0.62, deck - 0.07)], 0.9, varied(cloth, rng, 8), rng)  # fmt: skip
        _spar(s, (x, deck), (x - 0.015, deck - tall), 0.018)
        _spar(s, (x + wide * 0.27, deck - tall * 0.71), (x - wide * 0.53, deck - tall * 0.93), 0.012)
        _rope(s, (x - 0.015, deck - tall), (x + 0.17, deck))
        _rope(s, (x - wide * 0.62, deck - 0.07), (x - wide * 0.5, deck + 0.01))
    _flag(s, (0.225, deck - 0.86), rng)
    return s


def rowing_boat(rng: Rng) -> Subject:
    """A rowing boat drawn up on the shingle, seen a little from above, with oars and a mooring line."""
    s = Subject(NAMES[int(rng.integers(len(NAMES)))])
    colour = HULLS[int(rng.integers(len(HULLS)))]
    far = _sheer(-0.44, 0.5, 0.36, 0.29, 0.24)
    near = _sheer(-0.46, 0.52, 0.36, 0.245, 0.14)
    inside = np.vstack([far, near[::-1]])
    keel = spline(np.array([[0.5, -0.3], [0.42, -0.12], [0.3, -0.01], [-0.34, 0.0], [-0.44, -0.05]]), 6)
    s.items.append(Area(np.vstack([near, keel]), colour, 0.6))
    s.items.append(Area(inside, (150, 118, 78), 0.45))
    dark: Colour = (colour[0] // 2, colour[1] // 2, colour[2] // 2)
    for k in (0.3, 0.55, 0.78):
        plank = near * (1 - 0.1 * k, 1 - k)
        s.items.append(Line(plank[1:-1], 0.6, dark))
    for k in (5, 11, 17):
        bench = np.vstack(
            [far[k] + [0, 0.012], far[k + 2] + [0, 0.012], near[k + 2] - [0, 0.012], near[k] - [0, 0.012]]
        )
        s.items.append(Area(bench, varied((196, 164, 116), rng), 0.25))
    s.items += [Line(far, 1.2, dark), Line(near, 1.8, dark)]
    blade = np.array([[0.34, -0.215], [0.47, -0.235], [0.48, -0.205], [0.35, -0.19]])
    for offset in (0.0, 0.05):
        _spar(s, (-0.3 + offset, -0.26), (0.36 + offset, -0.2 - offset), 0.014)
        s.items.append(
            Area(
                blade + np.array([offset, -offset]),
                (200, 172, 122),
                0.3,
            )
        )
    line = spline(np.array([[0.51, -0.34], [0.6, -0.1], [0.68, -0.01], [0.8, 0.02], [0.9, -0.01]]), 8)
    s.items.append(Line(line, 0.8, ROPE))
    for _ in range(16):
        x, size = rng.uniform(-0.6, 0.85), rng.uniform(0.008, 0.026)
        stone = spline(
            np.array([[-1, 0.1], [-0.5, -0.6], [0.4, -0.7], [1, 0.1], [0.3, 0.5]]) * [size * 1.3, size * 0.8], 4, True
        )
        s.items.append(Area(stone + np.array([x, rng.uniform(0.0, 0.07)]), varied((150, 144, 134), rng, 18), 0.35))
    return s


def _flag(s: Subject, top: tuple[float, float], rng: Rng) -> None:
    """Add a pennant at the truck."""
    x, y = top
    points = spline(
        np.array([[x, y], [x - 0.05, y - 0.012], [x - 0.11, y + 0.012], [x - 0.05, y + 0.02], [x, y + 0.026]]), 4
    )
    s.items.append(Area(points, ((188, 54, 44), (44, 74, 120), (218, 170, 60))[int(rng.integers(3))], 0.6))


def reflection(boat: Subject, rng: Rng, depth: float = 0.55) -> Subject:
    """The boat upside down in the water below y = 0, broken by ripples."""
    mirrored = Subject(boat.name)
    for area in boat.items:
        if not isinstance(area, Area):
            continue
        p = area.outline * (1, -depth)
        p = p + np.stack([0.016 * np.sin(p[:, 1] * 70) + 0.01 * np.sin(p[:, 1] * 31 + 2), np.zeros(len(p))], axis=1)
        r, g, b = area.colour
        blend: Colour = ((r + 92) // 2, (g + 116) // 2, (b + 126) // 2)
        mirrored.items.append(Area(p, blend, area.tone * 0.6, drawn=False))
    for _ in range(16):
        y, x = rng.uniform(0.01, 0.3), rng.normal(0, 0.3)
        long = rng.uniform(0.05, 0.25)
        ripple = np.array(
            [[x - long, y], [x - long / 2, y + 0.006], [x, y - 0.003], [x + long / 2, y + 0.005], [x + long, y]]
        )
        mirrored.items.append(Line(spline(ripple, 4), 0.45, (70, 92, 104)))
    return mirrored


BOATS = (gaff_cutter, lugger, rowing_boat)


def boat(rng: Rng, afloat: bool | None = None) -> Subject:
    """One boat of the island, keel at y = 0, with its reflection when afloat."""
    build = BOATS[int(rng.integers(len(BOATS)))] if afloat is None else BOATS[int(rng.integers(2))]
    s = build(rng)
    if build is not rowing_boat:
        mirrored = reflection(s, rng)
        mirrored.add(s)
        mirrored.name = s.name
        return mirrored
    return s
