"""The rights statement: one annotated line per field, from which Exif, XMP and IIM are made.

Identifiers: IPTC Photo Metadata TechReference 2023.1; Exif 2.32 (CIPA DC-008). Metadata are no registration and
no legal advice; the law differs by country.
"""

from collections.abc import Iterator
from typing import Annotated, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict

Form = Literal["text", "seq", "bag", "alt", "uri", "licensor", "owner"]


class Ids(NamedTuple):
    """Where a field goes: XMP name and form, IIM data set with its limit in bytes, Exif tag of the main directory."""

    xmp: str
    form: Form
    iim: int | None = None
    iim_bytes: int = 0
    exif: int | None = None


PLUS_VOCABULARY = "http://ns.useplus.org/ldf/vocab/"
_DATA_MINING = {
    "unspecified": "DMI-UNSPECIFIED",
    "allowed": "DMI-ALLOWED",
    "prohibited": "DMI-PROHIBITED",
}
_SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/"


class RightsStatement(BaseModel):
    """What a file says about its maker and its rights. Empty fields are left out of the file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    creator: Annotated[str, Ids("dc:creator", "seq", 80, 32, 0x013B)] = ""
    notice: Annotated[str, Ids("dc:rights", "alt", 116, 128, 0x8298)] = ""
    credit: Annotated[str, Ids("photoshop:Credit", "text", 110, 32)] = ""
    title: Annotated[str, Ids("dc:title", "alt", 5, 64)] = ""
    description: Annotated[str, Ids("dc:description", "alt", 120, 2000, 0x010E)] = ""
    usage_terms: Annotated[str, Ids("xmpRights:UsageTerms", "alt")] = ""
    statement_url: Annotated[str, Ids("xmpRights:WebStatement", "text")] = ""
    marked: Annotated[str, Ids("xmpRights:Marked", "text")] = ""
    owner: Annotated[str, Ids("plus:CopyrightOwner", "owner")] = ""
    licensing_url: Annotated[str, Ids("plus:Licensor", "licensor")] = ""
    data_mining: Annotated[str, Ids("plus:DataMining", "text")] = ""
    source_type: Annotated[str, Ids("Iptc4xmpExt:DigitalSourceType", "text")] = ""

    def fields(self) -> Iterator[tuple[str, str, Ids]]:
        """(name, value, ids) of every field that is filled in."""
        for name, info in type(self).model_fields.items():
            ids = next(item for item in info.metadata if isinstance(item, Ids))
            value = getattr(self, name)
            if value:
                yield name, value, ids


def make_statement(
    artist: str,
    year: str,
    notice: str,
    usage_terms: str,
    credit: str,
    statement_url: str = "",
    licensing_url: str = "",
    data_mining: str = "unspecified",
    title: str = "",
) -> RightsStatement:
    """Fill the templates of the settings. Without an artist's name only what stands on its own is kept."""

    def filled(template: str) -> str:
        if "{artist}" in template and not artist:
            return ""
        return " ".join(template.format(artist=artist, year=year).split())

    return RightsStatement(
        creator=artist,
        notice=filled(notice),
        credit=filled(credit),
        title=title,
        usage_terms=filled(usage_terms) if artist else "",
        statement_url=statement_url,
        marked="True" if artist else "",
        owner=artist,
        licensing_url=licensing_url,
        data_mining=PLUS_VOCABULARY + _DATA_MINING[data_mining] if data_mining != "unspecified" else "",
        source_type=_SOURCE_TYPE + "digitalCapture",
    )
