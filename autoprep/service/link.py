"""The line to a cluster's scheduler, in a thread of its own: kept up, taken up again when it broke."""

import asyncio
import contextlib
import logging
import threading
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from autoprep import __version__
from autoprep.job.orders import JobOrder
from autoprep.service.parcels import packed_order
from autoprep.service.remote import RESOURCE, resource_of, work

_CONNECT_S, _ASK_S, _CLOSE_S = 5.0, 10.0, 0.8
_LOOK_S = 2.0  # so often the workers are counted
_FIRST_PAUSE_S, _MOST_PAUSE_S = 1.0, 10.0
# What may be unpacked of what comes from a worker: plain values and bytes, nothing that would be run.
_PLAIN = ("msgpack", "error")


@dataclass(frozen=True)
class Overview:
    """What is seen of the cluster: workers that take our orders; why there are none; what else is to be said."""

    workers: int = 0
    trouble: str = ""
    remark: str = ""


@dataclass(frozen=True)
class News:
    """What became of an order: its answer (unchecked), or why there will be none."""

    job: str
    ticket: int
    data: object = None
    lost: str = ""


@dataclass(frozen=True)
class _Wanted:
    ticket: int
    order: JobOrder


class Link(threading.Thread):
    """Gives wanted orders to the cluster as often as it takes. wake: told when there is news or another overview."""

    def __init__(self, address: str, tls: tuple[Path, Path, Path] | None, wake: Connection) -> None:
        super().__init__(daemon=True, name="autoprep-cluster")
        self._address, self._tls, self._wake = address, tls, wake
        self._wanted: dict[str, _Wanted] = {}
        self._answered: set[tuple[str, int]] = set()  # still wanted, until the service has dealt with the answer
        self._news: SimpleQueue[News] = SimpleQueue()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stir: asyncio.Event | None = None
        self._stopping = threading.Event()
        self.seen = Overview()

    # --- called by the service's thread ---------------------------------------------------------------------

    def want(self, job: str, ticket: int, order: JobOrder) -> None:
        """Have an order done; the news of it carries the ticket."""
        self._wanted[job] = _Wanted(ticket, order)
        self._stirred()

    def forget(self, job: str) -> None:
        """No answer is wanted any more."""
        self._wanted.pop(job, None)
        self._stirred()

    def news(self) -> Iterator[News]:
        """What came since."""
        with contextlib.suppress(Empty):
            while True:
                yield self._news.get_nowait()

    def stop(self) -> None:
        """Leave the cluster; what does not end in a few seconds is left to end with the process."""
        self._wanted.clear()
        self._stopping.set()
        self._stirred()
        self.join(2 * _CLOSE_S)

    def _stirred(self) -> None:
        loop, stir = self._loop, self._stir
        if loop is not None and stir is not None:
            with contextlib.suppress(RuntimeError):  # it has just ended
                loop.call_soon_threadsafe(stir.set)

    # --- the thread -----------------------------------------------------------------------------------------

    def run(self) -> None:
        """The thread's main function."""
        asyncio.run(self._keep_up())

    async def _keep_up(self) -> None:
        self._stir, self._loop = asyncio.Event(), asyncio.get_running_loop()
        pause = _FIRST_PAUSE_S
        while not self._stopping.is_set():
            try:
                client = await connected(self._address, self._tls)
            except Exception as problem:  # whatever keeps us from it: photos wait
                self._look(Overview(trouble=_away(self._address, problem)))
                await self._rest(pause)
                pause = min(2 * pause, _MOST_PAUSE_S)
                continue
            pause = _FIRST_PAUSE_S
            try:
                await self._serve(client)
            except Exception as problem:  # the line broke, in whatever way
                self._look(Overview(trouble=_away(self._address, problem)))
                await self._rest(pause)
            finally:
                await _closed(client)

    async def _rest(self, seconds: float) -> None:
        """Wait until something changes on our side, at most so long."""
        assert self._stir is not None
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._stir.wait(), seconds)
        self._stir.clear()

    async def _serve(self, client: Any) -> None:
        """As long as the line holds: count the workers, give out what is wanted, take back what is not."""
        tasks: dict[tuple[str, int], asyncio.Task[None]] = {}
        loop, next_look = asyncio.get_running_loop(), 0.0
        try:
            while client.status == "running" and not self._stopping.is_set():
                if loop.time() >= next_look:
                    self._look(overview_of(await _workers(client), self._address))
                    next_look = loop.time() + _LOOK_S
                tasks = {key: task for key, task in tasks.items() if not task.done()}
                wanted = {(job, each.ticket): each for job, each in list(self._wanted.items())}
                for key in tasks.keys() - wanted.keys():
                    tasks[key].cancel()
                self._answered &= wanted.keys()
                for key in wanted.keys() - tasks.keys() - self._answered:
                    tasks[key] = asyncio.create_task(self._one(client, *key, wanted[key].order))
                await self._rest(_LOOK_S)
        finally:
            for task in tasks.values():
                task.cancel()
            await asyncio.gather(*tasks.values(), return_exceptions=True)

    async def _one(self, client: Any, job: str, ticket: int, order: JobOrder) -> None:
        """One order, from here to its answer. A line that breaks leaves it wanted."""
        from distributed import KilledWorker
        from distributed.client import FutureCancelledError

        future = client.submit(
            work, __version__, packed_order(order), key=f"{job}-{uuid.uuid4().hex}", pure=False,
            resources={resource_of(__version__): 1},
        )  # fmt: skip
        try:
            self._tell(News(job, ticket, await future))
        except asyncio.CancelledError:  # not wanted any more, or we leave
            with contextlib.suppress(Exception):
                await asyncio.wait_for(client.cancel([future], force=True), _CLOSE_S)
            raise
        except KilledWorker:
            self._tell(News(job, ticket, lost="the cluster's workers died one after the other that had this photo"))
        except (FutureCancelledError, OSError, TimeoutError):  # the line broke: it stays wanted
            await asyncio.sleep(_FIRST_PAUSE_S)
        except Exception as problem:
            self._tell(News(job, ticket, lost=f"the cluster could not do it ({type(problem).__name__})"))
        finally:
            future.release()

    def _tell(self, news: News) -> None:
        self._answered.add((news.job, news.ticket))
        self._news.put(news)
        self._nudge()

    def _look(self, seen: Overview) -> None:
        if seen != self.seen:
            self.seen = seen
            self._nudge()

    def _nudge(self) -> None:
        with contextlib.suppress(OSError, ValueError):  # the service has closed its end
            self._wake.send_bytes(b"!")


