"""Bags for archives: a folder of files that proves by itself that it is whole (RFC 8493, the BagIt format 1.0).

A bag is a statement of one day. It is made aside and gets its name when all of it is written; afterwards nobody of us
touches it.
"""

import hashlib
import os
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from autoprep.errors import DeliveryError
from autoprep.files.storage import PART_PREFIX, PART_SUFFIX, sync_folder

_BLOCK = 1 << 20
_DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_MANIFEST, _TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"


@dataclass(frozen=True)
class Item:
    """One file of a bag: its path below data/, and its bytes, or where they lie and the SHA-256 that they must have."""

    path: str
    source: Path | bytes
    sha256: str = ""


def sha256_of(file: Path) -> str:
    """The SHA-256 of a file's bytes, empty where it can't be read."""
    try:
        with file.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError:
        return ""


def held_in(folder: Path) -> set[str]:
    """The SHA-256 of all files that the bags in a folder list. Raises DeliveryError where one can't be read."""
    found: set[str] = set()
    try:
        for manifest in sorted(folder.glob(f"*/{_MANIFEST}")):
            lines = manifest.read_text(encoding="utf-8", errors="replace").splitlines()
            found |= {line.split()[0].lower() for line in lines if line.strip()}
    except OSError as problem:
        raise DeliveryError(f"the bags in {folder} can't be read ({problem.strerror or problem})") from problem
    return found


def write_bag(folder: Path, name: str, items: Sequence[Item], info: Iterable[tuple[str, str]], date: str) -> Path:
    """Write a bag into a folder under this name, or the next that is free ("master-2026-11-2"); returns its place.

    info: what bag-info.txt says besides the sizes and the date (2026-11-26). Raises DeliveryError, also where a file is
    not the one that was recorded; then nothing is left behind.
    """
    part = folder / f"{PART_PREFIX}{name}{PART_SUFFIX}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)  # what a run that was stopped has left
        part.mkdir()
        _fill(part, items, info, date)
        final = _free(folder, name)
        part.rename(final)
        sync_folder(folder)
    except OSError as problem:
        shutil.rmtree(part, ignore_errors=True)
        raise DeliveryError(f"the bag can't be written to {folder} ({problem.strerror or problem})") from problem
    except DeliveryError:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return final


def _free(folder: Path, name: str) -> Path:
    places = (folder / (name if number == 1 else f"{name}-{number}") for number in range(1, 10_000))
    return next(place for place in places if not place.exists())


def _fill(part: Path, items: Sequence[Item], info: Iterable[tuple[str, str]], date: str) -> None:
    (part / "data").mkdir()
    octets, payload = 0, []
    for item in items:
        place = part / "data" / item.path
        place.parent.mkdir(parents=True, exist_ok=True)
        digest, size = _copied(item, place)
        octets += size
        payload.append((digest, f"data/{item.path}"))
    said = [*info, ("Bagging-Date", date), ("Payload-Oxum", f"{octets}.{len(items)}")]
    tags = {
        "bagit.txt": _DECLARATION,
        "bag-info.txt": "".join(f"{key}: {' '.join(value.split())}\n" for key, value in said if value.strip()),
        _MANIFEST: _manifest(payload),
    }
    tags[_TAG_MANIFEST] = _manifest(
        [(hashlib.sha256(text.encode("utf-8")).hexdigest(), name) for name, text in tags.items()]
    )
    for name, text in tags.items():
        _write(part / name, text.encode("utf-8"))
    for place in {*part.rglob("*/"), part}:
        sync_folder(place)


def _manifest(rows: Iterable[tuple[str, str]]) -> str:
    """Lines of digest and path; of a path %, CR and LF alone are written otherwise (RFC 8493, 2.1.3)."""
    return "".join(
        f"{digest}  {path.replace('%', '%25').replace(chr(13), '%0D').replace(chr(10), '%0A')}\n"
        for digest, path in rows
    )


def _copied(item: Item, place: Path) -> tuple[str, int]:
    """Write one file of the payload; its SHA-256 and size. What is hashed is what is written, read once."""
    if isinstance(item.source, bytes):
        _write(place, item.source)
        return hashlib.sha256(item.source).hexdigest(), len(item.source)
    digest, size = hashlib.sha256(), 0
    with item.source.open("rb") as read, place.open("xb") as written:
        while block := read.read(_BLOCK):
            digest.update(block)
            written.write(block)
            size += len(block)
        written.flush()
        os.fsync(written.fileno())
    if item.sha256 and digest.hexdigest() != item.sha256:
        raise DeliveryError(f"{item.source} changed while it was read")
    return digest.hexdigest(), size


def _write(place: Path, data: bytes) -> None:
    with place.open("xb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())
