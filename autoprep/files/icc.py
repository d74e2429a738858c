"""ICC colour profiles (ICC.1): matrix/TRC profiles are read into tables and built from primaries."""

import struct
from dataclasses import dataclass
from typing import cast

import numpy as np

from autoprep.errors import Unreadable
from autoprep.files.profiles import tags_of
from autoprep.files.spaces import SPACES, RgbSpace
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import D65_TO_D50, XYZ_D50_TO_SRGB
from autoprep.imaging.transfer import CIE_KAPPA, code_to_linear, srgb_to_linear

_D50 = (0.9642, 1.0, 0.8249)  # ICC.1 7.2.16: PCS illuminant


@dataclass(frozen=True)
class MatrixProfile:
    """A matrix/TRC RGB profile.

    to_srgb: (3, 3) float32 linear device RGB -> linear sRGB (through the D50 PCS); curves: three functions of
    code values 0..1 given as (levels,) tables by `tables`.
    """

    name: str
    to_srgb: Float32
    curves: tuple[Float64, Float64, Float64]

    def tables(self, levels: int) -> Float32:
        """(3, levels) float32 linear light of every integer code."""
        codes = np.linspace(0, 1, levels)
        grid = np.linspace(0, 1, len(self.curves[0]))
        return np.stack([np.interp(codes, grid, curve) for curve in self.curves]).astype(np.float32)


def read_matrix_profile(data: bytes) -> MatrixProfile | None:
    """Parse an ICC profile; None when it is valid but not a matrix/TRC RGB profile (then lcms converts).

    Tables go before a matrix (ICC.1:2022, 8.10). Raises Unreadable when the bytes are no usable profile.
    """
    tags = tags_of(data)
    if data[16:20] != b"RGB " or data[20:24] != b"XYZ " or b"rXYZ" not in tags:
        return None
    if b"A2B0" in tags:
        return None
    try:
        columns = [_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
        curves = tuple(_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC"))
    except (KeyError, struct.error, ValueError, IndexError, ArithmeticError) as problem:
        raise Unreadable(f"the colour profile is damaged ({problem})") from problem
    matrix = XYZ_D50_TO_SRGB @ np.array(columns).T
    if not np.isfinite(matrix).all() or abs(np.linalg.det(matrix)) < 1e-6:
        raise Unreadable("the colour profile has no usable primaries")
    return MatrixProfile(_name(tags), matrix.astype(np.float32), cast(tuple[Float64, Float64, Float64], curves))


def read_grey_profile(data: bytes) -> MatrixProfile | None:
    """Parse a grey ICC profile, as one of three channels with its curve and no colour; None where lcms has to convert.

    Its curve leads from codes to light where its connection space is XYZ (ICC.1:2022, 8.4.3 and F.2); in Lab it would
    lead to lightness. Raises Unreadable when the bytes are no usable profile.
    """
    tags = tags_of(data)
    if data[16:20] != b"GRAY" or data[20:24] != b"XYZ " or b"kTRC" not in tags:
        return None
    try:
        curve = _curve(tags[b"kTRC"])
    except (struct.error, ValueError, IndexError, ArithmeticError) as problem:
        raise Unreadable(f"the colour profile is damaged ({problem})") from problem
    return MatrixProfile(_name(tags), np.eye(3, dtype=np.float32), (curve, curve, curve))


def _s15(data: bytes, at: int, count: int) -> list[float]:
    return [value / 65536 for value in struct.unpack(f">{count}i", data[at : at + 4 * count])]


def _xyz(tag: bytes) -> list[float]:
    if tag[:4] != b"XYZ ":
        raise ValueError("XYZ tag")
    return _s15(tag, 8, 3)


def _curve(tag: bytes) -> Float64:
    """A TRC tag -> (4096,) float64 table of linear light over code values 0..1. ValueError where it can't be meant."""
    with np.errstate(all="ignore"):
        curve = _parametric(tag) if tag[:4] == b"para" else _sampled(tag)
    fall = np.maximum.accumulate(curve) - curve
    if curve[-1] - curve[0] < _LEAST_RISE or fall.max() > _MOST_FALL:
        raise ValueError("its curve does not rise from black to white")
    # Of numbers that are none, too, the mean lies in no range.
    if np.abs(curve).max() > _MOST_LIGHT or not _DARKEST <= curve.mean() <= _LIGHTEST:
        raise ValueError("its curve makes everything black or white")
    return curve


# Chosen, wide of all curves that mean something: powers from .15 to 12 pass.
_LEAST_RISE, _MOST_FALL, _MOST_LIGHT, _DARKEST, _LIGHTEST = 0.5, 0.01, 2.0, 0.07, 0.87


def _sampled(tag: bytes) -> Float64:
    if tag[:4] != b"curv":
        raise ValueError("curve tag")
    count = struct.unpack(">I", tag[8:12])[0]
    grid = np.linspace(0, 1, 4096)
    if count == 0:
        return grid
    if count == 1:
        return cast(Float64, grid ** (struct.unpack(">H", tag[12:14])[0] / 256))
    if count > 65536:
        raise ValueError("curve length")
    table = np.array(struct.unpack(f">{count}H", tag[12 : 12 + 2 * count])) / 65535
    return np.interp(grid, np.linspace(0, 1, count), table)


def _parametric(tag: bytes) -> Float64:
    # ICC.1 10.18, function types 0..4.
    kind = struct.unpack(">H", tag[8:10])[0]
    if kind > 4:
        raise ValueError("parametric curve type")
    values = _s15(tag, 12, (1, 3, 4, 5, 7)[kind])
    g, a, b, c, d, e, f = (values + [0.0] * 7)[:7]
    x = np.linspace(0, 1, 4096)
    if kind == 0:
        return cast(Float64, x**g)
    power = np.maximum(a * x + b, 0) ** g
    if kind == 1:
        return cast(Float64, np.where(x >= -b / a, power, 0.0))
    if kind == 2:
        return cast(Float64, np.where(x >= -b / a, power + c, c))
    if kind == 3:
        return cast(Float64, np.where(x >= d, power, c * x))
    return cast(Float64, np.where(x >= d, power + e, c * x + f))


def _name(tags: dict[bytes, bytes]) -> str:
    tag = tags.get(b"desc", b"")
    if tag[:4] == b"desc":
        size = struct.unpack(">I", tag[8:12])[0] if len(tag) >= 12 else 0
        text = tag[12 : 12 + min(size, 200)].split(b"\0")[0].decode("ascii", "replace")
    elif tag[:4] == b"mluc" and len(tag) >= 28:
        length, offset = struct.unpack(">II", tag[20:28])
        text = tag[offset : offset + min(length, 400)].decode("utf-16-be", "replace")
    else:
        text = ""
    return "".join(ch for ch in text if ch.isprintable()).strip() or "unnamed profile"


# --- building -----------------------------------------------------------------------------------------------


_WHITE_D65: Float64 = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])


