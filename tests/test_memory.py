"""What a worker holds of a large photo: its pixels once, and of the picture that it makes a few strips.

Counted are the bytes that arrays and buffers take at the most at one time, not what the system lends: that is the same
on every machine, and at any speed.
"""

import io
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image, ImageFile

from autoprep.correction.planned import planned
from autoprep.domain import CorrectionPlan, Declined, Geometry, PhotoFacts, Sharpening, Tone, WorkFacts
from autoprep.files.encoders import Carried, encode
from autoprep.files.icc import srgb_tables
from autoprep.files.reading import read_photo
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import UInt8
from autoprep.job.delivery import Delivery, deliver
from autoprep.pixels import Photo
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings

_NO = Declined(reason="nothing to do in this test")
_MEG = 1 << 20


def peak_of(act: Callable[[], object]) -> int:
    """The most bytes in use while something is done, above those before."""
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        act()
        return tracemalloc.get_traced_memory()[1] - before
    finally:
        tracemalloc.stop()


def painted(width: int, height: int) -> UInt8:
    """(height, width, 3) codes with some grain, quickly made."""
    tile = np.random.default_rng(5).integers(60, 200, (256, 256, 3)).astype(np.uint8)
    return np.tile(tile, (-(-height // 256), -(-width // 256), 1))[:height, :width].copy()


def delivered(settings: Settings, codes: UInt8, preset: Preset, place: Path) -> int:
    """The peak while one destination of a painting is made that fills its photo."""
    height, width = codes.shape[:2]
    corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    geometry = Geometry(photo_px=(width, height), corners_px=corners, ratio=width / height, ratio_from="whole photo")
    plan = CorrectionPlan(
        geometry=geometry, kind="painting", paper="none", light=_NO, neutral=_NO, tone=Tone(), sharpening=Sharpening()
    )
    photo = Photo(codes, PhotoFacts("jpeg", width, height), srgb_tables(256))
    chosen = settings.model_copy(update={"destinations": {"one": preset}})
    work = Delivery("00001-test", chosen, planned(photo, plan), WorkFacts(title="Tidal Pool"))
    written = list[Path]()
    peak = peak_of(lambda: written.append(deliver(work, "one", place)[1]))
    written[0].replace(place)
    return peak


@pytest.mark.parametrize(("rights", "compression"), [("full", "deflate"), ("none", "none")])
def test_a_master_never_lies_in_memory_whole(studio: Settings, tmp_path: Path, rights: str, compression: str) -> None:
    codes = painted(1200, 6000)
    preset = Preset.model_validate(
        {"full_size": True, "format": "tiff", "bits": 16, "colour": "prophoto", "mark": False, "rights": rights,
         "compression": compression}
    )  # fmt: skip
    place = tmp_path / "master.tif"
    peak = delivered(studio, codes, preset, place)
    assert tifffile.imread(place).shape == codes.shape
    assert peak < 0.5 * codes.size * 2


def test_a_large_photo_is_halved_in_parts(studio: Settings, tmp_path: Path) -> None:
    codes = painted(6000, 8000)
    peak = delivered(studio, codes, Preset(long_side_px=2000, mark=False), tmp_path / "site.jpg")
    half = codes.size // 4 * 4
    assert peak < 0.7 * half


def test_a_jpeg_is_decoded_once_and_not_by_the_library_whose_pixels_are_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    """What that library holds outside Python (four bytes a pixel) is not counted here, so it is asked for."""
    codes, out = painted(400, 300), io.BytesIO()
    Image.fromarray(codes).save(out, "JPEG", quality=95)
    loads = list[str]()
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda image: loads.append(image.format))
    assert read_photo(out.getvalue()).codes.shape == codes.shape
    assert loads == []


@pytest.mark.parametrize(("orientation", "times"), [(1, 1), (6, 2)])
def test_a_photo_is_read_into_one_copy_and_turned_into_a_second(orientation: int, times: int) -> None:
    codes, out, exif = painted(4000, 3000), io.BytesIO(), Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    Image.fromarray(codes).save(out, "JPEG", quality=80, exif=exif.tobytes())
    data = out.getvalue()
    assert peak_of(lambda: read_photo(data)) < (times + 0.25) * codes.size


def test_a_large_jpeg_leaves_no_large_buffer_to_what_comes_after_it() -> None:
    carried = Carried(icc=SPACES["srgb"].profile())
    small = painted(200, 150)
    encode(painted(4000, 3000), "jpeg", carried)
    assert peak_of(lambda: encode(small, "jpeg", carried)) < 2 * _MEG


@pytest.mark.parametrize("format_", ["PNG", "TIFF"])
def test_what_the_other_library_reads_is_not_copied_twice(format_: str) -> None:
    codes, out = painted(4000, 3000), io.BytesIO()
    Image.fromarray(codes).save(out, format_)
    data = out.getvalue()
    assert peak_of(lambda: read_photo(data)) < 1.35 * codes.size + len(data)


@pytest.mark.parametrize(("stored", "times"), [("pixels", 1), ("planes", 2)])
def test_a_deep_scan_is_read_into_one_copy(stored: str, times: int) -> None:
    deep = painted(4000, 3000).astype(np.uint16) * 257
    planar, out = stored == "planes", io.BytesIO()
    pixels = np.ascontiguousarray(np.moveaxis(deep, -1, 0)) if planar else deep
    config = "separate" if planar else "contig"
    tifffile.imwrite(out, pixels, photometric="rgb", metadata=None, compression="deflate", planarconfig=config)
    data = out.getvalue()
    assert peak_of(lambda: read_photo(data)) < (times + 0.2) * deep.nbytes
