"""The log: JSON lines in the records, readable lines on a terminal; nothing in a value can forge either."""

import json
import logging
import os
import re
import shlex
import sys
import traceback
import unicodedata
from collections.abc import MutableMapping
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, TextIO

_MOST_BYTES, _KEPT = 5_000_000, 5  # at most 30 MB of log

# On a terminal a photo is one line, told when it is finished; each of its steps stands in the file.
_FILE_ALONE = ("started", "stage")
_TRACE = "traceback"  # this value too

Event = MutableMapping[str, Any]


def counted(number: int, word: str) -> str:
    """`1 photo`, `2 photos`."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def plain(text: str) -> str:
    """Text with every control, format, line-breaking and surrogate character written as an escape.

    But for the two joiners, which belong to the spelling of Persian, Hindi or Malayalam.
    """
    if text.isprintable():  # nearly all is, and the library tells that in a thirtieth of the time
        return text
    return "".join(_escaped(ch) if _odd(ch) and ch not in "\u200c\u200d" else ch for ch in text)


def _odd(ch: str) -> bool:
    return unicodedata.category(ch)[0] == "C" or ch in "\u2028\u2029"


# Characters that order the letters around them: what follows one can be made to look like something else. The marks
# of a direction (U+061C, U+200E, U+200F) stand among Arabic and Hebrew letters, and move none.
_ORDERING = re.compile("[\u202a-\u202e\u2066-\u2069]")


def name_of(text: str) -> str:
    """A name with the characters written as escapes that break a line, order letters anew or are none.

    All others stay, seen or not: with one that is written in another way it would be the name of no file.
    """
    return "".join(_escaped(ch) if _breaks(ch) else ch for ch in text)


def shown_as(path: bytes) -> str:
    """A path below the inbox as text: forward slashes, nothing that breaks a line."""
    return name_of(path.replace(os.sep.encode(), b"/").decode("utf-8", "backslashreplace"))


def _breaks(ch: str) -> bool:
    return unicodedata.category(ch) in ("Cc", "Cs", "Zl", "Zp") or _ORDERING.match(ch) is not None


def as_text(text: str) -> str:
    """What the disk or the shell gives, as text: bytes that are none are escapes."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def composed(text: str) -> str:
    """A text with each letter and its accents put together: some computers give names apart, and words are known so."""
    return unicodedata.normalize("NFC", text)


def as_shown(name: str) -> str:
    """A name as the disk or the shell gives it, in the form in which it is shown."""
    return name_of(as_text(name))


def argument(text: str) -> str:
    """Text as it is typed after a command: quoted as a shell needs it, and no option where it looks like one.

    Letters that are not seen stay, for what is typed must be the photo's name.
    """
    quoted = shlex.quote(name_of(text))
    return f"-- {quoted}" if text.startswith("-") else quoted


def _escaped(ch: str) -> str:
    return f"\\x{ord(ch):02x}" if ord(ch) < 256 else f"\\u{ord(ch):04x}" if ord(ch) < 65536 else f"\\U{ord(ch):08x}"


def _traced(_logger: object, _name: str, event: Event) -> Event:
    """What was raised, as text, as workers tell it: a library's object would reach the file as a bare “true”."""
    problem = sys.exc_info()[1] if event.pop("exc_info", None) else None
    if problem is not None:
        event[_TRACE] = "".join(traceback.format_exception(problem))
    return event


def _plain_values(_logger: object, _name: str, event: Event) -> Event:
    return {key: _plain_value(key, value) if isinstance(value, str) else value for key, value in event.items()}


def _plain_value(key: str, value: str) -> str:
    """A traceback alone keeps its lines: it is never shown on a terminal, and in the file they are escapes."""
    return "\n".join(map(plain, value.splitlines())) if key == _TRACE else plain(value)


class _Tee:
    """The last processor: one JSON line to the file, one readable line to the terminal."""

    def __init__(self, handler: logging.Handler, terminal: TextIO | None) -> None:
        import structlog

        self._drop = structlog.DropEvent
        self._handler = handler
        self._terminal = terminal
        colours = bool(terminal and terminal.isatty())
        self._render = structlog.dev.ConsoleRenderer(colors=colours, sort_keys=False, pad_event_to=22)

    def __call__(self, logger: object, name: str, event: Event) -> str:
        line = json.dumps(event, ensure_ascii=False, default=lambda value: plain(str(value)))
        self._handler.handle(logging.LogRecord("autoprep", logging.INFO, "", 0, line, None, None))
        if self._terminal is not None and event.get("event") not in _FILE_ALONE:
            shown = {key: value for key, value in event.items() if key != _TRACE and (key != "seconds" or value)}
            print(self._render(logger, name, shown), file=self._terminal)
        raise self._drop


def open_log(records: Path, terminal: TextIO | None = sys.stderr) -> Any:
    """A bound logger that writes records/log.jsonl, and the terminal unless it is None."""
    import structlog  # commands that only ask need none of it

    records.mkdir(parents=True, exist_ok=True)
    handler = RotatingFileHandler(
        records / "log.jsonl",
        maxBytes=_MOST_BYTES,
        backupCount=_KEPT,
        encoding="utf-8",
        errors="backslashreplace",
    )
    handler.setFormatter(logging.Formatter("%(message)s"))
    return structlog.wrap_logger(
        structlog.PrintLogger(),
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            _traced,
            _plain_values,
            _Tee(handler, terminal),
        ],
        cache_logger_on_first_use=True,
    ).bind()
