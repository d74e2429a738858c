"""The Exif block through one small module: what another writer makes of the same values is read as the same."""

import io

from PIL import ExifTags, Image

from autoprep.domain import WorkFacts
from autoprep.metadata import exif
from autoprep.metadata.statement import Maker, make_statement


def _read(block: bytes) -> dict[int, object]:
    out = io.BytesIO()
    Image.new("RGB", (9, 6)).save(out, "JPEG", exif=block)
    found = Image.open(io.BytesIO(out.getvalue())).getexif()
    camera = found.get_ifd(ExifTags.IFD.Exif)
    # Where the directories lie is the writer's own business.
    return {**{k: v for k, v in found.items() if k != ExifTags.IFD.Exif}, **camera}


def test_the_imaging_librarys_own_writer_gives_the_same() -> None:
    statement = make_statement(
        Maker(artist="Wren Halloway", notice="(c) {year} {artist}"), WorkFacts(title="Reeds"), "2026"
    )
    ours = _read(exif.block(statement, 900, 600, 300.0, srgb=True))
    theirs = Image.Exif()
    theirs[ExifTags.Base.Orientation] = 1
    for _, value, ids in statement.fields():
        if ids.exif is not None:
            theirs[ids.exif] = value
    theirs[ExifTags.Base.XResolution] = theirs[ExifTags.Base.YResolution] = 300.0
    theirs[ExifTags.Base.ResolutionUnit] = 2
    camera = theirs.get_ifd(ExifTags.IFD.Exif)
    camera[ExifTags.Base.ExifVersion] = b"0232"
    camera[ExifTags.Base.ExifImageWidth] = 900
    camera[ExifTags.Base.ExifImageHeight] = 600
    camera[ExifTags.Base.ColorSpace] = 1
    assert ours == _read(theirs.tobytes())
    assert ours[ExifTags.Base.Artist] == "Wren Halloway"
    assert ours[ExifTags.Base.Copyright] == "(c) 2026 Wren Halloway"


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
