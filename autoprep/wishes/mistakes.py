"""What is wrong in a settings file: all of it at once, each with its line and the nearest word that is known."""

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args

from anyascii import anyascii
from pydantic import BaseModel, ValidationError

from autoprep.errors import ConfigError
from autoprep.wishes.slips import line_in, lines_of, slip

T = TypeVar("T", bound=BaseModel)

_CURLY = "“”„‘’‚«»"


class Mistakes:
    """Collects what is wrong, so that nobody mends a file one line at a time."""

    def __init__(self) -> None:
        self._found: list[ConfigError] = []

    def add(self, message: str, path: Path, line: int | None = None) -> None:
        """Keep a mistake."""
        self._found.append(ConfigError(message, path, line))

    def tell(self) -> None:
        """Raises ConfigError with all that was found, in the order of the lines; returns where there was nothing."""
        if self._found:
            raise ConfigError.together(self._found)

    def parsed(self, path: Path, text: str) -> dict[str, Any]:
        """The tables of a TOML text; empty where it can't be read."""
        try:
            return tomllib.loads(text)
        except tomllib.TOMLDecodeError as problem:
            curly = [number for number, line in enumerate(lines_of(text), 1) if _has_curly(line)]
            for number in curly:
                self.add('curly quotes; TOML wants straight ones: "', path, number)
            at = line_in(text, str(problem))
            if at not in curly:
                said, at = slip(text, at, str(problem))
                self.add(_no_toml(text, at) or f"this is not valid TOML: {said}", path, at)
        except (RecursionError, ValueError):  # what the parser itself chokes on
            self.add("this file holds a number or a nesting that is too large to be meant", path)
        return {}

    def validated(
        self, model: type[T], data: dict[str, Any], path: Path, text: str, at: tuple[str, ...] = ()
    ) -> T | None:
        """The data as a model; None where something is wrong with it. at: the table that the data stand in."""
        try:
            return model.model_validate(data)
        except ValidationError as problem:
            for error in problem.errors():
                where = (*at, *(str(part) for part in error["loc"] if isinstance(part, str)))
                self.add(_message(model, error, where, at), path, line_of(text, where))
            return None


_HEADER = re.compile(r"\s*\[([^\]\"'#=]*)\]\s*(#.*)?")


def _no_toml(text: str, at: int | None) -> str:
    """What is wrong with a table's name that TOML does not take; empty where something else is wrong."""
    lines = lines_of(text)
    header = _HEADER.fullmatch(lines[at - 1]) if at is not None and at <= len(lines) else None
    name = "" if header is None else header[1].strip()
    if header is None or re.fullmatch(r"[A-Za-z0-9_-]+", name):
        return ""
    plain = re.sub(r"[^a-z0-9_-]+", "-", anyascii(name).lower()).strip("-")
    example = f", such as [{plain}]" if plain else ""
    return f"[{name}]: the name of a table has letters from a to z, digits, - and _, and no blanks{example}"


def _has_curly(line: str) -> bool:
    """Whether a line of TOML holds curly quotes outside straight ones and comments."""
    bare = re.sub(r'"[^"]*"|\'[^\']*\'', "", line).partition("#")[0]
    return any(quote in bare for quote in _CURLY)


def _message(model: type[BaseModel], error: Any, where: tuple[str, ...], at: tuple[str, ...]) -> str:
    name = ".".join(where)
    if error["type"] == "extra_forbidden":
        known = _known_names(model, where[len(at) : -1])
        if in_mm := _in_mm(where[-1], error["input"], known):
            return f"unknown key `{name}`; {in_mm}"
        near = nearest(where[-1], known)
        there = f"the nearest known one is `{near}`" if near else f"there are {', '.join(known)}"
        return f"unknown key `{name}`; {there}"
    limits = _limits(model, where[len(at) :]) if error["type"] in _OF_RANGE else {}
    said = str(error["msg"]).removeprefix("Value error, ").replace("Input should be", "must be")
    reason = _PLAIN.get(error["type"]) or _in_range(limits) or said
    return f"`{name}`: {reason}" if where else reason


