"""The proof page: static, no network, everything escaped, one small script allowed by its hash."""

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from urllib.parse import quote

from autoprep.domain import JobRecord, OutputRecord
from autoprep.ledger import WorkRow
from autoprep.logs import counted
from autoprep.told.explanations import about_words, not_given_out, not_used
from autoprep.told.web import page


@dataclass(frozen=True)
class Place:
    """Where the page lies and what its links are relative to; works: job -> the work that the photo shows; no_ready:
    whether the finished pictures are away, so that nobody knows which of them were picked up.
    """

    studio: Path
    page_folder: Path
    works: Mapping[str, str] = field(default_factory=dict)
    no_ready: bool = False


@dataclass(frozen=True)
class Front:
    """What the first page shows: records newest first, and of everything else only how many there are.

    questions: all that wait, of which waiting holds some; day: that of the records in latest, as 2026-11-26;
    months: month -> block -> photos on that page, the newest month first; words: photos with words that can't be used,
    the newest first; afresh: how many wait to be measured again, as the artist has asked;
    letters: what is told of letters that no font holds; away: which of the studio's folders are away, and why;
    refused: why changed settings are not taken over, in lines.
    """

    waiting: Sequence[JobRecord] = ()
    questions: int = 0
    day: str = ""
    today: bool = False
    latest: Sequence[JobRecord] = ()
    months: Mapping[str, Mapping[int, int]] = field(default_factory=dict)
    counts: Mapping[str, int] = field(default_factory=dict)
    words: Sequence[WorkRow] = ()
    afresh: int = 0
    letters: Sequence[str] = ()
    away: Sequence[str] = ()
    refused: str = ""


def index_html(artist: str, place: Place, front: Front) -> str:
    """The first page as text: what waits for an answer, then the newest day, then the way to every month."""
    name = artist or "your pictures"
    counts = {**front.counts, "to be measured again": front.afresh} if front.afresh else front.counts
    summary = ", ".join(f"{count} {outcome}" for outcome, count in counts.items()) or "nothing yet"
    more = front.questions - len(front.waiting)
    rest = f'<p class="quiet">{more} more questions wait; the pages of the months show them.</p>' if more > 0 else ""
    day = "Today" if front.today else _in_words(front.day)
    body = (
        _away(front.away) + _refused(front.refused) + _section("Waits for your answer", place, front.waiting) + rest
        + _words(front.words) + _letters(front.letters)
        + _section(day, place, front.latest)
        + _months(front.months)
    )  # fmt: skip
    said = (
        f'<p>{escape(summary)}. <a href="works.html">All works, to search</a></p>'
        '<p class="quiet">Press and hold a picture, or the space bar on it, to see it as it was photographed. '
        "Marks and metadata are no registration of rights and no legal advice; the law differs by country.</p>"
    )
    return _page(f"Proof of {name}", said, body)


def month_html(artist: str, place: Place, month: str, records: Sequence[JobRecord]) -> str:
    """One page of a month, the newest photos first."""
    name = artist or "your pictures"
    back = '<p><a href="index.html">All months, and what waits for an answer</a></p>'
    body = "".join(article(place, record) for record in records)
    return _page(f"Proof of {name}: {_in_words(month)}", back, body)


def page_name(month: str, block: int) -> str:
    """The file name of one page of a month."""
    return f"{month}.{block:05d}.html"


def _section(heading: str, place: Place, records: Sequence[JobRecord]) -> str:
    if not records:
        return ""
    cards = [article(place, record) for record in records]
    more = len(cards) - _AT_ONCE
    rest = f"<details><summary>{more} more</summary>{''.join(cards[_AT_ONCE:])}</details>" if more > 0 else ""
    return f'<h2 class="part">{escape(heading)}</h2>{"".join(cards[:_AT_ONCE])}{rest}'


def _words(rows: Sequence[WorkRow]) -> str:
    """What is said of works and can't be used: what was made of them is not as it is meant."""
    said = [(row, lines) for row in rows if (lines := not_used(row.said))]
    items = [
        f"<li>{_called(row)}<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul></li>"
        for row, lines in said
    ]
    older = "".join(items[_AT_ONCE:])
    rest = f"<details><summary>{len(items) - _AT_ONCE} more</summary><ul>{older}</ul></details>" if older else ""
    shown = f"<ul>{''.join(items[:_AT_ONCE])}</ul>{rest}"
    return f'<h2 class="part">Your words that are not understood, or do not agree</h2>{shown}' if items else ""


def _away(lines: Sequence[str]) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<h2 class="part">Folders that are away</h2><ul>{items}</ul>' if items else ""


def _refused(reason: str) -> str:
    """Why changed settings are not taken over; of several mistakes the first line says only how many they are."""
    lines = reason.splitlines()
    items = "".join(f"<li>{escape(line.strip())}</li>" for line in lines[1:] or lines)
    said = "What was written before goes on holding."
    return f'<h2 class="part">Settings that are not taken over</h2><ul>{items}</ul><p>{said}</p>' if items else ""


def _letters(lines: Sequence[str]) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<h2 class="part">Letters that can\'t be printed</h2><ul>{items}</ul>' if items else ""


