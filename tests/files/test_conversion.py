"""Into other profiles: lcms against our own arithmetic and colour-science, grey and CMYK, and what falls outside."""

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from autoprep.domain import PhotoFacts
from autoprep.errors import Unreadable
from autoprep.files.conversion import Converted, convert, total_ink
from autoprep.files.encoders import Carried, encode
from autoprep.files.icc import read_matrix_profile, srgb_tables
from autoprep.files.profiles import colour_model
from autoprep.files.spaces import SPACES, RgbSpace
from autoprep.imaging.arrays import AnyArray, UInt8
from autoprep.imaging.colour import ciede2000, lab_from_linear, luminance_of_lightness
from autoprep.imaging.transfer import linear_to_code, linear_to_srgb, srgb_to_linear
from autoprep.pixels import Photo
from autoprep.rendering.layout import Frame, lay_out
from autoprep.rendering.render import Look, render
from autoprep.wishes.tables import Settings
from tests.photos import jpeg
from tests.profiles import grey_profile
from tests.rendering.test_render import plan_for
from tests.test_job import done, order_for
from tests.test_one_place import with_table

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
    assert found.ink is not None
    totals = found.pixels.astype(float).sum(-1) / 255 * 100
    assert found.ink[0] == pytest.approx(totals.max())
    assert 150 < found.ink[1] <= found.ink[0] <= 400
    deep = convert(np.repeat(COLOURS, 8, axis=0), SRGB, press, "relative", black_point=True, bits=16).pixels
    assert deep.dtype == np.uint16
    assert np.abs(deep / 257 - found.pixels).max() <= 0.51  # eight bits are these, rounded
    with Image.open(io.BytesIO(encode(found.pixels, "tiff", Carried(icc=press)))) as image:
        assert image.mode == "CMYK"
    assert np.array_equal(tifffile.imread(io.BytesIO(encode(deep, "tiff", Carried(icc=press)))), deep)
    for format_ in ("jpeg", "tiff"):
        with Image.open(io.BytesIO(encode(found.pixels, format_, Carried(icc=press)))) as image:
            assert image.mode == "CMYK"
            assert image.info["icc_profile"] == press


@pytest.mark.parametrize(("name", "published"), [("display-p3", "Display P3"), ("eci-rgb", "ECI RGB v2"),
                                                 ("prophoto", "ROMM RGB")])  # fmt: skip
