"""What kind of work this is and what it stands on, with the evidence; the artist's word overrules it."""

from typing import NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction.paper import Paper
from autoprep.correction.paper_class import PaperClass, paper_class_of
from autoprep.correction.paper_eye import PaperSight
from autoprep.correction.paper_signs import Around
from autoprep.domain import Declined, Kind, PaperWord
from autoprep.imaging import quick
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import lab_fast, luminance


class Judged(NamedTuple):
    """The kind, the paper's class, the numbers that led to them, and whether that class was but the likeliest guess."""

    kind: Kind
    paper: PaperClass
    evidence: dict[str, float]
    guessed: bool = False


def judge(
    linear: Float32,
    paper: Paper | Declined,
    said: Kind | None = None,
    surroundings: Around | None = None,
    absolute: bool = False,
    said_paper: PaperWord | None = None,
    ground: PaperSight | None = None,
) -> Judged:
    """(H, W, 3) float32 linear sRGB of the rectified work and its paper -> kind and paper class.

    surroundings: what lies around the work in the photo; absolute: the photo is seen through a colour chart, so its
    levels are reflectances; said, said_paper: the artist's word, which settles it; ground: what the eye for paper sees.
    """
    evidence: dict[str, float] = {}
    found, sure = paper_class_of(linear, paper, surroundings, absolute, evidence, ground)
    paper_class = found if said_paper is None else _class_said(said_paper, paper, found)
    kind: Kind
    if paper_class == "none" or isinstance(paper, Declined):
        kind = "painting"
    elif paper_class == "toned":
        kind = "toned"
    else:
        kind = _kind_on_white(linear, paper, evidence)
    if said is not None:
        kind = said
        paper_class = paper_class if said_paper is not None else _class_for(said, paper, paper_class)
    told = said_paper is not None or absolute or paper_class == "none" or (said is not None and paper_class == "toned")
    guessed = not told and not (sure and paper_class == found)
    return Judged(kind, paper_class, {name: round(value, 4) for name, value in evidence.items()}, guessed)


def _class_said(said: PaperWord, paper: Paper | Declined, found: PaperClass) -> PaperClass:
    """The paper class that the artist's word asks for, as far as paper is to be seen."""
    if isinstance(paper, Declined) or said == "none":
        return "none"
    return "toned" if said == "toned" else found if found in ("white", "tinted") else "tinted"


def _class_for(said: Kind, paper: Paper | Declined, found: PaperClass) -> PaperClass:
    """The paper class that goes with the artist's word."""
    if said == "painting" or isinstance(paper, Declined):
        return "none"
    if said == "toned":
        return "toned"
    return found if found in ("white", "tinted") else "white"


def _kind_on_white(linear: Float32, paper: Paper, evidence: dict[str, float]) -> Kind:
    """Pencil, ink, journal or watercolour, from the marks once the light is taken out."""
    even = paper.log_field(*linear.shape[:2])
    cv2.exp(even, dst=even)
    cv2.divide(linear, even, dst=even, scale=0.91)
    flat = cast(Float32, cv2.resize(even, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA))
    lab = lab_fast(flat)
    chroma = cast(Float32, cv2.magnitude(lab[..., 1], lab[..., 2]))
    smooth = cv2.GaussianBlur(chroma, (0, 0), 2.5)
    marked = lab[..., 0] < 88
    evidence |= {
        "coloured_share": float((smooth > 6).mean()),
        "marked_share": float(marked.mean()),
        "darkest_L": quick.quantile(lab[..., 0], 0.003),
        "mark_chroma": quick.median(chroma[marked]) if marked.any() else 0.0,
        "fold": fold_depth(flat),
    }
    if evidence["fold"] > 0.02:
        return "journal"
    if evidence["coloured_share"] > 0.10:
        return "watercolour"
    # Pencil and ink overlap here; nothing in the correction depends on which of the two it is.
    if evidence["darkest_L"] < 37:
        return "ink"
    return "pencil"


def fold_depth(flat: Float32) -> float:
    """How much darker, in log luminance, a narrow valley near the middle of the longer axis is: a gutter.

    A gutter runs the whole length of the sheet; a mast or a shadow does not. So in at least nine of ten stretches
    along it the valley must be darker than the paper on both sides, and only its light parts count.
    """
    luma = quick.log(np.maximum(luminance(flat), 1e-3))
    if flat.shape[0] > flat.shape[1]:
        luma = np.ascontiguousarray(luma.T)
    height, width = luma.shape
    if height < 80 or width < 80:
        return 0.0  # too small to tell a gutter from a line
    reach = max(3, round(0.05 * width))
    at = np.arange(int(0.44 * width), int(0.56 * width))
    first, last = at[0] - 2 * reach, at[-1] + 2 * reach  # no column further off has a say
    # 40 stretches along the fold; in each, the lightest fifth of every column is paper or the gutter's own tone.
    stretches, at = quick.quantile_of_stretches(luma[:, first:last], 40, 0.8), at - first
    valley = (stretches[:, at - 1] + stretches[:, at] + stretches[:, at + 1]) / 3
    beside = np.lib.stride_tricks.sliding_window_view(stretches, reach, axis=1)  # from each column on
    left, right = (np.median(beside[:, first], axis=-1) for first in (at - 2 * reach, at + reach))
    return max(0.0, float(np.quantile(np.minimum(left, right) - valley, 0.1, axis=0).max()))
