"""Exposure: white paper to its level with a guarded top; everything else as the camera saw it."""

import numpy as np

from autoprep.correction.paper import Paper
from autoprep.correction.paper_class import PaperClass
from autoprep.domain import Declined, Tone
from autoprep.imaging.colour import LUMINANCE, luminance_of_lightness
from autoprep.imaging.transfer import srgb_to_linear

# Clean paper sits at L* 96.5: light enough to read as white, low enough to keep its grain and the palest wash.
PAPER_LIGHTNESS = 96.5
# The shoulder ends just below code 250 of 255.
_CEILING = float(srgb_to_linear(np.array(249.2 / 255)))


def lighter(found: Tone, stops: float) -> Tone:
    """The tone, so many stops lighter by the artist's word, darker below 0; near the top it is bent, not cut."""
    if stops == 0:
        return found
    gain = found.gain * 2.0**stops
    return Tone(gain=gain, knee=_KNEE, ceiling=_CEILING) if stops > 0 else found.model_copy(update={"gain": gain})


# Chosen: L* 90; below it what the artist asked for is kept in full.
_KNEE = luminance_of_lightness(90.0)


def tone(paper: Paper | Declined, paper_class: PaperClass, paper_lightness: float = PAPER_LIGHTNESS) -> Tone:
    """Gain and shoulder. Paintings and toned paper are not stretched: gain 1, no shoulder."""
    if isinstance(paper, Declined) or paper_class in ("none", "toned"):
        return Tone()
    level = luminance_of_lightness(paper_lightness)
    seen = float(paper.mean_linear() @ LUMINANCE.astype(np.float64))
    return Tone(gain=level / seen, knee=min(level, _CEILING - 0.005), ceiling=_CEILING)
