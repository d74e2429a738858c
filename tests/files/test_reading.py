"""Every format, orientation and profile comes in as the same linear light."""

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image, ImageCms

from autoprep.domain import PhotoFacts
from autoprep.errors import NotYetWhole, TooLarge, Unreadable, Unsupported
from autoprep.files.containers import is_whole, sniff
from autoprep.files.icc import read_matrix_profile
from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray, Float32
from autoprep.imaging.colour import D65_TO_D50, SRGB_TO_XYZ, ciede2000, lab_from_linear
from autoprep.imaging.transfer import linear_to_srgb, srgb_to_linear
from tests import photos
from tests.faults.bombs import jpeg_of_scans
from tests.profiles import grey_profile, table_profile

DEBIAN_PROFILES = Path("/usr/share/color/icc/colord")


def picture() -> AnyArray:
    """A smooth (48, 64, 3) uint8 picture without symmetry."""
    y, x = np.mgrid[0:48, 0:64]
    return np.stack([40 + 3 * x, 30 + 4 * y, 200 - 2 * x - y], axis=-1).clip(0, 255).astype(np.uint8)


def coded(linear: Float32) -> AnyArray:
    return linear_to_srgb(linear) * 255


def saved(format_: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture()).save(out, format_, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    ("format_", "kind", "options", "tolerance"),
    [
        ("JPEG", "jpeg", {"quality": 98, "subsampling": 0}, 4),
        ("PNG", "png", {}, 0.01),
        ("TIFF", "tiff", {"compression": "tiff_lzw"}, 0.01),
        ("WEBP", "webp", {"lossless": True}, 0.01),
        ("AVIF", "avif", {"quality": 95, "subsampling": "4:4:4"}, 5),
        ("HEIF", "heic", {"quality": 95, "chroma": 444}, 5),
    ],
)
def test_formats(format_: str, kind: str, options: dict[str, object], tolerance: float) -> None:
    data = saved(format_, **options)
    assert sniff(data) == kind
    photo = read_photo(data)
    assert photo.full_px == (64, 48)
    assert photo.facts.format == kind
    assert np.abs(coded(photo.linear()) - picture()).max() <= tolerance


def paged(*kinds: int, deep: bool = False) -> bytes:
    """A TIFF with a page of each kind (NewSubfileType), every one half as large as the one before."""
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as file:
        for number, kind in enumerate(kinds):
            codes = picture()[:: 2**number, :: 2**number]
            codes = codes.astype(np.uint16) * 257 if deep else codes
            file.write(codes, photometric="rgb", subfiletype=kind, metadata=None)
    return out.getvalue()


@pytest.mark.parametrize("deep", [False, True])
def test_of_several_pages_the_first_is_used_and_that_is_told(deep: bool) -> None:
    facts = read_photo(paged(2, 2, 2, deep=deep)).facts
    assert (facts.width_px, facts.height_px) == (64, 48)
    assert facts.warnings == ("This file has 3 pages; only the first of them is used.",)


def test_smaller_copies_of_a_page_are_no_pages() -> None:
    assert read_photo(paged(0)).facts.warnings == ()
    assert read_photo(paged(0, 1, 1)).facts.warnings == ()
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as file:
        file.write(picture(), photometric="rgb", metadata=None)
        file.write(picture()[..., 0] > 90, photometric=4, subfiletype=4, metadata=None)  # which parts are meant
    assert read_photo(out.getvalue()).facts.warnings == ()
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as file:  # a pyramid: its levels lie below the page
        file.write(picture(), photometric="rgb", subifds=2, metadata=None)
        for step in (2, 4):
            file.write(picture()[::step, ::step], photometric="rgb", metadata=None)
    assert read_photo(out.getvalue()).facts.warnings == ()


@pytest.mark.parametrize("format_", ["png", "tiff"])
def test_sixteen_bits_stay_sixteen(format_: str) -> None:
    deep = picture().astype(np.uint16) * 257 + 77
    if format_ == "png":
        data = cv2.imencode(".png", deep[..., ::-1])[1].tobytes()
    else:
        out = io.BytesIO()
        tifffile.imwrite(out, deep, photometric="rgb")
        data = out.getvalue()
    photo = read_photo(data)
    assert photo.codes.dtype == np.uint16
    assert np.abs(linear_to_srgb(photo.linear()) * 65535 - deep).max() < 3


def tiff(codes: AnyArray, **options: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, codes, metadata=None, **options)
    return out.getvalue()


def in_planes(codes: AnyArray) -> AnyArray:
    return np.ascontiguousarray(np.moveaxis(codes, -1, 0))


@pytest.mark.parametrize("options", [{}, {"compression": "lzw"}, {"tile": (16, 16)}, {"byteorder": ">"}])
def test_a_deep_scan_in_planes_is_the_one_in_pixels(options: dict[str, object]) -> None:
    """TIFF 6.0, PlanarConfiguration 2: all of red, then all of green, then all of blue."""
    deep = picture().astype(np.uint16) * 257 + 77
    data = tiff(in_planes(deep), photometric="rgb", planarconfig="separate", **options)
    photo = read_photo(data)
    assert np.array_equal(photo.codes, deep)
    assert photo.full_px == (64, 48)


