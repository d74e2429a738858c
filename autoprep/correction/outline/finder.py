"""The outline finder: propose, rank, refine the best few, judge them, polish the winner on the full-size photo."""

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.outline import eye, gate, weights
from autoprep.correction.outline.candidates import Candidate, propose
from autoprep.correction.outline.close_up import CloseUp, smooth_lab
from autoprep.correction.outline.evidence import FINDING_PX, Evidence, gather
from autoprep.correction.outline.features import BESIDE_NAMES, NAMES, beside, rows
from autoprep.correction.outline.material import fills_photo, is_one_sheet
from autoprep.correction.outline.refinement import Refined, Sides, refine
from autoprep.correction.outline.scorer import Committee, Trees, beside_the_others, probability
from autoprep.correction.perspective import focal_length_px
from autoprep.domain import Corners, Declined, Outline, Photo
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import area, is_convex, order_corners, overlap, overlap_in_photo, rectangle, widened

# Refinement happens at up to this long side; the last polish at the second or more. Chosen by speed: beyond 2400 px the
# blur of phone photos leaves nothing to gain.
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


class Copies:
    """Reduced copies of a photo that several parts of the finder look at, each made once."""

    def __init__(self, photo: Photo) -> None:
        self.photo = photo
        self._linear: dict[int, Float32] = {}
        self._labs: dict[int, Float32] = {}

    def at(self, long_px: int) -> Float32:
        """(h, w, 3) float32 linear light of the whole photo with this long side (never enlarged)."""
        if long_px not in self._linear:
            self._linear[long_px] = _at(self.photo, long_px)
        return self._linear[long_px]

    def lab(self, long_px: int) -> Float32:
        """(h, w, 3) float32 L*a*b* of the same, a little smoothed."""
        if long_px not in self._labs:
            self._labs[long_px] = smooth_lab(self.at(long_px))
        return self._labs[long_px]


class Survey:
    """What one look at a photo tells: the outlines that its work may have, several works, or that there is none."""

    def __init__(self, photo: Photo) -> None:
        """Look at the photo with both finders."""
        self._photo = photo
        self._copies = Copies(photo)
        self._sight = eye.look(photo, self._copies.at(FINDING_PX))
        self._answers, self._beside = _answers(self._copies, self._sight)

    def outline(self) -> Outline | Declined:
        """The four corners of the work in full-size photo coordinates with a confidence, or why not.

        The confidence is the estimated probability that the outline overlaps the true one by 0.95 or more. It is made
        of the agreement of two finders (see gate); without the second it is the judge's, taken down, so that more is
        asked.
        """
        if not self._answers:
            return Declined(reason="no four-sided shape stands out from its surroundings")
        return self._answers[0].outline(self._copies)

    def outlines(self, most: int) -> list[Outline]:
        """The likeliest outlines that differ, best first; the whole photo is always among them.

        Where several works are seen, all of them come first, in reading order.
        """
        works = self.works() if self.several else []
        others = [
            entry.outline(self._copies) for k, entry in enumerate(self._answers) if k < most - len(works) or entry.whole
        ]
        size = self._photo.full_px
        new = [o for o in others if all(overlap_in_photo(o.array(), w.array(), size) < _SAME for w in works)]
        return [*works, *new]

    @property
    def several(self) -> bool:
        """Whether more than one work is seen."""
        return self._sight is not None and bool(len(self._sight.works) > 1 or self._beside)

    def works(self) -> list[Outline]:
        """The outlines of several works that lie side by side, in reading order; one, or none, where there are not.

        Rows are read from the top, each from the left: a work belongs to a row when its middle lies in the row's
        height.
        """
        if self._sight is None or not self.several:
            found = self.outline()
            return [] if isinstance(found, Declined) else [found]
        lab = self._copies.lab(_REFINING_PX)
        chance = self._sight.chance
        seen = [_answer_of_eye(self._photo, lab, s, chance * s.views_agree, {}) for s in self._sight.works]
        size = self._photo.full_px
        for entry in self._beside:
            if all(overlap_in_photo(entry.quad, other.quad, size) < _OTHER for other in seen):
                seen.append(entry)
        return [entry.outline(self._copies) for entry in _in_reading_order(seen)]

    def shows_work(self) -> tuple[float, dict[str, float]]:
        """How likely the photo shows a work at all, 0..1, and the evidence; 1 where the second eye is missing."""
        sight = self._sight
        if sight is None:
            return 1.0, {}
        return gate.work_chance(sight.chance, sight.undecided), {"chance": sight.chance, "undecided": sight.undecided}