def _called(row: WorkRow) -> str:
    name = escape(row.shown)
    return f'<a href="{quote(work_page_name(row.work))}">{name}</a>' if row.work else name


_AT_ONCE, _MONTHS_AT_ONCE = 10, 3  # cards of a part of the first page, and months, that lie open


def _months(months: Mapping[str, Mapping[int, int]]) -> str:
    rows = [
        f"<li>{escape(_in_words(month))}: {counted(sum(blocks.values()), 'photo')}, page "
        + ", ".join(f'<a href="{page_name(month, block)}">{n}</a>' for n, block in enumerate(sorted(blocks), 1))
        + "</li>"
        for month, blocks in months.items()
    ]
    older = "".join(rows[_MONTHS_AT_ONCE:])
    rest = f"<details><summary>{len(rows) - _MONTHS_AT_ONCE} older</summary><ul>{older}</ul></details>" if older else ""
    shown = "".join(rows[:_MONTHS_AT_ONCE])
    return f'<h2 class="part">All photos, by month</h2><ul>{shown}</ul>{rest}' if rows else ""


def _in_words(day: str) -> str:
    """2026-11-26 as 26 November 2026, 2026-11 as November 2026; anything else as it is."""
    year, _, rest = day.partition("-")
    month, _, number = rest.partition("-")
    if not month.isdigit() or not 1 <= int(month) <= 12:
        return day
    return (
        f"{int(number)} {_MONTHS[int(month) - 1]} {year}" if number.isdigit() else f"{_MONTHS[int(month) - 1]} {year}"
    )


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def _page(title: str, said: str, body: str) -> str:
    return page(title, said, body, scripts=["page.js"])


def article(place: Place, record: JobRecord) -> str:
    """One photo with all that is known of it, as HTML."""
    words = "".join(f"<li>{escape(reason)}</li>" for reason in record.reasons)
    # A work without a title is called by its photo already.
    about = ", ".join(escape(word) for word in (record.photo if record.work.title else "", record.kind or "") if word)
    return (
        f'<article id="{escape(record.job)}"{_asks(record)}><div>{pictures(place, record)}</div><div>'
        f'<h2>{_titled(place, record)}</h2><p class="state">{escape(state(record))}</p>'
        f'<p class="quiet">{about}</p>'
        f"{_said(record, words)}{unclear(record)}{_held(record)}{advice(record)}"
        f"{_folded('files', file_rows(place, record.outputs))}{_not_right(place, record)}{measures(record)}"
        "</div></article>"
    )


def _said(record: JobRecord, words: str) -> str:
    """What was done: folded away where there are pictures; why there are none, or why something is asked, is not."""
    return _folded("what was done, and why", f"<ul>{words}</ul>") if record.outputs else f"<ul>{words}</ul>"


def _folded(heading: str, body: str) -> str:
    return f"<details><summary>{heading}</summary>{body}</details>" if body else ""


def _titled(place: Place, record: JobRecord) -> str:
    title, work = escape(record.work.title or record.photo), place.works.get(record.job)
    return f'<a href="{quote(work_page_name(work))}">{title}</a>' if work else title


def work_page_name(work: str) -> str:
    """The file name of the page of one work."""
    return f"work-{work}.html"


def _asks(record: JobRecord) -> str:
    return ' class="asks"' if record.outcome == "needs a look" else ""


_CHOOSE = (
    "Waits for your answer: in its folder in needs-a-look delete all choices but the right one, or all of them, or set "
    "its corners below."
)
_EACH_OR_ONE = (
    "Waits for your answer: in its folder in needs-a-look delete all pictures but each-by-itself, and each of these "
    "works is finished; or delete all but the right one, or leave none of these alone; or set the corners of one below."
)
_NO_MORE = "Waits for your answer: set its corners below, or say “outline: ask again” in a note."
_SIZE = (
    "Waits for your answer: correct the size where you said it (name, folder or note); or, if the outline is wrong, "
    "say “outline: ask” in a note."
)
_NOT_FOUND = (
    "Waits for your answer: set its corners below; or say “outline: whole photo” in a note, if it shows nothing but "
    "the work."
)


def _settled_by(record: JobRecord) -> str:
    """How a question is answered, in one sentence; why.txt in its folder says all ways (`job.question`)."""
    if "each-by-itself" in record.pages:
        return _EACH_OR_ONE
    if record.offers_none or any(name.startswith("choice-") for name in record.pages):
        return _CHOOSE
    if record.refused:
        return _NO_MORE
    return _NOT_FOUND if record.outline is None else _SIZE


def state(record: JobRecord) -> str:
    """How a photo stands, in a sentence."""
    count = len(record.outputs)
    made = f"Finished: {count} picture{'' if count == 1 else 's'}." if count else "Made, and given out nowhere."
    lacking = record.not_given_out.keys() - {out.destination for out in record.outputs}
    waits = f" {len(lacking)} not given out." if lacking else ""
    sentences = {
        "ready": made + waits,
        "needs a look": _settled_by(record),
        "alternate": "Not used: another take of this work is better.",
        "reference": "Shows no work, but tells the light of others.",
        "set aside": "Could not be worked on.",
        "several works": "Shows several works; each is finished by itself.",
        "replaced": "Was edited, or replaced by another photo, before its question was answered.",
    }
    return sentences.get(record.outcome, record.outcome)