@pytest.mark.parametrize("bits", [8, 12, 16, 32])
@pytest.mark.parametrize(("sense", "sign"), [("minisblack", 1), ("miniswhite", -1)])
def test_grey_scans_of_either_sense_and_any_depth_are_one_picture(sense: str, sign: int, bits: int) -> None:
    """TIFF 6.0, PhotometricInterpretation 0: zero is white. The most that so many bits hold is the other end."""
    grey, most = picture()[..., 0], 2**bits - 1
    whole = np.rint(grey / 255 * most).astype({8: np.uint8, 32: np.uint32}.get(bits, np.uint16))
    stored = whole if sign > 0 else (most - whole).astype(whole.dtype)
    options = {"bitspersample": bits} if bits == 12 else {}
    found = coded(read_photo(tiff(stored, photometric=sense, **options)).linear())
    assert np.abs(found - grey[..., None]).max() < 0.1


@pytest.mark.parametrize(
    ("dtype", "planar"),
    [(np.uint8, "contig"), (np.uint16, "contig"), (np.uint16, "separate"), (np.float32, "contig")],
)
def test_a_fourth_channel_is_taken_for_what_it_is(dtype: type, planar: str) -> None:
    """TIFF 6.0, ExtraSamples: 0 nothing that is known (an infrared scan), 1 alpha that the colours are multiplied with,
    2 alpha that they are not.
    """
    top = 1.0 if dtype is np.float32 else float(np.iinfo(dtype).max)
    colours, alpha = picture() / 255, np.linspace(0, 1, 64)[None, :, None] * np.ones((48, 1, 1))
    over_white = colours * alpha + 1 - alpha
    for extra, first, wanted in (
        ("unspecified", colours, colours),
        ("assocalpha", colours * alpha, over_white),
        ("unassalpha", colours, over_white),
    ):
        stored = np.concatenate([first, alpha], axis=-1) * top
        stored = (stored if dtype is np.float32 else np.rint(stored)).astype(dtype)
        pixels = stored if planar == "contig" else in_planes(stored)
        data = tiff(pixels, photometric="rgb", extrasamples=[extra], planarconfig=planar)
        # In 8 bits, colours that were multiplied with little alpha are no finer than that.
        tolerance = 2.1 if dtype is np.uint8 else 0.02
        assert np.abs(coded(read_photo(data).linear()) - wanted * 255).max() < tolerance, extra


@pytest.mark.parametrize("dtype", [np.float16, np.float32, np.float64])
def test_floating_point_scans_run_from_0_to_1(dtype: type) -> None:
    shades: AnyArray = (picture() / 255).astype(dtype)
    for stored, photometric in ((shades, "rgb"), (shades[..., 0], "minisblack")):
        photo = read_photo(tiff(stored, photometric=photometric))
        wanted = stored if stored.ndim == 3 else stored[..., None]
        assert np.abs(coded(photo.linear()) - wanted.astype(float) * 255).max() < 0.01
        assert "floating-point" in photo.facts.warnings[0]
    with_profile = tiff(shades, photometric="rgb", iccprofile=SPACES["srgb"].profile())
    assert read_photo(with_profile).facts.warnings == ()


@pytest.mark.parametrize(
    ("stored", "photometric", "said"),
    [
        (picture()[..., 0].astype(np.float32), "minisblack", "which of them is white"),
        (np.full((48, 64), np.nan, np.float32), "minisblack", "which of them is white"),
        (picture()[..., 0].astype(np.int16), "minisblack", "which of them is black"),
        (picture().astype(np.uint16), "cielab", "CIELAB, 3 channels of 16 bits"),
    ],
)
def test_numbers_that_nobody_explains_are_no_black_picture(stored: AnyArray, photometric: str, said: str) -> None:
    with pytest.raises(Unreadable, match=said):
        read_photo(tiff(stored, photometric=photometric))


def test_a_deep_scan_is_measured_before_it_is_decoded() -> None:
    data = tiff(picture().astype(np.float32) / 255, photometric="rgb", compression="deflate")
    assert read_photo(data, max_pixels=2 * 48 * 64).full_px == (64, 48)
    for limit, said in ((48 * 64 - 1, "64 x 48 pixels"), (48 * 64, "16-bit RGB")):
        with pytest.raises(TooLarge, match=said):
            read_photo(data, max_pixels=limit)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_tiles_that_are_larger_than_the_picture_by_far_are_refused(dtype: type) -> None:
    """Every decoder makes room for a whole tile first, and 200 bytes may ask for gigabytes."""
    data = bytearray(tiff(picture().astype(dtype), photometric="rgb", tile=(64, 64), compression="deflate"))
    (first,) = struct.unpack_from("<I", data, 4)
    for entry in range(first + 2, first + 2 + 12 * struct.unpack_from("<H", data, first)[0], 12):
        if struct.unpack_from("<H", data, entry)[0] == 322:  # TileWidth
            struct.pack_into("<HII", data, entry + 2, 4, 1, 1 << 22)
    with pytest.raises(TooLarge, match="tiles of 4194304 x 64"):
        read_photo(bytes(data))


