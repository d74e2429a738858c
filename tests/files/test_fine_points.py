"""Rules of file formats that few files touch: numbers of standards, roundings, sizes that are written another way."""

import struct
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image

from autoprep.errors import Unreadable
from autoprep.files.coded import _places
from autoprep.files.colours import _by_declaration
from autoprep.files.containers import is_whole, sniff
from autoprep.files.declared import Declared, declared
from autoprep.files.deep import _sixteen
from autoprep.files.encoders import Carried, How, encode
from autoprep.files.profiles import colour_model
from autoprep.files.reading import _over_white
from autoprep.files.spaces import SPACES


@pytest.mark.parametrize(
    ("primaries", "curve", "name", "gamma"),
    [(5, 5, "ITU-R BT.601 (625 lines)", 2.8), (6, 4, "ITU-R BT.601 (525 lines)", 2.2), (9, 8, "ITU-R BT.2020", 1.0)],
)
def test_code_points_are_those_of_the_standard(primaries: int, curve: int, name: str, gamma: float) -> None:
    """ITU-T H.273, tables 2 and 3."""
    points = {"color_primaries": primaries, "transfer_characteristics": curve}
    space = declared(b"", "heic", Image.Exif(), points).space
    assert space is not None
    assert (space.name, space.gamma) == (name, gamma)


@pytest.mark.parametrize("space", [0, 1])
def test_a_colour_space_that_is_not_filled_in_says_nothing(space: int) -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.ColorSpace] = space
    assert declared(b"", "jpeg", exif) == Declared()


@pytest.mark.parametrize("kind", [b"prtr", b"mntr", b"spac", b"scnr", b"link"])
def test_pictures_go_to_printers_screens_and_spaces(kind: bytes) -> None:
    data = bytearray(SPACES["srgb"].profile())
    data[12:16] = kind
    if kind in (b"scnr", b"link"):
        with pytest.raises(Unreadable):
            colour_model(bytes(data))
    else:
        assert colour_model(bytes(data)) == "RGB"


def test_one_coloured_line_on_a_large_page_is_kept_by_webp() -> None:
    page = np.full((400, 400, 3), 245, np.uint8)
    page[:, 61] = (200, 30, 30)
    assert b"VP8L" in encode(page, "webp", Carried(icc=SPACES["srgb"].profile()), How(quality=92))


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_sixteen_bits_of_fewer_are_rounded(bits: int) -> None:
    values = np.arange(2**bits, dtype=np.uint16)
    assert (_sixteen(values, bits) == np.floor(values * 65535.0 / (2**bits - 1) + 0.5)).all()


@pytest.mark.parametrize("order", ["<", ">"])
def test_raw_is_known_in_both_orders_of_bytes(order: str) -> None:
    """TIFF 6.0, section 2: a short number stands at the left of its four bytes."""
    head = b"II*\0" if order == "<" else b"MM\0*"
    entry = struct.pack(order + "HHIHH", 0x0106, 3, 1, 32803, 0)
    data = head + struct.pack(order + "IH", 8, 1) + entry + bytes(64)
    assert sniff(data) == "raw"


def test_a_box_of_64_bits_is_as_long_as_it_says() -> None:
    boxes = b"".join(struct.pack(">I4s", 8 + 20, name) + bytes(20) for name in (b"ftyp", b"meta"))
    data = boxes + struct.pack(">I4sQ", 1, b"mdat", 16 + 300) + bytes(300)
    assert is_whole(data, "heic")
    assert not is_whole(data[:-1], "heic")


@pytest.mark.parametrize("version", [0, 1, 2])
def test_places_of_items_are_read_in_every_version(version: int) -> None:
    """ISO/IEC 14496-12, 8.11.3: numbers of items have 32 bits from version 2 on, and methods are told from 1 on."""
    wide = "I" if version == 2 else "H"
    item = struct.pack(">" + wide, 7) + (bytes(2) if version else b"") + struct.pack(">HHII", 0, 1, 100, 50)
    data = bytes([version, 0, 0, 0, 0x44, 0]) + struct.pack(">" + wide, 1) + item
    assert list(_places(data, 0)) == [(7, 100, 50)]


def test_white_of_print_shops_is_heeded_beside_primaries_of_srgb() -> None:
    codes: Any = np.zeros((2, 2, 3), np.uint8)
    assert _by_declaration(codes, 256, Declared(SPACES["srgb"])).matrix is None
    assert _by_declaration(codes, 256, Declared(replace(SPACES["srgb"], white_d50=True))).matrix is not None


def test_what_shines_through_is_rounded() -> None:
    alpha = np.arange(0, 65536, 257, dtype=np.uint16)
    codes = np.stack([np.full_like(alpha, 1000)] * 3 + [alpha], axis=-1)[None]
    wanted = np.floor(1000 * (alpha / 65535) + 65535 * (1 - alpha / 65535) + 0.5)
    apart = _over_white(codes)[0, :, 0].astype(int) - wanted
    assert (apart != 0).mean() < 0.05
