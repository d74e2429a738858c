"""One function and one row per output format: pixels, profile and metadata to the bytes of a file."""

import io
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO

import cv2
import numpy as np
import tifffile
from PIL import Image, ImageFile, PngImagePlugin

from autoprep.files import tiff as strips
from autoprep.files.formats import ENCODERS
from autoprep.imaging.arrays import AnyArray, Rows, greatest
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.imaging.units import MM_PER_INCH


@dataclass(frozen=True)
class Carried:
    """What goes into a file beside its pixels. Empty bytes are left out."""

    icc: bytes
    exif: bytes = b""
    xmp: bytes = b""
    iim_segment: bytes = b""
    iim: bytes = b""
    ppi: float | None = None
    texts: tuple[tuple[int, str], ...] = ()
    """(TIFF tag, text) pairs for TIFF, whose Exif rights live in its own directory."""


@dataclass(frozen=True)
class How:
    """How a file is coded: quality of lossy formats, progressive JPEG, and the compression of TIFF."""

    quality: int = 92
    progressive: bool = False
    compression: str = "deflate"


def encode(pixels: AnyArray, format_: str, carried: Carried, how: How | None = None) -> bytes:
    """Codes -> file bytes: (H, W, 3) uint8 or uint16; some formats also (H, W) grey and (H, W, 4) CMYK, uint8.

    Raises ValueError for what the format can't hold (see Encoder).
    """
    row = ENCODERS[format_]
    if pixels.dtype == np.uint16 and not row.deep:
        raise ValueError(f"{format_} holds 8 bits")
    if (pixels.ndim == 2 or pixels.shape[2] == 4) and not row.inks:
        raise ValueError(f"{format_} is written in RGB only")
    return row.encode(pixels, carried, how or How())


def jpeg(pixels: AnyArray, carried: Carried, how: How) -> bytes:
    """(H, W), (H, W, 3) or (H, W, 4) uint8 as JPEG."""
    out = io.BytesIO()
    options = _options(carried)
    if carried.ppi and _is_nearly_whole(carried.ppi):
        options["dpi"] = (round(carried.ppi), round(carried.ppi))  # JFIF holds whole numbers; Exif has the true one
    # 4:4:4: halved chroma turns one-pixel coloured lines to mud (CIEDE2000 16 instead of 0.5 on a red line).
    picture = (
        Image.fromarray(pixels, mode="CMYK") if pixels.ndim == 3 and pixels.shape[2] == 4 else Image.fromarray(pixels)
    )
    chroma = {"subsampling": 0} if picture.mode == "RGB" else {}
    with _room_for(3 * pixels.shape[0] * pixels.shape[1] + 65536):
        picture.save(out, "JPEG", quality=how.quality, progressive=how.progressive, optimize=True, **chroma, **options)
    return _insert_after_app_segments(out.getvalue(), carried.iim_segment)


_MOST_OFF = 0.01  # of a density, where JFIF and Exif would lay the picture out in two sizes


def _is_nearly_whole(ppi: float) -> bool:
    """Whether JFIF can say a density; where it can't, it says none, and Exif alone speaks."""
    return abs(round(ppi) - ppi) <= _MOST_OFF * ppi and round(ppi) < 65536


@contextmanager
def _room_for(size: int) -> Iterator[None]:
    """The library sizes its buffer for 4:2:0 and fails on busy 4:4:4 pictures unless told to make room.

    For this one picture: whatever it reads or writes afterwards would take as large a buffer too.
    """
    usual = ImageFile.MAXBLOCK
    ImageFile.MAXBLOCK = max(usual, size)
    try:
        yield
    finally:
        ImageFile.MAXBLOCK = usual


def _insert_after_app_segments(data: bytes, segment: bytes) -> bytes:
    at = 2
    while data[at] == 0xFF and 0xE0 <= data[at + 1] <= 0xEF:
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    return data[:at] + segment + data[at:]


def _options(carried: Carried) -> dict[str, object]:
    options: dict[str, object] = {"icc_profile": carried.icc}
    if carried.exif:
        options["exif"] = carried.exif
    if carried.xmp:
        options["xmp"] = carried.xmp
    return options


# Lossy WebP halves the chroma, always: one-pixel coloured lines lose theirs. Where the worst thousandth of pixels is
# off by so much (CIEDE2000; a line of the drawing, not the grain of the paper), it is written without loss, unless a
# lower quality says that bytes count more.
_LINES_LOST, _BYTES_COUNT_BELOW = 6.0, 90


def webp(pixels: AnyArray, carried: Carried, how: How) -> bytes:
    """(H, W, 3) uint8 as WebP, without loss where its lossy kind would cost a line."""
    options = _options(carried)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "WEBP", quality=how.quality, method=5, **options)
    if how.quality >= _BYTES_COUNT_BELOW and _worst_difference(pixels, out.getvalue()) > _LINES_LOST:
        out = io.BytesIO()
        Image.fromarray(pixels).save(out, "WEBP", lossless=True, quality=50, method=2, **options)
    return out.getvalue()


