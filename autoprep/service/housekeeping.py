"""What the service does once a day for itself: a copy of the ledger, and no more copies than are of use."""

from datetime import date

from autoprep.ledger import COPIES, Ledger
from autoprep.wishes.settings import Settings

_KEPT = 7


def copy_of_the_day(settings: Settings, ledger: Ledger, today: date) -> bool:
    """Keep a copy of the ledger for today, unless there is one; whether one was made. The oldest beyond a week go."""
    folder = settings.folders.records / COPIES
    copy = folder / f"ledger-{today.isoformat()}.sqlite3"
    if copy.exists():
        return False
    ledger.copy_to(copy)
    for old in sorted(folder.glob("ledger-*.sqlite3"))[:-_KEPT]:
        old.unlink()
    return True
