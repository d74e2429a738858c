"""One photo's story: read, find the outline, measure, plan, render per destination, embed, write, record."""

import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime

import cv2
import numpy as np

from autoprep import words
from autoprep.blind import names_artist
from autoprep.correction.camera import without_contrast
from autoprep.correction.chart import referred
from autoprep.correction.outline import Survey, gate
from autoprep.correction.planning import Wishes, corrected, make_plan, measured_ratio, rectify
from autoprep.correction.references import read_reference
from autoprep.correction.sharpening import sharpen
from autoprep.delivery import Delivery, deliver
from autoprep.domain import CorrectionPlan, Declined, JobRecord, Outline, Photo, ReferenceShot, WorkFacts
from autoprep.errors import CannotMeet, DeliveryError, PhotoError
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.icc import SPACES
from autoprep.files.reading import preview_jpeg, read_photo
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.orders import AgainOrder, JobOrder, JobResult, OutlinedOrder, Report
from autoprep.presets import Preset
from autoprep.proof.pictures import marked_photo
from autoprep.reference_shots import reference_words, usable, with_references
from autoprep.settings import Settings

_PROOF_PX = 1400
_SIZE_AGREES = 0.03  # a proportion that differs more than this from the size that is given is a question


class _Stages:
    """Times the stages of one job and reports each as it ends."""

    def __init__(self, report: Report) -> None:
        self.seconds: dict[str, float] = {}
        self._report = report

    @contextmanager
    def stage(self, name: str) -> Iterator[dict[str, object]]:
        started, facts = time.perf_counter(), dict[str, object]()
        yield facts
        self.seconds[name] = round(time.perf_counter() - started, 4)
        self._report(name, self.seconds[name], facts)


def process(order: JobOrder, report: Report) -> JobResult:
    """Do one job. PhotoError becomes a record with the outcome "set aside" unless waiting can help."""
    stages = _Stages(report)
    try:
        with stages.stage("read") as facts:
            photo = read_photo(order.data, int(order.settings.service.max_megapixels * 1e6))
            facts |= {
                "format": photo.facts.format,
                "width_px": photo.full_px[0],
                "height_px": photo.full_px[1],
            }
    except PhotoError as problem:
        if problem.retry:
            raise
        return JobResult(set_aside(order.job, order.photo, order.sha256, str(problem)))
    if isinstance(order, AgainOrder):
        return _again(order, photo, stages)
    if order.facts.reference is not None:
        return _reference(order, photo, order.facts.reference, stages)
    if isinstance(order, OutlinedOrder):
        return _finish(order, photo, order.outline, stages)
    return _look(order, photo, stages)


def _look(order: JobOrder, photo: Photo, stages: _Stages) -> JobResult:
    """A new photo: find its work, and make it, ask, or leave it alone."""
    with stages.stage("outline") as facts:
        survey = Survey(photo)
        outline = survey.outline()
        chance, seen = survey.shows_work()
        facts |= {"confidence": None if isinstance(outline, Declined) else round(outline.confidence, 3), **seen}
    if chance < gate.NO_WORK and order.settings.inbox.holds == "everything" and not order.facts.says_work:
        return _no_work(order, photo, chance, stages)
    if isinstance(outline, Declined) or outline.confidence < order.settings.correction.sure_enough:
        return _ask(order, photo, outline, stages, choices=survey.outlines(_MOST_CHOICES), several=survey.several)
    return _finish(order, photo, outline, stages)


def set_aside(job: str, photo: str, sha256: str, reason: str) -> JobRecord:
    """The record of a photo that can't be worked on."""
    return JobRecord(job=job, photo=photo, sha256=sha256, outcome="set aside", reasons=(reason,), finished_at=_now())


def _no_work(order: JobOrder, photo: Photo, chance: float, stages: _Stages) -> JobResult:
    """A photo of something else: nothing is made or asked; a line in the record says how to make it a work."""
    record = JobRecord(
        job=order.job,
        photo=order.photo,
        sha256=order.sha256,
        outcome="no work seen",
        taken_at=photo.facts.taken_at,
        work=order.facts,
        measures={"work_chance": round(chance, 3)},
        reasons=(words.NO_WORK,),
        settings_sha256=order.settings.sha256,
        seconds=stages.seconds,
        finished_at=_now(),
    )
    return JobResult(record)


