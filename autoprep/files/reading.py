"""Decoding a photo: format, orientation, colour profile. Runs only in worker processes."""

import contextlib
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import cast
from warnings import catch_warnings, simplefilter

import cv2
import numpy as np
import pillow_heif
from PIL import ExifTags, Image, UnidentifiedImageError

from autoprep.domain import PhotoFacts
from autoprep.errors import NotYetWhole, TooLarge, Unreadable, Unsupported, lacks_memory
from autoprep.files.camera import lost_of_exif, raw_facts, side_by_its_entry, told_by_camera, whole_number
from autoprep.files.coded import jpeg_kind, refuse_scans
from autoprep.files.colours import SAID_INKS, WIDE, Model, coloured, guessed, into_wide
from autoprep.files.containers import is_whole, sniff
from autoprep.files.damage import listened, refuse_damaged, suspicion
from autoprep.files.declared import Declared, declared, png_chunks
from autoprep.files.deep import Deep, picture_number, read_deep, why_not
from autoprep.files.spaces import SPACES
from autoprep.files.tiff import pages
from autoprep.imaging.arrays import AnyArray, Float32, UInt16
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.pixels import Photo

_PILLOW_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF", "AVIF")
pillow_heif.register_heif_opener()


def read_photo(data: bytes, max_pixels: int = 250_000_000) -> Photo:
    """Decode a photo: upright, at full size, with the way to linear light.

    Raises NotYetWhole, Unreadable, TooLarge or Unsupported.
    """
    kind = sniff(data)
    if kind is None:
        raise Unsupported("not a photo that can be read (JPEG, HEIC, PNG, TIFF, WebP, AVIF or camera RAW)")
    if not is_whole(data, kind):
        raise NotYetWhole("the file ends before the picture does")
    with catch_warnings():
        # The library warns of each entry of a damaged Exif, on the terminal; what matters of it is in the record.
        simplefilter("ignore", UserWarning)
        return _read_raw(data, max_pixels) if kind == "raw" else _read_pillow(data, kind, max_pixels)


def _read_pillow(data: bytes, kind: str, max_pixels: int) -> Photo:
    # The library's own bomb limit refuses real 200-megapixel phone photos; ours is explicit.
    Image.MAX_IMAGE_PIXELS = max_pixels
    try:
        deep = read_deep(data, max_pixels) if kind == "tiff" else None
        if kind == "jpeg":
            refuse_scans(data)
        if deep is not None:
            return _from_deep(deep, data)
        with Image.open(io.BytesIO(data), formats=_PILLOW_FORMATS) as image:
            if kind == "tiff":
                image.seek(picture_number(data))
            if image.width * image.height > max_pixels:
                raise TooLarge(f"{image.width} x {image.height} pixels are more than the limit of {max_pixels}")
            return _from_image(image, data, kind)
    except (TooLarge, Unreadable):
        raise
    except Image.DecompressionBombError as problem:
        raise TooLarge("the picture has more pixels than the limit (service.max_megapixels)") from problem
    except Exception as problem:  # decoders raise a dozen different classes on damaged bytes
        if lacks_memory(problem):
            raise MemoryError from problem
        raise Unreadable(_why_not(data, kind, problem)) from problem


def _why_not(data: bytes, kind: str, problem: Exception) -> str:
    how = why_not(data) if kind == "tiff" and isinstance(problem, UnidentifiedImageError) else ""
    coded = jpeg_kind(data) if kind == "jpeg" else ""
    how = f"a JPEG of this kind ({coded}) can't be read; save it as a usual JPEG, or a TIFF" if coded else how
    return how or "the picture can't be decoded; the file is damaged, so copy it again"


def _from_deep(deep: Deep, data: bytes) -> Photo:
    """The photo of a TIFF of more than 8 bits, or of a less usual kind."""
    exif, warnings = _exif_of_tiff(data), [*_said_of_pages(data), *deep.told]
    codes, model = _inks16(deep.codes, deep.profile, warnings) if deep.model == "cmyk" else (deep.codes, deep.model)
    stored = _Stored(codes, model, deep.orientation, deep.profile)
    return _photo(stored, data, "tiff", exif, declared(data, "tiff", exif), warnings)


def _inks16(codes: UInt16, profile: bytes | None, warnings: list[str]) -> tuple[UInt16, Model]:
    """(H, W, 4) codes of inks -> (H, W, 3) by their profile; without one that can be used, by a guess that is told."""
    if profile:
        with contextlib.suppress(Unreadable):
            return into_wide(codes, profile, "cmyk"), "wide"
    warnings.append(SAID_INKS)
    return guessed(codes), "guess"


