"""TIFF pictures of more than 8 bits a channel, as scanners and programs for pictures write them, and less usual ones of
8.

The library that reads all other photos has no more than 8 bits of them or gives up, and the one of the computer vision
takes planes, extra channels and reversed greys for what they are not, without a word.
"""

import contextlib
import io
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import tifffile
from PIL import Image, UnidentifiedImageError

from autoprep.errors import PhotoError, TooLarge, Unreadable
from autoprep.files.camera import whole_number
from autoprep.files.tiff import is_picture, subfile_types
from autoprep.imaging.arrays import AnyArray, UInt16

_TOP = 65535
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _INKS = 0, 1, 2, 5  # TIFF 6.0, PhotometricInterpretation
_UNSIGNED, _SIGNED, _FLOAT = 1, 2, 3  # TIFF 6.0, SampleFormat
_ASSOCIATED, _UNASSOCIATED = 1, 2  # TIFF 6.0, ExtraSamples: alpha that the colours are multiplied with, or are not
_ALPHA = (_ASSOCIATED, _UNASSOCIATED)
_PLANAR = 2  # TIFF 6.0, PlanarConfiguration
_ORIENTATION, _ICC_PROFILE = 274, 34675
_INK_SET, _CMYK = 332, 1  # TIFF 6.0, section 16
_NOT_COMPRESSED = 1
_WEBP = 50001  # Compression; the other library opens it, and finds only then that its TIFF reader was built without
_MOST_SAMPLES = 6  # a pixel: colours, alpha and what scanners add (infrared)
_MOST_BYTES = 8  # a pixel of the largest picture that is read: four channels of 16 bits
_MOST_IN_TILE = 1 << 20  # pixels of a tile that may stand beyond a small picture
_BAND_ROWS = 256
# Sums that were rounded lie a hair outside; of a picture, one number in a thousand may lie farther (sharpened edges).
_HAIR, _STRAY = 0.01, 0.001
_SAID_FLOAT = "Its colours are floating-point numbers without a colour profile: 0 to 1 are taken as sRGB."


@dataclass(frozen=True)
class Deep:
    """(H, W, 3) uint16 codes as they are stored, over white, and the Exif orientation (1..8) that they still need.

    model: what the channels are, three times one grey, or (H, W, 4) inks; profile: the ICC profile, if any; told: what
    the artist should know.
    """

    codes: UInt16
    orientation: int
    model: Literal["rgb", "grey", "cmyk"]
    profile: bytes | None
    told: tuple[str, ...] = ()


def read_deep(data: bytes, max_pixels: int) -> Deep | None:
    """The picture of a TIFF of more than 8 bits a channel, or that the other library can't read; else None.

    Of RGB, grey (of either sense) and CMYK pictures, with or without alpha, in planes or pixels: whole numbers of up to
    32 bits from 0 to the most that they hold (TIFF 6.0), floating-point ones from 0 to 1 (TIFF Technical Note 3, 2005,
    from memory). Raises TooLarge, and Unreadable where nothing says what the numbers mean.
    """
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            number, page = _picture(file)
            _refuse_large(page, max_pixels)
            if _is_known(page) and (number is None or _is_ours(page) or not _opens(data)):
                return _decoded(page)
            if number is None:
                raise Unreadable(f"the picture in this TIFF stands below a smaller copy of it; {_SAVE_PLAIN}")
            return None
    except (PhotoError, MemoryError):  # the other library would need less, for it makes 8 bits of more
        raise
    except Exception:  # decoders raise a dozen different classes on damaged bytes; the other library has its say then
        return None


def picture_number(data: bytes) -> int:
    """Which page of a TIFF, from 0, is its picture: the first may be its thumbnail."""
    with contextlib.suppress(Exception), tifffile.TiffFile(io.BytesIO(data)) as file:
        return _picture(file)[0] or 0
    return 0


