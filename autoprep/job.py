"""One photo's story: read, find the outline, measure, plan, render per destination, embed, write, record."""

import hashlib
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from autoprep.correction.apply import photometry
from autoprep.correction.outline import find_outline
from autoprep.correction.planning import Wishes, corrected, make_plan, rectify
from autoprep.correction.sharpening import sharpen
from autoprep.domain import CorrectionPlan, Declined, JobRecord, Kind, Outline, OutputRecord, Photo
from autoprep.errors import PhotoError
from autoprep.files.encoders import Carried, encode
from autoprep.files.icc import SPACES
from autoprep.files.reading import preview_jpeg, read_photo
from autoprep.files.storage import write_part
from autoprep.imaging.arrays import Float32, UInt8, float32
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.metadata import exif, iim, xmp
from autoprep.metadata.statement import RightsStatement, make_statement
from autoprep.proof.pictures import marked_photo
from autoprep.rendering.layout import Frame, Layout, lay_out
from autoprep.rendering.mark import MarkStyle, missing_glyphs
from autoprep.rendering.render import Look, Rendition, render
from autoprep.settings import Preset, Settings, font_path

_PROOF_PX = 1400

Report = Callable[[str, float, dict[str, object]], None]
"""report(stage, seconds, facts): called once as each stage ends."""


@dataclass(frozen=True)
class JobOrder:
    """What a worker needs for one photo.

    data are the photo's bytes as hashed; places the reserved path of each destination's file; look_folder and
    proof_folder where a question and the proof go; plan is given when a stored plan is rendered again.
    """

    job: str
    photo: str
    sha256: str
    data: bytes
    settings: Settings
    places: dict[str, Path]
    look_folder: Path
    proof_folder: Path
    title: str = ""
    kind: Kind | None = None
    earlier: JobRecord | None = None


@dataclass
class JobResult:
    """The record, and the synced parts that still have to get their final names."""

    record: JobRecord
    parts: list[tuple[Path, Path]] = field(default_factory=list)


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
    if order.earlier is not None:
        return _redo(order, photo, stages)
    with stages.stage("outline") as facts:
        outline = find_outline(photo)
        facts["confidence"] = None if isinstance(outline, Declined) else round(outline.confidence, 3)
    if isinstance(outline, Declined) or outline.confidence < order.settings.correction.sure_enough:
        return _ask(order, photo, outline, stages)
    return _finish(order, photo, outline, stages)


def set_aside(job: str, photo: str, sha256: str, reason: str) -> JobRecord:
    """The record of a photo that can't be worked on."""
    return JobRecord(job=job, photo=photo, sha256=sha256, outcome="set aside", reasons=(reason,), finished_at=_now())


def wishes_of(settings: Settings, kind: Kind | None) -> Wishes:
    """The correction's wishes from the settings and the artist's word."""
    chosen = settings.correction
    return Wishes(chosen.paper, chosen.paper_lightness, chosen.sharpening, kind)


def _finish(order: JobOrder, photo: Photo, outline: Outline, stages: _Stages) -> JobResult:
    with stages.stage("measure") as facts:
        plan, judged, measures = make_plan(photo, outline, wishes_of(order.settings, order.kind))
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
        taken_at=photo.facts.taken_at,
        outline=outline,
        kind=judged.kind,
        kind_evidence=judged.evidence,
        plan=plan,
        measures=measures,
        reasons=_reasons(plan, photo, measures),
        settings_sha256=order.settings.sha256,
    )
    return _render_all(order, photo, record, stages)


def _redo(order: JobOrder, photo: Photo, stages: _Stages) -> JobResult:
    """Render again from the stored plan; nothing is measured."""
    assert order.earlier is not None
    kept = tuple(out for out in order.earlier.outputs if out.destination not in order.places)
    record = order.earlier.model_copy(update={"outputs": kept, "settings_sha256": order.settings.sha256})
    return _render_all(order, photo, record, stages)


def _render_all(order: JobOrder, photo: Photo, record: JobRecord, stages: _Stages) -> JobResult:
    assert record.plan is not None
    result = JobResult(record)
    outputs = list(record.outputs)
    for name, place in order.places.items():
        with stages.stage(f"render {name}") as facts:
            output, part = _deliver(order, photo, record.plan, name, place)
            outputs.append(output)
            result.parts.append((part, place))
            facts |= {"width_px": output.width_px, "height_px": output.height_px, "bytes": output.bytes}
    with stages.stage("proof"):
        pages = _proof(order, photo, record.plan, result)
    order_of = {name: index for index, name in enumerate(order.settings.destinations)}
    outputs.sort(key=lambda out: order_of.get(out.destination, len(order_of)))
    result.record = record.model_copy(
        update={
            "outputs": tuple(outputs),
            "pages": pages,
            "seconds": {**record.seconds, **stages.seconds},
            "finished_at": _now(),
        }
    )
    _stage_record(order, result)
    return result


