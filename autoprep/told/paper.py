"""Pictures on paper, as a PDF to print or to send along: a sheet of them with captions, or a call's image list.

Fonts are embedded; heading, entries, texts and pictures hang in a structure tree, with what each picture shows. Neither
file claims to be PDF/UA: nothing here checks all that it asks for.
"""

import contextlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, cast

from PIL import Image, ImageCms, ImageOps

if TYPE_CHECKING:
    from autoprep.told.tagging import TaggedPdf

_Entry = TypeVar("_Entry")
OWN_FONT = Path(str(resources.files("autoprep") / "fonts" / "DejaVuSans.ttf"))
_PAGE_MM, _EDGE_MM, _GAP_MM = (210.0, 297.0), 14.0, 6.0  # A4 (ISO 216)
_COLUMNS, _ROWS = 3, 4
PER_SHEET = _COLUMNS * _ROWS
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
    pdf = _document(heading, author, made or datetime.now(UTC), fonts)
    width = (_PAGE_MM[0] - 2 * _EDGE_MM - (_COLUMNS - 1) * _GAP_MM) / _COLUMNS
    height = (_PAGE_MM[1] - 2 * _EDGE_MM - _HEAD_MM) / _ROWS - _GAP_MM
    for cell, place in _placed(pdf, heading, cells, PER_SHEET):
        x = _EDGE_MM + place % _COLUMNS * (width + _GAP_MM)
        y = _EDGE_MM + _HEAD_MM + place // _COLUMNS * (height + _GAP_MM)
        _draw(pdf, cell, (x, y, width, height))
    return bytes(pdf.output())


@dataclass(frozen=True)
class Row:
    """One picture of an image list: its file, number, and file name; the caption; what it shows; its price."""

    picture: Path
    number: str
    file: str
    caption: str
    words: str = ""
    price: str = ""


_ROWS_PER_PAGE, _PICTURE_MM, _PRICE_MM = 6, (48.0, 38.0), 26.0


def image_list(heading: str, rows: Sequence[Row], *, author: str, made: datetime, fonts: Sequence[Path] = ()) -> bytes:
    """A call's list as a PDF: a picture beside each entry, six to a page of A4. The same rows give the same bytes.

    author, made, fonts as for `sheet`; author is empty for a blind list.
    """
    pdf = _document(heading, author, made, fonts)
    height = (_PAGE_MM[1] - 2 * _EDGE_MM - _HEAD_MM) / _ROWS_PER_PAGE
    for row, place in _placed(pdf, heading, rows, _ROWS_PER_PAGE):
        _draw_row(pdf, row, _EDGE_MM + _HEAD_MM + place * height)
    return bytes(pdf.output())


def _draw_row(pdf: "TaggedPdf", row: Row, y: float) -> None:
    small = _small(row.picture)
    if small is not None:
        data, (px_wide, px_high) = small
        scale = min(_PICTURE_MM[0] / px_wide, _PICTURE_MM[1] / px_high)
        with pdf.tag("Figure", row.words or row.caption or row.number):
            pdf.image(io.BytesIO(data), _EDGE_MM, y, px_wide * scale, px_high * scale)
    x = _EDGE_MM + _PICTURE_MM[0] + _GAP_MM
    width = _PAGE_MM[0] - _EDGE_MM - x - (_PRICE_MM if row.price else 0)
    top = y
    for text, size, line_mm, most in ((row.caption, 10, 5.0, 3), (row.words, 8, 4.0, 3), (row.file, 8, 4.0, 1)):
        pdf.set_font("text", size=size)
        said = f"{row.number}  {text}" if text is row.caption else text
        lines = _lines(pdf, said, width, most)
        with pdf.tag("P") if lines else contextlib.nullcontext():
            for line in lines:
                pdf.set_xy(x, y)
                pdf.cell(width, line_mm, line)
                y += line_mm
    if row.price:
        pdf.set_font("text", size=10)
        pdf.set_xy(_PAGE_MM[0] - _EDGE_MM - _PRICE_MM, top)
        with pdf.tag("P"):
            pdf.cell(_PRICE_MM, 5, _fitting(pdf, row.price, _PRICE_MM), align="R")


