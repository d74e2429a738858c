"""One output of one photo: laid out, rendered, coloured, marked, signed with its rights, and written aside."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from autoprep.correction.planned import Planned
from autoprep.domain import CorrectionPlan, OutputRecord, WorkFacts
from autoprep.errors import CannotMeet, MarkUnreadable
from autoprep.files.conversion import convert
from autoprep.files.credentials import signed
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.fitting import Fitted, Limits, fit_bytes
from autoprep.files.formats import ENCODERS
from autoprep.files.ingredients import Brought, brought
from autoprep.files.spaces import SPACES, RgbSpace
from autoprep.files.storage import make_part, write_part
from autoprep.imaging.arrays import AnyArray, Float32, float32
from autoprep.imaging.transfer import encode_fast
from autoprep.imaging.units import MM_PER_INCH
from autoprep.job.credentials import MIMES, identity_of, manifest_for, said_of_signer
from autoprep.job.rights import believed, maker_of, year_of
from autoprep.metadata import exif, iim, xmp
from autoprep.metadata.statement import RightsStatement, Shot, make_statement, titled_only
from autoprep.pixels import Photo
from autoprep.rendering.layout import Frame, Layout, lay_out, margin_around, work_pixels
from autoprep.rendering.mark import MarkStyle
from autoprep.rendering.mark_shape import NOTHING, shape_of
from autoprep.rendering.render import Finish, Look, Rendition, Shown, Strip, as_rows, is_shown_alone, render
from autoprep.told.explanations import NO_SIZE, too_few_pixels
from autoprep.wishes.destinations import MOST_PX, Preset
from autoprep.wishes.fonts import font_problem, fonts_for
from autoprep.wishes.places import font_path
from autoprep.wishes.tables import Settings


@dataclass(frozen=True)
class Delivery:
    """What all outputs of a photo share; original: the bytes of the photo's file; came: the day on which it came in;
    there: folders as in JobOrder."""

    job: str
    settings: Settings
    made: Planned
    facts: WorkFacts
    original: bytes = field(default=b"", repr=False)
    came: str = ""
    there: tuple[Path, ...] = ()

    @property
    def photo(self) -> Photo:
        """The photo as its plan saw it."""
        return self.made.photo

    @property
    def plan(self) -> CorrectionPlan:
        """What is done to it."""
        return self.made.plan

    @property
    def year(self) -> str:
        """The year for the notice: see `year_of`."""
        return year_of(self.facts, self.photo.facts.taken_at, self.came)


def deliver(work: Delivery, name: str, place: Path) -> tuple[OutputRecord, Path]:
    """Make one destination's file and write it beside its final place. Raises CannotMeet and DeliveryError."""
    preset = work.settings.destinations[name]
    layout = lay_out(frame_of(preset, work.plan, work.facts), work.plan)
    if 100 * layout.share < preset.least_percent:
        few = too_few_pixels(layout.share, work_pixels(work.plan))
        raise CannotMeet(few, few.kind)
    row = ENCODERS[preset.format]
    if max(layout.canvas_px) > row.most_px:
        raise CannotMeet(f"{max(layout.canvas_px)} pixels are more than {preset.format} holds: {row.most_px} a side")
    drawing = _rendering(work, preset, layout)
    finished = (_flowed if _can_flow(preset, drawing) else _whole)(work, preset, drawing, place)
    studio = work.settings.studio
    output = OutputRecord(
        destination=name,
        path=str(place.relative_to(studio) if place.is_relative_to(studio) else place),
        width_px=finished.size_px[0],
        height_px=finished.size_px[1],
        bytes=finished.bytes,
        sha256=finished.sha256,
        notes=(
            *layout.notes,
            *finished.notes,
            *mark_style(work, preset)[1],
            *_cut_notes(work, preset),
            *((said_of_signer(work.settings),) if preset.credentials else ()),
            *finished.of_parent,
        ),
    )
    return output, finished.part


@dataclass(frozen=True)
class _Finished:
    """A file beside its final place, and what its record says; of_parent: of the photo's own content credentials."""

    part: Path
    size_px: tuple[int, int]
    bytes: int
    sha256: str
    notes: tuple[str, ...]
    of_parent: tuple[str, ...] = ()


# What a rendition is made of.
_Drawing = tuple[Photo, CorrectionPlan, Layout, Look, Strip, Finish]


