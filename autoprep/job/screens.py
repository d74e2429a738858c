"""Screenshots in a synced camera roll: pictures that no camera took, and that say so, or are called so and flat."""

import re
from pathlib import PurePosixPath

import numpy as np

from autoprep.logs import composed
from autoprep.pixels import Photo

# What phones and computers call them in several languages (common practice, no source).
_CALLED = re.compile(
    r"screen[-_ ]?(?:shot|grab|capture)|bildschirm(?:foto|aufnahme)|schermata|captura de (?:pantalla|tela)"
    r"|capture d.{1,3}cran|sk[äa]rmavbild|schermafbeelding|zrzut ekranu",
    re.IGNORECASE,
)
# In so large a share of the picture a pixel is what the next one is, to the code: on screens .92 and more, compressed
# or not; on 90 photos and scans of pages .3 in the median, .71 in one of twenty, .88 on a bleached scan.
_SAME = 0.9


def is_screenshot(photo: Photo, shown: str) -> bool:
    """Whether a picture is a screenshot: without a camera, and it says so itself, or is called one and flat all over.

    A name alone is not enough, nor is flatness: scans of line drawings have it too.
    """
    if photo.facts.camera:
        return False
    if photo.facts.screen:
        return True
    if _CALLED.search(composed(PurePosixPath(shown).name)) is None:
        return False
    rows = photo.codes[::7]
    return float(np.mean((rows[:, 1:] == rows[:, :-1]).all(axis=-1))) > _SAME
