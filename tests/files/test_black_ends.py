"""Zeros at the end of a file: pixels of a TIFF that is not packed, else space that a copy has not filled yet."""

import io
from typing import Any

import numpy as np
import pytest
import tifffile

from autoprep.files.containers import is_whole, sniff
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray


def scan(**options: Any) -> bytes:
    """A scan whose last 100 KB and more are zeros; the texture above them runs softly into them."""
    codes: AnyArray = np.random.default_rng(2).integers(90, 120, (400, 600, 3))
    codes = (codes * np.clip(np.linspace(4, -1.6, 400), 0, 1)[:, None, None]).astype(np.uint8)
    out = io.BytesIO()
    tifffile.imwrite(out, codes, photometric="rgb", metadata=None, **options)
    return out.getvalue()


@pytest.mark.parametrize("options", [{}, {"byteorder": ">"}, {"tile": (64, 64)}, {"bigtiff": True}])
def test_a_scan_that_ends_in_black_is_whole(options: dict[str, Any]) -> None:
    data = scan(**options)
    assert not data[-70_000:].strip(b"\0")
    assert is_whole(data, sniff(data))
    assert read_photo(data).full_px == (600, 400)


def test_a_raw_file_that_ends_in_black_is_whole() -> None:
    out = io.BytesIO()
    tags = [(50706, 1, 4, bytes([1, 4, 0, 0]), True)]  # DNGVersion
    mosaic = np.zeros((400, 600), np.uint16)
    mosaic[:20] = 900
    tifffile.imwrite(out, mosaic, photometric=32803, extratags=tags, metadata=None)
    assert sniff(out.getvalue()) == "raw"
    assert is_whole(out.getvalue(), "raw")


def test_packed_scans_and_directories_that_have_not_arrived_are_reserved_space() -> None:
    packed = scan(compression="zlib")
    noise = np.random.default_rng(3).integers(0, 255, (400, 600, 3)).astype(np.uint8)
    out = io.BytesIO()
    tifffile.imwrite(out, noise, photometric="rgb", compression="zlib", metadata=None)
    busy = out.getvalue()
    assert is_whole(packed, "tiff")
    assert is_whole(busy, "tiff")
    assert not is_whole(busy[:-80_000] + bytes(80_000), "tiff")
    # The directory at the end, as many programs write it.
    late = b"II*\0" + (8 + 300_000).to_bytes(4, "little") + b"\x55" * 100_000 + bytes(200_100)
    assert not is_whole(late, "tiff")
    assert not is_whole(b"II*\0" + (400).to_bytes(4, "little") + b"\x55" * 300 + bytes(500), "tiff")
