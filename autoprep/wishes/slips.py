"""Usual slips in a settings file that make it no TOML, in plain words."""

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
        return (f'a text in a list stands in quotes: "{bare[1]}"' if bare else problem), at
    if problem.startswith("Cannot declare"):
        return f"the table {line.partition('#')[0].strip()} stands here for the second time; put both together", at
    found = _ASSIGNED.fullmatch(line)
    if found is None:
        remark = bool(line.strip()) and not re.search(r"[\[\]=\"']", line)
        return ("a line is `name = value`; a remark begins with #" if remark else problem), at
    key, value = found[1], found[2]
    if problem.startswith("Cannot overwrite"):
        return f"`{key}` stands here for the second time; keep one of them", at
    return _of_value(key, value) or problem, at


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
