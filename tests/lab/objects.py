"""Things on the desk: pens, brushes, mug, paint tin, tape, leaves, books, sheets, and a hand at the edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.chart import PATCHES

from .camera import Matrix
from .colour import Array, rgb8
from .drawing import Points, ellipse, spline
from .fields import blurred, fractal
from .plants import GREENS, leaf
from .subject import Area, Subject, ribbon

Rng = np.random.Generator


@dataclass
class Table:
    """A layer on the desk plane that things are painted on: picture, pixel scale, origin and light."""

    picture: Array  # (H, W, 3) linear
    px_per_mm: float
    origin_mm: Matrix  # desk coordinates of the upper left corner
    shadow_step: Matrix  # (2,) mm of shadow for each mm of height
    opacity: Array | None = None  # (H, W) when the layer lies over the work

    def fixed(self, points_mm: Points) -> Array:
        """(N, 2) desk mm -> fixed-point pixels."""
        px = (np.asarray(points_mm) - self.origin_mm) * self.px_per_mm - 0.5
        return np.round(np.clip(px, -20000, 40000) * 16).astype(np.int32)

    def window(self, points_mm: Points, pad_mm: float) -> tuple[slice, slice] | None:
        """The part of the picture around some points, or None when it is off the picture."""
        px = (np.asarray(points_mm) - self.origin_mm) * self.px_per_mm
        pad = pad_mm * self.px_per_mm + 2
        height_px, width_px = self.picture.shape[:2]
        x0, y0 = max(0, int(px[:, 0].min() - pad)), max(0, int(px[:, 1].min() - pad))
        x1, y1 = min(width_px, int(px[:, 0].max() + pad)), min(height_px, int(px[:, 1].max() + pad))
        return (slice(y0, y1), slice(x0, x1)) if x1 - x0 > 2 and y1 - y0 > 2 else None

    def mask(self, outlines: Sequence[Points], part: tuple[slice, slice]) -> Array:
        """(h, w) float32 coverage of closed outlines inside a window."""
        mask = np.zeros((part[0].stop - part[0].start, part[1].stop - part[1].start), np.uint8)
        corner = np.array([part[1].start, part[0].start]) * 16
        for outline in outlines:
            cv2.fillPoly(mask, [(self.fixed(outline) - corner).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return mask.astype(np.float32) / 255

    def shadow(self, outline: Points, height_mm: float, strength: float = 0.55) -> None:
        """Cast and contact shadow of something of this height."""
        reach = float(np.abs(self.shadow_step).max()) * height_mm + 4
        part = self.window(outline, reach * 1.5)
        if part is None:
            return
        cast = np.zeros((part[0].stop - part[0].start, part[1].stop - part[1].start), np.float32)
        for k, soft in ((0.35, 0.12), (0.7, 0.2), (1.0, 0.3)):
            moved = self.mask([outline + self.shadow_step * height_mm * k], part)
            cast = np.maximum(cast, blurred(moved, max(0.6, soft * height_mm * 0.5 * self.px_per_mm)))
        contact = blurred(self.mask([outline], part), 1.6 * self.px_per_mm)
        dark = 1 - (1 - strength * cast) * (1 - 0.35 * contact)
        if self.opacity is None:
            self.picture[part] *= (1 - dark)[..., None]
        else:  # a shadow on the work: black with some opacity
            self.picture[part] *= (1 - dark * (1 - self.opacity[part]))[..., None]
            self.opacity[part] = np.maximum(self.opacity[part], dark)

    def paint(self, outlines: Sequence[Points], colour: Array, shade: Array | None = None) -> None:
        """Fill outlines with a colour, times `shade` (H, W) where the surface has a grain."""
        part = self.window(np.vstack(list(outlines)), 1)
        if part is None:
            return
        cover = self.mask(outlines, part)[..., None]
        tone = colour if shade is None else colour * shade[part][..., None]
        view = self.picture[part]
        view += (tone - view) * cover
        if self.opacity is not None:
            self.opacity[part] = np.maximum(self.opacity[part], cover[..., 0])


def rectangle(centre: Matrix, size_mm: tuple[float, float], turn: float, radius_mm: float = 0.0) -> Points:
    """(N, 2) outline of a turned rectangle with rounded corners."""
    w, h = size_mm[0] / 2, size_mm[1] / 2
    r = min(radius_mm, w, h)
    points = []
    for sx, sy, start in ((1, 1, 0), (-1, 1, 90), (-1, -1, 180), (1, -1, 270)):
        for a in np.radians(np.linspace(start, start + 90, 6 if r else 1)):
            points.append([sx * (w - r) + r * np.cos(a), sy * (h - r) + r * np.sin(a)] if r else [sx * w, sy * h])
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(centre + np.array(points) @ np.array([[c, s], [-s, c]]))


def rod(table: Table, a: Matrix, b: Matrix, radius_mm: float, colour: Array, height_mm: float) -> None:
    """A round stick seen from the side of the light: shaded across."""
    path = np.linspace(a, b, 8)
    table.shadow(ribbon(path, np.full(8, radius_mm)), height_mm)
    across = np.array([(b - a)[1], -(b - a)[0]]) / (np.linalg.norm(b - a) + 1e-9)
    lit = -1.0 if across @ table.shadow_step > 0 else 1.0
    for k in np.linspace(1, 0.1, 7):
        light = 0.42 + 0.75 * (1 - k) ** 0.8
        off = across * lit * radius_mm * 0.45 * (1 - k)
        table.paint(
            [ribbon(path + off, np.full(8, radius_mm * k))], np.minimum(colour * light + 0.06 * (k < 0.25), 0.9)
        )


def pencil(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A pencil or pen: body, tip, end."""
    way = np.array([np.cos(turn), np.sin(turn)])
    length, radius = rng.uniform(110, 180), rng.uniform(3.2, 5.0)
    body = rgb8(
        *((44, 62, 92), (170, 60, 48), (38, 38, 40), (206, 164, 62), (72, 104, 78), (196, 190, 178))[
            int(rng.integers(6))
        ]
    )
    a, b = at - way * length / 2, at + way * length / 2
    rod(table, a, b, radius, body, 4)
    side = np.array([-way[1], way[0]])
    table.paint(
        [np.array([b - side * radius, b + side * radius, b + way * 17 + side, b + way * 17 - side])],
        rgb8(214, 178, 128),
    )
    table.paint([np.array([b + way * 13 - side * 1.6, b + way * 13 + side * 1.6, b + way * 20])], rgb8(40, 40, 42))
    rod(table, a - way * 10, a, radius * 1.02, rgb8(182, 178, 170) if rng.random() < 0.5 else body * 0.6, 4)


