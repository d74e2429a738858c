"""What kind of work this is and what it stands on, with the evidence; the artist's word overrules it."""

from typing import Literal, NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction.paper import Paper, photographed_lab
from autoprep.domain import Declined, Kind, PaperWord
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMINANCE, lab_fast, luminance

PaperClass = Literal["white", "tinted", "toned", "none"]

# A work has bare paper when it is seen on this share of the sheet and of the stretches along its rim.
# (Paintings of the lab's tuning seeds stay below 4 %; an ample share needs little of the rim, but some: the mat
# inside a frame has none of it.)
_MIN_COVERAGE, _MIN_RIM, _AMPLE_COVERAGE, _AMPLE_RIM = 0.03, 0.30, 0.20, 0.08
# Seen through a colour chart, levels are absolute: drawing papers sold as white, natural or cream are lighter than
# L* 84 (common practice, no source), grey and kraft ones darker.
_LIGHT_PAPER_L, _LIGHT_PAPER_C = 84.0, 20.0
# As photographed. What tells toned paper best are marks lighter than it. Without them: a ratio of red to blue that
# no lamp gives white paper (it does not depend on exposure, as chroma does) on a sheet that is not light for all
# that, near black, or a dark sheet with much lighter things around it (an underexposed white sheet is the lightest
# thing in its photo). Chosen on 665 sheets of the lab's tuning seeds 61000-, in even and everyday light: 3 of 533 light
# ones are taken for toned, 18 of 132 toned ones, most of them grey and without light marks, for light (15 and 17
# where the limits were chosen on even light); white left grey is the worse mistake.
_LIGHTER_SHARE, _LIGHT_L, _DARK_L, _OUTSHONE = 0.007, 82.0, 68.0, 1.8
# Lamps come near kraft paper: up to the second ratio something lighter must lie around it. So it is with near black,
# for a white sheet in a dim room is dark too; but nothing that is white is as black as the second.
_RED_TO_BLUE, _BROWN_OUTSHONE = (0.95, 1.25), 1.5
_BLACK_L, _BLACK_OUTSHONE = (30.0, 14.0), 1.3
# What passes these by so little is a guess: a quarter of toned sheets, and most light ones that are taken for such. (A
# camera that takes no lamp's colour back makes white as red as that.)
_SURELY_LIGHTER, _SURELY_RED = 0.012, 1.8
_TINTED_C = 4.5
# Ruled paper is hardly ever toned (common practice, no source), and between its lines more is lighter by chance.
_LIGHTER_ON_RULED = 0.02


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
    surroundings: float | None = None,
    absolute: bool = False,
    said_paper: PaperWord | None = None,
) -> Judged:
    """(H, W, 3) float32 linear sRGB of the rectified work and its paper -> kind and paper class.

    surroundings: the luminance of the lightest things around the work in the photo, where there are any; absolute:
    the photo is seen through a colour chart, so its levels are reflectances; said, said_paper: the artist's word, which
    settles it.
    """
    evidence: dict[str, float] = {}
    found = _paper_class(paper, surroundings, absolute, evidence)
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
    sure = _surely_toned if paper_class == "toned" else _surely_white
    guessed = not told and not sure(cast(Paper, paper), evidence)
    return Judged(kind, paper_class, {name: round(value, 4) for name, value in evidence.items()}, guessed)


def _class_said(said: PaperWord, paper: Paper | Declined, found: PaperClass) -> PaperClass:
    """The paper class that the artist's word asks for, as far as paper is to be seen."""
    if isinstance(paper, Declined) or said == "none":
        return "none"
    return "toned" if said == "toned" else found if found in ("white", "tinted") else "tinted"


def _surely_white(paper: Paper, evidence: dict[str, float]) -> bool:
    """Whether something else than custom speaks for white: a ruling, or a lightness that grey sheets do not reach."""
    return evidence["paper_as_shot_L"] > _LIGHT_L or (paper.sheet is not None and paper.sheet.ruled)


def _surely_toned(paper: Paper, evidence: dict[str, float]) -> bool:
    """Whether marks lighter than it, its colour, or its blackness leave no doubt that a sheet is toned."""
    marked = evidence["lighter_than_paper_share"] > _SURELY_LIGHTER
    black = _is_black(evidence["paper_as_shot_L"], evidence["surroundings_to_paper"])
    return marked or black or evidence["paper_log_red_to_blue"] > _SURELY_RED


