"""The list of all works: what each is, where its pictures went and since when; and what a deadline still lacks."""

import csv
import io
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from autoprep.domain import WorkFacts
from autoprep.ledger import Sent, WorkRow
from autoprep.logs import as_shown
from autoprep.metadata.statement import physical
from autoprep.told.explanations import MOVED_AWAY, in_a_word, sent_nowhere
from autoprep.told.lists import Entry, caption, checklist
from autoprep.wishes.destinations import Preset
from autoprep.wishes.lines import quoted
from autoprep.wishes.sizes import as_said
from autoprep.wishes.work_lists import OURS, as_cell, largest, rows_read

COLUMNS = tuple(OURS)  # so that the list can be put into the inbox as it is


def day_of(moment: str) -> str:
    """The day of a moment as the record has it, by the clock of this machine, as photos come in: 2026-11-26."""
    if not moment:
        return ""
    at = datetime.fromisoformat(moment)
    return (at if at.tzinfo is None else at.astimezone()).date().isoformat()


def public_since(row: WorkRow, presets: Mapping[str, Preset]) -> str:
    """The day on which a picture of the work first lay in a public destination, as 2026-11-26; empty where none did.

    Of files that an earlier version made the day is not known.
    """
    public = {name for name, preset in presets.items() if preset.public}
    return min((day_of(sent.first) for sent in row.sent if sent.first and sent.destination in public), default="")


def _perhaps_public(row: WorkRow, presets: Mapping[str, Preset], since: str) -> list[str]:
    """That a picture lay in a destination whose table is gone, before all of since: whether everybody saw it there
    is known to the artist alone, and calls ask."""
    days = {sent.destination: day_of(sent.first) for sent in row.sent if sent.first and sent.destination not in presets}
    before = {name: day for name, day in days.items() if not since or day < since}
    if not before:
        return []
    first = min(before, key=lambda name: before[name])
    return [f"from {before[first]} on in {first}, which has no table now: was it public there?"]


_HELD_UNTIL = "is held until"


def why_nowhere(row: WorkRow) -> str:
    """Why no picture of a work is given out anywhere, in a few words; empty where one is."""
    if row.asks:
        return "a question waits for your answer"
    if any(sent.state == "in place" for sent in row.sent):
        return ""
    if row.said.hold:
        return sent_nowhere(row.said) or f"on hold{_until(row.said)}{_left(row)}"
    return (
        "; ".join(_reasons(sent for sent in row.sent if not _is_over(row, sent)))
        or "no destination takes it by itself; say “for: …”"
    )


def _until(said: WorkFacts) -> str:
    """By what a work is held: words that ask for a hold in their way, or can't be read, say how that ends."""
    found = (f": {line}" for line in said.unclear if _HELD_UNTIL in line)
    return next(found, ", as you said")


def _left(row: WorkRow) -> str:
    """That pictures of a held work lie in their folders still, for the artist has changed them."""
    left = (sent for sent in row.sent if sent.state == "picked up" and sent.path and os.path.lexists(sent.path))
    lies = dict.fromkeys((*(sent.destination for sent in left), *(name for name, _ in row.changed)))
    names = ", ".join(lies)
    return f"; but in {names} lies one that you changed: take it out yourself" if lies else ""


def held_by(row: WorkRow) -> str:
    """What holds a work back, in a word or two, for lists that have no room for more."""
    if row.said.hold:
        return "no such destination" if sent_nowhere(row.said) else "on hold"
    there = (sent for sent in row.sent if sent.state in ("held", "withdrawn", "picked up") and not _is_over(row, sent))
    waiting = (in_a_word(sent.why, sent.reason) for sent in there)
    return ", ".join(dict.fromkeys(word for word in waiting if word))


def _is_over(row: WorkRow, sent: Sent) -> bool:
    """Whether a destination waited for a hold that has ended, and the work is not sent there any more."""
    return sent.why == "on hold" and not row.said.hold