def test_a_deep_scan_tells_its_camera_and_pages_like_any_other() -> None:
    deep = picture().astype(np.uint16) * 257
    for dtype in (np.uint16, np.uint32):  # the second is opened by one library alone
        stored = deep.astype(dtype) * (65537 if dtype is np.uint32 else 1)
        named = tiff(stored, photometric="rgb", extratags=[(271, "s", 0, "Saltmere Optics", True)])
        assert read_photo(named).facts.device[0] == "Saltmere Optics"


def oriented(stored: AnyArray, orientation: int, container: str) -> bytes:
    """The stored pixels with the tag, in a container of 8 bits or, where its name says so, 16."""
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = orientation
    if container == "TIFF 16":
        tag = [(0x0112, "H", 1, orientation, True)]
        tifffile.imwrite(out, stored.astype(np.uint16) * 257, photometric="rgb", extratags=tag, metadata=None)
    elif container == "PNG 16":
        plain = cv2.imencode(".png", stored[..., ::-1].astype(np.uint16) * 257)[1].tobytes()
        body = b"eXIf" + exif.tobytes().removeprefix(b"Exif\0\0")
        chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
        out.write(plain[:33] + chunk + plain[33:])  # after the header, of 25 bytes, and the signature, of 8
    else:
        fine: dict[str, dict[str, object]] = {
            "JPEG": {"quality": 98, "subsampling": 0},
            "AVIF": {"quality": 95, "subsampling": "4:4:4"},
            "WEBP": {"lossless": True},
        }
        Image.fromarray(stored).save(out, container, exif=exif, **fine.get(container, {}))
    return out.getvalue()


@pytest.mark.parametrize("container", ["JPEG", "PNG", "PNG 16", "TIFF", "TIFF 16", "WEBP", "AVIF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientations(orientation: int, container: str) -> None:
    """Exif 2.32, tag 0x0112, and TIFF 6.0 for the same tag: what the stored pixels must go through to stand upright."""
    upright = picture()
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),
        7: np.rot90(upright.transpose(1, 0, 2), 2),
        8: np.rot90(upright, -1),
    }[orientation]
    photo = read_photo(oriented(np.ascontiguousarray(stored), orientation, container))
    assert photo.full_px == (64, 48)
    assert np.abs(coded(photo.linear()) - upright).max() <= (6 if container == "AVIF" else 4)


def test_a_wide_gamut_photo_keeps_its_colours() -> None:
    """Display P3 red is outside sRGB: the linear values say so instead of being clipped or dulled."""
    out = io.BytesIO()
    Image.new("RGB", (16, 16), (255, 0, 0)).save(out, "PNG", icc_profile=SPACES["display-p3"].profile())
    red = read_photo(out.getvalue()).linear()[8, 8]
    assert red == pytest.approx([1.2249, -0.0420, -0.0196], abs=2e-3)  # CSS Color 4 conversions


@pytest.mark.skipif(not DEBIAN_PROFILES.is_dir(), reason="needs Debian's colord-data")
@pytest.mark.parametrize(
    ("name", "rgb", "expected"),
    [
        ("SwappedRedAndGreen.icc", (200, 30, 30), (30, 200, 30)),
        ("AdobeRGB1998.icc", (200, 100, 50), (227, 100, 42)),
        ("AdobeRGB1998.icc", (100, 150, 200), (66, 151, 203)),
        ("ProPhotoRGB.icc", (128, 128, 128), (146, 146, 146)),
    ],
)
def test_embedded_profiles_of_debian(name: str, rgb: tuple[int, ...], expected: tuple[int, ...]) -> None:
    """Values computed with lcms from Debian's colord-data 1.4.6, relative colorimetric."""
    out = io.BytesIO()
    Image.new("RGB", (8, 8), rgb).save(out, "PNG", icc_profile=(DEBIAN_PROFILES / name).read_bytes())
    assert coded(read_photo(out.getvalue()).linear()[4, 4]) == pytest.approx(expected, abs=1)