def brush(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A paint brush: handle, ferrule, hair."""
    way = np.array([np.cos(turn), np.sin(turn)])
    length = rng.uniform(130, 190)
    a, b = at - way * length / 2, at + way * length / 2
    path = np.linspace(a, b, 16)
    half = np.interp(np.linspace(0, 1, 16), [0, 0.55, 0.85, 1], [1.2, 2.6, 4.2, 3.0])
    table.shadow(ribbon(path, half), 5)
    colour = rgb8(*((92, 40, 34), (40, 44, 60), (188, 150, 96), (52, 74, 60))[int(rng.integers(4))])
    for k in (1.0, 0.7, 0.4, 0.15):
        table.paint([ribbon(path, half * k)], np.minimum(colour * (0.6 + 0.6 * (1 - k)) + 0.1 * (k < 0.2), 0.9))
    rod(table, b, b + way * 22, 3.2, rgb8(196, 192, 182), 5)
    hair = np.linspace(b + way * 22, b + way * 40, 8)
    table.paint([ribbon(hair, np.array([3.1, 3.6, 3.8, 3.5, 2.9, 2.0, 1.1, 0.3]))], rgb8(72, 54, 40))


def mug(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A mug from above: rim, wall, drink, handle."""
    radius = rng.uniform(36, 44)
    glaze = rgb8(*((206, 200, 186), (58, 86, 108), (164, 88, 60), (86, 104, 88))[int(rng.integers(4))])
    x, y = float(at[0]), float(at[1])
    table.shadow(ellipse((x, y), (radius, radius), 0, 48), 70, 0.5)
    way = np.array([np.cos(turn), np.sin(turn)])
    rod(table, at + way * radius * 0.9, at + way * radius * 1.55, 6.5, glaze, 30)
    for k in np.linspace(1, 0.9, 5):
        table.paint([ellipse((x, y), (radius * k, radius * k), 0, 60)], np.minimum(glaze * (0.75 + 3.5 * (1 - k)), 0.9))
    off = -table.shadow_step / (np.linalg.norm(table.shadow_step) + 1e-6) * radius * 0.06
    table.paint([ellipse((x, y), (radius * 0.86, radius * 0.86), 0, 60)], glaze * 0.45)
    table.paint(
        [ellipse((x - off[0], y - off[1]), (radius * 0.8, radius * 0.8), 0, 60)],
        rgb8(62, 38, 24) if rng.random() < 0.6 else rgb8(150, 168, 170),
    )


def paint_tin(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """An open tin with pans of watercolour."""
    size = (rng.uniform(110, 170), rng.uniform(60, 85))
    outline = rectangle(at, size, turn, 6)
    table.shadow(outline, 14)
    table.paint([outline], rgb8(42, 42, 44) if rng.random() < 0.5 else rgb8(226, 224, 218))
    table.paint([rectangle(at, (size[0] - 6, size[1] - 6), turn, 5)], rgb8(214, 212, 206))
    c, s = np.cos(turn), np.sin(turn)
    columns = int(size[0] // 21)
    for row in (-1, 1):
        for k in range(columns):
            local = np.array([(k - (columns - 1) / 2) * 20, row * size[1] * 0.22])
            spot = at + local @ np.array([[c, s], [-s, c]])
            hue = rgb8(*((200, 44, 40), (232, 178, 40), (36, 76, 148), (52, 110, 66), (120, 60, 40), (78, 52, 108),
                         (212, 120, 52), (44, 46, 52), (180, 70, 110),
                             (70, 150, 170))[int(rng.integers(10))])  # fmt: skip
            table.paint([rectangle(spot, (17, size[1] * 0.36), turn, 2)], rgb8(236, 234, 230))
            table.paint([rectangle(spot, (14, size[1] * 0.3), turn, 3)], hue * rng.uniform(0.6, 1.0))


def tape_roll(table: Table, at: Matrix, _turn: float, rng: Rng) -> None:
    """A roll of tape lying flat."""
    outer, inner = rng.uniform(38, 50), rng.uniform(24, 32)
    x, y = float(at[0]), float(at[1])
    keep = table.window(ellipse((x, y), (inner, inner), 0, 40), 1)
    saved = None if keep is None else table.picture[keep].copy()
    table.shadow(ellipse((x, y), (outer, outer), 0, 48), 20)
    colour = rgb8(*((222, 202, 140), (196, 178, 140), (180, 196, 204))[int(rng.integers(3))])
    for k in np.linspace(1, inner / outer, 9):
        table.paint([ellipse((x, y), (outer * k, outer * k), 0, 60)], colour * (0.72 + 0.3 * rng.random()))
    table.paint([ellipse((x, y), (inner * 1.1, inner * 1.1), 0, 48)], rgb8(150, 122, 90))
    if keep is not None and saved is not None:
        hole = table.mask([ellipse((x, y), (inner, inner), 0, 48)], keep)[..., None]
        table.picture[keep] += (saved * 0.55 - table.picture[keep]) * hole


def dry_leaf(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A leaf somebody brought in to draw."""
    drawn = Subject("leaf")
    leaf(drawn, np.zeros(2), 0.0, 1.0, 0.45, GREENS[int(rng.integers(len(GREENS)))], rng, "ovate")
    placed = drawn.moved(rng.uniform(60, 110), (float(at[0]), float(at[1])), turn)
    for item in placed.items:
        if isinstance(item, Area):
            table.shadow(item.outline, 4, 0.45)
            table.paint([item.outline], rgb8(*item.colour))
        else:
            table.paint([ribbon(item.points, np.full(len(item.points), 0.5 * item.weight))], rgb8(*item.colour) * 1.8)


def book(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A closed book or sketchbook, often cut by the border of the photo."""
    size = (rng.uniform(120, 220), rng.uniform(160, 300))
    outline = rectangle(at, size, turn, 3)
    table.shadow(outline, 18)
    cover = rgb8(
        *((52, 62, 58), (122, 48, 42), (44, 56, 84), (186, 156, 108), (66, 50, 44), (30, 30, 32))[int(rng.integers(6))]
    )
    shape = table.picture.shape[:2]
    grain = 1 + 0.06 * fractal(shape, table.px_per_mm, 1.2, int(rng.integers(1 << 20)), 2, 0.8)
    table.paint([outline], cover, grain)
    c, s = np.cos(turn), np.sin(turn)
    spine = at + np.array([-size[0] / 2 + 7, 0]) @ np.array([[c, s], [-s, c]])
    table.paint([rectangle(spine, (1.4, size[1]), turn)], cover * 0.55)
    if rng.random() < 0.5:
        table.paint([rectangle(at - [0, size[1] * 0.2], (size[0] * 0.5, size[1] * 0.16), turn, 2)], rgb8(222, 212, 190))


def eraser(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A block eraser in its sleeve."""
    size = (rng.uniform(38, 56), rng.uniform(18, 24))
    table.shadow(rectangle(at, size, turn, 3), 10)
    table.paint([rectangle(at, size, turn, 3)], rgb8(232, 230, 224))
    way = np.array([np.cos(turn), np.sin(turn)])
    table.paint(
        [rectangle(at + way * size[0] * 0.14, (size[0] * 0.66, size[1]), turn, 1)], rgb8(*rng.uniform(50, 170, 3))
    )


def sheet(table: Table, at: Matrix, turn: float, size_mm: tuple[float, float], colour: Array, rng: Rng) -> None:
    """A loose sheet of paper, some with lines or a scribble on it."""
    outline = rectangle(at, size_mm, turn)
    table.shadow(outline, rng.uniform(0.5, 2.0), 0.4)
    table.paint([outline], colour)
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c, s], [-s, c]])
    if rng.random() < 0.5:
        for _ in range(int(rng.integers(3, 14))):
            knots = rng.normal(0, 0.17, 2) * size_mm + rng.normal(0, 0.09, (5, 2)) * min(size_mm)
            path = at + spline(np.clip(knots, np.array(size_mm) * -0.46, np.array(size_mm) * 0.46), 8) @ matrix
            table.paint([ribbon(path, np.full(len(path), 0.35))], colour * rng.uniform(0.15, 0.6))


def colour_chart(table: Table, at: Matrix, turn: float, width_mm: float = 130.0) -> None:
    """A chart of 6 x 4 patches on black card, its width given; turn in degrees."""
    pitch = width_mm / 6.4
    a = np.radians(turn)
    spin = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    board = rectangle(at, (6.4 * pitch, 4.4 * pitch), a, 2.0)
    table.shadow(board, 1.5, 0.4)
    table.paint([board], np.asarray([0.012, 0.012, 0.012], np.float32))
    for index, colour in enumerate(np.maximum(PATCHES, 0.002)):
        centre = at + spin @ np.array([(index % 6 - 2.5) * pitch, (index // 6 - 1.5) * pitch])
        table.paint([rectangle(centre, (0.84 * pitch, 0.84 * pitch), a)], np.asarray(colour, np.float32))


def grey_card(table: Table, at: Matrix, turn: float, width_mm: float = 130.0) -> None:
    """A card of 18 % grey, 5 : 4, its width given; turn in degrees."""
    outline = rectangle(at, (width_mm * 0.8, width_mm * 0.64), np.radians(turn))
    table.shadow(outline, 1.0, 0.4)
    table.paint([outline], np.full(3, 0.18, np.float32))


def finger(table: Table, tip: Matrix, away: Matrix, rng: Rng) -> None:
    """A thumb or finger holding the sheet at its edge: shaded skin, joint folds and a nail."""
    skin = rgb8(*((224, 178, 150), (196, 146, 116), (150, 104, 78), (104, 70, 52))[int(rng.integers(4))])
    side = np.array([-away[1], away[0]])
    bend = rng.normal(0, 14)
    path = spline(
        np.array([tip, tip + away * 28, tip + away * 70 + side * bend * 0.4, tip + away * 190 + side * bend * 2]), 10
    )
    half = np.interp(np.linspace(0, 1, len(path)), [0, 0.05, 0.16, 0.4, 1], [3.5, 7.6, 9.3, 10.4, 15])
    table.shadow(ribbon(path, half), 9, 0.5)
    lit = -1.0 if side @ table.shadow_step > 0 else 1.0
    for k in np.linspace(1, 0.1, 12):
        tone = skin * np.array([0.62 + 0.42 * (1 - k), 0.56 + 0.48 * (1 - k), 0.54 + 0.5 * (1 - k)], np.float32)
        table.paint([ribbon(path + side * lit * 3.2 * (1 - k), half * k**0.8)], tone)
    nail = ellipse(
        (float(tip[0] + away[0] * 8), float(tip[1] + away[1] * 8)), (6.5, 4.8), float(np.arctan2(away[1], away[0])), 24
    )
    table.paint([nail], np.minimum(skin * np.array([1.12, 1.1, 1.12], np.float32) + 0.05, 0.85))


def tape_strip(table: Table, at: Matrix, turn: float, rng: Rng) -> None:
    """A strip of masking tape across a corner."""
    table.shadow(rectangle(at, (rng.uniform(36, 60), 18), turn), 0.4, 0.3)
    table.paint([rectangle(at, (rng.uniform(36, 60), 18), turn)], rgb8(222, 206, 160))


THINGS = (pencil, brush, pencil, brush, mug, paint_tin, tape_roll, dry_leaf, book, eraser, pencil)


def strew(table: Table, size_mm: tuple[float, float], count: int, reach_mm: Matrix, rng: Rng) -> None:
    """Put things around a work of this size at the origin, clear of it, within `reach_mm` of the picture."""
    half = np.array(size_mm) / 2
    taken: list[tuple[Matrix, float]] = []
    for _ in range(count):
        thing = THINGS[int(rng.integers(len(THINGS)))]
        room = {mug: 60.0, paint_tin: 75.0, tape_roll: 52.0, book: 130.0, eraser: 30.0, dry_leaf: 60.0}.get(thing, 28.0)
        for _ in range(24):
            at = rng.uniform(-1.05, 1.05, 2) * reach_mm
            clear = float(np.max(np.abs(at) - half))
            if clear > room and all(np.linalg.norm(at - spot) > 0.8 * (room + r) for spot, r in taken):
                break
        else:
            continue
        beside = abs(at[0]) - half[0] > abs(at[1]) - half[1]
        turn = rng.normal(np.pi / 2 if beside else 0.0, 0.35) + (np.pi if rng.random() < 0.5 else 0)
        thing(table, at, float(turn), rng)
        taken.append((at, room))
