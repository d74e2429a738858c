"""The sequence of the correction: from an outlined photo to a plan, a step at a time."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import NamedTuple, cast

import cv2
import numpy as np

from autoprep.correction import assessment, illumination, neutral, tone
from autoprep.correction import kind as kinds
from autoprep.correction import sharpening as sharpness
from autoprep.correction.apply import photometry
from autoprep.correction.hypotheses import find_paper
from autoprep.correction.kind import Judged
from autoprep.correction.light_eye import light_seen
from autoprep.correction.local_contrast import wide_surroundings, without_contrast_of
from autoprep.correction.paper import Paper, contrast_on, let_go
from autoprep.correction.paper_eye import PaperSight, look_at_paper
from autoprep.correction.paper_signs import Around
from autoprep.correction.references import Reference, light_over
from autoprep.correction.rim import clear_of_desk
from autoprep.correction.round_edge import round_edge
from autoprep.correction.shade_eye import Sight, look_for_shade
from autoprep.correction.shadows import Shadow
from autoprep.correction.squaring import Torn, rectify, rimmed, torn_edges
from autoprep.correction.view import View, seen_squarely
from autoprep.correction.washed_over import WASHED_OVER, is_washed_over
from autoprep.domain import (
    ChartFit,
    CorrectionPlan,
    Declined,
    Geometry,
    Kind,
    LightField,
    Neutral,
    Outline,
    PaperWord,
    Sharpening,
    ToldBy,
    Tone,
)
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import luminance
from autoprep.imaging.geometry import homography, project, rectangle
from autoprep.imaging.planes import rim_of
from autoprep.pixels import Photo, Work, in_photo, quad_of


@dataclass(frozen=True)
class Wishes:
    """What the artist asks of the correction: all plain values; paper_asked: the paper by a word on this work."""

    paper: neutral.PaperWish = "clean"
    paper_lightness: float = tone.PAPER_LIGHTNESS
    sharpening: float = 1.0
    kind: Kind | None = None
    size_mm: tuple[float, float] | None = None
    said_paper: PaperWord | None = None
    flat: bool = True
    lighter: float = 0.0
    turn: int = 0
    as_shot: bool = False
    paper_asked: bool = False


@dataclass
class Draft:
    """A plan in the making: the rectified work, what is known of it, and the parts decided so far."""

    work: Work
    geometry: Geometry
    wishes: Wishes
    paper: Paper | Declined
    judged: Judged
    view: View
    chart: ChartFit | None = None
    reference: Reference | None = None
    light: LightField | Declined = field(default_factory=lambda: Declined(reason="not looked at"))
    neutral: Neutral | Declined = field(default_factory=lambda: Declined(reason="not looked at"))
    tone: Tone = field(default_factory=Tone)
    sharpening: Sharpening = field(default_factory=Sharpening)


def _light(draft: Draft) -> None:
    draft.light = illumination.light_field(draft.paper, draft.judged.paper, draft.geometry.ratio)
    # The work's own paper knows best; without it a board that was photographed from the same place does.
    if isinstance(draft.light, Declined) and draft.reference is not None:
        draft.light = light_over(draft.reference, draft.geometry) or draft.light
    if isinstance(draft.light, Declined) and draft.judged.paper == "none":
        draft.light = _seen_light(draft, draft.light)


def _seen_light(draft: Draft, otherwise: Declined) -> LightField | Declined:
    """The light as the eye for light sees it. What is said of a wash that covers a sheet, or of a reference that does
    not fit, tells the artist more than the eye's doubts."""
    seen = light_seen(draft.view, draft.geometry.ratio)
    told = draft.reference is not None or otherwise.reason == WASHED_OVER
    return otherwise if seen is None or (told and isinstance(seen, Declined)) else seen


def _neutral(draft: Draft) -> None:
    wishes, chart = draft.wishes, draft.chart is not None
    draft.neutral = neutral.neutral(draft.paper, draft.judged.paper, wishes.paper, chart, wishes.paper_asked)
    # Where the paper's own colour is none to go by, or is to stay, a card still tells that of the light.
    if isinstance(draft.neutral, Declined) and draft.reference is not None and draft.reference.gain is not None:
        draft.neutral = Neutral(gain=draft.reference.gain, source="grey reference")


def _tone(draft: Draft) -> None:
    found = tone.tone(draft.paper, draft.judged.paper, draft.wishes.paper_lightness)
    draft.tone = tone.lighter(found, draft.wishes.lighter) if draft.judged.paper in ("none", "toned") else found


def _sharpening(draft: Draft) -> None:
    blur = draft.work.facts["blur_px"]
    draft.sharpening = sharpness.sharpening(blur, draft.wishes.sharpening)