def _exif_of_tiff(data: bytes) -> Image.Exif:
    """What the camera says in a TIFF, whether or not the library knows how its pixels are stored."""
    with contextlib.suppress(Exception), Image.open(io.BytesIO(data), formats=["TIFF"]) as image:
        exif = image.getexif()
        exif.get_ifd(ExifTags.IFD.Interop)  # and the camera's, which leads to it: they are kept
        return exif
    with contextlib.suppress(Exception):  # facts that can't be read are simply not known
        exif = Image.Exif()
        exif.load_from_fp(io.BytesIO(data))
        exif.get_ifd(ExifTags.IFD.Interop)  # and the camera's, which leads to it: they are kept
        return exif
    return Image.Exif()


def _said_of_pages(data: bytes) -> list[str]:
    count = pages(data)
    return [f"This file has {count} pages; only the first of them is used."] if count > 1 else []


def _said_of_frames(image: Image.Image, kind: str) -> list[str]:
    """Of a JPEG nothing: what phones put behind it is no picture of its own, but its depth or its light."""
    count = 1 if kind == "jpeg" else int(getattr(image, "n_frames", 1))
    return [f"This file holds {count} pictures, one after the other; only one of them is used."] if count > 1 else []


def _from_image(image: Image.Image, data: bytes, kind: str) -> Photo:
    turned = _turned_by_xmp(image)
    _leave_out_xmp(image)
    warnings = _said_of_pages(data) if kind == "tiff" else _said_of_frames(image, kind)
    # A thumbnail that comes first has what the camera says.
    exif = _exif_of_tiff(data) if kind == "tiff" and image.tell() else _exif_of(image, warnings)
    said = declared(data, kind, exif, image.info.get("nclx_profile"))
    orientation = whole_number(exif.get(ExifTags.Base.Orientation, 1))
    if orientation is None:
        warnings.append(_SAID_SIDEWAYS)
    if kind in ("heic", "tiff"):
        orientation = 1  # their readers have turned pixels and size already
    if turned > 1:
        orientation = turned
        warnings.append(_SAID_BY_XMP)
    profile = image.info.get("icc_profile")
    codes = _deep_png(data) if kind == "png" else None
    if kind == "heic":
        codes = _deep_heic(data, int(image.info.get("bit_depth", 8)))
    model: Model = "grey" if image.mode[0] in "1LI" else "rgb"
    heard: bytes | None = None
    if kind == "jpeg" and image.mode == "RGB":
        codes, heard = _jpeg_codes(data, image.size)
    if codes is None:
        image.load()
        codes, model = _codes8(image, profile, warnings)
        image.close()  # its own copy of the pixels goes
    return _photo(_Stored(codes, model, orientation or 1, profile, heard), data, kind, exif, said, warnings)


_TURNED = re.compile(rb"""\btiff:Orientation(?:\s*=\s*["']|>)\s*([1-8])\s*["'<]""")
_SIDE = re.compile(rb"""\b(?:exif:Pixel([XY])Dimension|tiff:Image(Width|Length))(?:\s*=\s*["']|>)\s*(\d{1,6})\b""")


def _turned_by_xmp(image: Image.Image) -> int:
    """The orientation (1..8) that the XMP of a JPEG without any Exif says; 0 where it says none.

    Not where it gives other sides than the picture has: then it was turned, or cut, since.
    """
    packet = image.info.get("xmp", b"")
    if image.format not in ("JPEG", "MPO") or "exif" in image.info or not isinstance(packet, bytes):
        return 0
    sides = [(x == b"X" or name == b"Width", int(number)) for x, name, number in _SIDE.findall(packet)]
    found = _TURNED.search(packet)
    return int(found[1]) if found and all(said == image.size[not wide] for wide, said in sides) else 0


_SAID_BY_XMP = (
    "this file has lost what the camera notes (Exif), and its XMP alone says which side is up; it was turned by that. "
    "If it was upright before, turn it back: “turn: left”, “right” or “upside down”"
)


def _leave_out_xmp(image: Image.Image) -> None:
    """Of all formats but JPEG, Exif alone says how a photo is turned; the library takes what XMP says where that says
    nothing.

    Programs that turn the pixels and drop Exif leave the packet beside it as it was.
    """
    if image.format == "PNG" and "exif" not in image.info:
        image.load()  # what is said may stand behind the pixels, and these are not forgiven
    for key in ("xmp", "XML:com.adobe.xmp"):
        image.info.pop(key, None)


