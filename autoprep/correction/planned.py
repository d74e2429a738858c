"""A plan that applies itself: from the photo as it was read to the work as it should be, all steps in their order."""

from dataclasses import dataclass
from functools import cached_property

from autoprep.correction.apply import Photometry, photometry
from autoprep.correction.camera import without_contrast
from autoprep.correction.chart import referred
from autoprep.correction.planning import corrected
from autoprep.correction.sharpening import for_size, sharpen
from autoprep.correction.squaring import MEASURING_PIXELS, rectify
from autoprep.domain import CorrectionPlan
from autoprep.imaging.arrays import Float32
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo


@dataclass(frozen=True)
class Planned:
    """A photo as its plan saw it (through a chart, or without the camera's contrast), and the plan."""

    photo: Photo
    plan: CorrectionPlan

    def strips(self, size: tuple[int, int]) -> Photometry:
        """Light, neutral and tone, prepared for pictures of the work of `size` (width, height) pixels."""
        return photometry(self.plan, size)

    def finish(self, code: Float32, shrink: float = 1.0) -> Float32:
        """(rows, W, 3) float32 sRGB codes 0..1 of corrected linear light -> the same, sharpened.

        shrink: photo pixels per pixel of this picture.
        """
        return sharpen(code, for_size(self.plan.sharpening, shrink))

    @cached_property
    def whole(self) -> Float32:
        """The whole work at the size that it was measured at: see `picture`."""
        return self.picture(MEASURING_PIXELS)

    def picture(self, most_px: int) -> Float32:
        """(h, w, 3) float32 sRGB codes of the whole work, squared and corrected, of at most so many pixels."""
        work = rectify(self.photo, self.plan.geometry, most_px)
        return self.finish(encode_fast(corrected(work.linear, self.plan)), work.photo_px_per_px)


def planned(photo: Photo, plan: CorrectionPlan) -> Planned:
    """The photo as it was read, and its plan -> what makes pictures of it."""
    seen = without_contrast(photo, plan.contrast) if plan.chart is None else referred(photo, plan.chart)
    return Planned(seen, plan)