def _deliver(order: JobOrder, photo: Photo, plan: CorrectionPlan, name: str, place: Path) -> tuple[OutputRecord, Path]:
    preset = order.settings.destinations[name]
    layout = lay_out(frame_of(preset), plan)
    rendition = _rendition(photo, plan, preset, layout, order.settings)
    data = _encoded(rendition, preset, order, photo)
    part = write_part(place, data, order.job)
    notes = (*layout.notes, *rendition.notes, *_glyph_notes(preset, order.settings, photo))
    height, width = rendition.pixels.shape[:2]
    return (
        OutputRecord(
            destination=name,
            path=str(
                place.relative_to(order.settings.studio) if place.is_relative_to(order.settings.studio) else place
            ),
            width_px=width,
            height_px=height,
            bytes=len(data),
            sha256=hashlib.sha256(data).hexdigest(),
            notes=notes,
        ),
        part,
    )


def frame_of(preset: Preset) -> Frame:
    """The layout part of a preset."""
    size_px = (preset.width_px, preset.height_px) if preset.width_px and preset.height_px else None
    size_mm = (preset.width_mm, preset.height_mm) if preset.width_mm and preset.height_mm else None
    return Frame(
        size_px,
        preset.long_side_px,
        size_mm,
        preset.ppi,
        preset.bleed_mm,
        preset.fit,
        preset.margin_percent,
        preset.max_enlarge,
    )


def _rendition(photo: Photo, plan: CorrectionPlan, preset: Preset, layout: Layout, settings: Settings) -> Rendition:
    space = SPACES[preset.colour]
    look = Look(
        ground=_ground(preset.ground, plan),
        matrix=None if preset.colour == "srgb" else space.from_srgb(),
        bits=preset.bits,
        mark=_mark_style(preset, settings, photo),
    )
    correct = photometry(plan, layout.work[2:])

    def finish(code: Float32, _first_row: int) -> Float32:
        return sharpen(code, plan.sharpening)

    return render(photo, plan, layout, look, correct, finish)


def _ground(ground: str, plan: CorrectionPlan) -> tuple[float, float, float]:
    """sRGB code values 0..1 of a ground: neutral is L* 92, quiet and yet dark enough to show a white sheet."""
    if ground.startswith("#"):
        red, green, blue = (int(ground[k : k + 2], 16) / 255 for k in (1, 3, 5))
        return red, green, blue
    if ground == "paper" and plan.paper_colour is not None:
        red, green, blue = (float(v) for v in encode_fast(float32([[plan.paper_colour]]))[0, 0])
        return red, green, blue
    # A work without bare paper has no paper tone to go on; printed, that means the sheet's own white.
    level = 231 / 255 if ground == "neutral" else 1.0
    return level, level, level


def _mark_style(preset: Preset, settings: Settings, photo: Photo) -> MarkStyle | None:
    mark = settings.mark
    text = mark.text.format(artist=settings.artist.name, year=_year(photo)).strip()
    if not preset.mark or ("{artist}" in mark.text and not settings.artist.name) or not text:
        return None
    return MarkStyle(text, font_path(settings), mark.height_percent, mark.opacity_percent / 100, mark.corner)


def _glyph_notes(preset: Preset, settings: Settings, photo: Photo) -> tuple[str, ...]:
    style = _mark_style(preset, settings, photo)
    absent = missing_glyphs(style.text, style.font) if style else ""
    return (f"the mark's font does not hold {absent}; name another one in mark.font",) if absent else ()


def _year(photo: Photo) -> str:
    return photo.facts.taken_at[:4] if photo.facts.taken_at else str(datetime.now().year)


def _encoded(rendition: Rendition, preset: Preset, order: JobOrder, photo: Photo) -> bytes:
    height, width = rendition.pixels.shape[:2]
    statement = statement_for(preset, order, photo)
    records = iim.records(statement)
    carried = Carried(
        icc=SPACES[preset.colour].profile(),
        exif=exif.block(statement, width, height, preset.ppi, preset.colour == "srgb", preset.format != "avif"),
        xmp=xmp.packet(statement) if any(True for _ in statement.fields()) else b"",
        iim_segment=iim.app13(records),
        iim=records,
        ppi=preset.ppi,
        texts=tuple((ids.exif, value) for _, value, ids in statement.fields() if ids.exif is not None),
    )
    return encode(rendition.pixels, preset.format, carried, preset.quality)


def statement_for(preset: Preset, order: JobOrder, photo: Photo) -> RightsStatement:
    """The rights statement of one output; empty where the destination wants none."""
    if preset.rights == "none":
        return RightsStatement()
    rights, artist = order.settings.rights, order.settings.artist
    return make_statement(
        artist=artist.name,
        year=_year(photo),
        notice=rights.notice,
        usage_terms=rights.usage_terms,
        credit=rights.credit,
        statement_url=rights.statement_url,
        licensing_url=rights.licensing_url,
        data_mining=rights.data_mining,
        title=order.title,
    )


