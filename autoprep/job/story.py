"""One photo's story: read, find the outline, measure, plan, render per destination, embed, write, record."""

import traceback
from dataclasses import dataclass, replace

from autoprep.correction.camera import without_contrast
from autoprep.correction.kind import Judged
from autoprep.correction.outline import Survey, gate
from autoprep.correction.planned import Planned, planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.correction.references import read_reference, with_warning
from autoprep.correction.squaring import measured_ratio
from autoprep.domain import CorrectionPlan, Declined, JobRecord, Outline, ReferenceShot, WorkFacts, kind_of
from autoprep.errors import CannotMeet, DeliveryError, MarkUnreadable, PhotoError, in_plain_words
from autoprep.files.damage import is_flat
from autoprep.files.reading import preview_jpeg, read_photo
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import Float32
from autoprep.imaging.likeness import likeness
from autoprep.job.comparison import as_shot, write_proof
from autoprep.job.delivery import Delivery, deliver
from autoprep.job.folders import by_its_folder
from autoprep.job.orders import AgainOrder, JobOrder, JobResult, OutlinedOrder, Report
from autoprep.job.question import Doubt, Preview, ask
from autoprep.job.reference_shots import Seen, reference_words, tells, usable, with_references
from autoprep.job.rights import believed
from autoprep.job.said_outline import said_outline
from autoprep.job.screens import is_screenshot
from autoprep.job.stages import Stages, now, record_of, set_aside
from autoprep.job.takes import is_late
from autoprep.job.which_outline import may_be_view, which_outline
from autoprep.pixels import Photo
from autoprep.rendering.render import on_ground
from autoprep.told import done
from autoprep.told import explanations as words
from autoprep.wishes.blind import names_artist
from autoprep.wishes.destinations import GLARE_HOLDS_PERCENT, Preset
from autoprep.wishes.sizes import sheet_like
from autoprep.wishes.tables import Settings

_CHOICE_PX = 1600  # long side of the pictures that a question offers
_SIZE_AGREES = 0.03  # a proportion that differs more than this from the size that is given is a question


def process(order: JobOrder, report: Report) -> JobResult:
    """Do one job. PhotoError becomes a record with the outcome "set aside" unless waiting can help."""
    stages = Stages(report)
    try:
        with stages.stage("read") as facts:
            photo = read_photo(order.data, int(order.settings.service.max_megapixels * 1e6))
            if believed(photo.facts.taken_at, order.came) != photo.facts.taken_at:
                photo = with_warning(photo, words.CLOCK_AHEAD.format((photo.facts.taken_at or "")[:10]))
            facts |= {
                "format": photo.facts.format,
                "width_px": photo.full_px[0],
                "height_px": photo.full_px[1],
            }
    except PhotoError as problem:
        if problem.retry:
            raise
        return JobResult(set_aside(order.job, order.photo, order.sha256, str(problem), order.part))
    if isinstance(order, AgainOrder):
        return _again(order, photo, stages)
    if order.facts.not_a_work:
        return _no_work(order, photo, 0.0, stages, words.SAID_NO_WORK)
    if order.facts.reference is not None:
        return _reference(order, photo, order.facts.reference, stages)
    if isinstance(order, OutlinedOrder):
        return _finish(order, photo, order.outline, stages)
    return _look(order, photo, stages)