def _exif_of(image: Image.Image, warnings: list[str]) -> Image.Exif:
    """What the camera says; nothing where that is damaged, for the picture beside it may be sound."""
    block = image.info.get("exif") or b""
    try:
        Image.Exif().load(image.info.get("exif", b""))  # of a JPEG the library hides that it can't
        exif = image.getexif()
        exif.get_ifd(ExifTags.IFD.Exif)  # it is kept; the file may be closed when it is asked for again
        if ExifTags.Base.Orientation not in exif and (side := side_by_its_entry(block)):
            exif[ExifTags.Base.Orientation] = side
        lost = lost_of_exif(exif, block, turned=image.format == "HEIF")
        warnings += [_SAID_PART_OF_EXIF.format(lost)] if lost else []
        return exif
    except Exception:  # the library raises a dozen different classes
        exif, side = Image.Exif(), side_by_its_entry(block)
        exif.update({ExifTags.Base.Orientation: side} if side else {})
        warnings.append(_SAID_PART_OF_EXIF.format("all but which side is up") if side else _SAID_NO_EXIF)
        return exif


_SAID_NO_EXIF = "what the camera notes in this file (its date, which side is up) can't be read; the picture can"
_SAID_PART_OF_EXIF = "a part of what the camera notes in this file is damaged: {} can't be read; the picture can"
_SAID_SIDEWAYS = "which side of this photo is up is said in a way that can't be read; it is left as it is stored"


@dataclass(frozen=True)
class _Stored:
    """(H, W, 3) codes as stored, what they are, the orientation that they still need, their profile, and what a decoder
    said.
    """

    codes: AnyArray
    model: Model
    orientation: int
    profile: bytes | None
    heard: bytes | None = None


def _photo(stored: _Stored, data: bytes, kind: str, exif: Image.Exif, said: Declared, warnings: list[str]) -> Photo:
    if kind == "jpeg":
        refuse_damaged(stored.codes, data, stored.heard)
    suspect = suspicion(stored.codes, data, kind, stored.heard)
    colours = coloured(stored.codes, stored.model, stored.profile, said, warnings)
    codes = upright(colours.codes, stored.orientation)
    facts = PhotoFacts(
        format=kind,
        width_px=codes.shape[1],
        height_px=codes.shape[0],
        profile_name=colours.name,
        warnings=tuple(warnings),
        suspect=suspect,
    )
    return Photo(codes, told_by_camera(facts, exif, data), colours.tables, colours.matrix)


def _deep_png(data: bytes) -> AnyArray | None:
    """(H, W, 3) uint16 RGB of a 16-bit PNG, else None: the other library opens those of colour as 8 bit without a word.

    The header has been checked against the pixel limit before these bytes reach this decoder.
    """
    if len(data) <= 24 or data[24] != 16:
        return None
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if decoded is None or decoded.dtype != np.uint16:
        return None
    if decoded.ndim == 2:
        clear = png_chunks(data).get(b"tRNS", b"")  # this decoder heeds it in colour only
        if len(clear) == 2:
            decoded[decoded == int.from_bytes(clear, "big")] = 65535
        return np.repeat(decoded[..., None], 3, axis=-1)
    if decoded.shape[2] == 4:
        return _over_white(decoded[..., [2, 1, 0, 3]])
    return np.ascontiguousarray(decoded[..., 2::-1])


def _over_white(codes: AnyArray) -> AnyArray:
    """(H, W, 4) uint16 codes with alpha -> (H, W, 3)."""
    weight = codes[..., 3:].astype(np.float32) / 65535
    return (codes[..., :3] * weight + 65535 * (1 - weight) + 0.5).astype(np.uint16)


