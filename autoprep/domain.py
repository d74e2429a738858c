"""The frozen values that travel between the parts: photo, outline, plan, rendition, record.

Everything that ends up in a job record is a pydantic model and round-trips through JSON; what holds pixels is
a plain frozen dataclass.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Literal, cast
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator

from autoprep.imaging.arrays import AnyArray, Float32, Float64, UInt8
from autoprep.imaging.bow import PLACES, Bow
from autoprep.imaging.colour import mixed
from autoprep.imaging.geometry import homography, rectangle
from autoprep.imaging.halving import Halved
from autoprep.imaging.resample import Lens, Warp
from autoprep.imaging.units import MM_PER_UNIT

Kind = Literal["pencil", "ink", "journal", "watercolour", "painting", "toned"]
PaperWord = Literal["white", "toned", "none"]
OutlineWord = Literal["ask", "ask again", "whole photo", "inside frame", "with frame"]
Outcome = Literal[
    "ready", "needs a look", "alternate", "reference", "duplicate", "set aside", "no work seen", "several works",
]  # fmt: skip
ReferenceShot = Literal["light reference", "grey card", "colour chart", "blank board"]
Corner = tuple[float, float]
Corners = tuple[Corner, Corner, Corner, Corner]
Triple = tuple[float, float, float]
Confidence = Annotated[float, Field(ge=0, le=1)]


class Value(BaseModel):
    """A frozen, strict value that round-trips through JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Declined(Value):
    """A step that could not tell, and why: an answer, not an error."""

    reason: str


class Outline(Value):
    """The four corners of the work in the upright full-size photo, and how sure the finder is of them.

    cut: whether the top, right, bottom and left side is no edge of the work but the photo's border, which cuts it.
    """

    corners_px: Corners
    confidence: Confidence
    whole_photo: bool = False
    cut: tuple[bool, bool, bool, bool] = (False, False, False, False)
    evidence: dict[str, float] = Field(default_factory=dict)

    def array(self) -> Float64:
        """(4, 2) float64 corners: top-left, top-right, bottom-right, bottom-left."""
        return np.array(self.corners_px, np.float64)


Side = tuple[float, float, float, float, float]
_STRAIGHT: Side = (0.0, 0.0, 0.0, 0.0, 0.0)


class Geometry(Value):
    """How the work lies in the photo, and its true proportion.

    ratio is width : height of the work; lens_k1 the radial term (see imaging.resample.Lens). sides: where the sheet
    bends, how far inward of the line between its corners its edge runs at five even places of each side (top and bottom
    from the left, right and left from the top), as shares of the longer side.
    """

    photo_px: tuple[int, int]
    corners_px: Corners
    ratio: Annotated[float, Field(gt=0)]
    ratio_from: Literal["known size", "corners and focal length", "corners", "side lengths", "whole photo"]
    lens_k1: float = 0.0
    focal_px: float | None = None
    sides: tuple[Side, Side, Side, Side] | None = None

    def array(self) -> Float64:
        """(4, 2) float64 corners in photo pixels."""
        return np.array(self.corners_px, np.float64)

    def lens(self) -> Lens:
        """The photo's lens as a map."""
        return Lens(self.photo_px[0], self.photo_px[1], self.lens_k1)

    def in_photo(self, points: AnyArray) -> Float64:
        """(..., 2) places of the work, 0..1 across and down -> photo pixels."""
        lens = self.lens()
        matrix = homography(rectangle(1.0, 1.0), lens.ideal(self.array()))
        return Warp(matrix, lens, bow=self.bow((0.0, 0.0, 1.0, 1.0))).source(points)

    def turned(self, quarters: int) -> "Geometry":
        """The same work turned clockwise: what was its lower left corner becomes its upper left one."""
        found = self
        for _ in range(quarters % 4):
            corners = (found.corners_px[3], *found.corners_px[:3])
            sides = found.sides
            if sides is not None:
                top, right, bottom, left = sides
                sides = (_backwards(left), top, _backwards(right), bottom)
            found = found.model_copy(update={"corners_px": corners, "ratio": 1 / found.ratio, "sides": sides})
        return found

    def followed(self, inward: tuple[Side, Side, Side, Side]) -> "Geometry":
        """The same work whose edges run inward by so much more: its corners are where the sides end then."""
        before = self.sides or (_STRAIGHT,) * 4
        added = np.array(before) + np.array(inward)
        bent = self.model_copy(update={"sides": tuple(map(tuple, added.tolist()))})
        corners = tuple(map(tuple, bent.in_photo(rectangle(1.0, 1.0)).tolist()))
        ends = added[:, :1] + (added[:, -1:] - added[:, :1]) * np.linspace(0, 1, PLACES)
        sides = tuple(map(tuple, (added - ends).round(6).tolist()))
        return self.model_copy(update={"corners_px": corners, "sides": sides})

    def bow(self, frame: tuple[float, float, float, float]) -> Bow | None:
        """The bent sides of the work where it lies at (x0, y0, width, height); None where they are straight."""
        if self.sides is None:
            return None
        of_height, of_width = max(self.ratio, 1.0), max(1 / self.ratio, 1.0)
        return Bow(np.array(self.sides) * np.array([[of_height], [of_width], [of_height], [of_width]]), frame)


