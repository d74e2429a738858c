"""Pictures that decode, and yet are not whole: a rest of one tone where a broken file has run out."""

import numpy as np

from autoprep.errors import Unreadable
from autoprep.imaging.arrays import AnyArray

# Decoders fill what is missing with one exact tone, over the full width; a photo's own plain parts have noise. White
# and black may be a scan's own. Chosen: rows that no picture has by chance, and a share that is more than a frame.
_LEAST_ROWS, _LEAST_SHARE = 16, 0.015
_OWN_TONES = (4, 251)  # of 255: a scan's own paper and darks may be exact beyond these


def refuse_damaged(codes: AnyArray) -> None:
    """Raises Unreadable where the lower rest of (H, W, 3) codes is one exact tone, as broken files leave it."""
    rows = empty_rest(codes)
    if rows:
        share = rows / codes.shape[0] * 100
        raise Unreadable(f"the file is damaged: the lower {share:.0f} % of the picture is empty; copy it again")


def empty_rest(codes: AnyArray) -> int:
    """How many rows at the lower end are one exact tone that is neither white nor black; 0 for whole pictures."""
    last = codes[-1]
    if (last != last[0]).any():
        return 0
    top = 65535 if codes.dtype == np.uint16 else 255
    tone = last[0].astype(np.float64) / top * 255
    if (tone < _OWN_TONES[0]).all() or (tone > _OWN_TONES[1]).all():
        return 0
    same = (codes == last[0]).reshape(codes.shape[0], -1).all(axis=1)
    rows = int(np.argmin(same[::-1])) if not same.all() else codes.shape[0]
    return rows if rows >= max(_LEAST_ROWS, _LEAST_SHARE * codes.shape[0]) and rows < codes.shape[0] else 0
