"""JPEGs that decode, and yet are not whole: a rest of one tone where the coded data has run out.

One decoder says nothing of it, the other warns on the error stream; that is asked only where the picture looks so.
"""

import os
import tempfile

import cv2
import numpy as np

from autoprep.errors import Unreadable
from autoprep.imaging.arrays import AnyArray, UInt8

# Decoders fill what is missing with one exact tone, over the full width. Chosen: more rows than a thin frame has.
_LEAST_ROWS, _LEAST_SHARE = 16, 0.015
_COMPLAINT = b"Corrupt JPEG data"  # libjpeg's own words (jerror.h)


def refuse_damaged(codes: AnyArray, data: bytes) -> None:
    """Raises Unreadable where the lower rest of a JPEG's (H, W, 3) codes is empty because its data has run out."""
    rows = empty_rest(codes)
    if rows and _COMPLAINT in _said_of(data):
        share = rows / codes.shape[0] * 100
        raise Unreadable(f"the file is damaged: the lower {share:.0f} % of the picture is empty; copy it again")


def empty_rest(codes: AnyArray) -> int:
    """How many rows at the lower end are one exact tone; 0 where that is a few, or all of the picture."""
    last = codes[-1]
    if (last != last[0]).any():
        return 0
    same = (codes == last[0]).reshape(codes.shape[0], -1).all(axis=1)
    rows = codes.shape[0] if same.all() else int(np.argmin(same[::-1]))
    return rows if max(_LEAST_ROWS, _LEAST_SHARE * codes.shape[0]) <= rows < codes.shape[0] else 0


def _said_of(data: bytes) -> bytes:
    """What the decoder writes to the error stream about some bytes; a worker has one thread, and so one stream."""
    coded: UInt8 = np.frombuffer(data, np.uint8)
    with tempfile.TemporaryFile() as heard:
        kept = os.dup(2)
        os.dup2(heard.fileno(), 2)
        try:
            cv2.imdecode(coded, cv2.IMREAD_REDUCED_COLOR_8)
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        heard.seek(0)
        return heard.read()
