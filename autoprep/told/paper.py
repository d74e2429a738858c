"""A sheet of pictures to print or to send along: numbered, each with its caption, as a PDF."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from fpdf import FPDF
from PIL import Image, ImageOps

OWN_FONT = Path(str(resources.files("autoprep") / "fonts" / "DejaVuSans.ttf"))
_PAGE_MM, _EDGE_MM, _GAP_MM = (210.0, 297.0), 14.0, 6.0  # A4 (ISO 216)
_COLUMNS, _ROWS = 3, 4
_CAPTION_MM, _HEAD_MM = 17.0, 14.0
_PICTURE_PX = 700  # long side: 300 pixels per inch at the size of a cell
_QUALITY = 88


@dataclass(frozen=True)
class Cell:
    """One picture: its file, the number under it, a title, and what else is said of it. words: what it shows."""

    picture: Path
    number: str
    title: str
    lines: Sequence[str] = ()
    words: str = ""


def sheet(
    heading: str, cells: Sequence[Cell], *, author: str = "", made: datetime | None = None, fonts: Sequence[Path] = ()
) -> bytes:
    """The PDF's bytes. A picture that can't be read leaves its place empty; its caption stays.

    author: written into the file's properties, empty for a blind sheet; made: the time that the file names;
    fonts: of the letters, the first that holds one; by default the font that comes along.
    """
    pdf = FPDF("portrait", "mm", "A4")
    pdf.set_auto_page_break(False)
    pdf.set_title(heading)
    pdf.set_lang("en")
    if author:
        pdf.set_author(author)
    pdf.set_producer("")
    pdf.set_creation_date(made or datetime.now(UTC))
    for name, font in zip(("text", "other"), fonts or (OWN_FONT,), strict=False):
        pdf.add_font(name, "", str(font))
    if len(fonts) > 1:
        pdf.set_fallback_fonts(["other"])
    width = (_PAGE_MM[0] - 2 * _EDGE_MM - (_COLUMNS - 1) * _GAP_MM) / _COLUMNS
    height = (_PAGE_MM[1] - 2 * _EDGE_MM - _HEAD_MM) / _ROWS - _GAP_MM
    per_page = _COLUMNS * _ROWS
    pages = max(1, -(-len(cells) // per_page))
    for page in range(pages):
        pdf.add_page()
        _head(pdf, heading, f"{page + 1} / {pages}" if pages > 1 else "")
        for place, cell in enumerate(cells[page * per_page : (page + 1) * per_page]):
            x = _EDGE_MM + place % _COLUMNS * (width + _GAP_MM)
            y = _EDGE_MM + _HEAD_MM + place // _COLUMNS * (height + _GAP_MM)
            _draw(pdf, cell, (x, y, width, height))
    return bytes(pdf.output())


def _head(pdf: FPDF, heading: str, page: str) -> None:
    pdf.set_font("text", size=13)
    pdf.set_xy(_EDGE_MM, _EDGE_MM)
    pdf.cell(_PAGE_MM[0] - 2 * _EDGE_MM - 20, 7, _fitting(pdf, heading, _PAGE_MM[0] - 2 * _EDGE_MM - 22))
    pdf.set_font("text", size=8)
    pdf.cell(20, 7, page, align="R")


def _draw(pdf: FPDF, cell: Cell, box: tuple[float, float, float, float]) -> None:
    x, y, width, height = box
    room = height - _CAPTION_MM
    small = _small(cell.picture)
    if small is not None:
        data, (px_wide, px_high) = small
        scale = min(width / px_wide, room / px_high)
        # On the line of the caption, so that a row of them stands on one ground.
        at = (x, y + room - px_high * scale)
        said = cell.words or cell.title or cell.number
        pdf.image(io.BytesIO(data), *at, px_wide * scale, px_high * scale, alt_text=said)
    pdf.set_font("text", size=8)
    pdf.set_xy(x, y + room + 1.5)
    pdf.cell(width, 4, _fitting(pdf, " ".join(part for part in (cell.number, cell.title) if part), width))
    pdf.set_font("text", size=6.5)
    for row, line in enumerate(cell.lines[:3]):
        pdf.set_xy(x, y + room + 5.5 + 3.2 * row)
        pdf.cell(width, 3.2, _fitting(pdf, line, width))


def _fitting(pdf: FPDF, text: str, width: float) -> str:
    """The text, cut where it is wider than its place."""
    if pdf.get_string_width(text) <= width - 2:
        return text
    while text and pdf.get_string_width(text + "…") > width - 2:
        text = text[:-1]
    return text.rstrip() + "…"


def _small(picture: Path) -> tuple[bytes, tuple[int, int]] | None:
    try:
        with Image.open(picture) as opened:
            opened.draft("RGB", (_PICTURE_PX, _PICTURE_PX))
            upright = ImageOps.exif_transpose(opened) or opened
            small = upright.convert("RGB")
            small.thumbnail((_PICTURE_PX, _PICTURE_PX), Image.Resampling.LANCZOS)
    except (OSError, ValueError, SyntaxError):
        return None
    out = io.BytesIO()
    small.save(out, "JPEG", quality=_QUALITY, subsampling=0)
    return out.getvalue(), small.size