def _away(address: str, problem: Exception) -> str:
    # How a line fails changes from try to try; what has nothing to do with lines is named.
    strange = "" if isinstance(problem, OSError | TimeoutError) else f" ({type(problem).__name__}: {problem})"
    said = f"the cluster at {address} does not answer{strange}"
    return f"{said}. Photos wait, and it goes on by itself when it is back"


async def connected(address: str, tls: tuple[Path, Path, Path] | None) -> Any:
    """A line to the scheduler. Raises OSError and the like where there is none."""
    import dask
    from distributed import Client
    from distributed.security import Security

    # What goes wrong is said by the service, in its own log; photos are large, and that is no mistake.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "4 GB"})
    security = None
    if tls is not None:
        ca, certificate, key = map(str, tls)
        security = Security(
            tls_ca_file=ca, tls_client_cert=certificate, tls_client_key=key, require_encryption=True
        )  # fmt: skip
    client = Client(
        address, asynchronous=True, set_as_default=False, timeout=_CONNECT_S, security=security, name="autoprep",
        serializers=list(_PLAIN), deserializers=list(_PLAIN),
    )  # fmt: skip
    try:
        await asyncio.wait_for(client, 2 * _CONNECT_S)
    except BaseException:
        await _closed(client)
        raise
    return client


async def _closed(client: Any) -> None:
    with contextlib.suppress(Exception):
        await asyncio.wait_for(client.close(timeout=_CLOSE_S), _CLOSE_S)


async def _workers(client: Any) -> Mapping[str, Any]:
    found = await asyncio.wait_for(client.scheduler.identity(n_workers=-1), _ASK_S)
    workers: Mapping[str, Any] = found["workers"]
    return workers


def overview_of(workers: Mapping[str, Any], address: str) -> Overview:
    """What is to be said of the scheduler's list of workers: who takes our orders, and who can't."""
    mine = resource_of(__version__)
    offers = [list(worker.get("resources", {})) for worker in workers.values()]
    good = sum(mine in offer for offer in offers)
    others = sorted(
        {name.removeprefix(f"{RESOURCE} ") for offer in offers for name in offer if name.startswith(f"{RESOURCE} ")}
        - {__version__}
    )
    bare = sum(not any(name.startswith(f"{RESOURCE} ") for name in offer) for offer in offers)
    said = []
    if others:
        said.append(f"some have Autoprep {', '.join(others)} and this service {__version__}: install the same there")
    if bare:
        said.append(f"{bare} have not loaded Autoprep: start them with --preload autoprep.service.remote")
    remark = f"workers of the cluster at {address} get no photos: {'; '.join(said)}" if said else ""
    if good:
        return Overview(good, remark=remark)
    return Overview(trouble=remark or f"the cluster at {address} has no workers. Photos wait until there are some")


def ask(address: str, tls: tuple[Path, Path, Path] | None) -> Overview:
    """What is seen of a cluster right now, for a check."""

    async def look() -> Overview:
        try:
            client = await connected(address, tls)
        except Exception as problem:
            return Overview(trouble=f"the cluster at {address} does not answer ({type(problem).__name__})")
        try:
            return overview_of(await _workers(client), address)
        finally:
            await _closed(client)

    return asyncio.run(look())
