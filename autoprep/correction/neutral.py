"""The colour of the light, from paper that proves it; restraint everywhere else."""

from typing import Literal

import numpy as np

from autoprep.correction.paper import Paper
from autoprep.correction.paper_class import PaperClass
from autoprep.domain import Declined, Neutral
from autoprep.imaging.colour import LUMINANCE

PaperWish = Literal["clean", "keep"]


_KEPT_AS_ASKED = "the paper's tint is kept, as you asked"


def neutral(
    paper: Paper | Declined,
    paper_class: PaperClass,
    wish: PaperWish = "clean",
    chart: bool = False,
    asked: bool = False,
) -> Neutral | Declined:
    """Gains that make white, natural or cream paper neutral; luminance stays.

    wish "keep" leaves a paper's own tint; asked: the artist says so of this work, and not the settings of all. On
    toned paper and on paintings nothing neutral is known, so nothing is changed; unless a colour chart (chart) has told
    what is, and then the photo is already seen through it.
    """
    if chart and (isinstance(paper, Declined) or paper_class in ("none", "toned")):
        return Neutral(source="grey reference")
    if isinstance(paper, Declined) or paper_class == "none":
        return Declined(reason="nothing in the picture is known to be neutral; its colours are left as shot")
    if paper_class == "toned":
        return Declined(reason="toned paper keeps its own colour")
    if wish == "keep":
        return Declined(reason=_KEPT_AS_ASKED if asked else "the settings ask to keep the paper's tint")
    colour = paper.mean_linear()
    gain = (colour @ LUMINANCE.astype(np.float64)) / colour
    return Neutral(gain=(float(gain[0]), float(gain[1]), float(gain[2])), source="paper")
