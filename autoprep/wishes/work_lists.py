"""One list for many works: a table that names a photo of its folder, or of one below ("June/IMG_1"), in each row, and
says what a note would say. What `works --csv` writes is one.

CSV as RFC 4180 has it, and as programs write it besides: other separators, other letters, a line above the header.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import islice
from pathlib import Path

from autoprep.logs import as_shown
from autoprep.wishes.holding import holds, holds_by
from autoprep.wishes.lines import KEYS, slip, taken
from autoprep.wishes.mistakes import nearest
from autoprep.wishes.note_files import LIST_COPIES, WORK_LIST, as_called, folded, in_folder, short, text_of

OURS = {
    "work number": "", "title": "title", "year": "year", "medium": "medium", "height": "", "width": "", "unit": "",
    "size": "size", "kind seen": "", "kind said": "kind", "inventory": "inventory", "price": "price", "photo": "photo",
    "takes": "", "held": "hold", "public since": "", "went to": "", "nowhere because": "",
    "alternative text": "alternative text",
}  # fmt: skip
"""The columns of the list of all works that `works --csv` writes -> what a row says by each; those without a word only
tell how a work stands."""
_ONLY_OURS = {"work number", "kind seen", "kind said", "public since", "went to", "nowhere because"}
"""Any of these tells such a list from one of the artist's: the others of them may have been taken out."""
_BEFORE = {"number": "", "kind": ""}  # what earlier versions called the columns that only tell so
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""How cells begin that programs take for formulas."""

LARGEST_LIST = 4 * 1024 * 1024
"""So many bytes of a list are read: some 30,000 rows."""
_SEPARATORS = (",", ";", "\t")
_PHOTO = ("photo", "photograph", "file", "file name", "filename", "picture", "image", "foto")
_HEADER_WITHIN = 10  # rows: a title may stand above the header
_MOST_DAMAGED = 100  # each is a start over, so a file that is none must not cost hours
_NO_TEXT = re.compile("[\x01-\x08\x0e-\x1f\x7f\ufffd-\uffff]")
_DAMAGED = "is so damaged that what stands behind these was not read"
_MOST_NAMED = 6
EMPTY = "is empty"


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a list: its number as programs show it, from 1, the photo that it names, with all its blanks, and what
    it says of that, as the lines of a note."""

    number: int
    photo: str
    text: str


def names_of(photos: Iterable[str]) -> set[str]:
    """The names, as they are compared, by which rows may call photos of the list's folder, or of those below it."""
    return {
        as_compared(each) for photo in photos for name in (photo, as_shown(photo)) for each in (name, endless(name))
    }


def as_compared(name: str) -> str:
    """A photo's name as rows are compared with it: programs add blanks to cells, and leave some out."""
    return folded("/".join(" ".join(part.split()) for part in name.split("/")))


def endless(name: str) -> str:
    """A photo's name, with its folders, without its ending."""
    folder, slash, last = name.rpartition("/")
    return f"{folder}{slash}{Path(last).stem}"


@dataclass(frozen=True)
class WorkList:
    """The rows of a list that name a photo, and what is wrong with the list as a whole, as sentences go on after its
    name. unread: why there may be rows that were not read, and may ask for a hold; one of the faults, or empty."""

    rows: tuple[Row, ...] = ()
    faults: tuple[str, ...] = ()
    unread: str = ""

    def of(self, photo: str) -> list[Row]:
        """The rows that mean a photo of this name, with its folders below the list's own: with its ending or without,
        in whatever capitals."""
        found = (row for name in names_of([photo]) for row in self._by_name.get(name, ()))
        return sorted(found, key=lambda row: row.number)

    @cached_property
    def _by_name(self) -> dict[str, list[Row]]:
        """A list may have a row for each of thousands of photos, and is asked for each of them."""
        found: dict[str, list[Row]] = {}
        for row in self.rows:
            found.setdefault(as_compared(row.photo), []).append(row)
        return found


def lists_for(inbox: Path, photo: Path) -> Iterator[tuple[Path, str]]:
    """The lists that may speak of a photo, the nearest first, each with what its rows would call it: those of its
    folder and of the folders above; several in one only where they are called so in other capitals."""
    for folder in photo.parents:
        yield from ((place, photo.relative_to(folder).as_posix()) for place in as_called(folder / WORK_LIST))
        if folder == inbox:
            return