def _worst_difference(pixels: AnyArray, data: bytes) -> float:
    """The mean CIEDE2000 of the worst thousandth of pixels between a picture and what was written of it."""
    with Image.open(io.BytesIO(data)) as opened:
        written = np.asarray(opened.convert("RGB"))
    # Only pixels whose codes differ much can be among the worst.
    apart = greatest(cv2.absdiff(pixels, written))
    count = max(1, apart.size // 1000)
    worst = np.argpartition(apart.ravel(), -count)[-count:]
    one, two = (lab_from_linear(srgb_to_linear(p.reshape(-1, 3)[worst] / 255.0)) for p in (pixels, written))
    return float(ciede2000(one, two).mean())


def avif(pixels: AnyArray, carried: Carried, how: How) -> bytes:
    """(H, W, 3) uint8 as AVIF."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "AVIF", quality=how.quality, subsampling="4:4:4", **_options(carried))
    return out.getvalue()


def png(pixels: AnyArray, carried: Carried, _how: How) -> bytes:
    """(H, W, 3) uint8 or uint16 as PNG."""
    # The library drops XMP for PNG without a word; an iTXt chunk of this keyword is its place.
    if pixels.dtype == np.uint16:
        return _png16(pixels, carried)
    info = PngImagePlugin.PngInfo()
    if carried.xmp:
        info.add_itxt("XML:com.adobe.xmp", carried.xmp.decode("utf-8"))
    options = _options(carried)
    options.pop("xmp", None)
    if carried.ppi:
        options["dpi"] = (carried.ppi, carried.ppi)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", pnginfo=info, **options)
    return out.getvalue()


def _png16(pixels: AnyArray, carried: Carried) -> bytes:
    height, width = pixels.shape[:2]
    rows = pixels.astype(">u2").reshape(height, -1).view(np.uint8).reshape(height, -1)
    # Filter 2 (up): good on smooth art and simple enough to need no library.
    filtered = np.concatenate([rows[:1], rows[1:] - rows[:-1]])
    raw = np.concatenate([np.full((height, 1), 2, np.uint8), filtered], axis=1).tobytes()
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0))]
    chunks.append((b"iCCP", b"profile\0\0" + zlib.compress(carried.icc)))
    if carried.ppi:
        per_metre = round(carried.ppi / MM_PER_INCH * 1000)
        chunks.append((b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)))
    if carried.xmp:
        chunks.append((b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + carried.xmp))
    if carried.exif:
        chunks.append((b"eXIf", carried.exif.removeprefix(b"Exif\0\0")))
    chunks += [(b"IDAT", zlib.compress(raw, 6)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in chunks
    )


def tiff(pixels: AnyArray, carried: Carried, how: How) -> bytes:
    """(H, W), (H, W, 3) or (H, W, 4), uint8 or uint16, as TIFF."""
    out = io.BytesIO()
    write_tiff(out, Rows(pixels.shape, pixels.dtype, [pixels]), carried, how)
    return out.getvalue()


def write_tiff(file: BinaryIO, rows: Rows, carried: Carried, how: How) -> None:
    """TIFF into a file that can be read and sought in, while its rows are made."""
    extra: list[tuple[int, int, int, object, bool]] = []
    extra += [(tag, 2, 0, text.encode("utf-8", "replace"), True) for tag, text in carried.texts]
    if carried.xmp:
        extra.append((700, 1, len(carried.xmp), carried.xmp, True))
    if carried.iim:
        # As LONG, as its readers expect it; the bytes stand in their own order all the same.
        longs = np.frombuffer(carried.iim + b"\0" * (-len(carried.iim) % 4), ">u4")
        extra.append((33723, 4, len(longs), longs, True))
    density = (carried.ppi, carried.ppi) if carried.ppi else None
    if carried.exif:
        extra.append((strips.STANDS_IN, 4, 1, 0, True))
    packed = how.compression != "none"
    tifffile.imwrite(
        file,
        strips.coded_strips(rows, how.compression),
        shape=rows.shape,
        dtype=rows.dtype,
        photometric="minisblack" if len(rows.shape) == 2 else "separated" if rows.shape[2] == 4 else "rgb",
        compression={"deflate": "zlib", "lzw": "lzw", "none": None}[how.compression],
        predictor=packed,
        rowsperstrip=strips.rows_per_strip(rows) if packed else None,
        iccprofile=carried.icc,
        resolution=density,
        resolutionunit="INCH" if density else None,
        extratags=extra,
        metadata=None,
        software=False,
        byteorder=">",
    )
    if carried.exif:
        strips.add_camera_directory(file, carried.exif)
