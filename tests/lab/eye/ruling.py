"""Ruled paper, handwriting, and diagrams with frames and lanes that are drawn by hand."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32

from .dice import Dice
from .paint import ink_of

_Ink = Callable[[], AnyArray]


@dataclass(frozen=True)
class Ruling:
    """Distance of the lines and the first one's place, in pixels; None without ruling."""

    step_px: int | None = None
    first_px: int | None = None


# How often a diagram has a line along an edge of the sheet, from end to end: an eye takes it for the edge.
_ALONG_AN_EDGE = 0.35

_TINTS = ((0.82, 0.93, 1.05), (1.05, 0.85, 0.85), (0.9, 1.02, 0.9), (0.98, 0.9, 1.05))


def rule(dice: Dice, made: Float32, base: Float32) -> Ruling:
    """Lines, a grid or dots over the whole sheet, and often a margin line."""
    upright = not dice.chance(0.25)
    view = made if upright else made.transpose(1, 0, 2)
    height, width = view.shape[:2]
    tone = _line_tone(dice, base)
    step = max(5, int(dice.between(0.014, 0.062) * max(height, width)))
    thick = 1 if step < 18 or dice.chance(0.6) else 2
    share, kind = dice.between(0.25, 1.0), dice.between(0, 1)
    first = int(dice.between(0, 0.15) * height) if dice.chance(0.5) else dice.whole(0, step)
    for k in range(thick):
        _rule_once(dice, view, tone, share, kind, step, first + k)
    if dice.chance(0.4) and kind < 0.62:
        _margin_line(dice, view, base, tone, thick)
    return Ruling(step, first) if upright else Ruling()


def _line_tone(dice: Dice, base: Float32) -> Float32:
    if base.mean() < 0.4:
        return np.clip(base + dice.between(0.08, 0.3), 0, 1).astype(np.float32)
    tone = base * dice.between(0.6, 0.95)
    if dice.chance(0.55):
        tone = tone * np.float32(dice.of(_TINTS))
    return np.clip(tone, 0, 1).astype(np.float32)


def _rule_once(dice: Dice, view: Float32, tone: Float32, share: float, kind: float, step: int, first: int) -> None:
    height, width = view.shape[:2]
    if kind < 0.62:
        view[first::step] = view[first::step] * (1 - share) + tone * share
    if 0.42 < kind < 0.82:
        start = first % step
        view[:, start::step] = view[:, start::step] * (1 - share) + tone * share
    if kind >= 0.82:
        view[np.ix_(np.arange(first, height - 1, step), np.arange(dice.whole(0, step), width - 1, step))] = tone


def _margin_line(dice: Dice, view: Float32, base: Float32, tone: Float32, thick: int) -> None:
    width = view.shape[1]
    x = int(dice.between(0.05, 0.22) * width)
    x = width - 1 - x if dice.chance(0.3) else x
    line = np.float32([0.9, 0.55, 0.55]) * base if dice.chance(0.7) else tone
    view[:, x : x + thick] = view[:, x : x + thick] * 0.3 + line * 0.7


def script(dice: Dice, made: Float32, ink: _Ink, ruling: Ruling) -> None:
    """Handwriting, on the lines where the sheet is ruled."""
    height, width = made.shape[:2]
    step = ruling.step_px if ruling.step_px and ruling.step_px > 7 else max(8, int(dice.between(0.02, 0.05) * height))
    first = ruling.first_px if ruling.first_px is not None else int(0.06 * height)
    top, low = sorted(dice.uniform(0, 1, 2)) if dice.chance(0.5) else (0.0, 1.0)
    left, right = dice.between(0.02, 0.2) * width, dice.between(0.6, 0.99) * width
    rows = np.arange(first + step, height - 2, step)
    rows = rows[(rows > top * height) & (rows < low * height)][:42]
    tone, rise = ink_of(ink()), step * dice.between(0.16, 0.36)
    for y in rows:
        if not dice.chance(0.07):
            end = right if dice.chance(0.8) else dice.between(left + 5, right)
            words = _words(dice, left, end, float(y), rise)
            cv2.polylines(made, words, False, tone, 1 if step < 22 else 2, cv2.LINE_AA)


def _words(dice: Dice, x: float, end: float, y: float, rise: float) -> list[AnyArray]:
    words = []
    while x < end:
        count = dice.whole(4, 26)
        xs = x + np.cumsum(dice.uniform(0.1, 0.75, count)) * rise
        ys = y - rise * 0.7 + np.where(np.arange(count) % 2, 1, -1) * rise * dice.uniform(0.15, 1.0, count)
        words.append(np.stack([xs, ys], 1).round().astype(np.int32))
        x = float(xs[-1]) + rise * dice.between(0.8, 2.5)
    return words


