"""The command that makes a sheet of pictures to print: of all works, of some, or of what goes to a destination."""

import argparse
import unicodedata
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from autoprep.cli.found import find_destination, open_ledger, ready_away, refuse_own, settings_of
from autoprep.cli.history import month_of
from autoprep.domain import WorkFacts
from autoprep.errors import UsageError
from autoprep.files.storage import write_now
from autoprep.ledger import Overview, WorkRow
from autoprep.logs import counted, plain
from autoprep.metadata.statement import physical
from autoprep.service.studio import listed_in
from autoprep.told.lists import Entry
from autoprep.told.paper import OWN_FONT, PER_SHEET, Cell, sheet
from autoprep.wishes.destinations import Preset
from autoprep.wishes.fonts import fonts_for
from autoprep.wishes.tables import Settings


def make_sheet(options: argparse.Namespace) -> int:
    """Make the PDF; 1 where nothing fits what was asked for."""
    settings, target = settings_of(options), options.file
    if target.suffix.lower() != ".pdf":
        raise UsageError(f"the file must end in .pdf, not {target.name!r}")
    refuse_own(settings, target, "sheet")
    if target.exists() and not options.anyway:
        raise UsageError(f"{target} is there already; --anyway writes a new one in its place")
    options.destination = name = find_destination(settings, options.destination)
    month = month_of(options.month)
    if name is not None and (away := ready_away(settings)):
        print(f"No sheet was made: {plain(away)}")
        return 1
    ledger = open_ledger(settings)
    try:
        cells = [] if ledger is None else _cells(settings, ledger.overview, options, month)
    finally:
        if ledger is not None:
            ledger.close()
    blind = name is not None and settings.destinations[name].rights == "none"
    artist = "" if blind else settings.artist.name
    if not cells:
        print("Nothing fits what you asked for; `autoprep works` lists all works.")
        return 1
    heading = " ".join((options.title or "").split()) or (f"{artist}: works" if artist else "Works")
    letters = "".join(sorted({*heading, *(ch for cell in cells for ch in cell.title + "".join(cell.lines))}))
    fonts, absent = fonts_for(letters, OWN_FONT)
    write_now(target, sheet(heading, cells, author=artist, made=datetime.now(UTC), fonts=fonts), "sheet")
    if absent:
        print(f"No font on this machine holds {absent}: these letters are empty boxes.")
    print(f"{counted(len(cells), 'picture')} on {counted(-(-len(cells) // PER_SHEET), 'page')}: {target}")
    return 0


def _cells(settings: Settings, overview: Overview, options: argparse.Namespace, month: str) -> list[Cell]:
    words = [_folded(word) for word in options.word]
    if options.destination is not None:
        entries = listed_in(settings, overview, options.destination, month)
        fitting = [entry for entry in entries if _holds(words, entry.work, entry.file)]
        return _of_destination(settings, settings.destinations[options.destination], fitting)
    rows = [row for row in overview.works() if _holds(words, row.said, row.kind, row.shown)]
    rows = [row for row in rows if row.came.startswith(month)]
    given = [row for row in rows if words or not row.said.hold]
    if len(given) < len(rows):
        are = "work is" if len(rows) - len(given) == 1 else "works are"
        print(f"{len(rows) - len(given)} {are} on hold and left out; a word of its title brings one in all the same.")
    return [_of_work(settings, row) for row in given]


def _holds(wanted: Sequence[str], said: WorkFacts, *more: str) -> bool:
    """Whether all the words that were asked for stand in what is said of a work."""
    text = _folded(" ".join((said.title, said.year, physical(said), said.inventory, *said.keywords, *more)))
    return all(word in text for word in wanted)


def _folded(text: str) -> str:
    """Text in which letters are found however they are written: large or small, composed with their accents or not."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).casefold())


def _of_work(settings: Settings, row: WorkRow) -> Cell:
    picture = settings.folders.records / "proof" / row.job / "after.jpg"
    if not picture.is_file():  # comparison pictures may have been cleared away: a finished one then
        lie = [sent.path for sent in row.sent if sent.state == "in place" and sent.path is not None]
        picture = next((path for path in lie if path.suffix in (".jpg", ".png", ".webp")), picture)
    said = row.said
    lines = [line for line in (", ".join(part for part in (said.year, physical(said)) if part), said.price) if line]
    lines += ["on hold"] if said.hold else []
    return Cell(picture, f"{row.number}", said.title or row.shown, lines, said.alt_text)


def _of_destination(settings: Settings, preset: Preset, entries: Sequence[Entry]) -> list[Cell]:
    cells = []
    for entry in entries:
        work = entry.work
        line = ", ".join(part for part in (work.year, physical(work)) if part)
        lines = [line, work.price if preset.prices else "", entry.file]
        picture = settings.studio / Path(entry.output.path)
        cells.append(Cell(picture, f"{entry.number:02d}", work.title, [text for text in lines if text], work.alt_text))
    return cells