def copies_for(inbox: Path, photo: Path) -> Iterator[tuple[Path, str]]:
    """The copies of such lists, by what they are called, each with what its rows would call the photo."""
    for folder in photo.parents:
        names = in_folder(folder).get(LIST_COPIES, ())
        yield from ((folder / name, photo.relative_to(folder).as_posix()) for name in names)
        if folder == inbox:
            return


def read_list(place: Path) -> WorkList:
    """A list as it is now. Raises OSError where there is one that can't be read, or it is a link or a folder."""
    try:
        status = place.lstat()
    except OSError:
        return WorkList()
    return _read(str(place), status.st_mtime_ns, status.st_size, status.st_ino)


@lru_cache(maxsize=64)
def _read(place: str, _when: int, size: int, _file: int) -> WorkList:
    """Each is read once for all photos of its folder."""
    text = text_of(Path(place), LARGEST_LIST)
    if text is None:
        return WorkList()
    found = _understood(text)
    if size <= LARGEST_LIST:
        return found
    unread = f"is longer than {largest()}; what stands behind that was not read"
    return WorkList(found.rows, (unread, *found.faults), unread)


def largest() -> str:
    """How much of a list is read, in words."""
    return f"{LARGEST_LIST // 1024**2} MiB" if LARGEST_LIST >= 1024**2 else f"{LARGEST_LIST // 1024} KiB"


def rows_read(text: str) -> int:
    """How many rows of a list of this text are read where it is put into the inbox."""
    data = text.encode("utf-8")
    kept = data if len(data) <= LARGEST_LIST else data[: data.rfind(b"\n", 0, LARGEST_LIST) + 1]
    return len(_understood(kept.decode("utf-8")).rows)


def _understood(text: str) -> WorkList:
    """The rows of a list's text, with the separator by which most words of its header are known."""
    if not text.strip():
        # It may be on its way still, and hold something when it is there.
        return WorkList((), (EMPTY,), EMPTY)
    lines = list(io.StringIO(text, newline=""))
    tables = [_Table(lines, separator) for separator in _SEPARATORS]
    best = max(tables, key=lambda table: table.known)
    if best.known:
        return best.worked_out()
    fault = f"was not used: no column of it is called “{_PHOTO[0]}”, so nobody knows of which photos its rows speak"
    return WorkList((), (fault,), fault if any(table.may_hold() for table in tables) else "")


