"""The studio's files that stand around the work: the proof pages and the picture lists."""

import hashlib
import json
import os
import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from autoprep.domain import JobRecord
from autoprep.errors import AutoprepError
from autoprep.files.storage import write_now
from autoprep.job.rights import maker_of, year_of
from autoprep.ledger import Overview, WorkRow
from autoprep.metadata.statement import make_statement
from autoprep.service.changed import with_changed
from autoprep.service.keeping import is_ours
from autoprep.told import lists as listing
from autoprep.told.gallery import WORKS_PAGE, Shown, work_html, works_html
from autoprep.told.in_inbox import asked_of_none, set_aside_there, still_asked
from autoprep.told.list_letters import LACKS, LISTS_FILE, lacking, lines_of
from autoprep.told.pages import Front, Place, index_html, month_html, page_name, work_page_name
from autoprep.told.paper import OWN_FONT, Row, image_list
from autoprep.told.works import changed_files
from autoprep.wishes.fonts import fonts_for
from autoprep.wishes.tables import Settings

_LIST_SHARE = 20  # the list of all works takes at most one part in so many of the time
_MOST_SHOWN = 100  # questions, and photos of the newest day, on the first page


class PageWriter:
    """Writes the pages in records/proof that are older than what is known: of works, of months, and the first one.

    Only the records that stand on these pages are read, however many there are. The list of all works is the one page
    that grows with the studio: the longer it takes, the longer until it is written again. It is written on each day:
    it tells which pictures the artist has changed, and nothing tells the service of that.
    """

    def __init__(self) -> None:
        self._next_list = 0.0
        self._list_day: date | None = None
        self._gone: set[str] = set()  # of whose questions the list does not tell

    def write(
        self,
        settings: Settings,
        overview: Overview,
        today: date,
        most_s: float = 0.5,
        *,
        last: bool = False,
        away: Sequence[str] = (),
        no_inbox: bool = False,
        no_ready: bool = False,
        refused: str = "",
    ) -> bool:
        """Write what is due; whether all is written now. most_s: so long is spent; last: the list does not wait;
        away: which of the studio's folders are away, and why; no_inbox: whether the inbox is one: then nobody knows
        which photos lie there; no_ready: whether that of finished pictures is: then nobody knows which of these were
        changed, and what is written meanwhile is written again when it is back; refused: why changed settings are not
        taken over.
        """
        folder, limit = settings.folders.records / "proof", time.monotonic() + most_s
        place = Place(settings.studio, folder, no_ready=no_ready)
        if not no_ready:
            overview.due_again()
        left = self._write_works(settings, overview, place, limit)
        due = overview.due_pages()
        while due and time.monotonic() < limit:
            month, block = due.pop(0)
            records, leaf = overview.of_block(month, block), folder / page_name(month, block)
            if records:
                text = month_html(settings.artist.name, _knowing(place, overview, records), month, records)
                write_now(leaf, text.encode("utf-8", "replace"), "page")
            else:
                leaf.unlink(missing_ok=True)
            overview.written("page", [(month, block)], for_now=no_ready)
        gone = asked_of_none(settings.folders.inbox, overview, away=no_inbox)
        self._write_first(settings, overview, place, today, away, refused, gone, no_inbox=no_inbox)
        written = _day_of(folder / WORKS_PAGE)
        list_due = overview.list_due() or written is None or (self._list_day or written) != today
        list_due |= {*gone} != self._gone
        if list_due and not left and (last or time.monotonic() >= self._next_list):
            self._write_list(settings, overview, place, gone)
            list_due, self._list_day = False, today
            left = self._write_works(settings, overview, place, time.monotonic() + most_s)
        return not due and not left and not list_due

    def _write_first(
        self, settings: Settings, overview: Overview, place: Place, today: date, away: Sequence[str], refused: str,
        gone: Mapping[str, str], *, no_inbox: bool,
    ) -> None:  # fmt: skip
        day, aside = overview.latest_day(), set_aside_there(settings.folders.inbox, overview, away=no_inbox)
        counts = overview.outcomes()
        asked = counts.get("needs a look", 0) - len(gone)
        counts |= {"needs a look": asked, "set aside": len(aside)}
        front = Front(
            waiting=overview.waiting_for_answers(_MOST_SHOWN, gone), questions=asked, day=day,
            today=day == today.isoformat(), latest=overview.of_day(day, _MOST_SHOWN), months=overview.blocks(),
            counts={name: count for name, count in counts.items() if count},
            words=overview.not_understood()[::-1], afresh=len(overview.asked_afresh()),
            letters=lacking(settings.folders.records), away=away, refused=refused,
        )  # fmt: skip
        text = index_html(settings.artist.name, _knowing(place, overview, front.latest), front)
        write_now(place.page_folder / "index.html", text.encode("utf-8", "replace"), "page")

    def _write_works(self, settings: Settings, overview: Overview, place: Place, limit: float) -> int:
        """Write the pages of works that are old; how many are left."""
        due = overview.due_works()
        while due and time.monotonic() < limit:
            work = due.pop(0)
            rows, takes = overview.works(work), overview.takes_of(work)
            rows = rows if place.no_ready else with_changed(rows, overview, work)
            leaf = place.page_folder / work_page_name(work)
            if rows and takes:
                text = work_html(
                    place, settings.destinations, Shown(rows[0], takes, _rights(settings, rows[0], takes[0]), _moment())
                )
                write_now(leaf, text.encode("utf-8", "replace"), "page")
            else:
                leaf.unlink(missing_ok=True)
            overview.written("work", [(work, 0)], for_now=place.no_ready)
        return len(due)

    def _write_list(self, settings: Settings, overview: Overview, place: Place, gone: Collection[str]) -> None:
        start = time.monotonic()
        rows = still_asked(overview.works_and_questions(), gone)
        rows = rows if place.no_ready else with_changed(rows, overview)
        text = works_html(place, settings.destinations, rows, settings.artist.name, _moment())
        write_now(place.page_folder / WORKS_PAGE, text.encode("utf-8", "replace"), "page")
        if not place.no_ready:
            overview.told_as_changed({row.work: changed_files(row) for row in rows if row.changed})
        self._gone = {*gone}
        overview.written("works", [("", 0)], for_now=place.no_ready)
        self._next_list = time.monotonic() + _LIST_SHARE * (time.monotonic() - start)


