"""Photos of less usual kinds come in whole and deep, or it is said what is guessed and why they can't be read."""

import io
import struct
import zlib
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import ExifTags, Image
from PIL.PngImagePlugin import PngInfo

from autoprep.errors import Unreadable
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray
from tests.files.test_reading import beyond, coded, in_planes, paged, picture, saved, tiff
from tests.profiles import table_profile


@pytest.mark.parametrize("deep", [False, True])
@pytest.mark.parametrize("mask", [False, True])
def test_a_thumbnail_or_mask_that_comes_first_is_not_the_picture(mask: bool, deep: bool) -> None:
    """TIFF 6.0, NewSubfileType: bit 0 is a smaller copy of another page, bit 2 a mask."""
    out = io.BytesIO()
    codes = picture().astype(np.uint16) * 257 if deep else picture()
    with tifffile.TiffWriter(out) as file:
        options: dict[str, Any] = {"metadata": None, "extratags": [(271, "s", 0, "Saltmere Optics", True)]}
        if mask:
            file.write(picture()[..., 0] > 90, photometric=4, subfiletype=4, **options)
        else:
            file.write(codes[::4, ::4], photometric="rgb", subfiletype=1, **options)
        file.write(codes, photometric="rgb", metadata=None)
    photo = read_photo(out.getvalue())
    assert np.array_equal(photo.codes >> (8 * (photo.codes.dtype != np.uint8)), picture())
    assert photo.facts.warnings == ()
    assert photo.facts.device[0] == "Saltmere Optics"


@pytest.mark.parametrize("deep", [False, True])
def test_a_picture_below_its_thumbnail_is_found(deep: bool) -> None:
    codes = picture().astype(np.uint16) * 257 if deep else picture()
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as file:
        file.write(codes[::4, ::4], photometric="rgb", subfiletype=1, subifds=1, metadata=None)
        file.write(codes, photometric="rgb", metadata=None)
    assert np.abs(coded(read_photo(out.getvalue()).linear()) - picture()).max() < 0.1


def test_of_nothing_but_small_copies_the_first_is_used() -> None:
    assert read_photo(paged(1, 1)).full_px == (64, 48)


def inks(dtype: type[np.unsignedinteger], light: int = 0) -> AnyArray:
    """The picture as three inks, and a key of so many hundredths."""
    codes: AnyArray = np.concatenate([255 - picture(), np.full((48, 64, 1), light, np.uint8)], axis=-1)
    return codes.astype(dtype) * (257 if dtype is np.uint16 else 1)


@pytest.mark.parametrize("planar", [False, True])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_inks_without_a_profile_are_a_guess_that_is_told(dtype: type[np.unsignedinteger], planar: bool) -> None:
    for light in (0, 90):
        stored = inks(dtype, light)
        options: dict[str, Any] = {"planarconfig": "separate"} if planar else {}
        photo = read_photo(tiff(in_planes(stored) if planar else stored, photometric="separated", **options))
        assert photo.codes.dtype == dtype
        assert np.abs(coded(photo.linear()) - picture() * (1 - light / 255)).max() < 1.01
        assert photo.facts.profile_name == "sRGB (assumed)"
        assert "colours are a guess" in photo.facts.warnings[0]


def test_inks_of_sixteen_bits_keep_them() -> None:
    ramp = np.zeros((48, 640, 4), np.uint16)
    ramp[..., 3] = np.linspace(20000, 21000, 640)[None]
    profile = table_profile(b"CMYK", lambda code: (1 - code[:, :3]) * (1 - code[:, 3:]) @ beyond.T, grid=9)
    for options in ({}, {"iccprofile": profile}):
        photo = read_photo(tiff(ramp, photometric="separated", **options))
        assert len(np.unique(photo.linear()[..., 1])) > 300
        assert len(photo.facts.warnings) == (0 if options else 1)
    both = [tiff(inks(dtype, 30), photometric="separated", iccprofile=profile) for dtype in (np.uint8, np.uint16)]
    one, two = (read_photo(data).linear() for data in both)
    assert np.abs(one - two).max() < 0.01


