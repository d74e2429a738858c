"""The outline finder: propose, rank, refine the best few, judge them, polish the winner on the full-size photo."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from autoprep.correction.outline import eye, gate
from autoprep.correction.outline.answers import Answer, corners_of
from autoprep.correction.outline.contest import JUDGE_NAMES, REFINING_PX, SAME, Judged, judged
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.ends import cut_back, let_out
from autoprep.correction.outline.evidence import FINDING_PX, Evidence
from autoprep.correction.outline.features import inner_line_min
from autoprep.correction.outline.inner import CLEAR, picture_inside
from autoprep.correction.outline.line_around import beyond_line
from autoprep.correction.outline.lone import lone_thing
from autoprep.correction.outline.material import fills_photo, is_drawn_page, is_one_sheet, look_inside
from autoprep.correction.outline.others import all_seen
from autoprep.correction.outline.refinement import Sides, refine
from autoprep.correction.outline.side_by_side import OTHER, apart, holds_all, in_reading_order, is_of_two
from autoprep.correction.outline.sides import Settled, settle
from autoprep.correction.ruling import is_ruled_to_borders
from autoprep.domain import Declined, Outline
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.geometry import (
    area,
    clipped,
    is_convex,
    order_corners,
    overlap_in_photo,
    rectangle,
)
from autoprep.pixels import Photo, quad_of


class Survey:
    """What one look at a photo tells: the outlines that its work may have, several works, or that there is none."""

    def __init__(self, photo: Photo) -> None:
        """Look at the photo with both finders."""
        self._photo = photo
        self._copies = Copies(photo)
        self._sight = eye.look(photo, self._copies.at(FINDING_PX))
        # Of several works those that a closer look shows as well.
        self._works = () if self._sight is None else all_seen(self._copies, self._sight)
        if self._sight is not None and _sees_none(self._sight, self._works):
            alone = lone_thing(self._copies)
            if alone is not None:
                self._sight, self._works = replace(self._sight, works=()), (eye.Seen(alone, (False,) * 4, 1.0),)
        self._answers, self._beside = _answers(self._copies, self._sight, self._works)

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

        Where several works are seen, all of them come first, those that the eye sees before those that only the judge
        does, either in reading order; before them only what holds all that the eye sees and nothing else: two pages of
        an open book are one spread.
        """
        works = sorted(self.works() if self.several else [], key=lambda work: not self._is_seen(work))
        others = [
            entry.outline(self._copies) for k, entry in enumerate(self._answers) if k < most - len(works) or entry.whole
        ]
        size = self._photo.full_px
        new = [o for o in others if all(overlap_in_photo(quad_of(o), quad_of(w), size) < SAME for w in works)]
        pages = [quad_of(work) for work in works if self._is_seen(work)]
        spread = [o for o in new if holds_all(quad_of(o), pages)]
        return [*spread, *works, *(o for o in new if o not in spread)]

    def _is_seen(self, work: Outline) -> bool:
        """Whether the eye itself sees a work there."""
        return any(overlap_in_photo(quad_of(work), one.quad, self._photo.full_px) > _ITS_OWN for one in self._works)

    def picture_inside(self, outer: Outline) -> Outline | None:
        """What a frame, a mat or a drawn border leaves free inside an outline, or None where there is none.

        Its confidence is the service's own where the lines along all four sides are clear, and a doubt where not.
        """
        copy, quad = _in_copy(self._copies, quad_of(outer))
        found = picture_inside(copy, quad)
        if found is None:
            return None
        confidence = gate.INSIDE if found.support >= CLEAR else gate.DOUBTED
        corners = order_corners(found.quad / (copy.shape[1] / self._photo.full_px[0]))
        return Outline(
            corners_px=corners_of(corners), confidence=confidence, evidence={"inner_support": round(found.support, 3)}
        )

    def is_framed(self, outer: Outline) -> bool:
        """Whether a frame may lie in an outline: one on a plain sheet is drawn, and what the photo cuts has none."""
        if any(outer.cut):
            return False
        copy, quad = _in_copy(self._copies, quad_of(outer))
        inside = look_inside(copy, quad, outer.cut)
        return inside is None or inside.explained < gate.PLAIN_SHEET

    @property
    def several(self) -> bool:
        """Whether more than one work is seen."""
        return len(self._works) > 1 or bool(self._beside)

    def works(self) -> list[Outline]:
        """The outlines of several works that lie side by side, in reading order; one, or none, where there are not.

        Rows are read from the top, each from the left: a work belongs to a row when its middle lies in the row's
        height.
        """
        if self._sight is None or not self.several:
            found = self.outline()
            return [] if isinstance(found, Declined) else [found]
        lab = self._copies.lab(REFINING_PX)
        chance = self._sight.chance
        seen = [
            _settled(self._copies, self._sight, _answer_of_eye(self._photo, lab, s, chance * s.views_agree, {}), s)[0]
            for s in self._works
        ]
        size = self._photo.full_px
        for entry in self._beside:
            if all(overlap_in_photo(entry.quad, other.quad, size) < OTHER for other in seen):
                seen.append(entry)
        return [entry.outline(self._copies) for entry in in_reading_order(seen)]

    def shows_work(self) -> tuple[float, dict[str, float]]:
        """How likely the photo shows a work at all, 0..1, and the evidence; 1 where the second eye is missing."""
        sight = self._sight
        if sight is None:
            return 1.0, {}
        chance = gate.work_chance(sight.chance, sight.undecided)
        closer = _seen_closer(sight, self._works)
        if chance < gate.NO_WORK and (closer or is_drawn_page(self._copies.at(REFINING_PX))):
            chance = gate.NO_WORK  # a question
        return chance, {"chance": sight.chance, "undecided": sight.undecided}


