"""The workers of a cluster (dask.distributed) in place of processes of our own: bytes go there, bytes come back.

The service stays the only one that writes: to the ledger, to ready/, to the records. What goes wrong with the cluster
is never charged to a photo: while the scheduler is away orders are kept here and given out again when it is back.
"""

import contextlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from multiprocessing import Pipe
from pathlib import Path
from time import monotonic
from typing import Any

from autoprep.domain import JobRecord, Reason
from autoprep.errors import DeliveryError
from autoprep.files.storage import write_part
from autoprep.job.folders import by_its_folder
from autoprep.job.orders import JobOrder, JobResult
from autoprep.service.link import Link, News, Overview
from autoprep.service.messages import Failed, Finished, Garbled, Staged
from autoprep.service.parcels import Answer, Refused, unpacked_answer
from autoprep.wishes.places import cluster_tls_paths
from autoprep.wishes.tables import Settings

# Orders beyond one a worker: while an answer travels, its worker has the next photo already.
_SPARE = 2
# A worker ends a job at its limit by itself, and an order may wait behind two others: what takes longer is lost.
_LIMITS, _GRACE_S = 3, 60.0
_MOST_LOST = 3  # an order that is lost so often counts as a failed try: something of it may be the reason
_AGAIN_S = 5.0  # an order that was refused is offered again after so long


@dataclass
class _Sent:
    order: JobOrder
    ticket: int
    deadline: float
    lost: int = 0
    again_at: float | None = None


class Cluster:
    """The same as Pool, with workers of other machines. Jobs of all lengths are alike: many workers, and a limit."""

    def __init__(self, settings: Settings, log: Any) -> None:
        self._log = log
        self._limit_s = _LIMITS * settings.service.job_limit_s + _GRACE_S
        self._sent: dict[str, _Sent] = {}
        self._tickets = count(1)
        self._refusals = ""
        self._remark = ""
        self._ours, theirs = Pipe(duplex=False)
        self._link = Link(settings.service.cluster, cluster_tls_paths(settings), theirs)
        self._link.start()

    @property
    def _seen(self) -> Overview:
        return self._link.seen

    @property
    def free(self) -> int:
        """One order a worker, and a few that are on their way; none while there is trouble."""
        workers = 0 if self.trouble else self._seen.workers
        return max(0, workers + _SPARE - len(self._sent)) if workers else 0

    @property
    def trouble(self) -> str:
        """Why no worker can be had."""
        return self._seen.trouble or self._refusals

    @property
    def running(self) -> list[str]:
        """The jobs that were given out."""
        return list(self._sent)

    def takes(self, _job: str) -> bool:
        """Whether a job can be given out now."""
        return self.free > 0

    def make_room(self) -> list[str]:
        """Nothing is put back: no job holds more than one worker of many."""
        return []

    def waitables(self) -> list[Any]:
        """Ready when something came from the cluster."""
        return [self._ours]

    def next_deadline(self) -> float | None:
        """When the first order counts as lost, or is offered again."""
        return min((s.deadline if s.again_at is None else s.again_at for s in self._sent.values()), default=None)

    def submit(self, job: str, order: JobOrder) -> None:
        """Give an order to the cluster."""
        self._sent[job] = _Sent(order, 0, 0.0)
        self._send(job)

    def _send(self, job: str) -> None:
        sent = self._sent[job]
        sent.ticket, sent.deadline, sent.again_at = next(self._tickets), monotonic() + self._limit_s, None
        self._link.want(job, sent.ticket, sent.order)

    def collect(self) -> Iterator[Staged | Finished | Failed]:
        """What came back; what was lost or refused is given out again."""
        while self._ours.poll():
            self._ours.recv_bytes()
        for news in self._link.news():
            sent = self._sent.get(news.job)
            if sent is not None and sent.ticket == news.ticket:
                yield from self._came_back(news, sent)
        yield from self._overdue()
        self._tell()

    def _came_back(self, news: News, sent: _Sent) -> Iterator[Staged | Finished | Failed]:
        if news.lost:
            yield from self._lost(news.job, news.lost)
            return
        try:
            answer = unpacked_answer(news.data, sent.order)
        except Refused as problem:
            self._refusals = f"a worker of the cluster does no jobs: {problem}. Photos wait, and are offered again"
            self._link.forget(news.job)
            sent.again_at = monotonic() + _AGAIN_S
            return
        except Garbled as problem:
            self._end(news.job)
            yield Failed(news.job, str(problem), retry=False)
            return
        self._refusals = ""
        self._end(news.job)
        yield from answer.stages
        yield _kept(answer, sent.order)

    def _end(self, job: str) -> None:
        del self._sent[job]
        self._link.forget(job)

    def _lost(self, job: str, why: str) -> Iterator[Failed]:
        """An order that came to nothing is given out again; one to which that happens again and again has failed."""
        sent = self._sent[job]
        sent.lost += 1
        self._link.forget(job)
        if sent.lost >= _MOST_LOST:
            self._end(job)
            yield Failed(job, why, retry=True)
        else:
            self._log.warning("given out again", job=job, reason=why)
            sent.again_at = monotonic() + _AGAIN_S

    def _overdue(self) -> Iterator[Failed]:
        now = monotonic()
        for job, sent in list(self._sent.items()):
            if sent.again_at is not None:
                if sent.again_at <= now:
                    self._send(job)
            elif self._seen.trouble:
                sent.deadline = now + self._limit_s  # nothing can come back meanwhile
            elif sent.deadline <= now:
                yield from self._lost(job, f"nothing came back from the cluster for {self._limit_s:.0f} s")

    def _tell(self) -> None:
        remark = self._seen.remark
        if remark and remark != self._remark:
            self._log.warning("workers left out", reason=remark)
            self._remark = remark

    def stop(self) -> None:
        """Take back what is still out there, and leave the cluster."""
        self._sent.clear()
        self._link.stop()
        self._ours.close()


def _kept(answer: Answer, order: JobOrder) -> Finished | Failed:
    """The end of a job, its files written beside their final places as a local worker leaves them; a closed folder of
    ready/ costs what belongs in it alone, as there.
    """
    end = answer.end
    if isinstance(end, Failed):
        return end
    record, written = end.result.record, list[tuple[Path, Path]]()
    destinations = {place: name for name, place in order.places.items()}
    try:
        for _, final in end.result.parts:
            try:
                there = final.parent in order.there
                written.append((write_part(final, answer.files[final], order.job, there=there), final))
            except DeliveryError as problem:
                name = destinations.get(final)
                reason = None if name is None else by_its_folder(order.settings, final, problem)
                if name is None or reason is None:
                    raise
                record = _without(record, name, reason)
    except DeliveryError as problem:
        for part, _ in written:
            with contextlib.suppress(OSError):
                os.unlink(part)
        return Failed(order.job, str(problem), retry=True, full=problem.full)
    return Finished(end.job, JobResult(record, written))


def _without(record: JobRecord, name: str, reason: Reason) -> JobRecord:
    """The record of a job that could not leave its file for one destination here."""
    return record.model_copy(
        update={
            "outputs": tuple(output for output in record.outputs if output.destination != name),
            "failed": {**record.failed, name: str(reason)},
            "held_kinds": {**record.held_kinds, name: reason.kind},
        }
    )