def _reference(order: JobOrder, photo: Photo, said: ReferenceShot, stages: _Stages) -> JobResult:
    """A photo that shows no work: what it tells of the light goes on record; nothing is rendered."""
    with stages.stage("reference"):
        found = usable(read_reference(photo, said, order.photo))
        place = order.proof_folder / "photo.jpg"
        part = write_part(place, preview_jpeg(photo, 900), order.job)
    record = JobRecord(
        job=order.job,
        photo=order.photo,
        sha256=order.sha256,
        outcome="reference",
        taken_at=photo.facts.taken_at,
        work=order.facts,
        reasons=(reference_words(found), *photo.facts.warnings, *order.warnings),
        settings_sha256=order.settings.sha256,
        seconds=stages.seconds,
        finished_at=_now(),
        pages={"photo": f"{order.proof_folder.name}/photo.jpg"},
    )
    return JobResult(record, [(part, place)])


def wishes_of(settings: Settings, facts: WorkFacts) -> Wishes:
    """The correction's wishes from the settings and the artist's word on the work, which wins."""
    chosen = settings.correction
    paper = chosen.paper if facts.keep_paper is None else "keep" if facts.keep_paper else "clean"
    return Wishes(
        paper, chosen.paper_lightness, chosen.sharpening, facts.kind, said_paper=facts.paper, flat=chosen.flat,
        lighter=facts.lighter,
    )  # fmt: skip


def _finish(order: JobOrder, photo: Photo, outline: Outline, stages: _Stages) -> JobResult:
    with stages.stage("references"):
        seen = with_references(photo, outline, order.facts.grey_card, order.references)
        contrast = order.settings.correction.camera_contrast if seen.chart is None else 0.0
        lit = without_contrast(seen.photo, contrast)
    with stages.stage("measure") as facts:
        wishes = wishes_of(order.settings, order.facts)
        if order.facts.size_mm is not None:
            known, doubt = known_size(order.facts.size_mm, measured_ratio(photo, outline))
            if known is None:
                return _ask(order, photo, outline, stages, doubt)
            wishes = replace(wishes, size_mm=known)
        plan, judged, measures = make_plan(lit, outline, wishes, seen.chart, seen.reference, seen.absolute)
        plan = plan.model_copy(update={"contrast": contrast if lit is not seen.photo else 0.0})
        facts |= {
            "kind": plan.kind,
            "paper": plan.paper,
            **{k: v for k, v in measures.items() if k.startswith("paper")},
        }
    record = JobRecord(
        job=order.job,
        photo=order.photo,
        sha256=order.sha256,
        outcome="ready",
        likeness=_likeness(lit, plan),
        taken_at=photo.facts.taken_at,
        outline=outline,
        kind=judged.kind,
        kind_evidence=judged.evidence,
        plan=plan,
        measures=measures,
        work=order.facts,
        reasons=(*_chosen(order), *words.reasons(plan, seen.photo, measures), *order.warnings),
        advice=words.advice(plan, measures),
        settings_sha256=order.settings.sha256,
    )
    return _render_all(order, photo, record, stages)


def _chosen(order: JobOrder) -> tuple[str, ...]:
    return ("You chose the outline.",) if isinstance(order, OutlinedOrder) and order.chosen else ()


_LIKENESS_PX = 24


def _likeness(photo: Photo, plan: CorrectionPlan) -> tuple[int, ...]:
    """The corrected work as 24 x 24 lightness codes."""
    work = rectify(photo, plan.geometry, 90_000)
    code = encode_fast(corrected(work.linear, plan)).mean(-1)
    small = cv2.resize(code, (_LIKENESS_PX, _LIKENESS_PX), interpolation=cv2.INTER_AREA)
    return tuple(int(v) for v in np.clip(np.rint(np.asarray(small) * 255), 0, 255).ravel())


