"""What a worker says: plain data, read back with suspicion.

A worker decodes files that come from anywhere. Should one of them take it over, it must not take the service with it:
nothing that it sends is run or unpacked into code, it speaks of its own job alone, and the files that it hands over are
those that were ordered.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from autoprep.domain import JobRecord
from autoprep.files.storage import PART_PREFIX, PART_SUFFIX
from autoprep.job.orders import JobOrder, JobResult

MOST_BYTES = 16_000_000  # a record is a few kilobytes; the plan of a torn sheet a hundred
UP = b'{"up": true}'
"""A worker's first word: it has loaded what it needs, and takes its first order only now."""


class Garbled(ValueError):
    """A worker has said something that no worker of ours says."""


@dataclass(frozen=True)
class Staged:
    """A stage of a job has ended."""

    job: str
    stage: str
    seconds: float
    facts: dict[str, object]


@dataclass(frozen=True)
class Finished:
    """A job has its result."""

    job: str
    result: JobResult


@dataclass(frozen=True)
class Failed:
    """A job failed; retry tells whether another try may help; trace is the traceback of a mistake in the code.

    full: there was no room, which counts as no try.
    """

    job: str
    reason: str
    retry: bool
    trace: str = ""
    full: bool = False


Message = Staged | Finished | Failed


def packed(message: Message) -> bytes:
    """A message as JSON."""
    if isinstance(message, Finished):
        parts = [[str(part), str(final)] for part, final in message.result.parts]
        said: dict[str, Any] = {
            "finished": message.job, "record": message.result.record.model_dump_json(), "parts": parts,
        }  # fmt: skip
    elif isinstance(message, Staged):
        said = {"staged": message.job, "stage": message.stage, "seconds": message.seconds, "facts": message.facts}
    else:
        said = {
            "failed": message.job, "reason": message.reason, "retry": message.retry, "trace": message.trace,
            "full": message.full,
        }  # fmt: skip
    return json.dumps(said, default=_plain).encode("ascii")


def _plain(value: Any) -> Any:
    """What a stage tells may be numbers of NumPy's, or paths."""
    return value.item() if hasattr(value, "item") else str(value)


def unpacked(data: bytes, order: JobOrder) -> Message:
    """The message of the worker that has this order. Raises Garbled."""
    try:
        said = json.loads(data)
        kind = next(name for name in ("staged", "finished", "failed") if name in said)
        if said[kind] != order.job:
            raise Garbled(f"a worker speaks of {said[kind]!r} and has {order.job}")
        if kind == "staged":
            return Staged(order.job, str(said["stage"]), float(said["seconds"]), dict(said["facts"]))
        if kind == "failed":
            return Failed(
                order.job, str(said["reason"]), bool(said["retry"]), str(said["trace"]), bool(said["full"])
            )  # fmt: skip
        return Finished(order.job, _result(said, order))
    except Garbled:
        raise
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, StopIteration) as problem:
        raise Garbled(f"a worker said what can't be read ({type(problem).__name__})") from None


def _result(said: dict[str, Any], order: JobOrder) -> JobResult:
    record = JobRecord.model_validate_json(said["record"])
    if (record.job, record.sha256) != (order.job, order.sha256):
        raise Garbled("a worker's record is of another photo")
    parts = [(Path(part), Path(final)) for part, final in said["parts"]]
    for part, final in parts:
        if not (_is_ordered(final, order) and _is_part_of(part, final)):
            raise Garbled(f"a worker hands over a file that nobody ordered: {final}")
    lies = {str(place) for place in order.places.values()}
    strange = [out.path for out in record.outputs if not _lies_in(out.path, order, lies)]
    if strange:
        raise Garbled(f"a worker's record names a file that nobody ordered: {strange[0]}")
    return JobResult(record, parts)


def _is_ordered(final: Path, order: JobOrder) -> bool:
    """Whether a file is one of the order's: a destination's, or one beside the question or the proof."""
    return final in order.places.values() or (
        final.parent in (order.look_folder, order.proof_folder) and final.name not in ("", ".", "..")
    )


def _is_part_of(part: Path, final: Path) -> bool:
    name = part.name
    return part.parent == final.parent and name.startswith(PART_PREFIX) and name.endswith(PART_SUFFIX)


def _lies_in(path: str, order: JobOrder, ordered: Iterable[str]) -> bool:
    """Whether an output is one that was ordered now, or is on the earlier record that the order carries."""
    earlier = getattr(order, "earlier", None)
    known = {out.path for out in earlier.outputs} if earlier is not None else set()
    return path in known or str(order.settings.studio / path) in ordered