@pytest.mark.parametrize("space", list(SPACES))
def test_our_profiles_mean_the_same_to_lcms(space: str) -> None:
    """A second reader (lcms through Pillow) opens them and agrees with our arithmetic."""
    data = SPACES[space].profile()
    assert int.from_bytes(data[:4], "big") == len(data)
    assert data[36:40] == b"acsp"
    assert data[68:80].hex() == "0000f6d6000100000000d32d"  # ICC.1 7.2.16: the D50 PCS illuminant
    parsed = read_matrix_profile(data)
    assert parsed is not None
    source = ImageCms.ImageCmsProfile(io.BytesIO(data))
    transform = ImageCms.buildTransform(
        source, ImageCms.createProfile("sRGB"), "RGB", "RGB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    for rgb in ((200, 100, 50), (30, 180, 90), (128, 128, 128), (90, 90, 200)):
        theirs = np.asarray(ImageCms.applyTransform(Image.new("RGB", (1, 1), rgb), transform))[0, 0]
        linear = parsed.tables(256)[[0, 1, 2], rgb]
        ours = linear_to_srgb(np.clip(parsed.to_srgb @ linear, 0, 1)) * 255
        assert ours == pytest.approx(theirs, abs=1)


def shades() -> AnyArray:
    """(48, 64) uint16: a grey ramp over the whole range."""
    return np.linspace(0, 65535, 48 * 64).reshape(48, 64).astype(np.uint16)


@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2])
def test_a_grey_scan_is_as_light_as_its_profile_says(gamma: float) -> None:
    """ICC.1:2022, 8.4.3: kTRC leads from codes to light; lcms agrees, but for the dark, where its tables
    of 8 bits are coarse.
    """
    for deep in (True, False):
        codes = shades() if deep else (shades() >> 8).astype(np.uint8)
        photo = read_photo(tiff(codes, photometric="minisblack", iccprofile=grey_profile(gamma)))
        assert photo.facts.warnings == ()
        assert photo.facts.profile_name == "made here"
        wanted = (codes / np.iinfo(codes.dtype).max) ** (round(gamma * 256) / 256)
        assert np.abs(photo.linear() - wanted[..., None]).max() < 1e-3
    theirs = ImageCms.profileToProfile(
        Image.fromarray((shades() >> 8).astype(np.uint8)),
        ImageCms.ImageCmsProfile(io.BytesIO(grey_profile(gamma))),
        ImageCms.createProfile("sRGB"),
        outputMode="RGB",
    )
    assert theirs is not None
    assert np.abs(coded(photo.linear()) - np.asarray(theirs))[12:].max() < 1.1


def test_grey_profiles_that_are_no_plain_curve_to_light_go_through_lcms() -> None:
    """In CIELAB a curve leads to lightness (ICC.1:2022, F.2): half of it is a luminance of .184."""
    codes = np.where(shades() > 30000, 32768, 0).astype(np.uint16)
    of_lightness = grey_profile(1.0, b"Lab ")
    of_tables = table_profile(b"GRAY", lambda code: np.repeat(code**2.2, 3, axis=1), grid=255)
    for profile, wanted in ((of_lightness, 0.1842), (of_tables, 0.5**2.2)):
        photo = read_photo(tiff(codes, photometric="minisblack", iccprofile=profile))
        assert photo.facts.warnings == ()
        assert photo.linear()[-1, -1] == pytest.approx([wanted] * 3, abs=3e-3)


def test_a_colour_scan_with_a_grey_profile_is_told() -> None:
    assert "does not describe RGB" in read_photo(saved("PNG", icc_profile=grey_profile())).facts.warnings[0]


def wide_table() -> bytes:
    """A profile of tables for codes of Display P3, its curve a power of 2.2."""
    return table_profile(b"RGB ", lambda code: code**2.2 @ SPACES["display-p3"].to_srgb().T.astype(float), grid=33)


@pytest.mark.parametrize("deep", [False, True])
def test_a_profile_of_tables_means_the_same_to_another_binding_of_lcms(deep: bool) -> None:
    """Pillow's, of 8 bits and into sRGB: where that holds a colour, both are it (CIEDE2000)."""
    codes = picture().astype(np.uint16) * 257 if deep else picture()
    photo = read_photo(tiff(codes, photometric="rgb", iccprofile=wide_table()))
    assert photo.codes.dtype == np.uint16
    theirs = ImageCms.profileToProfile(
        Image.fromarray(picture()),
        ImageCms.ImageCmsProfile(io.BytesIO(wide_table())),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.PERCEPTUAL,
        outputMode="RGB",
    )
    assert theirs is not None
    held = (np.asarray(theirs) > 8).all(-1) & (np.asarray(theirs) < 247).all(-1)
    assert held.mean() > 0.5
    one, two = lab_from_linear(photo.linear()), lab_from_linear(srgb_to_linear(np.asarray(theirs) / 255))
    apart = ciede2000(one, two)[held]
    assert apart.mean() < 0.3
    assert apart.max() < 1.5


def test_a_profile_of_tables_costs_neither_colours_nor_bits() -> None:
    ramp = np.linspace(20000, 21000, 48 * 64).reshape(48, 64).astype(np.uint16)
    codes = np.stack([np.full_like(ramp, 65535), np.zeros_like(ramp), np.zeros_like(ramp)], axis=-1)
    codes[24:] = ramp[24:, :, None]
    linear = read_photo(tiff(codes, photometric="rgb", iccprofile=wide_table())).linear()
    assert linear[2, 2] == pytest.approx([1.2249, -0.0420, -0.0196], abs=4e-3)  # CSS Color 4: red of Display P3
    assert len(np.unique(linear[24:, :, 1])) > 400  # 500 codes of 16 bits, two of 8


