"""What goes along with a destination's pictures: a numbered list as CSV and as a page to print, and a checklist.

The list holds the artist's own words only. An alternative text that was not written is missing, never made up.
"""

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from html import escape
from pathlib import PurePosixPath

from autoprep.domain import OutputRecord, WorkFacts
from autoprep.ledger import Delivered
from autoprep.metadata.statement import physical
from autoprep.wishes.destinations import Preset
from autoprep.wishes.names import number_in
from autoprep.wishes.work_lists import FORMULA


@dataclass(frozen=True)
class Entry:
    """One picture of a list: its file, what is said of the work, its number in the list, and which work it shows.

    numbered: its file's name bears that number; same: what is equal for files of one work.
    """

    output: OutputRecord
    work: WorkFacts
    number: int = 0
    numbered: bool = False
    same: str = ""

    @property
    def file(self) -> str:
        """The file's name alone."""
        return self.output.path.replace("\\", "/").rsplit("/", 1)[-1]


def entries(
    delivered: Iterable[Delivered],
    preset: Preset,
    artist: str,
    there: Callable[[str], bool] | None = None,
) -> list[Entry]:
    """The pictures of a destination in the order that the artist gives them, else that of the numbers in their names.

    there(path) tells which still lie in the folder. A number in a file's name is its number in the list, also where
    one is missing.
    """
    found = []
    for one in delivered:
        if there is None or there(one.output.path):
            stem = PurePosixPath(one.output.path.replace("\\", "/")).stem
            number = number_in(preset, one.output.destination, one.said, artist, one.shown, stem) or 0
            found.append(Entry(one.output, one.said, number, bool(number), one.work))
    found.sort(key=lambda entry: (entry.work.order or entry.number or 10_000, entry.number, entry.file))
    numbered = all(entry.number for entry in found)
    return found if numbered else [replace(entry, number=k) for k, entry in enumerate(found, 1)]


def caption(work: WorkFacts, artist: str, credit: str = "") -> str:
    """Artist, title, year, medium, height x width, credit line; what is not known is left out."""
    parts = [artist, work.title, work.year, physical(work), credit if credit != artist else ""]
    return ", ".join(part for part in parts if part)


def as_csv(listed: list[Entry], artist: str, prices: bool) -> str:
    """The list as CSV (RFC 4180), numbered; artist is empty for a blind list."""
    out = io.StringIO()
    writer = csv.writer(out)
    columns = ["number", "file", "title", "year", "medium and size", "caption", "alternative text"]
    # An inventory number can tell whose work it is.
    writer.writerow(columns + (["inventory"] if artist else []) + (["price"] if prices else []))
    for entry in listed:
        work = entry.work
        row = [
            f"{entry.number:02d}", entry.file, work.title, work.year, physical(work), caption(work, artist),
            work.alt_text, *([work.inventory] if artist else []),
        ]  # fmt: skip
        writer.writerow([harmless(cell) for cell in row + ([work.price] if prices else [])])
    return out.getvalue()


def harmless(cell: str) -> str:
    """A spreadsheet takes cells that begin with these for formulas."""
    return f"'{cell}" if cell[:1] in FORMULA else cell


def checklist(listed: list[Entry], preset: Preset) -> list[str]:
    """The destination's rules against the files, in plain words: "3 of 3 under 5 MB"."""
    said = []
    if preset.max_kb is not None:
        most = preset.max_kb
        said.append(_counted(listed, lambda f: f.bytes <= most * 1000, f"under {_bytes(most)}"))
    if preset.min_kb is not None:
        least = preset.min_kb
        said.append(_counted(listed, lambda f: f.bytes >= least * 1000, f"over {_bytes(least)}"))
    if preset.long_side_px is not None:
        long_px = preset.long_side_px
        said.append(_counted(listed, lambda f: max(f.width_px, f.height_px) == long_px, f"long side {long_px} px"))
    if preset.short_side_px is not None:
        short_px = preset.short_side_px
        said.append(_counted(listed, lambda f: min(f.width_px, f.height_px) == short_px, f"short side {short_px} px"))
    if preset.width_px is not None and preset.height_px is not None:
        size = (preset.width_px, preset.height_px)
        said.append(_counted(listed, lambda f: (f.width_px, f.height_px) == size, f"{size[0]} x {size[1]} px"))
    named = [entry for entry in listed if len(entry.file.rsplit(".", 1)[0]) <= preset.name_max]
    said.append(f"{len(named)} of {len(listed)} with names of at most {preset.name_max} characters")
    said.append("no name inside the files" if preset.rights == "none" else "name and rights inside the files")
    if preset.rights == "none":
        said.append("look yourself whether a signature or a name can be read on the works: it is not removed")
    said.append("no mark on the pictures" if not preset.mark else "a small mark on the pictures")
    for what, files_without in missing(listed, preset).items():
        said.append(f"{len(files_without)} without {what}: {_some(files_without)}")
    said += _told_twice(listed, blind=preset.rights == "none")
    checked = f"rules last checked on {preset.checked}" if preset.checked else "rules never checked"
    said.append(f"{checked}; read the call again before you send")
    return said