def test_the_share_of_colours_that_are_lost_is_that_of_the_colours_and_not_of_the_codes(
    name: str, published: str
) -> None:
    """Lightness 60, all hues and chromas that the space holds: to sRGB, by colour-science and its own CIEDE2000."""
    import colour

    hue, chroma = np.meshgrid(np.linspace(0, 2 * np.pi, 90, endpoint=False), np.linspace(0, 90, 90))
    lab = np.stack([np.full_like(hue, 60.0), chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1).reshape(-1, 3)
    xyz = colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    linear = colour.XYZ_to_RGB(xyz, "sRGB")
    in_space = colour.RGB_to_RGB(linear, "sRGB", published, chromatic_adaptation_transform="Bradford")
    held = ((in_space > 0) & (in_space < 1)).all(-1)
    shown = lab_from_linear(np.clip(linear[held], 0, 1))
    shown[:, 0] = 60
    lost = float((colour.delta_E(lab[held], shown, method="CIE 2000") > 3).mean())
    codes = np.rint(linear_to_code(in_space[held], SPACES[name].gamma) * 65535).astype(np.uint16)[None]
    found = convert(codes, SPACES[name].profile(), SRGB, "relative", black_point=True)
    assert lost > 0.03
    assert found.outside == pytest.approx(lost, abs=0.01)


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
    real = imagecodecs.cms_transform

    def transform(*given: Any, **named: Any) -> Any:
        asked.append((int(named["intent"]), bool(named["flags"] & imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION)))
        return real(*given, **named)

    monkeypatch.setattr(imagecodecs, "cms_transform", transform)
    convert(COLOURS, SRGB, SPACES["a98-rgb"].profile(), intent, black_point)
    assert asked[0] == (code, black_point)


@pytest.mark.parametrize(
    ("name", "published"), [("display-p3", "Display P3"), ("a98-rgb", "Adobe RGB (1998)"),
     ("prophoto", "ROMM RGB"),
     ("eci-rgb", "ECI RGB v2")],
)  # fmt: skip
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
    for name in ("srgb", "display-p3", "a98-rgb", "eci-rgb", "prophoto"):
        matrix = np.linalg.inv(SPACES[name].from_srgb()).astype(np.float32)
        photo = Photo(np.zeros((4, 4, 3), np.uint8), PhotoFacts("png", 4, 4), matrix=matrix)
        assert _space_of(preset, photo) == name
    assert _space_of(preset, Photo(np.zeros((4, 4, 3), np.uint8), PhotoFacts("png", 4, 4))) == "srgb"


@pytest.mark.parametrize(("lightness", "code"), [(95, 242), (75, 191), (50, 128), (20, 51), (5, 13)])
def test_codes_of_the_archives_space_are_lightness(lightness: float, code: int) -> None:
    """Metamorfoze Preservation Imaging Guidelines 1.0 (2012): codes of eciRGB v2 are 2.55 times L*."""
    grey = (
        np.full((1, 1, 3), linear_to_srgb(np.array(luminance_of_lightness(lightness))) * 65535)
        .round()
        .astype(np.uint16)
    )
    found = convert(grey, SRGB, SPACES["eci-rgb"].profile(), "relative", black_point=False).pixels[0, 0]
    assert found.tolist() == [code] * 3
    ours = linear_to_code(np.array(luminance_of_lightness(lightness)), "L*") * 255
    assert float(ours) == pytest.approx(2.55 * lightness, abs=1e-9)


@pytest.mark.parametrize("published", ["ITU-R BT.2020", "ROMM RGB", "ECI RGB v2"])
def test_a_p3_photo_reaches_a_labs_profile_from_16_bits(published: str) -> None:
    """From the photo's codes to those of a lab's profile, colour-science between: CIEDE2000 at most .05 in 16 bits;
    in 8 bits each code is the nearest one, or the next where that is a coin's toss.
    """
    import colour

    own = {"ROMM RGB": SPACES["prophoto"], "ECI RGB v2": SPACES["eci-rgb"]}
    wide = RgbSpace("Wide", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), 2.4)  # primaries of ITU-R BT.2020
    target = own.get(published, wide)
    codes = np.random.default_rng(5).integers(0, 256, (40, 60, 3)).astype(np.uint8)
    codes[0, :6] = [(240, 45, 30), (255, 120, 0), (250, 60, 120), (0, 255, 0), (30, 90, 250), (128, 128, 128)]
    p3 = SPACES["display-p3"]
    photo = Photo(codes, PhotoFacts("png", 60, 40), srgb_tables(256), np.linalg.inv(p3.from_srgb()).astype(np.float32))
    plan, look = plan_for(60, 40), Look(matrix=p3.from_srgb(), gamma=p3.gamma, bits=16)
    made = render(photo, plan, lay_out(Frame(), plan), look, lambda strip, _x, _y: strip, lambda code: code).pixels
    linear = colour.RGB_to_RGB(srgb_to_linear(codes / 255), "Display P3", "sRGB")
    in_target = linear @ target.from_srgb().T.astype(float)
    held = ((in_target >= 0) & (in_target <= 1)).all(-1)
    assert held.mean() > 0.6
    deep = convert(made, p3.profile(), target.profile(), "relative", False, bits=16).pixels
    profile = read_matrix_profile(target.profile())
    assert profile is not None
    levels = profile.tables(65536).astype(float)
    found = np.stack([levels[c][deep[..., c]] for c in range(3)], axis=-1) @ profile.to_srgb.T
    assert ciede2000(lab_from_linear(linear), lab_from_linear(found))[held].max() <= 0.05
    eight = convert(made, p3.profile(), target.profile(), "relative", False).pixels
    ideal = linear_to_code(np.clip(in_target, 0, 1), target.gamma) * 255
    assert np.abs(eight - ideal)[held].max() <= 0.75


