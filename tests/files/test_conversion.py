"""Into other profiles: lcms through Pillow against our own arithmetic, grey and CMYK, and what falls outside."""

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms

from autoprep.domain import Photo, PhotoFacts
from autoprep.errors import Unreadable
from autoprep.files.conversion import convert
from autoprep.files.encoders import Carried, encode
from autoprep.files.icc import SPACES, colour_model, read_matrix_profile
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.transfer import srgb_to_linear

SRGB = SPACES["srgb"].profile()
COLORD = Path("/usr/share/color/icc/colord")
GHOST = Path("/usr/share/color/icc/ghostscript")
COLOURS: UInt8 = np.array([[[200, 30, 30], [128, 128, 128], [20, 90, 200], [0, 255, 0]]], np.uint8)


def test_a98_values_are_the_published_ones() -> None:
    """The wide-gamut space of CSS Color 4 (a98-rgb): sRGB green is (144, 255, 60) there; (200, 100, 50) comes out as
    (227, 100, 42) in sRGB. Values computed with lcms on Debian's profiles."""
    wide = SPACES["a98-rgb"].profile()
    there = convert(COLOURS, SRGB, wide, "relative", black_point=False).pixels
    assert there[0, 3] == pytest.approx((144, 255, 60), abs=1)
    back = convert(np.array([[[200, 100, 50], [128, 128, 128]]], np.uint8), wide, SRGB, "relative", False).pixels
    assert back[0, 0] == pytest.approx((227, 100, 42), abs=1)
    assert back[0, 1] == pytest.approx((129, 129, 129), abs=1)


def test_a_round_trip_agrees_with_a_second_reader() -> None:
    wide = SPACES["a98-rgb"].profile()
    there = convert(COLOURS, SRGB, wide, "relative", black_point=False)
    own = read_matrix_profile(wide)
    assert own is not None
    linear = np.stack([own.tables(256)[c][there.pixels[0, :, c]] for c in range(3)], axis=-1) @ own.to_srgb.T
    assert linear == pytest.approx(srgb_to_linear(COLOURS[0] / 255), abs=0.012)
    assert there.outside == 0


@pytest.mark.skipif(not (COLORD / "SwappedRedAndGreen.icc").is_file(), reason="colord-data is not installed")
def test_swapped_channels_show_that_profiles_are_obeyed() -> None:
    swapped = (COLORD / "SwappedRedAndGreen.icc").read_bytes()
    assert convert(COLOURS, SRGB, swapped, "relative", False).pixels[0, 0] == pytest.approx((30, 200, 30), abs=1)
    prophoto = (COLORD / "ProPhotoRGB.icc").read_bytes()
    grey = np.full((1, 1, 3), 128, np.uint8)
    assert convert(grey, prophoto, SRGB, "relative", False).pixels[0, 0] == pytest.approx((146, 146, 146), abs=1)


def grey_profile() -> bytes:
    """A grey profile with gamma 2.2, made here: header of ICC.1 7.2, tags desc, cprt, wtpt, kTRC."""
    from autoprep.files import icc

    tags = [
        (b"desc", icc._text("grey")),
        (b"cprt", icc._text("none")),
        (b"wtpt", b"XYZ \0\0\0\0" + icc._fixed([0.9642, 1.0, 0.8249])),
        (b"kTRC", b"curv\0\0\0\0" + (1).to_bytes(4, "big") + round(2.2 * 256).to_bytes(2, "big")),
    ]
    data = bytearray(icc._assemble(tags))
    data[16:20] = b"GRAY"
    return bytes(data)


def test_grey() -> None:
    found = convert(COLOURS, SRGB, grey_profile(), "relative", black_point=False)
    assert found.pixels.shape == (1, 4)
    # Mid grey: the luminance of code 128 is 0.2159, and 0.2159 ** (1 / 2.2) * 255 = 127.
    assert int(found.pixels[0, 1]) == pytest.approx(127, abs=1)
    assert found.outside >= 0.75  # red, blue and green are not grey


