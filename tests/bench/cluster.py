"""`python -m tests.bench.cluster --photos 12 --workers 1 2`: a cluster on this machine's cores beside the local pool.

Throughput and CPU seconds are taken while all workers are busy: from the moment at which as many photos are done as
there are workers, to the last photo. Bytes are those of orders and answers; what the ledger writes is what its thread
hands to the system during its statements. The ceiling is the service alone: answers come at once, and are those of a
real job.
"""

import argparse
import json
import os
import platform
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from autoprep.cli.studio import make_studio
from autoprep.domain import JobRecord
from autoprep.files.storage import write_part
from autoprep.job.orders import JobOrder, JobResult
from autoprep.logs import open_log
from autoprep.service import cluster, link
from autoprep.service.engine import Engine
from autoprep.service.link import News, Overview, ask
from autoprep.service.messages import Finished
from autoprep.service.parcels import Answer, packed_answer, packed_order, unpacked_answer
from autoprep.wishes.settings import load
from tests.service.clusters import LocalCluster, cpu_seconds, local_cluster, wait_until

from .workers import _other_bytes

DEMO = Path(__file__).parents[2] / "demo_inbox"


@dataclass
class Run:
    """What one run came to, per photo while all workers were busy; bytes and the ledger over all photos."""

    seconds: float = 0.0
    cpu: dict[str, float] = field(default_factory=dict)
    there: int = 0
    back: int = 0
    photos: int = 0
    transactions: int = 0
    ledger_bytes: int = 0
    ledger_s: float = 0.0


class CountedLedger:
    """A connection that counts what its statements write, and how long they take."""

    def __init__(self, real: sqlite3.Connection, run: Run) -> None:
        self._real, self._run = real, run

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)

    def execute(self, sql: str, *given: Any) -> Any:
        return self._counted(lambda: self._real.execute(sql, *given))

    def executemany(self, sql: str, *given: Any) -> Any:
        return self._counted(lambda: self._real.executemany(sql, *given))

    def _counted(self, act: Callable[[], Any]) -> Any:
        before, began, inside = _handed_over(), time.perf_counter(), self._real.in_transaction
        try:
            return act()
        finally:
            wrote = _handed_over() - before
            self._run.ledger_bytes += wrote
            self._run.ledger_s += time.perf_counter() - began
            self._run.transactions += bool(wrote and not (inside and self._real.in_transaction))


def _handed_over() -> int:
    """Bytes that this thread has handed to the system to write (Linux)."""
    for line in Path("/proc/thread-self/io").read_text().splitlines():
        if line.startswith("wchar"):
            return int(line.split()[1])
    raise OSError("this system does not count what a thread writes")


def measure(count: int, workers: int, there: LocalCluster | None, turn: int) -> Run:
    """One run of an inbox of so many photos; there: the cluster, which has so many workers, or None for the pool."""
    run = Run(photos=count)
    with _studio(workers, there.address if there else "", count, turn) as engine, ExitStack() as counting:
        engine.ledger._db = CountedLedger(engine.ledger._db, run)  # type: ignore[assignment]
        counting.enter_context(patch.object(link, "packed_order", _counting(packed_order, run, "there")))
        counting.enter_context(patch.object(cluster, "unpacked_answer", _counting_back(run)))
        moments: list[tuple[float, dict[str, float]]] = []
        engine._on_record = lambda _record: moments.append((time.perf_counter(), _used(engine, there)))
        while len(moments) < count:
            engine.step(0.2)
        (began, before), (ended, after) = moments[min(workers, count - 1) - 1], moments[-1]
        busy = count - min(workers, count - 1)
        run.seconds = (ended - began) / busy
        run.cpu = {name: (after[name] - before[name]) / busy for name in after}
    return run


def _counting(real: Callable[[JobOrder], bytes], run: Run, name: str) -> Callable[[JobOrder], bytes]:
    def counted(order: JobOrder) -> bytes:
        data = real(order)
        setattr(run, name, getattr(run, name) + len(data))
        return data

    return counted


def _counting_back(run: Run) -> Callable[[Any, JobOrder], Answer]:
    def counted(data: Any, order: JobOrder) -> Answer:
        run.back += len(data)
        return unpacked_answer(data, order)

    return counted


@contextmanager
def _studio(workers: int, address: str, count: int, turn: int) -> Iterator[Engine]:
    with tempfile.TemporaryDirectory() as folder:
        studio = Path(folder)
        (studio / "config").mkdir()
        text = '[artist]\nname = "Wren Halloway"\n[correction]\ntakes = "all"\n[service]\nsettle_s = 0.0\n'
        text += f"workers = {workers}\n"
        (studio / "config" / "autoprep.toml").write_text(text + f'cluster = "{address}"\n', encoding="utf-8")
        make_studio(studio)
        settings = load(studio / "config" / "autoprep.toml")
        photos = sorted(DEMO.glob("*.jpg"))
        for number in range(count):
            data = _other_bytes(photos[number % len(photos)].read_bytes(), 1000 * turn + number)
            (settings.folders.inbox / f"page {number:04}.jpg").write_bytes(data)
        engine = Engine(settings, open_log(settings.folders.records, None), follow=False)
        try:
            yield engine
        finally:
            engine.stop()