# Of one destination, and of several.
_STATES = {
    "held": ("waits", "wait"), "withdrawn": ("withdrawn",) * 2, "picked up": ("picked up",) * 2,
    "failed": ("could not be made",) * 2,
}  # fmt: skip


def _reasons(sent: Iterable[Sent]) -> list[str]:
    """Why none of these lies in its folder: the destinations that share a reason together."""
    found: dict[tuple[str, str], list[str]] = {}
    for each in sent:
        found.setdefault((each.state, each.reason), []).append(each.destination)
    return [
        f"{', '.join(names)} {_STATES[state][len(names) > 1]}" + (f": {reason}" if reason else "")
        for (state, reason), names in found.items()
    ]


def fields(row: WorkRow, presets: Mapping[str, Preset]) -> dict[str, str]:
    """A work as one row of text, by COLUMNS."""
    said = row.said
    height, width = said.sides()
    size = as_said(said.size_mm, said.unit, free=said.size_free) if said.size_mm else ""
    values = (
        str(row.number), said.title, said.year, said.medium, height, width, said.unit if height else "", size, row.kind,
        said.kind or "", said.inventory, said.price, row.shown, str(row.takes), "held" if said.hold else "",
        public_since(row, presets),
        "; ".join(_all_went(row)), why_nowhere(row),
        said.alt_text,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _all_went(row: WorkRow) -> list[str]:
    """The pictures that are given out, and those beside them that the artist has changed."""
    went = [sent for sent in row.sent if sent.state == "in place"]
    changed, own = {place for _, place in row.changed}, {sent.path for sent in went}
    said = [_went(sent) + (", changed by you since" if sent.path in changed else "") for sent in went]
    others = [(name, place) for name, place in row.changed if place not in own] if went else []
    return said + [f"{name}: {as_shown(place.name)}, changed by you" for name, place in others]


def _went(sent: Sent) -> str:
    file = "" if sent.path is None else as_shown(sent.path.name)  # where names are in no UTF-8 here, too
    return f"{sent.destination}: {file}" + (f" ({day_of(sent.made)})" if sent.made else "")


def as_csv(rows: Iterable[WorkRow], presets: Mapping[str, Preset]) -> str:
    """All works as CSV (RFC 4180), which as a list of the inbox says what is said already.

    Of a question nothing is said: that would say that it shows a work.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for row in rows:
        cells = fields(row, presets)
        silent = row.asks and not row.said.says_work
        cells |= {name: "" for name, key in OURS.items() if silent and key not in ("", "photo")}
        writer.writerow(
            [as_cell(quoted(cell) if OURS[name] not in ("", "photo") else cell) for name, cell in cells.items()]
        )
    return out.getvalue()


def too_long(text: str, count: int) -> str:
    """That the list `as_csv` gave is longer than what is read of one in the inbox; empty where it is not.

    count: its rows.
    """
    read = rows_read(text)
    if read >= count:
        return ""
    return (
        f"This list has {count} rows and is longer than the {largest()} that are read of a list in the inbox: put "
        f"there as it is, only its first {read} rows are heard, and all works without a “no” to a hold are held. Leave "
        "in it only the rows that you change."
    )


def as_json(rows: Iterable[WorkRow], presets: Mapping[str, Preset]) -> str:
    """All works as a JSON list; "went to" holds an object per file."""
    return json.dumps([_object(row, presets) for row in rows], ensure_ascii=False, indent=2)


_MEMBERS = {"work number": "number", "kind seen": "kind"}  # in JSON nobody takes them for what is said


def _object(row: WorkRow, presets: Mapping[str, Preset]) -> dict[str, Any]:
    size = row.said.size_mm
    return {
        **{_MEMBERS.get(name, name.replace(" ", "_")): value for name, value in fields(row, presets).items()},
        "number": row.number,
        "takes": row.takes,
        "held": row.said.hold,
        "height_mm": None if size is None else size[1],
        "width_mm": None if size is None else size[0],
        "keywords": list(row.said.keywords),
        "went_to": [
            {
                "destination": sent.destination,
                "state": sent.state,
                "file": None if sent.path is None else sent.path.name,
                "made": sent.made,
                "first": sent.first,
                "reason": sent.reason,
            }
            for sent in row.sent
        ],
        "changed_by_you": [{"destination": name, "file": as_shown(place.name)} for name, place in row.changed],
    }


def lines(rows: Sequence[WorkRow], presets: Mapping[str, Preset]) -> list[str]:
    """All works as lines to read."""
    said = []
    for row in rows:
        words = caption(row.said, "")
        named = words if row.said.title else ", ".join(part for part in (row.shown, words) if part)
        said.append(f"{row.number:>5}  {named}  ({'; '.join(notes(row, presets))})")
    return said


def notes(row: WorkRow, presets: Mapping[str, Preset]) -> list[str]:
    """How a work stands: where it is, or why nowhere, since when it is public, and how many takes there are."""
    went = ", ".join(sent.destination for sent in row.sent if sent.state == "in place")
    since = public_since(row, presets)
    away = ", ".join(sent.destination for sent in row.sent if sent.reason == MOVED_AWAY)
    said = [f"in {went}" if went else f"given out nowhere: {why_nowhere(row)}"]
    said += [f"moved out of {away}, or gone"] if went and away else []
    said += [f"public since {since}"] if since else []
    said += _perhaps_public(row, presets, since)
    changed = ", ".join(changed_files(row))
    said += [f"changed by you: {changed}"] if changed else []
    return said + ([f"{row.takes} takes"] if row.takes > 1 else [])


def changed_files(row: WorkRow) -> list[str]:
    """The pictures of a work that the artist has changed, as they are called: site/Gull.jpg."""
    return [f"{name}/{as_shown(place.name)}" for name, place in row.changed]


def call_lines(name: str, preset: Preset, listed: Sequence[Entry], left: Sequence[str]) -> list[str]:
    """What would go to a destination now, in its order, what waits and why, and what is missing.

    left: what `left_behind` says.
    """
    said = [f"{name}: {len(listed)} picture{'' if len(listed) == 1 else 's'} would go now"]
    for entry in listed:
        words = ", ".join(part for part in (entry.work.title, entry.work.year, physical(entry.work)) if part)
        said.append(f"  {entry.number:02d}  {entry.file}  {words or 'nothing is said of it'}")
    said += [f"  {line}" for line in left]
    return said + [f"  check: {line}" for line in checklist(list(listed), preset)]


def left_behind(name: str, preset: Preset, rows: Sequence[WorkRow]) -> list[str]:
    """Works that were sent to a destination, or go to it as all do, and would not go now, and why."""
    waiting = [(row, sent) for row in rows if not row.asks for sent in row.sent if sent.destination == name]
    said = []
    for row, sent in waiting:
        if sent.state != "in place" and sent.why != "not sent":  # that is as the artist wants it
            said.append(f"not: {row.said.title or row.shown}: {sent.reason or sent.state}")
    made = {row.work for row, _ in waiting}
    for row in rows:
        # What is finished went to the tables that were there at its time; a question has its time before it.
        usual = (name,) if row.asks and preset.when == "always" else ()
        if row.work not in made and name in row.said.goes_to(usual):
            why = ": a question waits for your answer" if row.asks else ""
            said.append(f"not yet made: {row.said.title or row.shown}{why}")
    return said


def call_json(name: str, preset: Preset, listed: Sequence[Entry], left: Sequence[str]) -> str:
    """The same as a JSON object."""
    pictures = [
        {
            "number": entry.number,
            "file": entry.file,
            "title": entry.work.title,
            "year": entry.work.year,
            "medium_and_size": physical(entry.work),
        }
        for entry in listed
    ]
    found = {
        "destination": name,
        "pictures": pictures,
        "left_behind": list(left),
        "check": checklist(list(listed), preset),
    }
    return json.dumps(found, ensure_ascii=False, indent=2)
