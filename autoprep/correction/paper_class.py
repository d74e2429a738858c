"""Whether a sheet is white, tinted or toned, or shows no bare paper: what proves it, and else what fitted trees say."""

from dataclasses import replace
from functools import lru_cache
from typing import Literal

import numpy as np

from autoprep.correction import paper_weights
from autoprep.correction.outline.scorer import Trees
from autoprep.correction.paper import Paper, photographed_lab
from autoprep.correction.paper_eye import PaperSight
from autoprep.correction.paper_signs import Around, signs
from autoprep.domain import Declined
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import LUMINANCE

PaperClass = Literal["white", "tinted", "toned", "none"]

# A work has bare paper when it is seen on this share of the sheet and of the stretches along its rim.
# (Paintings of the lab's tuning seeds stay below 4 %; an ample share needs little of the rim, but some: the mat
# inside a frame has none of it.)
_MIN_COVERAGE, _MIN_RIM, _AMPLE_COVERAGE, _AMPLE_RIM = 0.03, 0.30, 0.20, 0.08
# A margin that the eye for shade sees too may be less.
_MIN_MARGIN = 0.015
# Seen through a colour chart, levels are absolute: drawing papers sold as white, natural or cream are lighter than
# L* 84 (common practice, no source), grey and kraft ones darker.
_LIGHT_PAPER_L, _LIGHT_PAPER_C = 84.0, 20.0
# As photographed. What proves toned paper: marks lighter than it (between printed lines more is lighter by chance), a
# ratio of red to blue that no lamp gives white paper, or near black among lighter things. What proves light paper: a
# ruling, for ruled paper is hardly ever toned (common practice, no source), or a lightness that grey sheets do not
# reach; if nothing lighter or brown speaks against it. Chosen on 665 sheets of the lab's tuning seeds 61000-, in even
# and everyday light.
_SURELY_LIGHTER, _LIGHTER_SHARE, _LIGHTER_ON_RULED, _LIGHT_L = 0.012, 0.007, 0.02, 82.0
# (A camera that takes no lamp's colour back makes white almost as red as that. A white sheet in a dim room is dark too,
# but nothing that is white is as black as the second.)
# Nor is white paper ever so blue, or so green or pink.
_REDDEST, _BLUEST, _GREENEST = 1.8, -1.4, 0.3
_BLACK_L, _BLACK_OUTSHONE = (30.0, 14.0), 1.3
_TINTED_C = 4.5
# What the trees say (logit) where nothing is proven. Of 2,170 such sheets of tuning seeds 2400000-2404499, by trees
# that had not seen the photo, 7 of 1,549 light ones are taken for toned and 103 of 621 toned ones for light; in light
# of other tints, red to blue off by up to .8 and green by .1, 7 to 12 and 97 to 108. (Of all 4,363, with what is
# proven: 13 of 2,722 and 139 of 1,641; limits by hand on lightness, red to blue, lighter marks and surroundings: 25
# and 468.) Of 80 real white pages none is, made darker by up to 2 and redder or bluer by .6 as well. Outside of the
# second, 1 % of what lies below and of what lies above are wrong.
_TONED_LOGIT, _SURE_LOGITS = 1.5, (-3.0, 3.0)
# Where the eye for paper is as sure as that it is toned, and the trees are not sure of light (one white sheet in even
# light, seed 30010, is seen as toned by .96, and light by .03); or light: of 150 toned and coloured sheets that were
# looked at while these were chosen (seeds 202000-207079) .07 is the least of toned where it sees so much of light.
_SEEN_TONED, _SEEN_LIGHT = 0.97, 0.02
_SEEN_WHITE, _HARDLY_TONED = 0.85, 0.045


