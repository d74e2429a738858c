"""What a machine needs for the service, each asked by trying it: folders, room, decoders, watches, fonts, the clock."""

import contextlib
import io
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from autoprep.ledger import Ledger
from autoprep.wishes.places import cluster_tls_paths, font_path, ledger_path
from autoprep.wishes.settings import worker_count
from autoprep.wishes.tables import Settings

Grade = Literal["good", "note", "missing"]
# Kinds of mounts on which SQLite's locks can't be relied upon (sqlite.org, "How to corrupt", section 2).
_SHARES = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p", "afpfs", "webdav")
_WRITTEN_IN = datetime(2026, 11, 1, tzinfo=UTC)  # a clock that stands before this is wrong


@dataclass(frozen=True)
class Finding:
    """One thing that was tried: good, worth a note (the service works without it), or missing (it does not)."""

    about: str
    grade: Grade
    words: str


def look_over(settings: Settings) -> Iterator[Finding]:
    """Try everything; nothing is left behind, and nothing is ever written to the inbox."""
    for check in CHECKS:
        try:
            yield from check(settings)
        except Exception as problem:  # what can't even be tried is a finding, never the end of the others
            yield Finding(check.__name__.strip("_").replace("_", " "), "missing", f"can't be tried: {problem}")


def _folders(settings: Settings) -> Iterator[Finding]:
    folders = settings.folders
    if not os.access(folders.inbox, os.R_OK | os.X_OK):
        yield Finding("inbox", "missing", f"{folders.inbox} is not there, or may not be read by this user")
    else:
        yield Finding("inbox", "good", f"{folders.inbox} can be read")
    for name in ("ready", "needs_a_look", "records"):
        place: Path = getattr(folders, name)
        try:
            _try_writing(place)
        except OSError as problem:
            said = (
                "is not there"
                if isinstance(problem, FileNotFoundError)
                else f"can't be written to ({problem.strerror})"
            )
            yield Finding(name.replace("_", "-"), "missing", f"{place} {said}; `autoprep init` makes what is not there")
        else:
            yield Finding(name.replace("_", "-"), "good", f"{place}: files can be made, renamed and removed")


def _try_writing(folder: Path) -> None:
    """As pictures are delivered: written aside, synced, renamed."""
    part, final = folder / ".autoprep-check.part", folder / ".autoprep-check"
    try:
        with part.open("wb") as handle:
            handle.write(b"x")
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(final)
    finally:
        for place in (part, final):
            place.unlink(missing_ok=True)


def _volumes(settings: Settings) -> Iterator[Finding]:
    folders = settings.folders
    with contextlib.suppress(OSError):
        if folders.ready.stat().st_dev == folders.records.stat().st_dev:
            yield Finding("volumes", "good", "finished pictures and records lie on one volume")
        else:
            yield Finding(
                "volumes", "note", "finished pictures and records lie on different volumes: withdrawn ones are copied"
            )
    kind = mount_of(folders.records)
    if kind in _SHARES:
        yield Finding(
            "ledger", "missing", f"the records lie on a network share ({kind}); the ledger needs a local disk"
        )


def mount_of(place: Path, mounts: Path = Path("/proc/mounts")) -> str:
    """The kind of file system that a folder lies on; empty where the system does not say."""
    try:
        rows = [line.split() for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines()]
    except OSError:
        return ""
    there = place.resolve()
    found = [(row[1], row[2]) for row in rows if len(row) > 2 and there.is_relative_to(row[1].replace("\\040", " "))]
    return max(found, key=lambda each: len(each[0]), default=("", ""))[1]


def _room(settings: Settings) -> Iterator[Finding]:
    needed = settings.service.min_free_mb
    for name in ("records", "ready"):
        free = shutil.disk_usage(_there(getattr(settings.folders, name))).free / 1e6
        said = f"{free:.0f} MB are free for {name}"
        if free < needed:
            yield Finding("room", "missing", f"{said}, and the service waits below {needed:.0f} (service.min_free_mb)")
        else:
            yield Finding("room", "good", said)


def _there(place: Path) -> Path:
    return next(folder for folder in (place, *place.parents) if folder.exists())


def _decoders(settings: Settings) -> Iterator[Finding]:
    from PIL import Image, features

    from autoprep.files.reading import read_photo

    wanted = {"JPEG": "JPEG", "PNG": "PNG", "TIFF": "TIFF", "WebP": "WEBP", "AVIF": "AVIF", "HEIC": "HEIF"}
    for name, kind in wanted.items():
        if name == "HEIC" and not settings.service.heic:
            yield Finding(name, "note", "HEIC photos are switched off in the settings (service.heic)")
            continue
        out = io.BytesIO()
        try:
            Image.new("RGB", (64, 64), (200, 120, 40)).save(out, kind)
            read_photo(out.getvalue())
        except Exception as problem:
            yield Finding(name, "missing", f"{name} photos can't be read here ({problem}); install Autoprep anew")
        else:
            yield Finding(name, "good", f"{name} photos can be read")
    if not features.check("littlecms2"):
        yield Finding("colour profiles", "missing", "the library for colour profiles is not there")
    try:
        import rawpy
    except ImportError as problem:
        yield Finding("RAW", "missing", f"camera RAW photos can't be read here ({problem}); install Autoprep anew")
    else:
        yield Finding(
            "RAW", "good", f"camera RAW photos can be read (LibRaw {'.'.join(map(str, rawpy.libraw_version))})"
        )