def _seen_closer(sight: eye.Sight, works: Sequence[eye.Seen]) -> bool:
    """Whether there is a work among these that was not seen at first."""
    return any(all(work is not first for first in sight.works) for work in works)


def _sees_none(sight: eye.Sight, works: Sequence[eye.Seen]) -> bool:
    """Whether the eye takes a photo to show no work, at first and closer."""
    return gate.work_chance(sight.chance, sight.undecided) < gate.NO_WORK and not _seen_closer(sight, works)


def find_outline(photo: Photo) -> Outline | Declined:
    """The outline of the work in a photo, or why there is none to be found (see Survey.outline)."""
    return Survey(photo).outline()


# The judge alone: its chance was learned on generated photos, where nearly all is easy. Chosen: only what it holds for
# all but certain is passed.
_JUDGE_ALONE = 0.92


def _answers(copies: Copies, sight: eye.Sight | None, works: Sequence[eye.Seen]) -> tuple[list[Answer], list[Answer]]:
    """All that the work's outline may be, likeliest first: the eye's if it sees one, then the judge's finalists.

    And those finalists that are a work beside it, as likely as not. works: those that a closer look shows.
    """
    photo = copies.photo
    evidence, scale = copies.evidence
    finalists = [_answer_of_judge(entry) for entry in judged(copies, evidence, scale)]
    if sight is None or not finalists:
        return [replace(entry, confidence=_JUDGE_ALONE * entry.confidence) for entry in finalists], []
    if not sight.works:  # the eye sees no work: whatever the judge says, it is a question
        doubted = [replace(entry, confidence=min(entry.confidence, gate.DOUBTED)) for entry in finalists]
        small = [_answer_of_eye(photo, copies.lab(REFINING_PX), work, gate.DOUBTED, {}) for work in works]
        doubted = [*small, *(d for d in doubted if all(_differ(d, entry, photo) for entry in small))]
        return _whole_first(doubted, photo.full_px) if is_drawn_page(copies.at(REFINING_PX)) else doubted, []
    seen = sight.works[0]
    first = _answer_of_eye(photo, copies.lab(REFINING_PX), seen, 0.0, {})
    others = apart(first, finalists, photo.full_px)
    witness = replace(
        _witness(photo, evidence, scale, first, finalists, sight),
        several=len(works) > 1 or bool(others) or is_of_two(first, finalists, photo.full_px),
    )
    if gate.wants_sides(witness):
        witness = replace(witness, side_least=_least(_weighed_sides(copies, sight, first, seen).scores))
    if gate.wants_material(witness):
        witness = replace(witness, one_sheet=is_one_sheet(*_in_copy(copies, first.quad), first.cut))
    if gate.wants_ruling(witness):
        witness = replace(witness, ruled_over=is_ruled_to_borders(copies.at(REFINING_PX)))
    first = replace(
        first, confidence=gate.confidence(witness), evidence={**finalists[0].evidence, **witness.as_evidence()}
    )
    best, *rest = _weighed(copies, evidence, witness, first, finalists)
    answers = [*_settled(copies, sight, _let_out(copies, best), seen), *rest]
    return beyond_line(copies, answers, lambda entry: not any(_weighed_sides(copies, sight, entry, seen).moved)), others