def _again(order: AgainOrder, photo: Photo, stages: _Stages) -> JobResult:
    """Render again from the stored plan; nothing is measured. What is said of the work may be other than before."""
    kept = tuple(out for out in order.earlier.outputs if out.destination not in order.places)
    record = order.earlier.model_copy(
        update={"outputs": kept, "settings_sha256": order.settings.sha256, "work": order.facts, "photo": order.photo}
    )
    return _render_all(order, photo, record, stages)


def _render_all(order: JobOrder, photo: Photo, record: JobRecord, stages: _Stages) -> JobResult:
    assert record.plan is not None
    result = JobResult(record)
    lit = _as_planned(photo, record.plan)
    outputs, held = list(record.outputs), {k: v for k, v in record.held.items() if k not in order.places}
    failed = {k: v for k, v in record.failed.items() if k not in order.places}
    for name, place in order.places.items():
        with stages.stage(f"render {name}") as facts:
            preset = order.settings.destinations[name]
            reason = why_held(order, preset, record.measures)
            if reason:
                held[name] = reason
                continue
            try:
                output, part = deliver(_delivery(order, lit, record.plan), name, place)
            except CannotMeet as problem:
                held[name] = str(problem)
                continue
            except DeliveryError:
                raise  # the disk, not the destination: all of it is tried again
            except Exception as problem:
                # One destination's fault costs no other; it is named, and a redo of it tries again.
                failed[name] = f"it could not be made: {problem}"
                facts |= {"fault": "".join(traceback.format_exception(problem))}
                continue
            outputs.append(output)
            result.parts.append((part, place))
            facts |= {"width_px": output.width_px, "height_px": output.height_px, "bytes": output.bytes}
    with stages.stage("proof"):
        pages = _proof(order, photo, lit, record.plan, result)
    order_of = {name: index for index, name in enumerate(order.settings.destinations)}
    outputs.sort(key=lambda out: order_of.get(out.destination, len(order_of)))
    result.record = record.model_copy(
        update={
            "outputs": tuple(outputs),
            "held": held,
            "failed": failed,
            "pages": pages,
            "seconds": {**record.seconds, **stages.seconds},
            "finished_at": _now(),
        }
    )
    return result


def _as_planned(photo: Photo, plan: CorrectionPlan) -> Photo:
    """The photo as the plan was made on it: through a chart, or without the camera's contrast."""
    return without_contrast(photo, plan.contrast) if plan.chart is None else referred(photo, plan.chart)


def why_held(order: JobOrder, preset: Preset, measures: dict[str, float]) -> str:
    """Why a destination waits for another photo, or another word; empty where it does not."""
    if order.facts.hold:
        return words.HOLD
    told = names_artist(order.facts, order.settings.artist.name) if preset.rights == "none" else ""
    if told:
        return f"the {told} holds the artist's name, and this destination is blind; say it without"
    glare = measures.get("glare_percent", 0.0)
    if preset.hold_for_glare and glare > words.GLARE_HOLDS_PERCENT:
        return f"glare hides {glare:.1f} % of the work; this destination waits for a better photo"
    return ""


def _delivery(order: JobOrder, photo: Photo, plan: CorrectionPlan) -> Delivery:
    return Delivery(order.job, order.settings, photo, plan, order.facts)


