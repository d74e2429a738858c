"""TIFF pictures of more than 8 bits a channel, as scanners and programs for pictures write them.

The library that reads all other photos has no more than 8 bits of them or gives up, and the one of the computer vision
takes planes, extra channels and reversed greys for what they are not, without a word.
"""

import contextlib
import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import tifffile

from autoprep.errors import PhotoError, TooLarge, Unreadable
from autoprep.imaging.arrays import AnyArray, UInt16

_TOP = 65535
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB = 0, 1, 2  # TIFF 6.0, PhotometricInterpretation
_UNSIGNED, _SIGNED, _FLOAT = 1, 2, 3  # TIFF 6.0, SampleFormat
_ASSOCIATED, _UNASSOCIATED = 1, 2  # TIFF 6.0, ExtraSamples: alpha that the colours are multiplied with, or are not
_PLANAR = 2  # TIFF 6.0, PlanarConfiguration
_ORIENTATION, _ICC_PROFILE = 274, 34675
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

    grey: the three channels are one; profile: the ICC profile, if any; told: what the artist should know.
    """

    codes: UInt16
    orientation: int
    grey: bool
    profile: bytes | None
    told: tuple[str, ...] = ()


def read_deep(data: bytes, max_pixels: int) -> Deep | None:
    """The first page of a TIFF of more than 8 bits a channel; None where it has fewer, or can't be read here.

    Of RGB and grey pictures, of either sense, with or without alpha, in planes or pixels: whole numbers of 9 to 32 bits
    from 0 to the most that they hold (TIFF 6.0), floating-point ones from 0 to 1 (TIFF Technical Note 3, 2005, from
    memory). Raises TooLarge, and Unreadable where nothing says what the numbers mean.
    """
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page: Any = file.pages[0]
            _refuse_large(page, max_pixels)
            return _decoded(page) if _is_deep(page) else None
    except PhotoError:
        raise
    except Exception:  # decoders raise a dozen different classes on damaged bytes; the other library has its say then
        return None


def _refuse_large(page: Any, max_pixels: int) -> None:
    """A small file may stand for any number of zeros: nothing is decoded before this."""
    if page.imagewidth * page.imagelength > max_pixels:
        raise TooLarge(f"{page.imagewidth} x {page.imagelength} pixels are more than the limit of {max_pixels}")
    if page.nbytes > max_pixels * _MOST_BYTES:
        raise TooLarge(f"{page.nbytes // 1_000_000} MB of pixels are too many to be read; save it as 16-bit RGB")
    if page.tilewidth * page.tilelength > 4 * page.imagewidth * page.imagelength + _MOST_IN_TILE:
        raise TooLarge(f"its tiles of {page.tilewidth} x {page.tilelength} pixels are larger than the picture by far")


def kind_of(data: bytes) -> str:
    """How a TIFF stores its colours, such as "CIELAB, 3 channels of 16 bits", where that is why it can't be read here;
    else empty.
    """
    with contextlib.suppress(Exception), tifffile.TiffFile(io.BytesIO(data)) as file:
        page: Any = file.pages[0]
        depth = f"{int(page.samplesperpixel)} channels of {int(page.bitspersample)} bits"
        return "" if _is_deep(page) else f"{page.photometric.name}, {depth}"
    return ""


def _is_deep(page: Any) -> bool:
    """Whether a page is a picture of these kinds; what the library makes of strange tags may be of any type."""
    kind, samples, extra = int(page.photometric), int(page.samplesperpixel), tuple(page.extrasamples)
    colours = 3 if kind == _RGB else 1
    return bool(
        int(page.bitspersample) > 8
        and kind in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB)
        and page.axes in ("YX", "YXS", "SYX")
        and colours <= samples <= _MOST_SAMPLES
        # What else stands beside a grey is a measurement as a rule, and no picture of a single colour.
        and (kind == _RGB or samples == 1 or (samples == 2 and extra and int(extra[0]) in (_ASSOCIATED, _UNASSOCIATED)))
        and int(page.sampleformat) in (_UNSIGNED, _SIGNED, _FLOAT)
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
    codes = _as_rgb(pixels, kind, tuple(int(extra) for extra in page.extrasamples), int(page.bitspersample))
    profile = page.tags.valueof(_ICC_PROFILE)
    return Deep(
        codes=codes,
        orientation=int(page.tags.valueof(_ORIENTATION, 1) or 1),
        grey=kind != _RGB,
        profile=bytes(profile) if profile else None,
        told=(_SAID_FLOAT,) if form == _FLOAT and not profile else (),
    )


def _as_rgb(pixels: AnyArray, kind: int, extra: tuple[int, ...], bits: int) -> UInt16:
    """(H, W, S) samples as stored -> (H, W, 3) uint16 codes over white, black 0."""
    colours = 3 if kind == _RGB else 1
    if pixels.dtype == np.uint16 and bits == 16 and pixels.shape[2] == 3 and pixels.flags.c_contiguous:
        return pixels  # a large one is not copied once more
    height, width = pixels.shape[:2]
    codes = np.empty((height, width, 3), np.uint16)
    alpha = next((k for k, what in enumerate(extra) if what in (_ASSOCIATED, _UNASSOCIATED)), None)
    strange = 0
    for top in range(0, height, _BAND_ROWS):
        band = pixels[top : top + _BAND_ROWS]
        strange += _out_of_range(band[..., :colours])
        shown = _sixteen(band[..., :colours], bits)
        if alpha is not None and colours + alpha < pixels.shape[2]:
            opaque = _sixteen(band[..., colours + alpha, None], bits)
            shown = _over(0 if kind == _WHITE_IS_ZERO else _TOP, shown, opaque, extra[alpha] == _ASSOCIATED)
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