def to_xyz_d50(space: RgbSpace) -> Float64:
    """(3, 3) linear RGB -> XYZ relative to D50, Bradford-adapted where the space's own white is D65."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in space.primaries]).T
    if space.white_d50:
        return cast(Float64, columns * np.linalg.solve(columns, D65_TO_D50 @ _WHITE_D65))
    return cast(Float64, D65_TO_D50 @ (columns * np.linalg.solve(columns, _WHITE_D65)))


def from_srgb(space: RgbSpace) -> Float32:
    """(3, 3) float32 linear sRGB -> linear RGB of this space."""
    return (np.linalg.inv(to_xyz_d50(space)) @ to_xyz_d50(SPACES["srgb"])).astype(np.float32)


def to_srgb(space: RgbSpace) -> Float32:
    """(3, 3) float32 linear RGB of this space -> linear sRGB."""
    return np.linalg.inv(from_srgb(space)).astype(np.float32)


def tables_of(space: RgbSpace, levels: int) -> Float32:
    """(3, levels) float32 linear light of every integer code."""
    curve = code_to_linear(np.arange(levels) / (levels - 1), space.gamma).astype(np.float32)
    return np.repeat(curve[None], 3, axis=0)


def _fixed(values: list[float]) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def _text(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28) + encoded


def build(space: RgbSpace) -> bytes:
    """An ICC version 4.3 display profile of this space; the same bytes on every call."""
    if space.gamma is None:
        curve = b"para\0\0\0\0" + struct.pack(">HH", 3, 0)
        curve += _fixed([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045])
    elif (
        space.gamma == "L*"
    ):  # CIE 15: Y = ((L* + 16) / 116)^3 above L* 8, and L* / kappa below; L* is 100 times the code
        curve = b"para\0\0\0\0" + struct.pack(">HH", 3, 0)
        curve += _fixed([3.0, 1 / 1.16, 0.16 / 1.16, 100 / CIE_KAPPA, 0.08])
    else:
        curve = b"para\0\0\0\0" + struct.pack(">HH", 0, 0) + _fixed([space.gamma])
    columns = to_xyz_d50(space).T
    adapted = np.eye(3) if space.white_d50 else D65_TO_D50
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", _text(space.name)),
        (b"cprt", _text("No copyright, use freely")),
        (b"wtpt", b"XYZ \0\0\0\0" + _fixed(list(_D50))),
        (b"chad", b"sf32\0\0\0\0" + _fixed([float(v) for v in adapted.ravel()])),
    ]
    tags += [
        (name, b"XYZ \0\0\0\0" + _fixed([float(v) for v in column]))
        for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)
    ]
    tags += [(name, curve) for name in (b"rTRC", b"gTRC", b"bTRC")]
    return _assemble(tags)


def _assemble(tags: list[tuple[bytes, bytes]]) -> bytes:
    table, body = struct.pack(">I", len(tags)), b""
    start, placed = 128 + 4 + 12 * len(tags), dict[bytes, int]()
    for name, data in tags:
        if data not in placed:  # the three curves share one block
            placed[data] = start + len(body)
            body += data + b"\0" * (-len(data) % 4)
        table += struct.pack(">4sII", name, placed[data], len(data))
    size = 128 + len(table) + len(body)
    # A fixed date keeps outputs reproducible.
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp")
    header += b"\0" * 28  # platform, flags, maker, model, attributes, rendering intent
    header += bytes.fromhex("0000f6d6000100000000d32d") + b"\0" * 4
    return header.ljust(128, b"\0") + table + body


def srgb_tables(levels: int) -> Float32:
    """(3, levels) float32 linear light of sRGB codes."""
    return np.repeat(srgb_to_linear(np.arange(levels) / (levels - 1))[None].astype(np.float32), 3, axis=0)