class Pen:
    """Draws straight lines by a hand that wobbles, in shares of the sheet's sides."""

    def __init__(self, dice: Dice, made: Float32, ink: _Ink) -> None:
        self.dice, self.made = dice, made
        plain = ink() if dice.chance(0.55) else np.float32([0.15, 0.3, 0.65]) * dice.between(0.5, 1.3)
        self.tone = ink_of(plain)
        self.thick = dice.whole(1, 4) if min(made.shape[:2]) > 220 else 1
        self.wobble = 0.0 if dice.chance(0.45) else dice.between(0.001, 0.006)

    def line(self, start: AnyArray, end: AnyArray) -> None:
        t = np.linspace(0, 1, 12)[:, None]
        drift = np.cumsum(self.dice.normals(self.wobble + 1e-9, (12, 2)), 0) * np.sin(np.pi * t)
        points = (np.asarray(start) * (1 - t) + np.asarray(end) * t + drift) * self.made.shape[1::-1]
        cv2.polylines(self.made, [np.round(points).astype(np.int32)], False, self.tone, self.thick, cv2.LINE_AA)

    def sign(self, x: float, y: float, half_w: float, half_h: float) -> None:
        """A box, a circle or a rhombus."""
        height, width = self.made.shape[:2]
        left, right = int((x - half_w) * width), int((x + half_w) * width)
        top, low = int((y - half_h) * height), int((y + half_h) * height)
        kind = self.dice.between(0, 1)
        if kind < 0.55:
            cv2.rectangle(self.made, (left, top), (right, low), self.tone, self.thick, cv2.LINE_AA)
        elif kind < 0.8:
            radius = max(2, int(half_h * height * 0.8))
            cv2.circle(self.made, (int(x * width), int(y * height)), radius, self.tone, self.thick, cv2.LINE_AA)
        else:
            shape = np.array([[x * width, top], [right, y * height], [x * width, low], [left, y * height]], np.int32)
            cv2.polylines(self.made, [shape], True, self.tone, self.thick, cv2.LINE_AA)


def diagram(dice: Dice, made: Float32, ink: _Ink) -> None:
    """Frames, tables, lanes and long lines, often near the sheet's edges; the paper goes on beyond them."""
    pen = Pen(dice, made, ink)
    for _ in range(1 if dice.chance(0.75) else dice.whole(1, 4)):
        _frame_with_lanes(dice, pen)
    for _ in range(dice.whole(0, 3) if dice.chance(0.3) else 0):
        at = dice.between(0.02, 0.98)
        start, end = dice.between(-0.05, 0.3), dice.between(0.6, 1.05)
        near, far = np.array([start, at]), np.array([end, at + dice.normal(0, 0.01)])
        pen.line(near if dice.chance(0.6) else near[::-1], far if dice.chance(0.6) else far[::-1])
    if dice.chance(_ALONG_AN_EDGE):
        along_an_edge(dice, pen)
    _signs(dice, pen)


def along_an_edge(dice: Dice, pen: Pen) -> None:
    """One line, or two, from end to end of the sheet near one of its edges, as straight as that: the paper goes on."""
    depth, upright, far = dice.between(0.015, 0.14), dice.chance(0.5), dice.chance(0.5)
    for k in range(dice.of((1, 1, 2))):
        at = np.array([depth, depth]) + dice.normals(0.008, 2) + k * dice.between(0.02, 0.12)
        at = 1 - at if far else at
        start, end = dice.between(-0.1, 0.06), dice.between(0.94, 1.1)
        points = np.array([[start, at[0]], [end, at[1]]])
        pen.line(*(points[:, ::-1] if upright else points))


def _frame_with_lanes(dice: Dice, pen: Pen) -> None:
    deepest = 0.16 if dice.chance(0.6) else 0.35
    inset = np.where(dice.rng.random(4) < 0.8, dice.uniform(0.005, deepest, 4), -0.05)  # top, right, bottom, left
    frame = np.array(
        [[inset[3], inset[0]], [1 - inset[1], inset[0]], [1 - inset[1], 1 - inset[2]], [inset[3], 1 - inset[2]]]
    )
    frame = frame + dice.normals(0.006 if dice.chance(0.6) else 0.02, (4, 2))
    for k in range(4):
        if not dice.chance(0.06):
            pen.line(frame[k], frame[(k + 1) % 4])
    columns = dice.chance(0.3)
    for t in dice.uniform(0, 1, dice.whole(0, 5)):
        if columns:
            pen.line(frame[0] * (1 - t) + frame[1] * t, frame[3] * (1 - t) + frame[2] * t)
        else:
            pen.line(frame[0] * (1 - t) + frame[3] * t, frame[1] * (1 - t) + frame[2] * t)
    if dice.chance(0.5):
        t = dice.between(0.03, 0.12)
        pen.line(frame[0] * (1 - t) + frame[1] * t, frame[3] * (1 - t) + frame[2] * t)


def _signs(dice: Dice, pen: Pen) -> None:
    last: tuple[float, float] | None = None
    for _ in range(dice.whole(0, 16)):
        x, y = dice.between(0.05, 0.92), dice.between(0.05, 0.92)
        pen.sign(x, y, dice.between(0.02, 0.09), dice.between(0.015, 0.06))
        if last is not None and dice.chance(0.7):
            pen.line(np.array(last), np.array([x, last[1]]))
            pen.line(np.array([x, last[1]]), np.array([x, y]))
        last = (x, y)