def _lines(pdf: "TaggedPdf", text: str, width: float, most: int) -> list[str]:
    """The text broken into at most so many lines; what is left over is told by three dots."""
    if not text:
        return []
    lines = cast(list[str], pdf.multi_cell(width, None, text, dry_run=True, output="LINES", align="L"))
    return lines if len(lines) <= most else [*lines[: most - 1], _fitting(pdf, " ".join(lines[most - 1 :]), width)]


def _document(heading: str, author: str, made: datetime, fonts: Sequence[Path]) -> "TaggedPdf":
    from autoprep.told.tagging import TaggedPdf  # 34 MiB, which only a process that writes a list or a sheet needs

    pdf = TaggedPdf(heading, "en")
    pdf.set_auto_page_break(False)
    if author:
        pdf.set_author(author)
    pdf.set_producer("")
    pdf.set_creation_date(made)
    for name, font in zip(("text", "other"), fonts or (OWN_FONT,), strict=False):
        pdf.add_font(name, "", str(font))
    if len(fonts) > 1:
        pdf.set_fallback_fonts(["other"])
    return pdf


def _placed(pdf: "TaggedPdf", heading: str, entries: Sequence[_Entry], per_page: int) -> Iterator[tuple[_Entry, int]]:
    """Each entry with its place on its page, to be drawn meanwhile as an item of a list; pages begin by themselves."""
    pages = max(1, -(-len(entries) // per_page))
    _begin(pdf, heading, 0, pages)
    with pdf.group("L"):
        for number, entry in enumerate(entries):
            page, place = divmod(number, per_page)
            if page and not place:
                _begin(pdf, heading, page, pages)
            with pdf.group("LI", "LBody"):
                yield entry, place


def _begin(pdf: "TaggedPdf", heading: str, page: int, pages: int) -> None:
    """A new page with the heading, which is a heading on the first and comes again on the others."""
    pdf.add_page()
    pdf.set_font("text", size=13)
    pdf.set_xy(_EDGE_MM, _EDGE_MM)
    with pdf.artifact() if page else pdf.tag("H1"):
        pdf.cell(_PAGE_MM[0] - 2 * _EDGE_MM - 20, 7, _fitting(pdf, heading, _PAGE_MM[0] - 2 * _EDGE_MM - 22))
    if pages > 1:
        pdf.set_font("text", size=8)
        with pdf.artifact():
            pdf.cell(20, 7, f"{page + 1} / {pages}", align="R")


def _draw(pdf: "TaggedPdf", cell: Cell, box: tuple[float, float, float, float]) -> None:
    x, y, width, height = box
    room = height - _CAPTION_MM
    small = _small(cell.picture)
    if small is not None:
        data, (px_wide, px_high) = small
        scale = min(width / px_wide, room / px_high)
        # On the line of the caption, so that a row of them stands on one ground.
        at = (x, y + room - px_high * scale)
        said = cell.words or cell.title or cell.number
        with pdf.tag("Figure", said):
            pdf.image(io.BytesIO(data), *at, px_wide * scale, px_high * scale)
    pdf.set_font("text", size=8)
    pdf.set_xy(x, y + room + 1.5)
    with pdf.tag("P"):
        pdf.cell(width, 4, _fitting(pdf, " ".join(part for part in (cell.number, cell.title) if part), width))
    pdf.set_font("text", size=6.5)
    for row, line in enumerate(cell.lines[:3]):
        pdf.set_xy(x, y + room + 5.5 + 3.2 * row)
        with pdf.tag("P"):
            pdf.cell(width, 3.2, _fitting(pdf, line, width))


def _fitting(pdf: "TaggedPdf", text: str, width: float) -> str:
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
            small = _as_screens_show(upright)
            small.thumbnail((_PICTURE_PX, _PICTURE_PX), Image.Resampling.LANCZOS)
    except (OSError, ValueError, SyntaxError):
        return None
    out = io.BytesIO()
    small.info.clear()
    small.save(out, "JPEG", quality=_QUALITY, subsampling=0)
    return out.getvalue(), small.size


def _as_screens_show(picture: Image.Image) -> Image.Image:
    """The picture in sRGB: the page has no colour space of its own."""
    profile = picture.info.get("icc_profile")
    if profile:
        with contextlib.suppress(ImageCms.PyCMSError, OSError, ValueError):
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            shown = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
            if shown is not None:
                return shown
    return picture.convert("RGB")