def _look(order: JobOrder, photo: Photo, stages: Stages) -> JobResult:
    """A new photo: find its work, and make it, ask, or leave it alone."""
    if is_flat(photo.codes):
        return JobResult(set_aside(order.job, order.photo, order.sha256, words.FLAT))
    everything = order.settings.inbox.holds == "everything"
    unsaid = everything and not order.refused and not order.facts.says_work
    if unsaid and is_screenshot(photo, order.photo):
        return _no_work(order, photo, 0.0, stages, words.SCREENSHOT)
    said = said_outline(photo, order.facts)
    if isinstance(said, Outline) and not photo.facts.suspect:
        return _finish(order, photo, said, stages)
    with stages.stage("outline") as facts:
        survey = Survey(photo)
        outline = survey.outline()
        chance, seen = survey.shows_work()
        facts |= {"confidence": None if isinstance(outline, Declined) else round(outline.confidence, 3), **seen}
    if chance < gate.NO_WORK and unsaid:
        return _no_work(order, photo, chance, stages)
    found = which_outline(order, photo, survey, outline, said)
    del survey  # its copies of the photo are not needed any more
    if isinstance(found, Outline):
        return _finish(order, photo, found, stages, unsaid)
    return ask(order, photo, outline, stages, found, _preview(order, photo))


def _no_work(order: JobOrder, photo: Photo, chance: float, stages: Stages, reason: str = words.NO_WORK) -> JobResult:
    """A photo of something else: nothing is made or asked; a line in the record says how to make it a work."""
    record = record_of(
        order,
        photo,
        "no work seen",
        measures={"work_chance": round(chance, 3)},
        reasons=(reason,),
        seconds=stages.seconds,
        finished_at=now(),
    )
    return JobResult(record)


def _reference(order: JobOrder, photo: Photo, said: ReferenceShot, stages: Stages) -> JobResult:
    """A photo that shows no work: what it tells of the light goes on record; nothing is rendered."""
    with stages.stage("reference"):
        found = usable(read_reference(photo, said, order.photo))
        place = order.proof_folder / "photo.jpg"
        part = write_part(place, preview_jpeg(photo, 900), order.job)
    record = record_of(
        order,
        photo,
        "reference",
        reasons=(reference_words(found), *photo.facts.warnings),
        seconds=stages.seconds,
        finished_at=now(),
        pages={"photo": f"{order.proof_folder.name}/photo.jpg"},
        tells=tells(found),
    )
    return JobResult(record, [(part, place)])


def wishes_of(settings: Settings, facts: WorkFacts) -> Wishes:
    """The correction's wishes from the settings and the artist's word on the work, which wins."""
    chosen = settings.correction
    paper = chosen.paper if facts.keep_paper is None else "keep" if facts.keep_paper else "clean"
    return Wishes(
        paper, chosen.paper_lightness, chosen.sharpening, facts.kind, said_paper=facts.paper, flat=chosen.flat,
        lighter=facts.lighter, turn=facts.turn, as_shot=facts.as_shot,
        paper_asked=facts.keep_paper is not None,
    )  # fmt: skip


@dataclass(frozen=True)
class _Measured:
    """A plan with all that was learned on the way to it."""

    plan: CorrectionPlan
    judged: Judged
    measures: dict[str, float]
    seen: Seen


def _measured(order: JobOrder, photo: Photo, outline: Outline, wishes: Wishes) -> _Measured:
    as_shot = order.facts.as_shot
    seen = Seen(photo) if as_shot else with_references(photo, outline, order.facts.grey_card, order.references)
    contrast = 0.0 if as_shot or seen.chart is not None else order.settings.correction.camera_contrast
    lit = without_contrast(seen.photo, contrast)
    if lit is not photo:
        photo.let_go()  # what is measured from here on are other copies: both at a time would be the most that is held
    plan, judged, measures = make_plan(lit, outline, wishes, seen.chart, seen.reference, seen.absolute)
    plan = plan.model_copy(update={"contrast": contrast if lit is not seen.photo else 0.0})
    return _Measured(plan, judged, measures, seen)


def _preview(order: JobOrder, photo: Photo) -> Preview:
    """The work as it would come out by an outline."""

    def picture(outline: Outline) -> Float32:
        plan = _measured(order, photo, outline, wishes_of(order.settings, order.facts)).plan
        ratio = plan.geometry.ratio
        made = planned(photo, plan)
        return on_ground(made.picture(round(_CHOICE_PX**2 / max(ratio, 1 / ratio))), plan)

    return picture


