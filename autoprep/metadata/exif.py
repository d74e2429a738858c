"""The rights statement and the density as a fresh Exif block: nothing is copied from the camera's but its clock."""

import struct

import piexif

from autoprep.imaging.tags import ITEM_BYTES
from autoprep.metadata.statement import RightsStatement

_INCH = 2
_ASCII = 2  # TIFF 6.0: the type of texts
_UNKNOWN_PPI = 72
"""Exif 2.32, tags 0x011A and 0x011B: what stands where no resolution is known (from memory)."""
# Exif 2.32, ComponentsConfiguration: 1, 2, 3 are Y, Cb, Cr, and 0 none; for inks it has no number (from memory).
_COMPONENTS = {1: b"\1\0\0\0", 3: b"\1\2\3\0"}
_HEAD = b"Exif\0\0"
_Entry = tuple[int, int, bytes]  # type, count, the value's bytes


def block(
    statement: RightsStatement,
    width_px: int,
    height_px: int,
    ppi: float | None,
    srgb: bool,
    oriented: bool = True,
    format_: str = "jpeg",
    channels: int = 3,
) -> bytes:
    """Exif bytes ("Exif\\0\\0" + TIFF structure): rights, time, orientation 1, size, density, colour space.

    channels: 1 of a grey picture, 3 of one in colours, 4 of one in inks. format_: which tags belong to compressed
    pictures, and which to none but TIFF, is told by the tables of support levels in Exif 2.32 (from memory; exiftool's
    own check agrees).
    """
    main: dict[int, object] = {piexif.ImageIFD.Orientation: 1} if oriented else {}
    told = {tag: _text(value) for _, value, ids in statement.fields() for tag in ids.exif}
    main |= {tag: value for tag, value in told.items() if in_main(tag)}
    jpeg = format_ == "jpeg"
    density = ppi or (_UNKNOWN_PPI if jpeg else None)
    if density:
        main |= {
            piexif.ImageIFD.XResolution: (round(density * 100), 100),
            piexif.ImageIFD.YResolution: (round(density * 100), 100),
            piexif.ImageIFD.ResolutionUnit: _INCH,
        }
    if jpeg and channels == 3:
        main[piexif.ImageIFD.YCbCrPositioning] = 1
    newer = {tag: value for tag, value in told.items() if tag >= _FIRST_OF_3_0}
    camera = _camera(statement.created, srgb, "0300" if newer else "0232") | {
        tag: value for tag, value in told.items() if _in_camera(tag)
    }
    if format_ != "tiff":
        camera |= {piexif.ExifIFD.PixelXDimension: width_px, piexif.ExifIFD.PixelYDimension: height_px}
    if jpeg and channels in _COMPONENTS:
        camera[piexif.ExifIFD.ComponentsConfiguration] = _COMPONENTS[channels]
    return _laid_out(piexif.dump({"0th": main, "Exif": camera, "GPS": {}, "1st": {}, "thumbnail": None}), newer)


_FIRST_OF_3_0 = 0xA436  # ImageTitle; up to 0xA43C (Exif 3.0, from memory)
_FIRST_OF_CAMERA = 0x829A


def in_main(tag: int) -> bool:
    """Whether a tag belongs to the main directory, not to the camera's, whose first is ExposureTime (Exif 2.32)."""
    return tag < _FIRST_OF_CAMERA


def _in_camera(tag: int) -> bool:
    return not in_main(tag) and tag < _FIRST_OF_3_0


def main_texts(statement: RightsStatement) -> tuple[tuple[int, str], ...]:
    """(tag, text) of the fields that stand in the main directory."""
    return tuple((tag, value) for _, value, ids in statement.fields() for tag in ids.exif if in_main(tag))


def _laid_out(block: bytes, newer: dict[int, bytes]) -> bytes:
    """The same directories with their ends marked, and every value at an even place, as TIFF 6.0 asks.

    The library leaves out the four bytes that end the camera's directory, puts values one behind the other, and does
    not know the texts that are new in Exif 3.0. These are of type ASCII, as all others here: the type for UTF-8 that
    came with 3.0 (129) is read by none of the readers tried (exiftool 12.57, Exiv2, Pillow), ASCII holding UTF-8 by
    the first two and, where it is ASCII, by all.
    """
    tiff = block[len(_HEAD) :]
    main = _entries(tiff, struct.unpack_from(">I", tiff, 4)[0])
    (camera_at,) = struct.unpack(">I", main[piexif.ImageIFD.ExifTag][2])
    camera = _entries(tiff, camera_at) | {tag: (_ASCII, len(text) + 1, text + b"\0") for tag, text in newer.items()}
    # The first directory is as long whatever its pointer says: it is written once to know where it ends.
    start = 8 + len(_directory(main, 8))
    main[piexif.ImageIFD.ExifTag] = (4, 1, struct.pack(">I", start))
    return _HEAD + tiff[:4] + struct.pack(">I", 8) + _directory(main, 8) + _directory(camera, start)


def _entries(tiff: bytes, at: int) -> dict[int, _Entry]:
    found = {}
    for k in range(struct.unpack_from(">H", tiff, at)[0]):
        place = at + 2 + 12 * k
        tag, kind, count = struct.unpack_from(">HHI", tiff, place)
        size = count * ITEM_BYTES[kind]
        value_at = place + 8 if size <= 4 else struct.unpack_from(">I", tiff, place + 8)[0]
        found[tag] = (kind, count, tiff[value_at : value_at + size])
    return found


def _directory(entries: dict[int, _Entry], at: int) -> bytes:
    """A directory that begins at this place, with its values behind it and none after it."""
    rows, values = b"", b""
    behind = at + 2 + 12 * len(entries) + 4
    for tag, (kind, count, value) in sorted(entries.items()):
        rows += struct.pack(">HHI", tag, kind, count)
        if len(value) <= 4:
            rows += value.ljust(4, b"\0")
        else:
            rows += struct.pack(">I", behind + len(values))
            values += value + b"\0" * (len(value) % 2)
    return struct.pack(">H", len(entries)) + rows + b"\0" * 4 + values


def _camera(created: str, srgb: bool, version: str) -> dict[int, object]:
    camera: dict[int, object] = {
        piexif.ExifIFD.ExifVersion: version.encode(),
        piexif.ExifIFD.FlashpixVersion: b"0100",
        piexif.ExifIFD.ColorSpace: 1 if srgb else 0xFFFF,
    }
    if len(created) >= 19:
        camera[piexif.ExifIFD.DateTimeOriginal] = _text(created[:10].replace("-", ":") + " " + created[11:19])
    if len(created) > 19:
        camera[_OFFSET_TIME_ORIGINAL] = _text(created[19:])
    return camera


_OFFSET_TIME_ORIGINAL = 0x9011


def _text(value: str) -> bytes:
    return value.encode("utf-8", "replace")