class _Table:
    """A list's lines read with one separator. known: how many words of the header are; 0 where there is no header."""

    def __init__(self, lines: list[str], separator: str) -> None:
        self._count, self._damaged = 0, list[int]()
        self._records = list(self._read(lines, separator))
        head = next((k for k, record in enumerate(self._records[:_HEADER_WITHIN]) if _photo_at(record) >= 0), None)
        self._head = -1 if head is None else head
        self._titles = [] if head is None else [" ".join(cell.split()) for cell in self._records[head]]
        self._photo = _photo_at(self._titles)
        self._ours = _ours_among({_plain(title) for title in self._titles})
        self._keys = [self._key(title) if k != self._photo else "" for k, title in enumerate(self._titles)]
        self._keys = ["" if key == "photo" else key for key in self._keys]  # a second one names no other photo
        self.known = sum(map(bool, self._keys)) + (head is not None)
        self._unnamed: list[int] = []
        self._too_long: list[int] = []
        self._untitled = False

    def _key(self, title: str) -> str:
        return self._ours[_plain(title)] if self._is_ours(title) else taken(title)

    def _is_ours(self, title: str) -> bool:
        return _plain(title) in self._ours

    def _read(self, lines: list[str], separator: str) -> Iterator[list[str]]:
        """The rows. One whose quotes are not closed, or closed too early, is its line alone: it swallows no others."""
        at = 0
        while at < len(lines) and len(self._damaged) < _MOST_DAMAGED:
            reader = csv.reader(islice(lines, at, None), delimiter=separator, strict=True, skipinitialspace=True)
            before = 0
            try:
                for record in reader:
                    self._count += 1
                    before = reader.line_num
                    yield record
                return
            except csv.Error:
                self._count += 1
                self._damaged.append(self._count)
                line = lines[at + before].rstrip("\r\n")
                yield [cell.strip().strip('"') for cell in line.split(separator)]
                at += before + 1

    def worked_out(self) -> WorkList:
        """What the rows say, and what is wrong."""
        rows = tuple(self._rows())
        return WorkList(rows, tuple(self._faults()), _DAMAGED if len(self._damaged) >= _MOST_DAMAGED else "")

    def may_hold(self) -> bool:
        """Whether something in a list without a header may ask for a hold: a word, or what is no text, as in a
        spreadsheet that was given the name of a list."""
        cells = {cell for record in self._records for cell in record}
        return any(_NO_TEXT.search(cell) or taken(_plain(cell)) == "hold" or holds(cell) for cell in cells)

    def _rows(self) -> Iterator[Row]:
        for number, record in enumerate(self._records[self._head + 1 :], self._head + 2):
            cells = [cell.strip() if _is_seen(cell) else "" for cell in record]
            photo = _as_written(record[self._photo]) if self._photo < len(cells) and cells[self._photo] else ""
            if not photo:
                self._unnamed += [number] if any(cells) else []
            elif any(cells[len(self._titles) :]):
                self._too_long.append(number)
                yield Row(number, photo, "hold: a row that does not fit its header" if "hold" in self._keys else "")
            else:
                yield Row(number, photo, "\n".join(self._lines(cells)))

    def _lines(self, cells: list[str]) -> Iterator[str]:
        """What a row says, as lines of a note; what stands in a column that is not known is heard where it holds."""
        for k, (title, key, cell) in enumerate(zip(self._titles, self._keys, cells, strict=False)):
            if cell and key:
                yield f"{key}: {'yes' if key == 'hold' and cell.casefold() == _plain(title) else _as_written(cell)}"
            elif cell and k != self._photo and not self._is_ours(title) and holds_by(title, cell):
                yield f"hold: {' '.join(f'{title} {cell}'.split())}"
            self._untitled = self._untitled or (bool(cell) and not title)

    def _faults(self) -> Iterator[str]:
        others = [k for k, title in enumerate(self._titles) if title and k != self._photo and not self._is_ours(title)]
        keyed = [self._titles[k] for k in others if self._keys[k]]
        slips = [slip(title) for title in keyed if slip(title)]
        yield from (f"has a column that is no known word: {said}" for said in dict.fromkeys(slips))
        unknown = [self._titles[k] for k in others if not self._keys[k]]
        if unknown:
            yield f"has columns that are not understood, and not used: {', '.join(map(_with_nearest, unknown))}"
        if self._untitled:
            yield "has words in a column without a heading, which are not used"
        if self._damaged:
            yield f"has quotes that do not close where a cell ends, in {numbered(self._damaged)}; look at these"
        if len(self._damaged) >= _MOST_DAMAGED:
            yield _DAMAGED
        if self._too_long:
            held = ", and these works are held until it is put right" if "hold" in self._keys else ""
            yield f"has more cells in {numbered(self._too_long)} than in its header; nothing of that was used{held}"
        if self._unnamed:
            yield f"names no photo in {numbered(self._unnamed)}"


def as_cell(text: str) -> str:
    """A text as a cell of ours: behind a sign where a program would take it for a formula, or it looks like such a
    cell."""
    return f"'{text}" if text.lstrip("'")[:1] in FORMULA else text


def _as_written(cell: str) -> str:
    """The text of such a cell."""
    return cell[1:] if cell[:1] == "'" and cell.lstrip("'")[:1] in FORMULA else cell


def _photo_at(record: list[str]) -> int:
    """Which cell of a header is that of the photos' names; -1 where none is."""
    return next((k for k, cell in enumerate(record) if _plain(cell) in _PHOTO), -1)


def _plain(title: str) -> str:
    """A column's title as it is compared: programs and people write blanks and capitals otherwise."""
    return " ".join(title.replace("_", " ").replace("-", " ").split()).casefold().rstrip(":")


def _ours_among(titles: set[str]) -> dict[str, str]:
    """What the columns of a list of ours say by their titles as they are compared; nothing of any other list."""
    if not titles & _ONLY_OURS:
        return {}
    return OURS if titles & {"work number", "kind seen"} else _BEFORE | OURS


def _is_seen(cell: str) -> bool:
    return any(letter.isprintable() and not letter.isspace() for letter in cell)


def _with_nearest(title: str) -> str:
    near = nearest(title, KEYS)
    return f"“{short(title)}”{f' (the nearest word is “{near}”)' if near else ''}"


def numbered(rows: list[int]) -> str:
    """Rows by their numbers, as a sentence calls them."""
    more = f" and {len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else ""
    return f"{'row' if len(rows) == 1 else 'rows'} {', '.join(map(str, rows[:_MOST_NAMED]))}{more}"
