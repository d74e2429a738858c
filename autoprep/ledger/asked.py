"""What is asked for again in a ledger that is to be put away: no record holds it."""

import contextlib
import sqlite3
from pathlib import Path


def asked_in(place: Path) -> dict[str, list[str]] | None:
    """Outputs to make again, and MEASURED: job -> destinations; None where the file is away or can't tell.

    It is only read, by as little as is needed: most of a damaged one may be unreadable.
    """
    try:
        with contextlib.closing(sqlite3.connect(f"{place.absolute().as_uri()}?mode=ro", uri=True)) as db:
            rows = db.execute("SELECT job, destination FROM redos").fetchall()
    except sqlite3.Error:
        return None
    asked: dict[str, list[str]] = {}
    for job, destination in rows:
        asked.setdefault(job, []).append(destination)
    return asked
