"""What a worker's result leaves of each destination, and what a record says of files."""

from collections.abc import Mapping
from dataclasses import replace

from autoprep.domain import JobRecord
from autoprep.job.orders import JobOrder
from autoprep.ledger import Rendition, dated
from autoprep.service.depends import settings_digest, table_digest, told
from autoprep.told.explanations import HOLD
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
            rows[name] = replace(base, state="failed", path=None, reason=record.failed[name])
        elif order.facts.hold:  # nothing was tried of a take whose work lends it words
            rows[name] = replace(base, state="held", path=None, reason=HOLD, why=HOLD.kind)
    return rows


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
    rank = {name: index for index, name in enumerate(order)}
    rows = sorted(made.values(), key=lambda row: rank.get(row.destination, len(rank)))
    # What waited, or failed, where the work is sent no more is no news; on hold it is sent nowhere, and all waits.
    rows = [row for row in rows if not goal or row.destination in goal or row.state not in ("held", "failed")]
    given = [row for row in rows if row.state == "in place" or (row.state == "picked up" and row.destination in goal)]
    outputs = [row.output for row in given if row.output is not None]
    alternate = record.outcome == "alternate"
    waits = [row for row in rows if row.state in ("held", "withdrawn", "picked up")]
    waits = [row for row in waits if not alternate and row.destination not in {o.destination for o in outputs}]
    failed = {row.destination: row.reason for row in rows if row.state == "failed"}
    return record.model_copy(update={
        "outputs": tuple(outputs), "failed": {} if alternate else failed,
        "held": {row.destination: str(row.reason) for row in waits},
        "held_kinds": {row.destination: row.why for row in waits if row.why},
    })  # fmt: skip