def test_four_inks_with_a_profile_keep_their_cyan() -> None:
    """Cyan of presses lies outside sRGB."""
    inks = table_profile(b"CMYK", lambda code: (1 - code[:, :3]) * (1 - code[:, 3:]) @ beyond.T, grid=9)
    out = io.BytesIO()
    Image.new("CMYK", (16, 16), (255, 0, 0, 0)).save(out, "TIFF", icc_profile=inks)
    photo = read_photo(out.getvalue())
    assert photo.facts.warnings == ()
    assert photo.linear()[8, 8] == pytest.approx(beyond @ (0, 1, 1), abs=6e-3)
    assert photo.linear()[8, 8, 0] < -0.1


beyond: AnyArray = np.array([[1.15, -0.15, 0], [0, 1, 0], [0, 0, 1.0]])


def test_a_damaged_profile_is_told_and_taken_as_srgb() -> None:
    photo = read_photo(saved("PNG", icc_profile=b"garbage" * 40))
    assert "profile" in photo.facts.warnings[0]
    assert np.abs(coded(photo.linear()) - picture()).max() < 0.01


@pytest.mark.parametrize(("profile", "told"), [("LAB", 0), ("sRGB", 1)])
def test_a_picture_in_cielab_is_told_of_a_profile_only_where_that_is_of_something_else(profile: Any, told: int) -> None:
    out = io.BytesIO()
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile(profile)).tobytes()
    Image.new("LAB", (40, 30), (180, 128, 128)).save(out, "TIFF", icc_profile=icc)
    assert len(read_photo(out.getvalue()).facts.warnings) == told


def test_camera_facts_are_read_and_the_position_is_not() -> None:
    facts = read_photo(photos.jpeg()).facts
    assert facts.focal_mm35 == 28
    assert facts.taken_at == "2025-06-14T10:11:12"
    assert "48" not in repr(facts)
    assert facts.device == ("Saltmere Optics", "PLANTED-MODEL", "")
    assert not facts.composite


@pytest.mark.parametrize(
    ("said", "taken"),
    [
        ("2025:06:14 10:11:12", "2025-06-14T10:11:12"),
        ("2025-06-14T10:11:12Z", "2025-06-14T10:11:12"),  # as some programs write it
        ("2026:13:45 99:99:99", None),
        ("2026:06:31 10:00:00", None),
        ("0000:00:00 00:00:00", None),
        ("2026:06:14-10:31:02", "2026-06-14T10:31:02"),
        ("2026-W24-7 10:31:02", None),
        ("    :  :     :  :  ", None),
        ("2026:06:14", None),
        ("2026:11:20 10:11", "2026-11-20T10:11:00"),  # as scanners write it
        ("2026/11/20 10:11:12", "2026-11-20T10:11:12"),
        ("2026: 1: 5  9:05:03", "2026-01-05T09:05:03"),
        ("2026:11:20 10:11:12.34", "2026-11-20T10:11:12"),
        ("2026:11:20 10:111:12", None),
        ("20/11/2026 10:11:12", None),
        ("2026:11:20 24:00:00", None),
    ],
)
def test_a_date_that_no_calendar_has_is_none(said: str, taken: str | None) -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = said
    facts = read_photo(saved("JPEG", exif=exif.tobytes())).facts
    assert facts.taken_at == taken
    assert facts.warnings == ()


@pytest.mark.parametrize(
    ("said", "unset"),
    [
        ("1970:01:01 00:00:00", "1970-01-01"),
        ("1969:12:31 19:00:00", "1969-12-31"),
        ("1980:01:01 00:12:40", "1980-01-01"),
        ("2000:01:01 00:00:07", "2000-01-01"),
        ("2000:01:02 00:00:07", ""),
        ("0001:01:01 00:00:00", "0001-01-01"),
    ],
)
def test_a_clock_that_was_never_set_tells_no_date_and_that_is_told(said: str, unset: str) -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = said
    facts = read_photo(saved("JPEG", exif=exif.tobytes())).facts
    assert (facts.taken_at is None) == bool(unset)
    assert [unset in warning for warning in facts.warnings] == [True] * bool(unset)
    exif[ExifTags.Base.DateTime] = "2026:06:16 12:00:00"  # another clock, of a program that saved it
    facts = read_photo(saved("JPEG", exif=exif.tobytes())).facts
    assert facts.taken_at == ("2026-06-16T12:00:00" if unset else "2000-01-02T00:00:07")
    assert facts.warnings == ()


