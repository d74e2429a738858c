"""Safe names and atomic delivery: written aside, synced, renamed; never half a file under its final name."""

import contextlib
import os
import unicodedata
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import BinaryIO

from autoprep.errors import NO_ROOM, DeliveryError, is_closed, who_may

PART_PREFIX, PART_SUFFIX = ".autoprep-", ".part"
_RESERVED = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in (*range(1, 10), "¹", "²", "³")),
}
_MOST_BYTES = 120


def safe_stem(text: str, fallback: str = "photo") -> str:
    """A file name stem of letters and digits of any script, -, _ and spaces; nothing that leads out of a folder."""
    normal = unicodedata.normalize("NFC", text.encode("utf-8", "replace").decode("utf-8"))
    kept = "".join(
        ch if ch.isalnum() or unicodedata.category(ch) in ("Mn", "Mc") or ch in "-_ " else "-" for ch in normal
    )
    kept = "-".join(part for part in kept.split("-") if part) if "-" in kept else kept
    kept = " ".join(kept.split()).strip("-_ ")
    kept = kept.encode("utf-8")[:_MOST_BYTES].decode("utf-8", "ignore").rstrip("-_ ")
    if not kept or kept.casefold().split(" ")[0] in _RESERVED:
        kept = f"{fallback}-{kept}".rstrip("-") if kept else fallback
    return kept


def is_reserved(stem: str) -> bool:
    """Whether a system keeps a name for one of its devices (Microsoft, "Naming Files, Paths, and Namespaces")."""
    return stem.casefold() in _RESERVED


def write_part(final: Path, data: bytes, token: str, *, there: bool = False) -> Path:
    """Write the bytes beside their final place and sync them; there: as in make_part. Raises DeliveryError."""
    return make_part(final, lambda file: file.write(data), token, there=there)


def make_part(final: Path, write: Callable[[BinaryIO], object], token: str, *, there: bool = False) -> Path:
    """Let a file be written beside its final place, to be read and sought in meanwhile, and sync it.

    there: its folder was there, and is made no more: where it is gone, what it lies on is away. Raises DeliveryError,
    and whatever else `write` does; nothing lies about then.
    """
    part = final.parent / f"{PART_PREFIX}{token}-{final.name[-60:]}{PART_SUFFIX}"
    try:
        if not there:
            final.parent.mkdir(parents=True, exist_ok=True)
        with part.open("w+b") as handle:
            write(handle)
            handle.flush()
            os.fsync(handle.fileno())
    except BaseException as problem:
        with contextlib.suppress(OSError):
            part.unlink()
        if not isinstance(problem, OSError):
            raise
        why = problem.strerror or str(problem)
        in_the_way = isinstance(problem, FileExistsError | NotADirectoryError)
        if in_the_way:
            why = f"something stands in the place of the folder {final.parent.parent.name}/{final.parent.name}"
        said = f"{_in_its_folder(final)} can't be written ({why}){who_may(problem)}"
        raise DeliveryError(said, full=is_full(problem), closed=in_the_way or is_closed(problem)) from problem
    return part


def _in_its_folder(file: Path) -> str:
    """A file as it is called to the artist: of several folders one may be closed."""
    return f"{file.parent.name}/{file.name}"


def publish(part: Path, final: Path) -> None:
    """Give a synced part its final name and make the name durable. Raises DeliveryError."""
    try:
        part.replace(final)
        sync_folder(final.parent)
    except OSError as problem:
        why = problem.strerror or problem
        said = f"{_in_its_folder(final)} can't be put in place ({why}){who_may(problem)}"
        raise DeliveryError(said, full=is_full(problem)) from problem


def is_full(problem: Exception) -> bool:
    """Whether something could not be done for want of room."""
    return problem.full if isinstance(problem, DeliveryError) else getattr(problem, "errno", None) in NO_ROOM


def answers(folder: Path) -> bool:
    """Whether a file can be written in a folder now; one that is not there is not asked."""
    probe = folder / f"{PART_PREFIX}probe{PART_SUFFIX}"
    try:
        probe.write_bytes(b"?")
        probe.unlink()
    except OSError:
        return not os.path.lexists(folder)
    return True


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_now(final: Path, data: bytes, token: str) -> None:
    """Write a file atomically in one go. Raises DeliveryError, and leaves nothing lying about then."""
    part = write_part(final, data, token)
    try:
        publish(part, final)
    except DeliveryError:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def clear_parts(folders: Iterable[Path], *, below: bool = True) -> int:
    """Remove parts that a crash left behind, in these folders and, if asked, below; the number removed."""
    removed, pending = 0, [os.fspath(folder) for folder in folders]
    while pending:
        with contextlib.suppress(OSError), os.scandir(pending.pop()) as entries:
            for entry in entries:
                if entry.name.startswith(PART_PREFIX) and entry.name.endswith(PART_SUFFIX):
                    with contextlib.suppress(OSError):
                        os.unlink(entry.path)
                        removed += 1
                elif below and entry.is_dir(follow_symlinks=False):
                    pending.append(entry.path)
    return removed
