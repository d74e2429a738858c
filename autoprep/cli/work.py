"""Commands that let the service work."""

import argparse
import contextlib
import json
import os
import signal
import sys
from collections import Counter
from collections.abc import Iterator

from tqdm import tqdm

from autoprep.cli.found import inbox_away, make_folders, ready_away, settings_of
from autoprep.domain import JobRecord
from autoprep.logs import counted, open_log
from autoprep.service.engine import Engine
from autoprep.service.notify import Notifier
from autoprep.told.metrics import Metrics
from autoprep.told.summary import mark_notes, print_summary, tried_later
from autoprep.wishes.settings import worker_count
from autoprep.wishes.tables import Settings


def watch(options: argparse.Namespace) -> int:
    """Run the service in the foreground until Ctrl-C."""
    settings = settings_of(options)
    make_folders(settings)
    log = open_log(settings.folders.records, None if options.quiet else sys.stderr)
    metrics, manager = Metrics(settings, log), Notifier(os.environ)
    engine = Engine(settings, log, metrics.note)
    where = (
        {"cluster": settings.service.cluster}
        if settings.service.cluster
        else {"workers": worker_count(settings.service)}
    )
    log.info("watching", inbox=str(settings.folders.inbox), **where, pid=os.getpid())
    for note in mark_notes(settings):
        log.warning("mark", reason=note)
    with _asked_to_stop(engine) as stopping:
        try:
            engine.step(0.0)
            manager.ready()
            while not stopping:
                manager.alive(engine.standing)
                metrics.keep(engine.ledger, rests=engine.idle)
                engine.step()
        finally:
            log.info("stopping")
            manager.stopping()
            metrics.ended(engine.ledger)
            engine.stop()
            log.info("stopped")
    return 0


@contextlib.contextmanager
def _asked_to_stop(engine: Engine) -> Iterator[list[int]]:
    """A list that holds something as soon as the process is asked to end.

    No exception: it would come at any place, in the middle of what a worker says too.
    """
    stopping: list[int] = []

    def stop(number: int, _frame: object) -> None:
        stopping.append(number)
        engine.hints.wake()

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stopping
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _stopped(done: int, show: bool) -> KeyboardInterrupt:
    if show:
        print(f"Stopped. {counted(done, 'photo')} done; what is left is done the next time.", file=sys.stderr)
    return KeyboardInterrupt()


_LEFT = "still waiting"  # as the last line calls photos where nothing could be begun any more


def once(options: argparse.Namespace) -> int:
    """Process everything that waits in the inbox, then stop."""
    settings = settings_of(options)
    make_folders(settings)
    acts: Counter[str] = Counter()
    later: dict[str, str] = {}
    records = process_all(settings, show=not options.json, acts=acts, later=later)
    gone = ready_away(settings)
    away = inbox_away(settings)  # then nobody knows what waits: that must not look as if all were done
    if options.json:
        print(json.dumps([record.model_dump(mode="json") for record in records], ensure_ascii=False, indent=2))
        for line in tried_later(later):  # of which there is no record yet
            print(line, file=sys.stderr)
    else:
        print_summary(settings, records, acts, later, away=away)
    wanting = any(record.outcome in ("set aside", "needs a look") or record.failed for record in records)
    return 1 if wanting or later or away or gone or _LEFT in acts else 0


def process_all(
    settings: Settings,
    *,
    show: bool = True,
    acts: Counter[str] | None = None,
    later: dict[str, str] | None = None,
    failed: dict[str, str] | None = None,
) -> list[JobRecord]:
    """Run the engine until nothing waits; a progress bar on the terminal.

    acts: is told what was done besides for photos that needed no worker (see Engine.acts), and of how many nothing
    could be begun; later: which photos are
    tried again after a pause, and why; failed: jobs of finished photos of which something new failed, and why.
    Raises KeyboardInterrupt where it was stopped before; what is left is done the next time.
    """
    records: dict[str, JobRecord] = {}  # of each photo the last: a take that gives way to a better one is told again
    log = open_log(settings.folders.records, None)
    engine = Engine(settings, log, lambda record: records.update({record.job: record}), follow=False)
    bar = tqdm(
        total=0,
        unit="photo",
        disable=not show or None,  # on a terminal only
        dynamic_ncols=True,
        smoothing=0,  # the rate of all so far: a single photo may take ten times as long as the next
        bar_format="{l_bar}{bar}| {n_fmt}/{total_fmt} photos [{elapsed}, {remaining} left, {rate_fmt}]",
    )
    with _asked_to_stop(engine) as stopping:
        try:
            engine.step(0.05)
            while not engine.idle and not stopping:
                engine.step(0.5)
                if engine.stuck:
                    print(f"{engine.stuck}. Nothing is lost; run this again later.", file=sys.stderr)
                    if acts is not None:
                        acts[_LEFT] = engine.pending
                    break
                bar.total = max(bar.total or 0, len(records) + engine.pending)
                bar.update(len(records) - bar.n)
        finally:
            if not stopping:
                bar.total = max(len(records), 1 if not records else 0)
            bar.refresh()
            bar.close()
            hollow = engine.hollow
            if later is not None:
                later.update(engine.later)
            if failed is not None:
                failed.update(engine.failed)
            # A take that was ready may have given way to a better one that came later.
            kept = [engine.ledger.get(job) for job in records]
            engine.stop()
    if acts is not None:
        acts.update(engine.acts)
    if stopping:
        raise _stopped(len(records), show)
    for name in hollow if show else ():
        print(f"  {name}: this file holds nothing yet; it is left alone until it does")
    return [
        job.record if job is not None and job.record is not None else record
        for job, record in zip(kept, records.values(), strict=True)
    ]