def _whole(work: Delivery, preset: Preset, drawing: _Drawing, place: Path) -> _Finished:
    """The picture is made, then written, within its limits on bytes."""
    parent, of_parent = _parent(work, preset)
    fitted = _written(work, preset, drawing, parent)
    part = write_part(place, fitted.data, work.job, there=place.parent in work.there)
    sha256, said = hashlib.sha256(fitted.data).hexdigest(), (*fitted.picture.notes, *fitted.notes)
    return _Finished(part, fitted.picture.size_px, len(fitted.data), sha256, said, of_parent)


@dataclass(frozen=True)
class _Made:
    """A picture in the destination's colours, where the work lies in it, and what has to be said of it; sign: what puts
    content credentials into its file."""

    pixels: AnyArray
    profile: bytes
    layout: Layout
    notes: tuple[str, ...]
    sign: Callable[[bytes], bytes]

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return int(self.pixels.shape[1]), int(self.pixels.shape[0])


def _made(work: Delivery, preset: Preset, drawing: _Drawing, parent: Brought | None) -> _Made:
    rendition, layout = render(*drawing), drawing[2]
    pixels, profile, notes = _coloured(work, preset, rendition)
    return _Made(pixels, profile, layout, (*rendition.notes, *notes), _signing(work, preset, layout, parent))


def _smaller(work: Delivery, preset: Preset, layout: Layout, scale: float) -> _Drawing:
    """The same picture with sides of so much of these."""
    side = max(1, round(max(layout.canvas_px) * scale))
    frame = replace(frame_of(preset, work.plan, work.facts), long_side_px=side, short_side_px=None)
    return _rendering(work, preset, lay_out(frame, work.plan))


def _can_flow(preset: Preset, drawing: _Drawing) -> bool:
    """Whether a picture needs no more than its rows, one after the other, to be written."""
    _, _, layout, look, _, _ = drawing
    limited = preset.max_kb is not None or preset.min_kb is not None
    whole = ENCODERS[preset.format].write is None or preset.profile or preset.credentials or limited
    return not whole and is_shown_alone(layout, look)


def _flowed(work: Delivery, preset: Preset, drawing: _Drawing, place: Path) -> _Finished:
    """The picture is written while it is made, so that a large one never lies in memory whole."""
    write, layout, look = ENCODERS[preset.format].write, drawing[2], drawing[3]
    assert write is not None
    shown, statement = Shown(*drawing), statement_for(work, preset)
    profile, ppi = SPACES[preset.colour].profile(), layout.ppi or preset.ppi or true_ppi(work, layout)
    carried = _carried(statement, preset, profile, layout.canvas_px, ppi)
    rows, how = as_rows(shown, layout, look), _how(preset, preset.quality)
    there = place.parent in work.there
    part = make_part(place, lambda file: write(file, rows, carried, how), work.job, there=there)
    with part.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    return _Finished(part, layout.canvas_px, part.stat().st_size, sha256, shown.notes(), _parent(work, preset)[1])


def frame_of(preset: Preset, plan: CorrectionPlan, facts: WorkFacts | None = None) -> Frame:
    """The layout part of a preset, with the plan's centre of interest, and the work's size where it is wanted.

    Raises CannotMeet where that is not known, or too large to be meant.
    """
    size_px = (preset.width_px, preset.height_px) if preset.width_px and preset.height_px else None
    return Frame(
        size_px=size_px,
        long_side_px=preset.long_side_px,
        short_side_px=preset.short_side_px,
        size_mm=_own_size(preset, facts) if preset.size is not None else preset.size_mm(),
        ppi=preset.ppi,
        bleed_mm=preset.bleed_mm,
        fit=preset.fit,
        margin_percent=preset.margin_percent,
        max_enlarge=preset.max_enlarge,
        safe_mm=preset.safe_mm,
        into_bleed=preset.size is None,  # in the work's own size nothing is scaled
        scene=preset.framing == "scene",
        focus=plan.focus,
        viewing_cm=preset.viewing_cm,
        crop_marks=preset.crop_marks,
        true_size=preset.size is not None,
    )