def find_outline(photo: Photo) -> Outline | Declined:
    """The outline of the work in a photo, or why there is none to be found (see Survey.outline)."""
    return Survey(photo).outline()


# The judge alone: its chance was learned on generated photos, where nearly all is easy. Chosen: only what it holds for
# all but certain is passed.
_JUDGE_ALONE = 0.92


@dataclass(frozen=True)
class _Answer:
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
            corners_px=_corners(corners),
            confidence=self.confidence,
            whole_photo=self.whole,
            cut=(True, True, True, True) if self.whole else self.cut,
            evidence=evidence,
        )


def _answers(copies: Copies, sight: eye.Sight | None) -> tuple[list[_Answer], list[_Answer]]:
    """All that the work's outline may be, likeliest first: the eye's if it sees one, then the judge's finalists.

    And those finalists that are a work beside it, as likely as not.
    """
    photo = copies.photo
    evidence, scale = finding_copy(photo, copies)
    judged = [_answer_of_judge(entry) for entry in _judged(copies, evidence, scale)]
    if sight is None or not judged:
        return [replace(entry, confidence=_JUDGE_ALONE * entry.confidence) for entry in judged], []
    if not sight.works:  # the eye sees no work: whatever the judge says, it is a question
        return [replace(entry, confidence=min(entry.confidence, gate.DOUBTED)) for entry in judged], []
    seen = sight.works[0]
    first = _answer_of_eye(photo, copies.lab(_REFINING_PX), seen, 0.0, {})
    apart = _apart(first, judged, photo.full_px)
    copy = copies.at(_REFINING_PX)
    witness = replace(
        _witness(photo, evidence, scale, first, judged, sight),
        several=len(sight.works) > 1 or bool(apart),
        one_sheet=not first.whole and is_one_sheet(copy, first.quad * (copy.shape[1] / photo.full_px[0]), first.cut),
    )
    named = {**judged[0].evidence, **witness.as_evidence()}
    first = replace(first, confidence=gate.confidence(witness), evidence=named)
    left = 1 - first.confidence
    others = [
        replace(entry, confidence=min(entry.confidence, left))
        for entry in judged
        if (entry.whole and not first.whole) or overlap_in_photo(entry.quad, first.quad, photo.full_px) < _SAME
    ]
    if gate.may_be_whole(witness):
        quads = [entry.quad * (copy.shape[1] / photo.full_px[0]) for entry in (first, *judged) if not entry.whole]
        if fills_photo(copy, quads):
            all_cut = (True, True, True, True)
            whole = _Answer(rectangle(*photo.full_px), gate.WHOLE, all_cut, whole=True, evidence=named)
            return [whole, *([] if first.whole else [replace(first, confidence=1 - gate.WHOLE)]), *others], apart
    if others and gate.of_two_minds(witness):
        best = replace(others[0], confidence=min(judged[0].confidence, gate.DOUBTED), evidence=named)
        return [best, first, *others[1:]], apart
    return [first, *others], apart


# A finalist that lies apart from the outline, is not small beside it, and that the judge holds for so likely is another
# work. (Generated photos of tuning seeds: other works .08-.94, things on the desk of single works .04 at most.)
_APART, _NOT_SMALL, _OTHER, _AS_LIKELY = 0.02, 0.08, 0.3, 0.06


def _apart(first: _Answer, judged: list[_Answer], size: tuple[int, int]) -> list[_Answer]:
    found: list[_Answer] = []
    for entry in judged:
        likely = not entry.whole and entry.confidence > _AS_LIKELY and area(entry.quad) > _NOT_SMALL * area(first.quad)
        alone = all(overlap_in_photo(entry.quad, other.quad, size) < _OTHER for other in found)
        if likely and alone and overlap_in_photo(entry.quad, first.quad, size) < _APART:
            found.append(entry)
    return found


def _witness(
    photo: Photo, evidence: Evidence, scale: float, first: _Answer, judged: list[_Answer], sight: eye.Sight
) -> gate.Witness:
    size = photo.full_px
    best = judged[0]
    rail = beside(evidence, first.quad[None] * scale)[0, 0] > gate.RAIL
    return gate.Witness(
        agreement=overlap_in_photo(best.quad, first.quad, size),
        support=max(overlap_in_photo(entry.quad, first.quad, size) for entry in judged),
        views=sight.works[0].views_agree,
        undecided=sight.undecided,
        chance=sight.chance,
        rail=bool(rail),
        all_cut=first.whole,
    )