@pytest.mark.skipif(not (GHOST / "default_cmyk.icc").is_file(), reason="libgs-common is not installed")
def test_cmyk_files_hold_four_inks_and_their_profile() -> None:
    press = (GHOST / "default_cmyk.icc").read_bytes()
    found = convert(np.repeat(COLOURS, 8, axis=0), SRGB, press, "relative", black_point=True)
    assert found.pixels.shape == (8, 4, 4)
    assert found.outside > 0.2  # pure green is beyond any press
    for format_ in ("jpeg", "tiff"):
        with Image.open(io.BytesIO(encode(found.pixels, format_, Carried(icc=press)))) as image:
            assert image.mode == "CMYK"
            assert image.info["icc_profile"] == press


def test_hostile_and_unfit_profiles_are_refused() -> None:
    with pytest.raises(Unreadable):
        colour_model(b"no profile at all" * 20)
    broken = bytearray(SRGB)
    broken[16:20] = b"Lab "
    with pytest.raises(Unreadable, match="not RGB"):
        colour_model(bytes(broken))
    cut = SRGB[:200]
    with pytest.raises(Unreadable):
        convert(COLOURS, SRGB, cut, "relative", False)


def test_our_wide_profile_is_read_by_lcms() -> None:
    profile = ImageCms.ImageCmsProfile(io.BytesIO(SPACES["a98-rgb"].profile()))
    assert "a98" in ImageCms.getProfileDescription(profile)


@pytest.mark.parametrize(("intent", "code"), [("perceptual", 0), ("relative", 1), ("saturation", 2), ("absolute", 3)])
@pytest.mark.parametrize("black_point", [True, False])
def test_intent_and_black_point_are_handed_on(
    monkeypatch: pytest.MonkeyPatch, intent: Any, code: int, black_point: bool
) -> None:
    """Numbers of the rendering intents: ICC.1:2022, 7.2.15."""
    asked: list[tuple[int, bool]] = []
    real = ImageCms.buildTransform

    def build(*given: Any) -> Any:
        asked.append((int(given[4]), bool(given[5] & ImageCms.Flags.BLACKPOINTCOMPENSATION)))
        return real(*given)

    monkeypatch.setattr(ImageCms, "buildTransform", build)
    convert(COLOURS, SRGB, SPACES["a98-rgb"].profile(), intent, black_point)
    assert asked[0] == (code, black_point)


@pytest.mark.parametrize(
    ("name", "published"), [("display-p3", "Display P3"), ("a98-rgb", "Adobe RGB (1998)"), ("prophoto", "ROMM RGB")]
)
def test_a_space_is_the_one_of_the_standards(name: str, published: str) -> None:
    """Against colour-science's tables (ISO 22028-2, SMPTE EG 432-1 and others), Bradford between the whites."""
    import colour

    theirs = colour.matrix_RGB_to_RGB("sRGB", published, chromatic_adaptation_transform="Bradford")
    assert SPACES[name].from_srgb() == pytest.approx(theirs, abs=6e-4)


def test_lcms_reads_the_wide_space_as_it_is_meant() -> None:
    """White stays white, sRGB red is (179, 70, 26) there (from colour-science: 0.7022, 0.2757, 0.1035)."""
    wide = SPACES["prophoto"].profile()
    colours = np.array([[[255, 255, 255], [128, 128, 128], [255, 0, 0]]], np.uint8)
    there = convert(colours, SRGB, wide, "relative", black_point=False).pixels[0]
    assert there[0] == pytest.approx((255, 255, 255), abs=1)
    assert np.ptp(there[1].astype(int)) <= 1
    assert there[2] == pytest.approx((179, 70, 26), abs=1)
    back = convert(there[None], wide, SRGB, "relative", black_point=False).pixels
    assert back[0] == pytest.approx(colours[0], abs=2)


def test_on_the_way_to_a_labs_profile_a_photo_passes_the_smallest_space_that_holds_it() -> None:
    from autoprep.job.delivery import _space_of
    from autoprep.wishes.destinations import Preset

    preset = Preset(long_side_px=900, profile="lab.icc")
    for name in ("srgb", "display-p3", "a98-rgb", "prophoto"):
        matrix = np.linalg.inv(SPACES[name].from_srgb()).astype(np.float32)
        photo = Photo(np.zeros((4, 4, 3), np.uint8), PhotoFacts("png", 4, 4), matrix=matrix)
        assert _space_of(preset, photo) == name
    assert _space_of(preset, Photo(np.zeros((4, 4, 3), np.uint8), PhotoFacts("png", 4, 4))) == "srgb"