def test_total_ink_is_the_sum_of_the_four() -> None:
    inks = np.zeros((100, 100, 4), np.uint8)
    inks[:, :50] = (128, 51, 0, 255)
    inks[0, 0] = 255
    most, nearly_all = total_ink(inks)
    assert most == 400
    assert nearly_all == pytest.approx((128 + 51 + 255) / 2.55)
    assert total_ink(inks.astype(np.uint16) * 257) == pytest.approx((most, nearly_all))


@pytest.mark.skipif(not (GHOST / "default_cmyk.icc").is_file(), reason="libgs-common is not installed")
def test_files_for_labs_are_made_from_16_bits_and_tell_their_ink(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    came: list[np.dtype[Any]] = []

    def watched(pixels: AnyArray, *rest: Any) -> Converted:
        came.append(pixels.dtype)
        return convert(pixels, *rest)

    monkeypatch.setattr("autoprep.job.delivery.convert", watched)
    wide = SPACES["prophoto"].profile()
    (studio.studio / "lab.icc").write_bytes(wide)
    (studio.studio / "press.icc").write_bytes((GHOST / "default_cmyk.icc").read_bytes())
    settings = with_table(
        studio,
        '[lab]\nlong_side_px = 300\nformat = "tiff"\nbits = 16\nprofile = "lab.icc"\nmark = false\n'
        '[press]\nlong_side_px = 300\nformat = "tiff"\nprofile = "press.icc"\nmark = false\n',
    )
    order = order_for(settings, jpeg())
    places = {name: settings.folders.ready / name / "a.tif" for name in ("lab", "press")}
    outputs = {output.destination: output for output in done(replace(order, places=places)).record.outputs}
    with tifffile.TiffFile(places["lab"]) as file:
        deep = file.asarray()
        assert file.pages[0].tags[34675].value == wide  # type: ignore[union-attr]
    assert deep.dtype == np.uint16
    assert came == [np.uint16, np.uint16]
    inks = tifffile.imread(places["press"])
    assert inks.shape[-1] == 4
    most, nearly_all = total_ink(inks)
    said = f"total ink: {most:.0f} % at the most, 99.9 % of the picture stay below {nearly_all:.0f} %"
    assert said in outputs["press"].notes
    assert not any("ink" in note for note in outputs["lab"].notes)


def test_a_grey_jpeg_tells_one_component(studio: Settings) -> None:
    """Exif 2.32, ComponentsConfiguration, as Exiv2 reads it."""
    import pyexiv2

    (studio.studio / "grey.icc").write_bytes(grey_profile())
    table = 'long_side_px = 300\nformat = "jpeg"\nmark = false\n'
    settings = with_table(studio, f'[grey]\n{table}profile = "grey.icc"\n[site]\n{table}')
    places = {name: settings.folders.ready / name / "a.jpg" for name in ("grey", "site")}
    assert done(replace(order_for(settings, jpeg()), places=places)).record.outputs
    for name, components in (("grey", "1 0 0 0"), ("site", "1 2 3 0")):
        with pyexiv2.Image(str(places[name])) as image:
            found = image.read_exif()
        assert found["Exif.Photo.ComponentsConfiguration"] == components
        assert ("Exif.Image.YCbCrPositioning" in found) == (name == "site")


@pytest.mark.parametrize(("strong", "nearly_all"), [(5, 100), (50, 300)])
def test_what_nearly_all_of_a_picture_stays_below_is_so_of_999_in_1000(strong: int, nearly_all: float) -> None:
    inks = np.zeros((100, 100, 4), np.uint8)
    inks[..., 0] = 255
    inks.reshape(-1, 4)[:strong] = (255, 255, 255, 0)
    assert total_ink(inks) == pytest.approx((300, nearly_all))
