"""The rights statement as IIM (IPTC-NAA Information Interchange Model 4.2) and its JPEG wrapping."""

import hashlib
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
    fields += _created(statement.created)
    out = _dataset(1, 90, _UTF8) + _dataset(2, 0, struct.pack(">H", 4))
    for number, value in sorted(fields, key=lambda field: field[0]):
        out += _dataset(2, number, value)
    return out


def cut_short(statement: RightsStatement) -> list[str]:
    """The fields of which the model's own place holds only a part, as words: "title"."""
    return [
        name.replace("_", " ")
        for name, value, ids in statement.fields()
        if ids.iim is not None
        for part in [max(value.split("\n") if ids.form == "bag" else [value], key=lambda text: len(text.encode()))]
        if len(part.encode("utf-8", "replace")) > ids.iim_bytes
    ]


def _created(when: str) -> list[tuple[int, bytes]]:
    """2:55 and 2:60 of a time such as "2026-06-14T10:31:02+01:00"; without an offset the clock is left out."""
    digits = when.replace("-", "", 2).replace(":", "").replace("T", "")
    made = [(55, digits[:8].encode())] if len(digits) >= 8 else []
    if len(digits) == 19:  # date, clock, sign and offset: the model's form of time wants all of it
        made.append((60, digits[8:].encode()))
    return made


def cut(text: str, limit_bytes: int) -> bytes:
    """UTF-8 of at most this many bytes that ends on a character border."""
    return text.encode("utf-8", "replace")[:limit_bytes].decode("utf-8", "ignore").encode("utf-8")


def _dataset(record: int, number: int, value: bytes) -> bytes:
    return struct.pack(">BBBH", 0x1C, record, number, len(value)) + value


def resource_block(data: bytes) -> bytes:
    """IIM as image resource 0x0404, the payload of JPEG's APP13, and its MD5 as 0x0425.

    By the digest a reader knows that the shorter IIM was written together with the XMP, which then holds good
    (Metadata Working Group, "Guidelines for handling image metadata" 2.0, section on reconciliation; from memory).
    """
    digest = hashlib.md5(data, usedforsecurity=False).digest()
    return b"".join(
        b"8BIM" + struct.pack(">HH", number, 0) + struct.pack(">I", len(block)) + block + b"\0" * (len(block) % 2)
        for number, block in ((0x0404, data), (0x0425, digest))
    )


def app13(data: bytes) -> bytes:
    """A whole APP13 segment, or nothing for no data."""
    if not data:
        return b""
    payload = b"Photoshop 3.0\0" + resource_block(data)
    return b"\xff\xed" + struct.pack(">H", len(payload) + 2) + payload