STEPS: tuple[tuple[str, Callable[[Draft], None]], ...] = (
    ("light", _light),
    ("neutral", _neutral),
    ("tone", _tone),
    ("sharpening", _sharpening),
)
"""The photometric steps in order: one line each."""


_PROBE_PX, _PROBES = 320, 5


def _blur_at_full_size(photo: Photo, geometry: Geometry, changes: Float32) -> float:
    """Blur in full-size photo pixels, on the five most detailed of 8 x 8 probes (see `_changes`); 1 where nothing has
    an edge."""
    width, height = photo.size_px
    blurs = []
    for place in in_photo(geometry, np.array(_detailed_places(changes))) * photo.scales:
        x, y = (int(c) - _PROBE_PX // 2 for c in place)
        x0, y0 = max(0, min(x, width - _PROBE_PX)), max(0, min(y, height - _PROBE_PX))
        found = assessment.blur_px(photo.crop(y0, min(y0 + _PROBE_PX, height), x0, min(x0 + _PROBE_PX, width)))
        if found is not None:
            blurs.append(found)
    return float(np.median(blurs)) / photo.scale if blurs else 1.0


def _detailed_places(changes: Float32) -> list[tuple[float, float]]:
    """The (u, v) centres, 0..1, of the cells of an 8 x 8 grid where most changes; the rim is left out."""
    inside = np.where(rim_of(changes.shape, max(1, min(changes.shape) // 25)), 0, changes)
    cells = np.asarray(cv2.resize(inside, (8, 8), interpolation=cv2.INTER_AREA))
    best = np.argsort(-cells, axis=None)[:_PROBES]
    return [((int(k) % 8 + 0.5) / 8, (int(k) // 8 + 0.5) / 8) for k in best]


def _changes(work: Float32) -> Float32:
    """(H, W) how much the light changes across and down at each place."""
    luma = luminance(work)
    across, down = (cast(Float32, cv2.Sobel(luma, cv2.CV_32F, *way)) for way in ((1, 0), (0, 1)))
    np.abs(across, out=across)
    across += np.abs(down, out=down)
    return across


def make_plan(
    photo: Photo,
    outline: Outline,
    wishes: Wishes,
    chart: ChartFit | None = None,
    reference: Reference | None = None,
    absolute: bool | None = None,
) -> tuple[CorrectionPlan, Judged, dict[str, float]]:
    """The plan for an outlined photo, the kind with its evidence, and the measures before and after.

    chart: the fit that the photo is already seen through, for the record; reference: what a reference shot tells;
    absolute: whether the photo's levels are reflectances, by default when there is a chart.
    """
    absolute = chart is not None if absolute is None else absolute
    geometry, torn = _shape(photo, outline, wishes)
    work = rectify(photo, geometry)
    changes = _changes(work.linear)
    work, focus = replace(work, facts={"blur_px": _blur_at_full_size(photo, geometry, changes)}), _focus(changes)
    del changes  # it is a third of the work in size, and this is when most is held
    view = seen_squarely(photo, geometry)
    seen = _Seen(photo, geometry, wishes, absolute, view, look_for_shade(view), surroundings(photo, geometry))
    paper, shadow, judged = _grounds(work.linear, seen)
    let_go()
    draft = Draft(work, geometry, wishes, paper, judged, view, chart, reference)
    if wishes.as_shot:
        draft.light = draft.neutral = Declined(reason="it is as shot, as you asked")
    for _, step in () if wishes.as_shot else STEPS:
        step(draft)
    plan = CorrectionPlan(
        geometry=geometry,
        kind=judged.kind,
        paper=judged.paper,
        light=draft.light,
        neutral=draft.neutral,
        tone=draft.tone,
        sharpening=draft.sharpening,
        paper_colour=_paper_colour(draft),
        chart=chart,
        reference="" if reference is None else reference.name,
        told_by=ToldBy() if reference is None else reference.told_by,
        focus=focus,
        paper_guessed=judged.guessed,
    )
    finished = corrected(work.linear, plan)
    # A painting's own darks and lights reach its edges; only bare paper can be told from the desk beside it.
    plan = _with_edges(photo, outline, plan, None if judged.paper == "none" else torn)
    return plan, judged, _measures(draft, plan, finished) | _shadow_measures(paper, shadow, plan)


def _shape(photo: Photo, outline: Outline, wishes: Wishes) -> tuple[Geometry, Torn | None]:
    """The geometry of a work, and the edges of a torn sheet. What they are seen in is three times the work in size, and
    gone with this before most is held."""
    rim = rimmed(photo, outline, wishes.size_mm, wishes.turn)
    return rim.geometry, torn_edges(rim)


class _Seen(NamedTuple):
    """What a work's ground is looked at with: its photo, and what was seen in that before."""

    photo: Photo
    geometry: Geometry
    wishes: Wishes
    absolute: bool
    view: View
    shade: Sight | None
    around: Around


_Grounds = tuple[Paper | Declined, Shadow | Declined, Judged]


def _grounds(linear: Float32, seen: _Seen) -> _Grounds:
    """The bare paper of a work, the shadow on it, and what it is.

    Paper that the camera's local contrast has lifted beside what is dark may pass for marks on a grey sheet, or for
    none: what is not seen to be light is looked at without it.
    """
    found = _grounds_of(linear, seen)
    if found[2].paper not in ("toned", "none") or seen.wishes.said_paper is not None or seen.absolute:
        return found
    wide = wide_surroundings(seen.photo, seen.geometry)
    amount = contrast_on(linear, wide)
    if not amount:
        return found
    plain = _grounds_of(without_contrast_of(linear, wide, amount), seen)
    return found if plain[2].paper in ("toned", "none") or _marks_stay(found[0], plain[0]) else plain


# Of marks that were paper so little is left without the camera's contrast. (Of five white sheets that came out grey
# none; of chalk on kraft paper two thirds.)
_LEFT_OF_MARKS = 0.3


def _marks_stay(found: Paper | Declined, plain: Paper | Declined) -> bool:
    """Whether marks lighter than the paper, which prove it to be toned, are there without that contrast too."""
    if isinstance(found, Declined) or isinstance(plain, Declined):
        return False
    return plain.lighter > _LEFT_OF_MARKS * found.lighter


def _grounds_of(linear: Float32, seen: _Seen) -> _Grounds:
    wishes, washes = seen.wishes, _washes_said(seen.wishes.kind)
    paper, shadow = find_paper(linear, wishes.flat, washes, seen.shade)
    ground = _ground_seen(seen.view, paper, seen.around)
    unsaid = washes is not False and wishes.said_paper is None and not wishes.paper_asked
    bare = 0.0 if seen.shade is None else seen.shade.bare_share()
    if unsaid and not isinstance(paper, Declined) and is_washed_over(paper, seen.photo, seen.geometry, ground, bare):
        paper = shadow = Declined(reason=WASHED_OVER)
    return paper, shadow, kinds.judge(linear, paper, wishes.kind, seen.around, seen.absolute, wishes.said_paper, ground)


def plan_edges(photo: Photo, outline: Outline, wishes: Wishes) -> CorrectionPlan:
    """A plan whose geometry, silhouette and inset are those of make_plan's: for who asks for nothing else of it.

    Light and colours are only measured where they have a say in these, and are as shot where not.
    """
    geometry, torn = _shape(photo, outline, wishes)
    if torn is not None:  # of a sheet; a painting's own darks and lights may look the same
        return make_plan(photo, outline, wishes)[0]
    unknown = Declined(reason="not looked at")
    plan = CorrectionPlan(
        geometry=geometry, kind="painting", paper="none", light=unknown, neutral=unknown, tone=Tone(),
        sharpening=Sharpening(),
    )  # fmt: skip
    return _with_edges(photo, outline, plan, None)


def _with_edges(photo: Photo, outline: Outline, plan: CorrectionPlan, torn: Torn | None) -> CorrectionPlan:
    """The plan with where its picture ends: at torn edges, at a round one, or clear of the desk."""
    plan = plan if torn is None else _in_whole_frame(plan, torn)
    if torn is None and not any(outline.cut) and not outline.whole_photo:
        plan = plan.model_copy(update={"silhouette": round_edge(photo, plan.geometry)})
    return plan.model_copy(update={"inset": clear_of_desk(photo, plan.geometry)})


def _ground_seen(view: View, paper: Paper | Declined, around: Around) -> PaperSight | None:
    """What the eye for paper sees where paper was found. It is not asked where nothing around tells the light, and on
    ruled pages, which it has hardly met."""
    if isinstance(paper, Declined) or paper.ruled or not around.is_seen:
        return None
    return look_at_paper(view, paper.mask)


def _in_whole_frame(plan: CorrectionPlan, torn: Torn) -> CorrectionPlan:
    """The plan of a torn sheet in the frame that holds all of it: whatever has a place in the outline's, where light
    and drawing were measured, has another one there."""
    light = plan.light if isinstance(plan.light, Declined) else illumination.in_frame(plan.light, torn.around)
    x, y = project(homography(torn.around, rectangle(1.0, 1.0)), np.array(plan.focus))
    changes = {"light": light, "focus": (round(float(x), 3), round(float(y), 3))}
    return plan.model_copy(update={"geometry": torn.frame, "silhouette": torn.silhouette, **changes})


def _washes_said(kind: Kind | None) -> bool | None:
    """Whether the artist has said that a work is painted in washes, or is drawn without any; None where neither is."""
    return True if kind == "watercolour" else False if kind in ("ink", "pencil") else None


def surroundings(photo: Photo, geometry: Geometry) -> Around:
    """What the photo shows around a work."""
    level = photo.reduced(max(1, max(photo.size_px) // 400))
    around = np.ones((level.size_px[1], level.size_px[0]), np.uint8)
    corners = np.round(quad_of(geometry) * level.scales).astype(np.int32)
    cv2.fillConvexPoly(around, corners, 0)
    cv2.polylines(around, [corners], True, 0, 5)
    return Around(level.linear()[around > 0], float(around.mean()))


def _focus(changes: Float32) -> tuple[float, float]:
    """The centre of interest, 0..1 across and down: the middle of what is drawn, away from the very border."""
    cells = np.asarray(cv2.resize(changes, (24, 24), interpolation=cv2.INTER_AREA), np.float64)[1:-1, 1:-1]
    weight = np.maximum(cells - np.median(cells), 0)
    if weight.sum() <= 0:
        return 0.5, 0.5
    at = (np.arange(22) + 1.5) / 24
    x, y = (weight.sum(0) @ at) / weight.sum(), (weight.sum(1) @ at) / weight.sum()
    return round(float(np.clip(x, 0.25, 0.75)), 3), round(float(np.clip(y, 0.25, 0.75)), 3)


def _paper_colour(draft: Draft) -> tuple[float, float, float] | None:
    """The paper's linear colour after the correction, for grounds in the paper's own tone."""
    if isinstance(draft.paper, Declined) or draft.judged.paper == "none":
        return None
    colour = draft.paper.mean_linear() * draft.tone.gain
    if not isinstance(draft.neutral, Declined):
        colour = colour * np.array(draft.neutral.gain)
    red, green, blue = (round(float(min(c, 0.95)), 5) for c in colour)
    return red, green, blue


def _measures(draft: Draft, plan: CorrectionPlan, finished: Float32) -> dict[str, float]:
    """Numbers with the unit in the name, of the photo as shot and of the corrected work, as it lies in the outline."""
    linear, paper = draft.work.linear, draft.paper
    measures = {
        "ratio_width_to_height": plan.geometry.ratio,
        "oblique_degrees": assessment.oblique_degrees(plan.geometry),
        "work_long_side_px": float(max(draft.work.size_px)) * draft.work.photo_px_per_px,
        "blur_px": draft.work.facts["blur_px"],
        "sharpness": assessment.sharpness(linear),
        "clipped_percent": assessment.clipped_percent(linear),
        "glare_percent": assessment.glare_percent(linear, paper),
    }
    uneven = illumination.unevenness_percent(draft.light)
    if uneven is not None:
        measures["light_unevenness_percent"] = uneven
    measures |= assessment.finished_look(finished)
    if plan.paper in ("white", "tinted"):
        measures["shade_left_percent"] = assessment.shade_left_percent(finished)
        measures |= {} if draft.wishes.kind is None else {"kind_said": 1.0}  # else saying it may even what is left
    if not isinstance(paper, Declined) and plan.paper != "none":
        measures["bare_paper_percent"] = paper.coverage * 100
        measures |= {f"{k}_as_shot": v for k, v in assessment.paper_levels(linear, paper.mask).items()}
        measures |= assessment.paper_levels(finished, paper.mask)
    return {name: round(value, 4) for name, value in measures.items()}


def _shadow_measures(paper: Paper | Declined, shadow: Shadow | Declined, plan: CorrectionPlan) -> dict[str, float]:
    """How much of the work a shadow darkens, and of what is drawn."""
    measures = {}
    if not isinstance(paper, Declined) and paper.sheet is not None:
        measures["shadow_percent"] = round(paper.sheet.shaded * 100, 2)
    if not isinstance(shadow, Declined) and plan.paper != "none":
        measures["shadow_percent"] = round(shadow.share * 100, 2)
        measures["shadow_on_drawing_percent"] = round(shadow.over_drawing * 100, 2)
    return measures


def corrected(linear: Float32, plan: CorrectionPlan) -> Float32:
    """A whole rectified work (H, W, 3) linear light with the photometric part of the plan applied."""
    return photometry(plan, (linear.shape[1], linear.shape[0]))(linear, 0, 0)