def unclear(record: JobRecord) -> str:
    """What is said of the work and could not be used, as HTML."""
    rows = "".join(f"<li>{escape(line)}</li>" for line in about_words(record))
    return f'<p class="quiet">About your words:</p><ul>{rows}</ul>' if rows else ""


def _held(record: JobRecord) -> str:
    rows = "".join(
        f"<li><b>{escape(name)}</b>: {escape(reason)}</li>" for name, reason in not_given_out(record).items()
    )
    return f'<p class="quiet">Not given out:</p><ul>{rows}</ul>' if rows else ""


def advice(record: JobRecord) -> str:
    """What would make the next photo better, as HTML."""
    rows = "".join(f"<li>{escape(line)}</li>" for line in record.advice)
    return f'<p class="quiet">For the next photo:</p><ul>{rows}</ul>' if rows else ""


def pictures(place: Place, record: JobRecord, *, wide: bool = False) -> str:
    """The comparison of a photo as HTML: one over the other to press, or wide, side by side; a question's choices."""
    # Old comparison pictures may have been cleared away; what is said of the photo stays.
    pages = {name: path for name, path in record.pages.items() if (place.page_folder / path).exists()}
    if "before" in pages and "after" in pages and wide:
        return (
            '<div class="takes"><figure><img class="alone" src="{before}" alt="as photographed" loading="lazy">'
            "<figcaption>as photographed</figcaption></figure><figure>"
            '<img class="alone" src="{after}" alt="as delivered" loading="lazy"><figcaption>as delivered</figcaption>'
            "</figure></div>{away}"
        ).format(before=quote(pages["before"]), after=quote(pages["after"]), away=_not_right(place, record))
    if "before" in pages and "after" in pages:
        return (
            '<figure><div class="hold" tabindex="0" role="img" '
            'aria-label="as delivered; hold to see it as photographed">'
            f'<img src="{quote(pages["after"])}" alt="" loading="lazy">'
            f'<img class="was" src="{quote(pages["before"])}" alt="" loading="lazy"></div>'
            "<figcaption><span>as delivered</span><span>hold: as photographed</span></figcaption></figure>"
        )
    if "photo" in pages:
        choices = "".join(
            f'<figure><img class="alone" src="{quote(path)}" alt="" loading="lazy">'
            f"<figcaption>{escape(name.replace('-', ' '))}</figcaption></figure>"
            for name, path in pages.items() if name.startswith(("choice-", "each-"))
        )  # fmt: skip
        return (
            f'<img class="alone" src="{quote(pages["photo"])}" alt="the photo with the guessed outline" loading="lazy">'
            + (f'<div class="takes">{choices}</div>' if choices else "")
        )
    return ""


def _not_right(place: Place, record: JobRecord) -> str:
    page = record.pages.get("corners", "")
    if not page or not (place.page_folder / page).exists():
        return ""
    return f'<p><a href="{quote(page)}">Not right? Set the corners, turn it, or say what it is</a></p>'


def file_rows(place: Place, outputs: Iterable[OutputRecord], made: Mapping[str, str] | None = None) -> str:
    """The files of a work as an HTML table; made: destination -> the day since which its file is as it is."""
    rows = []
    for out in outputs:
        lies = (place.studio / out.path).exists()
        name = escape(out.destination)
        shown = (
            f'<a href="{_link(place, out.path)}">{name}</a>'
            if lies
            else f"{name} ({'away' if place.no_ready else 'picked up'})"
        )
        day, columns = (made or {}).get(out.destination, ""), 3 + (made is not None)
        rows.append(
            f"<tr><td>{shown}</td>{_day(day) if made is not None else ''}"
            f'<td class="n">{out.width_px} × {out.height_px}</td><td class="n">{out.bytes / 1e6:.1f} MB</td></tr>'
        )
        if out.notes:
            notes = "<br>".join(escape(note) for note in out.notes)
            rows.append(f'<tr><td colspan="{columns}" class="quiet">{notes}</td></tr>')
    return f"<table>{''.join(rows)}</table>" if rows else ""


def _day(made: str) -> str:
    return f'<td class="n">{escape(made)}</td>'


def _link(place: Place, path: str) -> str:
    target = place.studio / path
    relative = os.path.relpath(target, place.page_folder)
    return escape(quote(relative.replace(os.sep, "/"), errors="surrogateescape"))


def measures(record: JobRecord) -> str:
    """What was measured, folded away, as HTML."""
    if not record.measures:
        return ""
    confidence = {} if record.outline is None else {"outline_confidence": record.outline.confidence}
    values = {**confidence, **record.measures}
    rows = "".join(
        f'<tr><td>{escape(name.replace("_", " "))}</td><td class="n">{value:.4g}</td></tr>'
        for name, value in values.items()
    )
    return f"<details><summary>measured</summary><table>{rows}</table></details>"