def with_exif(format_: str, exif: bytes) -> bytes:
    """A picture with these bytes for its Exif, whatever they are."""
    if format_ != "PNG":
        return saved(format_, exif=b"Exif\0\0" + exif if format_ == "JPEG" else exif)
    data = saved(format_)
    chunk = struct.pack(">I", len(exif)) + b"eXIf" + exif + struct.pack(">I", zlib.crc32(b"eXIf" + exif))
    return data[:33] + chunk + data[33:]


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("exif", [bytes(40), b"II*\0", b"XX*\0\x08\0\0\0", b"II+\0\x08\0\0\0\x10" + bytes(7)])
def test_a_picture_whose_exif_is_damaged_is_read_and_that_is_told(format_: str, exif: bytes) -> None:
    facts = read_photo(with_exif(format_, exif)).facts
    assert (facts.width_px, facts.height_px, facts.taken_at) == (64, 48, None)
    assert len(facts.warnings) == 1
    assert "can't be read; the picture can" in facts.warnings[0]


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_the_library_says_nothing_of_damaged_exif_on_the_terminal(
    format_: str, recwarn: pytest.WarningsRecorder
) -> None:
    beyond = struct.pack("<HHII", 0x010F, 2, 9999, 8)  # a maker's name that goes on behind the end of all
    facts = read_photo(with_exif(format_, b"II*\0\x08\0\0\0\x01\0" + beyond + bytes(4))).facts
    assert (facts.width_px, facts.height_px) == (64, 48)
    assert not [str(warning.message) for warning in recwarn]


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(("kind", "side"), [("H", 6), ("I", 8), ("H", 0), ("H", 9), ("b", 6)])
def test_which_side_is_up_is_known_where_only_that_is_whole(format_: str, order: str, kind: str, side: int) -> None:
    """Of a block whose head is damaged the library reads nothing, and the photo lay on its side."""
    value = struct.pack(f"{order}{kind}", side).ljust(4, b"\0")
    entry = struct.pack(f"{order}HHI", 0x0112, {"H": 3, "I": 4, "b": 6}[kind], 1) + value
    block = {"<": b"II", ">": b"MM"}[order] + b"xx" + struct.pack(f"{order}IH", 8, 1) + entry + bytes(4)
    facts = read_photo(with_exif(format_, block)).facts
    turned = kind != "b" and 1 <= side <= 8
    assert (facts.width_px, facts.height_px) == ((48, 64) if turned else (64, 48))
    assert ("all but which side is up" in facts.warnings[0]) == turned


def cut_short(format_: str, kept: float) -> PhotoFacts:
    """What is read of a picture that lies on its side, of whose Exif so much is there: the date stands last."""
    exif = Image.Exif()
    exif.update({ExifTags.Base.Make: "Saltmere Optics", ExifTags.Base.Orientation: 6, ExifTags.Base.Software: "x" * 40})
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = _FIRST
    whole = exif.tobytes().removeprefix(b"Exif\0\0")
    return read_photo(with_exif(format_, whole[: round(kept * len(whole))])).facts


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize(
    ("kept", "lost"),
    [(0.1, "its date and which side is up"), (0.3, "its date"), (0.6, "its date"),
     (0.95, "its date"), (1.0, "")],
)  # fmt: skip
def test_what_is_lost_with_a_part_of_the_exif_is_told(format_: str, kept: float, lost: str) -> None:
    facts = cut_short(format_, kept)
    assert format_ == "HEIF" or (facts.width_px == 48) == ("side" not in lost)
    assert facts.taken_at == (None if lost else "2026-06-14T10:31:02")
    told = lost.removesuffix(" and which side is up") if format_ == "HEIF" else lost  # its reader turns it
    assert [warning.split("damaged: ")[1].split(" can't")[0] for warning in facts.warnings] == [told] * bool(told)


_FIRST, _SECOND, _LAST = "2026:06:14 10:31:02", "2026:06:15 11:00:00", "2026:06:16 12:00:00"


@pytest.mark.parametrize(
    ("said", "taken", "offset"),
    [
        ({0x9003: _FIRST, 0x9011: "+01:00", 0x9010: "-05:00"}, "2026-06-14T10:31:02", "+01:00"),
        ({0x9003: _FIRST, 0x9010: "-05:00", 0x9012: "+02:00"}, "2026-06-14T10:31:02", ""),
        ({0x9004: _SECOND, 0x9012: "+02:00", 0x9011: "+01:00"}, "2026-06-15T11:00:00", "+02:00"),
        ({0x9004: _SECOND, 0x9010: "-05:00"}, "2026-06-15T11:00:00", ""),
        ({0x9003: "0000:00:00 00:00:00", 0x9011: "+01:00", 0x9004: _SECOND}, "2026-06-15T11:00:00", ""),
        ({0x9010: "-05:00", 0x9011: "+01:00"}, "2026-06-16T12:00:00", "-05:00"),
        ({0x9011: "+01:00"}, "2026-06-16T12:00:00", ""),
        ({0x9010: "+01:00 "}, "2026-06-16T12:00:00", "+01:00"),
        ({0x9010: "+14:00"}, "2026-06-16T12:00:00", "+14:00"),
        ({0x9010: "+99:99"}, "2026-06-16T12:00:00", ""),
        ({0x9010: "+02:75"}, "2026-06-16T12:00:00", ""),
        ({0x9010: "Z"}, "2026-06-16T12:00:00", "+00:00"),
        ({0x9010: "   :  "}, "2026-06-16T12:00:00", ""),
    ],
)
def test_a_clock_goes_with_its_own_offset(said: dict[int, str], taken: str, offset: str) -> None:
    """Exif 2.32: OffsetTimeOriginal is of DateTimeOriginal, OffsetTimeDigitized of DateTimeDigitized, and so on."""
    exif = Image.Exif()
    exif[ExifTags.Base.DateTime] = _LAST
    exif.get_ifd(ExifTags.IFD.Exif).update(said)
    facts = read_photo(saved("JPEG", exif=exif.tobytes())).facts
    assert (facts.taken_at, facts.taken_offset) == (taken, offset)