def _moment() -> str:
    """Now, as pages say it."""
    now = datetime.now().astimezone()
    return f"{now.day} {now:%B %Y, %H:%M}"


def _day_of(page: Path) -> date | None:
    """The day on which a page was written; None where it is not there."""
    try:
        return date.fromtimestamp(page.stat().st_mtime)
    except OSError:
        return None


def _knowing(place: Place, overview: Overview, records: Sequence[JobRecord]) -> Place:
    """The place with the works that these photos show."""
    return replace(place, works=overview.works_shown([record.job for record in records]))


def _rights(settings: Settings, row: WorkRow, used: JobRecord) -> list[str]:
    """Notice and terms as they stand in the files of a work."""
    statement = make_statement(maker_of(settings), row.said, year_of(row.said, used.taken_at, used.came or row.came))
    return [text for text in (statement.notice, statement.usage_terms) if text]


def listed_in(settings: Settings, overview: Overview, name: str, month: str = "") -> list[listing.Entry]:
    """The pictures that lie in a destination's folder now, in the order and with the numbers of its list.

    month: only those whose photos came in then, as 2026-11 or a day of it.
    """

    def there(path: str) -> bool:
        return (settings.studio / path).is_file()

    return listing.entries(overview.delivered(name, month), settings.destinations[name], settings.artist.name, there)


_MOST_IN_PDF = 200  # pictures; a longer list is none that a call asks for, and `sheet` makes one of any length


