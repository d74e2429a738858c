"""A new ledger from the records on disk, for when the ledger is lost or damaged: what is known is known again.

Each photo's record lies in `records/proof/<job>/record.json`. What a record does not hold (which words reached a file,
which destinations were usual) follows from what it does: files are made from the words that their record has.
"""

import contextlib
import hashlib
import itertools
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from PIL import Image
from pydantic import ValidationError

from autoprep.domain import JobRecord, OutputRecord
from autoprep.errors import LedgerDamaged, UsageError
from autoprep.files.formats import ENCODERS
from autoprep.ledger import GONE, LOOK, Change, Ledger, Rendition, Restored, asked_in, copies
from autoprep.service.apart import part_names
from autoprep.service.depends import plan_digest, told
from autoprep.service.inbox import is_ignored
from autoprep.service.lock import StudioLock
from autoprep.service.said import usual
from autoprep.service.takes import merit
from autoprep.told.explanations import HOLD, OTHER_TAKE
from autoprep.wishes.names import whole_name
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings


@dataclass(frozen=True)
class Rebuilt:
    """What came of it: photos and files that are known again, records that can't be read, and where the old one is.

    unasked: photos that were still to be made or measured again, as was asked, which no record holds; None where the
    old ledger can't tell.
    """

    photos: int
    files: int
    unreadable: tuple[str, ...]
    put_away: Path | None
    unasked: tuple[str, ...] | None


def rebuild(settings: Settings, *, sound_too: bool = False) -> Rebuilt:
    """Make a new ledger from the records; the old one is put away, never deleted.

    Raises UsageError where the ledger is sound and sound_too is not said, AlreadyRunning while a service works here.
    """
    lock = StudioLock(settings.folders.records)
    try:
        if is_sound(settings) and not sound_too:
            raise UsageError("the ledger is sound, so nothing was done; `--anyway` makes a new one from the records")
        place = ledger_path(settings)
        part = place.with_name("ledger-rebuilt.part")
        for name in (part.name, f"{part.name}-journal", f"{part.name}-wal", f"{part.name}-shm"):
            part.with_name(name).unlink(missing_ok=True)
        unreadable: list[str] = []
        records = dict(_records(settings, unreadable))
        ledger = Ledger(part, anew=True)
        found = list(_restored(settings, records))
        ledger.restore(found)
        ledger.close()
        asked = asked_in(place)
        unasked = None if asked is None else tuple(records[job].photo for job in asked if job in records)
        away = _put_away(place)
        part.replace(place)
        files = sum(len(each.change.renditions) for each in found)
        return Rebuilt(len(found), files, tuple(unreadable), away, unasked)
    finally:
        lock.close()


def put_back(settings: Settings, *, sound_too: bool = False) -> str:
    """Put the newest sound copy in the ledger's place, which is put away, never deleted; the day that the copy is of.

    Raises UsageError where there is none, or the ledger is sound and sound_too is not said; AlreadyRunning.
    """
    lock = StudioLock(settings.folders.records)
    try:
        if is_sound(settings) and not sound_too:
            raise UsageError("the ledger is sound, so nothing was done; `--copy --anyway` puts the newest copy back")
        place = ledger_path(settings)
        part = place.with_name("ledger-rebuilt.part")
        tomorrow = date.today() + timedelta(days=1)  # somewhere on earth it is that already
        copy = copies.newest_sound(settings.folders.records / copies.COPIES, part, tomorrow.isoformat())
        if copy is None:
            raise UsageError(f"there is no sound copy in {settings.folders.records / copies.COPIES}; nothing was done")
        _put_away(place)
        part.replace(place)
        return copies.day_of(copy)
    finally:
        lock.close()


def is_sound(settings: Settings) -> bool:
    """Whether there is a ledger, and SQLite finds nothing wrong with it."""
    if not ledger_path(settings).is_file() or not ledger_path(settings).stat().st_size:
        return False
    try:
        ledger = Ledger(ledger_path(settings))
    except (LedgerDamaged, sqlite3.Error):
        return False
    try:
        return ledger.check() == "ok"
    except sqlite3.Error:
        return False
    finally:
        ledger.close()