def test_inks_of_no_known_set_and_inks_beside_alpha() -> None:
    with_alpha = np.concatenate([inks(np.uint8), np.full((48, 64, 1), 128, np.uint8)], axis=-1)
    found = read_photo(tiff(with_alpha, photometric="separated", extrasamples=["unassalpha"]))
    share = 128 / 255
    assert np.abs(coded(found.linear()) - (picture() * share + 255 * (1 - share))).max() < 1.1
    other = [(332, "H", 1, 2, True)]  # InkSet: not CMYK
    with pytest.raises(Unreadable, match=r"SEPARATED, 5 channels of 8 bits"):
        read_photo(tiff(with_alpha, photometric="separated", extrasamples=["unassalpha"], extratags=other))


@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize("extra", ["assocalpha", "unassalpha"])
@pytest.mark.parametrize("channels", [1, 3])
def test_eight_bits_with_alpha_are_read_however_they_are_stored(channels: int, extra: str, planar: str) -> None:
    colours = picture()[..., :channels]
    alpha = np.linspace(40, 255, 64).astype(np.uint8)[None, :, None] * np.ones((48, 1, 1), np.uint8)
    share = alpha / 255
    over_white = colours * share + 255 * (1 - share)
    first = np.rint(colours * share).astype(np.uint8) if extra == "assocalpha" else colours
    stored = np.concatenate([first, alpha], axis=-1)
    photometric = "rgb" if channels == 3 else "minisblack"
    pixels = in_planes(stored) if planar == "separate" else stored
    data = tiff(pixels, photometric=photometric, extrasamples=[extra], planarconfig=planar)
    assert np.abs(coded(read_photo(data).linear()) - over_white).max() < 1.6


def test_a_packing_that_one_library_knows_is_enough_and_one_that_none_knows_is_named() -> None:
    data = tiff(picture(), photometric="rgb", compression="jpegxl")
    assert np.abs(coded(read_photo(data).linear()) - picture()).max() < 6
    unknown = bytearray(tiff(picture(), photometric="rgb"))
    at = unknown.index(struct.pack("<HHI", 259, 3, 1))
    struct.pack_into("<H", unknown, at + 8, 60001)
    with pytest.raises(
        Unreadable, match=r"RGB, 3 channels of 8 bits, packed as number 60001.+ can't be read; save it as plain"
    ):
        read_photo(bytes(unknown))


