"""The names under which finished files are published: numbers are given then, and no file of the artist's is met."""

import contextlib
import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from autoprep.ledger import Job, Ledger, Rendition
from autoprep.service.keeping import at_place, beside, is_alike, is_ours, next_free, under_another_name
from autoprep.service.places import counted, files_called_so, misplaced, other_names, places_for, plain_place
from autoprep.service.rule import Known
from autoprep.told.explanations import HOLD, NOT_SENT, others_there
from autoprep.wishes.tables import Settings


def unnumbered(
    settings: Settings, ledger: Ledger, job: str, made: Mapping[str, Rendition], places: Mapping[str, Path]
) -> frozenset[str]:
    """The destinations of these places in which a photo's file has no number yet: the one in its name is a guess."""
    coming = ledger.coming(job)

    def has(name: str) -> bool:
        old = made.get(name)
        lies = old is not None and old.state == "in place" and old.path == places[name]
        return lies or (name in coming and coming[name][0] == places[name])

    return frozenset(name for name in places if counted(settings, name) and not has(name))


def named(
    settings: Settings,
    ledger: Ledger,
    job: Job,
    known: Known,
    takes: list[Known],
    rows: dict[str, Rendition],
    parts: list[tuple[Path, Path]],
) -> tuple[dict[str, Rendition], list[tuple[Path, Path]]]:
    """The same under the names that the files get now, and the names kept for them.

    Numbers that were open are given; a new photo that is known for a take now has the names of its work.
    """
    ordered = {name: row.path for name, row in rows.items() if row.path is not None}
    again = unnumbered(settings, ledger, job.job, known.made, ordered)
    if takes and not job.work:
        again = frozenset(ordered)
        ledger.release(job.job, again)
    known = replace(known, misplaced=misplaced(settings, ledger, known))
    places = places_for(settings, ledger, known, sorted(again), takes, may_ask=False) if again else {}
    ledger.reserve(job.job, {**ordered, **places}, [take.view.job for take in takes])
    moved = {ordered[name]: place for name, place in places.items() if place != ordered[name]}
    for name, row in rows.items():
        if row.path in moved and row.output is not None:
            rows = {**rows, name: _at(settings, row, moved[row.path])}
    parts = [(part, moved.get(final, final)) for part, final in parts]
    rows, parts = _where_they_lie(settings, ledger, known, rows, parts)
    told = {name: row for name, row in rows.items() if name not in known.made}
    rows = {**rows, **{name: _explained(settings, ledger, known, row) for name, row in told.items()}}
    return rows, parts


def _at(settings: Settings, row: Rendition, place: Path) -> Rendition:
    """The same in another place."""
    assert row.output is not None
    return replace(row, path=place, output=at_place(row.output, place, settings.studio))


def _where_they_lie(
    settings: Settings, ledger: Ledger, known: Known, rows: dict[str, Rendition], parts: list[tuple[Path, Path]]
) -> tuple[dict[str, Rendition], list[tuple[Path, Path]]]:
    """The same under names at which just these files lie already, and these names kept."""
    lie = {row.path: place for row in rows.values() if (place := _lies_already(settings, ledger, known, row))}
    if lie:
        rows = {name: _at(settings, row, lie[row.path]) if row.path in lie else row for name, row in rows.items()}
        found = {name: row.path for name, row in rows.items() if row.path in lie.values() and row.path is not None}
        ledger.reserve(known.view.job, found)
    return rows, [(part, lie.get(final, final)) for part, final in parts]


def _lies_already(settings: Settings, ledger: Ledger, known: Known, row: Rendition) -> Path | None:
    """Where just this file lies under an earlier name of its work that no record has; None where it does not.

    So it is where older records were put back over pictures that were made since. Made beside it, it would be given
    out twice, and a hold would reach one of the two.
    """
    old = known.made.get(row.destination)
    if row.path is None or row.output is None or (old is not None and old.state == "in place"):
        return None
    for place in other_names(settings, row.destination, known, row.path, row.output.bytes):
        with contextlib.suppress(OSError):  # what can't be read is the artist's
            if not ledger.is_taken(place) and is_ours(place, row.output.sha256):
                return place
    return None


def with_unknown_files(
    settings: Settings, ledger: Ledger, known: Known, rows: Mapping[str, Rendition]
) -> dict[str, Rendition]:
    """The same with the word that files of the work's name lie there, where the work is on hold or not sent there.

    Nobody's records know them (older ones were put back; the artist laid them there, or has changed one, and another
    was made beside it), so no hold reaches them.
    """
    found = dict(rows)
    for name, row in rows.items():
        if row.state in ("in place", "failed") or row.why not in (HOLD.kind, NOT_SENT.kind):
            continue
        told = row.path if row.state == "picked up" else None  # one that was changed: the reason says so already
        called = [place for place in files_called_so(settings, name, known) if not ledger.is_taken(place)]
        stayed = [place for place in ledger.stayed(known.view.job, name) if os.path.lexists(place)]
        unknown = sorted({place.name for place in (*called, *stayed) if place != told})
        if unknown:
            found[name] = replace(row, reason=others_there(row.reason, unknown))
    return found


def _explained(settings: Settings, ledger: Ledger, known: Known, row: Rendition) -> Rendition:
    """The same with the reason, where a first file has a number at its end because of a file of the artist's."""
    if row.path is None or row.output is None or row.destination not in settings.destinations:
        return row
    plain = plain_place(settings, row.destination, known)
    met = row.path != plain and os.path.lexists(plain) and not ledger.is_taken(plain)
    return row if not met or counted(settings, row.destination) else replace(row, output=beside(row.output, plain.name))


def beside_foreign_files(
    settings: Settings,
    ledger: Ledger,
    job: Job,
    rows: dict[str, Rendition],
    parts: list[tuple[Path, Path]],
    before: Mapping[str, Rendition],
    handed: Mapping[Path, tuple[str, Rendition]],
) -> tuple[dict[str, Rendition], list[tuple[Path, Path]]]:
    """The same with other names where a file lies that is not, or no longer, ours."""
    coming, moved = ledger.coming(job.job), dict[Path, Path]()
    for name, row in rows.items():
        if row.path is None or row.output is None or not row.path.exists():
            continue
        old = before.get(name)
        known = [row.output.sha256, *coming.get(name, (None, ()))[1]]
        known += [old.output.sha256] if old and old.output and is_alike(old.path, row.path) else []
        replaced = handed[row.path][1].output if row.path in handed else None
        known += [replaced.sha256] if replaced is not None else []
        if not is_ours(row.path, *known):
            place = next_free(row.path, ledger)
            moved[row.path] = place
            output = under_another_name(row.output, place, settings.studio)
            rows = {**rows, name: replace(row, path=place, output=output)}
    fresh = {name: row.path for name, row in rows.items() if row.path in moved.values() and row.path is not None}
    if fresh:
        ledger.reserve(job.job, fresh)
    return rows, [(part, moved.get(final, final)) for part, final in parts]
