"""One destination as its TOML table says: size, framing, encoding, colour, names, mark, rights, and its rules."""

import re
from datetime import date
from pathlib import Path
from string import Formatter
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from autoprep.domain import NAME_FIELDS
from autoprep.files.formats import ENCODERS, able
from autoprep.files.spaces import SPACES
from autoprep.imaging.units import MM_PER_INCH

MOST_PX = 30_000
GLARE_HOLDS_PERCENT = 0.5
"""Above this share of the work under glare, destinations that ask for it wait for a better photo."""
_WIDE = ("eci-rgb", "prophoto")  # spaces of which 8 bits make visible steps
Pixels = Annotated[int, Field(ge=16, le=MOST_PX)]
Millimetres = Annotated[float, Field(gt=0, le=3000)]
Inches = Annotated[float, Field(gt=0, le=120)]


class Table(BaseModel):
    """A frozen TOML table; unknown keys are errors, and numbers in quotes are."""

    model_config = ConfigDict(defer_build=True, frozen=True, extra="forbid", allow_inf_nan=False, strict=True)


class Preset(Table):
    """One destination. The descriptions of the keys go into the published JSON Schema."""

    when: Literal["always", "asked"] = Field(
        default="always",
        description="always: made for every photo; asked: only for photos that a folder or note sends here",
    )
    # --- size
    width_px: Pixels | None = Field(default=None, description="exact width in pixels; goes with height_px")
    height_px: Pixels | None = Field(default=None, description="exact height in pixels; goes with width_px")
    long_side_px: Pixels | None = Field(default=None, description="the longer side in pixels")
    short_side_px: Pixels | None = Field(default=None, description="the shorter side in pixels")
    width_mm: Millimetres | None = Field(default=None, description="exact width in mm; goes with height_mm and ppi")
    height_mm: Millimetres | None = Field(default=None, description="exact height in mm")
    width_in: Inches | None = Field(default=None, description="exact width in inches; goes with height_in and ppi")
    height_in: Inches | None = Field(default=None, description="exact height in inches")
    size: Literal["work"] | None = Field(
        default=None,
        description="work: the work's own size, which the artist says, 1:1; goes with ppi, of which there may be fewer",
    )
    full_size: bool = Field(default=False, description="as many pixels as the photo has on the work")
    ppi: Annotated[float, Field(ge=30, le=2400)] | None = Field(
        default=None, description="pixels per inch, written into the file"
    )
    bleed_mm: Annotated[float, Field(ge=0, le=50)] = Field(
        default=0.0,
        description='added around a print: of the work itself with fit = "fill", else continued; the record says how',
    )
    safe_mm: Annotated[float, Field(ge=0, le=100)] = Field(
        default=0.0, description="the mark stays this far inside the trim"
    )
    crop_marks: bool = Field(
        default=False, description="thin marks outside the bleed that show the trim, on a white edge of 5 mm or more"
    )
    viewing_cm: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="from how far a print is looked at; the record says whether its pixels suffice"
    )
    # --- framing
    framing: Literal["work", "scene"] = Field(
        default="work", description="work: the work alone; scene: its desk stays around it"
    )
    fit: Literal["whole", "fill"] = Field(
        default="whole", description="whole: all of it on a ground; fill: cropped, a detail"
    )
    ground: str = Field(
        default="neutral",
        description='"neutral", "paper" (the work\'s own paper goes on), "white" or a colour such as "#e8e4dc"',
    )
    margin_percent: Annotated[float, Field(ge=0, le=45)] = Field(
        default=0.0,
        description='ground around, in % of the shorter side; with size = "work" or full_size the picture grows by it',
    )
    max_enlarge: Annotated[float, Field(ge=0.1, le=20)] = Field(
        default=1.0,
        description="the most that photo pixels are enlarged; what is to fill may need more, and is recorded",
    )
    least_percent: Annotated[float, Field(ge=0, le=100)] = Field(
        default=33.0,
        description="held when the photo's own pixels reach less than so many % of the size wanted",
    )
    # --- encoding
    format: str = Field(default="jpeg", description="the file format", json_schema_extra={"enum": [*ENCODERS]})
    quality: Annotated[int, Field(ge=1, le=100)] = Field(default=92, description="of jpeg, webp and avif")
    least_quality: Annotated[int, Field(ge=1, le=100)] = Field(
        default=60, description="under a byte cap, quality goes no lower; then the picture becomes smaller"
    )
    max_kb: Annotated[float, Field(gt=0)] | None = Field(default=None, description="the most bytes, in kB of 1000")
    min_kb: Annotated[float, Field(gt=0)] | None = Field(default=None, description="the least bytes, in kB of 1000")
    progressive: bool = Field(
        default=False, description="progressive JPEG; false is baseline, which every system reads"
    )
    compression: Literal["deflate", "lzw", "none"] = Field(default="deflate", description="of TIFF")
    bits: Literal[8, 16] = Field(default=8, description="per channel; 16 goes with tiff and png")
    # --- colour
    colour: str = Field(default="srgb", description="the built-in colour space", json_schema_extra={"enum": [*SPACES]})
    profile: str = Field(
        default="", description="an ICC file of the printer or lab, instead of colour; RGB, grey or CMYK"
    )
    intent: Literal["perceptual", "relative", "saturation", "absolute"] = Field(
        default="relative", description="rendering intent into profile"
    )
    black_point: bool = Field(default=True, description="black-point compensation into profile")
    # --- mark, rights, names
    mark: bool = Field(default=True, description="the small visible mark")
    rights: Literal["full", "none"] = Field(default="full", description="none: nothing in the file tells who made it")
    title: bool = Field(default=False, description='with rights = "none": let the title stay in the file')
    camera: bool = Field(
        default=False, description="the camera's make, model and lens stay in the file; never a serial number"
    )
    credentials: bool = Field(
        default=False, description="content credentials (C2PA): a signed note inside the file of what was done to it"
    )
    photo_credentials: Literal["none", "history", "whole"] = Field(
        default="none",
        description="what goes along of content credentials that the photo itself brings: history: what was done to it "
        "and who signed it, without preview, place and camera data; whole: all they say, also place, person and camera",
    )
    name: str = Field(default="{photo}", description="file name: " + " ".join(f"{{{field}}}" for field in NAME_FIELDS))
    name_max: Annotated[int, Field(ge=1, le=120)] = Field(
        default=100, description="the most characters, without the ending; the number in it is kept whole"
    )
    name_letters: Literal["any", "plain"] = Field(
        default="any", description="plain: unaccented letters, digits, - and _ only"
    )
    name_case: Literal["keep", "lower", "upper"] = Field(default="keep", description="the case of letters in names")
    name_space: Literal[" ", "_", "-"] = Field(
        default=" ", description="what stands for a space in names; in plain letters _ stands for it unless - is said"
    )
    # --- what goes along, and the rules
    public: bool = Field(
        default=False,
        description="what lies here is shown to everybody; the list of works says since when, for calls that ask",
    )
    listing: bool = Field(
        default=False, description="a numbered list of the pictures, captions and a checklist in the folder"
    )
    prices: bool = Field(default=False, description="the list has a price column")
    hold_for_glare: bool = Field(
        default=False,
        description=f"wait for a better photo when glare hides more than {GLARE_HOLDS_PERCENT} % of the work",
    )
    checked: date | None = Field(
        default=None, description="when somebody last compared this table with the destination's rules"
    )

    @field_validator("ground")
    @classmethod
    def _known_ground(cls, value: str) -> str:
        if value not in ("neutral", "paper", "white") and not re.fullmatch(r"#[0-9a-fA-F]{6}", value):
            raise ValueError('must be "neutral", "paper", "white" or a colour such as "#e8e4dc"')
        return value

    @field_validator("format", "colour")
    @classmethod
    def _known(cls, value: str, info: ValidationInfo) -> str:
        known = ENCODERS if info.field_name == "format" else SPACES
        if value not in known:
            raise ValueError(f"must be one of {', '.join(known)}")
        return value

    @field_validator("colour")
    @classmethod
    def _deep_enough(cls, value: str, info: ValidationInfo) -> str:
        if value in _WIDE and info.data.get("bits") == 8:
            raise ValueError(f"{value} goes with bits = 16 (in tiff or png): 8 bits are too coarse for so many colours")
        return value

    @field_validator("name")
    @classmethod
    def _known_fields(cls, value: str) -> str:
        if not value.strip():
            raise ValueError("a name can't be empty; leave the line out, and files are called after the photo")
        try:
            fields = [part[1:] for part in Formatter().parse(value)]
        except ValueError as problem:
            raise ValueError(f"the braces of the name do not close ({problem})") from None
        for name, form, conversion in fields:
            if name is not None and (name not in NAME_FIELDS or form or conversion):
                raise ValueError("a name may hold " + " ".join(f"{{{field}}}" for field in NAME_FIELDS))
        return value

    @field_validator("profile")
    @classmethod
    def _icc_file(cls, value: str) -> str:
        if value and Path(value).suffix.lower() not in (".icc", ".icm"):
            raise ValueError("must be the path of an .icc or .icm file")
        return value

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        ways = [
            self.width_px is not None or self.height_px is not None,
            self.long_side_px is not None,
            self.short_side_px is not None,
            self.width_mm is not None or self.height_mm is not None,
            self.width_in is not None or self.height_in is not None,
            self.full_size,
            self.size is not None,
        ]
        if sum(ways) != 1:
            raise ValueError(
                "give one size: width_px and height_px, or long_side_px, or short_side_px, or width_mm and height_mm "
                'with ppi, or width_in and height_in with ppi, or full_size = true, or size = "work" with ppi'
            )
        if (self.width_px is None) != (self.height_px is None):
            raise ValueError("width_px and height_px go together")
        printed = ways[3] or ways[4]
        if printed and (self.size_mm() is None or self.ppi is None):
            unit = "mm" if ways[3] else "in"
            raise ValueError(f"a printed size needs width_{unit}, height_{unit} and ppi")
        if self.size is not None and self.ppi is None:
            raise ValueError('size = "work" needs ppi')
        for key in ("bleed_mm", "safe_mm", "crop_marks"):
            if getattr(self, key) and not (printed or self.size):
                raise ValueError(f"{key} needs a size in mm or inches")
        size, ppi = self.size_mm(), self.ppi or 0.0
        if size is not None and max(size) + 2 * self.bleed_mm > MOST_PX * MM_PER_INCH / max(ppi, 1):
            raise ValueError(
                f"{max(size):g} mm at {ppi:g} ppi are more than {MOST_PX} pixels; large prints are looked at from "
                "afar, and 100 to 150 ppi are enough for them"
            )
        if size is not None and 2 * self.safe_mm >= min(size):
            raise ValueError(f"safe_mm = {self.safe_mm:g} at every edge leaves nothing of {min(size):g} mm")
        if self.crop_marks and not self.bleed_mm:
            raise ValueError("crop_marks show where the bleed is cut off; give bleed_mm too")
        return self

    @model_validator(mode="after")
    def _own_size_of_the_work_alone(self) -> Self:
        if self.size is not None and self.framing == "scene":
            raise ValueError('size = "work" and framing = "scene" contradict each other: 1:1 the desk has no place')
        return self

    @model_validator(mode="after")
    def _fitting(self) -> Self:
        row = ENCODERS[self.format]
        if self._most_px() > row.most_px:
            raise ValueError(f"{self._most_px():.0f} pixels are more than {self.format} holds: {row.most_px} a side")
        if self.bits == 16 and not row.deep:
            raise ValueError(f"bits = 16 goes with {able('deep')}, not with {self.format}")
        if self.profile and not row.inks:
            raise ValueError(f"an ICC file of your own goes with {able('inks')}, not with {self.format}")
        if self.max_kb is not None and not row.lossy:
            raise ValueError(f"max_kb goes with {able('lossy')}; {self.format} keeps every pixel")
        if self.max_kb is not None and self.min_kb is not None and self.min_kb >= self.max_kb:
            raise ValueError("min_kb must be below max_kb")
        if self.credentials and not row.mime:
            raise ValueError(f"credentials go with {able('mime')}, not with {self.format}")
        if self.photo_credentials != "none" and not self.credentials:
            raise ValueError("photo_credentials go with credentials = true")
        return self

    @model_validator(mode="after")
    def _blind(self) -> Self:
        if self.rights == "none" and self.mark:
            raise ValueError('rights = "none" and mark = true contradict each other: the mark names the artist')
        for key in ("camera", "credentials"):
            if self.rights == "none" and getattr(self, key):
                raise ValueError(f'rights = "none" and {key} = true contradict each other: it can tell whose it is')
        if self.rights == "none":
            told = {"photo", "last", "first", "initial", "year", "inv", *(() if self.title else ("title",))}
            found = [part[1] for part in Formatter().parse(self.name) if part[1] in told]
            if found:
                raise ValueError(
                    f'rights = "none" wants nothing of the artist in the file name either, such as {{{found[0]}}}'
                )
        return self

    @model_validator(mode="before")
    @classmethod
    def _blind_name(cls, data: Any) -> Any:
        """A blind file is not called after the photo, and bears no mark."""
        if isinstance(data, dict) and data.get("rights") == "none":
            return {"name": "{nn}", "mark": False, **data}
        return data

    def _most_px(self) -> float:
        """The most pixels that are asked for, of a side."""
        asked = (self.width_px, self.height_px, self.long_side_px, self.short_side_px)
        printed = 0.0
        if (size := self.size_mm()) is not None:
            printed = (max(size) + 2 * self.bleed_mm) / MM_PER_INCH * (self.ppi or 0.0)
        return max(printed, *(side or 0 for side in asked))

    def size_mm(self) -> tuple[float, float] | None:
        """(width, height) of a print in mm, from either unit."""
        if self.width_mm is not None and self.height_mm is not None:
            return self.width_mm, self.height_mm
        if self.width_in is not None and self.height_in is not None:
            return self.width_in * MM_PER_INCH, self.height_in * MM_PER_INCH
        return None