def _class_for(said: Kind, paper: Paper | Declined, found: PaperClass) -> PaperClass:
    """The paper class that goes with the artist's word."""
    if said == "painting" or isinstance(paper, Declined):
        return "none"
    if said == "toned":
        return "toned"
    return found if found in ("white", "tinted") else "white"


def _paper_class(
    paper: Paper | Declined, surroundings: float | None, absolute: bool, evidence: dict[str, float]
) -> PaperClass:
    if isinstance(paper, Declined):
        return "none"
    lightness, a, b = photographed_lab(paper)
    chroma = float(np.hypot(a, b))
    seen = paper.mean_linear()
    outshone = (surroundings or 0.0) / float(seen @ LUMINANCE.astype(np.float64))
    red_to_blue = float(np.log(seen[0] / seen[2]))
    evidence |= {
        "bare_paper_share": paper.coverage,
        "rim_paper_share": paper.rim,
        "paper_scatter": paper.scatter,
        "paper_as_shot_L": float(lightness),
        "paper_as_shot_C": chroma,
        "lighter_than_paper_share": paper.lighter,
        "paper_log_red_to_blue": red_to_blue,
        "surroundings_to_paper": outshone,
    }
    least_rim = _MIN_RIM if paper.coverage < _AMPLE_COVERAGE else _AMPLE_RIM
    if paper.coverage < _MIN_COVERAGE or paper.rim < least_rim:
        return "none"
    if absolute:
        light = lightness > _LIGHT_PAPER_L and chroma < _LIGHT_PAPER_C
        return "toned" if not light else "tinted" if chroma > _TINTED_C else "white"
    brown = _is_brown(red_to_blue, outshone) and lightness < _LIGHT_L
    ruled = paper.sheet is not None and paper.sheet.ruled
    if paper.lighter > (_LIGHTER_ON_RULED if ruled else _LIGHTER_SHARE) or brown or _is_black(lightness, outshone):
        return "toned"
    if lightness < _DARK_L and outshone > _OUTSHONE and not ruled:
        return "toned"
    return "tinted" if chroma > _TINTED_C else "white"


def _is_brown(red_to_blue: float, outshone: float) -> bool:
    some, much = _RED_TO_BLUE
    return red_to_blue > much or (red_to_blue > some and outshone > _BROWN_OUTSHONE)


def _is_black(lightness: float, outshone: float) -> bool:
    dark, pitch = _BLACK_L
    return lightness < pitch or (lightness < dark and outshone > _BLACK_OUTSHONE)


def _kind_on_white(linear: Float32, paper: Paper, evidence: dict[str, float]) -> Kind:
    """Pencil, ink, journal or watercolour, from the marks once the light is taken out."""
    even = np.asarray(linear / np.exp(paper.log_field(*linear.shape[:2])) * 0.91, np.float32)
    flat = cast(Float32, cv2.resize(even, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA))
    lab = lab_fast(flat)
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    smooth = cv2.GaussianBlur(chroma, (0, 0), 2.5)
    marked = lab[..., 0] < 88
    evidence |= {
        "coloured_share": float((smooth > 6).mean()),
        "marked_share": float(marked.mean()),
        "darkest_L": float(np.percentile(lab[..., 0], 0.3)),
        "mark_chroma": float(np.median(chroma[marked])) if marked.any() else 0.0,
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
    luma = np.log(np.maximum(luminance(flat), 1e-3))
    if flat.shape[0] > flat.shape[1]:
        luma = np.ascontiguousarray(luma.T)
    height, width = luma.shape
    if height < 80 or width < 80:
        return 0.0  # too small to tell a gutter from a line
    # 40 stretches along the fold; in each, the lightest fifth of every column is paper or the gutter's own tone.
    stretches = np.stack([np.quantile(part, 0.8, axis=0) for part in np.array_split(luma, 40)])
    reach = max(3, round(0.05 * width))
    at = np.arange(int(0.44 * width), int(0.56 * width))
    valley = (stretches[:, at - 1] + stretches[:, at] + stretches[:, at + 1]) / 3
    beside = np.lib.stride_tricks.sliding_window_view(stretches, reach, axis=1)  # from each column on
    left, right = (np.median(beside[:, first], axis=-1) for first in (at - 2 * reach, at + reach))
    return max(0.0, float(np.quantile(np.minimum(left, right) - valley, 0.1, axis=0).max()))