@pytest.mark.parametrize("channels", [3, 4])
def test_a_tiff_packed_as_webp_is_read(channels: int) -> None:
    out = io.BytesIO()
    codes = np.dstack([picture(), np.full(picture().shape[:2], 255, np.uint8)])[..., :channels]
    more: dict[str, Any] = {"extrasamples": ["unassalpha"]} if channels == 4 else {}
    tifffile.imwrite(
        out, codes, photometric="rgb", compression="webp", compressionargs={"lossless": True, "level": 100}, **more
    )
    assert np.abs((read_photo(out.getvalue()).codes // 257).astype(int) - picture()).max() <= 1


@pytest.mark.parametrize("format_", ["WEBP", "PNG", "HEIF", "AVIF"])
def test_of_a_file_with_several_pictures_it_is_told_that_one_is_used(format_: str) -> None:
    pillow_heif.register_heif_opener()
    pages = [Image.fromarray(picture()), Image.fromarray(picture()[::-1].copy()), Image.fromarray(255 - picture())]
    one, three = io.BytesIO(), io.BytesIO()
    pages[0].save(one, format_, quality=95)
    pages[0].save(three, format_, quality=95, save_all=True, append_images=pages[1:])
    first, photo = read_photo(one.getvalue()), read_photo(three.getvalue())
    assert first.facts.warnings == ()
    assert photo.facts.warnings == ("This file holds 3 pictures, one after the other; only one of them is used.",)
    assert np.abs(photo.codes.astype(int) - first.codes).mean() < 3


def test_what_a_phone_puts_behind_a_jpeg_is_not_told() -> None:
    out = io.BytesIO()
    Image.fromarray(picture()).save(out, "MPO", save_all=True, append_images=[Image.fromarray(picture()[::2, ::2])])
    assert read_photo(out.getvalue()).facts.warnings == ()


@pytest.mark.parametrize("mode", ["RGB;16", "RGBA;16", "L;16"])
def test_a_heic_of_ten_bits_keeps_them(mode: str) -> None:
    ramp = np.tile(np.linspace(20000, 24000, 640).astype(np.uint16), (480, 1))
    ramp[:100] = 65535
    channels = {"RGB;16": 3, "RGBA;16": 4, "L;16": 1}[mode]
    stored = np.repeat(ramp[..., None], channels, axis=-1)
    if channels == 4:
        stored[..., 3] = 65535
    out = io.BytesIO()
    pillow_heif.from_bytes(mode=mode, size=(640, 480), data=stored.tobytes()).save(out, quality=100, chroma=444)
    photo = read_photo(out.getvalue())
    assert photo.codes.dtype == np.uint16
    assert len(np.unique(photo.codes[200:, :, 1])) > 50  # 63 of 10 bits, 16 of 8
    assert np.median(photo.codes[:90]) == 65535
    assert np.abs(photo.codes[200:].astype(int) - stored[200:, :, :1]).max() < 300


def test_a_heic_of_ten_bits_stands_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    out = io.BytesIO()
    deep = picture().astype(np.uint16) * 257
    heif = pillow_heif.from_bytes(mode="RGB;16", size=(64, 48), data=deep.tobytes())
    heif.save(out, quality=95, chroma=444, exif=exif.tobytes())
    photo = read_photo(out.getvalue())
    assert photo.codes.dtype == np.uint16
    assert photo.full_px == (48, 64)
    assert np.abs(coded(photo.linear()) - np.rot90(picture(), -1)).max() < 6


def test_a_deep_png_with_alpha_keeps_its_colours_over_white() -> None:
    alpha = np.full((48, 64, 1), 65535, np.uint16)
    alpha[:20] = 32768
    stored = np.concatenate([picture()[..., ::-1].astype(np.uint16) * 257, alpha], axis=-1)
    codes = read_photo(cv2.imencode(".png", stored)[1].tobytes()).codes
    assert np.array_equal(codes[20:], picture()[20:].astype(np.uint16) * 257)
    assert np.abs(codes[:20] / 257 - (picture()[:20] + 255.0) / 2).max() < 0.1


def test_clear_pixels_of_a_deep_grey_png_lie_on_white() -> None:
    grey = picture()[..., 0].astype(np.uint16) * 257
    grey[10:20] = 4660
    plain = cv2.imencode(".png", grey)[1].tobytes()
    body = b"tRNS" + struct.pack(">H", 4660)
    chunk = struct.pack(">I", 2) + body + struct.pack(">I", zlib.crc32(body))
    codes = read_photo(plain[:33] + chunk + plain[33:]).codes
    assert (codes[10:20] == 65535).all()
    assert np.array_equal(codes[20:, :, 2], grey[20:])


_SAID_TURNED = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:tiff="http://ns.adobe.com/tiff/1.0/" tiff:Orientation="6"/></rdf:RDF></x:xmpmeta>'
)


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "TIFF", "AVIF", "HEIF"])
@pytest.mark.parametrize("exif", [None, 1, 8], ids=["no Exif", "upright", "turned by Exif"])
def test_exif_alone_says_how_a_photo_is_turned(format_: str, exif: int | None) -> None:
    """CSS Images 3, `image-orientation`, goes by it too (from memory). XMP is left by what has turned the pixels."""
    said, text, out = Image.Exif(), PngInfo(), io.BytesIO()
    said[ExifTags.Base.Orientation] = exif or 1
    text.add_itxt("XML:com.adobe.xmp", _SAID_TURNED.decode())
    packet = _SAID_TURNED.replace(b"6", b"1") if format_ == "HEIF" else _SAID_TURNED  # its writer turns by the packet
    tags = {700: packet} | ({274: exif} if exif else {})
    of_its_own: dict[str, dict[str, Any]] = {"PNG": {"pnginfo": text}, "TIFF": {"tiffinfo": tags}}
    beside = of_its_own.get(format_, {"xmp": packet})
    if exif and format_ != "TIFF":
        beside["exif"] = said.tobytes()
    Image.fromarray(picture()).save(out, format_, **beside)
    data = out.getvalue().replace(packet, _SAID_TURNED)
    assert _SAID_TURNED in data
    by_xmp = format_ == "JPEG" and exif is None  # which `test_xmp_turns_a_jpeg_without_exif` looks at closely
    assert read_photo(data).full_px == ((48, 64) if exif == 8 or by_xmp else (64, 48))


