"""The outline finder: propose, rank, refine the best few, judge them, polish the winner on the full-size photo."""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline import weights
from autoprep.correction.outline.candidates import Candidate, propose
from autoprep.correction.outline.evidence import FINDING_PX, Evidence, gather
from autoprep.correction.outline.features import BESIDE_NAMES, NAMES, beside, rows
from autoprep.correction.outline.refinement import Refined, refine
from autoprep.correction.outline.scorer import Committee, Trees, beside_the_others, probability
from autoprep.correction.perspective import focal_length_px
from autoprep.domain import Corners, Declined, Outline, Photo
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import lab_fast
from autoprep.imaging.geometry import is_convex, order_corners, overlap, rectangle, widened

# Refinement happens at up to this long side; the last polish at up to the second. Chosen by speed: beyond
# 2400 px the blur of phone photos leaves nothing to gain.
_REFINING_PX = 1200
_POLISHING_PX = 2400
# So many candidates are refined, and so many different shapes come before the judge.
# The fit errs by a fraction of a pixel to either side; the outline stands so much of the photo's long side outside it,
# so that no edge of the work is lost. What little desk that lets in, rendering covers (see rendering/layout).
_ROOM = 0.0002
_TRIED, _FINALISTS, _SAME = 16, 8, 0.985

JUDGE_NAMES = (
    *NAMES, "rank_score", "rank_gap", "fit_support_min", "fit_support_mean", "fit_residual", "moved", "votes",
    "edge_width_max", "edge_width_mean", "edge_width_ratio", *BESIDE_NAMES,
)  # fmt: skip
"""Feature names of the judge, in column order."""


@dataclass(frozen=True)
class Finalist:
    """A refined candidate in finding-copy coordinates with the judge's features (len(JUDGE_NAMES),)."""

    quad: Float64
    source: str
    features: Float64
    refined: Refined | None


@lru_cache(maxsize=1)
def _scorers() -> tuple[Committee, Trees]:
    return Committee.of(weights.RANK), Trees.of(weights.JUDGE)


def find_outline(photo: Photo) -> Outline | Declined:
    """The four corners of the work in full-size photo coordinates with a confidence, or why not.

    The confidence is the estimated probability that the outline overlaps the true one by 0.95 or more.
    """
    judged = _judged(photo, *finding_copy(photo))
    if not judged:
        return Declined(reason="no four-sided shape stands out from its surroundings")
    return judged[0].outline()


def find_outlines(photo: Photo, most: int) -> list[Outline]:
    """The likeliest outlines that differ, best first; the whole photo is always among them."""
    judged = _judged(photo, *finding_copy(photo))
    return [entry.outline() for k, entry in enumerate(judged) if k < most or entry.finalist.source == "whole"]


@dataclass(frozen=True)
class _Judged:
    """A finalist with the probability that it is right."""

    photo: Photo
    finalist: Finalist
    chance: float
    scale: float

    def outline(self) -> Outline:
        return _outline(self.photo, self.finalist, self.chance, self.scale)


def _judged(photo: Photo, evidence: Evidence, scale: float) -> list[_Judged]:
    """The finalists, likeliest first."""
    finalists = contest(photo, evidence, scale)
    if not finalists:
        return []
    _, judge = _scorers()
    scores = judge(beside_the_others(np.array([f.features for f in finalists])))
    order = np.argsort(-scores, kind="stable")
    return [_Judged(photo, finalists[k], probability(float(scores[k])), scale) for k in order]


def finding_copy(photo: Photo) -> tuple[Evidence, float]:
    """The evidence at finding size, and its scale relative to the full-size photo."""
    linear = _at(photo, FINDING_PX)
    scale = linear.shape[1] / photo.full_px[0]
    focal = focal_length_px(photo.full_px, photo.facts.focal_mm35)
    return gather(linear, focal * scale if focal else None), scale


def contest(photo: Photo, evidence: Evidence, scale: float, rank: Committee | None = None) -> list[Finalist]:
    """The best few candidates, refined and described for the judge."""
    candidates = propose(evidence)
    features = rows(evidence, candidates)
    scores = (rank or _scorers()[0])(features)
    entries = _entries(_smooth_lab(_at(photo, _REFINING_PX)), candidates, scores, evidence.shape[1])
    # The refined quads are described among all candidates, so that rivals and agreement still count.
    described = rows(evidence, [e.shape for e in entries] + candidates)[: len(entries)]
    near = beside(evidence, np.array([e.shape.quad for e in entries]))
    diagonal = float(np.hypot(*evidence.shape))
    return [
        Finalist(
            entry.shape.quad,
            entry.shape.source,
            np.concatenate([described[k], _judge_extras(entry, entries, diagonal), near[k]]),
            entry.fit,
        )
        for k, entry in enumerate(entries)
    ]


@dataclass
class _Entry:
    """One of the contest: the refined shape, its fit, the ranker's score, how far it moved, who else came to it."""

    shape: Candidate
    fit: Refined | None
    score: float
    moved_px: float
    votes: int = 0


