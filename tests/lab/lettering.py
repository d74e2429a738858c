"""A small single-stroke hand: letters as curves, so that captions look written and need no font file."""

from __future__ import annotations

import numpy as np

from .drawing import Points, spline

# Every pair of digits is a point: x 0..5, y 0 descender, 3 baseline, 6 x-height, 9 ascender. "," parts strokes.
_BOWL = "4626151423334546"
_GLYPHS = {
    "a": f"{_BOWL},464453", "b": "1913,1526364544332314", "c": "4536261514233344", "d": f"{_BOWL},494453",
    "e": "1445362615142333 44", "f": "483928252423,1636", "g": f"{_BOWL},464231201001", "h": "1913,1526364543",
    "i": "262433,2829", "j": "262211 01,2829", "k": "1913,461443", "l": "19142333", "m": "0603,05162523,25364543",
    "n": "1613,1526364543", "o": "261514233344453626", "p": "1610,1526364544332314", "q": f"{_BOWL},4640 51",
    "r": "1613,15263645", "s": "4626152534443313", "t": "2825243343,1636", "u": "1614233345,464453",
    "v": "162346", "w": "061325 3346", "x": "1643,4613", "y": "16142345,46443120 10", "z": "16461343",
    "0": "281614233345473828", "1": "172823", "2": "172838471343", "3": "18384726 45443313", "4": "38151545,3633",
    "5": "48181636454433 13", "6": "381614233344352515", "7": "184823", "8": "361728384714233344 36",
    "9": "47382817264743", ".": "2323", ",": "232211", "'": "2928", "-": "1535", "/": "1249",
    "A": "032943,1535", "B": "1913,19394736,163645441313", "C": "48391806142333 44", "D": "1913,193947443313",
    "E": "49191343,1636", "F": "491913,1636", "G": "48391806142333 4446,3646", "H": "1913,4943,1646", "I": "2923",
    "J": "3934231 4", "K": "1913,491643", "L": "191343", "M": "030925 494353", "N": "13194349",
    "O": "2908051423334547 3929", "P": "1913,1939473616", "Q": "2908051423334547 3929,3443",
    "R": "1913,1939473616,2643",
    "S": "48391817263544331314", "T": "0949,2923", "U": "191423334449", "V": "192349", "W": "09132633 49",
    "X": "1943,4913", "Y": "0926,492623", "Z": "19491343",
}  # fmt: skip
_WIDTHS = {"i": 2.6, "l": 2.8, "j": 2.8, "t": 3.6, "f": 3.6, "r": 4.0, "m": 5.4, "w": 5.2, "1": 3.4, ".": 2.6,
           ",": 2.6, "'": 2.6, " ": 3.4, "I": 3.2, "M": 5.6, "W": 5.6}  # fmt: skip


def _strokes(code: str) -> list[Points]:
    """A glyph's code -> its strokes in glyph units."""
    parts = []
    for part in code.replace(" ", "").split(","):
        digits = np.array([float(c) for c in part])
        parts.append(digits.reshape(-1, 2))
    return parts


def written(
    text: str, start: tuple[float, float], x_height: float, rng: np.random.Generator, slant: float = 0.22
) -> list[Points]:
    """A line of handwriting as strokes (N, 2), y down, beginning at `start` on its baseline."""
    unit = x_height / 3.0
    lines: list[Points] = []
    x = 0.0
    drift = rng.normal(0, 0.01)
    for letter in text:
        code = _GLYPHS.get(letter)
        if code is not None:
            lift, size = rng.normal(0, 0.12), float(rng.normal(1.0, 0.05))
            for points in _strokes(code):
                wobbled = points + rng.normal(0, 0.14, points.shape)
                up = (wobbled[:, 1] - 3.0) * size + lift
                across = x + wobbled[:, 0] * size * 0.86 + slant * up
                knots = np.stack([start[0] + across * unit, start[1] - (up + drift * x) * unit], axis=1)
                lines.append(spline(knots, 5) if len(knots) > 2 else knots + rng.normal(0, 0.1 * unit, knots.shape))
        x += _WIDTHS.get(letter, 4.5) * 0.9 + rng.normal(0, 0.15)
    return lines


def text_width(text: str, x_height: float) -> float:
    """About how long a written line gets, in the unit of x_height."""
    return sum(_WIDTHS.get(letter, 4.5) * 0.9 for letter in text) * 1.04 * x_height / 3.0


NOTES = (
    "found above the strand line", "wind from the west and a little rain", "leaves thick and salty", "five petals",
    "pale at the heart", "the tide turned at four", "tarred hull, new mainsail", "drawn from the slip",
    "smells of honey",
    "seen again by the old wall", "stem furrowed and hollow", "more of it than last year", "two gulls on the mast",
    "colour too warm here", "try again in the morning", "grows with thrift on the bank", "light going, stopped at six",
    "roots bind the sand", "mended twice, still sound", "floats hold the blades up", "mud to the knees",
    "no bees today",
)  # fmt: skip


def notes(width: float, x_height: float, lines: int, rng: np.random.Generator) -> list[str]:
    """Lines of a naturalist's notes that fit the width (unit of x_height)."""
    words = [
        word for k in np.resize(rng.permutation(len(NOTES)), 4 * lines + 4) for word in (NOTES[int(k)] + ".").split()
    ]
    found, line = [], ""
    for word in words:
        if line and text_width(f"{line} {word}", x_height) > width:
            found.append(line)
            line = ""
        line = f"{line} {word}".strip()
    return found[:lines]