def _backwards(side: Side) -> Side:
    first, second, third, fourth, last = side
    return last, fourth, third, second, first


class LightField(Value):
    """Relative light over the work: natural logarithm per channel on a regular grid, 0 at the reference.

    log_light: rows x cols x 3, nodes at the cell centres of the rectified work, row by row.
    """

    rows: Annotated[int, Field(ge=1)]
    cols: Annotated[int, Field(ge=1)]
    log_light: tuple[Triple, ...]

    def array(self) -> Float32:
        """(rows, cols, 3) float32 natural-log relative light."""
        return np.array(self.log_light, np.float32).reshape(self.rows, self.cols, 3)


class Neutral(Value):
    """Per-channel gain in linear light that makes the reference neutral, and what the reference was."""

    gain: Triple = (1.0, 1.0, 1.0)
    source: Literal["paper", "grey reference", "none"] = "none"


class ChartFit(Value):
    """What a colour chart in the photo says of light and camera: gain per channel, a curve, a matrix.

    y = gain * x * exp((bend[0] - 1) ln x + bend[1] ln^2 x) on device-linear values, then the matrix to linear
    sRGB, of 3 x 3 or, with the roots of the channels' products, 3 x 6 (see imaging.colour.mixed); delta_e: mean
    CIEDE2000 of the chart's patches after it; left_out_delta_e: the same of patches that the fit has not seen.
    """

    gain: Triple
    bend: tuple[float, float]
    matrix: tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]
    delta_e: float
    left_out_delta_e: float | None = None


class Tone(Value):
    """Exposure gain in linear light and a shoulder that keeps everything below the top of the scale.

    Values above `knee` approach `ceiling` and never reach it; knee = ceiling switches the shoulder off.
    """

    gain: Annotated[float, Field(gt=0)] = 1.0
    knee: float = 1.0
    ceiling: float = 1.0


class Sharpening(Value):
    """Luminance unsharp masking: Gaussian radius in output pixels, amount, and the contrast it starts at."""

    radius_px: Annotated[float, Field(gt=0)] = 0.8
    amount: Annotated[float, Field(ge=0, le=2)] = 0.0
    threshold: Annotated[float, Field(ge=0)] = 0.01


class CorrectionPlan(Value):
    """What will be done to the pixels: estimated on a small copy, applied once per output.

    reference: the reference shot, or "a grey card beside the work", that light, colour or chart came from;
    contrast: how much of a camera's contrast curve is taken back (see correction.camera); paper_guessed: nothing in the
    photo tells whether the paper is white or grey, and it was taken for white; inset: how far in the desk reaches at
    the top, right, bottom and left, as shares of the longer side (see correction.rim).
    """

    version: Literal[1] = 1
    geometry: Geometry
    kind: Kind
    paper: Literal["white", "tinted", "toned", "none"]
    light: LightField | Declined
    neutral: Neutral | Declined
    tone: Tone
    sharpening: Sharpening
    paper_colour: Triple | None = None
    chart: ChartFit | None = None
    reference: str = ""
    contrast: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    focus: tuple[float, float] = (0.5, 0.5)
    silhouette: tuple[Corner, ...] | None = None
    inset: tuple[float, float, float, float] = (0.0008, 0.0008, 0.0008, 0.0008)
    paper_guessed: bool = False