def _answer_of_judge(entry: "_Judged") -> _Answer:
    whole = entry.finalist.source == "whole"
    named = dict(zip(JUDGE_NAMES, (float(v) for v in entry.finalist.features), strict=True))
    return _Answer(entry.finalist.quad / entry.scale, entry.chance, whole=whole, evidence=named)


def _answer_of_eye(
    photo: Photo, lab: Float32, seen: eye.Seen, confidence: float, evidence: dict[str, float]
) -> _Answer:
    """The eye's outline, its sides fitted to the edges of the photo, but for those that the border cuts."""
    if all(seen.cut):
        return _Answer(rectangle(*photo.full_px), confidence, seen.cut, whole=True, evidence=evidence)
    scale = lab.shape[1] / photo.full_px[0]
    fit = refine(lab, seen.quad * scale, held=seen.cut)
    fitted = fit.quad / scale
    good = is_convex(fitted) and overlap_in_photo(fitted, seen.quad, photo.full_px) > _STAYS
    return _Answer(fitted if good else seen.quad, confidence, seen.cut, evidence=evidence)


# The eye errs by a pixel or two of its mask; a fit that leads further away has taken another edge.
_STAYS = 0.94


def _in_reading_order(answers: list[_Answer]) -> list[_Answer]:
    rows: list[list[_Answer]] = []
    for entry in sorted(answers, key=lambda a: float(a.quad[:, 1].min())):
        middle = float(entry.quad[:, 1].mean())
        row = next((r for r in rows if middle < float(r[0].quad[:, 1].max())), None)
        if row is None:
            rows.append([entry])
        else:
            row.append(entry)
    return [entry for row in rows for entry in sorted(row, key=lambda a: float(a.quad[:, 0].mean()))]


@dataclass(frozen=True)
class _Judged:
    """A finalist with the probability that the judge gives it."""

    finalist: Finalist
    chance: float
    scale: float


def _judged(copies: Copies, evidence: Evidence, scale: float) -> list[_Judged]:
    """The finalists, likeliest first."""
    finalists = contest(copies.photo, evidence, scale, copies=copies)
    if not finalists:
        return []
    _, judge = _scorers()
    scores = judge(beside_the_others(np.array([f.features for f in finalists])))
    order = np.argsort(-scores, kind="stable")
    return [_Judged(finalists[k], probability(float(scores[k])), scale) for k in order]


def finding_copy(photo: Photo, copies: Copies | None = None) -> tuple[Evidence, float]:
    """The evidence at finding size, and its scale relative to the full-size photo."""
    linear = (copies or Copies(photo)).at(FINDING_PX)
    scale = linear.shape[1] / photo.full_px[0]
    focal = focal_length_px(photo.full_px, photo.facts.focal_mm35)
    return gather(linear, focal * scale if focal else None), scale


def contest(
    photo: Photo, evidence: Evidence, scale: float, rank: Committee | None = None, copies: Copies | None = None
) -> list[Finalist]:
    """The best few candidates, refined and described for the judge."""
    candidates = propose(evidence)
    features = rows(evidence, candidates)
    scores = (rank or _scorers()[0])(features)
    entries = _entries((copies or Copies(photo)).lab(_REFINING_PX), candidates, scores, evidence.shape[1])
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
    linear = _copy_of(photo, long_px).linear()
    ratio = min(1.0, long_px / max(linear.shape[:2]))
    size = (max(8, round(linear.shape[1] * ratio)), max(8, round(linear.shape[0] * ratio)))
    return cast(Float32, cv2.resize(linear, size, interpolation=cv2.INTER_AREA))


def _copy_of(photo: Photo, long_px: int) -> Photo:
    """The smallest of the copies by powers of two, which all share their making, with this long side."""
    factor = 1
    while max(photo.size_px) // (2 * factor) >= long_px:
        factor *= 2
    return photo.reduced(factor)


def _polish(copies: Copies, quad_px: Float64, cut: Sides) -> Float64:
    """The last sub-pixel fit, on the largest useful copy of the photo; sides that are cut stay on the border."""
    photo = copies.photo
    close = CloseUp(photo, _POLISHING_PX)
    refined = refine(close, quad_px * close.scale, reach=0.004, rounds=2, prior=0.003, held=cut)
    polished = refined.quad / close.scale
    fitted = polished if overlap(polished, quad_px) > 0.97 else quad_px
    room = np.where(cut, 0.0, _ROOM * max(photo.full_px))
    return widened(fitted if any(cut) else order_corners(fitted), room)


def _corners(quad: Float64) -> Corners:
    return cast(Corners, tuple((round(float(x), 2), round(float(y), 2)) for x, y in quad))
