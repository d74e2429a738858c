"""Of several takes of one work one is used; the others become alternates and give their places up."""

import contextlib
import hashlib
from pathlib import Path

from autoprep.domain import JobRecord
from autoprep.job import JobResult
from autoprep.ledger import Ledger
from autoprep.logs import plain
from autoprep.service.takes import compare, same_work

_LOOKED_AT = 40  # a new photo is compared with so many that came before it


def among_takes(ledger: Ledger, studio: Path, result: JobResult) -> JobRecord | None:
    """A worse newcomer becomes an alternate here and now; the return value is an earlier take that a better newcomer
    replaces."""
    newer = result.record
    if newer.outcome != "ready":
        return None
    known = [job.record for job in ledger.recent_ready(_LOOKED_AT) if job.record is not None]
    earlier = next((record for record in known if same_work(record, newer)), None)
    if earlier is None:
        return None
    verdict = compare(earlier, newer)
    if verdict.newer_is_better:
        return earlier
    finals = {studio / output.path for output in newer.outputs}
    for part, final in result.parts:
        if final in finals:
            with contextlib.suppress(OSError):
                part.unlink()
    result.parts = [(part, final) for part, final in result.parts if final not in finals]
    result.record = _as_alternate(newer, earlier, verdict.reason)
    return None


def stand_back(ledger: Ledger, studio: Path, loser: JobRecord, winner: JobRecord) -> None:
    """An earlier take gives way: its files go, unless somebody has changed them since."""
    for output in loser.outputs:
        path = studio / output.path
        with contextlib.suppress(OSError):
            if not path.is_symlink() and hashlib.sha256(path.read_bytes()).hexdigest() == output.sha256:
                path.unlink()
    ledger.stand_back(_as_alternate(loser, winner, compare(loser, winner).reason))


def _as_alternate(record: JobRecord, used: JobRecord, reason: str) -> JobRecord:
    said = f"Another take of the same work is used: {reason}. To have this one too: autoprep redo {plain(record.photo)}"
    return record.model_copy(
        update={"outcome": "alternate", "outputs": (), "take_of": used.job, "reasons": (said, *record.reasons)}
    )