NAME_FIELDS = (
    "photo", "nn", "last", "first", "initial", "title", "year", "medium", "h", "w", "unit", "inv", "destination",
)  # fmt: skip
"""What a destination's file names may be made of."""


class WorkFacts(Value):
    """What the artist says of a work; empty where nothing is said. size_mm is (width, height).

    destinations: where it goes, and only there; also: where it goes besides; order: its place in lists, 0 where none
    is given; released: it is said in so many words that it is not held; shared: which of these words are said beside
    other takes of the work; paper: what the work stands on, where the artist says it; keep_paper: whether its own
    tint stays; lighter: by how many stops, for works whose exposure nothing in the photo tells.
    reference: the photo shows no work but something that tells the light of the others; grey_card: a grey card lies
    beside the work; turn: by so many degrees clockwise; outline, corners_px: which edge is the work's, in words or as
    corners in the upright photo; not_a_work: the photo shows none; as_shot: straightened, and nothing else; unclear:
    what was said and can't be used, each with the nearest word that can; noted: a note of the photo's own, or the
    command line, says something of it as of a work.
    """

    title: str = ""
    year: str = ""
    medium: str = ""
    size_mm: tuple[float, float] | None = None
    unit: str = "cm"
    inventory: str = ""
    price: str = ""
    description: str = ""
    alt_text: str = ""
    keywords: tuple[str, ...] = ()
    kind: Kind | None = None
    destinations: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    order: int = 0
    hold: bool = False
    released: bool = False
    shared: tuple[str, ...] = ()
    keep_paper: bool | None = None
    paper: PaperWord | None = None
    lighter: Annotated[float, Field(ge=-3, le=3)] = 0.0
    reference: ReferenceShot | None = None
    grey_card: bool = False
    turn: Literal[0, 90, 180, 270] = 0
    outline: OutlineWord | None = None
    corners_px: Corners | None = None
    not_a_work: bool = False
    as_shot: bool = False
    unclear: tuple[str, ...] = ()
    noted: bool = False

    def goes_to(self, usual: Iterable[str]) -> tuple[str, ...]:
        """The destinations of the work: those that it was sent to, else the usual ones; and where it goes besides."""
        return tuple(dict.fromkeys((*(self.destinations or usual), *self.also)))

    @property
    def says_work(self) -> bool:
        """Whether the artist has said anything that is said of works only: then the photo shows one.

        A title alone is none: any file name that no camera gives becomes one; nor is a year, for names of other photos
        hold one too. Said in a note of the photo's own, both are.
        """
        said = (
            self.medium,
            self.size_mm,
            self.inventory,
            self.price,
            self.kind,
            self.paper,
            self.outline,
            self.corners_px,
            self.description,
            self.alt_text,
            self.keep_paper is not None,
            self.lighter,
            self.turn,
            self.as_shot,
            self.destinations,
            self.also,
            self.grey_card,
            self.noted,
        )
        return any(said)

    def sides(self) -> tuple[str, str]:
        """Height and width in the artist's own unit, as short as they go; empty where no size is given."""
        if self.size_mm is None:
            return "", ""
        per = MM_PER_UNIT.get(self.unit, 10.0)
        width, height = (f"{side / per:.2f}".rstrip("0").rstrip(".") for side in self.size_mm)
        return height, width


class OutputRecord(Value):
    """One delivered file."""

    destination: str
    path: str
    width_px: int
    height_px: int
    bytes: int
    sha256: str
    notes: tuple[str, ...] = ()


Why = Literal[
    "", "on hold", "glare", "size not known", "too few pixels", "names the artist", "another take", "not sent",
    "looked at again",
]  # fmt: skip
"""Of what kind a reason is for which a destination has no file; empty where it is none of these."""


class Reason(str):
    """Why a destination has no file, in words; kind: of what kind that is, for those that have no room for words."""

    __slots__ = ("kind",)
    kind: Why

    def __new__(cls, words: str, kind: Why = "") -> "Reason":
        """The words, with their kind."""
        made = super().__new__(cls, words)
        made.kind = kind
        return made


def kind_of(reason: str) -> Why:
    """Of what kind a reason is, where that was said."""
    return reason.kind if isinstance(reason, Reason) else ""


