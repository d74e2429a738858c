"""Sizes and dates as people write them: read whole or not at all, never by half."""

import contextlib
import re
from typing import Any

from autoprep.imaging.units import MM_PER_INCH, MM_PER_UNIT

_UNITS = {
    **MM_PER_UNIT, "m": 1000.0, "in.": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH,
    "”": MM_PER_INCH, "″": MM_PER_INCH, "''": MM_PER_INCH,
}  # fmt: skip
# Heights of upright sheets in mm, each half of the one before (ISO 216); width is the height of the next.
_ISO = {
    "a": (1189, 841, 594, 420, 297, 210, 148, 105, 74, 52, 37, 26),
    "b": (1414, 1000, 707, 500, 353, 250, 176, 125, 88, 62, 44, 31),
}
# Width and height of upright sheets in inches (ANSI/ASME Y14.1; legal and half letter: common practice, no source).
_INCH_SHEETS = {
    "letter": (8.5, 11.0), "half letter": (5.5, 8.5), "legal": (8.5, 14.0), "ledger": (11.0, 17.0),
    "tabloid": (11.0, 17.0),
}  # fmt: skip
_PARTS = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_NUMBER = r"\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?"
_UNIT = r"mm|cm|inches|inch|in\.?|m|\"|”|″|''"
_SIDE = rf"(?P<{{0}}>{_NUMBER})\s*(?P<unit_{{0}}>{_UNIT})?"
_LETTER = r"(?:\(?\b(?P<{0}>height|width|h|w)(?![a-z])\)?\.?:?\s*)?"
_BETWEEN = r"\s*(?:x|×|✕|х|\*|\bby\b)\s*"
_SIZE = re.compile(
    r"(?:(?:about|approx\.?|ca?\.)\s*)?"
    + _LETTER.format("before_a") + _SIDE.format("a") + r"\s*" + _LETTER.format("after_a") + _BETWEEN
    + _LETTER.format("before_b") + _SIDE.format("b") + r"\s*" + _LETTER.format("after_b") + rf"(?P<unit_end>{_UNIT})?"
    + rf"(?:{_BETWEEN}(?:d(?:epth)?\s*)?{_SIDE.format('deep')}\s*(?:\(?d(?:epth)?\)?)?)?",
    re.IGNORECASE,
)  # fmt: skip
_UNIT_WORD = re.compile(rf"(?<![a-z])(?:{_UNIT})(?![a-z])", re.IGNORECASE)
_SHEET = re.compile(
    r"(?:(?P<series>[ab])\s?(?P<number>\d{1,2})|(?P<name>half letter|letter|legal|ledger|tabloid))"
    r"(?:\s+(?:paper|sheet|(?P<upright>portrait|upright)|(?P<wide>landscape|wide)))?",
    re.IGNORECASE,
)


def size(text: str) -> dict[str, Any]:
    """Height x width, as captions have it, or a standard sheet ("A3", "letter"); where no unit stands cm, or inches if
    there is a fraction: nobody halves or quarters centimetres.

    Returns size_mm, (width, height), the unit that it was said in, and whether it is free to lie either way, as a sheet
    is that was said without a direction: that is given upright. Nothing where any of it is not understood. A third
    number is a depth, and has no part in a picture.
    """
    plain = " ".join(_with_parts(text).split())
    found = _SIZE.fullmatch(plain)
    if found is None:
        return _sheet(plain) or _twice(plain)
    try:
        first, second = _number(found["a"]), _number(found["b"])
    except ZeroDivisionError:
        return {}
    units = [(found[f"unit_{side}"] or "").lower() for side in ("a", "b", "end", "deep")]
    # One before the depth holds for both sides; that of the depth for all three where it is the only one.
    last = next((unit for unit in (units[2], units[1], units[0], units[3]) if unit), "in" if "/" in plain else "cm")
    a, b = (side * _UNITS[unit or last] for side, unit in zip((first, second), units[:2], strict=True))
    letters = [(found[f"before_{side}"] or found[f"after_{side}"] or "")[:1].lower() for side in ("a", "b")]
    if letters in (["w", "h"], ["w", ""], ["", "h"]):
        a, b = b, a
    elif letters[0] == letters[1] != "":
        return {}
    unit = "in" if _UNITS[last] == MM_PER_INCH else "mm" if last == "mm" else "cm"
    return {"size_mm": (b, a), "unit": unit, "size_free": False}


