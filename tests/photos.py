"""Small plain photos for tests that need bytes, not beauty: a drawn sheet on a dark desk under uneven light."""

import io
from functools import cache, lru_cache

import cv2
import numpy as np
import piexif
from PIL import Image

from autoprep.imaging.arrays import Float64, UInt8, float32
from autoprep.imaging.geometry import homography, rectangle
from autoprep.imaging.transfer import encode_fast, quantise8

CORNERS = np.array([[210.0, 120.0], [1010.0, 150.0], [980.0, 780.0], [180.0, 740.0]])
SIZE = (1200, 900)


def sheet(seed: int = 0) -> UInt8:
    """(H, W, 3) uint8 sRGB pixels: white paper with a few ink strokes, corners at CORNERS."""
    return _drawn(seed).copy()


@lru_cache(
    maxsize=16
)  # most tests take the same few sheets, and to draw one takes longer than much that is tried on it
def _drawn(seed: int) -> UInt8:
    rng = np.random.default_rng(seed)
    art = np.full((600, 800, 3), 0.85, np.float32)
    for _ in range(14):
        points = rng.uniform([120, 100], [680, 500], (6, 2)).round().astype(np.int32)
        cv2.polylines(art, [points], False, (0.03, 0.03, 0.04), 3, cv2.LINE_AA)
    width, height = SIZE
    desk = np.full((height, width, 3), (0.09, 0.07, 0.05), np.float32)
    desk *= 1 + 0.05 * cv2.GaussianBlur(rng.normal(0, 1, (height, width, 1)).astype(np.float32), (0, 0), 2)[..., None]
    matrix = homography(rectangle(800, 600), CORNERS)
    warped = cv2.warpPerspective(art, matrix, SIZE, flags=cv2.INTER_AREA)
    inside = cv2.warpPerspective(np.ones((600, 800), np.float32), matrix, SIZE)[..., None]
    light = np.linspace(0.62, 0.42, width, dtype=np.float32)[None, :, None] * float32([1.0, 0.93, 0.82])
    linear = (warped * inside + desk * (1 - inside)) * light
    linear = cv2.GaussianBlur(linear, (0, 0), 0.7) + rng.normal(0, 0.002, linear.shape).astype(np.float32)
    return quantise8(encode_fast(linear.astype(np.float32)))


@cache
def exif_with_secrets(orientation: int = 1) -> bytes:
    """Camera Exif that holds what must never leave: a position, serial numbers, an owner, maker notes, a thumbnail."""
    thumb = io.BytesIO()
    Image.new("RGB", (160, 120), "red").save(thumb, "JPEG")
    return bytes(
        piexif.dump(
            {
                "0th": {
                    piexif.ImageIFD.Make: b"Saltmere Optics",
                    piexif.ImageIFD.Model: b"PLANTED-MODEL",
                    piexif.ImageIFD.Orientation: orientation,
                    piexif.ImageIFD.ImageDescription: b"PLANTED-DESCRIPTION",
                },
                "Exif": {
                    piexif.ExifIFD.DateTimeOriginal: b"2025:06:14 10:11:12",
                    piexif.ExifIFD.FocalLengthIn35mmFilm: 28,
                    piexif.ExifIFD.MakerNote: b"PLANTED-MAKERNOTE" * 4,
                    piexif.ExifIFD.BodySerialNumber: b"PLANTED-SERIAL",
                    piexif.ExifIFD.LensSerialNumber: b"PLANTED-LENS",
                    piexif.ExifIFD.CameraOwnerName: b"PLANTED-OWNER",
                },
                "GPS": {
                    piexif.GPSIFD.GPSLatitudeRef: b"N",
                    piexif.GPSIFD.GPSLatitude: ((48, 1), (12, 1), (3456, 100)),
                    piexif.GPSIFD.GPSLongitudeRef: b"W",
                    piexif.GPSIFD.GPSLongitude: ((9, 1), (30, 1), (1234, 100)),
                },
                "1st": {piexif.ImageIFD.Compression: 6},
                "thumbnail": thumb.getvalue(),
            }
        )
    )


def jpeg(pixels: UInt8 | None = None, *, seed: int = 0, quality: int = 92, **options: object) -> bytes:
    """JPEG bytes of a sheet with camera Exif."""
    options.setdefault("exif", exif_with_secrets())
    if pixels is None:
        return _sheet_as_jpeg(seed, quality, tuple(options.items()))
    return _encoded(pixels, quality, options)


@lru_cache(maxsize=64)
def _sheet_as_jpeg(seed: int, quality: int, options: tuple[tuple[str, object], ...]) -> bytes:
    return _encoded(_drawn(seed), quality, dict(options))


def _encoded(pixels: UInt8, quality: int, options: dict[str, object]) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality, **options)
    return out.getvalue()


def corners() -> Float64:
    """(4, 2) true corners of the sheet."""
    return CORNERS.copy()
