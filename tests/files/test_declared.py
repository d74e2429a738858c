"""Colours that a file declares without an ICC profile: code points, Exif, chunks of PNG."""

import io
import struct
import zlib
from typing import Any

import numpy as np
import piexif
import pytest
from PIL import Image

from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES, RgbSpace
from autoprep.imaging.arrays import AnyArray
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import code_to_linear, linear_to_code
from autoprep.imaging.units import Gamma

RED = (200, 60, 40)


def patch() -> AnyArray:
    """(64, 80, 3) uint8: a red with a little grain."""
    grain = np.random.default_rng(0).integers(0, 4, (64, 80, 1))
    return np.asarray(np.full((64, 80, 3), RED) + grain, np.uint8)


def saved(format_: str, **options: Any) -> bytes:
    out = io.BytesIO()
    Image.fromarray(patch()).save(out, format_, **options)
    return out.getvalue()


def told_as(data: bytes, space: RgbSpace, gamma: Gamma, codes: AnyArray | None = None) -> None:
    """Its colours are those that the codes have in this space, and nothing is said of them."""
    photo = read_photo(data)
    assert photo.facts.warnings == ()
    wanted = code_to_linear((patch() if codes is None else codes) / 255, gamma) @ space.to_srgb().T
    apart = ciede2000(lab_from_linear(photo.linear()), lab_from_linear(wanted))
    assert np.median(apart) < 0.8, photo.facts.profile_name


def told_unknown(data: bytes, said: str) -> None:
    photo = read_photo(data)
    assert said in " ".join(photo.facts.warnings)
    assert "sRGB" in photo.facts.warnings[0]
    apart = ciede2000(lab_from_linear(photo.linear()), lab_from_linear(code_to_linear(patch() / 255, None)))
    assert np.median(apart) < 0.8


def by_camera(space: int, index: bytes | None) -> bytes:
    said: dict[str, object] = {"0th": {}, "Exif": {piexif.ExifIFD.ColorSpace: space}}
    if index is not None:
        said["Interop"] = {piexif.InteropIFD.InteroperabilityIndex: index}
    return bytes(piexif.dump(said))


@pytest.mark.parametrize("format_", ["JPEG", "WEBP"])
@pytest.mark.parametrize("space", [65535, 2])
def test_the_cameras_optional_space_is_read_from_its_exif(space: int, format_: str) -> None:
    """Exif 2.32, ColorSpace, and DCF 2.0, R03: the space is the a98-rgb of CSS Color 4."""
    options = {"quality": 97, "subsampling": 0} if format_ == "JPEG" else {"lossless": True}
    told_as(saved(format_, exif=by_camera(space, b"R03"), **options), SPACES["a98-rgb"], 563 / 256)


def test_a_camera_that_says_srgb_or_nothing_is_believed_in_silence() -> None:
    for exif in (by_camera(1, b"R98"), by_camera(1, None), b""):
        told_as(saved("JPEG", quality=97, subsampling=0, exif=exif), SPACES["srgb"], None)


@pytest.mark.parametrize("index", [None, b"R98"])
def test_uncalibrated_colours_are_not_taken_as_srgb_in_silence(index: bytes | None) -> None:
    told_unknown(saved("JPEG", quality=97, subsampling=0, exif=by_camera(65535, index)), "not sRGB")


def test_a_profile_goes_before_what_exif_says() -> None:
    profile = SPACES["display-p3"].profile()
    data = saved("JPEG", quality=97, subsampling=0, exif=by_camera(65535, b"R03"), icc_profile=profile)
    told_as(data, SPACES["display-p3"], None)


def of_points(format_: str, primaries: int, curve: int) -> bytes:
    """A picture with these code points of ITU-T H.273."""
    if format_ == "HEIF":
        return saved(format_, quality=98, chroma=444, save_nclx_profile=True, color_primaries=primaries,
                     transfer_characteristics=curve, matrix_coefficients=6, full_range_flag=1)  # fmt: skip
    if format_ == "PNG":
        return with_chunks((b"cICP", bytes([primaries, curve, 0, 1])))
    plain = saved("AVIF", quality=98, subsampling="4:4:4")
    at = plain.index(b"colrnclx") + 8
    return plain[:at] + struct.pack(">HH", primaries, curve) + plain[at + 4 :]


def with_chunks(*chunks: tuple[bytes, bytes], **options: Any) -> bytes:
    """A PNG with chunks behind its header."""
    plain = saved("PNG", **options)
    stored = b"".join(struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in chunks)
    return plain[:33] + stored + plain[33:]


@pytest.mark.parametrize("format_", ["HEIF", "AVIF", "PNG"])
@pytest.mark.parametrize(
    ("primaries", "curve", "published", "gamma"),
    [
        (1, 13, "sRGB", None),
        (1, 1, "sRGB", None),
        (2, 2, "sRGB", None),
        (12, 13, "Display P3", None),
        (12, 1, "Display P3", None),
        (9, 13, "ITU-R BT.2020", None),
        (9, 8, "ITU-R BT.2020", 1.0),
    ],
)
def test_code_points_are_the_published_spaces(
    format_: str, primaries: int, curve: int, published: str, gamma: Gamma
) -> None:
    """ITU-T H.273; the spaces as colour-science tables them."""
    import colour  # here: it takes seconds, and each process of a run loads all tests

    red, green, blue = (tuple(map(float, row)) for row in colour.RGB_COLOURSPACES[published].primaries)
    space = RgbSpace("published", (red, green, blue), gamma)  # type: ignore[arg-type]
    told_as(of_points(format_, primaries, curve), space, gamma)


