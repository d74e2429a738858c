"""The rights statement as IIM (IPTC-NAA Information Interchange Model 4.2) and its JPEG wrapping."""

import struct

from autoprep.metadata.statement import RightsStatement

_UTF8 = b"\x1b%G"  # 1:90, ISO 2022 escape for UTF-8


def records(statement: RightsStatement) -> bytes:
    """IIM data sets in UTF-8; values are cut on character borders to the model's byte limits."""
    fields = [
        (ids.iim, cut(part, ids.iim_bytes))
        for _, value, ids in statement.fields()
        if ids.iim is not None
        for part in (value.split("\n") if ids.form == "bag" else [value])
    ]
    if not fields:
        return b""
    out = _dataset(1, 90, _UTF8) + _dataset(2, 0, struct.pack(">H", 4))
    for number, value in sorted(fields, key=lambda field: field[0] or 0):
        out += _dataset(2, number, value)
    return out


def cut(text: str, limit_bytes: int) -> bytes:
    """UTF-8 of at most this many bytes that ends on a character border."""
    return text.encode("utf-8", "replace")[:limit_bytes].decode("utf-8", "ignore").encode("utf-8")


def _dataset(record: int, number: int, value: bytes) -> bytes:
    return struct.pack(">BBBH", 0x1C, record, number, len(value)) + value


def resource_block(data: bytes) -> bytes:
    """IIM wrapped as image resource 0x0404, the payload of JPEG's APP13."""
    padded = data + b"\0" * (len(data) % 2)
    return b"8BIM\x04\x04\0\0" + struct.pack(">I", len(data)) + padded


def app13(data: bytes) -> bytes:
    """A whole APP13 segment, or nothing for no data."""
    if not data:
        return b""
    payload = b"Photoshop 3.0\0" + resource_block(data)
    return b"\xff\xed" + struct.pack(">H", len(payload) + 2) + payload
