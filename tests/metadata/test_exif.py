"""The Exif block through one small module: what another writer makes of the same values is read as the same."""

import io
import struct

import pytest
from PIL import ExifTags, Image

from autoprep.domain import WorkFacts
from autoprep.metadata import exif, iim
from autoprep.metadata.statement import Maker, Shot, make_statement


def _read(block: bytes) -> dict[int, object]:
    out = io.BytesIO()
    Image.new("RGB", (9, 6)).save(out, "JPEG", exif=block)
    found = Image.open(io.BytesIO(out.getvalue())).getexif()
    camera = found.get_ifd(ExifTags.IFD.Exif)
    # Where the directories lie is the writer's own business.
    return {**{k: v for k, v in found.items() if k != ExifTags.IFD.Exif}, **camera}


def test_the_imaging_librarys_own_writer_gives_the_same() -> None:
    maker = Maker(artist="Wren Halloway", notice="(c) {year} {artist}")
    statement = make_statement(maker, WorkFacts(title="Reeds"), "2026", Shot("2026-06-14T10:31:02+01:00"))
    ours = _read(exif.block(statement, 900, 600, 300.0, srgb=True))
    theirs = Image.Exif()
    theirs[ExifTags.Base.Orientation] = 1
    for _, value, ids in statement.fields():
        for tag in ids.exif:
            (theirs.get_ifd(ExifTags.IFD.Exif) if tag >= 0xA436 else theirs)[tag] = value
    theirs[ExifTags.Base.XResolution] = theirs[ExifTags.Base.YResolution] = 300.0
    theirs[ExifTags.Base.ResolutionUnit] = 2
    camera = theirs.get_ifd(ExifTags.IFD.Exif)
    camera[ExifTags.Base.ExifVersion] = b"0300"
    camera[ExifTags.Base.ExifImageWidth] = 900
    camera[ExifTags.Base.ExifImageHeight] = 600
    camera[ExifTags.Base.ColorSpace] = 1
    camera[ExifTags.Base.FlashPixVersion] = b"0100"
    camera[ExifTags.Base.ComponentsConfiguration] = b"\1\2\3\0"
    theirs[ExifTags.Base.YCbCrPositioning] = 1
    camera[ExifTags.Base.DateTimeOriginal] = "2026:06:14 10:31:02"
    camera[ExifTags.Base.OffsetTimeOriginal] = "+01:00"
    assert ours == _read(theirs.tobytes())
    assert ours[ExifTags.Base.Artist] == "Wren Halloway"
    assert ours[ExifTags.Base.Copyright] == "(c) 2026 Wren Halloway"


@pytest.mark.parametrize("name", ["Wren", "Wrens"])
def test_every_value_begins_at_an_even_place_and_every_directory_ends(name: str) -> None:
    """TIFF 6.0, section 2: values lie on word boundaries; four bytes after the entries say that none follows."""
    taken = "2026-06-14T10:31:02+01:00"
    tiff = exif.block(make_statement(Maker(artist=name), WorkFacts(), "2026", Shot(taken)), 9, 6, 300.0, True)[6:]
    directories = [8]
    for start in directories:
        (count,) = struct.unpack_from(">H", tiff, start)
        for at in (start + 2 + 12 * k for k in range(count)):
            tag, kind, items, value = struct.unpack_from(">HHII", tiff, at)
            if tag == ExifTags.IFD.Exif:
                directories.append(value)
            if items * {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1}[kind] > 4:
                assert value % 2 == 0
        assert tiff[start + 2 + 12 * count :][:4] == b"\0" * 4
    assert len(directories) == 2


def test_without_an_offset_the_clock_alone_is_told() -> None:
    said = make_statement(Maker(artist="Wren"), WorkFacts(), "2026", Shot("2026-06-14T10:31:02"))
    found = _read(exif.block(said, 9, 6, None, srgb=True))
    assert found[ExifTags.Base.DateTimeOriginal] == "2026:06:14 10:31:02"
    assert ExifTags.Base.OffsetTimeOriginal not in found
    assert b"\x1c\x02\x37" in iim.records(said)  # 2:55, the day
    assert b"\x1c\x02\x3c" not in iim.records(said)  # 2:60 wants the offset too


@pytest.mark.parametrize(
    ("channels", "components", "placed"), [(1, b"\1\0\0\0", None), (3, b"\1\2\3\0", 1), (4, None, None)]
)
def test_components_are_those_of_the_picture(channels: int, components: bytes | None, placed: int | None) -> None:
    """Exif 2.32: YCbCrPositioning and ComponentsConfiguration 1 2 3 0 say that a picture is stored as YCbCr; grey is
    its first component, and inks have no number there.
    """
    block = exif.block(make_statement(Maker(), WorkFacts(), "2026"), 9, 6, None, srgb=False, channels=channels)
    found = _read(block)
    assert found.get(ExifTags.Base.ComponentsConfiguration) == components
    assert found.get(ExifTags.Base.YCbCrPositioning) == placed


def test_only_one_module_knows_the_writer() -> None:
    from pathlib import Path

    package = Path(exif.__file__).parent.parent
    users = [path.name for path in package.rglob("*.py") if "piexif" in path.read_text(encoding="utf-8")]
    assert users == ["exif.py"]


def test_the_colour_space_is_told_as_it_is() -> None:
    """Exif 2.32, tag 0xA001: 1 is sRGB, 0xFFFF anything else."""
    statement = make_statement(Maker(), WorkFacts(), "2026")
    assert _read(exif.block(statement, 9, 6, None, srgb=True))[ExifTags.Base.ColorSpace] == 1
    assert _read(exif.block(statement, 9, 6, None, srgb=False))[ExifTags.Base.ColorSpace] == 0xFFFF
