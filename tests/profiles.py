"""ICC profiles that are made here: of a grey curve, and with tables to look up (ICC.1:2022, 10.10, lut16Type)."""

import itertools
import struct
from collections.abc import Callable

import numpy as np

from autoprep.files import icc
from autoprep.files.spaces import RgbSpace
from autoprep.imaging.arrays import AnyArray
from autoprep.imaging.colour import lab_from_linear


def _built(model: bytes, connection: bytes, *tags: tuple[bytes, bytes]) -> bytes:
    plain = [
        (b"desc", icc._text("made here")),
        (b"cprt", icc._text("none")),
        (b"wtpt", b"XYZ \0\0\0\0" + icc._fixed([0.9642, 1.0, 0.8249])),
    ]
    data = bytearray(icc._assemble([*plain, *tags]))
    data[16:20], data[20:24] = model, connection
    return bytes(data)


def grey_profile(gamma: float = 2.2, connection: bytes = b"XYZ ") -> bytes:
    """A grey profile: header of ICC.1 7.2, tags desc, cprt, wtpt, kTRC."""
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))
    return _built(b"GRAY", connection, (b"kTRC", curve))


def table_profile(model: bytes, to_srgb: Callable[[AnyArray], AnyArray], grid: int = 17) -> bytes:
    """A profile whose A2B0 is a table from codes 0..1 to CIELAB; to_srgb: (N, channels) codes -> (N, 3) linear sRGB."""
    channels = {b"RGB ": 3, b"GRAY": 1, b"CMYK": 4}[model]
    codes = np.array(list(itertools.product(np.linspace(0, 1, grid), repeat=channels)))
    lab = lab_from_linear(to_srgb(codes), "D50")
    stored = np.stack([lab[:, 0] * 652.8, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256], axis=-1)
    clut = np.rint(stored).clip(0, 65535).astype(">u2").tobytes()
    straight = struct.pack(">2H", 0, 65535)
    head = b"mft2\0\0\0\0" + struct.pack(">4B", channels, 3, grid, 0) + icc._fixed([1.0, 0, 0, 0, 1.0, 0, 0, 0, 1.0])
    table = head + struct.pack(">2H", 2, 2) + straight * channels + clut + straight * 3
    return _built(model, b"Lab ", (b"A2B0", table))


STRAIGHT = b"curv\0\0\0\0" + struct.pack(">I", 0)


def matrix_profile(space: RgbSpace, curve: bytes = STRAIGHT, *more: tuple[bytes, bytes]) -> bytes:
    """An RGB profile with the primaries of a space, this curve, and tags more."""
    columns = zip((b"rXYZ", b"gXYZ", b"bXYZ"), space.to_xyz_d50().T, strict=True)
    tags = [(name, b"XYZ \0\0\0\0" + icc._fixed([float(v) for v in column])) for name, column in columns]
    return _built(b"RGB ", b"XYZ ", *tags, *((name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")), *more)


def matrix_and_tables(matrix_of: RgbSpace, tables_of: RgbSpace) -> bytes:
    """An RGB profile in XYZ whose matrix and curves (power 1) say one space, and whose A2B0 says another one."""
    codes = np.array(list(itertools.product((0.0, 1.0), repeat=3)))
    xyz = codes @ tables_of.to_xyz_d50().T
    clut = np.rint((xyz * 32768).clip(0, 65535)).astype(">u2").tobytes()
    straight = struct.pack(">2H", 0, 65535)
    head = b"mft2\0\0\0\0" + struct.pack(">4B", 3, 3, 2, 0) + icc._fixed([1.0, 0, 0, 0, 1.0, 0, 0, 0, 1.0])
    table = (b"A2B0", head + struct.pack(">2H", 2, 2) + straight * 3 + clut + straight * 3)
    return matrix_profile(matrix_of, STRAIGHT, table)
