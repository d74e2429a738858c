"""A small wide-gamut ICC profile (matrix and curve), built by hand, and the conversion of pixels into it."""

from __future__ import annotations

import struct

import numpy as np

from .colour import XYZ_FROM_RGB, Array, Mask, decode_bytes, srgb_encode

# Primaries of a wide display space with a D65 white: red, green, blue as x, y.
PRIMARIES = np.array([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]])
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
WHITE_D50 = np.array([0.9642, 1.0, 0.8249])


def wide_matrix() -> np.ndarray:
    """(3, 3) linear wide-gamut RGB -> XYZ (D65)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in PRIMARIES]).T
    white = XYZ_FROM_RGB.sum(axis=1)
    return np.asarray(columns * np.linalg.solve(columns, white))


def to_wide(pixels: Mask) -> Mask:
    """(H, W, 3) uint8 sRGB -> uint8 in the wide space: the same colours, other numbers."""
    matrix = (np.linalg.inv(wide_matrix()) @ XYZ_FROM_RGB).astype(np.float32)
    out = np.empty_like(pixels)
    for top in range(0, len(pixels), 256):  # in strips, to stay small
        linear: Array = decode_bytes(pixels[top : top + 256]) @ matrix.T
        out[top : top + 256] = np.round(srgb_encode(linear) * 255)
    return out


def _adaptation() -> np.ndarray:
    """(3, 3) Bradford adaptation D65 -> D50."""
    white = XYZ_FROM_RGB.sum(axis=1)
    gains = (BRADFORD @ WHITE_D50) / (BRADFORD @ white)
    return np.asarray(np.linalg.inv(BRADFORD) @ np.diag(gains) @ BRADFORD)


def _fixed(values: np.ndarray) -> bytes:
    """Numbers -> s15Fixed16."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in np.ravel(values))


def _text(text: str) -> bytes:
    """A multi-language text tag with one English entry."""
    body = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(body), 28) + body


def wide_icc() -> bytes:
    """The profile as bytes: ICC 4, display class, matrix and the sRGB curve."""
    colorants = _adaptation() @ wide_matrix()
    curve = (
        b"para"
        + bytes(4)
        + struct.pack(">HH", 3, 0)
        + _fixed(np.array([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]))
    )
    tags = {
        b"desc": _text("Saltmere wide gamut"),
        b"cprt": _text("No rights reserved"),
        b"wtpt": b"XYZ " + bytes(4) + _fixed(WHITE_D50),
        b"chad": b"sf32" + bytes(4) + _fixed(_adaptation()),
        b"rXYZ": b"XYZ " + bytes(4) + _fixed(colorants[:, 0]),
        b"gXYZ": b"XYZ " + bytes(4) + _fixed(colorants[:, 1]),
        b"bXYZ": b"XYZ " + bytes(4) + _fixed(colorants[:, 2]),
        b"rTRC": curve, b"gTRC": curve, b"bTRC": curve,
    }  # fmt: skip
    table, data = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        table += struct.pack(">4sII", name, start + len(data), len(content))
        data += content + bytes(-len(content) % 4)
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI", start + len(data), b"none", 0x04300000, b"mntr", b"RGB ", b"XYZ ",
        2026, 1, 1, 0, 0, 0, b"acsp", bytes(4), 0, bytes(4), bytes(4), 0, 0,
    ) + _fixed(WHITE_D50)  # fmt: skip
    return header.ljust(128, b"\0") + table + data
