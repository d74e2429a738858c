"""The pages of the works: one for each, and the list of all with a search that needs no server."""

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from urllib.parse import quote

from autoprep.domain import JobRecord
from autoprep.ledger import BLOCK, WorkRow
from autoprep.metadata.statement import physical
from autoprep.told.pages import Place, advice, file_rows, measures, page_name, pictures, unclear, work_page_name
from autoprep.told.web import page
from autoprep.told.works import changed_files, day_of, notes, public_since, why_nowhere
from autoprep.wishes.destinations import Preset

WORKS_PAGE = "works.html"


@dataclass(frozen=True)
class Shown:
    """What a work's page shows: its row, the records of all its photos, the one that is used first, and the rights;
    looked: when it was looked which of its pictures the artist has changed."""

    row: WorkRow
    takes: Sequence[JobRecord]
    rights: Sequence[str] = ()
    looked: str = ""


def work_html(place: Place, presets: Mapping[str, Preset], shown: Shown) -> str:
    """The page of one work as text."""
    row, used = shown.row, shown.takes[0]
    since = public_since(row, presets)
    facts = [
        ("medium and size", physical(row.said)), ("year", row.said.year), ("kind", row.kind),
        ("inventory", row.said.inventory), ("price", row.said.price), ("alternative text", row.said.alt_text),
        ("description", row.said.description), ("keywords", ", ".join(row.said.keywords)), ("photo", row.shown),
        ("came in", row.came), ("public since", since), ("rights written into the files", "; ".join(shown.rights)),
    ]  # fmt: skip
    rows = "".join(f"<tr><td>{escape(name)}</td><td>{escape(value)}</td></tr>" for name, value in facts if value)
    when = {sent.destination: day_of(sent.made) for sent in row.sent}
    detail = used.pages.get("details", "")
    closer = (
        f'<h2 class="part">Closer</h2><img class="alone" src="{quote(detail)}" alt="the corners of the finished work '
        'and its faintest part, enlarged" loading="lazy"><p>Faded, beside each corner: what the photo shows outside. '
        "Paper there is cut off; desk that is not faded stands in the files.</p>"
        if detail and (place.page_folder / detail).exists()
        else ""
    )
    body = (
        f'<div class="wide">{pictures(place, used, wide=True)}</div>{closer}'
        f'<h2 class="part">Files</h2>{file_rows(place, used.outputs, when) or _nowhere(row)}{_changed(place, shown)}'
        f'<h2 class="part">What is said of it</h2>{unclear(used)}<table>{rows}</table>'
        f'<h2 class="part">What was done</h2><ul>{_items(used.reasons)}</ul>{advice(used)}{measures(used)}'
        f"{_takes(place, shown.takes)}"
    )
    back = f'<p><a href="{WORKS_PAGE}">All works</a>, <a href="index.html">what waits, and the newest day</a></p>'
    return page(row.said.title or row.shown, back, body, scripts=["page.js"])


def _nowhere(row: WorkRow) -> str:
    return f"<p>None is given out: {escape(why_nowhere(row))}.</p>"


_NOT_KNOWN = "not known while the folder of finished pictures is away."


def _changed(place: Place, shown: Shown) -> str:
    if place.no_ready:
        return f'<p class="quiet">Which of them you have changed is {_NOT_KNOWN}</p>'
    files = ", ".join(changed_files(shown.row))
    return f"<p>Changed by you, as of {escape(shown.looked)}: {escape(files)}.</p>" if files else ""


def _items(lines: Sequence[str]) -> str:
    return "".join(f"<li>{escape(line)}</li>" for line in lines)


def _takes(place: Place, takes: Sequence[JobRecord]) -> str:
    """All photos of the work side by side, and why one is used."""
    if len(takes) < 2:
        return ""
    cells = []
    for take in takes:
        after = take.pages.get("after", "")
        there = bool(after) and (place.page_folder / after).exists()
        shown = f'<img class="alone" src="{quote(after)}" alt="" loading="lazy">' if there else ""
        why = "used" if take.outcome == "ready" else take.reasons[0] if take.reasons else take.outcome
        cells.append(f"<figure>{shown}<figcaption>{escape(take.photo)}: {escape(why)}</figcaption></figure>")
    return f'<h2 class="part">Takes</h2><div class="takes">{"".join(cells)}</div>'


