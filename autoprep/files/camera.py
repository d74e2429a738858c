"""What the camera says in its Exif, as far as it may be used: never a position, a serial number or an owner."""

import contextlib
import math
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from typing import Any

from PIL import ExifTags, Image

from autoprep.domain import PhotoFacts
from autoprep.files.credentials import MARKER


def told_by_camera(facts: PhotoFacts, exif: Image.Exif, data: bytes) -> PhotoFacts:
    """What the picture tells by itself, and what the camera says of it."""
    taken_at, offset = _taken(exif)
    return replace(
        facts,
        focal_mm35=_focal_mm35(exif),
        exposure=_exposure(exif),
        camera=bool(exif.get(ExifTags.Base.Make) or exif.get(ExifTags.Base.Model)),
        screen=_is_of_screen(exif),
        device=_device(exif),
        composite=exif.get_ifd(ExifTags.IFD.Exif).get(_COMPOSITE_IMAGE) in _OF_SEVERAL,
        taken_at=taken_at,
        taken_offset=offset,
        credentials=MARKER in data,
        warnings=facts.warnings if taken_at else (*facts.warnings, *_said_of_clock(exif)),
    )


def _focal_mm35(exif: Image.Exif) -> float | None:
    """The 35-mm-equivalent focal length in mm, where the camera says it."""
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    value = _number(camera.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if value and 8 <= value <= 400:
        return value
    return None


def _exposure(exif: Image.Exif) -> float | None:
    """Seconds * ISO / f-number^2; None where one of them is not told."""
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    speed = camera.get(ExifTags.Base.ISOSpeedRatings)
    seconds, f_number, iso = (
        _number(camera.get(ExifTags.Base.ExposureTime)),
        _number(camera.get(ExifTags.Base.FNumber)),
        _number(speed[0] if isinstance(speed, tuple) and speed else speed),
    )
    if not seconds or not f_number or not iso or min(seconds, f_number, iso) <= 0:
        return None
    return seconds * iso / f_number**2


# Exif 2.32, CompositeImage: 2 is a composite, 3 one whose shots were taken together (from memory).
_COMPOSITE_IMAGE, _OF_SEVERAL = 0xA460, (2, 3)
_MOST_LETTERS = 80


# What phones say there of a picture of their screen (from memory), after eight bytes that name the letters (Exif 2.32).
_OF_SCREEN, _NAME_OF_LETTERS = b"screenshot", 8


def _is_of_screen(exif: Image.Exif) -> bool:
    said = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.UserComment)
    if not isinstance(said, bytes):
        return False
    return said[_NAME_OF_LETTERS:].replace(b"\0", b"").strip().lower() == _OF_SCREEN


def _device(exif: Image.Exif) -> tuple[str, str, str]:
    """(make, model, lens) of the camera; never a serial number or an owner."""
    lens = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.LensModel)
    make, model, lens = (_plain(text) for text in (exif.get(ExifTags.Base.Make), exif.get(ExifTags.Base.Model), lens))
    return make, model, lens


def _plain(text: object) -> str:
    """A short line of letters, whatever stands in the file."""
    said = _in_utf8(text) if isinstance(text, str) else ""
    return " ".join("".join(ch if ch.isprintable() else " " for ch in said).split())[:_MOST_LETTERS]


def _in_utf8(text: str) -> str:
    """A text of Exif, which the library takes for Latin-1: phones write UTF-8, and hardly any Latin-1 is that too."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) else None


def whole_number(value: Any) -> int | None:
    """A number of Exif or TIFF that should be whole, whatever type it was written with; None where it is none."""
    number = _number(value[0] if isinstance(value, tuple) and value else value)
    return None if number is None else int(number)


# Exif 2.32: a clock's time, and beside it how far that clock was from UTC. When the shutter opened, when that was made
# into numbers (of a scan, that is the scan), and when the file was last changed; the last in the main directory.
_CLOCKS = (
    (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
    (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    (ExifTags.Base.DateTime, ExifTags.Base.OffsetTime),
)


def _taken(exif: Image.Exif) -> tuple[str | None, str]:
    """The camera's date as an ISO 8601 local time, None where no clock tells one that a calendar has; and how far that
    clock was from UTC, as "+01:00", empty where it does not say.
    """
    camera = exif.get_ifd(ExifTags.IFD.Exif)
    for clock, offset in _CLOCKS:
        at = _on_calendar((exif if clock == ExifTags.Base.DateTime else camera).get(clock))
        if at is not None and not _never_set(at):
            return at.isoformat(), _from_utc(camera.get(offset))
    return None, ""


# Where clocks begin whose battery was out; 1970 is also what programs write that know no date, in any zone.
_NEVER_SET = (date(1969, 12, 31), date(1970, 1, 1), date(1980, 1, 1), date(2000, 1, 1))
_FIRST_PHOTO = 1826  # of those that are kept (from memory)


def _never_set(at: datetime) -> bool:
    return at.date() in _NEVER_SET or at.year < _FIRST_PHOTO


_SAID_NEVER_SET = "the camera's clock was not set: it says {}; that is not taken for the date of the photo"


def _said_of_clock(exif: Image.Exif) -> tuple[str, ...]:
    """What is told of a photo without a date: that its clock was never set."""
    at = _on_calendar(exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal))
    return (_SAID_NEVER_SET.format(at.date()),) if at is not None and _never_set(at) else ()


# Exif wants "2026:11:20 10:11:12"; scanners leave out the seconds, and others write blanks for zeros, or slashes.
_DATE = re.compile(r"\s*(\d{4})[:/-] ?(\d{1,2})[:/-] ?(\d{1,2})[ T-]+(\d{1,2}):(\d\d)(?::(\d\d))?(?!\d)")


def _on_calendar(text: object) -> datetime | None:
    """A clock's local time, to the minute at the least: by a day alone, all works of that day would be one occasion."""
    found = _DATE.match(text) if isinstance(text, str) else None
    if found is None:
        return None
    with contextlib.suppress(ValueError):
        year, month, day, hour, minute, second = (int(part or 0) for part in found.groups())
        return datetime(year, month, day, hour, minute, second)
    return None


