"""The plants of Saltmere, drawn from their structure: stems, veined leaves, heads, umbels, blades."""

from __future__ import annotations

import numpy as np

from .drawing import Points, ellipse, spline
from .subject import Area, Line, Subject, bent, blob, normals, ribbon, varied

GREENS = ((92, 118, 62), (74, 104, 72), (118, 132, 66), (96, 122, 96), (64, 92, 58))
Rng = np.random.Generator
Colour = tuple[int, int, int]


def leaf(subject: Subject, base: Points, angle: float, length: float, width: float, colour: Colour, rng: Rng,
         form: str = "lance") -> None:  # fmt: skip
    """Add one leaf with midrib and side veins; forms: lance, ovate, spiny, toothed, strap."""
    n = 40 if form in ("spiny", "toothed") else 22
    path = bent(base, angle, length, rng.normal(0, 0.45), n)
    t = np.linspace(0, 1, n)
    profile = {
        "lance": np.sin(np.pi * t**0.8) ** 0.9,
        "ovate": np.sin(np.pi * t**0.6) ** 0.8,
        "toothed": np.sin(np.pi * t**0.65) ** 0.8 * (1 - 0.22 * (np.arange(n) % 3 == 0)),
        "spiny": np.sin(np.pi * t**0.7) ** 0.6 * np.where(np.arange(n) % 5 == 2, 1.5, 0.72),
        "strap": np.minimum(1, 4 * t) * (1 - t**3),
    }[form]
    half = width / 2 * np.maximum(profile, 0.02)
    left = half * rng.uniform(0.8, 1.1)
    side = normals(path)
    outline = np.vstack([path + side * half[:, None], (path - side * left[:, None])[::-1]])
    subject.items.append(Area(outline, colour, rng.uniform(0.3, 0.6)))
    dark: Colour = (colour[0] // 2, colour[1] // 2, colour[2] // 2)
    subject.items.append(Line(path[: n - 1], 0.8, dark))
    if form == "strap":
        return
    for k in np.linspace(0.14, 0.82, 6 if length > 0.12 else 3):
        i = int(k * (n - 1))
        j = min(n - 1, i + max(1, int(0.13 * n)))
        for sign, reach in ((1.0, half[j]), (-1.0, left[j])):
            end = path[j] + sign * side[j] * reach * 0.82
            middle = (path[i] + end) / 2 + 0.08 * (path[j] - path[i])
            subject.items.append(Line(spline(np.vstack([path[i], middle, end]), 4), 0.35, dark))


def stem(subject: Subject, path: Points, width: float, colour: Colour) -> None:
    """Add a tapering stem."""
    half = np.linspace(width, width * 0.55, len(path)) / 2
    subject.items.append(Area(ribbon(path, half), colour, 0.45))


def umbel(rng: Rng) -> Subject:
    """Pale umbel: a furrowed stalk, divided leaves and flat heads of small white or pink flowers."""
    s = Subject("pale umbel")
    green = GREENS[rng.integers(len(GREENS))]
    path = bent(np.zeros(2), rng.normal(0, 0.06), 0.72, rng.normal(0, 0.2), 18)
    stem(s, path, 0.022, green)
    for at in (4, 8, 12):
        for sign in (-1, 1)[: 1 + int(rng.integers(0, 2))]:
            _divided_leaf(s, path[at], sign * rng.uniform(0.7, 1.2), rng.uniform(0.2, 0.32), green, rng)
    heads = [(path[-1], 0.0, 0.24)]
    for at, sign in ((10, 1), (14, -1)):
        branch = bent(path[at], sign * 0.55, rng.uniform(0.16, 0.25), -sign * 0.4, 10)
        stem(s, branch, 0.011, green)
        heads.append((branch[-1], sign * 0.2, rng.uniform(0.12, 0.17)))
    petals: Colour = ((236, 226, 214), (226, 190, 196), (214, 206, 160))[int(rng.integers(3))]
    for root, lean, size in heads:
        for angle in np.linspace(-1.05, 1.05, 11):
            ray = bent(root, lean + angle, size * (0.72 + 0.28 * np.cos(angle)), -angle * 0.25, 7)
            s.items.append(Line(ray, 0.8, green))
            for _ in range(9):
                spot = ray[-1] + rng.normal(0, 1, 2) * np.array([0.24, 0.12]) * size * 0.5
                s.items.append(Area(blob(spot, (0.034 * size / 0.24,) * 2, 0, 0.25, rng), varied(petals, rng), 0.12))
    return s


def _divided_leaf(s: Subject, base: Points, angle: float, length: float, green: Colour, rng: Rng) -> None:
    """Add a leaf of paired toothed leaflets on one stalk."""
    rib = bent(base, angle, length, np.sign(angle) * 0.5, 12)
    s.items.append(Line(rib, 1.2, green))
    for i, k in enumerate((4, 6, 8, 10)):
        for sign in (-1, 1):
            size = length * (0.42 - 0.06 * i)
            leaf(s, rib[k], angle + sign * 0.9, size, size * 0.45, varied(green, rng), rng, "toothed")
    leaf(s, rib[-1], angle + 0.2, length * 0.3, length * 0.14, varied(green, rng), rng, "toothed")


def thrift(rng: Rng) -> Subject:
    """Saltmere thrift: a cushion of narrow leaves and round pink heads on bare stalks."""
    s = Subject("Saltmere thrift")
    green = GREENS[rng.integers(len(GREENS))]
    pink: Colour = ((206, 112, 146), (222, 140, 160), (176, 100, 150))[int(rng.integers(3))]
    heads = []
    for _ in range(int(rng.integers(5, 9))):
        root = np.array([rng.normal(0, 0.07), -0.02])
        stalk = bent(root, rng.normal(0, 0.28), rng.uniform(0.5, 0.85), rng.normal(0, 0.3), 14)
        stem(s, stalk, 0.010, varied((122, 128, 76), rng))
        heads.append(stalk)
    for _ in range(46):
        root = np.array([rng.normal(0, 0.11), rng.uniform(-0.02, 0.02)])
        lean = root[0] * 5 + rng.normal(0, 0.3)
        leaf(s, root, lean, rng.uniform(0.14, 0.3), 0.012, varied(green, rng, 14), rng, "strap")
    for stalk in heads:
        _thrift_head(s, stalk[-1], float(rng.uniform(0.052, 0.078)), pink, rng)
    return s


def _thrift_head(s: Subject, centre: Points, radius: float, pink: Colour, rng: Rng) -> None:
    """Add a round head: papery bracts below, rings of petals above."""
    s.items.append(
        Area(
            blob(centre + np.array([0, radius * 0.5]), (radius * 0.62, radius * 0.5), 0, 0.05, rng), (168, 140, 96), 0.5
        )
    )
    for ring in (1.0, 0.72, 0.42):
        for angle in np.linspace(-2.1, 2.1, int(5 + 8 * ring)) + rng.normal(0, 0.08):
            away = np.array([np.sin(angle), -np.cos(angle) * 0.85]) * radius * ring
            shape = blob(centre + away, (radius * 0.19, radius * 0.28), angle, 0.1, rng)
            s.items.append(Area(shape, varied(pink, rng, 14), rng.uniform(0.12, 0.4)))


def sea_holly(rng: Rng) -> Subject:
    """Brine holly: blue-green spiny leaves, ruffs of bracts and thimble heads."""
    s = Subject("brine holly")
    steel: Colour = ((112, 142, 150), (126, 150, 142), (104, 128, 158))[int(rng.integers(3))]
    path = bent(np.zeros(2), rng.normal(0, 0.08), 0.66, rng.normal(0, 0.25), 16)
    stem(s, path, 0.02, varied(steel, rng))
    heads = [(path[-1], 0.078)]
    for at, sign in ((3, 1), (5, -1), (8, 1), (10, -1)):
        leaf(s, path[at], sign * rng.uniform(0.9, 1.4), rng.uniform(0.2, 0.28), 0.17, varied(steel, rng), rng, "spiny")
        if at > 4:
            branch = bent(path[at], sign * 0.6, rng.uniform(0.2, 0.3), -sign * 0.5, 9)
            stem(s, branch, 0.012, varied(steel, rng))
            heads.append((branch[-1], float(rng.uniform(0.05, 0.065))))
    violet: Colour = (96, 108, 168)
    for centre, size in heads:
        for angle in np.linspace(-1.9, 1.9, 8):
            leaf(s, centre, float(angle), size * rng.uniform(1.8, 2.3), size * 0.7, varied(steel, rng), rng, "spiny")
        s.items.append(Area(blob(centre - [0, size * 0.7], (size * 0.62, size * 0.9), 0, 0.03, rng), violet, 0.55))
        for row in range(5):
            for column in range(-2, 3):
                spot = centre + np.array([column * size * 0.21 * (1 - 0.1 * row), -size * (0.15 + 0.28 * row)])
                s.items.append(
                    Area(
                        ellipse((float(spot[0]), float(spot[1])), (size * 0.1, size * 0.12)),
                        varied(violet, rng, 22),
                        0.4,
                    )
                )
    return s


def kelp(rng: Rng) -> Subject:
    """Lantern kelp: a branching holdfast, a stipe and long waved blades with small floats."""
    s = Subject("lantern kelp")
    brown: Colour = ((134, 102, 44), (110, 98, 48), (146, 92, 52))[int(rng.integers(3))]
    for angle in np.linspace(-2.4, 2.4, 9):
        root = bent(np.array([0, -0.06]), np.pi + angle * 0.5, rng.uniform(0.06, 0.11), angle, 8)
        s.items.append(Area(ribbon(root, np.linspace(0.008, 0.003, 8)), varied(brown, rng), 0.6))
    stipe = bent(np.array([0, -0.05]), rng.normal(0, 0.1), 0.3, rng.normal(0, 0.4), 10)
    stem(s, stipe, 0.026, brown)
    for angle in np.linspace(-0.75, 0.75, int(rng.integers(5, 8))):
        n = 46
        path = bent(stipe[-1], angle + rng.normal(0, 0.1), rng.uniform(0.5, 0.72), -angle * 0.9 + rng.normal(0, 0.5), n)
        t = np.linspace(0, 1, n)
        wave = 1 + 0.22 * np.sin(t * rng.uniform(24, 34) + rng.uniform(0, 6))
        half = rng.uniform(0.024, 0.036) * np.minimum(1, 5 * t) * (1 - t**4) * wave + 0.002
        s.items.append(Area(ribbon(path, half), varied(brown, rng, 14), rng.uniform(0.4, 0.65)))
        for offset in (-0.35, 0.35):
            s.items.append(Line((path + normals(path) * (half * offset)[:, None])[4:-6], 0.4, (70, 52, 26)))
        s.items.append(Line(path[:-4], 0.7, (70, 52, 26)))
        spot = path[4] + rng.normal(0, 0.012, 2)
        s.items.append(Area(blob(spot, (0.02, 0.032), angle, 0.04, rng), varied(brown, rng), 0.45))
    return s


def grass(rng: Rng) -> Subject:
    """Gull oat: a tuft of arching blades with nodding, bristled spikes."""
    s = Subject("gull oat")
    straw: Colour = ((170, 156, 92), (134, 142, 84), (188, 164, 108))[int(rng.integers(3))]
    for _ in range(26):
        lean = rng.normal(0, 0.35)
        blade = bent(
            np.array([rng.normal(0, 0.05), 0]), lean, rng.uniform(0.4, 0.8), lean * 1.6 + rng.normal(0, 0.3), 24
        )
        s.items.append(
            Area(ribbon(blade, 0.008 * (1 - np.linspace(0, 1, 24) ** 2) + 0.001), varied(straw, rng, 14), 0.4)
        )
    for _ in range(int(rng.integers(4, 8))):
        lean = rng.normal(0, 0.2)
        stalk = bent(
            np.array([rng.normal(0, 0.04), 0]), lean, rng.uniform(0.75, 1.0), lean * 2 + rng.normal(0, 0.2), 30
        )
        stem(s, stalk, 0.009, varied(straw, rng))
        for i in range(18, 30):
            for sign in (-1, 1):
                heading = lean + sign * 0.45 + (stalk[i, 0] - stalk[i - 1, 0]) * 20
                husk = bent(stalk[i], heading, 0.048, 0, 8)
                half = 0.0075 * np.sin(np.linspace(0.15, np.pi, 8))
                s.items.append(Area(ribbon(husk, half), varied((196, 168, 104), rng, 14), 0.3))
                s.items.append(
                    Line(bent(husk[-1], heading, rng.uniform(0.03, 0.07), rng.normal(0, 0.3), 4), 0.35, (120, 104, 60))
                )
    return s


def poppy(rng: Rng) -> Subject:
    """Tide poppy: crumpled four-petalled flowers, hairy buds and curved seed pods."""
    s = Subject("tide poppy")
    green: Colour = (118, 138, 112)
    petal: Colour = ((226, 176, 46), (210, 92, 44), (232, 200, 120))[int(rng.integers(3))]
    stalks = []
    for lean in rng.permutation(np.linspace(-0.4, 0.4, int(rng.integers(3, 6)))):
        stalk = bent(np.array([rng.normal(0, 0.015), 0]), float(lean), rng.uniform(0.5, 0.85), rng.normal(0, 0.4), 16)
        stem(s, stalk, 0.013, varied(green, rng))
        for at in (3, 6, 9):
            sign = 1 if rng.random() < 0.5 else -1
            leaf(s, stalk[at], lean + sign * 0.8, rng.uniform(0.14, 0.26), 0.075, varied(green, rng), rng, "spiny")
        stalks.append(stalk)
    for index, stalk in enumerate(stalks):
        if index == 1:
            pod = bent(stalk[-1], 0.3, 0.2, 0.9, 14)
            s.items.append(Area(ribbon(pod, 0.008 * np.ones(14)), varied(green, rng), 0.5))
        else:
            _poppy_flower(s, stalk[-1], float(rng.uniform(0.085, 0.125)), petal, rng)
    return s


def _poppy_flower(s: Subject, centre: Points, size: float, petal: Colour, rng: Rng) -> None:
    """Add one open flower with crumpled petals, ovary and stamens."""
    for angle in (0.3, 2.2, -1.3, 3.6):
        away = np.array([np.sin(angle), -np.cos(angle) * 0.7]) * size * 0.62
        s.items.append(
            Area(blob(centre + away, (size * 0.72, size * 0.55), angle, 0.07, rng), varied(petal, rng, 12), 0.22)
        )
        for fold in rng.normal(angle, 0.35, 4):
            tip = centre + np.array([np.sin(fold), -np.cos(fold) * 0.7]) * size * rng.uniform(0.7, 1.15)
            s.items.append(
                Line(
                    spline(np.vstack([centre, (centre + tip) / 2 + rng.normal(0, 0.004, 2), tip]), 4),
                    0.35,
                    (150, 96, 30),
                )
            )
    s.items.append(Area(blob(centre, (size * 0.15, size * 0.18), 0, 0.05, rng), (112, 124, 62), 0.6))
    for angle in rng.uniform(0, 2 * np.pi, 18):
        spot = centre + np.array([np.cos(angle), np.sin(angle) * 0.7]) * size * rng.uniform(0.22, 0.34)
        s.items.append(Line(np.vstack([centre, spot]), 0.35, (120, 80, 24)))
        s.items.append(Area(ellipse((float(spot[0]), float(spot[1])), (size * 0.035,) * 2, n=8), (140, 84, 24), 0.7))


def sorrel(rng: Rng) -> Subject:
    """Creek sorrel: alternate broad leaves on a leaning twig, with strings of berries."""
    s = Subject("creek sorrel")
    green = GREENS[rng.integers(len(GREENS))]
    berry: Colour = ((172, 52, 48), (70, 74, 120), (206, 128, 40))[int(rng.integers(3))]
    path = bent(np.zeros(2), rng.normal(0, 0.2), 0.95, rng.normal(0, 0.5), 24)
    stem(s, path, 0.016, (122, 98, 70))
    for i, at in enumerate(range(3, 24, 3)):
        sign = 1 if i % 2 else -1
        size = 0.3 * (1 - 0.022 * at)
        stalk = bent(path[at], sign * 1.0, 0.05, 0.0, 4)
        s.items.append(Line(stalk, 1.2, green))
        leaf(s, stalk[-1], sign * rng.uniform(0.85, 1.25), size, size * 0.52, varied(green, rng, 13), rng, "ovate")
        if i % 2 == 0:
            string = bent(path[at], -sign * 1.6, 0.15, -sign * 1.0, 9)
            s.items.append(Line(string, 0.8, (110, 70, 54)))
            for knot in string[3:]:
                spot = knot + rng.normal(0, 0.008, 2)
                s.items.append(Area(blob(spot, (0.017, 0.018), 0, 0.04, rng), varied(berry, rng, 16), 0.6))
    leaf(s, path[-1], 0.1, 0.17, 0.08, varied(green, rng), rng, "ovate")
    return s


PLANTS = (umbel, thrift, sea_holly, kelp, grass, poppy, sorrel)


def plant(rng: Rng) -> Subject:
    """One plant of the island, root at the origin, about one unit high."""
    return PLANTS[int(rng.integers(len(PLANTS)))](rng)