def _finish(order: JobOrder, photo: Photo, outline: Outline, stages: Stages, may_be_none: bool = False) -> JobResult:
    """The work's pictures; or a question, where its size does not go with its outline, or it may be no work at all."""
    with stages.stage("measure") as facts:
        wishes = wishes_of(order.settings, order.facts)
        if order.facts.size_mm is not None:
            known, doubt = known_size(order.facts, *measured_ratio(photo, outline))
            if known is None:
                return ask(order, photo, outline, stages, Doubt(doubt), _preview(order, photo))
            wishes = replace(wishes, size_mm=known)
        found = _measured(order, photo, outline, wishes)
        plan, measures = found.plan, found.measures
        facts |= {
            "kind": plan.kind,
            "paper": plan.paper,
            **{k: v for k, v in measures.items() if k.startswith("paper")},
        }
    if may_be_none and may_be_view(outline, found.judged.evidence.get("bare_paper_share", 0.0)):
        return ask(order, photo, outline, stages, Doubt(words.FILLED, (outline,)), _preview(order, photo))
    made = planned(photo, plan)
    record = record_of(
        order,
        photo,
        "ready",
        likeness=likeness(made.whole),
        outline=outline,
        kind=found.judged.kind,
        kind_evidence=found.judged.evidence,
        plan=plan,
        measures=measures,
        reasons=(*_chosen(order), *done.reasons(plan, found.seen.photo.facts, measures), *_unheard(order.facts, plan)),
        advice=done.advice(plan, measures),
    )
    if is_late(record, order.before):
        order = replace(order, places={})
    return _render_all(order, photo, record, made, stages)


def _chosen(order: JobOrder) -> tuple[str, ...]:
    if isinstance(order, OutlinedOrder):
        return (words.ONE_OF_SEVERAL if order.part else "You chose the outline.",) if order.chosen else ()
    facts = order.facts
    return ("You said which outline it is.",) if facts.outline == "whole photo" or facts.corners_px else ()


def _again(order: AgainOrder, photo: Photo, stages: Stages) -> JobResult:
    """Render again from the stored plan; nothing is measured. What is said of the work may be other than before."""
    kept = tuple(out for out in order.earlier.outputs if out.destination not in order.places)
    record = order.earlier.model_copy(update={
        "outputs": kept, "settings_sha256": order.settings.sha256, "work": order.facts, "photo": order.photo,
        "came": order.came,
    })  # fmt: skip
    assert record.plan is not None
    return _render_all(order, photo, record, planned(photo, record.plan), stages)


def _render_all(order: JobOrder, photo: Photo, record: JobRecord, made: Planned, stages: Stages) -> JobResult:
    result = JobResult(record)
    try:
        _render_into(result, order, photo, record, made, stages)
    except DeliveryError:
        # What was written for a job that is tried again only takes room: on a full disk, that of all others.
        for part, _ in result.parts:
            part.unlink(missing_ok=True)
        raise
    return result


def _delivery(order: JobOrder, made: Planned) -> Delivery:
    return Delivery(order.job, order.settings, made, order.facts, order.data, order.came, order.there)