class JobRecord(Value):
    """Everything about one photo: what was seen, done, measured, written, and why.

    likeness: what the corrected work looks like, small (see imaging.likeness), by which takes of one work are known;
    older records have another kind, which is read as none; take_of: for an alternate, the job whose take is used;
    held, failed: destinations that wait, and that could not be made, and why; held_kinds: of what kind that is, where
    it is known (older records have none); choices: for a question, the outlines
    that it offers; refused: those that the artist has refused before, so that its numbers go on after them;
    offers_none: a picture that says "none of these" lies among the choices; several: the outlines of several works
    that are seen in the photo, in reading order, each of which may be or is finished by itself; part: of the work in
    such a photo, which one it is, from 1; its `photo` is the photo's name with that number; was: what the photo was
    called before, the newest name first; came: the day on which it came in (older records have none).
    """

    version: Literal[1] = 1
    job: str
    photo: str
    sha256: str
    outcome: Outcome
    taken_at: str | None = None
    finished_at: str | None = None
    came: str = ""
    outline: Outline | None = None
    choices: tuple[Outline, ...] = ()
    refused: tuple[Outline, ...] = ()
    offers_none: bool = False
    several: tuple[Outline, ...] = ()
    part: int = 0
    was: tuple[str, ...] = ()
    kind: Kind | None = None
    kind_evidence: dict[str, float] = Field(default_factory=dict)
    plan: CorrectionPlan | None = None
    measures: dict[str, float] = Field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    outputs: tuple[OutputRecord, ...] = ()
    likeness: str = ""
    take_of: str | None = None
    held: dict[str, str] = Field(default_factory=dict)
    held_kinds: dict[str, Why] = Field(default_factory=dict)
    failed: dict[str, str] = Field(default_factory=dict)
    work: WorkFacts = WorkFacts()
    pages: dict[str, str] = Field(default_factory=dict)
    seconds: dict[str, float] = Field(default_factory=dict)
    settings_sha256: str | None = None
    duplicate_of: str | None = None

    @property
    def not_given_out(self) -> dict[str, str]:
        """Destinations without a file, and why: those that wait and those that could not be made."""
        return {**self.held, **self.failed}

    @field_validator("likeness", mode="before")
    @classmethod
    def _of_this_kind(cls, given: object) -> object:
        return given if isinstance(given, str) else ""