def _from_utc(text: object) -> str:
    """An offset as "+01:00"; empty where it is none."""
    said = text.strip() if isinstance(text, str) else ""
    said = "+00:00" if said == "Z" else said
    return said if re.fullmatch(r"[+-](?:0\d|1[0-4]):[0-5]\d", said) else ""


_ENTRY_BYTES = 12  # of a directory of TIFF 6.0: tag, type, count, and the value or where it stands


def lost_of_exif(exif: Image.Exif, data: bytes, *, turned: bool) -> str:
    """What of a photo's date and of which side is up stands in a part of its Exif that is cut off; empty for nothing.

    The library reads what there is and says nothing. data: the Exif as the file has it; turned: which side is up is
    known without it.
    """
    data = _TIFF_AT.sub(b"", data)
    if len(data) < _HEAD_BYTES:
        return ""
    main, whole = _directory(data, _order(data)(data[4:_HEAD_BYTES]))
    camera, all_of_it = _directory(data, main[ExifTags.IFD.Exif][1]) if ExifTags.IFD.Exif in main else ({}, whole)
    clocks = [(main if clock == ExifTags.Base.DateTime else camera).get(clock, (0, 0)) for clock, _ in _CLOCKS]
    date_gone = not (whole and all_of_it) or any(
        letters + start > len(data) for letters, start in clocks if letters > 4
    )
    side = ExifTags.Base.Orientation
    lost = ["its date"] if date_gone and _taken(exif)[0] is None else []
    lost += ["which side is up"] if not turned and side not in exif and (side in main or not whole) else []
    return " and ".join(lost)


def side_by_its_entry(data: bytes) -> int | None:
    """Which side of a photo is up (1..8), by that entry alone of its Exif; None where it is not there, or is damaged.

    Where something beside it is damaged the library may read nothing at all.
    """
    data = _TIFF_AT.sub(b"", data)
    if len(data) < _HEAD_BYTES or data[:2] not in (b"II", b"MM"):
        return None
    number = _order(data)
    first = number(data[4:_HEAD_BYTES]) + 2
    most = max(number(data[first - 2 : first]), 0)
    for at in range(first, min(first + most * _ENTRY_BYTES, len(data) - _ENTRY_BYTES + 1), _ENTRY_BYTES):
        tag, kind, count = number(data[at : at + 2]), number(data[at + 2 : at + 4]), number(data[at + 4 : at + 8])
        if (tag, count) == (ExifTags.Base.Orientation, 1) and kind in _WHOLE:
            side = number(data[at + 8 : at + 8 + _WHOLE[kind]])
            return side if 1 <= side <= 8 else None
    return None


_TIFF_AT = re.compile(rb"^(?:Exif\0\0){1,2}")
_WHOLE = {3: 2, 4: 4}  # TIFF 6.0: SHORT and LONG, and their bytes
_HEAD_BYTES = 8  # of TIFF 6.0: the order of bytes, 42, and where the first directory stands


def _order(data: bytes) -> Callable[[bytes], int]:
    """How numbers of this Exif are read."""
    return partial(int.from_bytes, byteorder="little" if data[:2] == b"II" else "big")


def _directory(data: bytes, start: int) -> tuple[dict[int, tuple[int, int]], bool]:
    """The tags of a directory of Exif, each with its count and where its value stands; and whether it is all there."""
    number = _order(data)
    first = start + 2
    count = number(data[start:first]) if first <= len(data) else 0
    end = first + count * _ENTRY_BYTES
    entries = (data[at : at + _ENTRY_BYTES] for at in range(first, min(end, len(data)), _ENTRY_BYTES))
    found = {
        number(entry[:2]): (number(entry[4:8]), number(entry[8:])) for entry in entries if len(entry) == _ENTRY_BYTES
    }
    return found, end <= len(data)


def raw_facts(data: bytes) -> dict[str, Any]:
    """Focal length, exposure and date from the TIFF part of a RAW file, where it has one."""
    try:
        exif = Image.Exif()
        exif.load(b"Exif\0\0" + data[: 4 * 1024 * 1024])
        taken_at, offset = _taken(exif)
        return {"focal_mm35": _focal_mm35(exif), "exposure": _exposure(exif), "taken_at": taken_at,
                "taken_offset": offset, "device": _device(exif)}  # fmt: skip
    except Exception:  # facts that can't be read are simply not known
        return {}