def _put_away(place: Path) -> Path | None:
    """The old ledger beside itself under another name, with what belongs to it."""
    stamp = time.strftime("%Y-%m-%d-%H%M%S")
    away = place.with_name(f"ledger-put-away-{stamp}.sqlite3")
    for ending in ("-journal", "-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            place.with_name(place.name + ending).replace(away.with_name(away.name + ending))
    try:
        place.replace(away)
    except FileNotFoundError:
        return None
    return away


def _records(settings: Settings, unreadable: list[str]) -> Iterator[tuple[str, JobRecord]]:
    """Every job's record by its job, the oldest first."""
    root = settings.folders.records / "proof"
    for folder in sorted(root.iterdir()) if root.is_dir() else ():
        place = folder / "record.json"
        if not place.is_file() or not folder.name.partition("-")[0].isdigit():
            continue
        try:
            record = JobRecord.model_validate_json(place.read_bytes())
        except (ValidationError, ValueError, OSError):
            unreadable.append(str(place))
            continue
        yield folder.name, record.model_copy(update={"job": folder.name})


def _numbers(records: Iterable[str]) -> Iterator[int]:
    """The number of each job, as its name tells; where two have one, the later gets a new one behind all.

    That happens where a ledger was lost and another one begun, which counted from the start.
    """
    told = [int(job.partition("-")[0]) for job in records]
    behind, given = itertools.count(max(told, default=0) + 1), set[int]()
    for number in told:
        yield number if number not in given else next(behind)
        given.add(number)


def _restored(settings: Settings, records: Mapping[str, JobRecord]) -> Iterator[Restored]:
    works, folders = _works(records), _questions(settings, records)
    numbers = _numbers(records)
    gone = _edited(records, works)
    photos = {one.sha256: one.job for one in records.values() if not one.part and one.outcome != "duplicate"}
    for job, record in records.items():
        rows = tuple(_dated(record, row) for row in _renditions(settings, record))
        rows = tuple(replace(row, asked=_was_asked_for(settings, record, row)) for row in rows)
        planned = record.plan is not None and record.outcome in ("ready", "alternate")
        made = [row.destination for row in rows if not row.asked]
        names = made if record.outcome == "ready" else usual(settings)
        fields = {
            "work": works[job] if planned else "",
            "usual": tuple(names) if planned else (),
            "chosen": planned and record.chosen,
            "merit": (GONE if job in gone else merit(record)) if planned else None,
            "plan": plan_digest(record.plan) if planned else "",
            "answered": bool(record.outline and record.outline.confidence == 1.0),
            "parts": len(record.several) if record.outcome == "several works" else 0,
        }
        came = (record.came or record.finished_at or time.strftime("%Y-%m-%d"))[:10]
        kept = {LOOK: folders[job]} if job in folders else {}
        whole = photos.get(record.sha256, "") if record.part else ""
        lies = whole_name(record.photo, record.part)
        parts = part_names(record, record.photo) if record.outcome == "several works" else ()
        stayed = tuple((destination, settings.studio / path) for destination, path in record.stayed)
        yield Restored(next(numbers), came, Change(record, rows, fields), kept, whole, lies, parts, stayed)


def _dated(record: JobRecord, row: Rendition) -> Rendition:
    """The same with its times, where the record knows them."""
    first, made = record.dates.get(row.destination, ("", ""))
    return replace(row, first=first, made=made)


def _was_asked_for(settings: Settings, record: JobRecord, row: Rendition) -> bool:
    """Whether a file was made because it was asked for by name.

    Older records do not say so; a file that lies where its work is not sent can't be there for another reason.
    """
    sent = record.work.goes_to(usual(settings)) if record.work.destinations else ()
    astray = bool(sent) and row.state == "in place" and row.destination not in sent
    return row.destination in record.asked or (astray and record.outcome == "ready")


def _works(records: Mapping[str, JobRecord]) -> dict[str, str]:
    """The work of each photo: that of the first of its takes, as its record says. Of older records it is that of the
    earliest: an alternate's names the take that is used."""
    of = {job: record.take_of if record.take_of in records else job for job, record in records.items()}
    first: dict[str, str] = {}
    for job in sorted(records):
        first.setdefault(str(of[job]), job)
    told = {of[job]: record.first_take for job, record in records.items() if record.first_take}
    earliest = {job: min(first.get(str(of[job]), job), str(of[job])) for job in records}
    return {job: record.first_take or told.get(of[job], earliest[job]) for job, record in records.items()}


def _edited(records: Mapping[str, JobRecord], works: Mapping[str, str]) -> set[str]:
    """The photos that were edited in their places, as their records say; by older ones: alternates to a take that lies
    where they lay."""
    used = {(works[job], record.photo) for job, record in records.items() if record.outcome == "ready"}
    planned = {job: record for job, record in records.items() if record.outcome == "alternate"}
    older = {job for job, record in planned.items() if (works[job], record.photo) in used}
    return older | {job for job, record in records.items() if record.gone}


def _renditions(settings: Settings, record: JobRecord) -> Iterator[Rendition]:
    """What is known of each destination: files in place, withdrawn ones, and what waits or could not be made."""
    plan, seen = plan_digest(record.plan), set[str]()
    for output in record.outputs:
        seen.add(output.destination)
        words = _words(settings, record, output.destination)
        place, reason = settings.studio / output.path, record.failed.get(output.destination, "")
        why = record.held_kinds.get(output.destination, "") if reason else ""
        yield Rendition(output.destination, "in place", place, words, plan, reason=reason, output=output, why=why)
    away = settings.folders.records / "withdrawn" / record.job
    for folder in sorted(away.iterdir()) if away.is_dir() else ():
        file = max(_pictures(folder), key=_changed, default=None)
        if folder.name in seen or file is None:
            continue
        seen.add(folder.name)
        usual_reason = OTHER_TAKE if record.outcome == "alternate" else HOLD
        reason = record.held.get(folder.name, usual_reason)
        why = record.held_kinds.get(folder.name, "") or (usual_reason.kind if reason == usual_reason else "")
        final = settings.folders.ready / folder.name / file.name
        words = _words(settings, record, folder.name, held=False)
        output = _output(settings, folder.name, file, final)
        yield Rendition(folder.name, "withdrawn", final, words, plan, reason=reason, output=output, why=why)
    for state, reasons in (("held", record.held), ("failed", record.failed)):
        for name, reason in reasons.items():
            if name not in seen:
                seen.add(name)
                why = record.held_kinds.get(name, "")
                words = _words(settings, record, name)
                yield Rendition(name, state, None, words, plan, reason=reason, why=why)  # type: ignore[arg-type]


def _pictures(folder: Path) -> list[Path]:
    """The finished pictures in a folder of withdrawn ones: not what systems leave in a folder that was looked at."""
    suffixes = {encoder.suffix for encoder in ENCODERS.values()}
    found = folder.iterdir() if folder.is_dir() else ()
    return [path for path in found if path.suffix in suffixes and not is_ignored(path.name) and path.is_file()]


def _words(settings: Settings, record: JobRecord, name: str, *, held: bool | None = None) -> dict[str, object]:
    """The words that reached a destination's file; a withdrawn one was made before the work was held."""
    if name not in settings.destinations:
        return {}
    said = record.work if held is None else record.work.model_copy(update={"hold": held})
    return told(settings, name, said, record.photo)


def _output(settings: Settings, name: str, file: Path, final: Path) -> OutputRecord:
    data = file.read_bytes()
    try:
        with Image.open(file) as image:
            size = image.size
    except (OSError, ValueError, Image.DecompressionBombError):
        size = (0, 0)
    path = str(final.relative_to(settings.studio) if final.is_relative_to(settings.studio) else final)
    return OutputRecord(
        destination=name, path=path, width_px=size[0], height_px=size[1], bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
    )  # fmt: skip


def _changed(path: Path) -> int:
    return path.stat().st_mtime_ns


def _questions(settings: Settings, records: Mapping[str, JobRecord]) -> dict[str, Path]:
    """The folder of each open question: known by its picture, which lies among the records too, or by its words."""
    root, asked = settings.folders.needs_a_look, {}
    folders = [folder for folder in sorted(root.iterdir()) if folder.is_dir()] if root.is_dir() else []
    by_picture = {_bytes(folder / "where.jpg"): folder for folder in folders}
    by_name = {_bytes(folder / "why.txt").partition(b"\n")[0]: folder for folder in folders}
    for job, record in records.items():
        if record.outcome != "needs a look":
            continue
        picture = _bytes(settings.folders.records / "proof" / job / "photo.jpg")
        folder = by_picture.get(picture) if picture else None
        folder = folder or by_name.get(os.fsencode(record.photo))
        if folder is not None:
            asked[job] = folder
    return asked


def _bytes(place: Path) -> bytes:
    try:
        return place.read_bytes()
    except OSError:
        return b""