class ListWriter:
    """Writes the picture lists of the destinations that ask for one, in their folders, when they are old. news: what is
    told of their letters is other than it was.

    The one with pictures takes longest: the longer it takes, the longer until one is written again.
    """

    def __init__(self) -> None:
        self._seen: dict[str, int] = {}
        self._due: set[str] = set()
        self._next_pdf = 0.0
        self.news = False

    def write(self, settings: Settings, overview: Overview, *, last: bool = False) -> bool:
        """Write the lists of which something has changed: a file, words, or what lies in the folder.

        A list that somebody has changed, or laid there, is theirs: the service's own stands beside it. Returns whether
        all is written; last: those with pictures do not wait. Raises OSError, or what else stopped one of them, when
        the others are written.
        """
        ours, due, problems = _Lists(settings), overview.due_lists(), list[OSError | AutoprepError]()
        self._take_away(settings, overview, ours, due)
        for name, preset in settings.destinations.items():
            folder = settings.folders.ready / name
            if not preset.listing or (name not in due and _changed_at(folder) == self._seen.get(name)):
                continue
            try:
                self._write_one(settings, overview, ours, name)
            except (OSError, AutoprepError) as problem:
                problems.append(problem)
        if self._due and (last or time.monotonic() >= self._next_pdf):
            problems += self._write_pdfs(settings, overview, ours)
        before = lacking(settings.folders.records)
        ours.remember()
        self.news |= lacking(settings.folders.records) != before
        if problems:
            raise problems[0]
        return not self._due

    @staticmethod
    def _take_away(settings: Settings, overview: Overview, ours: "_Lists", due: set[str]) -> None:
        """Lists that nobody keeps any more go: where none is asked for, and of a gone table when they are old."""
        for name in ours.destinations():
            preset = settings.destinations.get(name)
            if name in due if preset is None else not preset.listing:
                for suffix in _SUFFIXES:
                    ours.keep(settings.folders.ready / name, suffix, None)
                overview.written("list", [(name, 0)])

    def _write_one(self, settings: Settings, overview: Overview, ours: "_Lists", name: str) -> None:
        folder, preset = settings.folders.ready / name, settings.destinations[name]
        listed = listed_in(settings, overview, name)
        artist = settings.artist.name if preset.rights == "full" else ""
        csv = listing.as_csv(listed, artist, preset.prices).encode("utf-8-sig")
        page = listing.as_page(listed, artist, preset).encode("utf-8")
        for suffix, data in ((".csv", csv), (".html", page)):
            ours.keep(folder, suffix, data if listed else None)
        overview.written("list", [(name, 0)])
        self._due.add(name)
        self._seen[name] = _changed_at(folder)

    def _write_pdfs(self, settings: Settings, overview: Overview, ours: "_Lists") -> list[OSError | AutoprepError]:
        """Write those with pictures; what stopped one of them."""
        start, problems = time.monotonic(), list[OSError | AutoprepError]()
        for name in sorted(self._due & settings.destinations.keys()):
            try:
                self._write_pdf(settings, overview, ours, name)
            except (OSError, AutoprepError) as problem:
                problems.append(problem)
        self._due.clear()
        self._next_pdf = time.monotonic() + _LIST_SHARE * (time.monotonic() - start)
        return problems

    def _write_pdf(self, settings: Settings, overview: Overview, ours: "_Lists", name: str) -> None:
        listed, folder = listed_in(settings, overview, name), settings.folders.ready / name
        if 0 < len(listed) <= _MOST_IN_PDF:
            heading, rows = _rows(settings, name, listed)
            made_of = _print_of(heading, rows)
            if not ours.holds(folder, ".pdf", made_of):  # after a start, say: it takes a while, and nothing is new
                data, lines = list_pdf(settings, name, listed)
                ours.keep(folder, ".pdf", data, made_of)
                ours.tell(folder, lines)
        else:
            ours.keep(folder, ".pdf", None)
        self._seen[name] = _changed_at(folder)