def _weighed(
    copies: Copies, evidence: Evidence, witness: gate.Witness, first: Answer, finalists: list[Answer]
) -> list[Answer]:
    """The eye's outline and the judge's, likeliest first; where they are in doubt, the material decides."""
    size = copies.photo.full_px
    left = 1 - first.confidence
    others = [
        replace(entry, confidence=min(entry.confidence, left))
        for entry in finalists
        if (entry.whole and not first.whole) or overlap_in_photo(entry.quad, first.quad, size) < SAME
    ]
    if gate.may_be_whole(witness) and fills_photo(
        copies.at(REFINING_PX), [_in_copy(copies, entry.quad)[1] for entry in (first, *finalists) if not entry.whole]
    ):
        whole = Answer(rectangle(*size), gate.WHOLE, _ALL_CUT, whole=True, evidence=first.evidence)
        return [whole, *([] if first.whole else [replace(first, confidence=1 - gate.WHOLE)]), *others]
    if first.confidence < gate.SURE and (trimmed := _cut_back(copies, evidence, first)) is not None:
        return [trimmed, replace(first, confidence=min(first.confidence, 1 - trimmed.confidence)), *others]
    if first.confidence < gate.SURE and (carried := _sheet_in(copies, first, others)) is not None:
        best = replace(carried, confidence=gate.DOUBTED, evidence=first.evidence)
        return [best, first, *(entry for entry in others if entry is not carried)]
    if others and gate.of_two_minds(witness):
        best = replace(others[0], confidence=min(finalists[0].confidence, gate.DOUBTED), evidence=first.evidence)
        return [best, first, *others[1:]]
    return [first, *others]


_ALL_CUT: Sides = (True, True, True, True)


def _in_copy(copies: Copies, quad: Float64) -> tuple[Float32, Float64]:
    """The refining copy, and (4, 2) corners of the full-size photo in its pixels."""
    copy = copies.at(REFINING_PX)
    return copy, quad * (copy.shape[1] / copies.photo.full_px[0])


def _cut_back(copies: Copies, evidence: Evidence, first: Answer) -> Answer | None:
    """The outline that is doubted, cut back to the one sheet in it (see cut_back): still a question."""
    copy, quad = _in_copy(copies, first.quad)
    found = cut_back(copy, evidence, quad, first.cut)
    if found is None:
        return None
    scale = copy.shape[1] / copies.photo.full_px[0]
    return Answer(found[0] / scale, gate.DOUBTED, found[1], evidence={**first.evidence, "cut_back": 1.0})


# A sheet on a board has such a share of it, and lies in it so nearly whole. (Of 1,840 photos of tuning seeds, two
# thirds of carried sheets, 68 about which the finders are in doubt come out right so that did not, and 1 no longer
# does.)
_CARRIED, _IN_IT = (0.25, 0.9), 0.96


def _sheet_in(copies: Copies, first: Answer, others: Sequence[Answer]) -> Answer | None:
    """The likeliest of the others that lies in an outline and is one sheet, with something else around it: what that
    outline holds is a board, a clipboard or a sleeve, with the work on or in it."""
    low, high = (share * area(first.quad) for share in _CARRIED)
    for entry in others:
        size = area(entry.quad)
        held = low < size < high and area(clipped(entry.quad, first.quad)) > _IN_IT * size
        if held and is_one_sheet(*_in_copy(copies, entry.quad), entry.cut):
            return entry
    return None


def _let_out(copies: Copies, entry: Answer) -> Answer:
    """The answer, on the photo's border where its paper goes on up to there (see let_out)."""
    if entry.whole:
        return entry
    copy, quad = _in_copy(copies, entry.quad)
    quad, cut = let_out(copy, quad, entry.cut)
    return entry if cut == entry.cut else replace(entry, quad=quad / (copy.shape[1] / copies.photo.full_px[0]), cut=cut)


def _settled(copies: Copies, sight: eye.Sight, entry: Answer, seen: eye.Seen) -> list[Answer]:
    """The answer with each side on an edge that is clearly likelier; where that makes another shape of it, the one
    before as well.

    Where it is a question in any case, that with all sides on the likeliest edge, clearly or not, comes first. Where
    the material alone spoke for the answer, it is asked again for what became of it.
    """
    if entry.whole:
        return [entry]
    settled = _weighed_sides(copies, sight, entry, seen)
    if not _still_one_sheet(copies, entry, settled.quad / _refining_scale(copies)):
        entry = replace(entry, confidence=gate.DOUBTED)
    scale = _refining_scale(copies)
    evidence = {
        **entry.evidence, "sides_moved": float(sum(settled.moved)), "side_least": _least(settled.scores),
    }  # fmt: skip
    size, moved, likeliest = copies.photo.full_px, settled.quad / scale, settled.likeliest / scale
    asked = entry.confidence < gate.SURE and overlap_in_photo(moved, likeliest, size) < SAME
    first, *others = _of_other_shapes([*([likeliest] if asked else []), moved, entry.quad], size)
    left = min(entry.confidence, 1 - entry.confidence)
    return [
        replace(entry, quad=first, evidence=evidence), *(replace(entry, quad=quad, confidence=left) for quad in others)
    ]  # fmt: skip