def _picture(file: tifffile.TiffFile) -> tuple[int | None, Any]:
    """The first page that is neither a smaller copy nor a mask, and its number; None for one below another page."""
    pages: Any = file.pages
    for number, page in enumerate(pages):
        if is_picture(*subfile_types(page.tags.valueof)):
            return number, page
    for page in pages:
        for below in page.pages or ():
            if is_picture(*subfile_types(below.tags.valueof)):
                return None, below
    return 0, pages[0]


def _refuse_large(page: Any, max_pixels: int) -> None:
    """A small file may stand for any number of zeros: nothing is decoded before this."""
    if page.imagewidth * page.imagelength > max_pixels:
        raise TooLarge(f"{page.imagewidth} x {page.imagelength} pixels are more than the limit of {max_pixels}")
    if page.nbytes > max_pixels * _MOST_BYTES:
        raise TooLarge(f"{page.nbytes // 1_000_000} MB of pixels are too many to be read; save it as 16-bit RGB")
    if page.tilewidth * page.tilelength > 4 * page.imagewidth * page.imagelength + _MOST_IN_TILE:
        raise TooLarge(f"its tiles of {page.tilewidth} x {page.tilelength} pixels are larger than the picture by far")


_SAVE_PLAIN = "save it as plain RGB with 8 or 16 bits, without compression"


def why_not(data: bytes) -> str:
    """Why a TIFF is not read here, in plain words, where that is how it stores its colours; else empty."""
    with contextlib.suppress(Exception), tifffile.TiffFile(io.BytesIO(data)) as file:
        page = _picture(file)[1]
        if _is_known(page) and int(page.compression) == _NOT_COMPRESSED:
            return ""
        depth = f"{int(page.samplesperpixel)} channels of {int(page.bitspersample)} bits"
        packed = "" if int(page.compression) == _NOT_COMPRESSED else f", packed as {_name(page.compression)}"
        return f"a TIFF of this kind ({_name(page.photometric)}, {depth}{packed}) can't be read; {_SAVE_PLAIN}"
    return ""


def _name(value: Any) -> str:
    return str(getattr(value, "name", f"number {value}"))


def _opens(data: bytes) -> bool:
    """Whether the other library knows what is stored; it decodes nothing for that."""
    try:
        with Image.open(io.BytesIO(data), formats=["TIFF"]):
            return True
    except UnidentifiedImageError:
        return False


def _is_ours(page: Any) -> bool:
    """Whether the other library opens a picture, but would have 8 bits of more, or stop at its alpha or packing."""
    alpha = [int(extra) for extra in page.extrasamples if int(extra) in _ALPHA]
    grey, planar = int(page.photometric) in (_WHITE_IS_ZERO, _BLACK_IS_ZERO), int(page.planarconfig) == _PLANAR
    stops = (_ASSOCIATED in alpha and (grey or planar)) or (bool(alpha) and grey and planar)
    return int(page.bitspersample) > 8 or stops or int(page.compression) == _WEBP


def _colours(kind: int) -> int:
    return {_RGB: 3, _INKS: 4}.get(kind, 1)


def _is_known(page: Any) -> bool:
    """Whether a page is a picture of these kinds; what the library makes of strange tags may be of any type."""
    kind, samples, extra = int(page.photometric), int(page.samplesperpixel), tuple(page.extrasamples)
    inks, form = kind == _INKS, int(page.sampleformat)
    return bool(
        kind in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _INKS)
        and page.axes in ("YX", "YXS", "SYX")
        and _colours(kind) <= samples <= _MOST_SAMPLES
        # What else stands beside a grey is a measurement as a rule, and no picture of a single colour.
        and (kind in (_RGB, _INKS) or samples == 1 or (samples == 2 and extra and int(extra[0]) in _ALPHA))
        and (int(page.tags.valueof(_INK_SET, _CMYK)) == _CMYK if inks else True)
        and form in ((_UNSIGNED,) if inks else (_UNSIGNED, _SIGNED, _FLOAT))
    )