def works_html(
    place: Place, presets: Mapping[str, Preset], rows: Sequence[WorkRow], artist: str, looked: str = ""
) -> str:
    """The list of all works as text, the newest first: searched and filtered in the page itself.

    looked: when it was looked which pictures the artist has changed.
    """
    names = sorted({sent.destination for row in rows for sent in row.sent if sent.state == "in place"})
    kinds = sorted({row.kind for row in rows if row.kind})
    years = sorted({row.said.year for row in rows if row.said.year}, reverse=True)
    filters = (
        '<div class="row"><label>Search <input id="words" type="search" autocomplete="off"></label>'
        + _choice("kind", "Kind", kinds) + _choice("year", "Year", years) + _choice("went", "Where", names)
        + _choice("state", "State", ["held", "nowhere", "public", "not public"])
        + '<span id="count" role="status" class="quiet"></span></div>'
    )  # fmt: skip
    listed = "".join(_row(place, presets, row) for row in reversed(rows)) or "<p>No work has come in yet.</p>"
    asked = sum(row.asks for row in rows)
    waits = f", {asked} more wait{'s' if asked == 1 else ''} for your answer" if asked else ""
    many = len(rows) - asked
    said = (
        f"<p>{many} work{'' if many == 1 else 's'}{waits}; "
        '<a href="index.html">what waits, and the newest day</a>. The list for programs: '
        "<code>autoprep works --csv</code>, <code>--json</code>.</p>"
        + (f'<p class="quiet">Which pictures you have changed{_as_of(place, looked)}</p>' if looked else "")
    )
    body = f'{filters}<ul class="works" id="works">{listed}</ul>'
    title = f"Works of {artist}" if artist else "Your works"
    return page(title, said, body, styles=["works.css"], scripts=["works.js"])


def _as_of(place: Place, looked: str) -> str:
    return f" is {_NOT_KNOWN}" if place.no_ready else f": as of {escape(looked)}."


def _choice(name: str, label: str, values: Sequence[str]) -> str:
    options = "".join(f'<option value="{escape(value)}">{escape(value)}</option>' for value in values)
    return f'<label>{label} <select id="{name}"><option value="">all</option>{options}</select></label>'


def _lowered(text: str) -> str:
    """Text as the page's script lowers what it searches for: letter by letter, each composed with its accents."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).lower())


def _row(place: Place, presets: Mapping[str, Preset], row: WorkRow) -> str:
    went = [sent.destination for sent in row.sent if sent.state == "in place"]
    since = public_since(row, presets)
    state = " ".join(
        [*(["held"] if row.said.hold else []), *([] if went else ["nowhere"]), "public" if since else "not-public"]
    )
    line = ", ".join(part for part in (row.said.year, physical(row.said), row.kind) if part)
    # A question has no page of its own: it stands on that of its month. The first page holds the newest ones only.
    asked = f"{page_name(row.came[:7], row.number // BLOCK)}#{quote(row.job)}"
    target = asked if row.asks else work_page_name(row.work)
    picture = f"{row.job}/{'photo' if row.asks else 'after'}.jpg"
    shown = '<span class="gone"></span>'  # it may have been cleared away; all lines stand in one even so
    if (place.page_folder / picture).exists():
        shown = f'<img src="{quote(picture)}" alt="" width="96" height="72" loading="lazy" decoding="async">'
    words = _lowered(" ".join((row.said.title, row.shown, line, row.said.inventory, *row.said.keywords)))
    return (
        f'<li data-words="{escape(words)}" data-kind="{escape(row.kind)}" data-year="{escape(row.said.year)}" '
        f'data-went="{escape(" ".join(went))}" data-state="{state}"><a href="{target}">'
        f"{shown}<span><b>{escape(row.said.title or row.shown)}</b><br>{escape(line)}<br>"
        f'<span class="quiet">no. {row.number}; {escape("; ".join(notes(row, presets)))}</span></span></a></li>'
    )
