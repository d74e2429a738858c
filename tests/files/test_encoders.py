"""What the formats keep of a drawing: coloured hairlines."""

import io
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image

from autoprep.files.encoders import Carried, How, encode
from autoprep.files.formats import ENCODERS
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import Rows, UInt8
from autoprep.imaging.colour import ciede2000, lab_from_linear
from autoprep.imaging.transfer import srgb_to_linear
from tests.photos import exif_with_secrets

_CARRIED = Carried(icc=SPACES["srgb"].profile())


def hairlines() -> UInt8:
    page = np.full((256, 256, 3), 245, np.uint8)
    page[:, 60] = (200, 30, 30)
    page[100] = (30, 60, 200)
    return page


def difference_on_the_lines(page: UInt8, data: bytes) -> float:
    written = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    one, two = (lab_from_linear(srgb_to_linear(p[110:, 60] / 255.0)) for p in (page, written))
    return float(ciede2000(one, two).mean())


@pytest.mark.parametrize("format_", sorted(name for name, row in ENCODERS.items() if row.lossy))
def test_a_red_hairline_keeps_its_colour(format_: str) -> None:
    """The bar of JPEG in 4:4:4: halved chroma is off by 16 (CIEDE2000) on such a line."""
    page = hairlines()
    assert difference_on_the_lines(page, encode(page, format_, _CARRIED, How(quality=92))) < 3


def test_webp_loses_nothing_only_where_lines_would() -> None:
    """A wash in soft colours is written small; and a lower quality asks for few bytes whatever is lost."""
    rng = np.random.default_rng(3)
    ys, xs = np.mgrid[0:256, 0:256]
    wash = np.stack([235 - xs / 6, 225 - ys / 8, 200 + xs / 9], axis=-1) + rng.normal(0, 2, (256, 256, 1))
    soft = np.clip(wash, 0, 255).astype(np.uint8)
    assert b"VP8 " in encode(soft, "webp", _CARRIED, How(quality=92))
    assert b"VP8L" in encode(hairlines(), "webp", _CARRIED, How(quality=92))
    assert b"VP8 " in encode(hairlines(), "webp", _CARRIED, How(quality=80))


@pytest.mark.parametrize("compression", ["deflate", "lzw", "none"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_tiff_is_the_same_whether_its_rows_come_at_once_or_a_few_at_a_time(
    compression: str, dtype: type[np.unsignedinteger]
) -> None:
    ys, xs = np.mgrid[0:301, 0:1203]
    page = np.stack([xs * 11 + ys, ys * 17, xs * ys], axis=-1).astype(dtype)
    carried, how = Carried(_CARRIED.icc, exif_with_secrets(), ppi=300.0), How(compression=compression)
    at_once = encode(page, "tiff", carried, how)
    written, write = io.BytesIO(), ENCODERS["tiff"].write
    assert write is not None
    strips = [page[:1], page[1:1], page[1:130], page[130:258], page[258:]]
    write(written, Rows(page.shape, page.dtype, iter(strips)), carried, how)
    assert written.getvalue() == at_once
    written.seek(0)
    with tifffile.TiffFile(written) as file:
        assert (file.asarray() == page).all()
        assert len(file.pages[0].dataoffsets) == (1 if compression == "none" else 301 // (262144 // page[0].nbytes) + 1)


@pytest.mark.parametrize(("ppi", "said"), [(300.0, 300), (149.6, 150), (5.39, None), (0.54, None), (70_000.0, None)])
def test_jfif_says_no_density_that_exif_contradicts(ppi: float, said: int | None) -> None:
    """It holds whole numbers (ITU-T T.871, 10.1): unit 0 is none, 1 the inch."""
    data = encode(hairlines(), "jpeg", Carried(icc=_CARRIED.icc, ppi=ppi))
    with Image.open(io.BytesIO(data)) as image:
        assert image.info.get("jfif_unit") == (0 if said is None else 1)
        assert image.info.get("jfif_density") == ((1, 1) if said is None else (said, said))


@pytest.mark.parametrize("format_", sorted(name for name, row in ENCODERS.items() if row.most_px < 65535))
def test_a_format_holds_as_many_pixels_as_its_row_says(format_: str) -> None:
    most = ENCODERS[format_].most_px
    data = encode(np.full((16, most, 3), 90, np.uint8), format_, _CARRIED, How(quality=50))
    with Image.open(io.BytesIO(data)) as image:
        assert image.size == (most, 16)


@pytest.mark.parametrize(("bits", "ppi"), [(8, 300.0), (16, 300.0), (16, 96.5)])
def test_a_png_says_its_density_in_metres(bits: int, ppi: float) -> None:
    page = hairlines() if bits == 8 else hairlines().astype(np.uint16) * 257
    data = encode(page, "png", Carried(icc=_CARRIED.icc, ppi=ppi))
    at = data.index(b"pHYs") + 4
    assert struct.unpack(">IIB", data[at : at + 9]) == (round(ppi / 0.0254), round(ppi / 0.0254), 1)
