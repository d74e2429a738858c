"""The picture as a file: JPEG with the Exif of an invented camera, a thumbnail, and where wanted a profile."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import piexif
from PIL import Image

if TYPE_CHECKING:
    from .scene import Shot

LANDSCAPE_SENSOR = 26 / 4.25  # a phone's crop: 4.25 mm behaves like 26 mm
TURNS = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270}


def encode_jpeg(
    shot: Shot, quality: int | None = None, *, orientation: int = 1, taken: str = "2026:05:14 10:21:33",
    gps: tuple[float, float] | None = (51.3127, -27.8412), icc: bytes | None = None, exif: bool = True,
) -> bytes:  # fmt: skip
    """A Shot -> JPEG bytes. Orientation 3, 6 or 8 stores the pixels turned so that the tag turns them back.

    `gps` is latitude and longitude in degrees (the default lies in the open sea); `icc` is embedded as it is,
    the pixels must already be in that space.
    """
    picture = Image.fromarray(shot.pixels)
    turn = TURNS[orientation]
    stored = picture if turn is None else picture.transpose(turn)
    out = io.BytesIO()
    options: dict[str, object] = {"quality": quality or shot.spec.jpeg_quality, "subsampling": 2, "optimize": True}
    if icc:
        options["icc_profile"] = icc
    if exif:
        options["exif"] = _exif(stored, shot, orientation, taken, gps)
    stored.save(out, "JPEG", **options)
    return out.getvalue()


def _exif(stored: Image.Image, shot: Shot, orientation: int, taken: str, gps: tuple[float, float] | None) -> bytes:
    """The Exif block."""
    focal_mm35 = shot.spec.focal_mm35
    thumb = stored.copy()
    thumb.thumbnail((256, 256))
    small = io.BytesIO()
    thumb.save(small, "JPEG", quality=72)
    zeroth = {
        piexif.ImageIFD.Make: b"Saltmere Optics",
        piexif.ImageIFD.Model: b"SO-1",
        piexif.ImageIFD.Orientation: orientation,
        piexif.ImageIFD.XResolution: (72, 1),
        piexif.ImageIFD.YResolution: (72, 1),
        piexif.ImageIFD.ResolutionUnit: 2,
        piexif.ImageIFD.DateTime: taken.encode(),
        piexif.ImageIFD.Software: b"SO-1 1.4",
    }
    details = {
        piexif.ExifIFD.DateTimeOriginal: taken.encode(),
        piexif.ExifIFD.DateTimeDigitized: taken.encode(),
        piexif.ExifIFD.ExposureTime: (max(1, round(shot.truth.exposure * 1e5)), 6_000_000),
        piexif.ExifIFD.FNumber: (18, 10),
        piexif.ExifIFD.ISOSpeedRatings: 125,
        piexif.ExifIFD.FocalLength: (round(focal_mm35 / LANDSCAPE_SENSOR * 1000), 1000),
        piexif.ExifIFD.FocalLengthIn35mmFilm: round(focal_mm35),
        piexif.ExifIFD.PixelXDimension: stored.width,
        piexif.ExifIFD.PixelYDimension: stored.height,
        piexif.ExifIFD.ColorSpace: 1,
        piexif.ExifIFD.BodySerialNumber: b"SO1-000417",
    }
    block = {"0th": zeroth, "Exif": details, "GPS": _gps(gps), "1st": _thumbnail_tags(), "thumbnail": small.getvalue()}
    return bytes(piexif.dump(block))


def _thumbnail_tags() -> dict[int, object]:
    """The directory of the embedded thumbnail."""
    return {piexif.ImageIFD.Compression: 6, piexif.ImageIFD.XResolution: (72, 1),
            piexif.ImageIFD.YResolution: (72, 1), piexif.ImageIFD.ResolutionUnit: 2}  # fmt: skip


def _gps(gps: tuple[float, float] | None) -> dict[int, object]:
    """Latitude and longitude as Exif rationals."""
    if gps is None:
        return {}

    def sexagesimal(value: float) -> tuple[tuple[int, int], ...]:
        value = abs(value)
        minutes = (value % 1) * 60
        return (int(value), 1), (int(minutes), 1), (round((minutes % 1) * 6000), 100)

    return {
        piexif.GPSIFD.GPSLatitudeRef: b"N" if gps[0] >= 0 else b"S",
        piexif.GPSIFD.GPSLatitude: sexagesimal(gps[0]),
        piexif.GPSIFD.GPSLongitudeRef: b"E" if gps[1] >= 0 else b"W",
        piexif.GPSIFD.GPSLongitude: sexagesimal(gps[1]),
    }