def paper_class_of(
    linear: Float32,
    paper: Paper | Declined,
    surroundings: Around | None,
    absolute: bool,
    evidence: dict[str, float],
    ground: PaperSight | None = None,
) -> tuple[PaperClass, bool]:
    """The class of a rectified work's paper, and whether more than likelihood speaks for it.

    linear: (H, W, 3) float32 linear sRGB; absolute: levels are reflectances; ground: what the eye for paper sees; what
    was measured is added to evidence.
    """
    if isinstance(paper, Declined):
        return "none", True
    # That a shadow lies over all of a sheet is believed where it looks like light paper besides: so may a wash look.
    if paper.dimmed and (ground is None or ground.light <= _SEEN_WHITE):
        paper = replace(paper, dimmed=0.0)
    evidence |= measured(paper, surroundings)
    least_rim = _MIN_RIM if paper.coverage < _AMPLE_COVERAGE else _AMPLE_RIM
    if paper.coverage < (_MIN_MARGIN if paper.margin else _MIN_COVERAGE) or paper.rim < least_rim:
        return "none", True
    lightness, chroma = evidence["paper_as_shot_L"], evidence["paper_as_shot_C"]
    light: PaperClass = "tinted" if chroma > _TINTED_C else "white"
    if absolute:
        return (light if lightness > _LIGHT_PAPER_L and chroma < _LIGHT_PAPER_C else "toned"), True
    toned, sure = _is_toned(linear, paper, surroundings, evidence)
    if ground is not None:
        evidence |= {"seen_light": ground.light, "seen_toned": ground.toned, "seen_covered": ground.covered}
        if _is_contested(toned, paper, evidence, ground):
            toned, sure = not toned, False
    return ("toned" if toned else light), sure


def _is_toned(
    linear: Float32, paper: Paper, surroundings: Around | None, evidence: dict[str, float]
) -> tuple[bool, bool]:
    """Whether a paper is toned, and whether more than likelihood speaks for it, as far as it can be measured."""
    proof = proven(paper, evidence)
    if proof is not None:
        return proof == "toned", True
    logit = float(_trees()(signs(linear, paper, surroundings))[0])
    evidence["toned_logit"] = logit
    low, high = _SURE_LOGITS
    return logit > _TONED_LOGIT, not low < logit < high


def _is_contested(toned: bool, paper: Paper, evidence: dict[str, float], ground: PaperSight) -> bool:
    """Whether the eye for paper is so sure of the other thing that it is believed. A colour that no lamp gives, and
    black, stay what they are; what is lighter than the paper may be light between the fingers of a shadow."""
    if not toned:
        doubted = evidence.get("toned_logit", _SURE_LOGITS[0]) >= _SURE_LOGITS[0]
        return doubted and ground.toned > _SEEN_TONED and ground.light < _SEEN_LIGHT
    seen_light = ground.light > _SEEN_WHITE and ground.toned < _HARDLY_TONED
    return seen_light and _may_be_lit(paper) and evidence["paper_as_shot_L"] > _BLACK_L[0]


@lru_cache(maxsize=1)
def _trees() -> Trees:
    return Trees.of(paper_weights.PAPER)


def measured(paper: Paper, surroundings: Around | None) -> dict[str, float]:
    """What the photo shows of the paper, and how much lighter what lies around it is, by names for the record."""
    lightness, a, b = photographed_lab(paper)
    seen = paper.undimmed_linear()
    lightest = None if surroundings is None else surroundings.lightest()
    return {
        "bare_paper_share": paper.coverage,
        "rim_paper_share": paper.rim,
        "paper_scatter": paper.scatter,
        "paper_as_shot_L": float(lightness),
        "paper_as_shot_C": float(np.hypot(a, b)),
        "lighter_than_paper_share": paper.lighter,
        "paper_log_red_to_blue": float(np.log(seen[0] / seen[2])),
        "surroundings_to_paper": (lightest or 0.0) / float(seen @ LUMINANCE.astype(np.float64)),
    }


def proven(paper: Paper, evidence: dict[str, float]) -> Literal["toned", "light"] | None:
    """What is beyond doubt about a paper by what was measured; None where nothing is."""
    lightness, lighter = evidence["paper_as_shot_L"], evidence["lighter_than_paper_share"]
    outshone = evidence["surroundings_to_paper"]
    dark, pitch = _BLACK_L
    black = lightness < pitch or (lightness < dark and outshone > _BLACK_OUTSHONE)
    if lighter > (_LIGHTER_ON_RULED if paper.ruled else _SURELY_LIGHTER) or black or not _may_be_lit(paper):
        return "toned"
    if paper.ruled:
        return "light"
    return "light" if lightness > _LIGHT_L and lighter <= _LIGHTER_SHARE else None


def _may_be_lit(paper: Paper) -> bool:
    """Whether a lamp, or a white balance for another one, can give white paper the colour of this."""
    red, green, blue = np.log(paper.mean_linear())
    return bool(_BLUEST < red - blue < _REDDEST and abs(green - (red + blue) / 2) < _GREENEST)
