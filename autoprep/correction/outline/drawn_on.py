"""Whether a four-sided thing beside a work is drawn on: a grey card, a blank sheet and a colour chart are no works."""

import cv2
import numpy as np

from autoprep.correction.chart import find_chart
from autoprep.correction.outline.contest import REFINING_PX
from autoprep.correction.outline.copies import Copies
from autoprep.imaging import fields
from autoprep.imaging.arrays import DARKEST, Float32, Float64
from autoprep.imaging.colour import LUMINANCE

# The thing is looked at in so many pixels, less a rim of so much on each side. Marks are so far (natural log) from a
# smooth light over it; with fewer it is blank. (Seeds 300100-300111 and 40000-40013: grey cards .008 at most, small
# works .12 at least.)
_LOOK_PX, _RIM, _MARK, _LEAST = 96, 0.1, 0.1, 0.03
_NEAR, _ROUNDS = 0.03, 6


def is_drawn_on(copies: Copies, quad: Float64) -> bool:
    """(4, 2) corners in full-size photo pixels -> whether marks are seen in them, and they are no chart's patches."""
    if _marked(_squared(copies, quad)) < _LEAST:
        return False
    chart = find_chart(copies.photo)
    if chart is None:
        return True
    outline = quad.astype(np.float32)
    return not all(cv2.pointPolygonTest(outline, (float(x), float(y)), False) >= 0 for x, y in chart.centres_px)


def _squared(copies: Copies, quad: Float64) -> Float32:
    """(n, n) natural log of the luminance in a quad, without its rim."""
    copy = copies.at(REFINING_PX)
    first, last = -_RIM * _LOOK_PX, (1 + _RIM) * _LOOK_PX
    square = np.array([[first, first], [last, first], [last, last], [first, last]], np.float32)
    corners = (quad * (copy.shape[1] / copies.photo.full_px[0])).astype(np.float32)
    flat = cv2.warpPerspective(copy, cv2.getPerspectiveTransform(corners, square), (_LOOK_PX, _LOOK_PX))
    return np.asarray(np.log(np.maximum(flat @ LUMINANCE, DARKEST)), np.float32)


def _marked(luma: Float32) -> float:
    """Share that is off a smooth light, fitted to what most of it shows."""
    x, y = fields.grid_coordinates(*luma.shape)
    terms, values = fields.basis(x, y, 2), luma.reshape(-1, 1).astype(np.float64)
    weight, rest = np.ones(len(values)), np.zeros(len(values))
    for _ in range(_ROUNDS):
        rest = (values - terms @ fields.solve(terms, values, weight, 2))[:, 0]
        weight = 1 / (1 + (rest / _NEAR) ** 2)
    return float((np.abs(rest) > _MARK).mean())
