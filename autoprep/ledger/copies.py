"""Copies of the ledger as they are kept: packed (gzip), each complete or not there, and read back only where sound."""

import contextlib
import gzip
import os
import shutil
import sqlite3
from pathlib import Path

COPIES = "ledger-copies"
"""The folder beside the ledger that holds its copies, one a day."""

_NAME, _PACKED, _PART = "ledger-", ".sqlite3.gz", ".part"
_LEVEL = 6  # of 9; a third more time than 3
_PIECE = 1 << 20  # bytes


def copy_of(folder: Path, day: str) -> Path:
    """Where the copy of a day, as 2026-11-26, lies or will lie."""
    return folder / f"{_NAME}{day}{_PACKED}"


def kept(folder: Path, today: str) -> list[Path]:
    """The copies that are there, the oldest first; those of earlier versions are not packed.

    today: as 2026-11-26. A later day was that of a clock gone wrong: nobody knows when it was, so it counts as older.
    """
    found = [*folder.glob(f"{_NAME}*{_PACKED}"), *folder.glob(f"{_NAME}*.sqlite3")]
    return sorted(found, key=lambda path: (day_of(path) <= today, path.name))


def day_of(copy: Path) -> str:
    """The day that a copy is of, as 2026-11-26."""
    return copy.name.removeprefix(_NAME)[:10]


def clear_unfinished(folder: Path) -> None:
    """What was cut off while it was copied or packed goes."""
    for part in folder.glob(f"{_NAME}*{_PART}*"):
        with contextlib.suppress(OSError):
            part.unlink()


def pack(plain: Path, copy: Path) -> None:
    """Pack a copy of the ledger, and remove the one that is not packed. Raises OSError; then there is neither."""
    part = copy.with_name(copy.name + _PART)
    try:
        with plain.open("rb") as source, part.open("wb") as target:
            # No name and no time inside: of the same ledger the same bytes.
            with gzip.GzipFile("", "wb", _LEVEL, target, mtime=0) as packed:
                shutil.copyfileobj(source, packed, _PIECE)
            target.flush()
            os.fsync(target.fileno())
        part.replace(copy)
    finally:
        part.unlink(missing_ok=True)
        plain.unlink(missing_ok=True)


def newest_sound(folder: Path, place: Path, today: str) -> Path | None:
    """Unpack the newest copy in which nothing is wrong to `place`; which it was, or None where there is none.

    today: as for `kept`.
    """
    for copy in reversed(kept(folder, today)):
        with contextlib.suppress(OSError, EOFError, sqlite3.Error):
            _unpack(copy, place)
            if _is_sound(place):
                return copy
    place.unlink(missing_ok=True)
    return None


def _unpack(copy: Path, place: Path) -> None:
    """Raises OSError or EOFError where the copy is damaged."""
    with copy.open("rb") as file, place.open("wb") as target:
        source = gzip.GzipFile(fileobj=file) if copy.suffix == ".gz" else file
        shutil.copyfileobj(source, target, _PIECE)
        target.flush()
        os.fsync(target.fileno())


def _is_sound(place: Path) -> bool:
    with contextlib.closing(sqlite3.connect(place)) as db:
        return bool(db.execute("PRAGMA integrity_check").fetchone()[0] == "ok")
