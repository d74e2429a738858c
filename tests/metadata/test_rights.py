"""Rights in every format, read back by Exiv2 (pyexiv2), which knows nothing of our writers."""

from pathlib import Path

import numpy as np
import pyexiv2
import pytest

from autoprep.files.encoders import ENCODERS, Carried, encode
from autoprep.files.icc import SPACES
from autoprep.imaging.arrays import AnyArray
from autoprep.metadata import exif, iim, xmp
from autoprep.metadata.statement import PLUS_VOCABULARY, RightsStatement, make_statement

NAME = "Wren Hallöway 画"


def statement(**changes: str) -> RightsStatement:
    fields = {
        "artist": NAME,
        "year": "2026",
        "notice": "© {year} {artist}",
        "usage_terms": "All rights reserved",
        "credit": "{artist}",
        "statement_url": "https://example.org/rights",
        "licensing_url": "https://example.org/licence",
        "data_mining": "prohibited",
        "title": "Thrift & <boats>",
    }
    return make_statement(**{**fields, **changes})


def carried(said: RightsStatement, format_: str) -> Carried:
    records = iim.records(said)
    return Carried(
        icc=SPACES["srgb"].profile(),
        exif=exif.block(said, 90, 60, 300, True, format_ != "avif"),
        xmp=xmp.packet(said),
        iim_segment=iim.app13(records),
        iim=records,
        ppi=300,
        texts=tuple((ids.exif, value) for _, value, ids in said.fields() if ids.exif is not None),
    )


def written(tmp_path: Path, format_: str, bits: int = 8, said: RightsStatement | None = None) -> pyexiv2.Image:
    eight = np.random.default_rng(0).integers(0, 255, (60, 90, 3)).astype(np.uint8)
    pixels: AnyArray = eight if bits == 8 else eight.astype(np.uint16) * 257
    place = tmp_path / f"out{ENCODERS[format_].suffix}"
    said = said or statement()
    place.write_bytes(encode(pixels, format_, carried(said, format_), 90))
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
    assert found["Xmp.iptcExt.DigitalSourceType"].endswith("/digitalCapture")


@pytest.mark.parametrize(("format_", "bits"), CASES)
def test_exif_agrees_and_the_density_is_right(tmp_path: Path, format_: str, bits: int) -> None:
    found = written(tmp_path, format_, bits).read_exif()
    assert found["Exif.Image.Artist"] == NAME
    assert found["Exif.Image.Copyright"] == f"© 2026 {NAME}"
    upper, _, lower = found["Exif.Image.XResolution"].partition("/")
    assert float(upper) / float(lower) == 300
    assert found["Exif.Image.ResolutionUnit"] == "2"
    assert found.get("Exif.Image.Orientation", "1") == "1"


@pytest.mark.parametrize(("format_", "bits"), [("jpeg", 8), ("tiff", 8), ("tiff", 16)])
def test_iim_agrees(tmp_path: Path, format_: str, bits: int) -> None:
    found = written(tmp_path, format_, bits).read_iptc()
    assert found["Iptc.Envelope.CharacterSet"] == "\x1b%G"
    assert found["Iptc.Application2.Byline"] == [NAME]
    assert found["Iptc.Application2.Copyright"] == f"© 2026 {NAME}"
    assert found["Iptc.Application2.Credit"] == NAME
    assert found["Iptc.Application2.ObjectName"] == "Thrift & <boats>"


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
    said = statement(artist="", statement_url="", licensing_url="", title="", data_mining="unspecified")
    assert [name for name, _, _ in said.fields()] == ["source_type"]


def test_control_characters_can_not_break_the_packet(tmp_path: Path) -> None:
    found = written(tmp_path, "jpeg", said=statement(title="a\x00b\x1b]]></rdf:li>\ud800")).read_xmp()
    assert found["Xmp.dc.title"] == {'lang="x-default"': "ab]]></rdf:li>"}
