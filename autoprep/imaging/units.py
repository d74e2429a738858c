"""Lengths, and how the curve of a colour space is named: without arrays, for whoever only reads settings."""

from typing import Literal

MM_PER_INCH = 25.4
"""Millimetres in an inch, exactly (international yard and pound agreement, 1959)."""

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}
"""Millimetres in each unit that a work's size may be given in."""

Gamma = float | Literal["L*"] | None
"""The curve of a space: a pure power, CIE lightness (codes are L* / 100), or None for the sRGB curve."""