@dataclass(frozen=True)
class PhotoFacts:
    """What the file says of itself, read once: camera facts that the correction may use, never a position.

    exposure: seconds * ISO / f-number^2, to which the light in the file is proportional, where all three are known;
    camera: the file names the camera that made it; device: (make, model, lens) as it says, each empty where it does
    not; composite: the camera made the picture of several shots; taken_at, taken_offset: by its clock, and how far
    that is from UTC, "+01:00"; suspect: why the file may be damaged, empty where nothing says so;
    credentials: the file brings content credentials of its own.
    """

    format: str
    width_px: int
    height_px: int
    focal_mm35: float | None = None
    exposure: float | None = None
    camera: bool = False
    device: tuple[str, str, str] = ("", "", "")
    composite: bool = False
    taken_at: str | None = None
    taken_offset: str = ""
    profile_name: str = "sRGB (assumed)"
    warnings: tuple[str, ...] = ()
    suspect: str = ""
    credentials: bool = False


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright decoded photo and the way from its codes to linear light.

    codes: (H, W, 3) uint8 or uint16 device codes, or float32 linear light when `tables` is None;
    tables: (3, levels) float32 linear light of each code per channel; matrix: (3, 3) device primaries ->
    linear sRGB, or (3, 6) with their roots (see imaging.colour.mixed). Values outside 0..1 stay (wide-gamut photos).
    full_px is the (width, height) of the whole photo; scale is the size of `codes` relative to it.
    """

    codes: AnyArray
    facts: PhotoFacts
    tables: Float32 | None = None
    matrix: Float32 | None = None
    scale: float = 1.0

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of this copy."""
        return int(self.codes.shape[1]), int(self.codes.shape[0])

    @property
    def full_px(self) -> tuple[int, int]:
        """(width, height) of the photo at full size, upright."""
        return self.facts.width_px, self.facts.height_px

    def crop(self, y0: int, y1: int, x0: int, x1: int) -> Float32:
        """(y1-y0, x1-x0, 3) float32 linear sRGB of a part of this copy."""
        part = self.codes[y0:y1, x0:x1]
        if self.tables is None:
            return np.ascontiguousarray(part, np.float32)
        if part.dtype == np.uint8:
            linear = _looked_up(np.ascontiguousarray(part), self.tables)
        else:
            linear = np.stack([self.tables[c][part[..., c]] for c in range(3)], axis=-1)
        return linear if self.matrix is None else mixed(linear, self.matrix)

    def linear(self) -> Float32:
        """(H, W, 3) float32 linear sRGB of the whole copy."""
        height, width = self.codes.shape[:2]
        return self.crop(0, height, 0, width)

    def reduced(self, factor: int) -> "Photo":
        """A copy 1/factor the size, averaged in linear light; kept for the next caller."""
        if factor <= 1:
            return self
        kept = _REDUCED.setdefault(self, {})
        if factor not in kept:
            first = self._first_factor()
            kept[factor] = self.reduced(first)._resized(self._small(factor)) if factor > first else self._reduce(factor)
        return kept[factor]

    def let_go(self) -> None:
        """Forget the reduced copies."""
        _REDUCED.pop(self, None)

    def _small(self, factor: int) -> tuple[int, int]:
        width, height = self.size_px
        return max(1, width // factor), max(1, height // factor)

    def _resized(self, size: tuple[int, int]) -> "Photo":
        small = cv2.resize(self.linear(), size, interpolation=cv2.INTER_AREA)
        return Photo(np.asarray(small, np.float32), self.facts, scale=size[0] / self.facts.width_px)

    def _first_factor(self) -> int:
        """All that is measured is measured on small copies: they share one that the photo's own pixels are read for."""
        first = 1
        while self.codes.shape[0] * self.codes.shape[1] > _MOST_SHARED_PX * first**2:
            first *= 2
        return first

    def _reduce(self, factor: int) -> "Photo":
        width, height = self.size_px
        small_w, small_h = self._small(factor)
        out = np.empty((small_h, small_w, 3), np.float32)
        for first in range(0, small_h, 64):
            last = min(first + 64, small_h)
            y0, y1 = round(first * height / small_h), round(last * height / small_h)
            out[first:last] = cv2.resize(
                self.crop(y0, y1, 0, width), (small_w, last - first), interpolation=cv2.INTER_AREA
            )
        return Photo(out, self.facts, scale=small_w / self.facts.width_px)

    def halved(self, times: int) -> "Photo | Halved":
        """A copy halved so many times by the kernel 1-4-6-4-1, its pixels on every second one; kept like `reduced`.

        Where it would take much memory it is made anew wherever it is looked at.
        """
        if times <= 0:
            return self
        kept = _HALVED.setdefault(self, {})
        if times not in kept:
            # What is kept for as long as this photo is in use must not be what keeps it: a twin has the same pixels.
            half = Halved(replace(self) if times == 1 else self.halved(times - 1))
            width, height = half.size_px
            large = width * height > _MOST_SHARED_PX
            kept[times] = half if large else Photo(half.whole(), self.facts, scale=self.scale / 2**times)
        return kept[times]


def _looked_up(codes: UInt8, tables: Float32) -> Float32:
    """(H, W, 3) codes through a (3, 256) table for each channel."""
    if (tables == tables[0]).all():  # one for all takes half the time
        return cast(Float32, cv2.LUT(codes, np.ascontiguousarray(tables[0])))
    return cast(Float32, cv2.LUT(codes, np.ascontiguousarray(tables.T).reshape(1, 256, 3)))


_MOST_SHARED_PX = 4_000_000  # 48 MB in linear light

# Reduced copies of each photo, for as long as it is in use: beside the photo, which never changes.
_REDUCED: WeakKeyDictionary[Photo, dict[int, Photo]] = WeakKeyDictionary()
_HALVED: WeakKeyDictionary[Photo, dict[int, Photo | Halved]] = WeakKeyDictionary()


@dataclass(frozen=True)
class Work:
    """The rectified work at measuring size: (H, W, 3) float32 linear sRGB, and what one pixel stands for."""

    linear: Float32
    photo_px_per_px: float
    facts: Mapping[str, float] = field(default_factory=dict)

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return int(self.linear.shape[1]), int(self.linear.shape[0])