def _decoded(page: Any) -> Deep:
    form = int(page.sampleformat)
    if form == _SIGNED:
        raise Unreadable(
            "this TIFF holds signed numbers, and nothing says which of them is black; save it as 16-bit RGB"
        )
    stored = page.asarray(maxworkers=1)
    pixels = stored[..., None] if stored.ndim == 2 else stored
    if int(page.planarconfig) == _PLANAR and page.axes == "SYX":
        pixels = np.moveaxis(pixels, 0, -1)
    kind = int(page.photometric)
    codes = _as_shown(pixels, kind, tuple(int(extra) for extra in page.extrasamples), int(page.bitspersample))
    profile = page.tags.valueof(_ICC_PROFILE)
    return Deep(
        codes=codes,
        orientation=whole_number(page.tags.valueof(_ORIENTATION, 1)) or 1,
        model="rgb" if kind == _RGB else "cmyk" if kind == _INKS else "grey",
        profile=bytes(profile) if profile else None,
        told=(_SAID_FLOAT,) if form == _FLOAT and not profile else (),
    )


def _as_shown(pixels: AnyArray, kind: int, extra: tuple[int, ...], bits: int) -> UInt16:
    """(H, W, S) samples as stored -> (H, W, 3) uint16 codes over white, black 0; of inks (H, W, 4), none 0."""
    colours = _colours(kind)
    channels, white = max(3, colours), 0 if kind in (_WHITE_IS_ZERO, _INKS) else _TOP
    if pixels.dtype == np.uint16 and bits == 16 and pixels.shape[2] == channels and pixels.flags.c_contiguous:
        return pixels  # a large one is not copied once more
    height, width = pixels.shape[:2]
    codes = np.empty((height, width, channels), np.uint16)
    alpha = next((k for k, what in enumerate(extra) if what in _ALPHA), None)
    strange = 0
    for top in range(0, height, _BAND_ROWS):
        band = pixels[top : top + _BAND_ROWS]
        strange += _out_of_range(band[..., :colours])
        shown = _sixteen(band[..., :colours], bits)
        if alpha is not None and colours + alpha < pixels.shape[2]:
            opaque = _sixteen(band[..., colours + alpha, None], bits)
            shown = _over(white, shown, opaque, extra[alpha] == _ASSOCIATED)
        codes[top : top + _BAND_ROWS] = _TOP - shown if kind == _WHITE_IS_ZERO else shown
    if strange > _STRAY * height * width * colours:
        raise Unreadable("the numbers in this TIFF go beyond 0 to 1, and nothing says which of them is white")
    return codes


def _out_of_range(values: AnyArray) -> int:
    """How many floating-point numbers are no shade between black and white."""
    if values.dtype.kind != "f":
        return 0
    return int(values.size - np.count_nonzero((values >= -_HAIR) & (values <= 1 + _HAIR)))


def _sixteen(values: AnyArray, bits: int) -> UInt16:
    """Whole numbers of so many bits, or floating-point ones 0..1 -> uint16, rounded to the nearest."""
    if values.dtype.kind == "f":
        shares = np.clip(np.nan_to_num(values.astype(np.float32)), 0, 1)
        return np.asarray(shares * _TOP + 0.5).astype(np.uint16)
    if bits == 16:
        return values.astype(np.uint16, copy=False)
    most = 2**bits - 1
    return np.asarray((values.astype(np.uint64) * _TOP + most // 2) // most).astype(np.uint16)


def _over(ground: int, colours: UInt16, opaque: UInt16, multiplied: bool) -> UInt16:
    """Colours with their alpha over a ground; multiplied: they have been multiplied with it (TIFF 6.0, section 18)."""
    share = opaque.astype(np.float32) / _TOP
    shown = colours.astype(np.float32) if multiplied else colours * share
    return np.minimum(shown + ground * (1 - share) + np.float32(0.5), _TOP).astype(np.uint16)
