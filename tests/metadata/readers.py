"""What readers that know nothing of our writers find in a file: Exiv2 (pyexiv2) and, where there is one, exiftool."""

import json
import shutil
import subprocess
from pathlib import Path

import pyexiv2
import pytest

needs_exiftool = pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")

# Releases before Exif 3.0 (12.57 is tried) do not know its tags, nor that of content credentials in TIFF.
_NEWER_TAGS = """
%Image::ExifTool::UserDefined = ('Image::ExifTool::Exif::Main' => {
    0xA436 => { Name => 'ImageTitle', Writable => 'string', WriteGroup => 'ExifIFD' },
    0xA437 => { Name => 'Photographer', Writable => 'string', WriteGroup => 'ExifIFD' },
    0xCD41 => { Name => 'JUMBF', Writable => 'undef', WriteGroup => 'IFD0', Flags => 'Protected' },
});
1;
"""
# What is said of these is exiftool's own view: of tags that came after it; of deflate, which is no compression of
# Exif's, but the one that print labs and archives ask of TIFF; and of PNG, whose chunks count their places from their
# own beginning, so that Exif and content credentials may both begin at the eighth byte.
_OWN_VIEWS = (
    "ExifIFD tag 0xa436 ImageTitle", "ExifIFD tag 0xa437 Photographer", "IFD0 tag 0xcd41 JUMBF",
    "IFD0 tag 0x0103 Compression", "IFD0 pointer references previous JUMBFBox directory",
)  # fmt: skip

_XMP = {
    "title": "dc.title", "description": "dc.description", "creator": "dc.creator", "notice": "dc.rights",
    "created": "photoshop.DateCreated", "keywords": "dc.subject", "credit": "photoshop.Credit",
}  # fmt: skip
_IIM = {
    "title": "ObjectName", "description": "Caption", "creator": "Byline", "notice": "Copyright", "keywords": "Keywords",
    "credit": "Credit",
}  # fmt: skip
_EXIF = {
    "title": ("Photo.ImageTitle",), "description": ("Image.ImageDescription",), "notice": ("Image.Copyright",),
    "creator": ("Image.Artist", "Photo.Photographer"),
}  # fmt: skip


def said_by_carriers(place: Path) -> dict[str, dict[str, object]]:
    """Field -> carrier -> value, of all that more than one carrier can hold, as Exiv2 reads it."""
    image = pyexiv2.Image(str(place))
    xmp, iim, exif = image.read_xmp(), image.read_iptc(), image.read_exif()
    image.close()
    found: dict[str, dict[str, object]] = {name: {"XMP": _plain(xmp.get(f"Xmp.{key}"))} for name, key in _XMP.items()}
    for name, key in _IIM.items() if iim else ():
        found[name]["IIM"] = _plain(iim.get(f"Iptc.Application2.{key}"))
    for name, keys in _EXIF.items():
        found[name] |= {f"Exif {key}": exif.get(f"Exif.{key}") for key in keys}
    day, clock = exif.get("Exif.Photo.DateTimeOriginal", " ").split(" ")
    found["created"]["Exif"] = f"{day.replace(':', '-')}T{clock}{exif.get('Exif.Photo.OffsetTimeOriginal', '')}"
    if iim:
        found["created"]["IIM"] = f"{iim.get('Iptc.Application2.DateCreated')}T{_clock(iim)}"
    return found


def _clock(iim: dict[str, str]) -> str:
    return iim.get("Iptc.Application2.TimeCreated", "").replace("Z", "+00:00")


def _plain(value: object) -> object:
    """The text of a language alternative, or of a list of one."""
    if isinstance(value, dict):
        (value,) = value.values()
    return value[0] if isinstance(value, list) and len(value) == 1 else value


def exiftool(place: Path, *words: str) -> str:
    """What exiftool says, taught the tags that came after it."""
    config = place.with_name("newer.config")
    config.write_text(_NEWER_TAGS, encoding="ascii")
    done = subprocess.run(["exiftool", "-config", str(config), *words, str(place)], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def exiftool_values(place: Path) -> dict[str, object]:
    """All values by group and name."""
    found: dict[str, object] = json.loads(exiftool(place, "-json", "-struct", "-G0"))[0]
    return found


def faults(place: Path) -> list[str]:
    """The warnings and errors of exiftool's own check, less the views that are its own."""
    summary, *told = exiftool(place, "-validate", "-warning", "-error", "-a", "-s3").splitlines()
    assert summary == "OK" or int(summary.split()[0]) == len(told)
    return [line for line in told if not line.endswith(_OWN_VIEWS)]
