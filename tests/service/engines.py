"""Running the engine in tests, as the command `once` does."""

import time

from autoprep.domain import JobRecord
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.wishes.settings import Settings, ledger_path


def run_once(settings: Settings) -> dict[str, JobRecord]:
    """Process what waits in the inbox, at most a minute long; all records of the ledger by the photo's name."""
    engine = Engine(settings, open_log(settings.folders.records, None), follow=False)
    try:
        limit = time.monotonic() + 60
        engine.step(0.1)
        while time.monotonic() < limit and not engine.idle:
            engine.step(0.1)
    finally:
        engine.stop()
    ledger = Ledger(ledger_path(settings))
    records = {job.shown: job.record for job in ledger.jobs() if job.record is not None}
    ledger.close()
    return records