def _proof(order: JobOrder, photo: Photo, lit: Photo, plan: CorrectionPlan, result: JobResult) -> dict[str, str]:
    """Before and after for the proof page: the same view, so that one can be dragged over the other."""
    shot, work = (rectify(picture, plan.geometry, _PROOF_PX * _PROOF_PX // 2) for picture in (photo, lit))
    after = quantise8(sharpen(encode_fast(corrected(work.linear, plan)), plan.sharpening))
    before = quantise8(encode_fast(shot.linear))
    pictures = {
        "photo.jpg": preview_jpeg(photo, 900),
        "before.jpg": _plain_jpeg(before),
        "after.jpg": _plain_jpeg(after),
    }
    for name, data in pictures.items():
        place = order.proof_folder / name
        result.parts.append((write_part(place, data, order.job), place))
    return {name.removesuffix(".jpg"): f"{order.proof_folder.name}/{name}" for name in pictures}


def _plain_jpeg(pixels: UInt8) -> bytes:
    return encode(pixels, "jpeg", Carried(icc=SPACES["srgb"].profile()), How(86))


def known_size(size_mm: tuple[float, float], ratio: float) -> tuple[tuple[float, float] | None, str]:
    """The work's size the way that its outline agrees with: as said, or turned; else None and the question."""
    for size in (size_mm, (size_mm[1], size_mm[0])):
        if abs(ratio / (size[0] / size[1]) - 1) <= _SIZE_AGREES:
            return size, ""
    width, height = (f"{side / 10:g}" for side in size_mm)
    return None, (
        f"The size that you give, {height} x {width} cm (height x width), and the outline in the photo do not go "
        f"together: the outline is {ratio:.2f} times as wide as high."
    )


def _ask(
    order: JobOrder,
    photo: Photo,
    outline: Outline | Declined,
    stages: _Stages,
    doubt: str = "",
    choices: Sequence[Outline] = (),
    several: bool = False,
) -> JobResult:
    """Something is not sure: a marked picture, the reason, and what can be done."""
    reason = doubt or (_SEVERAL if several else _doubt(outline))
    choices = () if isinstance(outline, Declined) else tuple(choices)
    result = JobResult(
        JobRecord(
            job=order.job,
            photo=order.photo,
            sha256=order.sha256,
            outcome="needs a look",
            taken_at=photo.facts.taken_at,
            outline=None if isinstance(outline, Declined) else outline,
            choices=choices,
            work=order.facts,
            reasons=(reason, *photo.facts.warnings, *order.warnings),
            settings_sha256=order.settings.sha256,
        )
    )
    ways = (
        "- take the photo again with some desk showing on all four sides, on a ground that differs from it;\n"
        "- or crop the photo to the work alone on the phone, and drop it in again.\n"
    )
    if choices:
        ways = (
            f"- delete all pictures {choice_name(1)[:-5]}... in this folder but the one with the right outline: "
            "the photo is then finished by it;\n"
            "- or take the photo again with some desk showing on all four sides, on a ground that differs from it.\n"
        )
    if doubt:
        ways = (
            "- if the marked outline is right, correct the size in the photo's name or note, and drop it in again;\n"
            "- if it is wrong, take the photo again with some desk showing on all four sides.\n"
        )
    with stages.stage("ask"):
        marked = marked_photo(photo, None if isinstance(outline, Declined) else outline)
        note = (
            f"{order.photo}\n\n{reason}\n\nTwo ways to settle it:\n{ways}"
            "The photo itself lies unchanged in the inbox.\n"
        )
        files = {
            order.look_folder / "marked.jpg": marked,
            order.look_folder / "why.txt": note.encode("utf-8"),
            order.proof_folder / "photo.jpg": marked,
        }
        for number, choice in enumerate(choices, 1):
            files[order.look_folder / choice_name(number)] = marked_photo(photo, choice)
        for place, data in files.items():
            result.parts.append((write_part(place, data, order.job), place))
    result.record = result.record.model_copy(
        update={
            "seconds": stages.seconds,
            "finished_at": _now(),
            "pages": {"photo": f"{order.proof_folder.name}/photo.jpg"},
        }
    )
    return result


_MOST_CHOICES = 3
_SEVERAL = "More than one work is seen in the photo; the marked picture shows one of them, the others the rest."


def choice_name(number: int) -> str:
    """The picture of a question's choice, counted from 1."""
    return f"choice-{number}.jpg"


def _doubt(outline: Outline | Declined) -> str:
    if isinstance(outline, Declined):
        return f"The edge of the work was not found: {outline.reason}."
    return (
        f"The edge of the work is not sure (confidence {outline.confidence:.0%}); "
        "the marked picture shows the best guess, the others what else it may be."
    )


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