def _deep_heic(data: bytes, bits: int) -> AnyArray | None:
    """(H, W, 3) uint16 codes of a HEIC of more than 8 bits, else None; its reader has turned it."""
    if not 8 < bits <= 16:
        return None
    image = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    stored = np.asarray(image)
    if stored.dtype != np.uint16:
        return None
    # They stand in the upper bits: white would be a hair grey.
    codes = ((stored >> (16 - bits)).astype(np.uint32) * 65535 // (2**bits - 1)).astype(np.uint16)
    if codes.ndim == 2:
        return np.repeat(codes[..., None], 3, axis=-1)
    return _over_white(codes) if codes.shape[2] == 4 else codes


def _jpeg_codes(data: bytes, size: tuple[int, int]) -> tuple[AnyArray | None, bytes | None]:
    """(H, W, 3) uint8 codes as stored, not turned, and what the decoder said of them; twice None where it gives up.

    This library makes the same pixels of a colour JPEG as the other one, in three bytes a pixel instead of four and two
    copies of them, and tells of disturbed data while it is at it.
    """
    coded = np.frombuffer(data, np.uint8)
    codes, heard = listened(lambda: cv2.imdecode(coded, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION))
    if codes is None or codes.shape != (size[1], size[0], 3):
        return None, None
    return np.asarray(codes), heard


def _codes8(image: Image.Image, profile: bytes | None, warnings: list[str]) -> tuple[AnyArray, Model]:
    """(H, W, 3) uint8 codes, or uint16 ones where a profile of inks has been applied; and what they are."""
    if image.mode[0] in "IF":  # the library would cut their numbers off at 255
        raise Unreadable("the picture's numbers can't be told; save it as RGB with 8 or 16 bits")
    if image.mode in ("CMYK", "LAB"):
        return _converted(image, profile, warnings)
    grey = image.mode in ("1", "L", "LA")
    if image.has_transparency_data:
        ground = Image.new("RGBA", image.size, "white")
        ground.alpha_composite(image.convert("RGBA"))
        image = ground
    return _in_bands(image if image.mode == "RGB" else image.convert("RGB")), "grey" if grey else "rgb"


def _converted(image: Image.Image, profile: bytes | None, warnings: list[str]) -> tuple[AnyArray, Model]:
    """The codes of a picture of four inks or in CIELAB, once and for all in a space of RGB."""
    if profile and image.mode == "CMYK":
        with contextlib.suppress(Unreadable):
            return into_wide(np.asarray(image), profile, "cmyk"), "wide"
    if image.mode == "CMYK":
        warnings.append(SAID_INKS)
    elif profile and profile[16:20] != b"Lab ":  # one of CIELAB says no more than the pixels
        warnings.append("its colour profile is damaged and was left out")
    return np.asarray(image.convert("RGB")), "guess" if image.mode == "CMYK" else "srgb"


_BAND_ROWS = 256


def _in_bands(image: Image.Image) -> AnyArray:
    """(H, W, 3) uint8 of an RGB image. All at once, the library would make two copies beside its own."""
    width, height = image.size
    codes = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, _BAND_ROWS):
        bottom = min(top + _BAND_ROWS, height)
        codes[top:bottom] = np.asarray(image.crop((0, top, width, bottom)))
    return codes


def upright(codes: AnyArray, orientation: int) -> AnyArray:
    """Turn (H, W, 3) pixels so that the Exif orientation 1..8 becomes 1; other values change nothing."""
    turns: dict[int, Callable[[AnyArray], AnyArray]] = {
        2: lambda a: cv2.flip(a, 1),
        3: lambda a: cv2.rotate(a, cv2.ROTATE_180),
        4: lambda a: cv2.flip(a, 0),
        5: _across,
        6: lambda a: cv2.rotate(a, cv2.ROTATE_90_CLOCKWISE),
        7: lambda a: _across(cv2.rotate(a, cv2.ROTATE_180)),
        8: lambda a: cv2.rotate(a, cv2.ROTATE_90_COUNTERCLOCKWISE),
    }
    turn = turns.get(orientation)
    return np.ascontiguousarray(codes if turn is None else turn(codes))


def _across(codes: AnyArray) -> AnyArray:
    """Mirrored along the diagonal from the top left."""
    return codes.transpose(1, 0, 2)


def _read_raw(data: bytes, max_pixels: int) -> Photo:
    import rawpy  # the library loads slowly and few photos need it

    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            if raw.sizes.width * raw.sizes.height > max_pixels:
                raise TooLarge(f"{raw.sizes.width} x {raw.sizes.height} pixels are more than the limit")
            codes = raw.postprocess(
                output_bps=16,
                use_camera_wb=True,
                no_auto_bright=True,
                gamma=(1, 1),
                # Wide enough for whatever the camera saw; sRGB would cut its reds and oranges off.
                output_color=rawpy.ColorSpace.ProPhoto,
            )
    except TooLarge:
        raise
    except rawpy.LibRawUnsufficientMemoryError as problem:
        raise MemoryError from problem
    except Exception as problem:
        raise Unreadable("the RAW file can't be developed; it is damaged, or its camera is not known here") from problem
    linear = np.repeat(np.linspace(0, 1, 65536, dtype=np.float32)[None], 3, axis=0)
    facts = PhotoFacts("raw", codes.shape[1], codes.shape[0], profile_name="camera RAW, developed linear")
    return Photo(np.asarray(codes), replace(facts, **raw_facts(data)), linear, WIDE.to_srgb())


def preview_jpeg(photo: Photo, long_px: int, quality: int = 85) -> bytes:
    """A small sRGB JPEG of a photo as it was shot, without metadata, for proof pages."""
    factor = 1  # of those copies that are made for measuring
    while max(photo.size_px) // (2 * factor) >= long_px:
        factor *= 2
    small = photo.reduced(factor).linear()
    height, width = small.shape[:2]
    ratio = min(1.0, long_px / max(width, height))
    small = cast(
        Float32,
        cv2.resize(small, (round(width * ratio), round(height * ratio)), interpolation=cv2.INTER_AREA),
    )
    out = io.BytesIO()
    Image.fromarray(quantise8(encode_fast(small))).save(
        out, "JPEG", quality=quality, subsampling=0, icc_profile=SPACES["srgb"].profile()
    )
    return out.getvalue()
