"""Usual slips in a settings file that make it no TOML, in plain words."""

import datetime
import re

_ASSIGNED = re.compile(r"""\s*([\w.-]+)\s*=\s*("[^"]*"|'[^']*'|[^#]*?)\s*(#.*)?""")
# What a key's last letters say of its unit, how people write that unit, and factors of others that they write.
_UNITS = {
    "mm": ("mm", {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}),
    "cm": ("cm", {"cm": 1.0, "m": 100.0, "in": 2.54}),
    "px": ("pixels", {"px": 1.0, "pixels": 1.0}),
    "kb": ("kB", {"kb": 1.0, "mb": 1000.0}),
    "mb": ("MB", {"mb": 1.0, "gb": 1000.0}),
    "s": ("seconds", {"s": 1.0}),
    "percent": ("percent", {"%": 1.0, "percent": 1.0}),
    "days": ("days", {"days": 1.0, "d": 1.0}),
}
_WITH_UNIT = re.compile(r"(-?\d+(?:\.\d+)?)\s*([A-Za-z]+|%|”)")
_COMMA = re.compile(r"(-?\d+),(\d+)")
# Other values as people write them that TOML does not take: (what they look like, what to write instead).
_VALUES = (
    (r"", "`{key}` has no value behind the ="),
    (r"(?i:true|false)", "true and false have small letters: `{key} = {small}`"),
    (r"[^\W\d][^\"'\[\]{}]*", 'a text stands in quotes: `{key} = "{value}"`'),
    (r"[\"'][^\"']*|[^\"']*[\"']", "a quote of `{key}` is open: it takes one before the text and one behind it"),
)


def lines_of(text: str) -> list[str]:
    """The lines of a text as TOML counts them: other signs that end a line elsewhere are letters there."""
    return [line.removesuffix("\r") for line in text.split("\n")]


def line_in(text: str, problem: str) -> int:
    """The line of which the parser speaks: where it names none, the last."""
    line = re.search(r"line (\d+)", problem)
    return int(line[1]) if line else len(lines_of(text))


def slip(text: str, at: int, problem: str) -> tuple[str, int]:
    """What is wrong in a TOML text, and in which line; at, problem: what the parser says, and where.

    The parser's own words where it is none of the usual slips.
    """
    lines = lines_of(text)
    line = lines[at - 1] if at <= len(lines) else ""
    opened = _opened(lines[: at - 1])
    if opened:
        what, begun = opened
        cut_off = "Unclosed array" in problem or "Unterminated string" in problem
        if cut_off or (what == "list" and _ASSIGNED.fullmatch(line)):
            return f"the {what} that begins here is open: it takes {_ENDS[what]} at its end", begun
        bare = re.fullmatch(r"\s*([^\W\d][^\"',=#\[\]]*?)\s*,?\s*(#.*)?", line) if what == "list" else None
        said = "a \\ in a text is written twice" if problem.startswith(_BY_BACKSLASH[:3]) else problem
        return (f'a text in a list stands in quotes: "{bare[1]}"' if bare else said), at
    if problem.startswith("Cannot declare"):
        return f"the table {line.partition('#')[0].strip()} stands here for the second time; put both together", at
    found = _ASSIGNED.fullmatch(line)
    return (_of_bare(line) if found is None else _of_line(found[1], found[2], problem)) or problem, at


def _of_bare(line: str) -> str:
    """What is wrong with a line that sets nothing; empty where that is not known."""
    remark = bool(line.strip()) and not re.search(r"[\[\]=\"']", line)
    return "a line is `name = value`; a remark begins with #" if remark else ""


def _of_line(key: str, value: str, problem: str) -> str:
    """What is wrong with a line that sets something; empty where that is not known."""
    if problem.startswith("Cannot overwrite"):
        return f"`{key}` stands here for the second time; keep one of them"
    if value.startswith('"') and "\\" in value and problem.startswith(_BY_BACKSLASH):
        bare = value.strip('"')
        return f"a \\ in a text is written twice, or the text stands in single quotes: `{key} = '{bare}'`"
    return _of_date(key, value) or _of_value(key, value) or _of_sign(problem)


# How the parser begins where a text in double quotes holds a backslash that means nothing to it, or hides its end.
_BY_BACKSLASH = ("Unescaped", "Invalid hex", "Escaped", "Unterminated string", "Illegal character '\\n'")


def _of_date(key: str, value: str) -> str:
    """What is wrong with what looks like a date; empty for all else, and where nothing is."""
    if re.match(r"\d{1,2}[-./]\d{1,2}[-./]\d{2,4}(?!\d)", value):
        return f"`{key}`: a date is year, month and day, such as 2026-11-25"
    found = re.match(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?!\d)", value)
    if found is None:
        return ""
    year, month, day = (int(part) for part in found.groups())
    try:
        meant = datetime.date(year, month, day).isoformat()
    except ValueError:
        return f"`{key}`: there is no such day as {found[0]}; a date is year, month and day, such as 2026-11-25"
    if found[0] != meant:
        return f"a date has four, two and two digits, with - between: `{key} = {meant}`"
    return f"`{key}`: {value} is no time of day; one is such as {meant} 10:30:00" if value != meant else ""


def _of_sign(problem: str) -> str:
    unseen = problem.startswith("Illegal character") and "\\n" not in problem
    return "this line holds a sign that nobody sees; write the line anew" if unseen else ""


_ENDS = {"list": "a ]", "text": 'three quotes """'}


def _opened(lines: list[str]) -> tuple[str, int] | None:
    """The list or text over several lines in which the lines end, and the line in which it begins; None for none."""
    what, begun = "", 0
    for number, line in enumerate(lines, 1):
        if what == "text":
            what = "" if line.count('"""') % 2 else what
        elif what == "list":
            what = "" if line.partition("#")[0].rstrip().endswith("]") else what
        elif line.count('"""') % 2:
            what, begun = "text", number
        elif re.match(r"\s*[\w.-]+\s*=\s*\[[^\]]*(#.*)?$", line):
            what, begun = "list", number
    return (what, begun) if what else None


def _of_value(key: str, value: str) -> str:
    """What is wrong with a value; empty where that is not known."""
    if (comma := _COMMA.fullmatch(value)) is not None:
        plain = f"`{key} = {comma[1]}.{comma[2]}`"
        if len(comma[2]) == 3:  # thousands are written so too
            return f"a number has no comma: `{key} = {comma[1]}{comma[2]}`, or {plain} where it parts the decimals"
        return f"a number has a point before its decimals: {plain}"
    if (measure := _WITH_UNIT.fullmatch(value)) is not None:
        return _without_unit(key, float(measure[1]), measure[2].lower())
    for looks, said in _VALUES:
        if re.fullmatch(looks, value) is not None and value not in ("true", "false"):
            return said.format(key=key, value=value, small=value.lower())
    return ""


def _without_unit(key: str, number: float, unit: str) -> str:
    """What to write for a number with a unit: the number in the key's own unit, where both are known."""
    name, factors = _UNITS.get(key.rpartition("_")[2], ("", {}))
    if unit == "”":
        unit = "in"
    if unit in factors:
        return f"a number stands alone, without a unit: `{key} = {round(number * factors[unit], 3):g}`"
    return "a number stands alone, without a unit" + (f"; this one is in {name}" if name else "")