def _own_size(preset: Preset, facts: WorkFacts | None) -> tuple[float, float]:
    """The size in mm of a print that shows the work 1:1: its own, and around it the margin, where there is one."""
    if facts is None or facts.size_mm is None:
        raise CannotMeet(NO_SIZE, NO_SIZE.kind)
    margin = margin_around(min(facts.size_mm), preset.margin_percent if preset.fit == "whole" else 0.0)
    width, height = (side + 2 * margin for side in facts.size_mm)
    if max(width, height) + 2 * preset.bleed_mm > MOST_PX * MM_PER_INCH / (preset.ppi or 1):
        raise CannotMeet(f"{max(width, height) / 10:g} cm at {preset.ppi:g} ppi are more than {MOST_PX} pixels")
    return width, height


# --- pixels ---------------------------------------------------------------------------------------------------


def _rendering(work: Delivery, preset: Preset, layout: Layout) -> _Drawing:
    space = SPACES[_space_of(preset, work.photo)]
    look = Look(
        ground=_ground(preset.ground, work.plan),
        continued=preset.ground == "paper" and work.plan.paper_colour is not None,
        matrix=None if space is SPACES["srgb"] else space.from_srgb(),
        gamma=space.gamma,
        bits=16 if preset.profile else preset.bits,  # into a profile of the lab's own goes what 16 bits hold
        mark=mark_style(work, preset)[0],
    )
    finish = partial(work.made.finish, shrink=1 / layout.enlarge)
    return work.photo, work.plan, layout, look, work.made.strips(layout.work[2:]), finish


def _space_of(preset: Preset, photo: Photo) -> str:
    """The space to render in: on the way to a profile of the lab's own, the smallest that holds the photo's colours."""
    if not preset.profile:
        return preset.colour
    if photo.matrix is None:
        return "srgb"
    return next((name for name, space in SPACES.items() if _holds(space, photo.matrix)), "prophoto")


def _holds(space: RgbSpace, primaries: Float32) -> bool:
    """Whether a space holds all colours of a photo; primaries: (3, 3 or more), device to linear sRGB."""
    return bool((space.from_srgb() @ primaries[:, :3] > -_HAIR_OUTSIDE).all())


_HAIR_OUTSIDE = 0.002  # what profiles differ by when their numbers were rounded


def _coloured(work: Delivery, preset: Preset, rendition: Rendition) -> tuple[AnyArray, bytes, tuple[str, ...]]:
    """The pixels in the destination's colours, their profile, and what has to be said of colours that it lacks."""
    own = SPACES[_space_of(preset, work.photo)].profile()
    if not preset.profile:
        return rendition.pixels, own, ()
    target = (work.settings.studio / preset.profile).read_bytes()
    converted = convert(rendition.pixels, own, target, preset.intent, preset.black_point, preset.bits)
    if converted.pixels.ndim == 2:
        return converted.pixels, target, ()  # that grey shows no colours needs no telling
    told = [f"{converted.outside * 100:.1f} % of the picture has colours that {Path(preset.profile).name} can't show"]
    if converted.ink is not None:
        most, nearly_all = converted.ink
        told.append(f"total ink: {most:.0f} % at the most, 99.9 % of the picture stay below {nearly_all:.0f} %")
    return converted.pixels, target, tuple(told)


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


def mark_style(work: Delivery, preset: Preset) -> tuple[MarkStyle | None, tuple[str, ...]]:
    """The mark of one output, None where there is none to draw; and what is said of its letters.

    Raises MarkUnreadable where its font can't be read.
    """
    mark, artist, own = work.settings.mark, work.settings.artist.name, font_path(work.settings)
    text = mark.text.format(artist=artist, year=work.year).strip()
    picture = work.settings.studio / mark.picture if mark.picture else None
    unsaid = ("{artist}" in mark.text and not artist) or not text
    if not preset.mark or (picture is None and unsaid):
        return None, ()
    if picture is None and (problem := font_problem(own)):
        raise MarkUnreadable(problem)
    fonts, absent = ((own,), "") if picture is not None else fonts_for(text, own)
    if picture is not None and shape_of(picture) == NOTHING:
        return None, (f"there is no mark: its picture {picture.name} shows nothing",)
    if absent:  # no mark rather than one of empty boxes
        return None, (f"there is no mark: no font on this machine holds {absent}; name one that does in mark.font",)
    opacity = mark.opacity_percent / 100
    style = MarkStyle(text, fonts, mark.height_percent, opacity, mark.contrast, mark.corner, picture)
    stands_in = [f"letters of the mark stand in {font.name}: {own.name} does not hold them" for font in fonts[1:2]]
    return style, tuple(stands_in)