def _watches(settings: Settings, limits: Path = Path("/proc/sys/fs/inotify")) -> Iterator[Finding]:
    folders = 1 + sum(len(below) for _, below, _ in os.walk(settings.folders.inbox))
    every = f"the inbox is looked through every {settings.service.rescan_s:g} s all the same"
    try:
        most = int((limits / "max_user_watches").read_text())
        instances = int((limits / "max_user_instances").read_text())
    except (OSError, ValueError):
        yield Finding("watches", "note", f"the number of file watches is not known here; {every}")
        return
    if folders > most or instances < 1:
        yield Finding("watches", "note", f"the inbox has {folders} folders, the system lets {most} be watched; {every}")
    else:
        yield Finding("watches", "good", f"{folders} folders to watch, {most} may be")


def _fonts(settings: Settings) -> Iterator[Finding]:
    from autoprep.wishes.fonts import fonts_for

    place = font_path(settings)
    if not place.is_file():
        yield Finding("font", "missing", f"the font of the mark, {place}, is not there")
        return
    fonts, absent = fonts_for(settings.mark.text.format(artist=settings.artist.name, year="2026"), place)
    if absent:
        yield Finding(
            "font",
            "note",
            f"no font on this machine holds {absent}, so there is no mark; name one that does in mark.font",
        )
    else:
        yield Finding("font", "good", f"{' and '.join(font.name for font in fonts)} hold all letters of the mark")


def _clock(settings: Settings, now: Callable[[], float] = time.time) -> Iterator[Finding]:
    here = datetime.fromtimestamp(now(), UTC)
    last = _last_finished(settings)
    if here < _WRITTEN_IN:
        yield Finding("clock", "missing", f"the clock says {here:%Y-%m-%d}, which is long ago; set it")
    elif last and last > here.isoformat(timespec="seconds"):
        yield Finding(
            "clock", "note", f"the clock says {here:%Y-%m-%d %H:%M}, but a photo was finished {last}: it was put back"
        )
    else:
        yield Finding("clock", "good", f"it is {here:%Y-%m-%d %H:%M} UTC")


def _last_finished(settings: Settings) -> str:
    if not ledger_path(settings).is_file():
        return ""
    ledger = Ledger(ledger_path(settings))
    try:
        return ledger.overview.last_finished()
    finally:
        ledger.close()


def _ledger(settings: Settings) -> Iterator[Finding]:
    if not ledger_path(settings).is_file():
        yield Finding("ledger", "good", "there is none yet; the service makes one")
        return
    ledger = Ledger(ledger_path(settings))
    try:
        said = ledger.check()
    finally:
        ledger.close()
    good = said == "ok"
    words = "the ledger is sound" if good else f"the ledger is damaged ({said}); `autoprep rebuild` makes a new one"
    yield Finding("ledger", "good" if good else "missing", words)


def _memory(settings: Settings) -> Iterator[Finding]:
    if not hasattr(os, "sysconf") or "SC_PHYS_PAGES" not in os.sysconf_names:
        return
    there = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1e6
    workers, each = worker_count(settings.service), settings.service.worker_memory_mb
    said = f"{workers} workers may use {each} MB each, the machine has {there:.0f}"
    enough = workers * each <= there
    yield Finding("memory", "good" if enough else "note", said if enough else f"{said}; set fewer in service.workers")


def _cluster(settings: Settings) -> Iterator[Finding]:
    address = settings.service.cluster
    if not address:
        return
    from autoprep.service.link import ask

    seen = ask(address, cluster_tls_paths(settings))
    if seen.trouble:
        yield Finding("cluster", "missing", seen.trouble)
        return
    yield Finding("cluster", "good", f"the cluster at {address} answers; workers that do jobs: {seen.workers}")
    if seen.remark:
        yield Finding("cluster", "note", seen.remark)


def _python(settings: Settings) -> Iterator[Finding]:
    version = ".".join(map(str, sys.version_info[:3]))
    good = sys.version_info >= (3, 11)
    yield Finding("Python", "good" if good else "missing", f"Python {version}" + ("" if good else "; 3.11 is needed"))


CHECKS: tuple[Callable[[Settings], Iterator[Finding]], ...] = (
    _python, _folders, _volumes, _room, _ledger, _decoders, _watches, _fonts, _clock, _memory, _cluster,
)  # fmt: skip
"""What is tried, in this order: a new need of the service is a function here."""
