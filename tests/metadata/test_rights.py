"""Rights in every format, read back by Exiv2 (pyexiv2), which knows nothing of our writers."""

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pyexiv2
import pytest

from autoprep.domain import WorkFacts
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.formats import ENCODERS
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray
from autoprep.metadata import exif, iim, xmp
from autoprep.metadata.statement import PLUS_VOCABULARY, Maker, RightsStatement, Shot, make_statement
from tests.metadata.readers import exiftool_values, faults, needs_exiftool, said_by_carriers

NAME = "Wren Hallöway 画"


MAKER = Maker(
    artist=NAME,
    email="wren@example.org",
    website="https://example.org",
    notice="© {year} {artist}",
    usage_terms="All rights reserved",
    credit="{artist}",
    statement_url="https://example.org/rights",
    licensing_url="https://example.org/licence",
    licensing_email="licence@example.org",
    data_mining="prohibited",
    keywords=("field journal", "Saltmere"),
)
FACTS = WorkFacts(
    title="Thrift & <boats>",
    year="2026",
    medium="ink and wash",
    size_mm=(400.0, 300.0),
    inventory="WH-017",
    description="Sea thrift beside two boats <at> low tide",
    alt_text="Pink thrift in the foreground, two boats behind it",
    keywords=("thrift", "boats & tides"),
)


def statement(title: str | None = None, **changes: object) -> RightsStatement:
    facts = FACTS if title is None else FACTS.model_copy(update={"title": title})
    shot = Shot("2026-06-14T10:31:02+01:00", ("Saltmere Optics", "SO-1", "SO-1 back camera 5.7mm f/1.8"))
    return make_statement(replace(MAKER, **changes), facts, "2026", shot)  # type: ignore[arg-type]


def carried(said: RightsStatement, format_: str) -> Carried:
    records = iim.records(said)
    return Carried(
        icc=SPACES["srgb"].profile(),
        exif=exif.block(said, 90, 60, 300, True, format_ != "avif", format_),
        xmp=xmp.packet(said),
        iim_segment=iim.app13(records),
        iim=records,
        ppi=300,
        texts=exif.main_texts(said),
    )


def written(tmp_path: Path, format_: str, bits: int = 8, said: RightsStatement | None = None) -> pyexiv2.Image:
    eight = np.random.default_rng(0).integers(0, 255, (60, 90, 3)).astype(np.uint8)
    pixels: AnyArray = eight if bits == 8 else eight.astype(np.uint16) * 257
    place = tmp_path / f"out{ENCODERS[format_].suffix}"
    said = said or statement()
    place.write_bytes(encode(pixels, format_, carried(said, format_), How(90)))
    return pyexiv2.Image(str(place))


CASES = [("jpeg", 8), ("webp", 8), ("avif", 8), ("png", 8), ("png", 16), ("tiff", 8), ("tiff", 16)]