# --- bytes ----------------------------------------------------------------------------------------------------


def true_ppi(work: Delivery, layout: Layout) -> float | None:
    """How many pixels stand for an inch of the work, where the artist has told its size; None where not."""
    size = work.facts.size_mm
    if size is None:
        return None
    _, _, width, height = layout.work
    return float(np.sqrt(width * height / (size[0] * size[1]))) * MM_PER_INCH


def _written(work: Delivery, preset: Preset, drawing: _Drawing, parent: Brought | None) -> Fitted[_Made]:
    statement = statement_for(work, preset)

    def make(scale: float) -> _Made:
        return _made(work, preset, drawing if scale == 1 else _smaller(work, preset, drawing[2], scale), parent)

    def write(made: _Made, quality: int) -> bytes:
        # Where the file had to become smaller, a pixel stands for more; what a destination asks for stays.
        ppi = made.layout.ppi or preset.ppi or true_ppi(work, made.layout)
        channels = 1 if made.pixels.ndim == 2 else made.pixels.shape[2]
        carried = _carried(statement, preset, made.profile, made.size_px, ppi, channels)
        return made.sign(encode(made.pixels, preset.format, carried, _how(preset, quality)))

    fixed = bool(preset.width_px or preset.size_mm() or preset.size)
    limits = Limits(
        most=None if preset.max_kb is None else int(preset.max_kb * 1000),
        least=None if preset.min_kb is None else int(preset.min_kb * 1000),
        least_quality=preset.least_quality,
        may_shrink=not fixed,
    )
    return fit_bytes(make, preset.quality, limits, write)


def _how(preset: Preset, quality: int) -> How:
    return How(quality, preset.progressive, preset.compression)


def _parent(work: Delivery, preset: Preset) -> tuple[Brought | None, tuple[str, ...]]:
    """What goes along of the photo's own content credentials, and what is said of them; nothing where it has none."""
    seen = work.photo.facts
    if not seen.credentials:
        return None, ()
    found, told = brought(work.original, MIMES.get(seen.format, ""), preset.photo_credentials)
    return found, (told,)


def _signing(work: Delivery, preset: Preset, layout: Layout, parent: Brought | None) -> Callable[[bytes], bytes]:
    """What puts content credentials into the finished bytes of an output, where it asks for them."""
    if not preset.credentials:
        return lambda data: data
    statement = statement_for(work, preset)
    mining, marked = work.settings.rights.data_mining, mark_style(work, preset)[0] is not None
    manifest = manifest_for(work.plan, layout, statement, work.photo.facts.format, mining, marked=marked)
    mime, identity = ENCODERS[preset.format].mime, identity_of(work.settings)
    return lambda data: signed(data, mime, manifest, identity, parent)


def _cut_notes(work: Delivery, preset: Preset) -> tuple[str, ...]:
    """What is said of words that one of the carriers has too little room for."""
    short = iim.cut_short(statement_for(work, preset)) if ENCODERS[preset.format].iim else []
    if not short:
        return ()
    return (f"older programs see only the beginning of the {' and the '.join(short)} (IIM): the whole stands in XMP",)


def _carried(
    statement: RightsStatement,
    preset: Preset,
    profile: bytes,
    size: tuple[int, int],
    ppi: float | None,
    channels: int = 3,
) -> Carried:
    records, row = iim.records(statement), ENCODERS[preset.format]
    srgb = preset.colour == "srgb" and not preset.profile
    return Carried(
        icc=profile,
        exif=exif.block(statement, *size, ppi, srgb, row.oriented, preset.format, channels),
        xmp=xmp.packet(statement) if any(True for _ in statement.fields()) else b"",
        iim_segment=iim.app13(records),
        iim=records,
        ppi=ppi,
        texts=exif.main_texts(statement),
    )


def statement_for(work: Delivery, preset: Preset) -> RightsStatement:
    """The rights statement of one output; empty, or the title alone, where the destination wants none."""
    if preset.rights == "none":
        return titled_only(work.facts) if preset.title else RightsStatement()
    seen = work.photo.facts
    taken_at = believed(seen.taken_at, work.came)
    taken = f"{taken_at}{seen.taken_offset}" if taken_at else ""
    shot = Shot(taken, seen.device if preset.camera else ("", "", ""), seen.composite)
    return make_statement(maker_of(work.settings), work.facts, work.year, shot)