def _used(engine: Engine, there: LocalCluster | None) -> dict[str, float]:
    """CPU seconds so far of the service, the scheduler and the workers."""
    if there is None:
        ticks = os.sysconf("SC_CLK_TCK")
        used = 0.0
        for worker in engine._pool._workers:  # type: ignore[attr-defined]
            fields = Path(f"/proc/{worker.process.pid}/stat").read_text().rpartition(")")[2].split()
            used += (int(fields[11]) + int(fields[12])) / ticks
        return {"service": time.process_time(), "scheduler": 0.0, "workers": used}
    scheduler, machine = there._processes
    return {
        "service": time.process_time(),
        "scheduler": cpu_seconds(scheduler.pid),
        "workers": cpu_seconds(machine.pid),
    }


# --- the service alone --------------------------------------------------------------------------------------------


class _AtOnce:
    """A line whose cluster answers in no time: with a real answer, made out for each order."""

    made: tuple[JobRecord, dict[str, bytes], dict[str, bytes]]

    def __init__(self, _address: str, _tls: object, wake: Any) -> None:
        self.seen, self._wake, self._news = Overview(16), wake, list[News]()

    def start(self) -> None:
        pass

    stop = start

    def want(self, job: str, ticket: int, order: JobOrder) -> None:
        with tempfile.TemporaryDirectory() as folder:
            self._news.append(News(job, ticket, _made_out(self.made, order, Path(folder))))
        self._wake.send_bytes(b"!")

    def forget(self, _job: str) -> None:
        pass

    def news(self) -> Iterator[News]:
        while self._news:
            yield self._news.pop(0)


def _made_out(made: tuple[JobRecord, dict[str, bytes], dict[str, bytes]], order: JobOrder, root: Path) -> bytes:
    record, outputs, proof = made
    record = record.model_copy(
        update={
            "job": order.job, "sha256": order.sha256, "photo": order.photo, "work": order.facts,
            "pages": {name: f"{order.job}/{name}" for name in record.pages},
            "outputs": tuple(
                out.model_copy(update={"path": str(order.places[out.destination].relative_to(order.settings.studio))})
                for out in record.outputs
            ),
        }
    )  # fmt: skip
    contents = {order.places[name]: data for name, data in outputs.items()}
    contents |= {order.proof_folder / name: data for name, data in proof.items()}
    parts = [
        (write_part(root / str(final)[1:], data, order.job), root / str(final)[1:]) for final, data in contents.items()
    ]
    return packed_answer([Finished(order.job, JobResult(record, parts))], root)


def ceiling(count: int) -> Run:
    """The service alone; what making the answers out takes is not counted."""
    run = Run(photos=count)
    with _studio(1, "", 1, 99) as engine:
        kept: list[JobRecord] = []
        engine._on_record = kept.append
        while not kept:
            engine.step(0.2)
        studio, record = engine.settings.studio, kept[0]
        outputs = {out.destination: (studio / out.path).read_bytes() for out in record.outputs}
        folder = engine.settings.folders.records / "proof" / record.job
        proof = {each.name: each.read_bytes() for each in folder.iterdir() if each.name != "record.json"}
    _AtOnce.made = record, outputs, proof
    making = 0.0
    real = _AtOnce.want

    def want(self: _AtOnce, job: str, ticket: int, order: JobOrder) -> None:
        nonlocal making
        began = time.perf_counter()
        real(self, job, ticket, order)
        making += time.perf_counter() - began

    with ExitStack() as pretending:
        pretending.enter_context(patch.object(cluster, "Link", _AtOnce))
        pretending.enter_context(patch.object(_AtOnce, "want", want))
        engine = pretending.enter_context(_studio(1, "tcp://127.0.0.1:1", count, 98))
        engine.ledger._db = CountedLedger(engine.ledger._db, run)  # type: ignore[assignment]
        done: list[JobRecord] = []
        engine._on_record = done.append
        began = time.perf_counter()
        while len(done) < count:
            engine.step(0.2)
        run.seconds = (time.perf_counter() - began - making) / count
    return run


# --- the table ----------------------------------------------------------------------------------------------------


def main() -> None:
    """Measure in turns, print, write JSON."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.cluster", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--photos", type=int, default=12)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--ceiling", type=int, default=40, help="photos for the service alone; 0: leave it out")
    parser.add_argument("--out", type=Path, help="file for all figures as JSON")
    given = parser.parse_args()
    print(
        f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}"
    )
    found: dict[str, Any] = {}
    for turn in range(given.rounds):
        for workers in given.workers:
            found[f"pool {workers}, round {turn + 1}"] = measure(given.photos, workers, None, turn).__dict__
            with tempfile.TemporaryDirectory() as folder, local_cluster(Path(folder)) as there:
                there.scheduler()
                there.workers(workers)
                wait_until(lambda address=there.address, least=workers: ask(address, None).workers == least)  # type: ignore[misc]
                found[f"cluster {workers}, round {turn + 1}"] = measure(given.photos, workers, there, turn).__dict__
    if given.ceiling:
        found["service alone"] = ceiling(given.ceiling).__dict__
    for name, run in found.items():
        print(_line(name, run))
    if given.out is not None:
        given.out.write_text(json.dumps(found, indent=1), encoding="utf-8")


def _line(name: str, run: dict[str, Any]) -> str:
    count = run["photos"]
    cpu = ", ".join(f"{who} {seconds:.3f}" for who, seconds in run["cpu"].items())
    return (
        f"{name:<22} {run['seconds']:6.3f} s a photo; CPU s: {cpu or '-'}; MB there {run['there'] / count / 1e6:.2f}, "
        f"back {run['back'] / count / 1e6:.2f}; ledger: {run['transactions'] / count:.1f} transactions, "
        f"{run['ledger_bytes'] / count / 1e3:.0f} kB, {run['ledger_s'] / count * 1e3:.0f} ms"
    )


if __name__ == "__main__":
    main()
