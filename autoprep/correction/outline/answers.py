"""One outline that may be the work's, and its last polish."""

from dataclasses import dataclass, field
from typing import cast

import numpy as np

from autoprep.correction.outline.close_up import CloseUp
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.refinement import Sides, refine
from autoprep.correction.outline.side_face import without_side_faces
from autoprep.domain import Corners, Outline
from autoprep.imaging.arrays import Float64
from autoprep.imaging.geometry import order_corners, overlap, rectangle, widened

# The last polish happens at this long side or more. Chosen by speed: beyond 2400 px the blur of phone photos leaves
# nothing to gain.
_POLISHING_PX = 2400
# The fit errs by a fraction of a pixel to either side; the outline stands so much of the photo's long side outside it,
# so that no edge of the work is lost. What little desk that lets in, rendering covers (see rendering/layout).
_ROOM = 0.0002


@dataclass(frozen=True)
class Answer:
    """One outline that may be right: (4, 2) corners in full-size pixels, and what is known of it."""

    quad: Float64
    confidence: float
    cut: Sides = (False, False, False, False)
    whole: bool = False
    evidence: dict[str, float] = field(default_factory=dict)

    def outline(self, copies: Copies) -> Outline:
        """The answer with its sides polished on the largest useful copy."""
        corners = rectangle(*copies.photo.full_px) if self.whole else _polish(copies, self.quad, self.cut)
        evidence = {name: round(float(value), 3) for name, value in self.evidence.items()}
        return Outline(
            corners_px=corners_of(corners),
            confidence=self.confidence,
            whole_photo=self.whole,
            cut=(True, True, True, True) if self.whole else self.cut,
            evidence=evidence,
        )


def _polish(copies: Copies, quad_px: Float64, cut: Sides) -> Float64:
    """The last sub-pixel fit, on the largest useful copy of the photo; sides that are cut stay on the border."""
    photo = copies.photo
    close = CloseUp(photo, _POLISHING_PX)
    refined = refine(close, quad_px * close.scale, reach=0.004, rounds=2, prior=0.003, held=cut)
    polished = without_side_faces(close, refined.quad, cut) / close.scale
    fitted = polished if overlap(polished, quad_px) > 0.95 else quad_px
    room = np.where(cut, 0.0, _ROOM * max(photo.full_px))
    return widened(fitted if any(cut) else order_corners(fitted), room)


def corners_of(quad: Float64) -> Corners:
    """(4, 2) corners as an outline has them."""
    return cast(Corners, tuple((round(float(x), 2), round(float(y), 2)) for x, y in quad))