def list_pdf(settings: Settings, name: str, listed: Sequence[listing.Entry]) -> tuple[bytes, list[str]]:
    """A destination's list with pictures; of a blind one without a name. It is dated by its newest picture's day.

    And a line for each work with letters that no font of this machine holds.
    """
    heading, rows = _rows(settings, name, listed)
    letters = "".join(sorted({*heading, "…", *(ch for row in rows for ch in _words(row))}))
    newest = datetime.fromtimestamp(max(_changed_at(row.picture) for row in rows) // 10**9, UTC)
    made = newest.replace(hour=0, minute=0, second=0)  # the same whenever the service came to write it
    fonts, absent = fonts_for(letters, OWN_FONT)
    works = [(entry.work.title or entry.file, _words(row)) for entry, row in zip(listed, rows, strict=True)]
    author = settings.artist.name if settings.destinations[name].rights == "full" else ""
    return image_list(heading, rows, author=author, made=made, fonts=fonts), lines_of(name, works, absent)


def _rows(settings: Settings, name: str, listed: Sequence[listing.Entry]) -> tuple[str, list[Row]]:
    """Heading and rows of a list; a blind one says nothing of the artist."""
    preset = settings.destinations[name]
    artist = settings.artist.name if preset.rights == "full" else ""
    rows = [
        Row(
            settings.studio / entry.output.path, f"{entry.number:02d}", entry.file,
            listing.caption(entry.work, artist), entry.work.alt_text, entry.work.price if preset.prices else "",
        )
        for entry in listed
    ]  # fmt: skip
    return (f"Image list — {artist}" if artist else "Image list"), rows


def _words(row: Row) -> str:
    return row.caption + row.words + row.price + row.file


def _print_of(heading: str, rows: Sequence[Row]) -> str:
    """What a list with pictures is made of: its words, and which pictures."""
    told = [(row.number, row.caption, row.words, row.price, row.file, _changed_at(row.picture)) for row in rows]
    return hashlib.sha256(repr((heading, told)).encode("utf-8", "replace")).hexdigest()


def _changed_at(place: Path) -> int:
    """When a file was written, or something in a folder came or went, last, in nanoseconds; 0 where it is not there."""
    try:
        return place.stat().st_mtime_ns
    except OSError:
        return 0


_MADE_OF = " is made of"
_SUFFIXES = (".csv", ".html", ".pdf")
_MOST_BESIDE = 1000  # lists of one kind in a folder, with those of the artist's


class _Lists:
    """The lists that the service has written, by their places below ready/, with their hashes: records/lists.json."""

    def __init__(self, settings: Settings) -> None:
        self._file = settings.folders.records / LISTS_FILE
        try:
            known: dict[str, str] = json.loads(self._file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            known = {}
        # Earlier versions kept whole paths, which a studio that was moved leaves behind.
        self._known = {"/".join(key.split("/")[-2:]): value for key, value in known.items()}
        self._before = known

    def destinations(self) -> list[str]:
        """The destinations of which there is a list."""
        return sorted({key.partition("/")[0] for key in self._known})

    def keep(self, folder: Path, suffix: str, data: bytes | None, made_of: str = "") -> None:
        """Write one list, or take it away where there is nothing to list; made_of: what it is made of."""
        place = None if data is None else self._place(folder, suffix)
        # What is away, with its folder, say, is known for ours when it is back.
        away = [key for key in self._known if data is None and not os.path.lexists(folder / _file_of(key))]
        for other in self._ours(folder, suffix):
            if other != place:  # one of the artist's stood before it, and is gone
                other.unlink()
        gone = [key for key in self._known if self._is_of(key, folder, suffix) and key not in away]
        for key in gone:
            del self._known[key]
        if place is None or data is None:
            if suffix == ".pdf":
                self.tell(folder, [])
            return
        if not place.exists() or place.read_bytes() != data:
            write_now(place, data, "list")
        self._known[self._key(place)] = hashlib.sha256(data).hexdigest()
        self._known |= {self._key(place) + _MADE_OF: made_of} if made_of else {}

    def tell(self, folder: Path, lines: list[str]) -> None:
        """Keep what is told of a destination's list with pictures."""
        self._known.pop(f"{folder.name}/{LACKS}", None)
        self._known |= {f"{folder.name}/{LACKS}": json.dumps(lines, ensure_ascii=False)} if lines else {}

    def holds(self, folder: Path, suffix: str, made_of: str) -> bool:
        """Whether the list that lies there is made of just that."""
        place = self._place(folder, suffix)
        return place.exists() and self._known.get(self._key(place) + _MADE_OF) == made_of

    def _place(self, folder: Path, suffix: str) -> Path:
        names = (_list_name(folder, suffix, number) for number in range(1, _MOST_BESIDE))
        return next(place for place in names if not os.path.lexists(place) or self._is_ours(place))

    def _ours(self, folder: Path, suffix: str) -> list[Path]:
        names = {_file_of(key): None for key in self._known if self._is_of(key, folder, suffix)}  # each has two keys
        return [place for place in (folder / name for name in names) if self._is_ours(place)]

    @staticmethod
    def _is_of(key: str, folder: Path, suffix: str) -> bool:
        return key.startswith(f"{folder.name}/") and key.removesuffix(_MADE_OF).endswith(suffix)

    def _is_ours(self, place: Path) -> bool:
        return self._key(place) in self._known and is_ours(place, self._known[self._key(place)])

    @staticmethod
    def _key(place: Path) -> str:
        return f"{place.parent.name}/{place.name}"

    def remember(self) -> None:
        """Keep the hashes for the next time."""
        if self._known != self._before:
            write_now(self._file, json.dumps(self._known, indent=1, sort_keys=True).encode("utf-8"), "lists")


def _file_of(key: str) -> str:
    return key.partition("/")[2].removesuffix(_MADE_OF)


def _list_name(folder: Path, suffix: str, number: int) -> Path:
    return folder / f"image-list{'' if number == 1 else f'-{number}'}{suffix}"