def _entries(lab: Float32, candidates: list[Candidate], scores: Float64, width: int) -> list[_Entry]:
    """The best candidates after refinement that still differ from each other, and always the whole photo."""
    enlarge = lab.shape[1] / width
    entries: list[_Entry] = []
    for index in shortlist(candidates, scores):
        candidate = candidates[index]
        fit = _refine(lab, candidate, enlarge)
        quad = order_corners(fit.quad / enlarge) if fit is not None else candidate.quad
        same = next((entry for entry in entries if overlap(entry.shape.quad, quad) > _SAME), None)
        if same is not None:
            same.votes += 1
        elif len(entries) < _FINALISTS or candidate.source == "whole":
            moved = float(np.abs(quad - candidate.quad).max())
            entries.append(_Entry(Candidate(quad, candidate.source), fit, float(scores[index]), moved))
    return entries


def shortlist(candidates: list[Candidate], scores: Float64, count: int = _TRIED) -> list[int]:
    """Indices of the best candidates that differ from each other, and always the whole photo."""
    chosen: list[int] = []
    for index in np.argsort(-scores, kind="stable"):
        quad = candidates[index].quad
        if all(overlap(quad, candidates[other].quad) < _SAME for other in chosen):
            chosen.append(int(index))
        if len(chosen) == count:
            break
    whole = len(candidates) - 1
    return chosen if whole in chosen else [*chosen, whole]


def _refine(lab: Float32, candidate: Candidate, enlarge: float) -> Refined | None:
    if candidate.source == "whole":
        return None
    refined = refine(lab, candidate.quad * enlarge)
    return refined if is_convex(refined.quad) else None


def _judge_extras(entry: _Entry, entries: list[_Entry], diagonal: float) -> Float64:
    gap = entry.score - max(
        (other.score for other in entries if overlap(other.shape.quad, entry.shape.quad) < 0.95),
        default=entry.score - 8,
    )
    fit = entry.fit
    return np.array(
        [
            np.clip(entry.score, -12, 12),
            np.clip(gap, -8, 8),
            fit.support.min() if fit else 0.0,
            fit.support.mean() if fit else 0.0,
            min(fit.residual_px, 5.0) if fit else 2.0,
            min(entry.moved_px / diagonal * 50, 2.0),
            entry.votes / 3,
            *_edge_widths(fit),
        ]
    )


def _edge_widths(fit: Refined | None) -> tuple[float, float, float]:
    """Widest, mean and widest-to-narrowest of the sides' edges, in pixels of the refining copy."""
    if fit is None:
        return 6.0, 6.0, 1.0
    widths = np.clip(fit.widths_px, 0.5, 12.0)
    return float(widths.max()), float(widths.mean()), float(min(widths.max() / widths.min(), 6.0))


def _at(photo: Photo, long_px: int) -> Float32:
    """(h, w, 3) float32 linear light of the whole photo with this long side (never enlarged)."""
    width, height = photo.size_px
    factor = max(1, max(width, height) // long_px)
    reduced = photo.reduced(factor) if max(width, height) // max(factor, 1) >= long_px else photo
    linear = reduced.linear()
    ratio = min(1.0, long_px / max(linear.shape[:2]))
    size = (max(8, round(linear.shape[1] * ratio)), max(8, round(linear.shape[0] * ratio)))
    return cast(Float32, cv2.resize(linear, size, interpolation=cv2.INTER_AREA))


def _smooth_lab(linear: Float32) -> Float32:
    return cast(Float32, cv2.GaussianBlur(lab_fast(linear), (0, 0), 0.8))


def _outline(photo: Photo, winner: Finalist, confidence: float, scale: float) -> Outline:
    width, height = photo.full_px
    evidence = {name: round(float(value), 3) for name, value in zip(JUDGE_NAMES, winner.features, strict=True)}
    if winner.source == "whole":
        corners = _corners(rectangle(width, height))
        return Outline(corners_px=corners, confidence=confidence, whole_photo=True, evidence=evidence)
    return Outline(corners_px=_corners(_polish(photo, winner.quad / scale)), confidence=confidence, evidence=evidence)


def _polish(photo: Photo, quad_px: Float64) -> Float64:
    """The last sub-pixel fit, on the largest useful copy of the photo."""
    lab = _smooth_lab(_at(photo, _POLISHING_PX))
    scale = lab.shape[1] / photo.full_px[0]
    refined = refine(lab, quad_px * scale, reach=0.004, rounds=2, prior=0.003)
    polished = refined.quad / scale
    fitted = order_corners(polished) if overlap(polished, quad_px) > 0.97 else order_corners(quad_px)
    return widened(fitted, _ROOM * max(photo.full_px))


def _corners(quad: Float64) -> Corners:
    return cast(Corners, tuple((round(float(x), 2), round(float(y), 2)) for x, y in quad))
