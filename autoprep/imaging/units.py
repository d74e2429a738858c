"""Lengths, and the weights of luma: once for all."""

from autoprep.imaging.arrays import Float32, float32

MM_PER_INCH = 25.4
"""Millimetres in an inch, exactly (international yard and pound agreement, 1959)."""

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}
"""Millimetres in each unit that a work's size may be given in."""

LUMA: Float32 = float32([[0.2126, 0.7152, 0.0722]])
"""(1, 3) weights of the codes' luma (ITU-R BT.709)."""
