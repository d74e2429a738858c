"""How far an outline that was found is the true one."""

import numpy as np

from autoprep.imaging.arrays import AnyArray
from autoprep.imaging.geometry import homography, is_convex, overlap, project, rectangle


def overlap_in_frame(truth: AnyArray, found: AnyArray) -> float:
    """Jaccard index in the true work's own frame: both mapped so that truth becomes the unit square.

    This is the measure of the page-outline contest of ICDAR 2015 (SmartDoc, challenge 1).
    """
    matrix = homography(truth, rectangle(1.0, 1.0))
    depth = np.asarray(found, np.float64) @ matrix[2, :2] + matrix[2, 2]
    if (depth <= 1e-6).any():
        return 0.0
    mapped = project(matrix, found)
    return overlap(rectangle(1000.0, 1000.0), mapped * 1000.0) if is_convex(mapped) else 0.0
