"""The judge and its contest: propose outlines, rank them, refine the best few, judge those."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from autoprep.correction.outline import weights
from autoprep.correction.outline.candidates import Candidate, propose
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.evidence import Evidence
from autoprep.correction.outline.features import BESIDE_NAMES, NAMES, Described, beside
from autoprep.correction.outline.refinement import Refined, refine
from autoprep.correction.outline.scorer import Committee, Trees, beside_the_others, probability
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import is_convex, order_corners, overlap
from autoprep.pixels import Photo

# Refinement happens at up to this long side.
REFINING_PX = 1200
# So many candidates are refined, and so many different shapes come before the judge; what overlaps more is one shape.
_TRIED, _FINALISTS, SAME = 16, 8, 0.985
# What overlaps an entry so much, or so little, while it is refined ends as the same, or as another. (Of 541 candidates
# of 37 photos 108 overlap one so much after the first round, 103 so little before it; none of them ends otherwise.)
_SURELY_SAME, _SURELY_OTHER = 0.99, 0.9

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


@dataclass(frozen=True)
class Judged:
    """A finalist with the probability that the judge gives it."""

    finalist: Finalist
    chance: float
    scale: float


def judged(copies: Copies, evidence: Evidence, scale: float) -> list[Judged]:
    """The finalists, likeliest first."""
    finalists = contest(copies.photo, evidence, scale, copies=copies)
    if not finalists:
        return []
    _, judge = _scorers()
    scores = judge(beside_the_others(np.array([f.features for f in finalists])))
    order = np.argsort(-scores, kind="stable")
    return [Judged(finalists[k], probability(float(scores[k])), scale) for k in order]


def contest(
    photo: Photo, evidence: Evidence, scale: float, rank: Committee | None = None, copies: Copies | None = None
) -> list[Finalist]:
    """The best few candidates, refined and described for the judge."""
    candidates = propose(evidence)
    seen = Described(evidence, candidates)
    scores = (rank or _scorers()[0])(seen.rows)
    entries = _entries((copies or Copies(photo)).lab(REFINING_PX), candidates, scores, evidence.shape[1])
    # The refined quads are described among all candidates, so that rivals and agreement still count.
    described = seen.rows_of([e.shape for e in entries])
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
        fit = _refined(lab, candidate, enlarge, entries)
        quad = order_corners(fit.quad / enlarge) if fit is not None else candidate.quad
        same = next((entry for entry in entries if overlap(entry.shape.quad, quad) > SAME), None)
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
        if all(overlap(quad, candidates[other].quad) < SAME for other in chosen):
            chosen.append(int(index))
        if len(chosen) == count:
            break
    whole = len(candidates) - 1
    return chosen if whole in chosen else [*chosen, whole]


def _refined(lab: Float32, candidate: Candidate, enlarge: float, entries: list[_Entry]) -> Refined | None:
    """The candidate refined, no further than it takes to tell what becomes of it."""
    if candidate.source == "whole":
        return None

    def is_decided(quad: Float64) -> bool:
        nearest = max((overlap(entry.shape.quad, quad / enlarge) for entry in entries), default=0.0)
        return nearest > _SURELY_SAME or (len(entries) >= _FINALISTS and nearest < _SURELY_OTHER)

    fit = refine(lab, candidate.quad * enlarge, is_enough=is_decided)
    return fit if is_convex(fit.quad) else None


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