@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_xmp_in_every_format(tmp_path: Path, format_: str, bits: int) -> None:
    """Property names: IPTC Photo Metadata TechReference 2023.1; PLUS vocabulary as approved in October 2023."""
    found = written(tmp_path, format_, bits).read_xmp()
    assert found["Xmp.dc.creator"] == [NAME]
    assert found["Xmp.dc.rights"] == {'lang="x-default"': f"© 2026 {NAME}"}
    assert found["Xmp.dc.title"] == {'lang="x-default"': "Thrift & <boats>"}
    assert found["Xmp.photoshop.Credit"] == NAME
    assert found["Xmp.xmpRights.UsageTerms"] == {'lang="x-default"': "All rights reserved"}
    assert found["Xmp.xmpRights.WebStatement"] == "https://example.org/rights"
    assert found["Xmp.xmpRights.Marked"] == "True"
    assert found["Xmp.plus.DataMining"] == PLUS_VOCABULARY + "DMI-PROHIBITED"
    assert found["Xmp.plus.Licensor[1]/plus:LicensorURL"] == "https://example.org/licence"
    assert found["Xmp.plus.CopyrightOwner[1]/plus:CopyrightOwnerName"] == NAME
    assert found["Xmp.plus.Licensor[1]/plus:LicensorEmail"] == "licence@example.org"
    assert found["Xmp.plus.ImageCreator[1]/plus:ImageCreatorName"] == NAME
    assert found["Xmp.iptcExt.DigitalSourceType"].endswith("/digitalCapture")
    assert found["Xmp.dc.description"] == {'lang="x-default"': "Sea thrift beside two boats <at> low tide"}
    assert found["Xmp.dc.subject"] == ["thrift", "boats & tides", "field journal", "Saltmere"]
    assert found["Xmp.photoshop.DateCreated"] == "2026-06-14T10:31:02+01:00"
    assert found["Xmp.iptc.ExtDescrAccessibility"] == {'lang="x-default"': "Sea thrift beside two boats <at> low tide"}
    assert found["Xmp.iptc.AltTextAccessibility"] == {
        'lang="x-default"': "Pink thrift in the foreground, two boats behind it"
    }
    assert found["Xmp.iptc.CreatorContactInfo/Iptc4xmpCore:CiEmailWork"] == "wren@example.org"
    assert found["Xmp.iptc.CreatorContactInfo/Iptc4xmpCore:CiUrlWork"] == "https://example.org"
    work = "Xmp.iptcExt.ArtworkOrObject[1]/Iptc4xmpExt:"
    assert found[work + "AOTitle"] == {'lang="x-default"': "Thrift & <boats>"}
    assert found[work + "AOCreator"] == [NAME]
    assert found[work + "AODateCreated"] == "2026"
    assert found[work + "AOCopyrightNotice"] == f"© 2026 {NAME}"
    assert found[work + "AOPhysicalDescription"] == {'lang="x-default"': "ink and wash, 30 x 40 cm"}
    assert found[work + "AOSourceInvNo"] == "WH-017"
    assert found[work + "AOCurrentCopyrightOwnerName"] == NAME


@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_exif_agrees_and_the_density_is_right(tmp_path: Path, format_: str, bits: int) -> None:
    found = written(tmp_path, format_, bits).read_exif()
    assert found["Exif.Image.Artist"] == NAME
    assert found["Exif.Image.Copyright"] == f"© 2026 {NAME}"
    upper, _, lower = found["Exif.Image.XResolution"].partition("/")
    assert float(upper) / float(lower) == 300
    assert found["Exif.Image.ResolutionUnit"] == "2"
    assert found.get("Exif.Image.Orientation", "1") == "1"
    assert found["Exif.Photo.DateTimeOriginal"] == "2026:06:14 10:31:02"
    assert found["Exif.Photo.OffsetTimeOriginal"] == "+01:00"


@pytest.mark.parametrize(("format_", "bits"), [("jpeg", 8), ("tiff", 8), ("tiff", 16)])
def test_iim_agrees(tmp_path: Path, format_: str, bits: int) -> None:
    found = written(tmp_path, format_, bits).read_iptc()
    assert found["Iptc.Envelope.CharacterSet"] == "\x1b%G"
    assert found["Iptc.Application2.Byline"] == [NAME]
    assert found["Iptc.Application2.Copyright"] == f"© 2026 {NAME}"
    assert found["Iptc.Application2.Credit"] == NAME
    assert found["Iptc.Application2.ObjectName"] == "Thrift & <boats>"
    assert found["Iptc.Application2.Keywords"] == ["thrift", "boats & tides", "field journal", "Saltmere"]
    assert found["Iptc.Application2.Caption"] == "Sea thrift beside two boats <at> low tide"
    assert found["Iptc.Application2.DateCreated"] == "2026-06-14"
    assert found["Iptc.Application2.TimeCreated"].replace("Z", "+00:00") in ("10:31:02+01:00", "103102+0100")


def test_iim_limits_are_bytes_and_cut_on_characters() -> None:
    """IIM 4.2: 2:80 holds 32 bytes, 2:116 holds 128."""
    long = statement(artist="é" * 40)
    data = iim.records(long)
    at = data.index(b"\x1c\x02\x50")
    assert int.from_bytes(data[at + 3 : at + 5], "big") == 32
    assert data[at + 5 : at + 37].decode("utf-8") == "é" * 16
    assert iim.cut("aé", 2) == b"a"


