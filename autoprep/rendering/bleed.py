"""The bleed of a print: what lies beyond the trim, to be cut off, and shows where a cut is off by a hair.

Where a layout lets the work's own pixels reach into it, nothing is left to do. Elsewhere the work ends at the trim:
past torn edges the ground goes on, past bare paper the paper (`continued`), and what is drawn or painted up to the edge
is mirrored, for it has nothing else to go on with; that is said, because it makes up what nobody drew.
"""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, greatest
from autoprep.rendering.layout import Layout

_NAMES = ("top", "right", "bottom", "left")
# Paper goes on where the strip that would be mirrored is paper too: means of so many pixels differ from the paper made
# for its place by less than this, all but a speck of dust. A pencil line across the edge of A4 is .0025 of its side.
_MEAN_PX, _BARE, _DUST = 9, 0.05, 0.0005


def extend(
    canvas: AnyArray, layout: Layout, torn: tuple[bool, bool, bool, bool], *, continued: bool
) -> tuple[str, ...]:
    """Fill the bleed of (H, W, 3) codes in place, and say how; nothing is said where the work does not meet the trim.

    torn: which sides (top, right, bottom, left) have an edge of their own; continued: around the work lies its paper.
    """
    x0, y0, x1, y1 = layout.shown
    from_left, from_top, to_right, to_bottom = layout.inked
    left, top, right, bottom = layout.trim
    room = (y0 - from_top, to_right - x1, to_bottom - y1, x0 - from_left)
    meets = (y0 <= top, x1 >= right, y1 >= bottom, x0 <= left)
    asked = [side for side in range(4) if meets[side] and room[side] > 0 and not torn[side]]
    bare = [side for side in asked if continued and _is_bare(canvas, layout.shown, side, room[side])]
    mirrored = [side for side in asked if side not in bare]
    if mirrored:
        up, to_the_right, down, to_the_left = (room[side] if side in mirrored else 0 for side in range(4))
        canvas[y0 - up : y1 + down, x0 - to_the_left : x1 + to_the_right] = cv2.copyMakeBorder(
            canvas[y0:y1, x0:x1], up, down, to_the_left, to_the_right, cv2.BORDER_REFLECT_101
        )
    what = "work" if layout.scene is None else "desk"
    told = ((bare, "the work's paper goes on"), (mirrored, f"the {what}'s own edge is mirrored there; look at it"))
    return tuple(f"bleed ({', '.join(_NAMES[side] for side in sides)}): {how}" for sides, how in told if sides)


def _is_bare(canvas: AnyArray, shown: tuple[int, int, int, int], side: int, room: int) -> bool:
    """Whether the strip of the work along a side is paper, as what has been made beyond it."""
    x0, y0, x1, y1 = shown
    # Turned so that the side is the upper one; what lies beyond it is as deep as the strip.
    rows = slice(y0 - room * (side == 0), y1 + room * (side == 2))
    columns = slice(x0 - room * (side == 3), x1 + room * (side == 1))
    turned = np.rot90(canvas[rows, columns], side)
    beyond, strip = turned[:room], turned[room : 2 * room][::-1]
    if strip.shape != beyond.shape:
        return False
    means = [cast(Float32, cv2.blur(part.astype(np.float32), (_MEAN_PX, _MEAN_PX))) for part in (strip, beyond)]
    apart = greatest(np.abs(means[0] - means[1])) / np.iinfo(canvas.dtype).max
    return float((apart > _BARE).mean()) <= _DUST