def _still_one_sheet(copies: Copies, entry: Answer, moved: Float64) -> bool:
    """Whether what the material said of an answer holds for its moved sides too; (4, 2) corners in the photo."""
    if not entry.evidence.get("one_sheet") or overlap_in_photo(moved, entry.quad, copies.photo.full_px) >= SAME:
        return True
    return is_one_sheet(*_in_copy(copies, moved), entry.cut)


def _of_other_shapes(quads: Sequence[Float64], size: tuple[int, int]) -> list[Float64]:
    """Those of the outlines that are not much the same as one before."""
    found: list[Float64] = []
    for quad in quads:
        if all(overlap_in_photo(quad, other, size) < SAME for other in found):
            found.append(quad)
    return found


def _weighed_sides(copies: Copies, sight: eye.Sight, entry: Answer, seen: eye.Seen) -> Settled:
    """Each side of an answer weighed alone, in pixels of the refining copy."""
    scale = _refining_scale(copies)
    its_own = overlap_in_photo(entry.quad, seen.quad, copies.photo.full_px) > _ITS_OWN  # else the eye saw another
    eye_quad = seen.quad if its_own else entry.quad
    return settle(copies.lab(REFINING_PX), sight.maps, entry.quad * scale, eye_quad * scale, entry.cut)


def _refining_scale(copies: Copies) -> float:
    return float(copies.lab(REFINING_PX).shape[1] / copies.photo.full_px[0])


def _least(scores: Float64) -> float:
    """The lowest of the sides' scores; 0 where the photo's border cuts all of them."""
    return float(np.nanmin(scores)) if np.isfinite(scores).any() else 0.0


def _whole_first(answers: list[Answer], size: tuple[int, int]) -> list[Answer]:
    whole = Answer(rectangle(*size), gate.DOUBTED, _ALL_CUT, whole=True, evidence=answers[0].evidence)
    others = [entry for entry in answers if overlap_in_photo(entry.quad, whole.quad, size) < SAME]
    return [whole, *(replace(entry, confidence=min(entry.confidence, 1 - gate.DOUBTED)) for entry in others)]


def _witness(
    photo: Photo, evidence: Evidence, scale: float, first: Answer, judged: list[Answer], sight: eye.Sight
) -> gate.Witness:
    size = photo.full_px
    best = judged[0]
    rail = inner_line_min(evidence, first.quad[None] * scale)[0] > gate.RAIL
    return gate.Witness(
        agreement=overlap_in_photo(best.quad, first.quad, size),
        support=max(overlap_in_photo(entry.quad, first.quad, size) for entry in judged),
        views=sight.works[0].views_agree,
        undecided=sight.undecided,
        chance=sight.chance,
        rail=bool(rail),
        all_cut=first.whole,
        some_cut=any(first.cut),
        of_photo=overlap_in_photo(first.quad, rectangle(*size), size),
    )


def _differ(one: Answer, other: Answer, photo: Photo) -> bool:
    return overlap_in_photo(one.quad, other.quad, photo.full_px) < SAME


def _answer_of_judge(entry: Judged) -> Answer:
    whole = entry.finalist.source == "whole"
    named = dict(zip(JUDGE_NAMES, (float(v) for v in entry.finalist.features), strict=True))
    return Answer(entry.finalist.quad / entry.scale, entry.chance, whole=whole, evidence=named)


def _answer_of_eye(photo: Photo, lab: Float32, seen: eye.Seen, confidence: float, evidence: dict[str, float]) -> Answer:
    quad = fitted_to_edges(photo, lab, seen)
    return Answer(quad, confidence, seen.cut, whole=all(seen.cut), evidence=evidence)


def fitted_to_edges(photo: Photo, lab: Float32, seen: eye.Seen) -> Float64:
    """The eye's outline, its sides fitted to the edges of the photo, but for those that the border cuts.

    lab: (H, W, 3) float32 L*a*b* of the photo. Returns (4, 2) corners in full-size pixels.
    """
    if all(seen.cut):
        return rectangle(*photo.full_px)
    scale = lab.shape[1] / photo.full_px[0]
    fitted = refine(lab, seen.quad * scale, held=seen.cut).quad / scale
    good = is_convex(fitted) and overlap_in_photo(fitted, seen.quad, photo.full_px) > _STAYS
    return fitted if good else seen.quad


# What overlaps the eye's outline so much is the same work; fitted and with its sides settled it is not quite alike.
_ITS_OWN = 0.8
# The eye errs by a pixel or two of its mask; a fit that leads further away has taken another edge.
_STAYS = 0.94