@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_the_profile_is_in_every_format(tmp_path: Path, format_: str, bits: int) -> None:
    assert written(tmp_path, format_, bits).read_icc() == SPACES["srgb"].profile()


def test_without_a_name_nothing_is_claimed() -> None:
    said = make_statement(Maker(notice="© {year} {artist}", credit="{artist}"), WorkFacts(), "2026")
    assert [name for name, _, _ in said.fields()] == ["source_type"]


def test_control_characters_can_not_break_the_packet(tmp_path: Path) -> None:
    found = written(tmp_path, "jpeg", said=statement(title="a\x00b\x1b]]></rdf:li>\ud800")).read_xmp()
    assert found["Xmp.dc.title"] == {'lang="x-default"': "ab]]></rdf:li>"}


@needs_exiftool
@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_a_second_reader_agrees(tmp_path: Path, format_: str, bits: int) -> None:
    """Read back by exiftool, which shares no code with Exiv2; it must find no fault with the files either."""
    written(tmp_path, format_, bits)
    place = next(tmp_path.iterdir())
    found: dict[str, Any] = exiftool_values(place)
    assert found["XMP:Creator"] in (NAME, [NAME])
    assert found["XMP:Rights"] == f"© 2026 {NAME}"
    assert found["XMP:ArtworkOrObject"][0]["AOSourceInvNo"] == "WH-017"
    assert found["XMP:ArtworkOrObject"][0]["AOCurrentCopyrightOwnerName"] == NAME
    assert found["XMP:Licensor"][0]["LicensorURL"] == "https://example.org/licence"
    assert found["XMP:CreatorContactInfo"]["CiEmailWork"] == "wren@example.org"
    assert found["XMP:AltTextAccessibility"] == "Pink thrift in the foreground, two boats behind it"
    assert found["EXIF:Artist"] == found["EXIF:Photographer"] == NAME
    assert found["EXIF:ImageTitle"] == found["XMP:Title"] == "Thrift & <boats>"
    assert found["EXIF:ExifVersion"] in ("0300", 300)
    assert [found[f"EXIF:{tag}"] for tag in ("Make", "Model", "LensModel")] == [
        "Saltmere Optics", "SO-1", "SO-1 back camera 5.7mm f/1.8",
    ]  # fmt: skip
    assert found["XMP:Model"] == "SO-1"
    assert found["XMP:LensModel"] == "SO-1 back camera 5.7mm f/1.8"
    assert "Warning" not in found
    assert faults(place) == []


PLAIN = "Pink thrift\r\nin the\rforeground \x07"


@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_all_carriers_say_the_same(tmp_path: Path, format_: str, bits: int) -> None:
    """IPTC's mapping for Exif 3.0, field by field, also of words that not every carrier can hold as they are."""
    facts = FACTS.model_copy(update={"description": PLAIN, "title": "Réeds\x00 and\udc80 boats"})
    maker = replace(MAKER, credit="{artist}, Saltmere")
    said = make_statement(maker, facts, "2026", Shot("2026-06-14T10:31:02+01:00"))
    written(tmp_path, format_, bits, said).close()
    found = said_by_carriers(next(tmp_path.iterdir()))
    wanted = {
        "title": "Réeds and boats",
        "description": "Pink thrift\nin the\nforeground",
        "creator": NAME,
        "notice": f"© 2026 {NAME}",
        "created": "2026-06-14T10:31:02+01:00",
        "keywords": ["thrift", "boats & tides", "field journal", "Saltmere"],
        "credit": f"{NAME}, Saltmere",
    }
    assert {name: set(map(str, by.values())) for name, by in found.items()} == {
        name: {str(value)} for name, value in wanted.items()
    }
    carriers = {carrier.split()[0] for by in found.values() for carrier in by}
    assert carriers == ({"XMP", "IIM", "Exif"} if ENCODERS[format_].iim else {"XMP", "Exif"})