_OF_RANGE = ("greater_than_equal", "less_than_equal", "greater_than", "less_than")
_BOUNDS = ("ge", "gt", "le", "lt")


def _limits(model: type[BaseModel], path: tuple[str, ...]) -> dict[str, float]:
    """The bounds of a number by how they are called: ge, gt, le, lt."""
    for part in path[:-1]:
        annotation = model.model_fields[part].annotation
        if not (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
            return {}
        model = annotation
    field = model.model_fields[path[-1]]
    of_types = [each for kind in get_args(field.annotation) for each in getattr(kind, "__metadata__", ())]
    held = [each for info in (*field.metadata, *of_types) for each in getattr(info, "metadata", [info])]
    return {name: getattr(each, name) for each in held for name in _BOUNDS if hasattr(each, name)}


def _in_range(limits: Mapping[str, float]) -> str:
    """What a number must be; empty where it has no bounds."""
    if "ge" in limits and "le" in limits:
        return f"must be between {limits['ge']:g} and {limits['le']:g}"
    words = {"ge": "{:g} or more", "gt": "more than {:g}", "le": "{:g} at the most", "lt": "less than {:g}"}
    said = [words[name].format(limits[name]) for name in _BOUNDS if name in limits]
    return f"must be {', and '.join(said)}" if said else ""


def _in_mm(key: str, value: object, known: Iterable[str]) -> str:
    """What to write for a length in cm that is known in mm: the nearest name alone would make it a tenth as long.

    Empty for other keys.
    """
    there = key.lower().removesuffix("_cm") + "_mm"
    if not key.lower().endswith("_cm") or there not in known:
        return ""
    if isinstance(value, int | float):
        return f"lengths are in mm: write `{there} = {10 * value:g}`"
    return f"lengths are in mm: write `{there}`, and ten times the number"


_PLAIN = {
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float"), "must be a whole number, without quotes"),
    **dict.fromkeys(("float_type", "float_parsing"), "must be a number, without quotes"),
    **dict.fromkeys(("bool_type", "bool_parsing"), "must be true or false, without quotes"),
    **dict.fromkeys(("string_type", "path_type"), "must be text in quotes"),
    **dict.fromkeys(("date_type", "date_from_datetime_parsing", "date_parsing"), "must be a date such as 2026-11-25"),
    "tuple_type": 'must be a list such as ["sea", "boats"]',
    "model_type": "must be a table",
}


def _known_names(model: type[BaseModel], path: tuple[str, ...]) -> list[str]:
    for part in path:
        annotation = model.model_fields[part].annotation
        assert isinstance(annotation, type)
        assert issubclass(annotation, BaseModel)
        model = annotation
    return list(model.model_fields)


def nearest(text: str, known: Iterable[str]) -> str:
    """The word that is most like one that is not known; empty where none shares more than half of the letters."""
    folded = text.lower()
    for word in difflib.get_close_matches(folded, known, 3, cutoff=0.5):
        alike = difflib.SequenceMatcher(None, word, folded).get_matching_blocks()
        if 2 * sum(block.size for block in alike) > max(len(word), len(folded)):
            return word
    return ""


def line_of(text: str, where: tuple[str, ...]) -> int | None:
    """The line on which a key, or failing that its table, stands; also of a table that is written on one line."""
    table, key = ".".join(where[:-1]), where[-1] if where else ""
    current, table_line = "", None
    for number, line in enumerate(lines_of(text), 1):
        header = re.match(r"\s*\[\s*([^\]]+?)\s*\]", line)
        if header:
            current = header[1].replace('"', "").replace("'", "")
            if current in (table, ".".join(where)):
                table_line = number
        elif current == table and re.match(rf"""\s*["']?{re.escape(key)}["']?\s*=""", line):
            return number
    return table_line if table_line or len(where) < 3 else line_of(text, where[:-1])