def _render_into(
    result: JobResult, order: JobOrder, photo: Photo, record: JobRecord, made: Planned, stages: Stages
) -> None:
    outputs, held = list(record.outputs), {k: v for k, v in record.held.items() if k not in order.places}
    failed = {k: v for k, v in record.failed.items() if k not in order.places}
    kinds: dict[str, str] = {k: v for k, v in record.held_kinds.items() if k in held or k in failed}
    with stages.stage("as shot"):
        shot = as_shot(order, photo, record, made)
    for name, place in order.places.items():
        with stages.stage(f"render {name}") as facts:
            preset = order.settings.destinations[name]
            reason = why_held(order, preset, record.measures)
            if reason:
                held[name], kinds[name] = str(reason), kind_of(reason)
                continue
            try:
                output, part = deliver(_delivery(order, made), name, place)
            except CannotMeet as problem:
                held[name], kinds[name] = str(problem), problem.kind
                continue
            except MarkUnreadable as problem:
                reason = words.mark_unreadable(str(problem))
                failed[name], kinds[name] = str(reason), reason.kind
                continue
            except DeliveryError as problem:
                closed = by_its_folder(order.settings, place, problem)
                if closed is None:
                    raise  # the disk, not the destination: all of it is tried again
                failed[name], kinds[name] = str(closed), closed.kind
                continue
            except Exception as problem:
                # One destination's fault costs no other; it is named, and a redo of it tries again.
                failed[name] = f"it could not be made: {in_plain_words(problem)}"
                facts |= {"fault": "".join(traceback.format_exception(problem))}
                continue
            outputs.append(output)
            result.parts.append((part, place))
            facts |= {"width_px": output.width_px, "height_px": output.height_px, "bytes": output.bytes}
    with stages.stage("proof"):
        pages = write_proof(order, shot, made, result)
    order_of = {name: index for index, name in enumerate(order.settings.destinations)}
    outputs.sort(key=lambda out: order_of.get(out.destination, len(order_of)))
    result.record = record.model_copy(
        update={
            "outputs": tuple(outputs),
            "held": held,
            "held_kinds": {name: kind for name, kind in kinds.items() if kind},
            "failed": failed,
            "pages": pages,
            "seconds": {**record.seconds, **stages.seconds},
            "finished_at": now(),
        }
    )


def why_held(order: JobOrder, preset: Preset, measures: dict[str, float]) -> str:
    """Why a destination waits for another photo, or another word; empty where it does not."""
    if order.facts.hold:
        return words.HOLD
    told = names_artist(order.facts, *order.settings.artist.traces) if preset.rights == "none" else ""
    if told:
        return words.names_the_artist(told)
    glare = measures.get("glare_percent", 0.0)
    if preset.hold_for_glare and glare > GLARE_HOLDS_PERCENT:
        return words.glare_hides(glare)
    return ""


def known_size(
    facts: WorkFacts, ratio: float, between: tuple[float, float] | None = None
) -> tuple[tuple[float, float] | None, str]:
    """The size of the work as it lies in the photo, as said or turned, as the outline agrees; else None and why.

    ratio: width : height of the outline; between: the least and most that it may be, where the lens is not known.
    """
    assert facts.size_mm is not None
    low, high = between or (ratio, ratio)
    turned = facts.size_mm[::-1]
    # What is said is said of the work as it will stand; nearly square ones would agree with either way.
    for size in (turned, facts.size_mm) if facts.turn in (90, 270) else (facts.size_mm, turned):
        if low * (1 - _SIZE_AGREES) <= size[0] / size[1] <= high * (1 + _SIZE_AGREES):
            return size, ""
    height, width = facts.sides()
    given = max(facts.size_mm) / min(facts.size_mm)
    sheet = sheet_like(facts.size_mm, ratio)
    return None, (
        f"The size that you give, {height} x {width} {facts.unit} (height x width), and the outline in the photo do "
        f"not go together: one side is {given:.2f} times the other, and in the photo {max(ratio, 1 / ratio):.2f} times."
        + (f" The format {sheet} would agree with it." if sheet else "")
    )


def _unheard(facts: WorkFacts, plan: CorrectionPlan) -> tuple[str, ...]:
    """What is to be said of words that were taken otherwise than they were said, or did nothing."""
    said = []
    if facts.size_mm is not None and plan.geometry.ratio_from == "known size":
        wanted = facts.size_mm[0] / facts.size_mm[1]
        if abs(plan.geometry.ratio / wanted - 1) > abs(plan.geometry.ratio * wanted - 1):
            turned = words.format_turned if facts.size_free else words.size_turned
            said.append(turned(*facts.sides(), facts.unit))
    if facts.lighter and (facts.as_shot or plan.paper not in ("none", "toned")):
        said.append(words.LIGHTER_AS_SHOT if facts.as_shot else words.LIGHTER_PAPER)
    return tuple(said)