def _proof(order: JobOrder, photo: Photo, plan: CorrectionPlan, result: JobResult) -> dict[str, str]:
    """Before and after for the proof page: the same view, so that one can be dragged over the other."""
    work = rectify(photo, plan.geometry, _PROOF_PX * _PROOF_PX // 2)
    after = quantise8(sharpen(encode_fast(corrected(work.linear, plan)), plan.sharpening))
    before = quantise8(encode_fast(work.linear))
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
    return encode(pixels, "jpeg", Carried(icc=SPACES["srgb"].profile()), 86)


def _ask(order: JobOrder, photo: Photo, outline: Outline | Declined, stages: _Stages) -> JobResult:
    """The outline is not sure: a marked picture, the reason, and what can be done."""
    reason = _doubt(outline)
    result = JobResult(
        JobRecord(
            job=order.job,
            photo=order.photo,
            sha256=order.sha256,
            outcome="needs a look",
            taken_at=photo.facts.taken_at,
            outline=None if isinstance(outline, Declined) else outline,
            reasons=(reason, *photo.facts.warnings),
            settings_sha256=order.settings.sha256,
        )
    )
    with stages.stage("ask"):
        marked = marked_photo(photo, None if isinstance(outline, Declined) else outline)
        note = (
            f"{order.photo}\n\n{reason}\n\nTwo ways to settle it:\n"
            "- take the photo again with some desk showing on all four sides, on a ground that differs from it;\n"
            "- or crop the photo to the work alone on the phone, and drop it in again.\n"
            "The photo itself lies unchanged in the inbox.\n"
        )
        files = {
            order.look_folder / "marked.jpg": marked,
            order.look_folder / "why.txt": note.encode("utf-8"),
            order.proof_folder / "photo.jpg": marked,
        }
        for place, data in files.items():
            result.parts.append((write_part(place, data, order.job), place))
    result.record = result.record.model_copy(
        update={
            "seconds": stages.seconds,
            "finished_at": _now(),
            "pages": {"photo": f"{order.proof_folder.name}/photo.jpg"},
        }
    )
    _stage_record(order, result)
    return result


def _doubt(outline: Outline | Declined) -> str:
    if isinstance(outline, Declined):
        return f"The edge of the work was not found: {outline.reason}."
    return (
        f"The edge of the work is not sure (confidence {outline.confidence:.0%}); "
        "the marked picture shows the best guess."
    )


def _stage_record(order: JobOrder, result: JobResult) -> None:
    place = order.proof_folder / "record.json"
    data = result.record.model_dump_json(indent=2).encode("utf-8")
    result.parts.append((write_part(place, data, order.job), place))


def _reasons(plan: CorrectionPlan, photo: Photo, measures: dict[str, float]) -> tuple[str, ...]:
    """What was done and why, in plain words."""
    said = [_geometry_words(plan, measures), *_light_words(plan, measures)]
    if not isinstance(plan.neutral, Declined):
        tinted = max(plan.neutral.gain) / min(plan.neutral.gain) > 1.03
        said.append(
            "The bare paper was tinted; it is neutral now, and all colours moved with it."
            if tinted
            else "The bare paper was neutral within 3 %; what was left is taken out."
        )
    else:
        said.append(f"Colour: {plan.neutral.reason}.")
    if plan.tone.gain > 1.02 and plan.paper != "none":
        said.append(f"The paper came out grey; it was lifted {np.log2(plan.tone.gain):.1f} stops to clean white.")
    if measures.get("glare_percent", 0) > 0.5:
        said.append(f"Glare hides {measures['glare_percent']:.1f} % of the work; nothing was invented there.")
    if measures["blur_px"] > 1.5:
        said.append("The photo is blurred; a steadier shot would show more.")
    return (*said, *photo.facts.warnings)


def _geometry_words(plan: CorrectionPlan, measures: dict[str, float]) -> str:
    geometry = plan.geometry
    if geometry.ratio_from == "whole photo":
        return "The photo shows the work and nothing else; nothing was cut."
    words = {
        "known size": "from its known size",
        "corners and focal length": "from its corners and the camera's focal length",
        "corners": "from its corners alone",
        "side lengths": "from the lengths of its sides, which is rough",
    }[geometry.ratio_from]
    return (
        f"Straightened from about {measures['oblique_degrees']:.0f}° off square; "
        f"width to height is {geometry.ratio:.3f}, {words}."
    )


def _light_words(plan: CorrectionPlan, measures: dict[str, float]) -> list[str]:
    if isinstance(plan.light, Declined):
        return [f"Light: {plan.light.reason}."]
    uneven = measures["light_unevenness_percent"]
    words = [f"The light varied by {uneven:.0f} % over the sheet; it was evened from the bare paper."]
    if uneven > 25:
        words.append("Next time, turn the sheet a quarter or step back from the window for more even light.")
    return words


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