@pytest.mark.parametrize("format_", ["HEIF", "AVIF", "PNG"])
@pytest.mark.parametrize(("primaries", "curve"), [(9, 16), (12, 18), (11, 13)])
def test_pictures_for_hdr_screens_and_unknown_primaries_are_told(format_: str, primaries: int, curve: int) -> None:
    told_unknown(of_points(format_, primaries, curve), f"primaries {primaries}, curve {curve}")


def test_of_boxes_that_do_not_agree_none_is_believed() -> None:
    """The second might be that of a depth map."""
    data = of_points("AVIF", 12, 13)
    other = b"colrnclx" + struct.pack(">HHHB", 9, 13, 0, 0)
    told_as(data + struct.pack(">I4s", 8 + len(other), b"free") + other, SPACES["srgb"], None)


def test_a_box_that_says_nothing_does_not_gainsay_another() -> None:
    """ITU-T H.273: 2 is unspecified, which a box of a depth map may well say."""
    other = b"colrnclx" + struct.pack(">HHHB", 2, 2, 2, 0)
    data = of_points("AVIF", 12, 13) + struct.pack(">I4s", 8 + len(other), b"free") + other
    told_as(data, SPACES["display-p3"], None)


def test_in_png_code_points_go_before_a_profile() -> None:
    """PNG, third edition, 4.3: cICP, iCCP, sRGB, gAMA and cHRM, in this order."""
    profile = SPACES["a98-rgb"].profile()
    told_as(with_chunks((b"cICP", bytes([12, 13, 0, 1])), icc_profile=profile), SPACES["display-p3"], None)
    told_as(with_chunks((b"gAMA", struct.pack(">I", 100_000)), icc_profile=profile), SPACES["a98-rgb"], 563 / 256)
    narrow = read_photo(with_chunks((b"cICP", bytes([12, 13, 0, 0])), icc_profile=profile))
    assert narrow.facts.profile_name.startswith("a98-rgb")


def chromaticities(space: RgbSpace) -> bytes:
    white = (0.3457, 0.3585) if space.white_d50 else (0.3127, 0.3290)
    return struct.pack(">8I", *(round(value * 100_000) for pair in (white, *space.primaries) for value in pair))


@pytest.mark.parametrize(("written", "gamma"), [(100_000, 1.0), (55_556, 1.8), (45_455, None), (45_460, None)])
def test_gama_is_the_curve(written: int, gamma: Gamma) -> None:
    """PNG, third edition: codes are light to this power; 45455 is what goes with sRGB, and meant as that."""
    told_as(with_chunks((b"gAMA", struct.pack(">I", written))), SPACES["srgb"], gamma)


@pytest.mark.parametrize("name", list(SPACES))
def test_chrm_are_the_primaries(name: str) -> None:
    chunk = (b"cHRM", chromaticities(SPACES[name]))
    told_as(with_chunks(chunk), SPACES[name], None)
    told_as(with_chunks((b"gAMA", struct.pack(">I", 50_000)), chunk), SPACES[name], 2.0)
    told_as(with_chunks((b"sRGB", b"\0"), (b"gAMA", struct.pack(">I", 100_000)), chunk), SPACES["srgb"], None)


def test_chrm_of_other_primaries_is_obeyed() -> None:
    mine = RgbSpace("mine", ((0.66, 0.33), (0.25, 0.68), (0.15, 0.07)), None)
    told_as(with_chunks((b"cHRM", chromaticities(mine))), mine, None)


@pytest.mark.parametrize(
    "chunk",
    [
        (b"gAMA", b"\0\0\0\0"),
        (b"gAMA", struct.pack(">I", 2**31)),
        (b"cHRM", b"\0" * 32),
        (b"cHRM", struct.pack(">8I", 31270, 32900, *(30000, 30000) * 3)),
        (b"cICP", bytes([12, 13, 0, 0])),
    ],
)
def test_chunks_that_can_not_be_meant_are_told(chunk: tuple[bytes, bytes]) -> None:
    told_unknown(with_chunks(chunk), "can't be meant")


@pytest.mark.parametrize("gamma", [None, "L*", 1.8, 563 / 256])
def test_codes_come_back_from_light(gamma: Gamma) -> None:
    codes = np.linspace(0, 1, 4001)
    assert linear_to_code(code_to_linear(codes, gamma), gamma) == pytest.approx(codes, abs=1e-6)


def test_the_lightness_curve_is_that_of_the_cie() -> None:
    """CIE 15, by colour-science: codes are L* / 100."""
    import colour  # see above

    codes = np.linspace(0, 1, 101)
    theirs = colour.colorimetry.luminance_CIE1976(codes * 100) / 100
    assert code_to_linear(codes, "L*") == pytest.approx(theirs, abs=1e-9)