def _twice(text: str) -> dict[str, Any]:
    """A size with other words for it behind, "A4 (21 x 29.7 cm)", if both say the same; or its order: "(h x w)"."""
    found = re.fullmatch(r"([^()]+?)\s*\(([^()]+)\)", text)
    if found is None:
        return {}
    order = re.fullmatch(r"(h|w)(?:eight|idth)?\s*(?:x|×|by)\s*(h|w)(?:eight|idth)?", found[2].strip(), re.IGNORECASE)
    one, two = size(found[1]), {} if order else size(found[2])
    if order and one and order[1].lower() != order[2].lower():
        width, height = one["size_mm"]
        return one if order[1].lower() == "h" else {**one, "size_mm": (height, width)}
    if not (one and two):
        return {}
    said = two if two["size_free"] else one  # of a sheet it is known that it may lie either way
    pairs = zip(sorted(one["size_mm"]), sorted(two["size_mm"]), strict=True)
    return said if all(abs(a / b - 1) <= _ROUNDED for a, b in pairs) else {}


_ROUNDED = 0.02  # what is said in another unit is rounded there


def as_said(size_mm: tuple[float, float], unit: str, *, free: bool) -> str:
    """A size in words that are read as just that; empty where none are. size_mm: (width, height); free: as in size."""
    meant = {"size_mm": size_mm, "unit": unit, "size_free": free}
    width, height = (side / MM_PER_UNIT.get(unit, 10.0) for side in size_mm)
    sheets = (f"{series.upper()}{number}" for series, heights in _ISO.items() for number in range(len(heights) - 1))
    forms = (f"{height:{digits}g} x {width:{digits}g} {unit}" for digits in (".6", ".17"))
    tried = (*sheets, *_INCH_SHEETS) if free else forms
    return next((text for text in tried if size(text) == meant), "")


def wants_unit(text: str) -> bool:
    """Whether a text that ends with a size is in inches by its fractions alone, which is to be told."""
    return "/" in _with_parts(text) and not _UNIT_WORD.search(text)


def trailing_size(text: str) -> tuple[str, dict[str, Any]]:
    """A name that ends with a size without a comma before it, "Blue Jug 18x24in", as the name and the size.

    Only with a unit: two numbers alone may be part of a title.
    """
    if not re.search(rf"(?:{_UNIT})\s*$", text, re.IGNORECASE):
        return text, {}
    for space in re.finditer(r"\s+(?=\d)", text):
        said = size(text[space.end() :])
        if said and text[: space.start()].strip():
            return text[: space.start()].strip(), said
    return text, {}


def _with_parts(text: str) -> str:
    for sign, written in _PARTS.items():
        text = text.replace(sign, f" {written}")
    return text.replace("⁄", "/")


def number(text: str) -> float | None:
    """A number as people write it, "0,3", "1/3", "1 ½"; None where it is none."""
    plain = " ".join(_with_parts(text).split())
    if not re.fullmatch(_NUMBER, plain):
        return None
    with contextlib.suppress(ZeroDivisionError):
        return _number(plain)
    return None


def _number(text: str) -> float:
    whole, _, part = text.rpartition(" ") if "/" in text else (text, "", "")
    value = float(whole.strip().replace(",", ".") or 0)
    if part:
        above, _, below = part.partition("/")
        value += int(above) / int(below)
    return value


def _sheet(text: str) -> dict[str, Any]:
    found = _SHEET.fullmatch(text)
    if found is None:
        return {}
    if found["name"]:
        width, height = (side * MM_PER_INCH for side in _INCH_SHEETS[found["name"].lower()])
        return _lying(found, width, height, "in")
    heights, number = _ISO[found["series"].lower()], int(found["number"])
    if number > len(heights) - 2:
        return {}
    return _lying(found, float(heights[number + 1]), float(heights[number]), "cm")


# A sheet may be meant by a size whose sides are so near to its own, and one in the photo whose proportion is. Chosen.
_NEAR, _FITS = 0.12, 0.03


def sheet_like(size_mm: tuple[float, float], ratio: float) -> str:
    """The standard sheet that may be meant by a size, and that a work of another proportion in a photo agrees with.

    size_mm: as said; ratio: width : height in the photo. Returns its name; empty where there is none.
    """
    sheets = {
        f"{series.upper()}{number}": (float(heights[number]), float(heights[number + 1]))
        for series, heights in _ISO.items()
        for number in range(len(heights) - 1)
    } | {name: (b * MM_PER_INCH, a * MM_PER_INCH) for name, (a, b) in _INCH_SHEETS.items()}
    said, seen = sorted(size_mm, reverse=True), max(ratio, 1 / ratio)
    off = {
        name: max(abs(side / mine - 1) for side, mine in zip(said, sides, strict=True))
        for name, sides in sheets.items()
        if abs(sides[0] / sides[1] / seen - 1) <= _FITS
    }
    near = min(off, key=lambda name: off[name], default="")
    return near if near and off[near] <= _NEAR else ""