def missing(listed: list[Entry], preset: Preset) -> dict[str, list[str]]:
    """What calls usually ask for and is not said of a work: in words -> the files that lack it."""
    wanted: dict[str, Callable[[WorkFacts], object]] = {
        "a title": lambda work: work.title, "a year": lambda work: work.year, "a medium": lambda work: work.medium,
        "a size": lambda work: work.size_mm,
    }  # fmt: skip
    if preset.listing:
        wanted["an alternative text"] = lambda work: work.alt_text
    if preset.prices:
        wanted["a price"] = lambda work: work.price
    found = {what: [entry.file for entry in listed if not said(entry.work)] for what, said in wanted.items()}
    return {what: files for what, files in found.items() if files}


def _told_twice(listed: list[Entry], blind: bool) -> list[str]:
    """What can't be meant for two works, or of one twice; blind: an inventory number must not be read in the list."""
    numbers = _shared(listed, lambda entry: entry.number)
    said = [f"number {number:02d} stands twice: say “order:” in a note" for number in numbers]
    for files in _shared(listed, lambda entry: entry.same).values():
        said.append(f"one work stands in the list more than once, by several takes: {_some(files)}")
    works = list({entry.same or entry.file: entry for entry in listed}.values())
    for number, files in _shared(works, lambda entry: entry.work.inventory).items():
        said.append(f"{'one inventory number' if blind else f'inventory number {number}'} is said of {_some(files)}")
    for order, files in _shared(works, lambda entry: entry.work.order).items():
        said.append(f"“order: {order}” is said of {_some(files)}")
    for entry in listed:
        if entry.numbered and entry.work.order not in (0, entry.number):
            said.append(f"{entry.file} is number {entry.number:02d}; you said “order: {entry.work.order}”")
    return said


def _shared(listed: Iterable[Entry], value: Callable[[Entry], object]) -> dict[object, list[str]]:
    """What several entries have in common, and their files, in its order."""
    found: dict[object, list[str]] = {}
    for entry in listed:
        if value(entry):
            found.setdefault(value(entry), []).append(entry.file)
    return {key: files for key, files in found.items() if len(files) > 1}


def _counted(listed: list[Entry], holds: Callable[[OutputRecord], bool], what: str) -> str:
    wrong = [entry.file for entry in listed if not holds(entry.output)]
    named = f"; not {_some(wrong)}" if wrong else ""
    return f"{len(listed) - len(wrong)} of {len(listed)} {what}{named}"


def _some(files: list[str]) -> str:
    return ", ".join(files[:5]) + (", ..." if len(files) > 5 else "")


def _bytes(kilobytes: float) -> str:
    return f"{kilobytes / 1000:g} MB" if kilobytes >= 1000 else f"{kilobytes:g} kB"


_STYLE = (
    "body{overflow-wrap:break-word}"
    "body{font:94%/1.5 Georgia,serif;color:#222;max-width:48rem;margin:2rem auto;padding:0 1rem}h1{font-weight:normal}"
    "table{border-collapse:collapse;width:100%}td,th{text-align:left;vertical-align:top;padding:.3rem .7rem .3rem 0;"
    "border-bottom:1px solid #ccc;overflow-wrap:anywhere}td:first-child{white-space:nowrap}"
    "th{font-weight:normal;color:#666}.q{color:#666}@media print{body{margin:0}}"
)


def as_page(listed: list[Entry], artist: str, preset: Preset) -> str:
    """The list as one HTML page without scripts or network, made to be printed; artist is empty for a blind list."""
    rows = "".join(_row(entry, artist, preset.prices) for entry in listed)
    price = "<th>price</th>" if preset.prices else ""
    heading = f"Image list — {escape(artist)}" if artist else "Image list"
    checks = "".join(f"<li>{escape(line)}</li>" for line in checklist(listed, preset))
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{heading}</title><style>{_STYLE}</style><h1>{heading}</h1><table>"
        f"<tr><th>no.</th><th>file</th><th>work</th>{price}</tr>{rows}</table>"
        f"<h2>Checked against this destination's rules</h2><ul>{checks}</ul></html>"
    )


def _row(entry: Entry, artist: str, prices: bool) -> str:
    work = entry.work
    before, after = escape(artist), escape(", ".join(part for part in (work.year, physical(work)) if part))
    words = ", ".join(part for part in (before, f"<i>{escape(work.title)}</i>" if work.title else "", after) if part)
    alt = f'<br><span class="q">{escape(work.alt_text)}</span>' if work.alt_text else ""
    price = f"<td>{escape(work.price)}</td>" if prices else ""
    return f"<tr><td>{entry.number:02d}</td><td>{escape(entry.file)}</td><td>{words}{alt}</td>{price}</tr>"
