"""The rights statement: one annotated line per field, from which Exif, XMP and IIM are made.

Identifiers: IPTC Photo Metadata TechReference 2023.1; Exif 2.32 and 3.0 (CIPA DC-008), and which Exif tags hold which
IPTC property by IPTC's mapping for Exif 3.0 (from memory). Metadata are no registration and no legal advice; the law
differs by country.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, field_validator

from autoprep.domain import WorkFacts

Form = Literal["text", "seq", "bag", "alt", "uri", "licensor", "owner", "maker", "contact", "artwork", "part"]
"""How XMP holds a value; "part": only inside the structure that another field makes."""


class Ids(NamedTuple):
    """Where a field goes: XMP name and form, IIM data set with its limit in bytes, Exif tags."""

    xmp: str
    form: Form
    iim: int | None = None
    iim_bytes: int = 0
    exif: tuple[int, ...] = ()


def legal(text: str) -> str:
    """The text as every carrier can hold it, so that all say the same.

    XML 1.0 allows no control characters and reads every line end as LF; Exif ends a text at NUL and its readers drop
    white space at the end; UTF-8 holds no lone surrogates.
    """
    ends = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(
        ch
        for ch in ends
        if ch in "\t\n" or (ch >= " " and not "\ud800" <= ch <= "\udfff" and ch not in "\x7f\ufffe\uffff")
    ).strip()


PLUS_VOCABULARY = "http://ns.useplus.org/ldf/vocab/"
_DATA_MINING = {
    "unspecified": "DMI-UNSPECIFIED",
    "allowed": "DMI-ALLOWED",
    "prohibited": "DMI-PROHIBITED",
    "prohibited for training": "DMI-PROHIBITED-AIMLTRAINING",
    "prohibited for generative training": "DMI-PROHIBITED-GENAIMLTRAINING",
    "prohibited except search indexing": "DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING",
}
_SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/"


class RightsStatement(BaseModel):
    """What a file says about its maker and its rights. Empty fields are left out of the file."""

    model_config = ConfigDict(defer_build=True, frozen=True, extra="forbid")

    creator: Annotated[str, Ids("dc:creator", "seq", 80, 32, (0x013B, 0xA437))] = ""
    notice: Annotated[str, Ids("dc:rights", "alt", 116, 128, (0x8298,))] = ""
    credit: Annotated[str, Ids("photoshop:Credit", "text", 110, 32)] = ""
    title: Annotated[str, Ids("dc:title", "alt", 5, 64, (0xA436,))] = ""
    description: Annotated[str, Ids("dc:description", "alt", 120, 2000, (0x010E,))] = ""
    keywords: Annotated[str, Ids("dc:subject", "bag", 25, 64)] = ""
    alt_text: Annotated[str, Ids("Iptc4xmpCore:AltTextAccessibility", "alt")] = ""
    extended: Annotated[str, Ids("Iptc4xmpCore:ExtDescrAccessibility", "alt")] = ""
    created: Annotated[str, Ids("photoshop:DateCreated", "text")] = ""
    usage_terms: Annotated[str, Ids("xmpRights:UsageTerms", "alt")] = ""
    statement_url: Annotated[str, Ids("xmpRights:WebStatement", "text")] = ""
    marked: Annotated[str, Ids("xmpRights:Marked", "text")] = ""
    email: Annotated[str, Ids("Iptc4xmpCore:CiEmailWork", "part")] = ""
    website: Annotated[str, Ids("Iptc4xmpCore:CiUrlWork", "part")] = ""
    contact: Annotated[str, Ids("Iptc4xmpCore:CreatorContactInfo", "contact")] = ""
    image_creator: Annotated[str, Ids("plus:ImageCreator", "maker")] = ""
    licensing_email: Annotated[str, Ids("plus:LicensorEmail", "part")] = ""
    artwork_year: Annotated[str, Ids("Iptc4xmpExt:AODateCreated", "part")] = ""
    artwork_physical: Annotated[str, Ids("Iptc4xmpExt:AOPhysicalDescription", "part")] = ""
    artwork_inventory: Annotated[str, Ids("Iptc4xmpExt:AOSourceInvNo", "part")] = ""
    artwork: Annotated[str, Ids("Iptc4xmpExt:ArtworkOrObject", "artwork")] = ""
    owner: Annotated[str, Ids("plus:CopyrightOwner", "owner")] = ""
    licensing_url: Annotated[str, Ids("plus:Licensor", "licensor")] = ""
    data_mining: Annotated[str, Ids("plus:DataMining", "text")] = ""
    source_type: Annotated[str, Ids("Iptc4xmpExt:DigitalSourceType", "text")] = ""
    camera_make: Annotated[str, Ids("tiff:Make", "text", exif=(0x010F,))] = ""
    camera_model: Annotated[str, Ids("tiff:Model", "text", exif=(0x0110,))] = ""
    lens: Annotated[str, Ids("exifEX:LensModel", "text", exif=(0xA434,))] = ""

    @field_validator("*", mode="before")
    @classmethod
    def _as_all_carriers_hold_it(cls, value: object) -> object:
        return legal(value) if isinstance(value, str) else value

    def fields(self) -> Iterator[tuple[str, str, Ids]]:
        """(name, value, ids) of every field that is filled in."""
        for name, info in type(self).model_fields.items():
            ids = next(item for item in info.metadata if isinstance(item, Ids))
            value = getattr(self, name)
            if value:
                yield name, value, ids


@dataclass(frozen=True)
class Maker:
    """Whose pictures these are and on which terms, as the settings say; templates hold {artist} and {year}."""

    artist: str = ""
    email: str = ""
    website: str = ""
    notice: str = ""
    usage_terms: str = ""
    credit: str = ""
    statement_url: str = ""
    licensing_url: str = ""
    licensing_email: str = ""
    data_mining: str = "unspecified"
    keywords: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shot:
    """What is told of the photo: its time, "2026-06-14T10:31:02+01:00"; make, model, lens; whether of several shots."""

    taken: str = ""
    device: tuple[str, str, str] = ("", "", "")
    composite: bool = False


def make_statement(maker: Maker, facts: WorkFacts, year: str, shot: Shot | None = None) -> RightsStatement:
    """The statement for one work; year is that of the work.

    Without an artist's name only what stands on its own is kept.
    """
    shot = shot or Shot()
    artist = maker.artist

    def filled(template: str) -> str:
        if "{artist}" in template and not artist:
            return ""
        return " ".join(template.format(artist=artist, year=year).split())

    licensed = maker.licensing_url or maker.licensing_email
    return RightsStatement(
        creator=artist,
        notice=filled(maker.notice),
        credit=filled(maker.credit),
        title=facts.title,
        description=facts.description,
        keywords="\n".join(dict.fromkeys((*facts.keywords, *maker.keywords))),
        alt_text=facts.alt_text,
        extended=facts.description if facts.alt_text else "",
        created=shot.taken,
        usage_terms=filled(maker.usage_terms) if artist else "",
        statement_url=maker.statement_url,
        marked="True" if artist else "",
        email=maker.email,
        website=maker.website,
        contact="yes" if maker.email or maker.website else "",
        image_creator=artist,
        licensing_email=maker.licensing_email,
        owner=artist,
        licensing_url="yes" if licensed and not maker.licensing_url else maker.licensing_url,
        data_mining=PLUS_VOCABULARY + _DATA_MINING[maker.data_mining] if maker.data_mining != "unspecified" else "",
        # What the picture was before it was evened and straightened: phones make some of several frames.
        source_type=_SOURCE_TYPE + ("computationalCapture" if shot.composite else "digitalCapture"),
        camera_make=shot.device[0],
        camera_model=shot.device[1],
        lens=shot.device[2],
        artwork_year=facts.year,
        artwork_physical=physical(facts),
        artwork_inventory=facts.inventory,
        artwork="yes" if facts.title or facts.year or facts.medium or facts.size_mm or facts.inventory else "",
    )


def titled_only(facts: WorkFacts) -> RightsStatement:
    """For a blind submission that keeps the title: nothing but that."""
    return RightsStatement(title=facts.title)


def physical(facts: WorkFacts) -> str:
    """Medium and size as a caption has them, height first: "watercolour, 30 x 40 cm"."""
    parts = [facts.medium] if facts.medium else []
    height, width = facts.sides()
    if height:
        parts.append(f"{height} x {width} {facts.unit}")
    return ", ".join(parts)
