"""Is the picture inside a frame found, and none where there is no frame: `python -m tests.lab frames --photos 120`.

A third of the paintings is framed, some of these with a mat. The outer edge is given, so that this measures the inner
one alone.
"""

import multiprocessing
from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.inner import CLEAR, picture_inside
from autoprep.files.reading import read_photo
from autoprep.imaging.geometry import homography, overlap_in_photo, project, rectangle

from .scene import encode_jpeg, random_spec, render, rough_spec

FRAMES_SEEDS = 21800
_RIGHT, _LOOKING_PX = 0.95, 1200


@dataclass(frozen=True)
class Framed:
    """One painting: whether it has a frame, the support of the lines inside (0: none), the overlap with truth."""

    seed: int
    framed: bool
    support: float
    overlap: float


def score_one_frame(seed: int, long_px: int = 1600) -> Framed:
    """Render one painting, every second in everyday light, and look for the picture inside, at 1200 px at the most."""
    cv2.setNumThreads(1)
    spec = (rough_spec if seed % 2 else random_spec)(seed, "painting", None)
    shot = render(spec, long_px)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    copy = Copies(photo).at(_LOOKING_PX)
    scale, outer = copy.shape[1] / photo.full_px[0], np.asarray(shot.truth.corners_px, np.float64)
    found = picture_inside(copy, outer * scale)
    box = shot.truth.work.inner_box
    if found is None or box is None:
        return Framed(seed, box is not None, 0.0 if found is None else found.support, 0.0)
    x0, y0, x1, y1 = box
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    true = project(homography(rectangle(1, 1), outer), corners)
    return Framed(seed, True, found.support, overlap_in_photo(found.quad / scale, true, photo.full_px))


def score_frames(photos: int, first: int = FRAMES_SEEDS, processes: int = 2) -> list[Framed]:
    """Score so many paintings; prints how many pictures are found right, and what is found where there is no frame."""
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        rows = pool.map(score_one_frame, range(first, first + photos), chunksize=1)
    framed, bare = [row for row in rows if row.framed], [row for row in rows if not row.framed]
    clear = [row for row in framed if row.support >= CLEAR]
    print(
        f"framed paintings {len(framed)}: picture inside right {sum(r.overlap > _RIGHT for r in framed)}, clear "
        f"{len(clear)}, wrong among these {sum(r.overlap <= _RIGHT for r in clear)}; paintings without a frame "
        f"{len(bare)}: a clear one seen in {sum(r.support >= CLEAR for r in bare)}"
    )
    for row in framed:
        if row.overlap <= _RIGHT:
            print(f"  {row.seed}: overlap {row.overlap:.3f}, support {row.support:.2f}")
    return rows
