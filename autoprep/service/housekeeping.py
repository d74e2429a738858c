"""What the service does once a day for itself: a copy of the ledger, and no more of what is kept than is of use."""

from datetime import date, timedelta

from autoprep.job.orders import CORNERS
from autoprep.ledger import COPIES, Ledger
from autoprep.wishes.settings import Settings

_KEPT = 7
_CLEARED = "comparisons cleared before"


def once_a_day(settings: Settings, ledger: Ledger, today: date) -> bool:
    """Do what is due once a day; whether it was done now."""
    if not copy_of_the_day(settings, ledger, today):
        return False
    clear_comparisons(settings, ledger, today)
    return True


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


def clear_comparisons(settings: Settings, ledger: Ledger, today: date) -> int:
    """Clear away the before-and-after pictures of photos that were done so many days ago; how many photos' pictures.

    Records, finished pictures and questions stay. What was cleared is not looked at again.
    """
    days = settings.service.comparisons_days
    limit = (today - timedelta(days=days)).isoformat() if days else ""
    cleared: list[str] = []
    for job in ledger.overview.finished_between(ledger.kept(_CLEARED), limit):
        folder, before = settings.folders.records / "proof" / job, len(cleared)
        for name in ("before.jpg", "after.jpg", "details.jpg", CORNERS):
            if (folder / name).exists():
                (folder / name).unlink()
                cleared[before:] = [job]
    if cleared:
        ledger.overview.make_due(cleared)
    if limit > ledger.kept(_CLEARED):
        ledger.keep(_CLEARED, limit)
    return len(cleared)
