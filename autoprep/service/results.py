"""What a worker's result leaves of each destination, and what a record says of files."""

from collections.abc import Collection, Container, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord, WorkFacts
from autoprep.job.orders import JobOrder
from autoprep.ledger import Rendition, dated
from autoprep.service.depends import settings_digest, table_digest, told
from autoprep.told.explanations import BEFORE_STAYS, HOLD, MADE_LATER, NOT_SENT
from autoprep.wishes.tables import Settings


def rows_of(
    settings: Settings,
    order: JobOrder,
    record: JobRecord,
    plan: object,
    asked: set[str],
    before: Mapping[str, Rendition],
) -> dict[str, Rendition]:
    """What a worker has made of each destination of its order; asked: those that no word sends this take to."""
    outputs = {output.destination: output for output in record.outputs}
    rows = {}
    for name, place in order.places.items():
        words = told(settings, name, order.facts, order.photo) if name in settings.destinations else {}
        by = order.settings  # which may be others now: by those of today what failed is tried again
        base = Rendition(
            name, "in place", place, words, str(plan),
            settings_digest(by, name) if name in by.destinations else "",
            name in asked,
        )  # fmt: skip
        base = replace(base, asked=base.asked or (name in before and before[name].asked))
        if name in outputs:
            rows[name] = replace(base, output=outputs[name])
        elif name in record.held:
            digest = table_digest(by, name) if name in by.destinations else ""
            rows[name] = replace(
                base, state="held", path=None, reason=record.held[name], why=record.held_kinds.get(name, ""),
                settings=digest,
            )  # fmt: skip
        elif name in record.failed:
            why = record.held_kinds.get(name, "")
            rows[name] = replace(base, state="failed", path=None, reason=record.failed[name], why=why)
        elif order.facts.hold:  # nothing was tried of a take whose work lends it words
            rows[name] = replace(base, state="held", path=None, reason=HOLD, why=HOLD.kind)
    return rows


def with_those_of_before(rows: dict[str, Rendition], before: Mapping[str, Rendition]) -> dict[str, Rendition]:
    """The same where files of before stay: what fails for the mark's picture, or a closed folder, is made later."""
    stay = {
        name: replace(was, told=row.told, plan=row.plan, asked=row.asked, reason=row.reason + BEFORE_STAYS, why=row.why)
        for name, row in rows.items()
        if row.state == "failed" and row.why in MADE_LATER and (was := before.get(name)) and was.state == "in place"
    }
    return rows | stay


def as_said_now(
    order: JobOrder, record: JobRecord, now: WorkFacts, usual: tuple[str, ...], bound: Collection[str]
) -> tuple[JobOrder, JobRecord, set[Path]]:
    """The order and what a worker made of it as if it had been known that the work is held now, or not sent there.

    With the places of the files that are not given out for that: not for a moment, for what is synced can't be taken
    back. now: what is said of the work now; usual: where it goes if nothing is said; bound: destinations that no word
    sends it to, and none but “not for” away from.
    """
    facts = order.facts
    if now.hold and not facts.hold:
        said: dict[str, Any] = {"hold": True}
        lost = set(order.places)
        held = dict.fromkeys(lost, str(HOLD)) if record.plan is not None else {}
        kept = order.places
    else:
        said = {"destinations": now.destinations, "also": now.also, "not_for": now.not_for}
        lost = set(order.places).intersection(facts.goes_to(usual)).difference(now.goes_to(usual), bound)
        lost |= set(order.places).intersection(now.not_for)
        held, kept = {}, {name: place for name, place in order.places.items() if name not in lost}
    if not lost:
        return order, record, set()
    said["shared"] = (*(name for name in facts.shared if name not in said), *(n for n in now.shared if n in said))
    record = record.model_copy(update={
        "work": record.work.model_copy(update=said),
        "outputs": tuple(output for output in record.outputs if output.destination not in lost),
        "held": _but(record.held, lost) | held,
        "held_kinds": _but(record.held_kinds, lost) | dict.fromkeys(held, HOLD.kind),
        "failed": _but(record.failed, lost),
    })  # fmt: skip
    unwanted = {order.places[name] for name in lost}
    return replace(order, facts=facts.model_copy(update=said), places=kept), record, unwanted


def _is_of_before(row: Rendition) -> bool:
    return row.state == "in place" and row.why in MADE_LATER


def _but(said: Mapping[str, str], lost: Container[str]) -> dict[str, str]:
    return {name: words for name, words in said.items() if name not in lost}


def with_times(record: JobRecord, made: Mapping[str, Rendition], before: Mapping[str, Rendition]) -> JobRecord:
    """The record with what is known of its files for good, also where the ledger is lost; before: what that has yet."""
    rows = {name: dated(row, before.get(name), record.finished_at or "") for name, row in made.items()}
    dates = {name: (row.first, row.made) for name, row in rows.items() if row.first}
    asked = tuple(name for name, row in rows.items() if row.asked)
    return record.model_copy(update={"dates": dates, "asked": asked})


def with_renditions(
    record: JobRecord, made: Mapping[str, Rendition], goal: tuple[str, ...], order: tuple[str, ...]
) -> JobRecord:
    """The record with the files and the reasons that the ledger has of each destination."""
    now = HOLD if record.work.hold else NOT_SENT
    rank = {name: index for index, name in enumerate(order)}
    rows = sorted(made.values(), key=lambda row: rank.get(row.destination, len(rank)))
    # What waited, or failed, where the work is sent no more is no news; on hold it is sent nowhere, and all waits.
    rows = [row for row in rows if not goal or row.destination in goal or row.state not in ("held", "failed")]
    # What could not be made stays so in the ledger, and is tried again; meanwhile it is nobody's worry.
    rows = [
        row if goal or row.state != "failed" else replace(row, state="held", reason=now, why=now.kind) for row in rows
    ]
    given = [row for row in rows if row.state == "in place" or (row.state == "picked up" and row.destination in goal)]
    outputs = [row.output for row in given if row.output is not None]
    alternate = record.outcome == "alternate"
    waits = [row for row in rows if row.state in ("held", "withdrawn", "picked up")]
    waits = [row for row in waits if not alternate and row.destination not in {o.destination for o in outputs}]
    held = {row.destination: str(row.reason) for row in waits}
    failed = {row.destination: row.reason for row in rows if row.state == "failed" or _is_of_before(row)}
    return record.model_copy(update={
        "outputs": tuple(outputs), "failed": {} if alternate else failed,
        "held": held,
        "held_kinds": {row.destination: row.why for row in rows if row.why and row.destination in {*held, *failed}},
    })  # fmt: skip