@pytest.mark.parametrize(("value", "several"), [(0, False), (1, False), (2, True), (3, True)])
def test_a_picture_of_several_shots_and_its_lens_are_known(value: int, several: bool) -> None:
    """Exif 2.32, CompositeImage: 2 and 3 are made of several; a name of a lens is one short line, whatever it holds."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif).update({0xA460: value, ExifTags.Base.LensModel: "SO-1 back\x07 camera " * 9})
    facts = read_photo(saved("JPEG", exif=exif.tobytes())).facts
    assert facts.composite == several
    assert facts.device[2].startswith("SO-1 back camera SO-1")
    assert len(facts.device[2]) == 80


@pytest.mark.parametrize("code", ["utf-8", "latin-1"])
@pytest.mark.parametrize("model", ["M\u00f6we X", "\u7ea2\u7c73 Note", "SO-1"])
def test_a_cameras_name_is_read_in_the_code_that_it_is_written_in(model: str, code: str) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Model] = model.encode(code, "replace")
    told = read_photo(saved("JPEG", exif=exif.tobytes())).facts.device[1]
    assert told == model.encode(code, "replace").decode(code)


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "AVIF", "HEIF"])
def test_no_truncation_passes(format_: str) -> None:
    data = saved(format_)
    for cut in np.random.default_rng(0).integers(20, len(data) - 3, 60):
        assert not is_whole(data[:cut], sniff(data[:cut]))
        with pytest.raises((NotYetWhole, Unreadable)):
            read_photo(data[:cut])
    assert is_whole(data, sniff(data))


def test_the_end_of_a_small_picture_inside_a_jpeg_is_not_its_own() -> None:
    """Cameras keep one in the Exif block, whole; the photo around it may still be on its way."""
    plain = saved("JPEG")
    inner = b"Exif\0\0" + plain
    data = plain[:2] + b"\xff\xe1" + (len(inner) + 2).to_bytes(2, "big") + inner + plain[2:]
    assert is_whole(data, "jpeg")
    for cut in range(len(plain) + 20, len(data) - 1, 37):
        assert not is_whole(data[:cut], "jpeg"), cut


def test_bytes_after_a_jpeg_do_no_harm() -> None:
    """Motion photos and gain maps append data after the end-of-image marker."""
    assert read_photo(saved("JPEG") + b"\xff\xd8\xff" + b"x" * 5000).full_px == (64, 48)


def test_reserved_space_is_not_a_photo_yet() -> None:
    data = photos.jpeg()
    assert not is_whole(data[:60_000] + b"\0" * 200_000, "jpeg")


def test_what_is_no_photo_is_told() -> None:
    with pytest.raises(Unsupported, match="not a photo"):
        read_photo(b"hello, this is a letter and no picture at all")
    with pytest.raises(Unreadable):
        read_photo(saved("PNG")[:60] + b"\x00" * 30 + saved("PNG")[90:])


def test_a_bomb_is_refused_from_its_header() -> None:
    with pytest.raises(TooLarge):
        read_photo(saved("PNG"), max_pixels=1000)


def test_a_jpeg_of_very_many_scans_is_refused() -> None:
    bomb = jpeg_of_scans(400, 300, 600)
    scans = jpeg_of_scans(400, 300, 1).count(b"\xff\xda")  # nothing else is in it that could look like one
    with pytest.raises(TooLarge, match=f"coded in {scans + 599} scans"):
        read_photo(bomb)
    assert read_photo(jpeg_of_scans(400, 300, 501 - scans)).facts.width_px == 400


def test_scans_are_counted_in_the_picture_alone() -> None:
    beside = photos.jpeg()[:2] + b"\xff\xe5" + (2002).to_bytes(2, "big") + b"\xff\xda" * 1000 + photos.jpeg()[2:]
    assert read_photo(beside + b"\xff\xda" * 1000).facts.width_px == photos.SIZE[0]
    assert read_photo(photos.jpeg() + jpeg_of_scans(400, 300, 600)).facts.width_px == photos.SIZE[0]


def test_transparency_lies_on_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(out, "PNG")
    assert coded(read_photo(out.getvalue()).linear()) == pytest.approx(255)


def test_a_reduced_copy_averages_linear_light() -> None:
    board = np.indices((64, 64)).sum(axis=0)[..., None] % 2 * np.full(3, 255)
    out = io.BytesIO()
    Image.fromarray(board.astype(np.uint8)).save(out, "PNG")
    small = read_photo(out.getvalue()).reduced(2)
    assert small.size_px == (32, 32)
    assert small.linear() == pytest.approx(0.5, abs=1e-3)


def small_dng(
    width: int = 128,
    height: int = 96,
    primaries: AnyArray = SRGB_TO_XYZ,
    blue: float = 0.25,
    neutral: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> tuple[bytes, AnyArray]:
    """A camera RAW file (DNG 1.4: one colour-filter picture) and the linear scene that it holds, by these primaries.

    neutral: what the camera saw of white.
    """
    y, x = np.mgrid[0:height, 0:width]
    scene = np.stack([0.2 + 0.5 * x / width, 0.3 + 0.3 * y / height, np.full((height, width), blue)], axis=-1)
    mosaic = np.empty((height, width))
    for row, col, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[row::2, col::2] = scene[row::2, col::2, channel] * neutral[channel]
    to_camera = [value for entry in np.linalg.inv(primaries).ravel() for value in (round(entry * 10000), 10000)]
    tags: list[tuple[int, int, int, object, bool]] = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, 2, 0, "Saltmere SO-1", True),  # UniqueCameraModel
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, bytes([0, 1, 1, 2]), True),  # CFAPattern
        (50721, 10, 9, to_camera, True),  # ColorMatrix1
        (50728, 5, 3, tuple(v for share in neutral for v in (round(share * 1000), 1000)), True),  # AsShotNeutral
        (50778, 3, 1, 21, True),  # CalibrationIlluminant1: D65
        (50717, 4, 1, 60000, True),  # WhiteLevel
    ]
    out = io.BytesIO()
    raw = (mosaic * 60000).astype(np.uint16)
    tifffile.imwrite(out, raw, photometric=32803, extratags=tags, metadata=None, software=False)
    return out.getvalue(), scene


def test_camera_raw_is_developed_linear() -> None:
    data, scene = small_dng()
    assert sniff(data) == "raw"
    photo = read_photo(data)
    assert photo.full_px == (128, 96)
    inner = slice(8, -8), slice(8, -8)
    assert np.abs(photo.linear()[inner] - scene[inner]).max() < 0.01


@pytest.mark.parametrize(("photometric", "kind"), [(32803, "raw"), (34892, "raw"), (2, "tiff")])
def test_a_camera_s_own_numbers_are_raw_without_a_version_too(photometric: int, kind: str) -> None:
    """DNG 1.4, PhotometricInterpretation: 32803 is a colour-filter picture, 34892 linear (from memory)."""
    out = io.BytesIO()
    codes = np.zeros((48, 64) if photometric == 32803 else (48, 64, 3), np.uint16)
    tifffile.imwrite(out, codes, photometric=photometric, metadata=None)
    assert sniff(out.getvalue()) == kind


def test_camera_raw_keeps_colours_that_srgb_can_not_hold() -> None:
    """A camera with the primaries of Display P3 and hardly any blue: in sRGB its reds and greens lie below 0."""
    to_xyz = np.linalg.inv(D65_TO_D50) @ SPACES["display-p3"].to_xyz_d50()
    data, scene = small_dng(primaries=to_xyz, blue=0.01)
    to_srgb = np.linalg.inv(SPACES["display-p3"].from_srgb())
    wanted = (scene @ to_srgb.T)[8:-8, 8:-8]
    assert wanted.min() < -0.02
    assert np.abs(read_photo(data).linear()[8:-8, 8:-8] - wanted).max() < 0.015


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("subsampling", [0, 1, 2])
def test_a_jpeg_is_decoded_once_and_comes_out_as_by_the_other_library(
    subsampling: int, progressive: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 3
    options = {"subsampling": subsampling, "progressive": progressive, "exif": exif.tobytes()}
    Image.fromarray(photos.sheet()).save(out, "JPEG", quality=85, **options)
    data, decode, times = out.getvalue(), cv2.imdecode, list[int]()

    def counted(coded: AnyArray, flags: int) -> AnyArray | None:
        times.append(flags)
        return decode(coded, flags)

    monkeypatch.setattr("autoprep.files.reading.cv2.imdecode", counted)
    codes = read_photo(data).codes
    assert len(times) == 1
    assert (codes == np.asarray(Image.open(io.BytesIO(data)))[::-1, ::-1]).all()


def test_camera_raw_is_developed_by_the_white_that_the_camera_measured() -> None:
    """In lamplight: of a white, the camera saw more red and less blue, and says so (DNG 1.4, AsShotNeutral)."""
    data, scene = small_dng(neutral=(1.0, 0.8, 0.5))
    linear = read_photo(data).linear()[8:-8, 8:-8]
    wanted = scene[8:-8, 8:-8]
    assert (linear / linear[..., 1:2]) == pytest.approx(wanted / wanted[..., 1:2], rel=0.03)


def test_exposure_is_that_of_the_light_on_the_sensor() -> None:
    """Time and speed as they are, the aperture by its area: a stop is a factor of 1.414 of its number."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif).update(
        {ExifTags.Base.ExposureTime: 1 / 60, ExifTags.Base.FNumber: 2.8, ExifTags.Base.ISOSpeedRatings: 100}
    )
    assert read_photo(saved("JPEG", exif=exif.tobytes())).facts.exposure == pytest.approx(100 / 60 / 7.84, rel=1e-3)