def _lying(found: re.Match[str], width: float, height: float, unit: str) -> dict[str, Any]:
    """A sheet as it is said to lie."""
    size_mm = (height, width) if found["wide"] else (width, height)
    return {"size_mm": size_mm, "unit": unit, "size_free": not (found["wide"] or found["upright"])}


_A_YEAR = r"(?:1\d|20)\d\d"
_SPAN = re.compile(
    rf"(?P<about>(?:circa|about|um|ca|c)\.?\s*)?(?P<first>{_A_YEAR})(?:\s*(?:-|–|—|/|to)\s*(?P<last>{_A_YEAR}|\d\d))?",
    re.IGNORECASE,
)
_MONTH = r"(?:0?[1-9]|1[0-2])"
_NAMED = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DATE = re.compile(
    rf"({_A_YEAR})[-./]{_MONTH}(?:[-./]\d{{1,2}})?"
    rf"|\d{{1,2}}\s*[-./]\s*\d{{1,2}}\s*[-./]\s*({_A_YEAR})"
    rf"|(?:\d{{1,2}}(?:st|nd|rd|th|\.)?\s+)?{_NAMED}\s+(?:\d{{1,2}}(?:st|nd|rd|th)?,?\s+)?({_A_YEAR})"
    rf"|(?:early|late|spring|summer|autumn|fall|winter)\s+({_A_YEAR})",
    re.IGNORECASE,
)


def year(text: str) -> dict[str, Any]:
    """The year of a work: "2026", "c. 2026", "2025–2026"; of a full date its year. Nothing where it is not understood.

    "2005-11" is a month of 2005 (ISO 8601), "2005-26" a span of years.
    """
    plain = " ".join(text.split())
    date = _DATE.fullmatch(plain)
    if date is not None:
        return {"year": next(found for found in date.groups() if found)}
    span = _SPAN.fullmatch(plain)
    if span is None:
        return {}
    said, last = span["first"], span["last"] or ""
    last = said[:2] + last if len(last) == 2 else last
    if last and last < said:
        return {}
    said = f"{said}–{last}" if last not in ("", said) else said
    return {"year": f"c. {said}" if span["about"] else said}


# In the languages whose words are read. "Mars" and "mar" are months only beside a number: a planet, and the sea.
_MONTHS = frozenset((
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december", "januar", "jänner", "februar", "märz", "mai", "juni", "juli", "oktober", "dezember", "janvier",
    "février", "avril", "juin", "juillet", "août", "septembre", "octobre", "novembre", "décembre", "enero", "febrero",
    "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre",
    "gennaio", "febbraio", "aprile", "maggio", "giugno", "luglio", "settembre", "ottobre", "dicembre", "januari",
    "februari", "maart", "mei", "augustus", "janeiro", "fevereiro", "março", "maio", "junho", "julho", "setembro",
    "outubro", "novembro", "dezembro",
))  # fmt: skip
_BESIDE_A_NUMBER = _MONTHS | {
    "mars",
    "jan",
    "feb",
    "mar",
    "apr",
    "jun",
    "jul",
    "aug",
    "sep",
    "sept",
    "oct",
    "okt",
    "nov",
    "dec",
    "dez",
}
_OF_A_DATE = re.compile(rf"{_A_YEAR}|['’]\d\d|\d{{1,2}}(?:st|nd|rd|th|er)?", re.IGNORECASE)
_JOINING = ("of", "de", "do", "to", "and", "und", "et", "y", "e")


def is_month(text: str) -> bool:
    """Whether a text is a month by its name, alone or with a day or a year, or several: "11 November 2026"."""
    words = [word for word in re.split(r"[\s_.,/+&–—-]+", text.casefold()) if word and word not in _JOINING]
    numbers = [word for word in words if _OF_A_DATE.fullmatch(word)]
    months = [word for word in words if word not in numbers]
    return bool(months) and all(month in (_BESIDE_A_NUMBER if numbers else _MONTHS) for month in months)