def test_the_version_of_exif_is_that_of_its_tags(tmp_path: Path) -> None:
    """A file without a title and a name holds nothing that came with 3.0."""
    nobody = make_statement(Maker(), WorkFacts(), "2026")
    assert written(tmp_path, "jpeg", said=nobody).read_exif()["Exif.Photo.ExifVersion"] == "48 50 51 50"
    assert written(tmp_path, "jpeg").read_exif()["Exif.Photo.ExifVersion"] == "48 51 48 48"


def test_a_cut_name_is_told_from_a_changed_one(tmp_path: Path) -> None:
    """The digest of the IIM beside it says that both were written together, though 2:80 holds half of the name."""
    found = written(tmp_path, "jpeg", said=statement(artist="é" * 40))
    data = (tmp_path / "out.jpg").read_bytes()
    at = data.index(b"8BIM\x04\x25")
    records = iim.records(statement(artist="é" * 40))
    assert data[at + 12 : at + 28] == hashlib.md5(records).digest()
    assert found.read_xmp()["Xmp.dc.creator"] == ["é" * 40]


def test_what_a_carrier_has_no_room_for_is_told() -> None:
    """IIM 4.2: 2:80 holds 32 bytes, 2:05 holds 64, and 2:25 64 for each keyword."""
    assert iim.cut_short(statement()) == []
    assert iim.cut_short(statement(title="Thrift" * 11, artist="é" * 17, credit="Saltmere")) == ["creator", "title"]
    assert iim.cut_short(statement(keywords=("sea " * 9, "k" * 65))) == ["keywords"]


def test_a_picture_of_several_shots_is_told() -> None:
    """IPTC NewsCodes, digital source type: computationalCapture is what phones make of several frames."""
    types = {make_statement(MAKER, FACTS, "2026", Shot(composite=several)).source_type for several in (False, True)}
    prefix = "http://cv.iptc.org/newscodes/digitalsourcetype/"
    assert types == {f"{prefix}digitalCapture", f"{prefix}computationalCapture"}


def test_a_description_is_the_long_form_of_an_alternative_text_alone() -> None:
    maker = Maker(artist="Wren Halloway")
    assert make_statement(maker, WorkFacts(description="A jug."), "2026").extended == ""
    assert make_statement(maker, WorkFacts(description="A jug.", alt_text="Jug"), "2026").extended == "A jug."


@pytest.mark.parametrize("offset", ["+01:00", "-03:30"])
def test_iim_has_the_time_of_both_sides_of_greenwich(offset: str) -> None:
    """IIM 4.2, 2:60: HHMMSS and the offset as +HHMM or -HHMM, 11 bytes (from memory)."""
    said = make_statement(MAKER, FACTS, "2026", Shot(f"2026-06-14T10:31:02{offset}"))
    data = iim.records(said)
    assert b"\x1c\x02\x37\0\x0820260614" in data
    assert b"\x1c\x02\x3c\0\x0b103102" + offset.replace(":", "").encode() in data


@pytest.mark.parametrize("year", ["c. 2026", "2025–2026"])
def test_a_span_of_years_is_no_date(year: str) -> None:
    """XMP, part 1: a date is one of ISO 8601's forms (from memory); IPTC Extension has a property of text beside it."""
    packet = xmp.packet(make_statement(MAKER, FACTS.model_copy(update={"year": year}), "2026")).decode()
    assert f"<Iptc4xmpExt:AOCircaDateCreated>{year}</Iptc4xmpExt:AOCircaDateCreated>" in packet
    assert "AODateCreated" not in packet


@pytest.mark.parametrize("sign", ["\x00", "\x1b", "\x7f", "\ud800", "\ufffe", "\uffff"])
def test_no_sign_of_a_title_makes_the_packet_anything_but_xml(sign: str) -> None:
    """XML 1.0, production 2, Char (from memory): read by expat, which keeps to it."""
    root = ElementTree.fromstring(xmp.packet(statement(title=f"Re{sign}eds")))
    titles = [entry.text for entry in root.iter("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}li")]
    assert "Reeds" in titles


def test_iim_is_of_its_fourth_version() -> None:
    """IPTC-NAA Information Interchange Model, 2:00."""
    assert b"\x1c\x02\x00\x00\x02\x00\x04" in iim.records(statement())