@pytest.mark.parametrize(
    ("turn", "more", "turned"),
    [
        (1, b"", False),
        (3, b"", False),
        (6, b"", True),
        (8, b' tiff:ImageWidth="64" tiff:ImageLength="48"', True),
        (6, b' exif:PixelXDimension="64" exif:PixelYDimension="48"', True),
        (
            6,
            b' exif:PixelXDimension="48" exif:PixelYDimension="64"',
            False,
        ),  # turned since
    ],
)
def test_xmp_turns_a_jpeg_without_exif(turn: int, more: bytes, turned: bool) -> None:
    out = io.BytesIO()
    said = b'tiff:Orientation="%d"%s' % (turn, more)
    pixels = picture()
    Image.fromarray(pixels).save(out, "JPEG", quality=95, xmp=_SAID_TURNED.replace(b'tiff:Orientation="6"', said))
    photo = read_photo(out.getvalue())
    assert photo.full_px == ((48, 64) if turned else (64, 48))
    assert len(photo.facts.warnings) == (turned or turn == 3)
    upright = {6: pixels[::-1].swapaxes(0, 1), 8: pixels[:, ::-1].swapaxes(0, 1), 3: pixels[::-1, ::-1]}
    if photo.facts.warnings:
        assert np.abs(photo.codes.astype(int) - upright[turn]).mean() < 12
        assert "XMP alone says which side is up" in photo.facts.warnings[0]


def test_xmp_behind_the_pixels_of_a_png_turns_nothing_either() -> None:
    plain, body = saved("PNG"), b"iTXtXML:com.adobe.xmp" + bytes(5) + _SAID_TURNED
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    assert read_photo(plain[:-12] + chunk + plain[-12:]).full_px == (64, 48)


@pytest.mark.parametrize(("kind", "value", "turned"), [(5, (6, 1), True), (5, (6, 0), False), (2, b"6\0\0\0", True)])
def test_an_orientation_of_another_type_costs_no_photo(kind: int, value: Any, turned: bool) -> None:
    held = struct.pack("<I", 26) if kind == 5 else value
    count = 1 if kind == 5 else 2
    block = b"II*\0" + struct.pack("<IH", 8, 1) + struct.pack("<HHI", 0x0112, kind, count) + held + bytes(4)
    block += struct.pack("<II", *value) if kind == 5 else b""
    segment = b"Exif\0\0" + block
    plain = saved("JPEG")
    photo = read_photo(plain[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + plain[2:])
    assert photo.full_px == ((48, 64) if turned else (64, 48))
    assert len(photo.facts.warnings) == (0 if turned else 1)


def test_a_scan_with_alpha_and_infrared_is_read_over_white() -> None:
    alpha = np.full((48, 64, 1), 128, np.uint8)
    stored = np.concatenate([picture(), alpha, picture()[..., :1]], axis=-1).astype(np.uint16) * 257
    photo = read_photo(tiff(stored, photometric="rgb", extrasamples=["unassalpha", "unspecified"]))
    assert photo.codes.dtype == np.uint16
    share = 128 / 255
    assert np.abs(coded(photo.linear()) - (picture() * share + 255 * (1 - share))).max() < 0.1


def test_a_hole_in_floating_point_numbers_is_black() -> None:
    stored = (picture() / 255).astype(np.float32)
    stored[7, 9] = np.nan
    with np.errstate(invalid="raise"):
        codes = read_photo(tiff(stored, photometric="rgb")).codes
    assert (codes[7, 9] == 0).all()


@pytest.mark.parametrize(
    ("marker", "bits", "said"),
    [
        (0xC3, 8, "lossless"),
        (0xC0, 12, "12 bits"),
        (0xC5, 12, "in layers, 12 bits"),
        (0xC0, 0, "0 bits"),
    ],
)
def test_a_jpeg_that_no_reader_knows_is_not_called_damaged(marker: int, bits: int, said: str) -> None:
    out = io.BytesIO()
    Image.fromarray(np.arange(48 * 64 * 3, dtype=np.uint8).reshape(48, 64, 3)).save(out, "JPEG")
    data = bytearray(out.getvalue())
    at = data.index(b"\xff\xc0")
    data[at + 1], data[at + 4] = marker, bits
    with pytest.raises(Unreadable, match=rf"^a JPEG of this kind \({said}\) can't be read; save it as a usual JPEG"):
        read_photo(bytes(data))


def test_a_usual_jpeg_that_can_not_be_decoded_is_damaged() -> None:
    out = io.BytesIO()
    Image.fromarray(np.arange(48 * 64 * 3, dtype=np.uint8).reshape(48, 64, 3)).save(out, "JPEG")
    data = bytearray(out.getvalue())
    at = data.index(b"\xff\xc0")
    data[at + 9] = 9  # of how many colours
    with pytest.raises(Unreadable, match="the file is damaged, so copy it again"):
        read_photo(bytes(data))
