"""Which outline a new photo goes on with, or what is asked about it."""

from autoprep.correction.outline import Survey, gate
from autoprep.domain import Declined, Outline
from autoprep.job.orders import JobOrder
from autoprep.job.question import MANY, MOST_CHOICES, Doubt, about_edge, after_refusal
from autoprep.job.said_outline import whole_photo
from autoprep.pixels import Photo
from autoprep.told import explanations as words

# Where a photo is filled from border to border, nothing but its paper tells a work from a view: bare paper on this
# share of it, or on the second where the eye is less sure than the third that a work is seen. (Of 95 everyday photos
# that packages carry the eye took three for works that fill them: shares .18, .43 and, a grey lid, .77; sure by 1, .81
# and .99. Of 19 real pages that fill the photo the least is .64; of 23 of the lab's, seeds 131500-, .48, but for one
# that is painted all over.)
_PAPER, _AMPLE_PAPER, _SURE_EYE = 0.3, 0.5, 0.9


def may_be_view(outline: Outline, bare_paper_share: float) -> bool:
    """Whether a photo that is filled by what is taken for its work may as well show a place, people or things.

    bare_paper_share: of the photo, 0..1.
    """
    sure = outline.evidence.get("eye_chance", 0.0) >= _SURE_EYE
    return all(outline.cut) and bare_paper_share < (_PAPER if sure else _AMPLE_PAPER)


def which_outline(
    order: JobOrder, photo: Photo, survey: Survey, outline: Outline | Declined, said: Outline | Declined | None
) -> Outline | Doubt:
    """The outline that is sure enough to go on with, or what is asked.

    outline: the survey's; said: what the artist's words give (see said_outline).
    """
    if order.refused:
        return after_refusal(survey.outlines(MANY), order.refused, photo.full_px, order.rests)
    if photo.facts.suspect:  # also where the artist has said an outline: before the damage was seen
        first = (said,) if isinstance(said, Outline) else ()
        likely = (*first, *survey.outlines(MOST_CHOICES))[: MOST_CHOICES - 1]
        return Doubt(words.damaged(photo.facts.suspect), (*likely, whole_photo(photo)))
    if order.facts.outline == "inside frame":
        return _inside_frame(order, survey, outline)
    if said is not None or order.facts.outline in ("ask", "ask again"):
        reason = said.reason if isinstance(said, Declined) else "you asked for the choices"
        return Doubt(words.asked(reason), _choices(survey, outline), _several(survey))
    several, sure = _several(survey), order.settings.correction.sure_enough
    if isinstance(outline, Declined) or several or outline.confidence < sure:  # never one of several alone
        return about_edge(outline, _choices(survey, outline), several)
    return _as_framed(order, survey, outline)


def _inside_frame(order: JobOrder, survey: Survey, outline: Outline | Declined) -> Outline | Doubt:
    """The picture inside a frame where its edge and the frame's are clear, else a question."""
    inner = None if isinstance(outline, Declined) else survey.picture_inside(outline)
    if inner is None or isinstance(outline, Declined):
        return Doubt(words.asked(words.NO_FRAME), tuple(survey.outlines(MOST_CHOICES)))
    if min(inner.confidence, outline.confidence) >= order.settings.correction.sure_enough:
        return inner
    return Doubt(words.asked(words.FRAME_UNCLEAR), (inner, *survey.outlines(MOST_CHOICES)))


def _as_framed(order: JobOrder, survey: Survey, outline: Outline) -> Outline | Doubt:
    """A sure outline, or the picture in its frame where frames are left out."""
    leave_out = order.settings.inbox.frames == "leave out" and order.facts.outline != "with frame"
    inner = survey.picture_inside(outline) if leave_out and survey.is_framed(outline) else None
    if inner is None or inner.confidence >= order.settings.correction.sure_enough:
        return inner or outline
    return Doubt(words.asked(words.FRAME_UNCLEAR), (inner, outline))


def _choices(survey: Survey, outline: Outline | Declined) -> tuple[Outline, ...]:
    """The likeliest outlines, and of a framed work the picture inside as well."""
    likely = tuple(survey.outlines(MOST_CHOICES))
    if isinstance(outline, Declined) or not survey.is_framed(outline):
        return likely
    inner = survey.picture_inside(outline)
    return likely if inner is None or inner.confidence < gate.SURE else (*likely, inner)


def _several(survey: Survey) -> tuple[Outline, ...]:
    """The works that lie side by side, in reading order, where more than one is seen."""
    works = tuple(survey.works()) if survey.several else ()
    return works if len(works) > 1 else ()
